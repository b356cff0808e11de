"""What is due on which pump, when it is to be done, and how much work that is every week."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from pumplife.lives.build import Lives
from pumplife.policy.ahead import UseAhead, look_ahead, open_outlook
from pumplife.policy.bench import bench_limits, hours_saved
from pumplife.policy.decide import Decision
from pumplife.policy.due_ages import DueAges, advised_ages, given_ages
from pumplife.policy.groups import SideGroup
from pumplife.policy.level import bench_weeks, level_work, wanted_weeks
from pumplife.policy.load import LOAD_COLUMNS, do_days, load_table, say_full
from pumplife.policy.outage import OUTAGE_COLUMNS, plan_stops
from pumplife.policy.own_days import find_own_days
from pumplife.policy.pump import FloatArray
from pumplife.policy.ready import dates_of, hand_out_kits, say_ready
from pumplife.policy.waiting import chance_by, weigh_waiting
from pumplife.records.plant import to_day
from pumplife.records.read import Records
from pumplife.records.usage import UsageClock

FURTHEST_DAYS = 36_500.0  # due dates beyond a century are left blank
DUE_COLUMNS = (
    "pump_id", "site", "location", "service", "side", "kit", "clock_from", "age_now", "age_known",
    "due_usage", "due_on", "outage_on", "do_on", "moved_because", "without_advice", "priority",
    "overdue_by", "kit_ready", "failure_prob_by_due", "failure_prob_13_weeks", "ticket_id", "store",
    "hazard", "group", "usage_per_week", "cost_of_waiting", "work_h",
)  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class DuePlan:
    """The due list, and the work that it makes.

    Attributes
    ----------
    due : DataFrame
        One row per pump and side with advice, or with an adopted interval or a limit of its own,
        the most pressing first; `due_usage` is the reading of the side's own clock, usage since
        its last renewal, and blank where the side runs to failure. Where no interval is advised
        `without_advice` says why, and what its failures would cost isn't known: those cells are
        blank, and bench and outages reckon with none.
    load : DataFrame
        One row per week and site.
    outage : DataFrame
        One row per outage and side that is renewed at it, or due about then and left.
    first_days : tuple of float arrays (groups,), each (pumps,)
        When each pump's side is renewed as planned, inf where never [days from today]; empty for
        a group without a decision.
    """

    due: pd.DataFrame
    load: pd.DataFrame
    outage: pd.DataFrame
    first_days: tuple[FloatArray, ...]

    def __repr__(self) -> str:
        """Count the rows."""
        return f"<DuePlan: {len(self.due)} sides>"


def plan_due(
    records: Records,
    clock: UsageClock,
    lives: Lives,
    groups: tuple[SideGroup, ...],
    decisions: tuple[Decision | None, ...],
) -> DuePlan:
    """When to do what, by the followed interval of each group, else by figures given for it.

    A side is due when it reaches its interval, by the use that is planned.  Kits go to the work
    due first.  All work is spread over the weeks within the hours of the bench, so that overdue
    sides come one after the other, dearest to wait for first, and no limit is passed.  What a
    coming outage of the site makes cheaper than that is moved to the outage, within its hours; the
    rest is spread anew.

    Parameters
    ----------
    records : Records
        Gives outages, hours of the bench, stock, orders and lead times; its audit gets what stood
        in for missing hours.
    clock : UsageClock
    lives : Lives
        Its visits tell what the bench got done.
    groups : tuple of SideGroup
    decisions : tuple of Decision or None

    Returns
    -------
    DuePlan
    """
    today = to_day(records.plant.records_to)
    outlook = open_outlook(records)
    ahead = tuple(look_ahead(outlook, group) for group in groups)
    every = [
        advised_ages(group, decision) if decision else given_ages(records, group)
        for group, decision in zip(groups, decisions, strict=True)
    ]
    frames = [
        _group_rows(number, (groups[number], ahead[number]), ages, today)
        for number, ages in enumerate(every)
        if not np.isnan(ages.interval).all()
    ]
    if not frames:
        return _nothing_due(len(groups))
    due = pd.concat(frames, ignore_index=True)
    due["hours"] = due["work_h"].fillna(0.0)
    due["pump_id"] = records.pumps["pump_id"].to_numpy(object)[due["pump"]]
    _say_borrowed_rates(records, clock, due)
    waiting = weigh_waiting(due, groups, decisions, ahead)
    due = due.assign(cost_of_waiting=waiting.cost, quarter=waiting.quarter)
    due = due.join(hand_out_kits(records, due))
    due = due.assign(saved_h=_saved_hours(records, lives, due))
    sites = sorted({str(site) for site in due["site"]})
    limits = bench_limits(records, lives, sites)
    wanted = wanted_weeks(due, today)
    due["own_day"] = find_own_days(records, due, waiting, bench_weeks(due, waiting, limits, wanted))
    due["stop_day"], outage = plan_stops(records, due, waiting)
    plan, benches = level_work(due, waiting, limits, today)
    due["do_day"], due["moved_because"] = do_days(due, plan, today)
    say_full(records, plan, due, benches)
    wait = np.maximum(due["do_day"] - today, 0.0)
    due["by_due"] = chance_by(due, groups, decisions, ahead, wait)
    due["kit_ready"] = say_ready(records, due)
    days = np.nan_to_num(due["do_day"].to_numpy(float) - today, nan=np.inf)
    return DuePlan(
        due=_finish(due),
        load=load_table(records, due, plan, benches),
        outage=_finish_outage(due, outage),
        first_days=tuple(days[due["group"] == number] for number in range(len(groups))),
    )


def _nothing_due(groups: int) -> DuePlan:
    return DuePlan(
        due=pd.DataFrame(columns=list(DUE_COLUMNS)),
        load=pd.DataFrame(columns=list(LOAD_COLUMNS)),
        outage=pd.DataFrame(columns=list(OUTAGE_COLUMNS)),
        first_days=(np.zeros(0),) * groups,
    )


def _group_rows(
    number: int, told: tuple[SideGroup, UseAhead], ages: DueAges, today: float
) -> pd.DataFrame:
    """Clock, due day and work of every pump of a group of which an age is known."""
    group, _ = told
    interval = ages.interval
    left = interval - group.clock_age
    rows = pd.DataFrame(
        {
            "group": number,
            "pump": group.pumps,
            "site": group.site,
            "location": group.location,
            "store": group.store,
            "service": group.service,
            "side": group.side,
            "kit": group.kit,
            "hazard": group.hazard,
            "clock_day": group.clock_day,
            "age_now": group.clock_age,
            "age_known": np.where(group.clock_known & group.known.all(axis=1), "yes", "at least"),
            "due_usage": np.where(np.isfinite(interval), interval, np.nan),
            "due_day": _day_of(told, interval, today),
            "first_day": _day_of(told, ages.earliest, today),
            "hard_day": np.nan_to_num(_day_of(told, ages.limit, today), nan=np.inf),
            "overdue_by": np.where(np.isfinite(left), np.maximum(-left, 0.0), np.nan),
            "usage_per_week": 7.0 * group.rate,
            "work_h": ages.hours,
            "spared": ages.spared,
            "without_advice": ages.without_advice,
        }
    )
    return rows[~np.isnan(interval)]


def _day_of(told: tuple[SideGroup, UseAhead], age: float | FloatArray, today: float) -> FloatArray:
    """Day on which each pump reaches an age, today where it is beyond; NaN where never."""
    group, ahead = told
    left = np.maximum(age - group.clock_age, 0.0)
    days = np.divide(left, group.rate, out=np.full(left.size, np.inf), where=group.rate > 0.0)
    days = ahead.day_of(np.arange(left.size), np.where(left > 0.0, days, 0.0))
    return np.where(days < FURTHEST_DAYS, today + days, np.nan)


def _say_borrowed_rates(records: Records, clock: UsageClock, due: pd.DataFrame) -> None:
    """Name the pumps that have no usage rate of their own."""
    unknown = ~np.isfinite(clock.rate[due["pump"]])
    dated = due[["due_usage", "usage_per_week"]].notna().all(axis=1).to_numpy()
    rows = due[unknown & dated].drop_duplicates("pump")
    records.log.add_rows(
        rows[["pump_id"]],
        severity="caution",
        rule="rate_borrowed",
        table="due",
        what="The pump has no usage rate of its own.",
        consequence="Its due dates rest on the median rate of the pumps of its group.",
        remedy="Give readings, or write use_per_week in pumps.",
    )


def _saved_hours(records: Records, lives: Lives, due: pd.DataFrame) -> FloatArray:
    """Hours that each row's pump saves when both sides are renewed in one opening [h]."""
    hours = due.pivot_table(index="pump", columns="side", values="hours", aggfunc="first")
    hours = hours.reindex(columns=["fluid", "air"]).fillna(0.0)
    saved = hours_saved(records, lives, *hours.to_numpy(float).T)
    return np.asarray(pd.Series(saved, index=hours.index).reindex(due["pump"]).to_numpy(float))


def _finish(due: pd.DataFrame) -> pd.DataFrame:
    """Dates, ranks and ticket numbers; the most pressing row first.

    Where what waiting costs isn't known, an overdue side comes first and another one last.
    """
    due = due.assign(
        due_on=dates_of(due["due_day"]),
        outage_on=dates_of(due["stop_day"]),
        do_on=dates_of(due["do_day"]),
        clock_from=dates_of(due["clock_day"]),
        failure_prob_by_due=due["by_due"],
        failure_prob_13_weeks=due["quarter"],
        work_h=due["work_h"].where(due["do_day"].notna()),
        planned=due["do_day"].notna(),
        pressing=due["cost_of_waiting"].fillna(due["overdue_by"].gt(0.0).map({True: np.inf})),
    )
    due = due.sort_values(
        ["planned", "pressing", "failure_prob_13_weeks", "overdue_by", "pump_id", "side"],
        ascending=[False, False, False, False, True, True],
        kind="stable",
        ignore_index=True,
    )
    due["priority"] = np.arange(1, len(due) + 1)
    stamp = due["do_on"].dt.strftime("%Y%m%d")
    letter = due["side"].str[:1].str.upper()
    due["ticket_id"] = (due["pump_id"] + "-" + letter + "-" + stamp).where(due["planned"], "")
    return due[list(DUE_COLUMNS)]


def _finish_outage(due: pd.DataFrame, outage: pd.DataFrame) -> pd.DataFrame:
    """The outage list with the pumps' own columns."""
    if outage.empty:
        return outage[list(OUTAGE_COLUMNS)]
    names = ["pump_id", "side", "kit", "site", "location", "service", "kit_ready"]
    own = due.assign(due_on=dates_of(due["due_day"]))[[*names, "due_on"]]
    listed = outage.assign(outage_on=dates_of(outage["outage_day"]))
    listed = listed.merge(own, left_on="row", right_index=True)
    order = {"rebuild": 0, "leave": 1}
    listed = listed.assign(rank=listed["do"].map(order)).sort_values(
        ["outage_on", "site", "rank", "gain", "pump_id", "side"],
        ascending=[True, True, True, False, True, True],
        kind="stable",
        ignore_index=True,
    )
    return listed[list(OUTAGE_COLUMNS)]
