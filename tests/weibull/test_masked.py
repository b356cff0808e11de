"""Breakdowns with no part named."""

from __future__ import annotations

import numpy as np
import pytest

from pumplife.errors import RecordError
from pumplife.weibull import fit_weibull, share_masked

SHAPES, SCALES = np.array([2.5, 1.5, 3.0]), np.array([2000.0, 3500.0, 2600.0])


def make_sides(seed, sides, blanked):
    """Return lives of three parts in series, all renewed at the first failure, some unnamed."""
    generator = np.random.default_rng(seed)
    life = SCALES * generator.weibull(SHAPES, (sides, 3))
    until = generator.uniform(500.0, 3000.0, sides)
    first = life.min(axis=1)
    broke = first <= until
    lower = np.repeat(np.minimum(first, until), 3)
    failed = (life == first[:, None]) & broke[:, None]
    upper = np.where(failed.ravel(), lower, np.inf)
    unnamed = broke & (generator.random(sides) < blanked)
    event = np.repeat(np.where(unnamed, np.arange(sides), -1), 3)
    return lower, upper, np.tile(np.arange(3), sides), event


def test_a_fifth_of_the_parts_unnamed_moves_no_scale_by_three_percent():
    lower, upper, group, event = make_sides(1, 3000, 0.2)
    whole = fit_weibull(lower, upper, group=group)
    share = share_masked(lower, np.where(event >= 0, np.inf, upper), group=group, event=event)
    masked = event >= 0
    assert np.bincount(event[masked], share[masked])[np.unique(event[masked])] == pytest.approx(1.0)
    assert (share[~masked] == 0.0).all()
    rows = np.concatenate([lower, lower[masked]])
    ends = np.concatenate([np.where(masked, lower, upper), np.full(masked.sum(), np.inf)])
    weight = np.concatenate([np.where(masked, share, 1.0), 1.0 - share[masked]])
    fit = fit_weibull(rows, ends, weight=weight, group=np.concatenate([group, group[masked]]))
    assert fit.scale == pytest.approx(whole.scale, rel=0.03)
    assert fit.shape == pytest.approx(whole.shape, rel=0.06)
    assert fit.failures.sum() == pytest.approx(whole.failures.sum())


def test_suspending_them_all_would_be_wrong():
    """What sharing avoids: the same lives with every candidate a suspension."""
    lower, upper, group, event = make_sides(1, 3000, 0.2)
    whole = fit_weibull(lower, upper, group=group)
    never = fit_weibull(lower, np.where(event >= 0, np.inf, upper), group=group)
    assert (never.scale > 1.04 * whole.scale).all()


def test_shares_are_the_failure_rates():
    """Two parts with known rates at 1000 h: the share is rate over sum of rates."""
    lower, upper, group, event = make_sides(2, 20_000, 0.02)
    share = share_masked(lower, np.where(event >= 0, np.inf, upper), group=group, event=event)
    rows = event >= 0
    age, part = lower[rows], group[rows]
    rate = SHAPES[part] / SCALES[part] * (age / SCALES[part]) ** (SHAPES[part] - 1.0)
    whole = np.bincount(event[rows], rate)[event[rows]]
    assert share[rows] == pytest.approx(rate / whole, abs=0.04)


def test_one_candidate_is_certain():
    share = share_masked([300.0, 500.0, 700.0], [300.0, 500.0, np.inf], group=[0, 0, 0],
                         event=[-1, -1, 7])  # fmt: skip
    assert share.tolist() == [0.0, 0.0, 1.0]


def test_groups_with_no_named_failure_share_by_exposure():
    """No part was ever named: equal ages and exposures share evenly."""
    share = share_masked([400.0, 400.0], [np.inf, np.inf], group=["ball", "seat"], event=[3, 3])
    assert share == pytest.approx([0.5, 0.5])


def test_no_events_share_nothing():
    assert share_masked([5.0], [5.0], group=[0], event=[-1]).tolist() == [0.0]


def test_an_interval_candidate_is_rated_in_its_middle():
    """Failed within the first day, the other candidate at 200 h, both with constant rates.

    Shape 1 by construction: failures at the quantiles of an exponential of 200 h and 400 h.
    """
    quantile = -np.log1p(-(np.arange(400) + 0.5) / 400)
    named = np.concatenate([200.0 * quantile, 400.0 * quantile])
    group = np.concatenate([[0, 1], np.repeat([0, 1], 400)])
    event = np.concatenate([[5, 5], np.full(800, -1)])
    lower = np.concatenate([[0.0, 200.0], named])
    upper = np.concatenate([[24.0, np.inf], named])
    share = share_masked(lower, upper, group=group, event=event)
    assert share[:2] == pytest.approx([2 / 3, 1 / 3], abs=0.01)


def test_refusals():
    with pytest.raises(RecordError, match="Row 1: a breakdown with no part named has a candidate"):
        share_masked([5.0, 0.0], [5.0, np.inf], group=[0, 0], event=[-1, 2])
    with pytest.raises(RecordError, match="give one per life"):
        share_masked([5.0], [5.0], group=[0], event=[1, 2])


# ---- one of several alike -----------------------------------------------------------------------


def test_two_alike_of_equal_age_are_one_failure_and_one_suspension():
    """Their likelihood 2 f S is that of f S but for the constant, so shares and fits agree."""
    generator = np.random.default_rng(5)
    life, until = 900.0 * generator.weibull(2.0, (60, 2)), generator.uniform(300.0, 1500.0, 60)
    first = np.minimum(life.min(axis=1), until)
    failed = life.min(axis=1) <= until
    lower = np.repeat(first, 2)
    event = np.repeat(np.where(failed, np.arange(60), -1), 2)
    group = np.zeros(120, dtype=int)
    share = share_masked(lower, np.full(120, np.inf), group=group, event=event)
    assert share == pytest.approx(np.where(event >= 0, 0.5, 0.0))
    one = fit_weibull(lower, np.where(np.repeat(failed, 2) & (group + np.arange(120) % 2 == 0),
                                      lower, np.inf))  # fmt: skip
    halves = fit_weibull(
        np.concatenate([lower, lower[event >= 0]]),
        np.concatenate([np.where(event >= 0, lower, np.inf), np.full((event >= 0).sum(), np.inf)]),
        weight=np.concatenate([np.where(event >= 0, 0.5, 1.0), np.full((event >= 0).sum(), 0.5)]),
    )
    assert halves.shape == pytest.approx(one.shape)
    assert halves.scale == pytest.approx(one.scale)
    assert halves.log_likelihood == pytest.approx(one.log_likelihood)


def test_unequal_ages_reach_the_maximum_of_the_masked_likelihood():
    """sum over candidates of f / S, times all S: no other shape and scale does better."""
    generator = np.random.default_rng(6)
    named = 900.0 * generator.weibull(2.5, 25)
    lower = np.concatenate([named, generator.uniform(200.0, 1100.0, 30)])
    event = np.concatenate([np.full(25, -1), np.repeat(np.arange(15), 2)])
    upper = np.where(event < 0, lower, np.inf)
    share = share_masked(lower, upper, group=np.zeros(55, dtype=int), event=event, iterations=200)
    masked = event >= 0
    fit = fit_weibull(
        np.concatenate([lower, lower[masked]]),
        np.concatenate([lower, np.full(30, np.inf)]),
        weight=np.concatenate([np.where(masked, share, 1.0), 1.0 - share[masked]]),
    )

    def height(shape, scale):
        hazard = shape / scale * (lower / scale) ** (shape - 1.0)
        sums = np.bincount(event[masked], hazard[masked])
        total = np.log(hazard[~masked]).sum() + np.log(sums).sum()
        return total - ((lower / scale) ** shape).sum()

    best = height(fit.shape, fit.scale)
    for by_shape, by_scale in ((1.01, 1.0), (0.99, 1.0), (1.0, 1.01), (1.0, 0.99), (1.01, 1.01)):
        assert height(fit.shape * by_shape, fit.scale * by_scale) < best


def test_candidates_between_looks_share_by_what_they_risked():
    """Constant rate: failed somewhere in 300 h or in 100 h; odds (e^0.3 - 1) to (e^0.1 - 1)."""
    quantile = -np.log1p(-(np.arange(4000) + 0.5) / 4000)
    lower = np.concatenate([[0.0, 400.0], 1000.0 * quantile])
    upper = np.concatenate([[300.0, 500.0], 1000.0 * quantile])
    event = np.concatenate([[2, 2], np.full(4000, -1)])
    share = share_masked(lower, upper, group=np.zeros(4002, dtype=int), event=event)
    odds = np.expm1([0.3, 0.1])
    assert share[:2] == pytest.approx(odds / odds.sum(), abs=0.01)


def test_early_lives_count_in_the_rates():
    """At 25 h a wear rate of shape 3 is next to nothing: the part with assembly faults failed."""
    generator = np.random.default_rng(7)
    size = 600
    faulty = 2000.0 * generator.weibull(3.0, size)
    faulty = np.where(generator.random(size) < 0.06, generator.exponential(50.0, size), faulty)
    steady = 4000.0 * generator.weibull(1.2, size)
    lower = np.concatenate([[25.0, 25.0], np.minimum(faulty, 2500.0), np.minimum(steady, 2500.0)])
    upper = np.where(lower < 2500.0, lower, np.inf)
    group = np.concatenate([[0, 1], np.zeros(size, int), np.ones(size, int)])
    event = np.concatenate([[4, 4], np.full(2 * size, -1)])
    plain = share_masked(lower, upper, group=group, event=event)
    early = share_masked(lower, upper, group=group, event=event, family=group)
    true = 0.06 / 50.0 * np.exp(-0.5) / 0.97, 1.2 / 4000.0 * (25.0 / 4000.0) ** 0.2
    assert early[0] == pytest.approx(true[0] / sum(true), abs=0.05)
    assert plain[0] < early[0] - 0.2
    assert early[:2].sum() == pytest.approx(1.0)
