"""Whole-kit cycles drawn many at once: their lengths, what ends them, early lives."""

import numpy as np
import pytest
from scipy import stats

from pumplife.policy.ages import shared_times
from pumplife.policy.pump import SideLife, integrate_side, integrate_to
from pumplife.policy.simulate_kits import (
    _count_early,
    bring_together,
    draw_cycles,
    share_among_positions,
)
from pumplife.policy.simulate_way import PLANNED, PlannedAges, fixed_interval
from tests.policy.sides import draws

SIDES = {
    "wear": ([2.5, 2.4], [12.0, 26.0], 0.0, [2, 4]),
    "early lives": ([2.5, 1.8, 3.0], [12.0, 26.0, 9.0], [0.05, 0.3, 0.0], [2, 3, 1]),
    "shape below 1": ([0.6, 0.9], [12.0, 20.0], [0.0, 0.1], [1, 4]),
    "all early": ([2.0, 2.0], [12.0, 20.0], [1.0, 0.0], [3, 1]),
}


def build(name):
    shape, scale, share, count = SIDES[name]
    share = np.broadcast_to(share, len(shape))
    lives = draws(np.array(shape)[:, None], np.array(scale)[:, None], share[:, None], 0.4)
    side = SideLife(lives=lives, count=np.array(count, float))
    return side, bring_together(lives[np.repeat(np.arange(len(shape)), count)])


@pytest.mark.parametrize("name", SIDES)
def test_lengths_follow_the_survival_of_the_side(name):
    side, parts = build(name)
    length, part = draw_cycles(parts, fixed_interval(np.inf), 20_000, np.random.default_rng(1))
    assert np.all(part != PLANNED)
    drawn = stats.kstest(length[0], lambda t: 1.0 - side.survival(t[:, None])[:, 0])
    assert drawn.pvalue > 1e-3


@pytest.mark.parametrize("name", SIDES)
def test_what_ends_the_cycle_follows_the_incidence(name):
    side, parts = build(name)
    length, part = draw_cycles(parts, fixed_interval(6.0), 200_000, np.random.default_rng(2))
    at = integrate_to(side, integrate_side(side, shared_times(side)), np.array([6.0]))
    planned = float(at.survival[0, 0])
    told = {PLANNED: planned}
    for number in range(side.count.size):
        like = np.flatnonzero(parts.lives.scale[:, 0] == side.lives.scale[number, 0])
        told[int(like[0])] = float(at.incidence[0, number, 0])
    for number, chance in told.items():
        error = np.sqrt(max(chance * (1.0 - chance), 1e-9) / part.size)
        assert np.mean(part == number) == pytest.approx(chance, abs=4.0 * error)
    assert np.all(length[part == PLANNED] == 6.0)
    error = length.std() / np.sqrt(length.size)
    assert length.mean() == pytest.approx(at.uptime[0, 0], abs=4.0 * error)


def test_planned_ages_are_drawn_for_each_cycle():
    parts = bring_together(draws([[2.0]], [[1e9]]))
    ages = PlannedAges(ages=np.array([3.0, 5.0]), weights=np.array([0.25, 0.75]))
    length, part = draw_cycles(parts, ages, 10_000, np.random.default_rng(1))
    assert np.all(part == PLANNED)
    assert np.mean(length == 3.0) == pytest.approx(0.25, abs=4.0 * 0.0044)
    assert set(np.unique(length)) == {3.0, 5.0}


@pytest.mark.parametrize("share", [0.02, 0.5, 0.97, 1.0])
@pytest.mark.parametrize("count", [1, 4])
def test_early_lives_among_like_positions_are_binomial(share, count):
    pick = (np.arange(1000) + 0.5) / 1000
    pick = pick[pick > (1.0 - share) ** count]
    early = _count_early(np.full(pick.size, share), count, pick)
    assert np.array_equal(early, stats.binom(count, share).ppf(pick))


def test_like_positions_are_brought_together_only_when_every_draw_agrees():
    shape, scale = np.full((4, 3), 2.0), np.full((4, 3), 9.0)
    scale[3, 1] = 9.1
    parts = bring_together(draws(shape, scale))
    assert sorted(parts.count.tolist()) == [1, 3]
    assert np.unique(parts.part_of[:3]).size == 1
    failures = np.zeros((2, 3, 5))
    failures[parts.part_of[0]] = 7.0
    shared = share_among_positions(parts, failures, np.random.default_rng(1))
    assert np.all(shared[:3].sum(axis=0) == 7.0)
    assert not shared[3].any()


def test_scaling_usage_scales_only_the_lengths():
    one, thousand = (
        draw_cycles(
            bring_together(draws([[2.5], [1.5]], [[12.0 * unit], [20.0 * unit]], 0.1, 0.4 * unit)),
            fixed_interval(6.0 * unit),
            5_000,
            np.random.default_rng(7),
        )
        for unit in (1.0, 1000.0)
    )
    assert thousand[0] == pytest.approx(1000.0 * one[0], rel=1e-9)
    assert np.array_equal(one[1], thousand[1])
