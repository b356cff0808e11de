"""The weeks of planned work and the breakdowns that it leaves, each reckoned from the other."""

from __future__ import annotations

import numpy as np
import pandas as pd

from pumplife.policy.load import WEEKS, Bench, WeekPlan, monday_of, plan_weeks, wanted_days, week_of
from pumplife.policy.pump import FloatArray
from pumplife.policy.simulate import IntArray
from pumplife.policy.waiting import DAYS, Waiting

ROUNDS = 4


def level_work(
    due: pd.DataFrame, waiting: Waiting, limits: dict[str, float], today: float
) -> tuple[WeekPlan, dict[str, Bench]]:
    """Spread the work over the weeks, with as many breakdowns as it leaves.

    At first as if all were renewed on the day wanted; then with the breakdowns of what waits
    longer, until no piece moves or the rounds are over.

    Parameters
    ----------
    due : DataFrame
        Needs what `plan_weeks` does.
    waiting : Waiting
        In the order of `due`.
    limits : dict
        Hours a week of the bench of each site [h].
    today : float
        [day]

    Returns
    -------
    plan : WeekPlan
    benches : dict
        By site, with the breakdowns by which the plan was made.
    """
    week = wanted_weeks(due, today)
    plan, benches = _one_round(due, waiting, limits, week, today)
    for _ in range(ROUNDS - 1):
        moved = np.where(plan.week < 0, week, plan.week)
        if np.array_equal(moved, week):
            break
        week = moved
        plan, benches = _one_round(due, waiting, limits, week, today)
    return plan, benches


def _one_round(
    due: pd.DataFrame, waiting: Waiting, limits: dict[str, float], week: IntArray, today: float
) -> tuple[WeekPlan, dict[str, Bench]]:
    benches = bench_weeks(due, waiting, limits, week)
    return plan_weeks(due, waiting, benches, today), benches


def wanted_weeks(due: pd.DataFrame, today: float) -> IntArray:
    """The week of the outage, else the one wanted, of each row; `WEEKS` where beyond a year."""
    day = wanted_days(due)
    if "stop_day" in due:
        day = np.where(due["stop_day"].isna(), day, due["stop_day"].to_numpy(float))
    return np.clip(week_of(day, monday_of(today)), 0, WEEKS)


def bench_weeks(
    due: pd.DataFrame, waiting: Waiting, limits: dict[str, float], week: IntArray
) -> dict[str, Bench]:
    """The bench of each site, with the breakdowns expected when each row is renewed in its week.

    A breakdown does the planned work of its own side, too: the hours that stand on the bench for
    that are taken off.
    """
    before, after, chance = (
        np.diff(_by_week(curve), axis=0)
        for curve in (waiting.broken, waiting.broken_after, waiting.chance)
    )
    booked = np.where(week < WEEKS, due["hours"].to_numpy(float), 0.0)
    if "stop_day" in due:
        booked[due["stop_day"].notna()] = 0.0
    before = np.maximum(before - booked * chance, 0.0)
    since = np.arange(WEEKS)[:, None] - week
    renewed = np.take_along_axis(after, np.maximum(since, 0), axis=0)
    hours = pd.DataFrame(np.where(since < 0, before, renewed).T)
    broken = hours.groupby(due["site"].astype(str).to_numpy(object)).sum()
    return {
        site: Bench(limit=limit, breakdowns=broken.loc[site].to_numpy(float))
        for site, limit in limits.items()
    }


def _by_week(curve: FloatArray) -> FloatArray:
    """A curve over `DAYS` at the ends of the weeks, today first, (weeks + 1, rows)."""
    weights = np.array(
        [np.interp(7.0 * np.arange(WEEKS + 1), DAYS, one) for one in np.eye(DAYS.size)]
    )
    return np.asarray(weights.T @ curve)
