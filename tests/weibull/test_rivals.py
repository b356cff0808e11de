"""Weibull, lognormal, exponential: own likelihoods beside libraries and published fits."""

from __future__ import annotations

import numpy as np
import pytest
from lifelines import LogNormalFitter
from reliability.Fitters import Fit_Lognormal_2P
from scipy import optimize, stats

from pumplife.weibull import compare_rivals, fit_weibull
from tests.weibull.sets import PUBLISHED, arrange, half_digit, read_printed, read_set, simulate
from tests.weibull.test_survival import make_mixed


def compare_one(lower, upper, entry=None, weight=None):
    return compare_rivals(lower, upper, entry, weight, group=np.zeros(len(lower), dtype=int))


def test_lognormal_of_turbine_wheels_as_printed():
    """R survival's output on Nelson's turbine wheels, each looked at once (public page)."""
    lower, upper, _, weight = read_set("turbine")
    rivals = compare_one(lower / 100.0, upper / 100.0, None, weight)
    printed = read_printed("R09")
    for name, value in (("mu", rivals.mean_log[0]), ("sigma", rivals.sd_log[0])):
        assert value == pytest.approx(float(printed[name]), abs=half_digit(printed[name]))
    height = 2.0 - 0.5 * rivals.aicc[0, 1] + 6.0 / (106.0 - 3.0)
    assert height == pytest.approx(float(printed["loglik"]), abs=0.05)
    lead = rivals.aicc[0, 1] - rivals.aicc[0, 0]
    assert lead == pytest.approx(2.0 * (190.7315 - 189.2872), abs=1e-3)  # lives.json: -189.2872
    assert rivals.best[0] == "weibull"


def test_lognormal_challenger_by_the_handbook():
    """NIST/SEMATECH 8.4.1.3 prints AIC 154.39 (lognormal) and 154.27 (Weibull)."""
    rivals = compare_one(*arrange(PUBLISHED["W01"]["inputs"]["failures"], [500.0] * 10))
    assert rivals.aicc[0, 1] - rivals.aicc[0, 0] == pytest.approx(154.39 - 154.27, abs=0.011)
    assert rivals.best[0] == "undecided"


def test_lognormal_agrees_with_libraries():
    lower, upper = simulate(np.random.default_rng(4), 80, 2.0, 900.0)
    failed = np.isfinite(upper)
    own = compare_one(lower, upper)
    plain = Fit_Lognormal_2P(failures=lower[failed], right_censored=lower[~failed],
                             show_probability_plot=False, print_results=False)  # fmt: skip
    assert own.mean_log[0] == pytest.approx(plain.mu, rel=1e-5)
    assert own.sd_log[0] == pytest.approx(plain.sigma, rel=1e-4)
    entry = np.where(np.arange(80) % 3 == 0, 0.5 * lower, 0.0)
    late = LogNormalFitter().fit(lower, failed, entry=entry)
    own = compare_one(lower, upper, entry)
    assert own.mean_log[0] == pytest.approx(late.mu_, rel=1e-5)
    assert own.sd_log[0] == pytest.approx(late.sigma_, rel=1e-4)
    height = 2.0 - 0.5 * own.aicc[0, 1] + 6.0 / (failed.sum() - 3.0)
    assert height == pytest.approx(late.log_likelihood_, abs=1e-5)


def test_lognormal_of_intervals_entered_late_is_the_maximum():
    lower, upper, entry = make_mixed(5, 150)
    own = compare_one(lower, upper, entry)

    def height(place):
        normal = stats.norm(place[0], np.exp(place[1]))
        with np.errstate(divide="ignore"):
            low, high, start = (np.log(age) for age in (lower, upper, entry))
        exact = lower == upper
        chance = np.where(exact, normal.pdf(low) / lower, normal.sf(low) - normal.sf(high))
        return -np.sum(np.log(chance) - normal.logsf(start))

    best = optimize.minimize(height, [6.5, -0.5], method="Nelder-Mead",
                             options={"xatol": 1e-8, "fatol": 1e-10})  # fmt: skip
    assert own.mean_log[0] == pytest.approx(best.x[0], rel=1e-6)
    assert own.sd_log[0] == pytest.approx(np.exp(best.x[1]), rel=1e-5)


def test_exponential_by_hand():
    """r failures over exposure e have log-likelihood r log(r / e) - r."""
    lower, upper = arrange([100.0, 250.0, 300.0, 470.0, 800.0], [120.0, 640.0])
    entry = np.array([0.0, 50.0, 0.0, 0.0, 0.0, 0.0, 40.0])
    rivals = compare_one(lower, upper, entry)
    exposure = (lower - entry).sum()
    height = 5.0 * np.log(5.0 / exposure) - 5.0
    assert rivals.aicc[0, 2] == pytest.approx(2.0 - 2.0 * height + 4.0 / 3.0)


def test_weibull_is_its_own_fit():
    lives = read_set("sim_seal3")
    rivals = compare_one(*lives)
    height = fit_weibull(*lives).log_likelihood
    failures = np.isfinite(lives[1]).sum()
    assert rivals.aicc[0, 0] == pytest.approx(4.0 - 2.0 * height + 12.0 / (failures - 3.0))


def test_each_form_is_told_where_there_are_many_failures():
    """300 lives, 500 for the exponential, which leads a Weibull in 84 % of sets only."""
    generator = np.random.default_rng(7)
    size = (50, 300)
    for form, least, life in (
        ("lognormal", 0.9, np.exp(generator.normal(6.0, 0.8, size))),
        ("weibull", 0.9, 900.0 * generator.weibull(3.0, size)),
        ("exponential", 0.7, 900.0 * generator.weibull(1.0, size)),
    ):
        lower, group = life.ravel(), np.repeat(np.arange(50), 300)
        assert (compare_rivals(lower, lower, group=group).best == form).mean() >= least


def test_few_failures_are_not_compared():
    rivals = compare_one(*arrange([100.0, 200.0, 320.0], [400.0, 500.0]))
    assert rivals.best[0] == ""
    assert np.isnan(rivals.aicc[0, :2]).all()
    none = compare_rivals([5.0, 9.0], [np.inf, np.inf], group=["a", "b"])
    assert none.best.tolist() == ["", ""]
    assert repr(none) == "Rivals(2 groups)"


def test_a_group_without_a_finite_estimate_stands_beside_others():
    lower = np.array([10.0, 10.0, 10.0, 10.0, 3.0, 5.0, 8.0, 9.0, 12.0])
    rivals = compare_rivals(lower, lower, group=[0] * 4 + [1] * 5)
    assert rivals.best[0] == ""
    assert np.isfinite(rivals.aicc[1]).all()


def test_comparison_knows_no_units_and_weights_are_repeats():
    lower, upper, entry = make_mixed(6, 120)
    one = compare_one(lower, upper, entry).aicc[0]
    other = compare_one(1e9 * lower, 1e9 * upper, 1e9 * entry).aicc[0]
    assert other - other[0] == pytest.approx(one - one[0], abs=1e-6)
    twice = compare_one(*(np.repeat(column, 2) for column in (lower, upper, entry))).aicc[0]
    heavy = compare_one(lower, upper, entry, np.full(len(lower), 2.0)).aicc[0]
    assert heavy == pytest.approx(twice)
