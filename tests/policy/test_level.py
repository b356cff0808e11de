"""Breakdowns that planned work leaves to the bench, by hand, and both in step."""

import numpy as np
import pandas as pd
import pytest

from pumplife.policy.level import bench_weeks, level_work
from pumplife.policy.load import LEAST_SHARE, WEEKS, Bench
from pumplife.policy.waiting import DAYS, Waiting

TODAY = 4.0  # a Monday


def fleet(days, chance_a_week, *, breakdown_h=4.0, hours=3.0):
    """Sides that fail with a chance a week until they are renewed, then never; due on `days`."""
    rows = len(days)
    chance = np.repeat(chance_a_week * DAYS[:, None] / 7.0, rows, axis=1)
    waiting = Waiting(
        value=np.repeat(100.0 * DAYS[:, None], rows, axis=1),
        quarter=np.zeros(rows),
        cost=np.zeros(rows),
        chance=chance,
        broken=breakdown_h * chance,
        broken_after=np.zeros_like(chance),
    )
    due = pd.DataFrame({"due_day": TODAY + np.asarray(days), "hours": hours, "site": "works"})
    due = due.assign(first_day=due["due_day"], kit_day=TODAY, hard_day=np.inf, stop_day=np.nan)
    return due, waiting


def test_a_side_fails_until_it_is_renewed_and_its_breakdown_does_the_planned_work():
    due, waiting = fleet([0.0], 0.01)
    broken = bench_weeks(due, waiting, {"works": 9.0}, np.array([10]))["works"].breakdowns
    assert broken[:10] == pytest.approx(0.01 * (4.0 - 3.0))
    assert broken[10:] == pytest.approx(0.0)


@pytest.mark.parametrize(("week", "stop"), [(WEEKS, np.nan), (10, TODAY + 70.0)])
def test_work_that_isn_t_on_the_bench_takes_nothing_off(week, stop):
    due, waiting = fleet([0.0], 0.01)
    due["stop_day"] = stop
    broken = bench_weeks(due, waiting, {"works": 9.0}, np.array([week]))["works"].breakdowns
    assert broken[:week] == pytest.approx(0.01 * 4.0)


def test_planned_work_keeps_a_share_of_the_bench():
    room = Bench(limit=10.0, breakdowns=np.array([0.0, 7.0, 30.0])).room
    assert room == pytest.approx([10.0, 3.0, 10.0 * LEAST_SHARE])


def test_a_plan_is_made_with_the_breakdowns_that_it_leaves():
    """Forty overdue sides, 6 h a week less 0.04 h for each that waits: 24 weeks or some more."""
    due, waiting = fleet(np.zeros(40), 0.01, breakdown_h=7.0)
    plan, benches = level_work(due, waiting, {"works": 6.0}, TODAY)
    assert np.all(plan.week < WEEKS)
    again = bench_weeks(due, waiting, {"works": 6.0}, plan.week)["works"].breakdowns
    assert benches["works"].breakdowns == pytest.approx(again, abs=0.1)
    waiting_hours = again.sum()
    assert waiting_hours > 10.0
    weeks = (40 * 3.0 + waiting_hours) / 6.0  # all hours of the bench until the last is done
    assert plan.week.max() == pytest.approx(weeks, abs=1.5)
    assert (plan.worked["works"] + benches["works"].breakdowns <= 6.0 + 1e-9).all()


def test_enough_hours_over_the_year_put_nothing_off_for_months():
    """Room of 5.4 h and pieces of 3.8 h: two overdue a week would fit whole only by halves."""
    due, waiting = fleet(np.zeros(13), 0.0, hours=3.8)
    plan, _ = level_work(due, waiting, {"works": 5.4}, TODAY)
    assert plan.week.max() == 8  # the last begins after 12 x 3.8 = 45.6 h of work, 8.4 weeks
    assert sorted(plan.week) == [0, 0, 1, 2, 2, 3, 4, 4, 5, 6, 7, 7, 8]
