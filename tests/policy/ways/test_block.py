"""Planned kits by usage and calendar: known limits, by hand, against each other."""

from types import SimpleNamespace

import numpy as np
import pytest

from pumplife.policy.ages import own_times
from pumplife.policy.practice import failed_part_rates, rates_of
from pumplife.policy.pump import SideLife, integrate_side, integrate_to
from pumplife.policy.renewal import block_cost_rate, renewal_function
from pumplife.policy.ways.alone import _spans, events_at
from pumplife.policy.ways.block import (
    best_block,
    block_events,
    block_money,
    calendar_events,
    usage_classes,
)
from pumplife.policy.ways.counts import count_by_part, count_with_kit
from tests.policy.sides import draws, one_part, random_draws

SIDE = SideLife(lives=draws([[2.5], [1.8]], [[10.0], [30.0]]), count=np.array([2.0, 4.0]))


def kits(side):
    return count_with_kit(side, integrate_side(side, own_times(side), nodes=6).uptime[-1])


def prices(planned, failure):
    failure = np.asarray(failure, float)
    return SimpleNamespace(planned_money=planned, failure_money=failure, part_money=failure)


def test_a_block_without_end_is_running_to_failure():
    known = integrate_side(SIDE, own_times(SIDE), nodes=6)
    never = rates_of(integrate_to(SIDE, known, np.array([np.inf])))
    found = block_events(kits(SIDE), np.array([np.inf]))[0]
    assert found.kit_failures == pytest.approx(never.kit_failures, rel=2e-3)
    assert not found.planned.any()
    alone = block_events(count_by_part(SIDE), np.array([np.inf]))[0]
    exact = failed_part_rates(SIDE.lives.mean(), SIDE.count)
    assert alone.part_failures == pytest.approx(exact.part_failures, rel=1e-6)


def test_a_short_block_fails_as_planned_ages_do():
    """Within a tenth of a life hardly anything fails twice, so block and age agree."""
    block, age = block_events(kits(SIDE), np.array([0.5]))[0], events_at(SIDE, 0.5)
    assert block.kit_failures == pytest.approx(age.kit_failures, rel=5e-3)
    assert block.planned == pytest.approx(age.planned, rel=5e-3)


def test_one_position_block_rate_is_the_textbook_formula():
    side, t = one_part(2.0, 1.0), np.array([0.4, 0.9, 1.6])
    renewals = renewal_function(lambda x: -np.expm1(-(x**2)), t)
    exact = block_cost_rate(renewals, t, 1.0, 5.0)
    assert block_money(kits(side), prices(1.0, [5.0]), t) == pytest.approx(exact, rel=1e-4)
    assert block_money(count_by_part(side), prices(1.0, [5.0]), t) == pytest.approx(exact, rel=1e-4)


def test_the_best_block_beats_its_neighbours_and_keeps_the_limit():
    counts, cost = count_by_part(SIDE), prices(1.0, [6.0, 5.0])
    best = best_block(counts, cost)
    rates = block_money(counts, cost, best * np.array([0.9, 1.0, 1.1]))
    assert rates[1] < rates[0]
    assert rates[1] < rates[2]
    assert best_block(counts, cost, 0.5 * best) == pytest.approx(0.5 * best, rel=1e-9)


def test_age_beats_block_for_the_same_kits():
    """Barlow & Proschan (1965), chapter 4: the best age costs no more than the best block."""
    for seed in range(10):
        side = SideLife(lives=random_draws(np.random.default_rng(seed), 2, 1), count=np.ones(2))
        cost = prices(1.0, [6.0, 4.0])
        block = best_block(kits(side), cost)
        ages = block * np.geomspace(0.5, 2.0, 40)
        rates = [events_at(side, age) for age in ages]
        by_age = [
            float(one.planned[0] + one.kit_failures[:, 0] @ cost.failure_money) for one in rates
        ]
        assert min(by_age) <= block_money(kits(side), cost, np.array([block]))[0] * (1.0 + 1e-4)


def test_one_calendar_for_pumps_of_like_usage_is_a_block():
    counts = kits(SIDE)
    found = calendar_events(counts, np.array([0.2]), np.array([3.0]), np.array([[30.0]]))[0]
    block = block_events(counts, np.array([6.0]))[0]
    assert found.kit_failures == pytest.approx(block.kit_failures, rel=1e-12)
    assert found.planned == pytest.approx(block.planned, rel=1e-12)


def test_unlike_usage_makes_a_calendar_dearer_than_usage_does():
    """Domain knowledge: calendar work wastes life on idle pumps and misses busy ones."""
    counts, cost = kits(SIDE), prices(1.0, [6.0, 5.0])

    def money(rate, number):
        events = calendar_events(counts, rate, number, np.array([[25.0]]))[0]
        return float((events.planned + cost.failure_money @ events.kit_failures).item())

    even = money(np.array([0.2]), np.array([2.0]))
    assert money(np.array([0.05, 0.35]), np.ones(2)) > 1.1 * even


def test_gaps_in_turn_by_hand():
    """Two pumps at 0.1 and 0.3 a day, kits after 20 and then after 40 days."""
    counts = kits(SIDE)
    found = calendar_events(counts, np.array([0.1, 0.3]), np.ones(2), np.array([[20.0, 40.0]]))[0]
    expected = counts.at(np.array([[2.0], [4.0], [6.0], [12.0]])).sum(axis=0) / (60.0 * 0.4)
    assert found.kit_failures == pytest.approx(expected, rel=1e-12)
    assert found.planned == pytest.approx(4.0 / 24.0)


def test_classes_keep_the_pumps_and_their_usage():
    rate = np.random.default_rng(1).lognormal(0.0, 0.5, 37)
    usual, number = usage_classes(rate)
    assert number.sum() == 37
    assert np.dot(usual, number) == pytest.approx(rate.sum())
    assert usage_classes(np.array([2.0, 0.0]))[0] == pytest.approx([2.0])


def test_every_second_outage_by_hand():
    assert _spans(np.array([100.0, 130.0, 120.0]), 2) == pytest.approx([230.0, 250.0, 220.0])
