"""Tickets brought together into visits: one order on one pump is one event."""

from collections.abc import Callable, Iterable, Sequence

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pumplife.records.plant import to_days
from pumplife.records.read import Records

FAILING = ("breakdown", "planned", "inspection", "modification", "")  # "" = not readable
HOURS = ("labour_h", "downtime_h", "production_lost_h", "waited_h", "other_cost")


def sort_tickets(records: Records) -> pd.DataFrame:
    """Tickets of known pumps inside the window, one row as written, with `day` and `order`.

    Sets aside, with an audit row each, what lies outside the window or the pump's service.
    """
    tickets = records.table("rebuilds").reset_index(drop=True)
    tickets = tickets.assign(
        day=to_days(tickets["happened_on"].fillna(tickets["opened_on"])),
        order=np.arange(len(tickets)),
    )
    tickets = tickets[tickets["pump"] >= 0]
    for rule, outside, what, remedy in _outside(records, tickets):
        if not bool(outside.any()):
            continue
        records.log.add_rows(
            tickets[outside.reindex(tickets.index)],
            rule=rule,
            severity="caution",
            what=what,
            consequence="Ticket set aside.",
            remedy=remedy,
            table="rebuilds",
        )
        tickets = tickets[~outside.reindex(tickets.index)]
    return tickets


def _outside(
    records: Records, tickets: pd.DataFrame
) -> Sequence[tuple[str, "pd.Series[bool]", str, str]]:
    pumps = records.pumps
    pump = tickets["pump"].to_numpy(int)
    start, end = windows(records)
    day = tickets["day"]
    commissioned = to_days(pumps["commissioned_on"])[pump]
    retired = to_days(pumps["retired_on"])[pump]
    return (
        (
            "before_window",
            day < start[pump],
            "The ticket is dated before the records begin.",
            "Move records_from in plant.toml if the records are complete from an earlier date.",
        ),
        (
            "after_window",
            day > end[pump],
            "The ticket is dated after records_to.",
            "Move records_to in plant.toml, or correct the date.",
        ),
        (
            "before_commissioning",
            day < commissioned,
            "The ticket is dated before the pump was commissioned.",
            "Correct the ticket's date or the pump's commissioned_on.",
        ),
        (
            "after_retirement",
            day > retired,
            "The ticket is dated after the pump was retired.",
            "Correct the ticket's date or the pump's retired_on.",
        ),
    )


def windows(records: Records) -> tuple[np.ndarray, np.ndarray]:
    """First and last day of the records of each pump, by its site."""
    code, sites = pd.factorize(records.pumps["site"])
    by_site = np.array([records.plant.window(site) for site in sites], dtype=float).reshape(-1, 2)
    return by_site[code, 0], by_site[code, 1]


def _roots(tickets: pd.DataFrame) -> "pd.Series[str]":
    """The rebuild_id that each ticket belongs to, orders that complete another followed."""
    pairs = tickets.loc[tickets["completes"] != "", ["rebuild_id", "completes"]]
    parent = dict(zip(pairs["rebuild_id"], pairs["completes"], strict=True))
    root = tickets["rebuild_id"]
    if not parent:
        return root
    known = set(root)
    for _ in range(5):  # an order completed five times over is followed to its first
        above = root.map(parent)
        root = root.where(~above.isin(known), above)
    return root


def _once(tickets: pd.DataFrame, column: str, number: NDArray[np.int64]) -> "pd.Series[float]":
    """Hours or money per row such that sums count figures repeated on one order once.

    A figure that stands the same on several rows of an order is one figure, shared evenly
    among those rows; different figures on one order, by `number`, are separate work and add up; a
    figure written on one row of an order over several pumps is shared among all its rows.
    """
    if not tickets[column].notna().any():
        return tickets[column]
    order = tickets.groupby(number)
    alike = tickets.groupby([number, column])[column].transform("size")
    alone = (order[column].transform("count") == 1) & (order["pump"].transform("nunique") > 1)
    spread = order[column].transform("max") / order["pump"].transform("size")
    return (tickets[column] / alike).where(~alone, spread)


def gather_visits(tickets: pd.DataFrame) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Visits, one row each, and the tickets with the number of their visit.

    Visits: [visit, pump, rebuild_id, day, order, reason, failure_mode, done, kits, released,
    rows, hours and costs]; `kits` lists the kits written, "?" for blank.
    """
    tickets = tickets.assign(root=_roots(tickets), source=tickets["row"].astype(str))
    number = pd.factorize(tickets["rebuild_id"])[0]
    for column in HOURS:
        tickets[column] = _once(tickets, column, number)
    tickets["kits"] = tickets["kit"].where(tickets["kit"] != "", "?")
    tickets = tickets.sort_values(["day", "order"], kind="stable")
    tickets["visit"] = tickets.groupby(["root", "pump"], sort=False).ngroup()
    return _join(tickets).rename(columns={"root": "rebuild_id", "source": "rows"}), tickets


def _join(tickets: pd.DataFrame) -> pd.DataFrame:
    """One row per visit: its only row, or its first with the cells of several joined."""
    words: dict[str, Callable[[Iterable[str]], str]] = {
        "failure_mode": _first_written,
        "released": _first_written,
        "done": _best_done,
        "kits": lambda cells: "|".join(dict.fromkeys(cells)),
        "source": ";".join,
    }
    names = ["visit", "pump", "day", "order", "reason", "root", *words, *HOURS]
    again = tickets["visit"].duplicated()
    visits = tickets.loc[~again, names].reset_index(drop=True)  # a visit's row is its number
    if bool(again.any()):
        several = tickets[tickets["visit"].isin(tickets.loc[again, "visit"])].groupby("visit")
        for column, join in words.items():
            joined = several[column].agg(join)
            visits.loc[joined.index, column] = joined
        hours = several[list(HOURS)].sum(min_count=1)
        visits.loc[hours.index, list(HOURS)] = hours
    return visits


def _first_written(cells: Iterable[str]) -> str:
    return next((cell for cell in cells if cell != ""), "")


def _best_done(cells: Iterable[str]) -> str:
    """An order finished by another is as done as its best row says."""
    return next((word for word in ("yes", "", "partly", "no") if word in set(cells)), "")
