"""What holds of the advice for any side whose lives are known, whatever its parts cost."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from pumplife.policy.interval import IntervalAdvice, advise_interval, optimal_interval
from pumplife.policy.pump import SideLife
from pumplife.weibull.draws import LifeDraws

QUICK = settings(max_examples=25, deadline=None, derandomize=True)
NEAR = 1e-3  # relative, of intervals found on a curve that is flat at its lowest


@st.composite
def sides(
    draw: st.DrawFn, *, shapes: tuple[float, float] = (0.6, 4.0), draws: int = 1
) -> tuple[SideLife, np.ndarray]:
    """A side of one to three parts and what a failure of each costs; planned work costs 1."""
    parts = draw(st.integers(1, 3))
    rng = np.random.default_rng(draw(st.integers(0, 10_000)))
    shape = rng.uniform(*shapes, (parts, draws))
    scale = np.exp(rng.uniform(np.log(1e3), np.log(3e4), (parts, draws)))
    count = rng.integers(1, 5, parts).astype(float)
    return _side(shape, scale, count), np.exp(rng.uniform(np.log(1.2), np.log(20.0), parts))


def _side(shape: np.ndarray, scale: np.ndarray, count: np.ndarray) -> SideLife:
    early = np.zeros_like(shape)
    lives = LifeDraws(early_share=early, early_scale=early + 1.0, shape=shape, scale=scale)
    return SideLife(lives=lives, count=count)


def _longer(side: SideLife, factor: float) -> SideLife:
    """The side with lives so many times as long."""
    lives = side.lives
    assert isinstance(lives, LifeDraws)
    return _side(lives.shape, factor * lives.scale, side.count)


def _advise(side: SideLife, cost: np.ndarray, planned: float = 1.0) -> IntervalAdvice:
    return advise_interval(side, planned, cost)


@QUICK
@given(sides(shapes=(0.5, 1.0)))
def test_parts_that_do_not_wear_are_never_planned(case: tuple[SideLife, np.ndarray]) -> None:
    assert np.isinf(_advise(*case).interval)


@QUICK
@given(sides(shapes=(1.0, 4.0)), st.floats(1.0, 5.0), st.integers(0, 2))
def test_a_dearer_failure_never_lengthens_the_interval(
    case: tuple[SideLife, np.ndarray], factor: float, part: int
) -> None:
    """With every shape at least 1 failures of a part an hour of use rise with the interval."""
    side, cost = case
    dearer = cost.copy()
    dearer[part % cost.size] *= factor
    before, after = (float(optimal_interval(side, 1.0, c)[0][0]) for c in (cost, dearer))
    assert after <= before * (1.0 + NEAR)


@QUICK
@given(sides(draws=8), st.floats(0.01, 100.0))
def test_costs_all_scaled_leave_the_interval(
    case: tuple[SideLife, np.ndarray], factor: float
) -> None:
    side, cost = case
    one, other = _advise(side, cost), _advise(side, factor * cost, factor)
    np.testing.assert_allclose(other.interval, one.interval, rtol=NEAR)
    np.testing.assert_allclose(other.cost_rate, factor * one.cost_rate, rtol=NEAR)


@QUICK
@given(sides(draws=8), st.floats(0.001, 1000.0))
def test_longer_lives_or_another_unit_of_time_scale_the_interval(
    case: tuple[SideLife, np.ndarray], factor: float
) -> None:
    side, cost = case
    one, other = _advise(side, cost), _advise(_longer(side, factor), cost)
    np.testing.assert_allclose(other.interval, factor * one.interval, rtol=NEAR)
    np.testing.assert_allclose(factor * other.cost_rate, one.cost_rate, rtol=NEAR)


@QUICK
@given(sides(draws=8), st.floats(0.05, 3.0))
def test_a_limit_never_lengthens_the_interval(
    case: tuple[SideLife, np.ndarray], share: float
) -> None:
    side, cost = case
    free = _advise(side, cost)
    limit = share * float(side.lives.scale.min())
    held = advise_interval(side, 1.0, cost, maximum=limit)
    assert held.interval <= min(limit, free.interval * (1.0 + NEAR))
    releasing = np.arange(cost.size) == 0
    safe = advise_interval(side, 1.0, cost, releasing=releasing, release_target=0.05)
    assert safe.interval <= free.interval * (1.0 + NEAR)


@QUICK
@given(sides(draws=16))
def test_knowing_the_truth_never_costs(case: tuple[SideLife, np.ndarray]) -> None:
    """The best interval for each draw costs no more in the mean than the one for all."""
    side, cost = case
    advice = _advise(side, cost)
    known = optimal_interval(side, 1.0, cost)[1]
    assert np.all(known <= advice.cost_rate * (1.0 + NEAR))
    assert known.mean() <= advice.cost_rate.mean() * (1.0 + NEAR)


@settings(max_examples=6, deadline=None, derandomize=True)
@given(st.integers(0, 1000))
def test_more_draws_converge(seed: int) -> None:
    """Intervals of 4,000 draws vary less than those of 100, and by a few in a hundred."""

    def intervals(draws: int) -> np.ndarray:
        found = []
        for number in range(6):
            rng = np.random.default_rng([seed, draws, number])
            shape = 2.2 * rng.lognormal(0.0, 0.15, (1, draws))
            scale = 8000.0 * rng.lognormal(0.0, 0.2, (1, draws))
            side = _side(shape, scale, np.ones(1))
            found.append(_advise(side, np.array([6.0])).interval)
        return np.array(found)

    few, many = intervals(100), intervals(4000)
    assert many.std() < few.std()
    assert many.std() / many.mean() < 0.02
