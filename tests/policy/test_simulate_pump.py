"""Both sides of a pump: air failures between the rebuilds at which its kit goes along."""

import numpy as np
import pytest

from pumplife.errors import RecordError
from pumplife.policy.ages import shared_times
from pumplife.policy.pump import SideLife, integrate_side, integrate_to
from pumplife.policy.renewal import renewal_function
from pumplife.policy.simulate import simulate_side
from pumplife.policy.simulate_pump import nth_rebuilds, simulate_pump
from pumplife.policy.simulate_way import PLANNED, Way, fixed_interval
from tests.policy.sides import draws

DRAWS = 10


def many(shape, scale, share=0.0):
    """Lives of some positions, the same in every draw."""
    lives = draws(np.array(shape)[:, None], np.array(scale)[:, None], share, 0.4)
    return lives[:, np.zeros(DRAWS, int)]


def close(tally, count, exact):
    rate, error = tally.per_usage(count)
    pooled = np.sqrt((error**2).sum()) / error.size
    assert rate.mean() == pytest.approx(exact, abs=4.0 * pooled + 1e-12)


@pytest.mark.parametrize("every", [1, 2, 4])
def test_fluid_that_never_fails_makes_blocks_for_the_air_side(every):
    tally = simulate_pump(
        many([3.0], [1e9]),
        many([2.2, 2.2], [10.0, 10.0]),
        fixed_interval(5.0),
        every,
        rng=np.random.default_rng(1),
        lanes=200,
        cycles=10,
    )
    block = 5.0 * every
    exact = renewal_function(lambda t: -np.expm1(-2.0 * (t / 10.0) ** 2.2), np.array([block]))
    close(tally, tally.air_failures.sum(axis=0), exact[0] / block)
    assert np.all(tally.usage == pytest.approx(10 * block))
    assert np.all(tally.with_planned == 10)
    assert not tally.with_failure.any()


@pytest.mark.parametrize("shape", [0.8, 1.6, 3.0])
def test_air_failures_between_fluid_rebuilds_by_quadrature(shape):
    # air failures of a cycle: the renewal function at its end, over the ends of fluid cycles
    fluid = many([2.5, 1.5], [12.0, 20.0], 0.05)
    side = SideLife(lives=fluid[:, :1], count=np.ones(2))
    tally = simulate_pump(
        fluid,
        many([shape], [8.0]),
        fixed_interval(7.0),
        1,
        rng=np.random.default_rng(2),
        lanes=200,
        cycles=20,
    )
    ends = np.linspace(0.0, 7.0, 400)
    left = side.survival(ends[:, None])[:, 0]
    expected = renewal_function(lambda t: -np.expm1(-((t / 8.0) ** shape)), ends[1:], steps=1 << 10)
    known = integrate_side(side, shared_times(side))
    at = integrate_to(side, known, np.array([7.0]))
    middle = 0.5 * (np.r_[0.0, expected[:-1]] + expected)
    air = (middle * -np.diff(left)).sum() + expected[-1] * left[-1]
    close(tally, tally.air_failures[0], air / at.uptime[0, 0])
    close(tally, tally.saved, 1.0 / at.uptime[0, 0])
    close(tally, tally.with_planned, at.survival[0, 0] / at.uptime[0, 0])
    close(tally, tally.fluid_failures.sum(axis=0), at.incidence[0, :, 0].sum() / at.uptime[0, 0])


@pytest.mark.parametrize("every", [1, 3])
def test_air_that_knows_no_age_fails_at_its_own_rate_whatever_is_fitted(every):
    tally = simulate_pump(
        many([2.5], [12.0]),
        many([1.0, 1.0], [20.0, 30.0]),
        fixed_interval(9.0),
        every,
        rng=np.random.default_rng(3),
        lanes=200,
    )
    close(tally, tally.air_failures[0], 1.0 / 20.0)
    close(tally, tally.air_failures[1], 1.0 / 30.0)
    assert np.all(tally.saved == 8)
    assert np.all(tally.fluid_kits == 8 * every)
    assert np.array_equal(tally.openings + tally.saved, tally.fluid_kits + tally.air_kits)


def test_events_ahead_come_at_the_long_run_rates():
    fluid, air = many([2.5, 2.4], [12.0, 20.0]), many([2.0, 1.2], [15.0, 30.0])
    tally = simulate_pump(
        fluid, air, fixed_interval(6.0), 3, rng=np.random.default_rng(4), lanes=400
    )
    usage = np.full(4, 100.0)
    ahead = {
        "age": np.zeros((4, 2)),
        "known": np.ones((4, 2), bool),
        "usage_per_year": usage,
        "clock_age": np.zeros(4),
        "years": 50.0,
    }
    way = Way(planned=fixed_interval(6.0))
    rng = np.random.default_rng(5)
    first = simulate_side(lives=fluid, way=way, rng=rng, **ahead)
    along = nth_rebuilds(first, usage, DRAWS, 3)
    second = simulate_side(lives=air, way=Way(), scheduled=along, rng=rng, **ahead)
    total = 4 * DRAWS * 5000.0
    saved, failed = (second.position == PLANNED).sum() / total, (second.position >= 0).sum() / total
    assert saved == pytest.approx(tally.per_usage(tally.saved)[0].mean(), rel=0.01)
    assert failed == pytest.approx(
        tally.per_usage(tally.air_failures.sum(axis=0))[0].mean(), rel=0.015
    )


def test_no_fluid_rebuild_no_air_kit():
    events = simulate_side(
        age=np.zeros((2, 1)),
        known=np.ones((2, 1), bool),
        usage_per_year=np.ones(2),
        lives=draws([[2.0]], [[1e9]]),
        clock_age=np.zeros(2),
        years=1.0,
        rng=np.random.default_rng(1),
        way=Way(),
    )
    assert nth_rebuilds(events, np.ones(2), 1, 2).shape == (2, 1, 0)


def test_the_air_kit_needs_a_count():
    lives = many([2.0], [10.0])
    with pytest.raises(RecordError, match="must be 1 or more"):
        simulate_pump(lives, lives, fixed_interval(5.0), 0, rng=np.random.default_rng(1))
