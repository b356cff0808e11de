"""The posterior against quadrature, its coverage, and what it owes to the prior."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from pumplife.errors import RecordError
from pumplife.weibull import find_early_lives, fit_posterior, fit_weibull
from tests.weibull.plants import SHAPE, SPREAD, suspend_after
from tests.weibull.sets import simulate

LOWER = np.array([300.0, 700.0, 0.0, 500.0, 900.0, 1200.0, 650.0])
UPPER = np.array([300.0, 700.0, 450.0, 800.0, np.inf, np.inf, 650.0])
ENTRY = np.array([0.0, 200.0, 0.0, 100.0, 300.0, 0.0, 0.0])


def quadrature(lower, upper, entry, median, spread):
    """Return the posterior of log shape and log scale, flat in log scale, by brute force."""
    log_shape = np.linspace(np.log(0.15), np.log(25.0), 500)[:, None]
    log_scale = np.linspace(np.log(100.0), np.log(3e5), 900)[None, :]
    shape, scale = np.exp(log_shape), np.exp(log_scale)
    total = -0.5 * ((log_shape - np.log(median)) / spread) ** 2
    for low, high, start in zip(lower, upper, entry, strict=True):
        hazard = (low / scale) ** shape
        if low == high:
            total = total + log_shape + np.log(hazard) - hazard
        elif np.isfinite(high):
            between = np.exp(-hazard) - np.exp(-((high / scale) ** shape))
            total = total + np.log(np.maximum(between, 1e-300))
        else:
            total = total - hazard
        total = total + (start / scale) ** shape
    mass = np.exp(total - total.max())
    return (log_shape[:, 0], mass.sum(1)), (log_scale[0], mass.sum(0))


def quantiles(axis, mass):
    return np.exp(np.interp([0.05, 0.5, 0.95], np.cumsum(mass) / mass.sum(), axis))


def test_posterior_of_mixed_lives_equals_quadrature():
    found = fit_posterior(LOWER, UPPER, ENTRY, group=[0] * 7, shape_prior_median=2.0,
                          shape_prior_sd=0.5, draws=20_000)  # fmt: skip
    shape, scale = quadrature(LOWER, UPPER, ENTRY, 2.0, 0.5)
    mine = [found.shape_low[0], found.shape[0], found.shape_high[0]]
    assert mine == pytest.approx(quantiles(*shape), rel=0.02)
    mine = [found.scale_low[0], found.scale[0], found.scale_high[0]]
    assert mine == pytest.approx(quantiles(*scale), rel=0.02)


def test_posterior_with_early_lives_equals_quadrature():
    """One group, tau held: shape, scale and the share of early lives by brute force."""
    generator = np.random.default_rng(12)
    lower, upper = simulate(generator, 120, 2.5, 1500.0, early=0.08, tau=20.0)
    early = find_early_lives(lower, upper, group=[0] * 120, family=[0] * 120)
    assert early.found[0]
    found = fit_posterior(lower, upper, group=[0] * 120, shape_prior_median=2.0,
                          shape_prior_sd=0.5, early=early, draws=20_000)  # fmt: skip
    share, tau = np.linspace(0.005, 0.395, 79)[:, None, None], early.early_scale[0]
    log_shape = np.linspace(np.log(1.5), np.log(4.5), 90)[:, None]
    log_scale = np.linspace(np.log(1000.0), np.log(2400.0), 100)[None, :]
    total = -0.5 * ((log_shape - np.log(2.0)) / 0.5) ** 2 + 0.0 * share
    for low, high in zip(lower, upper, strict=True):
        hazard = (low / np.exp(log_scale)) ** np.exp(log_shape)
        if low == high:
            wear = np.exp(log_shape) * hazard / low * np.exp(-hazard)
            total = total + np.log((1 - share) * wear + share * np.exp(-low / tau) / tau)
        else:
            total = total + np.log((1 - share) * np.exp(-hazard) + share * np.exp(-low / tau))
    mass = np.exp(total - total.max())
    mine = [found.shape_low[0], found.shape[0], found.shape_high[0]]
    assert mine == pytest.approx(quantiles(log_shape[:, 0], mass.sum((0, 2))), rel=0.02)
    mine = [found.scale_low[0], found.scale[0], found.scale_high[0]]
    assert mine == pytest.approx(quantiles(log_scale[0], mass.sum((0, 1))), rel=0.01)
    of_share = mass.sum((1, 2)) / mass.sum()
    assert found.early_share[0] == pytest.approx((of_share * share[:, 0, 0]).sum(), rel=0.02)
    drawn = found.draws.early_share[0]
    cumulated = np.cumsum(of_share) - 0.5 * of_share
    ends = np.interp([0.05, 0.95], cumulated, share[:, 0, 0])
    assert np.quantile(drawn, [0.05, 0.95]) == pytest.approx(ends, rel=0.08)
    assert [found.early_share_low[0], found.early_share_high[0]] == pytest.approx(ends, rel=0.08)


def test_intervals_cover_what_they_say():
    """1 000 groups of 10 lives, shapes from the prior, a third of them entered late."""
    generator = np.random.default_rng(21)
    groups, rows = 1000, 10
    shape = 2.0 * np.exp(0.4 * generator.standard_normal(groups))
    life = 1000.0 * generator.weibull(np.repeat(shape, rows))
    until = generator.uniform(200.0, 1600.0, groups * rows)
    entry = np.where(generator.random(groups * rows) < 0.3, generator.uniform(0, 500, life.size), 0)
    seen = (life > entry) & (until > entry)
    group = np.repeat(np.arange(groups), rows)
    lower, upper = np.minimum(life, until), np.where(life <= until, life, np.inf)
    columns = [column[seen] for column in (lower, upper, entry)]
    found = fit_posterior(*columns, group=group[seen], shape_prior_median=2.0,
                          shape_prior_sd=0.4, draws=300)  # fmt: skip
    true = shape[found.labels]
    inside = (found.shape_low <= true) & (true <= found.shape_high)
    assert 0.87 <= inside.mean() <= 0.93
    failed = np.bincount(group[seen], np.isfinite(columns[1]), groups)[found.labels] >= 3
    covered = (found.scale_low <= 1000.0) & (found.scale_high >= 1000.0)
    assert 0.86 <= covered[failed].mean() <= 0.95


def test_no_failures_leave_the_prior_on_shape_and_a_long_scale():
    lower = np.full(30, 1000.0)
    found = fit_posterior(lower, np.full(30, np.inf), group=[0] * 30, shape_prior_median=2.0,
                          shape_prior_sd=0.3)  # fmt: skip
    assert found.prior_share[0] == pytest.approx(1.0, abs=0.05)
    assert found.shape[0] == pytest.approx(2.0, rel=0.02)
    expected = 30 * (1000.0 / found.draws.scale[0]) ** found.draws.shape[0]
    assert expected.min() >= 0.0099
    assert np.quantile(expected, 0.95) < 3.0


def test_for_a_given_shape_the_posterior_is_the_gamma_one():
    """Flat in log scale: the sum of age^shape over scale^shape is gamma with r failures."""
    lower = np.array([400.0, 900.0, 700.0, 1100.0, 1100.0])
    upper = np.where(np.arange(5) < 2, lower, np.inf)
    found = fit_posterior(lower, upper, group=[0] * 5, shape_prior_median=1.7,
                          shape_prior_sd=1e-4, draws=20_000)  # fmt: skip
    total = (lower**1.7).sum()
    expected = (total / stats.gamma(2).ppf([0.95, 0.5, 0.05])) ** (1.0 / 1.7)
    mine = [found.scale_low[0], found.scale[0], found.scale_high[0]]
    assert mine == pytest.approx(expected, rel=0.01)
    assert np.quantile(found.draws.scale[0], [0.05, 0.5, 0.95]) == pytest.approx(expected, rel=0.02)
    b10 = expected * (-np.log(0.9)) ** (1.0 / 1.7)
    mine = [found.b10_low[0], found.b10[0], found.b10_high[0]]
    assert mine == pytest.approx(b10, rel=0.01)


def test_one_failure_that_is_the_longest_life_still_has_an_answer():
    """Maximum likelihood has none: shape runs to infinity. The prior holds the posterior."""
    lower = np.array([800.0, 300.0, 500.0, 700.0])
    upper = np.array([800.0, np.inf, np.inf, np.inf])
    assert fit_weibull(lower, upper, group=[0] * 4).reason[0] == "shape to infinity"
    found = fit_posterior(lower, upper, group=[0] * 4, shape_prior_median=2.0,
                          shape_prior_sd=0.3)  # fmt: skip
    assert 2.0 < found.shape[0] < 2.5
    assert 700.0 < found.scale[0] < 1500.0
    assert found.scale_low[0] > 400.0
    assert 0.85 < found.prior_share[0] <= 1.0


def test_a_wider_prior_moves_few_failures_more_than_many():
    generator = np.random.default_rng(6)
    few, many = (simulate(generator, rows, 3.5, 800.0) for rows in (12, 1000))
    lower, upper = (np.concatenate(parts) for parts in zip(few, many, strict=True))
    group = np.repeat([0, 1], [12, 1000])
    prior = {"shape_prior_median": 1.6, "shape_prior_sd": 0.2}
    found = fit_posterior(lower, upper, group=group, **prior)
    moved = np.abs(np.log(found.b10_wider_prior / found.b10))
    assert moved[0] > 0.05
    assert moved[1] < 0.01
    wide = fit_posterior(lower, upper, group=group, shape_prior_median=1.6, shape_prior_sd=0.4)
    assert found.b10_wider_prior == pytest.approx(wide.b10, rel=0.03)


@pytest.mark.parametrize(("failures", "rows"), [(3, 6), (3, 15), (10, 20), (10, 50)])
def test_bounds_cover_shape_scale_and_b10_with_few_failures(failures, rows):
    """400 sets at 90 %: three standard deviations are 4.5 %. Likelihood bounds cover 73 % at 3."""
    generator = np.random.default_rng(failures + rows)
    shape = SHAPE * np.exp(SPREAD * generator.standard_normal(400))
    group = np.repeat(np.arange(400), rows)
    life = generator.weibull(shape[group])
    lower, upper = suspend_after(life, group, np.full(400, failures))
    found = fit_posterior(lower, upper, group=group, shape_prior_median=SHAPE,
                          shape_prior_sd=SPREAD, draws=5)  # fmt: skip
    b10 = (-np.log(0.9)) ** (1.0 / shape)
    for name, true in (("shape", shape), ("scale", 1.0), ("b10", b10)):
        low, high = getattr(found, f"{name}_low"), getattr(found, f"{name}_high")
        assert 0.855 <= ((low <= true) & (true <= high)).mean() <= 0.945, name


def test_many_failures_leave_the_likelihood():
    lower, upper = simulate(np.random.default_rng(2), 3000, 2.5, 800.0)
    found = fit_posterior(lower, upper, group=[0] * 3000, shape_prior_median=1.0,
                          shape_prior_sd=0.5)  # fmt: skip
    fit = fit_weibull(lower, upper)
    assert found.shape[0] == pytest.approx(fit.shape, rel=0.01)
    assert found.scale_low[0] == pytest.approx(fit.scale_low, rel=0.01)
    assert found.prior_share[0] < 0.01


def test_draws_depend_on_own_lives_label_and_seed_only():
    lower, upper = simulate(np.random.default_rng(3), 60, 2.0, 500.0)
    group = np.repeat(["b", "a", "c"], 20)
    how = {"shape_prior_median": 2.0, "shape_prior_sd": 0.5, "draws": 50}
    whole = fit_posterior(lower, upper, group=group, seed=4, **how)
    order = np.random.default_rng(0).permutation(60)
    mixed = fit_posterior(lower[order], upper[order], group=group[order], seed=4, **how)
    alone = fit_posterior(lower[:20], upper[:20], group=group[:20], seed=4, **how)
    other = fit_posterior(lower[:20], upper[:20], group=group[:20], seed=5, **how)
    assert mixed.draws.scale == pytest.approx(whole.draws.scale, rel=1e-6)
    assert alone.draws.scale[0] == pytest.approx(whole.draws.scale[1], rel=1e-6)
    assert not np.array_equal(other.draws.scale, alone.draws.scale)
    assert abs(np.corrcoef(whole.draws.shape)[0, 1]) < 0.5


def test_groups_that_say_nothing_have_a_reason():
    found = fit_posterior([5.0, 9.0, 0.0, 7.0], [5.0, np.inf, 4.0, 7.0], weight=[1, 1, 1, 0],
                          group=["a", "a", "b", "c"], shape_prior_median=2.0,
                          shape_prior_sd=0.5, draws=10)  # fmt: skip
    assert list(found.reason) == ["", "scale to zero", "no lives of any weight"]
    assert np.isnan(found.draws.scale[1:]).all()
    assert np.isfinite(found.draws.scale[0]).all()


def test_impossible_priors_are_refused():
    with pytest.raises(RecordError, match="one for each of 1 groups"):
        fit_posterior([5.0], [5.0], group=[1], shape_prior_median=[2.0, 2.0], shape_prior_sd=0.5)
    with pytest.raises(RecordError, match="above zero"):
        fit_posterior([5.0], [5.0], group=[1], shape_prior_median=2.0, shape_prior_sd=0.0)
