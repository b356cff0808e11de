"""What the rules look at: every pump's orders, readings and stints, sorted along time."""

import dataclasses
from dataclasses import dataclass

import numpy as np
import pandas as pd

from pumplife.lives.visits import windows
from pumplife.records.audit import AuditLog
from pumplife.records.duty import Duty
from pumplife.records.meters import gather_readings
from pumplife.records.plant import to_days
from pumplife.records.read import Records
from pumplife.records.steps import Floats, Ints, time_key
from pumplife.records.usage import UsageClock

SILENT = ("", "none")
"""Cells that name no kit and no part."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Story:
    """The histories of all pumps.

    Attributes
    ----------
    records, duty, clock
        Clean records, where the pumps stood, how much they ran.
    tickets : DataFrame
        Rows of rebuilds with a pump and a day inside the window, sorted by pump and day, with
        day, opened, closed [day], order (a number for each rebuild_id), place (the row of
        `orders`), kit_side, part_side ("" = not known).
    orders : DataFrame
        The first row of each order on each pump, sorted by pump and day, with part (the first
        part named), side, and site and service of the day.
    readings : DataFrame
        Sorted by pump and day, see `meters.gather_readings`; with usual, the pump's median
        rate when it runs [usage units/day], and the step into each reading, see `gains`.
    issued, findings : DataFrame
        These tables with order, the number of their rebuild_id (-1 = none), and day where dated.
    """

    records: Records
    duty: Duty
    clock: UsageClock
    tickets: pd.DataFrame
    orders: pd.DataFrame
    readings: pd.DataFrame
    issued: pd.DataFrame
    findings: pd.DataFrame

    def __repr__(self) -> str:
        return f"Story({len(self.orders)} orders, {len(self.readings)} readings)"

    @property
    def end(self) -> float:
        """Last day of the records [day]."""
        return self.records.plant.window()[1]


def tell_story(
    records: Records, duty: Duty, clock: UsageClock, readings: pd.DataFrame | None = None
) -> Story:
    """Sort orders and readings along time for the rules.

    `readings` are those from `gather_readings`, where they are gathered already.
    """
    number, names = pd.factorize(records.table("rebuilds")["rebuild_id"])
    tickets = _tickets(records, number)
    issued, findings = records.table("issued"), records.table("findings")
    known = pd.Index(names)
    return Story(
        records=records,
        duty=duty,
        clock=clock,
        tickets=tickets,
        orders=_orders(tickets, duty),
        readings=_readings(records, readings),
        issued=issued.assign(
            day=to_days(issued["issued_on"]),
            order=known.get_indexer(pd.Index(issued["rebuild_id"])),
        ),
        findings=findings.assign(order=known.get_indexer(pd.Index(findings["rebuild_id"]))),
    )


_TICKET_COLUMNS = [
    "row", "pump", "pump_id", "rebuild_id", "reason", "completes", "done", "kit", "failed_part",
    "labour_h", "downtime_h", "waited_h", "lot", "crew",
]  # fmt: skip


def _tickets(records: Records, number: Ints) -> pd.DataFrame:
    tickets = records.table("rebuilds")
    owned = (tickets["pump"] >= 0).to_numpy()
    tickets, number = tickets[owned], number[owned]
    day = to_days(tickets["happened_on"].fillna(tickets["opened_on"]))
    start, end = windows(records)
    pump = tickets["pump"].to_numpy(np.int64)
    inside = (day >= start[pump]) & (day <= end[pump])
    tickets = tickets[_TICKET_COLUMNS].assign(
        day=day,
        opened=to_days(tickets["opened_on"]),
        closed=to_days(tickets["closed_on"]),
        order=number,
        kit_side=tickets["kit"].map(side_of(records, "kits", "kit")).fillna(""),
        part_side=tickets["failed_part"].map(side_of(records, "parts", "part")).fillna(""),
    )
    tickets = tickets[inside]
    keys = (tickets["order"], tickets["day"], tickets["pump"])
    tickets = tickets.iloc[np.lexsort(keys)].reset_index(drop=True)
    place: pd.DataFrame = tickets.assign(
        place=tickets.groupby(["pump", "order"], sort=False).ngroup()
    )
    return place


def side_of(records: Records, table: str, name: str) -> "pd.Series[str]":
    """Give the side of each kit or part."""
    listed = records.table(table).drop_duplicates(name)
    sides: pd.Series[str] = listed.set_index(name)["side"]
    return sides


def _orders(tickets: pd.DataFrame, duty: Duty) -> pd.DataFrame:
    first = tickets.drop_duplicates("place").reset_index(drop=True)  # its row is its place
    named = tickets[~tickets["failed_part"].isin(SILENT)].drop_duplicates("place")
    at = named.set_index("place").reindex(first.index)
    first = first.drop(columns=["part_side", "place"]).assign(
        part=at["failed_part"].fillna(""), side=at["part_side"].fillna("")
    )
    pump = first["pump"].to_numpy(np.int64)
    stint = duty.stints.iloc[duty.worked_at(pump, first["day"])]
    return first.assign(
        site=stint["site"].to_numpy(object),
        service=stint["service"].to_numpy(object),
        in_service=stint["in_service"].to_numpy(),
    )


def _readings(records: Records, gathered: pd.DataFrame | None) -> pd.DataFrame:
    unheard = dataclasses.replace(records, log=AuditLog())  # the clock has told all this
    frame = gather_readings(unheard) if gathered is None else gathered.copy(deep=False)
    if records.plant.usage_unit == "days":
        frame = frame.iloc[:0].copy()  # calendar days need no meter
    steps = gains(frame)
    rate = steps["gain"] / steps["days"].where(steps["days"] > 0)
    runs = pd.Series(np.where(steps["same"] & (rate > 0), rate, np.nan))
    usual = runs.groupby(frame["pump"].to_numpy()).transform("median")
    frame["usual"] = usual.to_numpy()  # our own frame: no copy of millions of readings
    frame[steps.columns] = steps
    return frame


def gains(frame: pd.DataFrame) -> pd.DataFrame:
    """Describe the step into each reading from the one before it: same (pump), days, gain."""
    pump, day = frame["pump"].to_numpy(), frame["day"].to_numpy(dtype=np.float64)
    value, start = (frame[name].to_numpy(dtype=np.float64) for name in ("value", "start"))
    same = np.zeros(len(frame), dtype=np.bool_)
    same[1:] = pump[1:] == pump[:-1]
    days, gain = np.zeros(len(frame)), np.zeros(len(frame))
    days[1:], gain[1:] = day[1:] - day[:-1], value[1:] - start[:-1]
    return pd.DataFrame(
        {"same": same, "days": np.where(same, days, 0.0), "gain": np.where(same, gain, 0.0)}
    )


def within_days(
    keys: pd.DataFrame, pump: Ints, first_day: Floats, last_day: Floats
) -> tuple[Ints, Ints]:
    """Give the slice of rows of `keys` (sorted by pump and day) of each pump between two days.

    Returns
    -------
    tuple of int array
        First row, and the row after the last; equal where there is none.
    """
    sorted_keys = time_key(keys["pump"], keys["day"])
    low = np.searchsorted(sorted_keys, time_key(pump, first_day), side="left")
    high = np.searchsorted(sorted_keys, time_key(pump, last_day), side="right")
    return low.astype(np.int64), np.maximum(low, high).astype(np.int64)


def date_words(days: "pd.Series[float] | Floats") -> list[str]:
    """Write days as ISO dates."""
    moments = pd.Timestamp(0) + pd.to_timedelta(np.asarray(days, dtype=np.float64), unit="D")
    return list(pd.DatetimeIndex(moments).strftime("%Y-%m-%d"))
