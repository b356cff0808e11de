"""The cost surface: any cost question from a few numbers of a group."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pumplife.policy.doubt.surface import lay_surface
from pumplife.policy.interval import advise_interval, cost_rate
from pumplife.policy.ladder import integrate_ladder
from pumplife.policy.pump import SideLife, integrate_to
from tests.policy.sides import draws, random_draws

COUNT = np.array([2.0, 4.0, 4.0])
FAILURE = np.array([3000.0, 1500.0, 1200.0])


def side_in_doubt(seed=5):
    return SideLife(lives=random_draws(np.random.default_rng(seed)), count=COUNT)


def test_exponential_side_by_hand():
    # rates 1/10 and 2/5 make 1/2; at T = 3 a cycle lasts 2 (1 - e^-1.5) on average
    side = SideLife(lives=draws([[1.0], [1.0]], [[10.0], [5.0]]), count=np.array([1.0, 2.0]))
    surface, _ = lay_surface(side, limit=3.0)
    row = int(np.searchsorted(surface.times, 3.0))
    assert surface.times[row] == 3.0
    survival = np.exp(-1.5)
    assert surface.planned[row] == pytest.approx(survival / (2.0 * (1.0 - survival)), rel=1e-7)
    assert surface.failures[row] == pytest.approx([0.1, 0.4], rel=1e-7)
    assert surface.never == pytest.approx([0.1, 0.4], rel=1e-7)
    assert surface.alone == pytest.approx([0.1, 0.4], rel=1e-12)


def test_surface_answers_as_the_draws_do_at_any_cost():
    side = side_in_doubt()
    surface, _ = lay_surface(side)
    known = integrate_ladder(side)
    at = integrate_to(side, known, surface.times[:, None])
    for planned, failure in ((400.0, FAILURE), (900.0, 0.5 * FAILURE), (50.0, FAILURE[::-1])):
        exact = cost_rate(at, planned, failure).mean(axis=1)
        assert surface.cost(planned, failure) == pytest.approx(exact, rel=2e-6)


@pytest.mark.parametrize("planned", [100.0, 400.0, 900.0])
def test_choice_is_that_of_the_advice(planned):
    side = side_in_doubt()
    advice = advise_interval(side, planned, FAILURE)
    choice = lay_surface(side)[0].choose(planned, FAILURE, 10.0 * FAILURE)
    assert choice.interval == pytest.approx(advice.interval, rel=0.01)
    assert choice.rate == pytest.approx(advice.cost_rate.mean(), rel=2e-4)


def test_choice_keeps_a_limit_and_plans_for_it():
    side = side_in_doubt()
    free = lay_surface(side)[0].choose(400.0, FAILURE, FAILURE)
    held = lay_surface(side, limit=0.5 * free.interval)[0].choose(400.0, FAILURE, FAILURE)
    assert held.interval == pytest.approx(0.5 * free.interval, rel=1e-9)
    cheap = lay_surface(side, limit=2.0)[0].choose(400.0, np.full(3, 10.0), FAILURE)
    assert (cheap.policy, cheap.interval) == ("planned kit", pytest.approx(2.0))


def test_choice_runs_to_failure_or_renews_the_part_alone_where_that_is_cheaper():
    surface, _ = lay_surface(side_in_doubt())
    assert surface.choose(400.0, np.full(3, 401.0), np.full(3, 401.0)).policy == "run to failure"
    alone = surface.choose(400.0, np.full(3, 401.0), np.full(3, 40.0))
    assert alone.policy == "run to failure, failed part only"
    assert alone.rate == pytest.approx(40.0 * surface.alone.sum())


def test_a_surface_is_small_enough_for_a_page():
    for seed, early in ((1, 0.0), (2, 0.04)):
        lives = random_draws(np.random.default_rng(seed))
        side = SideLife(lives=draws(lives.shape, lives.scale, early, 0.3), count=COUNT)
        surface, at = lay_surface(side, limit=9.0, interval=7.0)
        assert 20 <= surface.times.size <= 60
        assert np.all(np.diff(surface.times) > 0.0)
        assert {7.0, 9.0} <= set(surface.times)
        assert at.times.shape[0] == surface.times.size + 1


@settings(max_examples=15, deadline=None)
@given(seed=st.integers(0, 50), factor=st.floats(1e-3, 1e6), dearer=st.floats(1.0, 10.0))
def test_scaled_costs_leave_the_choice_and_dearer_failures_shorten_it(seed, factor, dearer):
    surface, _ = lay_surface(side_in_doubt(seed))
    plain = surface.choose(400.0, FAILURE, 9.0 * FAILURE)
    scaled = surface.choose(400.0 * factor, FAILURE * factor, 9.0 * FAILURE * factor)
    assert scaled.interval == pytest.approx(plain.interval, rel=1e-6)
    assert scaled.rate == pytest.approx(plain.rate * factor, rel=1e-6)
    worse = surface.choose(400.0, FAILURE * dearer, 90.0 * FAILURE)
    assert worse.interval <= plain.interval * (1.0 + 1e-3)
