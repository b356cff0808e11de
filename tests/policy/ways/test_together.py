"""The air kit at every n-th fluid rebuild: against blocks and the simulator of both sides."""

from dataclasses import replace

import numpy as np
import pytest

from pumplife.policy.advice import advise
from pumplife.policy.ages import own_times, time_at_hazard
from pumplife.policy.costs import WorkCost
from pumplife.policy.pump import SideLife, integrate_side
from pumplife.policy.simulate_pump import simulate_pump
from pumplife.policy.simulate_way import fixed_interval
from pumplife.policy.ways.alone import events_at
from pumplife.policy.ways.block import block_events
from pumplife.policy.ways.counts import count_with_kit
from pumplife.policy.ways.together import (
    air_events,
    block_chances,
    cycle_chances,
    shared_costs,
)
from tests.plants import small_plant
from tests.policy.sides import draws, one_part, slip_fits, study_parts

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


@pytest.mark.parametrize("interval", [5.0, np.inf])
@pytest.mark.parametrize("times", [1, 2])
def test_both_sides_agree_with_the_simulator_of_a_pump(interval, times):
    fluid = SideLife(lives=draws([[2.5]], [[8.0]]), count=np.array([2.0]))
    step, chance = cycle_chances(fluid, interval, time_at_hazard(fluid, 12.0, 1))
    found = air_events(kits(AIR), step, [block_chances(chance, times)])[0]
    tally = simulate_pump(
        fluid.lives[np.zeros(2, int)],
        AIR.lives,
        fixed_interval(interval),
        times,
        rng=np.random.default_rng(6),
        lanes=400,
        cycles=40,
    )
    for exact, count in (
        (found.kit_failures[0, 0], tally.air_failures[0]),
        (found.kit_failures[1, 0], tally.air_failures[1]),
        (found.planned[0], tally.saved),
    ):
        rate, error = tally.per_usage(count)
        assert exact == pytest.approx(rate[0], abs=4.0 * error[0] + 3e-3 * rate[0])


def test_the_first_rebuild_of_all_is_planning_both_together():
    """n = 1: the air kit comes exactly as often as the fluid side is rebuilt."""
    fluid = SideLife(lives=draws([[2.5]], [[8.0]]), count=np.array([2.0]))
    step, chance = cycle_chances(fluid, 5.0, np.array([np.inf]))
    found = air_events(kits(AIR), step, [block_chances(chance, 1)])[0]
    rates = events_at(fluid, 5.0)
    rebuilt = rates.planned + rates.kit_failures.sum(axis=0)
    assert found.planned == pytest.approx(rebuilt, rel=3e-3)


def side_costs_of(costs, labour, downtime):
    return replace(
        costs,
        planned=WorkCost(
            cash=np.array([150.0]), labour_h=np.array([labour]), downtime_h=np.array([downtime])
        ),
    )


@pytest.mark.parametrize(
    ("labour", "downtime", "expected"),
    [
        (np.nan, np.nan, (1.5, 0.0)),  # the labour of both, the downtime of the longer
        (3.8, 2.5, (0.8, 0.5)),  # what both take at one stop, less the fluid side's own
        (2.0, 1.0, (0.0, 0.0)),
    ],
)
def test_what_the_air_kit_takes_at_a_shared_stop(tmp_path, labour, downtime, expected):
    costs = advise(*study_parts(small_plant(tmp_path)), slip_fits()).groups[0].costs
    hours = {"planned_labour_h": labour, "planned_downtime_h": downtime}
    shared = shared_costs(side_costs_of(costs, 3.0, 2.0), side_costs_of(costs, 1.5, 1.0), hours)
    assert shared.planned.cash == [150.0]
    assert (shared.planned.labour_h.item(), shared.planned.downtime_h.item()) == pytest.approx(
        expected
    )
    assert shared.kit_failure is costs.kit_failure
