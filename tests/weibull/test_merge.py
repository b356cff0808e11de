"""Merging close lives of large groups changes next to nothing."""

from __future__ import annotations

import numpy as np
import pytest

from pumplife.weibull import fit_weibull
from pumplife.weibull.arrays import check_lives, find_groups
from pumplife.weibull.merge import merge_close
from tests.weibull.sets import simulate


def merge(lower, upper, entry, group):
    lives = check_lives(lower, upper, entry)
    return merge_close(lives, find_groups(group, len(lower)))


@pytest.mark.parametrize("shape", [2.5, 10.0])
def test_merged_lives_have_the_same_fit(shape):
    """Merging within 1 % moves the log scale by shape * 0.01^2 / 24."""
    lower, upper = simulate(np.random.default_rng(1), 20_000, shape, 1500.0)
    lives, _ = merge(lower, upper, None, np.zeros(20_000, dtype=int))
    assert len(lives.lower) < 1500
    assert lives.weights().sum() == pytest.approx(20_000)
    whole = fit_weibull(lower, upper)
    less = fit_weibull(lives.lower, lives.upper, weight=lives.weight)
    assert less.scale == pytest.approx(whole.scale, rel=1.5 * shape / 240_000)
    assert less.shape == pytest.approx(whole.shape, rel=1e-3)
    assert less.failures == pytest.approx(whole.failures)


def test_small_groups_late_entries_and_intervals_stay():
    lower, upper = simulate(np.random.default_rng(2), 3000, 2.0, 900.0)
    group = np.where(np.arange(3000) < 500, 0, 1)
    entry = np.where(np.arange(3000) % 10 == 0, 0.5 * lower, 0.0)
    upper = np.where(np.arange(3000) % 10 == 1, lower + 50.0, upper)
    lives, groups = merge(lower, upper, entry, group)
    small = groups.code == 0
    assert np.sort(lives.lower[small]) == pytest.approx(np.sort(lower[:500]))
    assert (lives.entries() > 0).sum() == (entry > 0).sum()
    between = (lives.lower < lives.upper) & np.isfinite(lives.upper)
    assert between.sum() == 300
    assert groups.size.sum() == len(lives.lower) < 3000
    assert (np.diff(groups.code) >= 0).all()
