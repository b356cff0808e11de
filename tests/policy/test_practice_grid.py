"""Today's practice on a coarse grid against one eight times as fine, and where it is known."""

import numpy as np
import pytest

from pumplife.policy import practice
from pumplife.policy.ladder import integrate_ladder
from pumplife.policy.practice import failed_part_rates, practice_rates, rates_of
from pumplife.policy.pump import SideLife, integrate_to
from pumplife.policy.simulate_way import PlannedAges
from tests.policy.sides import draws

COUNT = np.array([2.0, 4.0, 4.0])
COSTS = np.array([6.0, 4.0, 3.0])


def side_of(shape, early):
    rng = np.random.default_rng(2)
    shapes = shape * rng.lognormal(0.0, 0.15, (3, 20))
    scales = rng.uniform(8.0, 30.0, (3, 1)) * rng.lognormal(0.0, 0.2, (3, 20))
    return SideLife(lives=draws(shapes, scales, early, 0.3), count=COUNT)


def planned_about(mean, *, never=0.4):
    ages = np.array([0.05, 0.5, 1.0, 2.0, 3.3]) * mean
    weights = (1.0 - never) * np.full(5, 0.2)
    return PlannedAges(ages=np.append(ages, np.inf), weights=np.append(weights, never))


def money(rates):
    return COSTS @ rates.failures + rates.planned


@pytest.mark.parametrize("early", [0.0, 0.04])
@pytest.mark.parametrize("shape", [0.7, 1.0, 2.3, 4.0])
@pytest.mark.parametrize("kit_share", [0.05, 0.4, 0.9])
def test_the_grid_is_fine_enough(monkeypatch, shape, early, kit_share):
    side = side_of(shape, early)
    known = integrate_ladder(side)
    planned = planned_about(known.uptime[-1].mean())
    coarse = practice_rates(side, planned, kit_share, known=known)
    monkeypatch.setattr(practice, "STEPS_A_LIFE", 8.0 * practice.STEPS_A_LIFE)
    monkeypatch.setattr(practice, "MOST_STEPS", 20_000)
    fine = practice_rates(side, planned, kit_share, known=known)
    assert money(coarse) == pytest.approx(money(fine), rel=1e-3)
    assert coarse.planned == pytest.approx(fine.planned, rel=1e-3)
    assert coarse.failures == pytest.approx(fine.failures, rel=4e-3)


def test_constant_hazards_fail_as_often_whatever_is_renewed():
    # shape 1: a failure rate of count / scale, planned or not, kit or part
    side = SideLife(lives=draws([[1.0], [1.0]], [[10.0], [20.0]]), count=np.array([2.0, 4.0]))
    for kit_share in (0.1, 0.5, 0.9):
        rates = practice_rates(side, planned_about(2.5), kit_share)
        assert rates.failures[:, 0] == pytest.approx([0.2, 0.2], rel=1e-4)


def test_between_kit_and_failed_part_lie_both_ends():
    side = side_of(2.3, 0.0)
    known = integrate_ladder(side)
    never = PlannedAges(ages=np.array([np.inf]), weights=np.ones(1))
    whole = rates_of(integrate_to(side, known, np.array([np.inf])))
    almost = practice_rates(side, never, 0.9499, known=known)
    assert almost.failures.sum(axis=0) == pytest.approx(whole.failures.sum(axis=0), rel=0.06)
    alone = failed_part_rates(side.lives.mean(), side.count)
    hardly = practice_rates(side, never, 0.02, known=known)
    assert hardly.failures.sum(axis=0) == pytest.approx(alone.failures.sum(axis=0), rel=0.08)


def test_a_planned_age_beyond_the_grid_is_as_good_as_never():
    side = side_of(2.3, 0.04)
    known = integrate_ladder(side)
    far = PlannedAges(ages=np.array([1e5]), weights=np.ones(1))
    never = PlannedAges(ages=np.array([np.inf]), weights=np.ones(1))
    one, other = (practice_rates(side, way, 0.5, known=known) for way in (far, never))
    assert one.failures == pytest.approx(other.failures, rel=1e-9)
    assert one.planned == pytest.approx(np.zeros(20), abs=1e-12)
