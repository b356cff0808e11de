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
