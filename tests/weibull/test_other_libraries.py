"""lifelines, reliability and surpyval say the same where they are right, and where they are not.

Their optimisers stop at 1e-6 or so; ours is held to sixty-digit arithmetic elsewhere.
"""

from __future__ import annotations

import numpy as np
import pytest

from pumplife.weibull import bound_life, fit_weibull
from tests.weibull.sets import SETS, read_set

FINITE = [name for name, one in SETS.items() if "shape" in one["fit"]]
HEAVY = "icfail"  # 3 rows stand for thousands of lives
ONE_AGE = ("e_1fail49", "e_allequal_susp_long")  # failures of one single age, others outlived it

pytestmark = pytest.mark.filterwarnings("ignore")  # theirs


def kinds(lower, upper):
    """Which rows are left-censored and which are intervals."""
    left = (lower == 0) & np.isfinite(upper)
    return left, (lower < upper) & np.isfinite(upper) & ~left


def fit_lifelines(lower, upper, entry, weight):
    """Shape, scale and standard error of the shape."""
    from lifelines import WeibullFitter

    left, between = kinds(lower, upper)
    if (left | between).any():
        fit = WeibullFitter().fit_interval_censoring(lower, upper, weights=weight)
    else:
        late = entry if entry.any() else None
        fit = WeibullFitter().fit(lower, np.isfinite(upper), entry=late, weights=weight)
    return fit.rho_, fit.lambda_, fit.summary["se(coef)"]["rho_"]


def fit_surpyval(lower, upper, entry, weight):
    """Shape and scale."""
    import surpyval

    left, between = kinds(lower, upper)
    kind = np.select([lower == upper, np.isinf(upper), left], [0, 1, -1], 2)
    age = np.where(left, upper, lower)
    ends = [[a, b] if k == 2 else a for a, b, k in zip(age, upper, kind, strict=True)]
    late = {"tl": entry} if entry.any() else {}
    fit = surpyval.Weibull.fit(
        x=ends if between.any() else age, c=kind, n=weight.astype(int), **late
    )
    return fit.params[1], fit.params[0]


def fit_reliability(lower, upper, weight, confidence=0.95):
    """The library's fit of exact and suspended lives."""
    from reliability.Fitters import Fit_Weibull_2P

    times = weight.astype(int)
    failed = np.isfinite(upper)
    running = np.repeat(lower[~failed], times[~failed])
    return Fit_Weibull_2P(
        failures=np.repeat(lower[failed], times[failed]),
        right_censored=running if len(running) else None,
        CI=confidence,
        quantiles=[0.1],
        show_probability_plot=False,
        print_results=False,
    )


@pytest.mark.parametrize("name", [name for name in FINITE if name != HEAVY])
def test_lifelines(name):
    lives = read_set(name)
    fit = fit_weibull(*lives)
    shape, scale, error = fit_lifelines(*lives)
    assert (shape, scale) == pytest.approx((fit.shape, fit.scale), rel=2e-6)
    assert error == pytest.approx(fit.shape * np.sqrt(fit.covariance[1, 1]), rel=2e-6)


def test_lifelines_is_lost_on_heavily_weighted_lives():
    """Its shape is half the one of sixty-digit arithmetic, its scale a trillion times as long."""
    shape, scale, _ = fit_lifelines(*read_set(HEAVY))
    wanted = SETS[HEAVY]["fit"]
    assert shape < 0.6 * wanted["shape"]
    assert scale > 1e6 * wanted["scale"]
    assert fit_weibull(*read_set(HEAVY)).shape == pytest.approx(wanted["shape"], rel=1e-8)


@pytest.mark.parametrize("name", [name for name in FINITE if name not in {*ONE_AGE, HEAVY}])
def test_surpyval(name):
    fit = fit_weibull(*read_set(name))
    assert fit_surpyval(*read_set(name)) == pytest.approx((fit.shape, fit.scale), rel=2e-6)


@pytest.mark.parametrize("name", ONE_AGE)
def test_surpyval_and_reliability_refuse_failures_of_one_age_though_a_maximum_exists(name):
    lower, upper, entry, weight = read_set(name)
    with pytest.raises(ValueError, match="only 1 distinct"):
        fit_surpyval(lower, upper, entry, weight)
    with pytest.raises(ValueError, match="minimum number of distinct failures"):
        fit_reliability(lower, upper, weight)
    wanted = SETS[name]["fit"]["shape"]
    assert fit_weibull(lower, upper).shape == pytest.approx(wanted, rel=1e-8)


def test_surpyval_on_intervals_that_enter_late():
    """The one library that reads them; lifelines refuses, reliability has neither."""
    import surpyval

    generator = np.random.default_rng(8)
    life = 1000.0 * generator.weibull(2.5, 300)
    entry = generator.uniform(0.0, 900.0, 300) * (generator.random(300) < 0.6)
    life, entry = life[life > entry], entry[life > entry]
    lower, upper = np.maximum(np.floor(life / 250) * 250, entry), np.ceil(life / 250) * 250
    fit = fit_weibull(lower, upper, entry)
    other = surpyval.Weibull.fit(x=np.column_stack([lower, upper]), tl=entry)
    assert other.params == pytest.approx([fit.scale, fit.shape], rel=2e-6)


PLAIN = [
    name for name in FINITE
    if name not in {*ONE_AGE, HEAVY, "defective"}
    and not any(SETS[name]["about"][kind] for kind in ("left", "interval", "truncated"))
]  # fmt: skip


@pytest.mark.parametrize("name", PLAIN)
def test_reliability(name):
    lower, upper, _, weight = read_set(name)
    other = fit_reliability(lower, upper, weight)
    fit = fit_weibull(lower, upper, weight=weight, confidence=0.95, bounds="wald")
    life = bound_life(
        lower, upper, weight=weight, confidence=0.95, bounds="wald", quantity="quantile", at=0.1
    )
    assert (other.beta, other.alpha) == pytest.approx((fit.shape, fit.scale), rel=1e-5)
    assert (other.beta_lower, other.beta_upper) == pytest.approx(
        (fit.shape_low, fit.shape_high), rel=2e-5
    )
    assert (other.alpha_lower, other.alpha_upper) == pytest.approx(
        (fit.scale_low, fit.scale_high), rel=2e-5
    )
    row = other.quantiles.iloc[0]
    assert [row["Lower Estimate"], row["Point Estimate"], row["Upper Estimate"]] == pytest.approx(
        [life.low, life.estimate, life.high], rel=2e-5
    )


def test_reliability_is_off_where_times_are_tiny():
    """The same lives in units a thousand million times as long: its shape moves by 7 %."""
    lower, upper, _, weight = read_set("bearings")
    other = fit_reliability(lower * 1e-9, upper, weight)
    fit = fit_weibull(lower * 1e-9, upper * 1e-9)
    assert abs(other.beta / fit.shape - 1.0) > 0.01
    assert fit.shape == pytest.approx(SETS["bearings"]["fit"]["shape"], rel=1e-8)


@pytest.mark.parametrize("name", ["bearings", "e_2fail_susp", "channing"])
def test_survival_bounds_of_surpyval(name):
    """Its normal bounds of survival are on the scale log(-log S) too."""
    import surpyval

    lower, upper, entry, _ = read_set(name)
    late = {"tl": entry} if entry.any() else {}
    other = surpyval.Weibull.fit(x=lower, c=np.isinf(upper).astype(int), **late)
    at = float(np.median(lower))
    ours = bound_life(lower, upper, entry, quantity="survival", at=at, bounds="wald")
    assert sorted(other.cb(at, on="sf", alpha_ci=0.1).ravel()) == pytest.approx(
        [ours.low, ours.high], rel=1e-4
    )
