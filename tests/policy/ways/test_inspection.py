"""Inspections by the delay-time model: against chance, by hand and at their limits."""

import numpy as np
import pytest

from pumplife.policy.pump import SideLife
from pumplife.policy.simulate_rates import simulate_way
from pumplife.policy.simulate_way import Inspection, Way
from pumplife.policy.ways.inspection import Look, look_rates
from tests.policy.sides import draws, one_part


def look(share, detection=1.0):
    return Look(delay_share=np.atleast_1d(share), detection=detection, labour_h=0.0)


@pytest.mark.parametrize(
    ("detection", "shape", "share", "every"),
    [(0.6, 2.5, 0.2, 0.7), (1.0, 2.0, 0.3, 5.0), (0.3, 3.0, 0.1, 0.3), (0.9, 1.3, 0.5, 2.0)],
)
def test_rates_are_those_of_signs_drawn_one_by_one(detection, shape, share, every):
    rng = np.random.default_rng(1)
    life = 10.0 * rng.weibull(shape, 200_000)
    delay = share * life
    seen_after = rng.random(life.size) * every + every * (rng.geometric(detection, life.size) - 1)
    found = seen_after < delay
    cycle = life - delay + np.where(found, seen_after, delay)
    failures, worn = look_rates(one_part(shape, 10.0), look(share, detection), np.array([every]))
    share_found, error = found.mean(), 4.0 * found.std() / np.sqrt(life.size)
    assert (worn / (worn + failures)).item() == pytest.approx(share_found, abs=error)
    length = 1.0 / (worn + failures).item()
    assert length == pytest.approx(cycle.mean(), abs=4.0 * cycle.std() / np.sqrt(life.size))


@pytest.mark.parametrize("detection", [1.0, 0.6])
def test_looks_far_closer_than_lives_agree_with_the_simulator(detection):
    """The simulator keeps track of every look; even signs between looks are the model's."""
    lives = draws([[2.5], [2.0]], [[10.0], [14.0]])
    share, every = np.array([0.2, 0.1]), 1.0
    way = Way(
        kit_share=0.0,
        inspection=Inspection(every=every, delay_share=share, detection=detection),
    )
    tally = simulate_way(lives, way, rng=np.random.default_rng(2), lanes=400, cycles=60)
    failures, found = look_rates(
        SideLife(lives=lives, count=np.ones(2)), look(share, detection), np.array([every])
    )
    for exact, counted in ((failures, tally.failures), (found, tally.also)):
        rate, error = tally.per_usage(counted)
        assert exact[0] == pytest.approx(rate, abs=4.0 * error.max() + 0.01 * rate.max())


def test_a_fixed_delay_by_hand():
    """Nearly fixed lives of 10 with the last 2 showing, looks every 4: half the signs are seen."""
    failures, found = look_rates(one_part(400.0, 10.0), look(0.2), np.array([4.0]))
    assert (failures / (failures + found)).item() == pytest.approx(0.5, abs=0.01)
    assert 1.0 / (failures + found).item() == pytest.approx(8.0 + 1.5, rel=0.01)


def test_limits():
    side = one_part(2.0, 10.0)
    mean = side.lives.mean().item()
    failures, found = look_rates(side, look(0.3, 0.0), np.array([1.0]))
    assert failures.item() == pytest.approx(1.0 / mean, rel=1e-3)
    assert found.item() == pytest.approx(0.0, abs=1e-9)
    failures, _ = look_rates(side, look(0.3), np.array([1e6]))
    assert failures.item() == pytest.approx(1.0 / mean, rel=1e-3)
    failures, found = look_rates(side, look(0.3), np.array([1e-2]))
    assert failures.item() < 0.01 * found.item()
    assert found.item() == pytest.approx(1.0 / (0.7 * mean), rel=0.01)
    failures, found = look_rates(side, look(0.0), np.array([1.0]))
    assert failures.item() == pytest.approx(1.0 / mean)
    assert found.item() == 0.0


def test_more_looks_find_more():
    every = np.geomspace(0.1, 5.0, 12)
    failures, _ = look_rates(one_part(2.5, 10.0), look(0.15, 0.8), every)
    assert np.all(np.diff(failures[:, 0, 0]) > 0.0)
