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
    sites = records.pumps["site"]
    by_site = {site: records.plant.window(site) for site in sites.unique()}
    pairs = np.array([by_site[site] for site in sites], dtype=float).reshape(-1, 2)
    return pairs[:, 0], pairs[:, 1]


def _roots(tickets: pd.DataFrame) -> "pd.Series[str]":
    """The rebuild_id that each ticket belongs to, orders that complete another followed."""
    pairs = tickets.loc[tickets["completes"] != "", ["rebuild_id", "completes"]]
    parent = dict(zip(pairs["rebuild_id"], pairs["completes"], strict=True))
    known = set(tickets["rebuild_id"])
    root = tickets["rebuild_id"]
    for _ in range(
        5 if parent else 0
    ):  # an order completed five times over is followed to its first
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
    visits = tickets.drop_duplicates("visit").set_index("visit")
    visits = visits[["pump", "day", "order", "reason"]].assign(rebuild_id=visits["root"])
    words = {
        "failure_mode": _first_written,
        "released": _first_written,
        "done": _best_done,
        "kits": lambda cells: "|".join(dict.fromkeys(cells)),
        "source": ";".join,
    }
    for column, join in words.items():
        visits[column] = _join(tickets, column, join)
    hours = tickets.groupby("visit")[list(HOURS)].sum(min_count=1)
    return visits.join(hours).rename(columns={"source": "rows"}).reset_index(), tickets


def _join(
    tickets: pd.DataFrame, column: str, join: Callable[[Iterable[str]], str]
) -> "pd.Series[str]":
    """One cell per visit: its only cell, or the joined cells where it has several rows."""
    cells = tickets[["visit", column]].drop_duplicates("visit").set_index("visit")[column]
    several = tickets[tickets["visit"].duplicated(keep=False)]
    joined = several.groupby("visit")[column].agg(join)
    cells.loc[joined.index] = joined
    return cells


def _first_written(cells: Iterable[str]) -> str:
    return next((cell for cell in cells if cell != ""), "")


def _best_done(cells: Iterable[str]) -> str:
    """An order finished by another is as done as its best row says."""
    return next((word for word in ("yes", "", "partly", "no") if word in set(cells)), "")
