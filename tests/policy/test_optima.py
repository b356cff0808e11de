"""Optima by one look between two rows of the ladder, against a root of the slope itself."""

import numpy as np
import pytest
from scipy import optimize

from pumplife.policy.interval import cost_rate
from pumplife.policy.ladder import integrate_ladder
from pumplife.policy.optima import first_order, local_optima
from pumplife.policy.pump import SideLife, integrate_to
from tests.policy.sides import draws, random_draws


def slope_at(side, known, money, log_age):
    at = integrate_to(side, known, np.array([np.exp(log_age)]), nodes=12)
    return float((first_order(at, *money) * at.survival / at.uptime**2).mean())


@pytest.mark.parametrize("ratio", [2.0, 4.0, 10.0, 40.0])
@pytest.mark.parametrize("seed", range(3))
def test_the_optimum_is_where_the_mean_slope_is_nothing(seed, ratio):
    side = SideLife(
        lives=random_draws(np.random.default_rng(seed)), count=np.array([2.0, 4.0, 4.0])
    )
    money = 1.0, ratio * np.array([1.0, 0.8, 0.7])
    known = integrate_ladder(side)
    expected = cost_rate(known, *money).mean(axis=1)
    (at,) = local_optima(side, known, money, expected)
    found = float(np.log(at.times[0, 0]))
    root = optimize.brentq(lambda x: slope_at(side, known, money, x), found - 0.2, found + 0.2)
    assert found == pytest.approx(root, abs=1e-6)


def test_two_dips_are_both_found():
    # a part that wears out early and sure, beside one that does so late
    lives = draws([[12.0], [12.0]], [[2.0], [20.0]])
    side = SideLife(lives=lives, count=np.array([1.0, 1.0]))
    known, money = integrate_ladder(side), (1.0, np.array([1.3, 30.0]))
    expected = cost_rate(known, *money).mean(axis=1)
    dips = np.sum((expected[1:-1] < expected[:-2]) & (expected[1:-1] < expected[2:]))
    assert len(local_optima(side, known, money, expected)) == dips


def test_no_optimum_where_hazards_fall():
    side = SideLife(lives=draws([[0.7]], [[10.0]]), count=np.ones(1))
    known, money = integrate_ladder(side), (1.0, np.array([5.0]))
    assert local_optima(side, known, money, cost_rate(known, *money).mean(axis=1)) == []
