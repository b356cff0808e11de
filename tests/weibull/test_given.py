"""The scale for a given shape: by hand, published, down to no failure."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import special, stats

from pumplife.errors import NoFiniteEstimate, RecordError
from pumplife.weibull import fit_scale, scale_lower_bound
from tests.weibull.sets import PUBLISHED, arrange, log_likelihood, read_printed


def test_exponential_by_hand():
    """3 failures over 1 000 h: mean 333.3, error of its log 1 / sqrt 3."""
    fit = fit_scale(*arrange([100.0, 200.0, 300.0], [400.0]), shape=1.0, bounds="wald")
    assert fit.scale == pytest.approx(1000.0 / 3.0)
    assert fit.error == pytest.approx(1.0 / np.sqrt(3.0))
    assert fit.low == pytest.approx(1000.0 / 3.0 * np.exp(-1.6448536 / np.sqrt(3.0)))
    assert fit.log_likelihood == pytest.approx(3 * np.log(3 / 1000) - 3)
    assert fit.failures == 3.0


def test_corrected_bounds_are_chi_squared_where_failures_ended_all_lives():
    """Epstein's bounds 2 T / chi-squared(2 r), by scipy; suspended at the last failure."""
    lower, upper = arrange([100.0, 200.0, 300.0], [300.0, 300.0])
    fit = fit_scale(lower, upper, shape=1.0, confidence=0.9)
    total = 1200.0
    assert fit.low == pytest.approx(2 * total / stats.chi2.ppf(0.95, 6), rel=1e-10)
    assert fit.high == pytest.approx(2 * total / stats.chi2.ppf(0.05, 6), rel=1e-10)


def test_time_ended_lives_raise_the_count_by_up_to_half_a_failure():
    """Between the two classical bounds of 2 r and 2 r + 2 degrees of freedom."""
    lower, upper = arrange([100.0, 200.0, 300.0], [400.0] * 9)
    fit = fit_scale(lower, upper, shape=1.0, confidence=0.9)
    total, raised = 600.0 + 3600.0, 3.0 + 0.5 * 0.75
    assert fit.low == pytest.approx(total / special.gammaincinv(raised, 0.95), rel=1e-10)
    assert fit.low > 2 * total / stats.chi2.ppf(0.95, 8)
    assert fit.low < 2 * total / stats.chi2.ppf(0.95, 6)


@pytest.mark.parametrize("kind", ["likelihood", "corrected", "wald"])
def test_no_failure_leaves_the_zero_failure_bound(kind):
    fit = fit_scale([50.0, 100.0], [np.inf, np.inf], shape=2.0, bounds=kind, confidence=0.95)
    assert fit.low == pytest.approx(np.sqrt(12_500.0 / np.log(20.0)), rel=1e-12)
    assert fit.low == pytest.approx(scale_lower_bound([50.0, 100.0], None, 2.0, 0.95))
    assert (fit.scale, fit.high, fit.error) == (np.inf, np.inf, np.inf)
    assert (fit.log_likelihood, fit.failures, fit.reason) == (0.0, 0.0, "")


def test_likelihood_bounds_by_their_definition():
    """Late entry, an interval and a left-censored life beside exact ones."""
    lower = np.array([120.0, 300.0, 410.0, 500.0, 0.0])
    upper = np.array([120.0, 380.0, 410.0, np.inf, 350.0])
    entry = np.array([0.0, 100.0, 200.0, 0.0, 0.0])
    lives = (lower, upper, entry, np.array([1.0, 2.0, 1.0, 3.0, 1.0]))
    fit = fit_scale(*lives, shape=1.7, bounds="likelihood")
    peak = log_likelihood(lives, 1.7, fit.scale)
    assert fit.log_likelihood == pytest.approx(peak, rel=1e-12)
    for nudge in (0.999, 1.001):
        assert log_likelihood(lives, 1.7, nudge * fit.scale) < peak
    for bound in (fit.low, fit.high):
        assert log_likelihood(lives, 1.7, bound) == pytest.approx(
            peak - 0.5 * special.ndtri(0.95) ** 2, abs=1e-9
        )


def test_alpha_particles():
    """Meeker & Escobar 1998, chapter 7 (public page): 200 intervals in 7 bins, exponential.

    The page's error and bounds are off its own maximum in the eighth digit: met to 2e-7.
    """
    inputs, printed = PUBLISHED["E01"]["inputs"], read_printed("E01")
    edges = np.array(inputs["edges"], dtype=float)
    fit = fit_scale(
        edges[:-1], edges[1:], weight=inputs["counts"], shape=1.0, bounds="wald", confidence=0.95
    )
    assert fit.scale == pytest.approx(float(printed["mttf"]), abs=0.0051)
    assert fit.scale * fit.error == pytest.approx(float(printed["se"]), rel=2e-7)
    assert [fit.low, fit.high] == pytest.approx(
        [float(printed["lo"]), float(printed["hi"])], rel=2e-7
    )
    assert np.log(fit.scale) == pytest.approx(float(printed["mu"]), abs=5.1e-5)
    assert fit.error == pytest.approx(float(printed["se_mu"]), abs=5.1e-7)
    assert fit.log_likelihood == pytest.approx(float(printed["loglik"]), abs=0.051)
    assert 1.0 / fit.scale == pytest.approx(float(printed["hazard"]), abs=5.1e-8)
    for share, name in ((0.10, "B10"), (0.50, "B50")):
        assert -np.log1p(-share) * fit.scale == pytest.approx(float(printed[name]), rel=1e-4)
    assert -np.expm1(-500.0 / fit.scale) == pytest.approx(float(printed["F_500"]), abs=5.1e-5)


@pytest.mark.parametrize(("shape", "name"), [(1.5, "1.5"), (2.0, "2.0"), (3.0, "3.0")])
def test_bearing_cages_with_given_shape(shape, name):
    """Independently computed (closed form against numerical likelihood), not published."""
    inputs = PUBLISHED["W08"]["inputs"]
    ages = np.array([*inputs["failures"], *map(float, inputs["suspensions"])])
    weight = np.array([1] * 6 + list(inputs["suspensions"].values()), dtype=float)
    upper = np.where(np.arange(len(ages)) < 6, ages, np.inf)
    fit = fit_scale(ages, upper, weight=weight, shape=shape)
    assert fit.scale == pytest.approx(float(read_printed("Z02")[f"eta(beta={name})"]), rel=2e-8)
    assert fit.low < fit.scale < fit.high


def test_groups_with_shapes_of_their_own():
    lower, upper = [100.0, 300.0, 50.0, 80.0, 0.0], [100.0, np.inf, np.inf, np.inf, 5.0]
    fit = fit_scale(lower, upper, group=list("aabbc"), shape=[1.0, 2.0, 1.0])
    assert fit.scale[:2] == pytest.approx([400.0, np.inf])
    assert list(fit.reason) == ["", "", "scale to zero"]
    assert np.isnan(fit.scale[2])
    assert repr(fit) == "ScaleFit(3 groups)"
    alone = fit_scale(lower[2:4], upper[2:4], shape=2.0)
    assert fit.low[1] == pytest.approx(alone.low)
    assert repr(alone).startswith("ScaleFit(inf")


@pytest.mark.parametrize("unit", [1e-9, 1e12])
@pytest.mark.parametrize("shape", [0.1, 60.0])
def test_any_shape_and_any_unit(unit, shape):
    lower, upper = arrange([100.0, 200.0, 300.0], [150.0, 400.0])
    base = fit_scale(lower, upper, shape=shape)
    moved = fit_scale(lower * unit, upper * unit, shape=shape)
    for field in ("scale", "low", "high"):
        assert getattr(moved, field) / unit == pytest.approx(getattr(base, field), rel=1e-9)


@pytest.mark.parametrize(
    ("how", "words"),
    [
        ({"shape": 0.0}, "shape is 0: give a number above zero"),
        ({"shape": np.nan}, "shape is nan: give a number above zero"),
        ({"shape": [1.0, 2.0]}, r"shape needs one number, or one per group \(1"),
        ({"shape": "steep"}, "shape needs one number"),
        ({"shape": 1.0, "bounds": "exact"}, "bounds is 'exact'"),
        ({"shape": 1.0, "confidence": 0.0}, "confidence is 0.0"),
    ],
)
def test_impossible_input_is_named(how, words):
    with pytest.raises(RecordError, match=words):
        fit_scale([1.0, 2.0], [1.0, np.inf], **how)


def test_no_life_seen_for_any_time_is_refused():
    with pytest.raises(NoFiniteEstimate, match="scale to zero"):
        fit_scale([0.0, 0.0], [5.0, 9.0], shape=1.0)
    with pytest.raises(NoFiniteEstimate, match="no lives of any weight"):
        fit_scale([5.0], [5.0], weight=[0.0], shape=1.0)
