"""Shares of early lives per group: apart where services differ, together where they don't."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from pumplife.weibull import find_early_anywhere, find_early_lives, fit_posterior
from pumplife.weibull.early_share import place_shares, share_together
from tests.weibull.plants import SHAPE, SPREAD, draw_early

PRIOR = {"shape_prior_median": SHAPE, "shape_prior_sd": SPREAD}


def settle(families, shares, seed, **how):
    """Return the early lives and the posterior of simulated families."""
    lower, upper, group, family = draw_early(np.random.default_rng(seed), families, shares, **how)
    early = find_early_anywhere(lower, upper, group=group, family=family)
    found = fit_posterior(lower, upper, group=group, family=family, early=early, **PRIOR)
    return early, found


def test_counts_alone_give_the_beta_binomial_answer():
    """Binomial counts in place of lives, against the same mixture summed on a fine grid."""
    early, fitted = np.array([12.0, 0.0, 0.0, 1.0]), np.array([200.0, 150.0, 10.0, 200.0])
    nodes = place_shares(early, fitted, 0.02)
    chance = stats.binom.pmf(early[:, None], fitted[:, None], nodes.share)
    shared = share_together(nodes, chance)
    mine = (shared.borrowed * chance * nodes.share).sum(1) / (shared.borrowed * chance).sum(1)

    mean, likeness = nodes.mean[:, None], nodes.likeness[:, None]
    by_group = stats.betabinom.pmf(early, fitted, mean * likeness, (1 - mean) * likeness)
    common = by_group.prod(axis=1)
    posterior_mean = (mean * likeness + early) / (likeness + fitted)
    expected = (common[:, None] * posterior_mean).sum(0) / common.sum()
    assert mine == pytest.approx(expected, rel=0.1, abs=3e-4)
    assert mine[0] > 0.04
    assert mine[1] < 0.004
    assert mine[1] < mine[2] < 0.02  # ten fittings say less than 150: nearer to the family


def test_one_service_with_faults_stands_apart_from_four_without():
    """6 % in one of five services; 25 families."""
    early, found = settle(25, (0.06, 0.0, 0.0, 0.0, 0.0), seed=3, rows=(150, 250))
    assert early.found.mean() > 0.8
    shares = found.early_share.reshape(25, 5)[early.found]
    assert 0.04 < shares[:, 0].mean() < 0.07
    assert shares[:, 1:].mean() < 0.006
    assert (shares[:, 1:].max(axis=1) < shares[:, 0]).mean() > 0.95
    drawn = found.draws.early_share.mean(axis=1)
    assert drawn == pytest.approx(found.early_share, rel=0.2, abs=2e-3)


def test_services_alike_keep_their_common_share():
    early, found = settle(12, (0.05,) * 5, seed=4)
    assert early.found.all()
    shares = found.early_share.reshape(12, 5)
    assert shares.mean() == pytest.approx(0.05, abs=0.01)
    own = np.sqrt(0.05 * 0.95 / 165)  # standard deviation of a share counted in one service
    assert shares.std(axis=1).mean() < 0.75 * own


def test_false_alarms_are_rare():
    """60 families that only wear: 5 % would be three; nine and more is not chance."""
    lower, upper, group, family = draw_early(np.random.default_rng(5), 60, (0.0,) * 5)
    assert find_early_anywhere(lower, upper, group=group, family=family).found.sum() <= 3


def test_a_look_into_each_service_finds_what_the_family_as_a_whole_does_not():
    columns = draw_early(np.random.default_rng(6), 20, (0.06, 0.0, 0.0, 0.0, 0.0))
    lower, upper, group, family = columns
    whole = find_early_lives(lower, upper, group=group, family=family)
    anywhere = find_early_anywhere(lower, upper, group=group, family=family)
    assert anywhere.found.sum() >= whole.found.sum() + 3
    assert (anywhere.found | ~whole.found).all()
    assert (anywhere.share[whole.found] == whole.share[whole.found]).all()
    only = anywhere.found & ~whole.found
    assert (anywhere.share[only] < 0.04).all()
    assert np.isfinite(anywhere.early_scale[only]).all()


def test_a_single_group_is_its_own_family():
    lower, upper, group, _ = draw_early(np.random.default_rng(7), 1, (0.1,))
    early = find_early_anywhere(lower, upper, group=group, family=group)
    same = find_early_lives(lower, upper, group=group, family=group)
    assert early.share == same.share
    found = fit_posterior(lower, upper, group=group, family=group, early=early, **PRIOR)
    assert found.borrowed_share[0] == 0.0
    assert found.early_share_low[0] < found.early_share[0] < found.early_share_high[0]
