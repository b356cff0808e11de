"""Residuals of a regression: by hand, against lifelines, and whether they see a wrong model."""

from __future__ import annotations

import warnings

import numpy as np
import pytest

from pumplife.errors import RecordError
from pumplife.weibull import Residuals, check_residuals, find_residuals, fit_regression
from tests.weibull.test_regression import NAMES, simulate


def fitted(seed: int = 1, rows: int = 300):
    lives, x = simulate(seed, rows)
    fit = fit_regression(*lives, covariates=x, names=NAMES)
    return fit, lives, x, find_residuals(fit, *lives, covariates=x)


def test_residuals_by_hand():
    fit, (lower, upper, entry, _), x, found = fitted()
    shape = np.exp(fit.estimate[3])
    scale = np.exp(fit.estimate[0] + x @ fit.estimate[1:3])
    exact = lower == upper
    assert found.cox_snell[exact] == pytest.approx(((lower / scale) ** shape)[exact])
    assert found.entry == pytest.approx((entry / scale) ** shape)
    assert found.log_residual == pytest.approx(np.log(found.cox_snell))
    low, high = ((age / scale) ** shape for age in (lower, upper))
    between = ~exact & np.isfinite(upper)
    ends = np.exp(-low[between]), np.exp(-high[between])
    mean = ((low[between] + 1) * ends[0] - (high[between] + 1) * ends[1]) / (ends[0] - ends[1])
    assert found.cox_snell[between] == pytest.approx(mean)


def test_the_hazard_of_the_residuals_sums_to_the_failures():
    """The intercept's own equation: failures equal the hazard lived through."""
    _, _, _, found = fitted()
    lived = found.weight @ (found.cox_snell - found.entry)
    assert lived == pytest.approx(found.weight @ found.failed, rel=1e-9)


def test_deviance_residuals_by_hand():
    found = find_residuals(
        fit_regression([1.0, 2.0, 4.0], [1.0, 2.0, np.inf], covariates=None, names=[]),
        [1.0, 4.0], [1.0, np.inf], covariates=None,
    )  # fmt: skip
    failed, suspended = found.cox_snell
    assert failed < 1.0
    expected = np.sqrt(2.0 * (failed - 1.0 - np.log(failed)))
    assert found.deviance == pytest.approx([expected, -np.sqrt(2.0 * suspended)])


def test_lifelines_nelson_aalen_agrees():
    from lifelines import NelsonAalenFitter

    _, _, _, found = fitted()
    steps = check_residuals(found)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        other = NelsonAalenFitter(nelson_aalen_smoothing=False).fit(
            found.cox_snell, found.failed, entry=found.entry
        )
    known = other.cumulative_hazard_.loc[steps.cox_snell].to_numpy()[:, 0]
    assert steps.hazard == pytest.approx(known, rel=1e-9)


def test_the_check_by_hand():
    # lives end at 1 (failed), 2 (suspended), 3 (failed); the last is watched from 1.5 on
    found = Residuals(
        cox_snell=np.array([1.0, 2.0, 3.0]),
        entry=np.array([0.0, 0.0, 1.5]),
        failed=np.array([1.0, 0.0, 1.0]),
        weight=np.array([1.0, 2.0, 1.0]),
        log_residual=np.zeros(3),
        deviance=np.zeros(3),
    )
    steps = check_residuals(found, confidence=0.90)
    assert steps.at_risk.tolist() == [3.0, 1.0]
    assert steps.hazard == pytest.approx([1 / 3, 4 / 3])
    errors = np.sqrt([1 / 9, 1 / 9 + 1.0]) / steps.hazard
    assert steps.high == pytest.approx(steps.hazard * np.exp(1.6448536 * errors))
    assert steps.low == pytest.approx(steps.hazard / np.exp(1.6448536 * errors))


def test_a_true_model_lies_on_the_diagonal_and_a_wrong_one_off_it():
    """Two populations of one shape merged: residuals of the fit without the group bend away."""
    generator = np.random.default_rng(9)
    group = (np.arange(2000) % 2).astype(float)[:, None]
    life = np.where(group[:, 0] == 1, 20.0, 8.0) * generator.weibull(2.5, 2000)
    inside = []
    for covariates, names in ((group, ["group"]), (None, [])):
        fit = fit_regression(life, life, covariates=covariates, names=names)
        steps = check_residuals(find_residuals(fit, life, life, covariates=covariates))
        held = (steps.low <= steps.cox_snell) & (steps.cox_snell <= steps.high)
        inside.append(held.mean())
    assert inside[0] > 0.85
    assert inside[1] < 0.5


def test_weights_are_repeats():
    lives, x = simulate(2, 80)
    weight = np.random.default_rng(3).integers(1, 4, 80)
    fit = fit_regression(*lives[:3], weight, covariates=x, names=NAMES)
    once = check_residuals(find_residuals(fit, *lives[:3], weight, covariates=x))
    rows = np.repeat(np.arange(80), weight)
    many = find_residuals(fit, *(one[rows] for one in lives[:3]), covariates=x[rows])
    assert check_residuals(many).hazard == pytest.approx(once.hazard, rel=1e-12)
    assert list(once.to_frame().columns)[:2] == ["cox_snell", "hazard"]
    assert len(many.to_frame()) == len(rows)


def test_rows_of_covariates_must_match():
    fit, lives, x, _ = fitted()
    with pytest.raises(RecordError, match="5 rows of covariates for 300 lives"):
        find_residuals(fit, *lives, covariates=x[:5])
