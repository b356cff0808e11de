"""Ratios of two kinds of lives: by hand, against lifelines, and what must not change them."""

import numpy as np
import pytest
from lifelines import KaplanMeierFitter

from pumplife.materials.curves import survival_curves
from pumplife.weibull.regression import fit_regression
from pumplife.weibull.regression_ratio import fit_ratio
from tests.prove.materials import draw_arms, make_facts

# remission times [weeks] of 6-MP against placebo: E. J. Freireich et al., Blood 21 (1963) 699;
# data and fitted values (treatment 1.267, scale 0.732 as in lung cancer texts) from memory
TREATED = [6, 6, 6, 7, 10, 13, 16, 22, 23], [6, 9, 10, 11, 17, 19, 20, 25, 32, 32, 34, 35]
PLACEBO = [1, 1, 2, 2, 3, 4, 4, 5, 5, 8, 8, 8, 8, 11, 11, 12, 12, 15, 17, 22, 23]


def remission():
    lower = np.array([*TREATED[0], *TREATED[1], *PLACEBO], dtype=float)
    failed = np.r_[np.ones(9), np.zeros(12), np.ones(21)].astype(bool)
    marked = np.arange(42) < 21
    return {
        "lower": lower,
        "upper": np.where(failed, lower, np.inf),
        "marked": marked,
        "cluster": np.arange(42),
    }


def arms(seed=1, pumps=20, ratio=1.5):
    return draw_arms(np.random.default_rng(seed), pumps, ratio, 0.3)


def test_published_ratio_of_remissions():
    found = fit_ratio(**remission())
    assert found.estimate == pytest.approx(1.267, abs=5e-4)
    assert 1.0 / found.shape == pytest.approx(0.732, abs=5e-4)
    assert found.failures.tolist() == [21, 9]


def test_likelihood_bounds_are_those_of_the_regression():
    told = remission()
    marked = told["marked"][:, None].astype(float)
    fit = fit_regression(
        told["lower"], told["upper"], covariates=marked, names=["m"], bounds="likelihood"
    )
    found = fit_ratio(**told)
    assert found.likelihood_low == pytest.approx(fit.low[1], abs=1e-6)
    assert found.likelihood_high == pytest.approx(fit.high[1], abs=1e-6)
    assert found.low <= found.likelihood_low < found.estimate < found.likelihood_high <= found.high


def test_swapping_the_reference_inverts_the_ratio():
    told = arms()
    one, two = fit_ratio(**told), fit_ratio(**(told | {"marked": ~told["marked"]}))
    assert one.estimate == pytest.approx(-two.estimate, abs=1e-6)
    assert (one.low, one.high) == pytest.approx((-two.high, -two.low), abs=1e-5)
    assert one.prob_longer == pytest.approx(1.0 - two.prob_longer, abs=1e-6)


@pytest.mark.parametrize("unit", [1e-6, 3600.0, 1e9])
def test_the_unit_of_time_leaves_ratios_alone(unit):
    told = arms()
    times = {name: unit * told[name] for name in ("lower", "upper", "entry")}
    one, two = fit_ratio(**told), fit_ratio(**(told | times))
    assert (one.estimate, one.low, one.high) == pytest.approx(
        (two.estimate, two.low, two.high), abs=1e-6
    )
    assert two.shape == pytest.approx(one.shape, rel=1e-6)


def test_equal_rows_are_a_weight():
    told = arms()
    twice = {name: np.repeat(value, 2) for name, value in told.items()}
    one = fit_ratio(**told, weight=np.full(len(told["lower"]), 2.0))
    two = fit_ratio(**twice)
    assert (one.estimate, one.low, one.high) == pytest.approx(
        (two.estimate, two.low, two.high), abs=1e-6
    )


def test_no_failure_of_one_kind_gives_a_bound_and_no_point():
    told = arms()
    none = told | {"upper": np.where(told["marked"], np.inf, told["upper"])}
    found = fit_ratio(**none)
    assert np.isnan(found.estimate)
    assert np.isfinite(found.low)
    assert found.high == np.inf
    assert "a bound, no estimate" in found.why_not
    other = fit_ratio(**(none | {"marked": ~none["marked"]}))
    assert other.high == pytest.approx(-found.low, abs=1e-5)
    assert other.low == -np.inf


def test_bound_without_failures_by_hand():
    """Exponential lives, shape held by the failing kind: exp(-(H of the marked)) = the chance.

    With all lives exponential in t^k the profile deviance of no failure in exposure E at hazard
    r theta is solved here by hand on a grid of shapes.
    """
    generator = np.random.default_rng(3)
    age = generator.weibull(2.0, 40)
    marked = np.arange(50) >= 40
    lower = np.r_[age, np.full(10, 0.8)]
    upper = np.r_[age, np.full(10, np.inf)]
    found = fit_ratio(lower, upper, marked=marked, cluster=np.arange(50))

    def profile(log_ratio):
        shape = np.linspace(0.5, 6.0, 20001)[:, None]
        sums = (age**shape).sum(axis=1) + 10 * (0.8 * np.exp(-log_ratio)) ** shape[:, 0]
        own = 40 * np.log(40 / sums) - 40 + 40 * np.log(shape[:, 0])
        return float((own + (shape[:, 0] - 1) * np.log(age).sum()).max())

    deviance = 2.0 * (profile(50.0) - profile(found.low))
    assert deviance == pytest.approx(1.6448536**2, abs=1e-3)


def test_strata_without_both_kinds_or_failures_say_nothing():
    told = arms()
    extra = {
        "lower": np.r_[told["lower"], 5.0, 0.01],
        "upper": np.r_[told["upper"], np.inf, 0.01],
        "entry": np.r_[told["entry"], 0.0, 0.0],
        "marked": np.r_[told["marked"], True, False],
        "stratum": np.r_[told["stratum"], 7, 8],
        "cluster": np.r_[told["cluster"], 98, 99],
    }
    assert fit_ratio(**extra).estimate == pytest.approx(fit_ratio(**told).estimate, abs=1e-9)
    assert fit_ratio(**extra).strata == 2


def test_survival_curves_are_those_of_lifelines_with_counts_at_risk():
    facts = make_facts(np.random.default_rng(5), 15, design="clean")
    curves = survival_curves(facts, "slip", "diaphragm")
    for kind, mine in curves.groupby("kind"):
        lives = facts[facts["kind"] == kind]
        fit = KaplanMeierFitter(alpha=0.1).fit(lives["lower"], lives["failed"])
        ages = np.array([2500.0, 5000.0, 7500.0])
        row = np.searchsorted(mine["time"], ages, side="right") - 1
        assert mine["survival"].to_numpy()[row] == pytest.approx(fit.predict(ages).to_numpy())
        at_risk = [(lives["lower"] > age).sum() for age in mine["time"].to_numpy()[row]]
        assert mine["at_risk"].to_numpy()[row].tolist() == at_risk
