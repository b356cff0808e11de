"""Renewal functions by draw: against a reference, closed forms and the simulator."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pumplife.policy.ages import own_times
from pumplife.policy.pump import SideLife, integrate_side
from pumplife.policy.simulate_rates import simulate_way
from pumplife.policy.simulate_way import Way
from pumplife.policy.ways.counts import count_by_part, count_with_kit, mean_lives
from tests.policy.sides import draws, one_part, random_draws, read_reference
from tests.reference.policy import Uniform

CASES = read_reference("renewal.json")["values"]


def mean_of(side):
    return integrate_side(side, own_times(side), nodes=6).uptime[-1]


@pytest.mark.parametrize("case", CASES, ids=str)
def test_both_counts_of_one_position_are_the_renewal_function(case):
    side = one_part(case["beta"], 1.0)
    t = np.array([[case["t_over_eta"]]])
    allowed = 0.007 if case["beta"] < 0.8 else 6e-4  # a density that is infinite at 0 costs digits
    assert count_with_kit(side, mean_of(side)).at(t).item() == pytest.approx(case["M"], rel=allowed)
    assert count_by_part(side).at(t).item() == pytest.approx(case["M"], rel=allowed)


def test_a_life_that_is_no_weibull_goes_the_same_way():
    """Uniform on (0, 1): the renewal function is exp(t) - 1 up to 1, known from any textbook."""
    side = SideLife(lives=Uniform(1.0), count=np.ones(1))
    t = np.array([[0.1], [0.5], [0.9]])
    assert mean_lives(side).item() == pytest.approx(0.5, rel=1e-4)
    for counts in (count_with_kit(side, mean_of(side)), count_by_part(side)):
        assert counts.at(t)[:, 0, 0] == pytest.approx(np.expm1(t[:, 0]), rel=1e-3)


def test_beyond_the_grid_failures_come_at_the_mean_rate():
    side = SideLife(lives=draws([[2.5], [1.5]], [[10.0], [30.0]]), count=np.array([2.0, 1.0]))
    t = np.array([[1e7]])
    by_part = count_by_part(side).at(t)[0, :, 0] / 1e7
    assert by_part == pytest.approx(side.count / side.lives.mean()[:, 0], rel=1e-5)
    at = integrate_side(side, own_times(side), nodes=6)
    whole = count_with_kit(side, at.uptime[-1]).at(t)[0, :, 0] / 1e7
    assert whole == pytest.approx(at.incidence[-1, :, 0] / at.uptime[-1, 0], rel=2e-3)


@pytest.mark.parametrize(("kit_share", "block"), [(1.0, 6.0), (0.0, 6.0), (1.0, 15.0), (0.0, 15.0)])
def test_counts_agree_with_the_simulator(kit_share, block):
    lives = draws([[2.5], [1.3], [2.4]], [[12.0], [20.0], [26.0]], [[0.05], [0.0], [0.0]], 0.7)
    side = SideLife(lives=lives, count=np.array([2.0, 1.0, 4.0]))
    part_of = np.repeat([0, 1, 2], [2, 1, 4])
    way = Way(block=block, kit_share=kit_share)
    tally = simulate_way(lives[part_of], way, rng=np.random.default_rng(4), lanes=400, cycles=40)
    counts = count_with_kit(side, mean_of(side)) if kit_share else count_by_part(side)
    exact = counts.at(np.array([[block]]))[0, :, 0] / block
    for part in range(3):
        rate, error = tally.per_usage(tally.failures[part_of == part].sum(axis=0))
        assert exact[part] == pytest.approx(rate[0], abs=4.0 * error[0] + 1e-3 * rate[0])


@settings(max_examples=25, deadline=None)
@given(seed=st.integers(0, 999), factor=st.floats(1e-3, 1e6))
def test_another_unit_of_time_changes_nothing(seed, factor):
    lives = random_draws(np.random.default_rng(seed), parts=2, count=3)
    count = np.array([2.0, 4.0])
    slow = draws(lives.shape, lives.scale * factor)
    t = np.array([[2.0], [9.0], [40.0]])
    for build in (lambda s: count_with_kit(s, mean_of(s)), count_by_part):
        base = build(SideLife(lives=lives, count=count)).at(t)
        scaled = build(SideLife(lives=slow, count=count)).at(t * factor)
        assert scaled == pytest.approx(base, rel=1e-6)
