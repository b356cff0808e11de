"""Draws by the normal approximation and by the bootstrap, beside the posterior's."""

from __future__ import annotations

import numpy as np
import pytest

from pumplife.errors import RecordError
from pumplife.weibull import draw_asymptotic, draw_bootstrap, fit_posterior, fit_weibull
from tests.weibull.sets import simulate

LEVELS = [0.05, 0.5, 0.95]


def many(rows=500):
    """Return lives of three groups with some 300 failures each, a third of them entered late."""
    generator = np.random.default_rng(5)
    sets = [simulate(generator, rows, shape, 900.0) for shape in (1.2, 2.4, 3.5)]
    lower, upper = (np.concatenate(parts) for parts in zip(*sets, strict=True))
    late = np.where(generator.random(3 * rows) < 0.3, 0.5 * lower, 0.0)
    return lower, upper, late, np.repeat(["a", "b", "c"], rows)


def test_three_ways_of_drawing_agree_at_many_failures():
    """300 failures: a 5 % point of 800 draws varies by 8 % of a standard deviation."""
    lower, upper, late, group = many()
    fit = fit_weibull(lower, upper, late, group=group)
    posterior = fit_posterior(lower, upper, late, group=group, shape_prior_median=2.0,
                              shape_prior_sd=0.5, draws=800).draws  # fmt: skip
    normal = draw_asymptotic(fit, draws=800)
    resampled = draw_bootstrap(lower, upper, late, group=group, draws=800)
    for drawn in (normal, resampled):
        for name in ("shape", "scale"):
            mine, theirs = np.log(getattr(drawn, name)), np.log(getattr(posterior, name))
            spread = theirs.std(axis=1)
            ends = [np.quantile(values, LEVELS, axis=1) for values in (mine, theirs)]
            assert np.abs(ends[0] - ends[1]).max() < 0.35 * spread.max()
            assert mine.std(axis=1) == pytest.approx(spread, rel=0.12)
        assert np.corrcoef(np.log(drawn.shape[2]), np.log(drawn.scale[2]))[0, 1] == pytest.approx(
            np.corrcoef(np.log(posterior.shape[2]), np.log(posterior.scale[2]))[0, 1], abs=0.12
        )
        assert not drawn.early_share.any()


def test_normal_draws_have_the_fits_covariance():
    lower, upper, late, group = many(200)
    fit = fit_weibull(lower, upper, late, group=group)
    drawn = draw_asymptotic(fit, draws=40_000)
    for number in range(3):
        found = np.cov(np.log(drawn.scale[number]), np.log(drawn.shape[number]))
        assert found == pytest.approx(fit.covariance[number], rel=0.05, abs=2e-4)


def test_resamples_do_not_depend_on_how_many_are_fitted_at_once(monkeypatch):
    lower, upper, late, group = many(30)
    whole = draw_bootstrap(lower, upper, late, group=group, draws=20)
    monkeypatch.setattr("pumplife.weibull.resample.AT_ONCE", 100)
    blocks = draw_bootstrap(lower, upper, late, group=group, draws=20)
    assert blocks.shape == pytest.approx(whole.shape, rel=1e-6)
    assert blocks.scale == pytest.approx(whole.scale, rel=1e-6)


def test_a_group_without_an_estimate_has_no_draws():
    lower = [100.0, 200.0, 300.0, 400.0, 500.0]
    upper = [100.0, 200.0, 300.0, np.inf, np.inf]
    group = ["a", "a", "a", "b", "b"]
    fit = fit_weibull(lower, upper, group=group)
    for drawn in (draw_asymptotic(fit, draws=5),
                  draw_bootstrap(lower, upper, group=group, draws=5)):  # fmt: skip
        assert np.isfinite(drawn.shape[0]).all()
        assert np.isnan(drawn.shape[1]).all()


def test_no_draws_are_refused():
    with pytest.raises(RecordError, match="one or more"):
        draw_bootstrap([5.0, 6.0], [5.0, 6.0], group=[1, 1], draws=0)
