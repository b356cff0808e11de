"""Bounds of shape and scale by their definition, and those that do not exist."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import optimize

from pumplife.errors import RecordError
from pumplife.weibull import fit_weibull, scale_lower_bound
from tests.weibull.sets import log_likelihood


def best_at_scale(lives, scale):
    found = optimize.minimize_scalar(
        lambda log_shape: -log_likelihood(lives, np.exp(log_shape), scale),
        bounds=(-4.0, 4.0),
        method="bounded",
        options={"xatol": 1e-10},
    )
    return -found.fun


def best_at_shape(lives, shape):
    found = optimize.minimize_scalar(
        lambda log_scale: -log_likelihood(lives, shape, np.exp(log_scale)),
        bounds=(2.0, 14.0),
        method="bounded",
        options={"xatol": 1e-10},
    )
    return -found.fun


def test_likelihood_falls_by_half_chi_squared_at_each_bound():
    lower = np.array([120.0, 300.0, 410.0, 500.0, 640.0, 700.0, 0.0, 200.0])
    upper = np.array([120.0, 300.0, 410.0, np.inf, 640.0, np.inf, 350.0, 450.0])
    entry = np.array([0.0, 100.0, 0.0, 0.0, 350.0, 0.0, 0.0, 50.0])
    lives = (lower, upper, entry, np.array([1.0, 2.0, 1.0, 3.0, 1.0, 1.0, 1.0, 2.0]))
    fit = fit_weibull(*lives, confidence=0.90)
    target = fit.log_likelihood - 0.5 * 1.6448536269514722**2
    for shape in (fit.shape_low, fit.shape_high):
        assert best_at_shape(lives, shape) == pytest.approx(target, abs=1e-8)
    for scale in (fit.scale_low, fit.scale_high):
        assert best_at_scale(lives, scale) == pytest.approx(target, abs=1e-8)


def test_late_entry_can_leave_the_shape_without_a_lower_bound():
    """The likelihood of a hazard c / t is within reach of the best: shapes down to 0 are in."""
    lower, entry = [120.0, 180.0, 260.0, 300.0], [100.0, 110.0, 150.0, 200.0]
    fit = fit_weibull(lower, [120.0, 180.0, 260.0, np.inf], entry)
    assert fit.shape_low == 0.0
    assert fit.scale_low == 0.0
    assert np.isfinite([fit.shape_high, fit.scale_high]).all()


def test_few_looks_can_leave_shape_and_scale_without_bounds():
    """2 of 3 found failed at age 9, 1 of 3 at age 1: a share failed at once is within reach.

    That share's hazard may be below or above 1, so the scale may run off either way.
    """
    lower, upper = [0.0, 1.0, 1.0, 0.0, 0.0, 9.0], [1.0, np.inf, np.inf, 9.0, 9.0, np.inf]
    fit = fit_weibull(lower, upper)
    assert (fit.shape_low, fit.scale_low, fit.scale_high) == (0.0, 0.0, np.inf)
    assert np.isfinite(fit.shape_high)


def test_higher_confidence_is_wider():
    lower = np.array([100.0, 250.0, 300.0, 420.0])
    narrow, wide = (fit_weibull(lower, lower, confidence=c) for c in (0.5, 0.95))
    assert wide.shape_low < narrow.shape_low < narrow.shape_high < wide.shape_high
    assert wide.scale_low < narrow.scale_low < narrow.scale_high < wide.scale_high


def test_zero_failure_bound_by_hand():
    """Shape 1, 10 lives of 100 h: 1000 / ln 20 at 95 %."""
    assert scale_lower_bound([100.0] * 10, None, 1.0, 0.95) == pytest.approx(1000 / np.log(20))
    assert scale_lower_bound([100.0], [10.0], 1.0, 0.95) == pytest.approx(1000 / np.log(20))


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (([100.0], None, 0.0, 0.9), "shape is 0.0: give a number above zero"),
        (([], None, 2.0, 0.9), "needs ages of zero or more"),
        (([-1.0], None, 2.0, 0.9), "needs ages of zero or more"),
        (([5.0], [0.0], 2.0, 0.9), "one weight of zero or more per age"),
        (([5.0], None, 2.0, 1.2), "confidence is 1.2"),
    ],
)
def test_zero_failure_bound_refuses(arguments, words):
    with pytest.raises(RecordError, match=words):
        scale_lower_bound(*arguments)
