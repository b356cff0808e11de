"""The air kit at every n-th fluid rebuild: against blocks and the simulator of both sides."""

import numpy as np
import pytest

from pumplife.policy.pump import SideLife, integrate_side, own_times, time_at_hazard
from pumplife.policy.ways.block import block_events
from pumplife.policy.ways.counts import count_with_kit
from pumplife.policy.ways.together import air_events, block_chances, cycle_chances
from tests.policy.sides import draws, one_part

AIR = SideLife(lives=draws([[2.0], [2.5]], [[20.0], [15.0]]), count=np.ones(2))


def kits(side):
    return count_with_kit(side, integrate_side(side, own_times(side), nodes=6).uptime[-1])


@pytest.mark.parametrize("times", [1, 2, 4])
def test_a_fluid_side_that_never_fails_sets_even_blocks(times):
    step, chance = cycle_chances(one_part(3.0, 1e9), 5.0, np.array([np.inf]))
    found = air_events(kits(AIR), step, [block_chances(chance, times)])[0]
    block = block_events(kits(AIR), np.array([5.0 * times]))[0]
    assert found.kit_failures == pytest.approx(block.kit_failures, rel=1e-9)
    assert found.planned == pytest.approx(block.planned, rel=1e-9)


def test_chances_of_a_cycle_sum_to_one_and_give_its_mean():
    side = SideLife(lives=draws([[2.5]], [[8.0]]), count=np.array([2.0]))
    step, chance = cycle_chances(side, 5.0, np.array([np.inf]))
    exact = integrate_side(side, np.geomspace(1e-4, 5.0, 200)[:, None]).uptime[-1]
    assert chance.sum(axis=0) == pytest.approx([1.0])
    assert (np.arange(33) @ chance) * step == pytest.approx(exact, rel=2e-3)
    three = block_chances(chance, 3)
    assert three.sum(axis=0) == pytest.approx([1.0])
    assert np.arange(97) @ three == pytest.approx(3.0 * (np.arange(33) @ chance))


@pytest.mark.parametrize("interval", [5.0, np.inf])
@pytest.mark.parametrize("times", [1, 3])
def test_rates_are_those_of_blocks_drawn_one_by_one(interval, times):
    rng = np.random.default_rng(3)
    fluid = SideLife(lives=draws([[2.5]], [[8.0]]), count=np.array([2.0]))
    longest = time_at_hazard(fluid, 12.0, 1)
    step, chance = cycle_chances(fluid, interval, longest)
    found = air_events(kits(AIR), step, [block_chances(chance, times)])[0]
    lives = np.minimum(8.0 * rng.weibull(2.5, (40_000, times, 2)).min(axis=2), interval)
    block = lives.sum(axis=1)
    until = np.zeros(block.size)
    failures = np.zeros((2, block.size))
    for _ in range(40):
        drawn = np.stack([20.0 * rng.weibull(2.0, block.size), 15.0 * rng.weibull(2.5, block.size)])
        until += drawn.min(axis=0)
        failures[drawn.argmin(axis=0), np.arange(block.size)] += until < block
    rate = failures.sum(axis=1) / block.sum()
    error = np.std(failures - rate[:, None] * block, axis=1) / np.sqrt(block.size) / block.mean()
    assert found.kit_failures[:, 0] == pytest.approx(
        rate, abs=4.0 * error.max() + 2e-3 * rate.max()
    )
    assert found.planned[0] == pytest.approx(1.0 / block.mean(), rel=0.01)
