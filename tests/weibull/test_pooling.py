"""Partial pooling: against brute force, at its two ends, and whether it helps and still covers."""

from __future__ import annotations

import numpy as np
import pytest

from pumplife.errors import RecordError
from pumplife.weibull import fit_posterior
from pumplife.weibull.pooling import (
    PART_WIDTHS,
    SCALE_SPREADS,
    SHAPE_PARTS,
    USUAL_PART,
    USUAL_SPREAD,
)
from tests.weibull.plants import SHAPE, SPREAD, draw_families

PRIOR = {"shape_prior_median": SHAPE, "shape_prior_sd": SPREAD}


def lives(number, scale, generator, *, shape=2.2, until=1.0):
    """Return lower and upper of lives suspended at a share of the scale."""
    life = scale * generator.weibull(shape, number)
    end = until * scale
    return np.minimum(life, end), np.where(life <= end, life, np.inf)


def stack(parts):
    lower, upper = (np.concatenate(columns) for columns in zip(*parts, strict=True))
    return lower, upper, np.repeat(np.arange(len(parts)), [len(part[0]) for part in parts])


def by_importance(parts, median, spread, draws=60_000):
    """Return the posterior mean and deviation of each group's log B10 by brute force.

    For a given shape k a group's hazard rate has a gamma posterior, so log scale can be summed out
    on a line; means, spreads and shapes are drawn from their prior and weighted.
    """
    generator = np.random.default_rng(9)
    spreads = generator.choice(SCALE_SPREADS, draws, p=spread_prior())
    part = generator.choice(SHAPE_PARTS, draws, p=part_prior())
    mean = generator.uniform(5.5, 9.5, draws)
    middle = np.log(median) + np.sqrt(1 - part**2) * spread * generator.standard_normal(draws)
    height = np.zeros(draws)
    answers = []
    line = np.linspace(-4.0, 4.0, 81)
    for lower, upper in parts:
        log_shape = middle + part * spread * generator.standard_normal(draws)
        shape = np.exp(log_shape)
        log_scale = mean[:, None] + spreads[:, None] * line
        failed = np.isfinite(upper)
        total = np.exp(shape[:, None] * np.log(lower)).sum(axis=1)
        value = failed.sum() * (log_shape[:, None] - shape[:, None] * log_scale)
        value += (shape * np.log(lower[failed]).sum())[:, None]
        value -= total[:, None] * np.exp(-shape[:, None] * log_scale)
        value -= 0.5 * line**2
        top = value.max(axis=1, keepdims=True)
        weight = np.exp(value - top)
        height += np.log(weight.sum(axis=1)) + top[:, 0]
        chosen = (np.cumsum(weight, axis=1) < generator.random((draws, 1)) * weight.sum(
            axis=1, keepdims=True)).sum(axis=1)  # fmt: skip
        scale = log_scale[np.arange(draws), np.minimum(chosen, 80)]
        answers.append(scale + np.log(-np.log(0.9)) / shape)
    weight = np.exp(height - height.max())
    weight /= weight.sum()
    means = np.array([(weight * answer).sum() for answer in answers])
    deviations = [np.sqrt((weight * (a - m) ** 2).sum()) for a, m in zip(answers, means,
                                                                         strict=True)]  # fmt: skip
    return means, np.array(deviations), 1.0 / (weight**2).sum()


def spread_prior():
    density = SCALE_SPREADS / (1.0 + (SCALE_SPREADS / USUAL_SPREAD) ** 2)
    return density / density.sum()


def part_prior():
    density = PART_WIDTHS / (1.0 + (SHAPE_PARTS / USUAL_PART) ** 2)
    return density / density.sum()


def test_pooled_groups_equal_brute_force():
    """Three groups, one with two failures; the hyperparameters sampled from their prior."""
    generator = np.random.default_rng(3)
    parts = [lives(8, 1000.0, generator), lives(6, 1300.0, generator),
             lives(9, 900.0, generator, until=0.5)]  # fmt: skip
    means, deviations, effective = by_importance(parts, SHAPE, SPREAD)
    assert effective > 400
    lower, upper, group = stack(parts)
    found = fit_posterior(lower, upper, group=group, family=0 * group, draws=8000, **PRIOR)
    log_b10 = np.log(found.draws.scale) + np.log(-np.log(0.9)) / found.draws.shape
    assert log_b10.mean(axis=1) == pytest.approx(means, abs=0.03)
    assert log_b10.std(axis=1) == pytest.approx(deviations, rel=0.12)
    assert np.log(found.b10) == pytest.approx(np.median(log_b10, axis=1), abs=0.02)


def test_a_family_of_one_borrows_nothing_and_is_the_same_alone():
    lower, upper = lives(30, 1000.0, np.random.default_rng(4))
    alone = fit_posterior(lower, upper, group=[0] * 30, **PRIOR)
    family = fit_posterior(lower, upper, group=[0] * 30, family=["x"] * 30, **PRIOR)
    for name in ("shape", "scale_low", "b10_high"):
        assert getattr(family, name) == pytest.approx(getattr(alone, name), rel=1e-12)
    assert family.borrowed_share[0] == 0.0


def test_a_family_without_a_failure_borrows_nothing():
    lower = np.full(20, 500.0)
    found = fit_posterior(lower, np.full(20, np.inf), group=np.arange(20) // 10,
                          family=[1] * 20, **PRIOR)  # fmt: skip
    assert (found.borrowed_share == 0.0).all()
    assert found.shape == pytest.approx([SHAPE] * 2, rel=0.02)


def test_like_groups_lend_more_than_unlike_ones():
    generator = np.random.default_rng(6)
    few = lives(12, 1000.0, generator, until=0.5)
    borrowed = []
    for factor in (1.0, 3.0):
        others = [lives(60, 1000.0 * factor**power, generator) for power in (-1, 0, 1, 0.5)]
        lower, upper, group = stack([few, *others])
        found = fit_posterior(lower, upper, group=group, family=0 * group, **PRIOR)
        borrowed.append(found.borrowed_share)
    assert borrowed[0][0] > borrowed[1][0] + 0.1
    assert (borrowed[0][1:] < 0.5).all()


def test_a_group_that_was_hardly_watched_takes_its_scale_from_the_others():
    """Alone, no failure in 100 h says nothing of 1 000 h lives; beside others it need not."""
    generator = np.random.default_rng(7)
    young = np.full(5, 100.0), np.full(5, np.inf)
    lower, upper, group = stack([young, *(lives(60, 1000.0, generator) for _ in range(4))])
    found = fit_posterior(lower, upper, group=group, family=0 * group, **PRIOR)
    assert 700.0 < found.scale[0] < 1500.0
    assert found.borrowed_share[0] > 0.7
    assert np.median(found.draws.scale[0]) == pytest.approx(found.scale[0], rel=0.05)


def test_groups_that_have_nothing_in_common_lend_nothing():
    """Scales a billion apart, as if one counted strokes, and shapes far from the prior."""
    generator = np.random.default_rng(10)
    parts = [lives(40, 1.0, generator, shape=1.2), lives(40, 1e9, generator, shape=14.0)]
    lower, upper, group = stack(parts)
    found = fit_posterior(lower, upper, group=group, family=0 * group, **PRIOR)
    alone = fit_posterior(lower, upper, group=group, **PRIOR)
    assert (found.borrowed_share < 0.3).all()
    assert found.scale == pytest.approx(alone.scale, rel=0.1)
    assert np.isfinite(found.draws.scale).all()


def test_pooling_is_free_of_units_and_of_the_order_of_rows():
    generator = np.random.default_rng(8)
    lower, upper, group = stack([lives(9, 1000.0 * n, generator) for n in (1, 2, 3)])
    found = fit_posterior(lower, upper, group=group, family=0 * group, **PRIOR)
    order = generator.permutation(len(lower))
    other = fit_posterior(1e-3 * lower[order], 1e-3 * upper[order], group=group[order],
                          family=0 * group, **PRIOR)  # fmt: skip
    assert other.scale == pytest.approx(1e-3 * found.scale, rel=1e-6)
    assert other.draws.shape == pytest.approx(found.draws.shape, rel=1e-6)
    assert other.borrowed_share == pytest.approx(found.borrowed_share, abs=1e-6)


def test_pooling_beats_each_alone_and_still_covers():
    """60 plants, some 420 groups of 2 to 6 failures: shares of 90 % vary by 1.5 %."""
    truth = draw_families(np.random.default_rng(1), 60)
    rows = truth.lower, truth.upper
    alone = fit_posterior(*rows, group=truth.group, draws=20, **PRIOR)
    pooled = fit_posterior(*rows, group=truth.group, family=truth.family, draws=20, **PRIOR)
    error = [(np.log(found.b10 / truth.b10) ** 2).mean() for found in (alone, pooled)]
    assert error[1] < 0.85 * error[0]
    inside = (pooled.b10_low <= truth.b10) & (truth.b10 <= pooled.b10_high)
    assert 0.85 < inside.mean() < 0.96


def test_impossible_families_are_refused():
    columns = [5.0, 6.0, 7.0, 8.0], [5.0, 6.0, 7.0, np.inf]
    with pytest.raises(RecordError, match="Group 1 is in two families"):
        fit_posterior(*columns, group=[0, 0, 1, 1], family=[0, 0, 0, 1], **PRIOR)
    with pytest.raises(RecordError, match="one label per life"):
        fit_posterior(*columns, group=[0, 0, 1, 1], family=[0], **PRIOR)
    with pytest.raises(RecordError, match="one prior on shape in common"):
        fit_posterior(*columns, group=[0, 0, 1, 1], family=[0] * 4, shape_prior_median=[2.0, 3.0],
                      shape_prior_sd=0.3)  # fmt: skip
