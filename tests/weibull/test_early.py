"""Assembly faults: found where they are, not where they aren't."""

from __future__ import annotations

import numpy as np
import pytest

from pumplife.errors import RecordError
from pumplife.weibull import find_early_lives, fit_posterior, fit_weibull
from tests.weibull.sets import simulate

SCALES = (2500.0, 4000.0, 1800.0)


def make_family(seed, early, shape=2.5, sizes=(150, 90, 60)):
    generator = np.random.default_rng(seed)
    parts = [
        simulate(generator, rows, shape, scale, early=early, tau=60.0)
        for rows, scale in zip(sizes, SCALES, strict=True)
    ]
    lower, upper = (np.concatenate(column) for column in zip(*parts, strict=True))
    return lower, upper, np.repeat(np.arange(3), sizes)


def make_families(seeds, early, **how):
    """Return lives, groups and families of many independent families."""
    parts = [make_family(seed, early, **how) for seed in seeds]
    lower, upper, group = (np.concatenate(column) for column in zip(*parts, strict=True))
    family = np.repeat(np.arange(len(parts)), [len(one[0]) for one in parts])
    return lower, upper, group + 3 * family, family


@pytest.fixture(scope="module")
def with_faults():
    """40 families of 300 lives, 5 % assembly faults, wear of shape 2.5."""
    lower, upper, group, family = make_families(range(40), 0.05)
    return lower, upper, group, find_early_lives(lower, upper, group=group, family=family)


def test_faults_are_found_and_sized(with_faults):
    early = with_faults[3]
    assert early.found.mean() >= 0.95
    assert np.median(early.share) == pytest.approx(0.05, abs=0.01)
    recovered = early.found & (early.share >= 0.02) & (early.share <= 0.08)
    assert recovered.mean() >= 0.9
    covered = (early.share_low <= 0.05) & (early.share_high >= 0.05)
    assert 0.75 <= covered.mean() <= 1.0
    assert np.median(early.early_scale) == pytest.approx(60.0, rel=0.35)


def test_wear_is_freed_from_the_faults(with_faults):
    """A fit that takes faults for wear finds a shape far too low."""
    lower, upper, group, early = with_faults
    naive = fit_weibull(lower, upper, group=group, bounds="wald")
    assert np.median(naive.shape) < 1.9
    assert np.median(early.shape) == pytest.approx(2.5, rel=0.05)
    assert np.median(early.scale[::3]) == pytest.approx(2500.0, rel=0.05)


def test_six_percent_of_faults_halve_the_naive_shape():
    """2 000 lives of shape 2.5, most of them suspended: taken for wear alone, 1.3."""
    generator = np.random.default_rng(5)
    lower, upper = simulate(generator, 2000, 2.5, 2500.0, early=0.06, watched=0.8)
    early = find_early_lives(lower, upper, group=[0] * 2000, family=[0] * 2000)
    assert fit_weibull(lower, upper).shape == pytest.approx(1.3, abs=0.05)
    assert early.shape[0] == pytest.approx(2.5, rel=0.08)
    assert early.share[0] == pytest.approx(0.06, abs=0.012)


@pytest.mark.parametrize("shape", [1.0, 2.5])
def test_plain_wear_is_seldom_flagged(shape):
    """Less than 5 % of plain families, here 200 of 300 lives: 14 of them has a chance of 8 %."""
    lower, upper, group, family = make_families(range(1000, 1200), 0.0, shape=shape)
    early = find_early_lives(lower, upper, group=group, family=family)
    assert early.found.mean() <= 0.05
    plain = fit_weibull(lower, upper, group=group, bounds="wald")
    kept = ~np.repeat(early.found, 3)
    assert early.shape[kept] == pytest.approx(plain.shape[kept], rel=0.12)


def test_a_few_faults_are_found_at_sixty_failures():
    """2 to 8 % of the lives early, Weibull of shape 0.8, half of the lives suspended.

    At least 80 % are found (91 % of 1 000 sets): 150 sets that missed that truth by 3 % would pass
    seldom. Wear's shape lies within 15 % in the median; taken for wear, faults cost a third of it.
    """
    generator = np.random.default_rng(12)
    shape, share = generator.uniform(2.0, 3.0, 150), generator.uniform(0.02, 0.08, 150)
    size = (150, 120)
    wear, fault = generator.weibull(shape[:, None], size), 0.05 * generator.weibull(0.8, size)
    life = np.where(generator.random(size) < share[:, None], fault, wear)
    until = generator.uniform(0.17, 1.53, size)
    lower, upper = np.minimum(life, until).ravel(), np.where(life <= until, life, np.inf).ravel()
    group = np.repeat(np.arange(150), 120)
    early = find_early_lives(lower, upper, group=group, family=group)
    assert early.found.mean() >= 0.80
    assert np.median(np.abs(early.shape / shape - 1.0)) < 0.15
    naive = fit_weibull(lower, upper, group=group, bounds="wald").shape
    assert np.median(naive / shape) < 0.75


def test_late_entries_and_intervals_are_read():
    generator = np.random.default_rng(9)
    lower, upper = simulate(generator, 900, 2.5, 2000.0, early=0.06, tau=40.0)
    entry = np.where(generator.random(900) < 0.4, generator.uniform(0, 1000, 900), 0.0)
    kept = lower > entry
    lower, upper, entry = lower[kept], upper[kept], entry[kept]
    vague = np.isfinite(upper) & (entry == 0.0) & (generator.random(len(lower)) < 0.2)
    low = np.where(vague, np.floor(lower / 20.0) * 20.0, lower)
    high = np.where(vague, np.floor(lower / 20.0) * 20.0 + 20.0, upper)
    early = find_early_lives(low, high, entry, group=[0] * len(low), family=[0] * len(low))
    assert early.found[0]
    assert early.share[0] == pytest.approx(0.06, abs=0.025)
    assert early.shape[0] == pytest.approx(2.5, rel=0.12)


def test_a_group_without_failures_leans_on_its_family():
    lower, upper, group = make_family(3, 0.06)
    lower = np.append(lower, [500.0, 800.0])
    upper = np.append(upper, [np.inf, np.inf])
    group = np.append(group, [3, 3])
    early = find_early_lives(lower, upper, group=group, family=np.zeros(len(group)))
    assert np.isfinite(early.shape).all()
    found = fit_posterior(lower, upper, group=group, shape_prior_median=2.0, shape_prior_sd=0.5,
                          early=early, draws=100)  # fmt: skip
    assert np.isfinite(found.draws.scale).all()
    assert found.early_share[3] == pytest.approx(found.early_share[:3].mean(), rel=0.4)
    assert found.early_share_high[3] > found.early_share_high[:3].max()


def test_a_family_without_failures_is_not_judged():
    early = find_early_lives([5.0, 9.0], [np.inf, np.inf], group=[0, 1], family=["x", "x"])
    assert not early.found[0]
    assert np.isnan(early.share[0])
    assert np.isnan(early.shape).all()
    assert repr(early) == "EarlyLives(0 found in 1 families)"


def test_a_group_in_two_families_is_refused():
    with pytest.raises(RecordError, match="in two families"):
        find_early_lives([5.0, 9.0], [5.0, 9.0], group=["a", "a"], family=[0, 1])


def test_posterior_takes_only_its_own_groups():
    early = find_early_lives([5.0, 9.0, 7.0], [5.0, 9.0, 7.0], group=[0, 0, 0], family=[0, 0, 0])
    with pytest.raises(RecordError, match="found on other groups"):
        fit_posterior([5.0, 9.0], [5.0, 9.0], group=[0, 1], shape_prior_median=2.0,
                      shape_prior_sd=0.5, early=early)  # fmt: skip
