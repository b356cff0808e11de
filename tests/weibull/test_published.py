"""Worked examples; published_fits.json holds page, digits and standing of each."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import optimize, special

from pumplife.weibull import bound_life, fit_weibull, scale_lower_bound
from pumplife.weibull.arrays import check_lives, find_groups
from pumplife.weibull.likelihood import build_log_lives, evaluate
from tests.weibull.sets import PUBLISHED, arrange, half_digit, read_printed


def close(found: float, printed: str) -> None:
    assert found == pytest.approx(float(printed), abs=half_digit(printed), rel=0)


def shock_absorbers():
    inputs = PUBLISHED["W02"]["inputs"]
    return arrange(inputs["failures"], inputs["suspensions"])


def bearing_cages():
    inputs = PUBLISHED["W08"]["inputs"]
    ages = [*inputs["failures"], *map(float, inputs["suspensions"])]
    weight = np.array([1] * 6 + list(inputs["suspensions"].values()), dtype=float)
    return np.array(ages), np.where(np.arange(len(ages)) < 6, ages, np.inf), weight


def quantile_bounds(lives, share, confidence=0.95):
    """Return a quantile, its standard error and log-normal bounds."""
    found = bound_life(*lives, quantity="quantile", at=share, bounds="wald", confidence=confidence)
    error = np.log(found.high / found.estimate) / special.ndtri(0.5 + confidence / 2)
    return found.estimate, found.estimate * error, found.low, found.high


def test_ten_failures_ten_suspended_at_500_hours():
    """NIST/SEMATECH e-Handbook, 8.4.1.3 (public page).

    The page's scale, 606.5280, is slightly off its own maximum: met to 1e-6.
    """
    inputs = PUBLISHED["W01"]["inputs"]
    fit = fit_weibull(*arrange(inputs["failures"], [500.0] * 10))
    printed = read_printed("W01")
    close(fit.shape, printed["shape"])
    close(-fit.log_likelihood, printed["minus_loglik"])
    assert fit.scale == pytest.approx(float(printed["scale"]), rel=1e-6)
    mean = bound_life(*arrange(inputs["failures"], [500.0] * 10), quantity="mean")
    close(mean.estimate, printed["mean"])


def test_shock_absorbers():
    """Meeker & Escobar 1998, chapter 8 (public page); bounds are Wald's on the log scale."""
    fit = fit_weibull(*shock_absorbers(), confidence=0.95, bounds="wald")
    printed = read_printed("W02")
    close(fit.shape, printed["beta"])
    close(fit.scale, printed["eta"])
    close(fit.shape_low, printed["beta_lo"])
    close(fit.shape_high, printed["beta_hi"])
    close(fit.shape * np.sqrt(fit.covariance[1, 1]), printed["se_beta"])
    close(fit.scale * np.sqrt(fit.covariance[0, 0]), printed["se_eta"])
    close(fit.log_likelihood, printed["loglik"])
    assert fit.scale_low == pytest.approx(float(printed["eta_lo"]), rel=1e-7)
    assert fit.scale_high == pytest.approx(float(printed["eta_hi"]), rel=2e-5)


@pytest.mark.parametrize("percent", ["0.1", "0.5", "1", "5", "10", "20", "50", "90"])
def test_shock_absorbers_quantiles(percent):
    """Meeker & Escobar 1998, chapter 8 (public page): B lives with errors and 95 % bounds."""
    printed = read_printed("W03")
    for found, name in zip(
        quantile_bounds(shock_absorbers(), float(percent) / 100),
        ("t", "se", "lo", "hi"),
        strict=True,
    ):
        digits = printed[f"B{percent}_{name}"]
        close(found, digits)


@pytest.mark.parametrize("mode", ["mode1", "mode2"])
def test_shock_absorbers_by_failure_mode(mode):
    """Meeker & Escobar 1998, chapter 15 (public page): the other mode is a suspension."""
    inputs = PUBLISHED["W07"]["inputs"]
    lower, upper = shock_absorbers()
    lives = lower, np.where(np.isin(lower, inputs[f"{mode}_failures"]), upper, np.inf)
    printed = read_printed("W07")
    for percent in (1, 10, 50):
        for found, name in zip(
            quantile_bounds(lives, percent / 100), ("t", "se", "lo", "hi"), strict=True
        ):
            assert found == pytest.approx(float(printed[f"{mode}_B{percent}_{name}"]), rel=2e-5)


@pytest.mark.parametrize("voltage", ["26", "30", "34", "38"])
def test_insulating_fluid_groups(voltage):
    """Nelson's insulating fluid, R survival test output (public page), in one batch.

    The page takes 1.96 for the normal quantile; 3e-5 is its own convergence.
    """
    inputs = PUBLISHED["R07"]["inputs"]
    time = np.concatenate(list(inputs.values()))
    group = np.repeat(list(inputs), [len(one) for one in inputs.values()])
    fit = fit_weibull(time, time, group=group, confidence=2 * special.ndtr(1.96) - 1, bounds="wald")
    place = list(fit.labels).index(voltage)
    printed = read_printed("R07")
    for field, name in (
        ("shape", "beta"), ("shape_low", "beta_lo"), ("shape_high", "beta_hi"),
        ("scale", "eta"), ("scale_low", "eta_lo"), ("scale_high", "eta_hi"),
    ):  # fmt: skip
        digits = printed[f"{voltage}kV_{name}"]
        found = getattr(fit, field)[place]
        assert found == pytest.approx(float(digits), rel=3e-5, abs=half_digit(digits))


def test_bearing_cages():
    """USAF Weibull Analysis Handbook 1983, p. 43 (digits from memory): 6 failures in 1703."""
    lower, upper, weight = bearing_cages()
    fit = fit_weibull(lower, upper, weight=weight)
    printed = read_printed("W08")
    close(fit.shape, printed["shape"])
    close(fit.scale, printed["scale"])
    assert (fit.failures, fit.suspensions) == (6.0, 1697.0)


def test_ball_bearings():
    """Lieblein & Zelen 1956 (digits from memory)."""
    time = PUBLISHED["W11"]["inputs"]["failures"]
    fit = fit_weibull(time, time)
    printed = read_printed("W11")
    close(fit.shape, printed["shape"])
    close(fit.scale, printed["scale"])
    close(fit.log_likelihood, printed["loglik"])


@pytest.mark.parametrize("name", ["nist", "shock", "bearing_cage"])
def test_likelihood_bounds_of_shape(name):
    """Independently computed twice (profile code, R survreg with fixed scale); not published."""
    inputs = PUBLISHED["W01"]["inputs"]
    lives = {
        "nist": (*arrange(inputs["failures"], [500.0] * 10), None),
        "shock": (*shock_absorbers(), None),
        "bearing_cage": bearing_cages(),
    }[name]
    fit = fit_weibull(lives[0], lives[1], weight=lives[2], confidence=0.95)
    printed = read_printed("I01")
    assert fit.shape_low == pytest.approx(float(printed[f"{name}_LR95_shape_lo"]), rel=2e-6)
    assert fit.shape_high == pytest.approx(float(printed[f"{name}_LR95_shape_hi"]), rel=2e-6)


def test_heat_exchanger_tubes():
    """Yearly inspections of 300 tubes; the Weibull fit is independently computed, not published.

    Failed in year 1: 4; in year 2: 5; in year 3: 2; sound after 1, 2, 3 years: 99, 95, 95.
    """
    lower, upper = [0.0, 1.0, 2.0, 1.0, 2.0, 3.0], [1.0, 2.0, 3.0, np.inf, np.inf, np.inf]
    fit = fit_weibull(lower, upper, weight=[4, 5, 2, 99, 95, 95])
    assert fit.shape == pytest.approx(1.34552, abs=5e-6)
    assert fit.scale == pytest.approx(23.6199, abs=5e-5)
    assert fit.log_likelihood == pytest.approx(-54.4147, abs=5e-5)


@pytest.mark.parametrize("place", [0, 1, 2])
def test_zero_failure_demonstration(place):
    """Meeker & Escobar 1998, section 10.6 (public page).

    n units tested for k times the p-quantile without failing: the bound of that quantile is 1.
    """
    plan = PUBLISHED["Z01"]["inputs"][place]
    printed = read_printed("Z01")[f"k{place + 1}"]
    bound = scale_lower_bound([1.0], [plan["n"]], plan["beta"], plan["C"])
    quantile = bound * (-np.log1p(-plan["p"])) ** (1.0 / plan["beta"])
    close(1.0 / quantile, printed)


@pytest.mark.parametrize(
    ("shape", "bound"), [(1.5, 18419.2449), (2.0, 8769.5724), (3.0, 4312.0478)]
)
def test_bound_of_bearing_cages_with_given_shape(shape, bound):
    """Independently computed: chi-squared of 2 r + 2 at r = 6 against the bound for none failed."""
    lower, _, weight = bearing_cages()
    none_failed = scale_lower_bound(lower, weight, shape, 0.95)
    ratio = -np.log(0.05) / (0.5 * special.chdtri(14, 0.05))
    assert none_failed * ratio ** (1.0 / shape) == pytest.approx(bound, rel=2e-8)


def test_lung_cancer():
    """R survival's test output r_lung (public page): 228 patients, 63 suspended."""
    from lifelines.datasets import load_lung

    lung = load_lung()
    time = lung["time"].to_numpy(dtype=float)
    fit = fit_weibull(time, np.where(lung["status"] == 1, time, np.inf))
    assert (fit.failures, fit.suspensions) == (165.0, 63.0)
    printed = read_printed("R01")
    close(np.log(fit.scale), printed["mu"])
    close(1.0 / fit.shape, printed["sigma"])
    close(fit.log_likelihood, printed["loglik"])


def test_right_truncated_lives():
    """Meeker & Escobar 1998, chapter 11 (public page): 25 failures known to lie before 100 h.

    Only the log-likelihood is a check, the top being a ridge. It is the exact lives' less that of
    as many found failed at 100 h.
    """
    inputs = PUBLISHED["L03"]["inputs"]
    time, count = np.array(inputs["hours"]), np.array(inputs["count"], dtype=float)
    exact = log_lives(time, time, count)
    found = log_lives(np.zeros_like(time), np.full_like(time, 100.0), count)

    def height(logs):
        theta = -np.exp(logs[0]) * (logs[1] - exact.log_unit)
        shape = np.exp(logs[:1])
        value = evaluate(exact, theta, shape).value - exact.moment
        value -= exact.failures * exact.log_unit
        at_end = -np.exp(logs[0]) * (logs[1] - found.log_unit)
        return float((evaluate(found, at_end, shape).value - value)[0])

    best = optimize.minimize(height, [-0.7, 4.0], method="Nelder-Mead", options={"xatol": 1e-6})
    close(-best.fun, read_printed("L03")["loglik"])


def log_lives(lower, upper, weight):
    """Lives in logarithms, one life seen for a negligible time giving the unit of 1 h."""
    lives = check_lives(
        np.append(lower, 1.0), np.append(upper, np.inf), None, np.append(weight, 1e-300)
    )
    return build_log_lives(lives, find_groups(None, len(lives.lower)))


@pytest.mark.parametrize("name", ["reliability", "rel", "surpyval", "lifelines"])
def test_other_libraries_on_the_handbook_lives(name):
    """Recorded output of three libraries on the e-Handbook's lives (run, not published)."""
    inputs, printed = PUBLISHED["W01"]["inputs"], read_printed("I03")
    lives = arrange(inputs["failures"], [500.0] * 10)
    if name == "rel":
        fit = fit_weibull(*lives, bounds="wald", confidence=0.95)
        for field, ours in (("alpha_lo", fit.scale_low), ("alpha_hi", fit.scale_high),
                            ("beta_lo", fit.shape_low), ("beta_hi", fit.shape_high)):  # fmt: skip
            near(ours, printed[f"rel_{field}"])
        return
    fit = fit_weibull(*lives)
    scale, shape = {"lifelines": ("lambda", "rho")}.get(name, ("alpha", "beta"))
    near(fit.scale, printed[f"{name}_{scale}"])
    near(fit.shape, printed[f"{name}_{shape}"])


def near(found: float, printed: str) -> None:
    """Recorded digits, of which one is cut off instead of rounded."""
    assert found == pytest.approx(float(printed), abs=half_digit(printed), rel=2e-7)
