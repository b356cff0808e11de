"""Planned work spread over the weeks so that it fits on the bench."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pumplife.policy.pump import FloatArray
from pumplife.policy.ready import date_words, dates_of
from pumplife.policy.simulate import IntArray
from pumplife.policy.spread import place_work
from pumplife.policy.waiting import Waiting
from pumplife.records.plant import to_day
from pumplife.records.read import Records

WEEKS = 52
LEAST_SHARE = 0.2  # of the hours of the bench, for planned work
LOAD_COLUMNS = (
    "week", "site", "hours_planned", "hours_breakdowns", "limit", "pumps", "sides", "over_by",
    "note",
)  # fmt: skip
FULL = "the bench is full in the week it is due"
NO_ROOM = "the bench has no room for it within a year"
KIT = "its kit isn't there before"
STOP = "the outage is cheaper than its own day"
PASSED = "its limit is reached before"
FORCED = "its limit leaves no later week: beyond the hours of the bench"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Bench:
    """Hours of the bench of one site.

    Attributes
    ----------
    limit : float
        Hours a week [h], inf where not known.
    breakdowns : float array (weeks,)
        Of these expected to go to breakdowns, week by week, beyond the planned work that they do
        [h].
    """

    limit: float
    breakdowns: FloatArray

    def __repr__(self) -> str:
        """Say the hours."""
        return f"<Bench: {self.limit:.3g} h, {self.breakdowns.mean():.3g} h for breakdowns>"

    @property
    def room(self) -> FloatArray:
        """Hours of each week for planned work, (weeks,) [h].

        It keeps `LEAST_SHARE` of the bench however much breaks down: without planned work ever
        more would.
        """
        return np.maximum(self.limit - self.breakdowns, LEAST_SHARE * self.limit)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class WeekPlan:
    """The week of each piece of work.

    Attributes
    ----------
    week : int array (rows,)
        In which it begins, from this one on; -1 where the work lies beyond the weeks looked at.
    forced : bool array (rows,)
        Put into a full week since its limit leaves no other.
    worked : dict
        Hours of planned work done in each week at each site that has any, (weeks,) [h].
    """

    week: IntArray
    forced: NDArray[np.bool_]
    worked: dict[str, FloatArray]

    def __repr__(self) -> str:
        """Count the rows."""
        return f"<WeekPlan: {self.week.size} rows>"


def monday_of(day: float) -> float:
    """The Monday of a day's week [day]; day 0, 1970-01-01, was a Thursday."""
    return float(np.floor(day) - (np.floor(day) + 3.0) % 7.0)


def plan_weeks(
    due: pd.DataFrame, waiting: Waiting, benches: dict[str, Bench], today: float
) -> WeekPlan:
    """Spread the work that is due within a year, and not done at an outage, over the weeks.

    What a limit doesn't let wait comes first, beyond the room of a week where it must.  All other
    work is moved only where its week is full: later at the risk of a failure, or earlier within
    the near-best band, whichever is expected to cost less.  What begins late in a week runs on into
    the next one, and what is longer than a week into as many as it takes.

    Parameters
    ----------
    due : DataFrame
        Needs site, due_day, first_day, hard_day, kit_day, stop_day, hours.
    waiting : Waiting
        In the order of `due`.
    benches : dict
        By site.
    today : float
        [day]

    Returns
    -------
    WeekPlan
    """
    start = monday_of(today)
    week = np.full(len(due), -1)
    forced = np.zeros(len(due), bool)
    worked = {}
    wanted = wanted_days(due)
    near = (wanted - start < 7.0 * WEEKS) & due["stop_day"].isna().to_numpy()
    for site in due["site"].unique():
        rows = np.flatnonzero(near & (due["site"] == site).to_numpy())
        if not rows.size:
            continue
        cost, hard = week_costs(due, waiting, rows, today)
        place, forced[rows], worked[str(site)] = place_work(
            cost,
            due["hours"].to_numpy(float)[rows],
            benches[str(site)].room,
            hard,
            np.ones(WEEKS, bool),
        )
        week[rows] = np.where(place < 0, WEEKS, place)
    return WeekPlan(week=week, forced=forced, worked=worked)


def wanted_days(due: pd.DataFrame) -> FloatArray:
    """The due day of each row, or the day on which its kit is there [day]; NaN where none."""
    return np.asarray(np.maximum(due["due_day"].to_numpy(float), due["kit_day"].to_numpy(float)))


def wanted_value(due: pd.DataFrame, waiting: Waiting, rows: IntArray, today: float) -> FloatArray:
    """Value of renewing each row in the week wanted, (rows,) [money]."""
    start = monday_of(today)
    want = np.maximum(week_of(wanted_days(due)[rows], start), 0)
    return waiting.on(np.maximum(start + 7.0 * want - today, 0.0), rows)


def week_costs(
    due: pd.DataFrame, waiting: Waiting, rows: IntArray, today: float
) -> tuple[FloatArray, NDArray[np.bool_]]:
    """What each week costs more than the one wanted, (rows, weeks) [money], and what can't wait.

    Weeks before the near-best band or the kit, or after a limit, are inf.  A week that would be
    cheaper than the one wanted counts as equal, and the nearest is taken: work isn't moved
    without need.
    """
    start, weeks = monday_of(today), np.arange(WEEKS)
    table = due.iloc[rows]
    value = waiting.at(np.maximum(start + 7.0 * weeks - today, 0.0), rows)
    first = np.maximum(table["first_day"].to_numpy(float), table["kit_day"].to_numpy(float))
    earliest = week_of(np.maximum(first, today), start)
    want = np.maximum(week_of(wanted_days(due)[rows], start), 0)
    last = np.maximum(week_of(table["hard_day"].to_numpy(float), start), earliest)
    more = np.maximum(value - wanted_value(due, waiting, rows, today)[:, None], 0.0)
    scale = max(float(np.abs(value).max()), 1e-300)
    more += 1e-9 * scale * np.abs(weeks - want[:, None])
    outside = (weeks < earliest[:, None]) | (weeks > last[:, None])
    return np.where(outside, np.inf, more), last < WEEKS


def week_of(day: FloatArray, start: float) -> IntArray:
    """Weeks from the first Monday on; far beyond where there is no day."""
    far = np.where(np.isfinite(day), day, 1e6)
    return np.floor((far - start) / 7.0).astype(np.int64)


def do_days(due: pd.DataFrame, plan: WeekPlan, today: float) -> tuple[FloatArray, list[str]]:
    """Day of the work of each row, and why it isn't the due day ("" where it is).

    In the week wanted the work stands on its own day; moved to another week, on its Monday.
    """
    start = monday_of(today)
    stop, own = due["stop_day"].to_numpy(float), due["due_day"].to_numpy(float)
    kit = due["kit_day"].to_numpy(float)
    wanted = wanted_days(due)
    kept = (plan.week < 0) | (plan.week == week_of(wanted, start))
    monday = np.maximum(np.maximum(start + 7.0 * plan.week, today), np.maximum(kit, today))
    day = np.where(np.isfinite(stop), stop, np.where(kept, wanted, monday))
    late = KIT + " " + date_words(due["kit_day"])
    kit_words = late.where(wanted > np.maximum(own, today), "").to_numpy(object)
    why = np.select(
        [np.isfinite(stop), plan.week == WEEKS, plan.forced & (kit_words == ""), plan.forced],
        [STOP, NO_ROOM, FORCED, kit_words + "; " + FORCED],
        default=np.where(kept | np.isnan(day), kit_words, FULL),
    )
    passed = np.floor(day) > np.floor(due["hard_day"].to_numpy(float))
    return day, [
        "; ".join(filter(None, (str(word), PASSED if beyond else "")))
        for word, beyond in zip(why, passed, strict=True)
    ]


def load_table(
    records: Records, due: pd.DataFrame, plan: WeekPlan, benches: dict[str, Bench]
) -> pd.DataFrame:
    """Hours and pumps per week and site, the week of the end of the records first.

    Parameters
    ----------
    records : Records
    due : DataFrame
        Needs site, pump.
    plan : WeekPlan
    benches : dict
        By site.

    Returns
    -------
    DataFrame
        See `LOAD_COLUMNS`; pumps and sides are those that begin in the week, hours what is worked
        in it.  Work at outages isn't among it.
    """
    start = monday_of(to_day(records.plant.records_to))
    placed = (plan.week >= 0) & (plan.week < WEEKS)
    work = due.loc[placed, ["site", "pump"]].assign(
        week=plan.week[placed], forced=plan.forced[placed]
    )
    sums = work.groupby(["site", "week"]).agg(
        pumps=("pump", "nunique"),
        sides=("pump", "size"),
        forced=("forced", "sum"),
    )
    every = pd.MultiIndex.from_product([sorted(benches), range(WEEKS)], names=["site", "week"])
    table = sums.reindex(every, fill_value=0).reset_index()
    bench = table["site"].map(benches)
    none = np.zeros(WEEKS)
    table["hours_planned"] = np.ravel([plan.worked.get(site, none) for site in sorted(benches)])
    table["hours_breakdowns"] = np.ravel([benches[site].breakdowns for site in sorted(benches)])
    table["limit"] = [one.limit if np.isfinite(one.limit) else np.nan for one in bench]
    both = table["hours_planned"] + table["hours_breakdowns"]
    table["over_by"] = (both - table["limit"]).clip(lower=0.0).fillna(0.0).round(9)
    table["note"] = _load_notes(table)
    table["week"] = dates_of(start + 7.0 * table["week"])
    return table[list(LOAD_COLUMNS)]


def _load_notes(table: pd.DataFrame) -> list[str]:
    """Why a week holds more than the bench has, and what only runs on in it."""
    forced = table["forced"].astype(int).astype(str) + " sides that a limit doesn't let wait"
    crowded = table["hours_breakdowns"] + table["hours_planned"] > table["limit"] * (1.0 + 1e-9)
    runs_on = (table["sides"] == 0) & (table["hours_planned"] > 0.0)
    notes = np.select(
        [
            crowded & (table["forced"] > 0),
            crowded & (table["hours_planned"] > 0.0),
            crowded,
            runs_on,
        ],
        [
            forced,
            f"breakdowns leave less than {LEAST_SHARE:.0%} for planned work".replace("%", " %"),
            "breakdowns alone",
            "work of the weeks before runs on, nothing else begins",
        ],
        default="",
    )
    return [str(note) for note in notes]


def say_full(
    records: Records, plan: WeekPlan, due: pd.DataFrame, benches: dict[str, Bench]
) -> None:
    """Name in the audit every site whose bench can't hold its planned work within a year."""
    for site, bench in benches.items():
        left = int(((plan.week == WEEKS) & (due["site"] == site).to_numpy()).sum())
        if not left:
            continue
        records.log.add(
            "caution",
            f"The bench{f' of {site}' if site else ''} has no room within a year for {left} "
            f"rebuilds: {bench.limit:.3g} h a week, {bench.breakdowns.mean():.3g} h of them for "
            "breakdowns.",
            rule="bench_full",
            table="due",
            consequence="They stand after the year; until then they may fail.",
            remedy="Plan more hours (bench_hours_per_week, bench_hours of an outage), or send "
            "work out.",
        )
