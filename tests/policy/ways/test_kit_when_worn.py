"""Looks with the whole kit when wear is found: against the simulator, by hand and at the limits."""

import numpy as np
import pytest

from pumplife.policy.ages import own_times
from pumplife.policy.pump import SideLife, integrate_side
from pumplife.policy.simulate_rates import simulate_way
from pumplife.policy.simulate_way import Inspection, Way
from pumplife.policy.ways.inspection import Look
from pumplife.policy.ways.kit_when_worn import look_cycle
from tests.policy.sides import draws, one_part


def look(share, detection=1.0):
    return Look(delay_share=np.atleast_1d(share), detection=detection, labour_h=0.0)


@pytest.mark.parametrize(
    ("every", "detection"), [(0.7, 1.0), (0.7, 0.6), (2.5, 0.8), (9.0, 0.5), (0.2, 0.3)]
)
def test_a_cycle_is_that_of_the_simulator(every, detection):
    """One part shows nothing, two show their last fifth or half; some lives end early."""
    share = np.array([0.0, 0.2, 0.5])
    lives = draws([[3.0], [2.5], [2.0]], [[16.0], [10.0], [14.0]], 0.03, 0.5)
    found = look_cycle(SideLife(lives=lives, count=np.ones(3)), look(share, detection), every)
    inspection = Inspection(every=every, delay_share=share, detection=detection, whole=True)
    tally = simulate_way(
        lives, Way(inspection=inspection), rng=np.random.default_rng(2), lanes=200, cycles=60
    )
    assert found.failed.sum() + found.found.item() == pytest.approx(1.0, abs=1e-4)
    for exact, counted in (
        *zip(found.failed[:, 0], tally.kit_failures, strict=True),
        (found.found[0], tally.found),
        (found.looks[0], tally.inspections),
        (1.0, tally.kits),
    ):
        rate, error = tally.per_usage(counted)
        bound = 4.0 * error[0] + 0.002 * rate[0]
        assert exact / found.usage[0] == pytest.approx(rate[0], abs=bound)


def test_like_positions_are_each_a_position():
    pair = SideLife(lives=draws([[2.5]], [[10.0]]), count=np.array([2.0]))
    two = SideLife(lives=draws([[2.5], [2.5]], [[10.0], [10.0]]), count=np.ones(2))
    one, other = look_cycle(pair, look(0.2), 1.0), look_cycle(two, look([0.2, 0.2]), 1.0)
    assert one.usage == pytest.approx(other.usage)
    assert one.found == pytest.approx(other.found)
    assert one.failed.sum(axis=0) == pytest.approx(other.failed.sum(axis=0))


def test_a_fixed_life_by_hand():
    """Lives of 10 that show from 8 on: looks every 3 find it at the third, every 7 never."""
    found = look_cycle(one_part(400.0, 10.0), look(0.2), 3.0)
    assert found.found.item() == pytest.approx(1.0, abs=1e-6)
    assert found.usage.item() == pytest.approx(9.0, rel=1e-3)
    assert found.looks.item() == pytest.approx(3.0, rel=1e-3)
    missed = look_cycle(one_part(400.0, 10.0), look(0.2), 7.0)
    assert missed.failed.item() == pytest.approx(1.0, abs=1e-6)
    assert missed.looks.item() == pytest.approx(1.0, rel=1e-3)


@pytest.mark.parametrize(("share", "detection", "every"), [(0.3, 0.0, 1.0), (0.0, 1.0, 1.0)])
def test_looks_that_find_nothing_are_running_to_failure(share, detection, every):
    side = SideLife(lives=draws([[2.0], [3.0]], [[10.0], [8.0]]), count=np.array([1.0, 2.0]))
    found = look_cycle(side, look([share, share], detection), every)
    never = integrate_side(side, own_times(side), nodes=6)
    assert found.found.item() == pytest.approx(0.0, abs=1e-12)
    assert found.usage == pytest.approx(never.uptime[-1], rel=1e-3)
    assert found.failed == pytest.approx(never.incidence[-1], abs=2e-3)


def test_closer_looks_let_fewer_parts_fail():
    failed = [
        look_cycle(one_part(2.5, 10.0), look(0.2, 0.8), every).failed.item()
        for every in np.geomspace(0.1, 5.0, 12)
    ]
    assert np.all(np.diff(failed) > 0.0)
