"""Planned jobs known ahead, and what they do to demand: by hand."""

import numpy as np
import pytest

from pumplife.policy.simulate import PLANNED, SideEvents
from pumplife.stock.demand import simulate_futures
from pumplife.stock.future import planned_at
from pumplife.stock.jobs import list_jobs
from pumplife.stock.looks import count_looks
from tests.stock.fleets import lives, mean_of, run_to_failure, side_group, simulate_demand

YEAR = 365.25


def events(*rows):
    """Events given as (pump, future, day, position that failed or PLANNED, whole side)."""
    pump, future, day, position, kit = (np.array(column) for column in zip(*rows, strict=True))
    return SideEvents(
        pump=pump, replicate=future, time=day / YEAR, position=position, kit=kit.astype(bool)
    )


def test_a_breakdown_takes_the_job_off_the_list():
    # 10 h a day, renewed at 1000 h: every 100 days; pump 0 has run 700 h, pump 1 is new
    group = side_group(2, lives([1.0], [1e9]), usage=10 * YEAR)
    group.clock_age[:] = (700.0, 0.0)
    happened = events((0, 0, 20.0, 0, True), (0, 0, 120.0, PLANNED, True), (1, 0, 50.0, 0, False))
    jobs = list_jobs(group, planned_at(1000.0), happened, 1, 200.0)
    rows = sorted(zip(jobs.pump, jobs.since, jobs.due, jobs.until, strict=True))
    # a part renewed alone moves no job: pump 1 is due on day 100 as planned
    wanted = [(0, 0, 30, 20), (0, 20, 120, 120), (1, 0, 100, np.inf)]
    np.testing.assert_allclose(np.array(rows), np.array(wanted, float))


def test_no_interval_no_jobs():
    happened = events((0, 0, 20.0, 0, True))
    jobs = list_jobs(side_group(1, lives([1.0], [1e3])), run_to_failure(), happened, 1, 900.0)
    assert len(jobs.due) == 0


def demand_of(group, way, **changes):
    settings = {"review_days": 30.0, "replicates": 400, "seed": 3} | changes
    (kit,) = simulate_demand([group], [way], {"K": (60.0, 60.0)}, **settings)
    return kit


def spans_of(group, way):
    """Demand of the kit over each span, look by look and future by future."""
    found = simulate_futures([group], [way], {"K": (60.0, 60.0)}, review_days=30.0, replicates=400,
                             seed=3)  # fmt: skip
    looks = count_looks(found.needs, found.jobs, (found.lead, found.listed, found.review))
    return [span[0] for span in looks.whole()]


def test_jobs_listed_at_a_look_are_no_demand_to_guard_against():
    # never failing; due on days 20, 70 and 130: known from the start
    group = side_group(3, lives([5.0], [1e9]), usage=YEAR, age=0.0)
    group.clock_age[:] = (980.0, 930.0, 870.0)
    lead, _, whole = spans_of(group, planned_at(1000.0))
    assert max(whole.max(), lead.max()) == 0
    # looks on days 0, 30, 60 and 90: ahead until 90, 120, 150, 180; taken until 60, 90, 120, 150
    firsts = lead.reshape(4, -1)[:, 0]
    assert firsts.tolist() == [1 - 2, 1 - 1, 1 - 2, 1 - 1]
    assert whole.reshape(4, -1)[:, 0].tolist() == [0, 0, 0, 0]
    assert demand_of(group, planned_at(1000.0)).seen.of == 0


def test_a_breakdown_uses_what_was_ordered_for_the_job_it_forestalls():
    # all due within 60 days, nearly all fail before: each failure finds its own job's kit
    group = side_group(20, lives([1.0], [200.0]), usage=10 * YEAR)
    group.clock_age[:] = 9400.0
    first = spans_of(group, planned_at(10_000.0))[0].reshape(4, -1)[0]
    alone = spans_of(group, run_to_failure())[0].reshape(4, -1)[0]
    assert alone.mean() == pytest.approx(20 * 600 / 200, rel=0.05)
    assert first.mean() == pytest.approx(20 * (600 / 200 - 1), rel=0.06)


def test_what_was_seen_before_each_demand_is_poisson():
    """A demand of a memoryless fleet sees what a moment by chance sees."""
    kit = demand_of(side_group(20, lives([1.0], [2000.0])), run_to_failure(), replicates=4000)
    mean = 10 * 75 / YEAR  # half a review period past the lead time
    assert mean_of(kit.seen) == pytest.approx(mean, rel=0.02)
    assert kit.seen.lowest == 0
