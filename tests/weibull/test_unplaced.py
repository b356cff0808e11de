"""What not knowing who failed adds to the doubt."""

from __future__ import annotations

import numpy as np
import pytest

from pumplife.errors import RecordError
from pumplife.weibull import LifeDraws, fit_posterior, fit_weibull, share_masked
from pumplife.weibull.masked import arrange_candidates, log_odds
from pumplife.weibull.unplaced import widen_for_sharing
from tests.weibull.test_masked import SCALES, SHAPES, make_sides


def draws_of(shape, scale, spread=0.1, draws=4000):
    """Return draws of groups with independent log shape and log scale."""
    generator = np.random.default_rng(1)
    size = (len(shape), draws)
    return LifeDraws(
        early_share=np.zeros(size),
        early_scale=np.ones(size),
        shape=np.asarray(shape)[:, None] * np.exp(spread * generator.standard_normal(size)),
        scale=np.asarray(scale)[:, None] * np.exp(spread * generator.standard_normal(size)),
    )


def test_one_certain_candidate_adds_nothing():
    wider = widen_for_sharing(draws_of([2.0], [900.0]), [400.0], [400.0], group=[0], event=[3],
                              share=[1.0])  # fmt: skip
    assert wider.shape == pytest.approx([1.0])
    assert wider.scale == pytest.approx([1.0])
    assert repr(wider) == "Widening(0 of 1 groups)"


def test_equal_ages_in_one_group_add_nothing():
    """Whichever of the two failed, the life is the same."""
    wider = widen_for_sharing(draws_of([2.0], [900.0]), [400.0] * 2, [400.0] * 2, group=[0, 0],
                              event=[3, 3], share=[0.5, 0.5])  # fmt: skip
    assert wider.shape == pytest.approx([1.0], abs=1e-9)
    assert wider.scale == pytest.approx([1.0], abs=1e-9)


def test_missing_information_by_hand():
    """Constant rates: the slope of the log rate by log scale is -shape, whatever the age.

    At age = scale the slope by log shape is 1. Of an event shared evenly between two groups, the
    slope's variance is 1/4 of the square of the difference of their slopes: forty lose 10 times.
    """
    draws = draws_of([1.0, 1.0], [500.0, 500.0])
    logs = np.log(draws.scale)
    known = 1.0 / logs.var(axis=1, ddof=1)
    event = np.repeat(np.arange(40), 2)
    ages = np.full(80, 500.0)  # log(age / scale) = 0, so that the slope by log shape is 1
    wider = widen_for_sharing(draws, ages, ages, group=np.tile([0, 1], 40), event=event,
                              share=np.full(80, 0.5))  # fmt: skip
    shapes = 1.0 / np.log(draws.shape).var(axis=1, ddof=1)
    whole = np.zeros((4, 4))  # log shape 1, log scale 1, log shape 2, log scale 2
    slope = np.array([1.0, -1.0, -1.0, 1.0])
    whole[np.diag_indices(4)] = [shapes[0], known[0], shapes[1], known[1]]
    observed = np.linalg.inv(whole - 10.0 * np.outer(slope, slope))
    assert wider.scale[0] == pytest.approx(np.sqrt(observed[1, 1] * known[0]), rel=0.02)
    assert wider.shape[1] == pytest.approx(np.sqrt(observed[2, 2] * shapes[1]), rel=0.02)


def test_groups_without_candidates_stay():
    draws = draws_of([2.0, 2.0, 3.0], [900.0, 700.0, 500.0])
    wider = widen_for_sharing(draws, [400.0] * 2, [400.0] * 2, group=[0, 2], event=[1, 1],
                              share=[0.4, 0.6])  # fmt: skip
    assert wider.shape[1] == wider.scale[1] == 1.0
    assert (wider.scale[[0, 2]] > 1.0).all()
    nothing = widen_for_sharing(draws_of([2.0], [900.0]), [], [], group=[], event=[], share=[])
    assert nothing.shape.tolist() == [1.0]


def test_candidates_need_one_of_everything():
    with pytest.raises(RecordError, match="one lower, upper, group, event and share each"):
        widen_for_sharing(draws_of([2.0], [900.0]), [4.0], [4.0], group=[0], event=[1],
                          share=[0.5, 0.5])  # fmt: skip


def test_bounds_cover_where_a_third_names_no_part():
    """100 plants of three parts in series on 60 sides, 90 % bounds: 300 vary by 1.7 %.

    As if shares were known, bounds hold some 83 % of the truths.
    """
    sides = [make_sides(seed, 60, 1.0 / 3.0) for seed in range(100)]
    lower, upper = (np.concatenate([side[place] for side in sides]) for place in (0, 1))
    group = np.concatenate([side[2] + 3 * number for number, side in enumerate(sides)])
    event = np.concatenate([np.where(side[3] >= 0, side[3] + 60 * number, -1)
                            for number, side in enumerate(sides)])  # fmt: skip
    masked = event >= 0
    share = share_masked(lower, np.where(masked, np.inf, upper), group=group, event=event)[masked]
    ages = np.concatenate([lower, lower[masked]])
    ends = np.concatenate([np.where(masked, lower, upper), np.full(masked.sum(), np.inf)])
    weight = np.ones(len(ages))
    weight[: len(lower)][masked], weight[len(lower) :] = share, 1.0 - share
    groups = np.concatenate([group, group[masked]])
    fit = fit_weibull(ages, ends, weight=weight, group=groups)
    draws = fit_posterior(ages, ends, weight=weight, group=groups, shape_prior_median=2.2,
                          shape_prior_sd=2.0).draws  # fmt: skip
    wider = widen_for_sharing(draws, lower[masked], lower[masked], group=group[masked],
                              event=event[masked], share=share)  # fmt: skip
    for name, true in (("shape", SHAPES), ("scale", SCALES)):
        off = np.log(np.tile(true, 100)) - np.log(getattr(fit, name))
        low, high = (np.log(getattr(fit, f"{name}_{end}") / getattr(fit, name))
                     for end in ("low", "high"))  # fmt: skip
        factor = getattr(wider, name)
        plain = ((low <= off) & (off <= high)).mean()
        covered = ((factor * low <= off) & (off <= factor * high)).mean()
        assert covered >= 0.86
        assert plain < covered - 0.02


def test_odds_of_early_and_wear_lives():
    """The rate is that of the mixture, and between two ages its cumulated rate."""
    life = LifeDraws(early_share=np.full(2, 0.04), early_scale=np.full(2, 60.0),
                     shape=np.full(2, 2.5), scale=np.full(2, 2000.0))  # fmt: skip
    exact = arrange_candidates(np.array([30.0, 900.0]), np.array([30.0, 900.0]), np.array([1, 1]))
    np.testing.assert_allclose(np.exp(log_odds(exact, life)), life.hazard(exact.lower))
    spans = arrange_candidates(np.array([0.0, 500.0]), np.array([100.0, 900.0]), np.array([1, 1]))
    wanted = life.survival(spans.lower) / life.survival(spans.upper) - 1.0
    np.testing.assert_allclose(np.exp(log_odds(spans, life)), wanted)
