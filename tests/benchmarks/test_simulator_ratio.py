"""How much faster the fleet simulator is than a process model of the same pump, same answers."""

from __future__ import annotations

import random
import time

import numpy as np
import pytest
import simpy

from pumplife.policy.simulate_rates import simulate_way
from pumplife.policy.simulate_way import Way, fixed_interval
from tests.policy.event_model import Worked, run_side
from tests.policy.sides import draws

SHAPE = np.repeat([2.5, 2.6, 2.6, 2.4, 2.4], 2)
SCALE = np.repeat([12.0, 20.0, 25.0, 26.0, 32.0], 2)
DRAWS, LANES, CYCLES = 20, 500, 100
TURNS, USAGE = 9, 60_000.0


class Pump:
    """A pump side that is renewed whole at its age and at its first failure."""

    def __init__(self, env: simpy.Environment, planned: float) -> None:
        self.env, self.planned = env, planned
        self.failures = self.events = 0
        env.process(self.run())

    def run(self):
        parts = list(zip(SCALE.tolist(), SHAPE.tolist(), strict=True))
        while True:
            life = min(random.weibullvariate(*part) for part in parts)
            yield self.env.timeout(min(life, self.planned))
            self.events += 1
            self.failures += life < self.planned


class Opened:
    """A pump side whose failed part is renewed, with it what is older than some age."""

    def __init__(self, env: simpy.Environment, older: np.ndarray) -> None:
        self.env, self.older = env, older.tolist()
        self.failures = 0
        env.process(self.run())

    @property
    def events(self) -> int:
        return self.failures

    def run(self):
        fails = [random.weibullvariate(*part) for part in zip(SCALE, SHAPE, strict=True)]
        born = [0.0] * len(fails)
        while True:
            position = min(range(len(fails)), key=fails.__getitem__)
            yield self.env.timeout(fails[position] - self.env.now)
            now = self.env.now
            self.failures += 1
            for other, age in enumerate(self.older):
                if other == position or now - born[other] > age:
                    born[other] = now
                    fails[other] = now + random.weibullvariate(SCALE[other], SHAPE[other])


def race(kind, told, way, *, lanes, cycles):
    """Failures a usage unit by simulator and process model; how many times as fast; the best speed.

    Both take their turns one after the other, so that a machine that slows down slows both; the
    ratio is the median of all turns, the speed in events a second.
    """
    lives = draws(*(np.repeat(field[:, None], DRAWS, axis=1) for field in (SHAPE, SCALE)))
    random.seed(1)
    env = simpy.Environment()
    pump = kind(env, told)
    fast, slow = np.zeros(TURNS), np.zeros(TURNS)
    for turn in range(TURNS):
        started = time.process_time()
        rng = np.random.default_rng(turn)
        tally = simulate_way(lives, way, rng=rng, lanes=lanes, cycles=cycles)
        fast[turn] = tally.openings.sum() / (time.process_time() - started)
        before, started = pump.events, time.process_time()
        env.run(until=(turn + 1) * USAGE / TURNS)
        slow[turn] = (pump.events - before) / (time.process_time() - started)
    rate, _ = tally.per_usage(tally.failures.sum(axis=0))
    return rate.mean(), pump.failures / USAGE, np.median(fast / slow), fast.max()


def time_positions(planned, usage):
    """The same by a process for every position, the planned age and the block."""
    random.seed(2)
    worked = Worked(
        life=lambda position, number: random.weibullvariate(SCALE[position], SHAPE[position]),
        positions=SCALE.size,
        planned=planned,
    )
    started = time.process_time()
    events = run_side(worked, usage)
    taken = time.process_time() - started
    return sum(event[1] >= 0 for event in events) / usage, len(events) / taken


@pytest.mark.parametrize("planned", [6.1, np.inf])
def test_whole_kits(planned):
    """Measured with both cores busy: 72 to 74 times one process a pump, 1 050 to 1 210 times one
    process a position, at 25 to 26 million rebuilds a second; on a slow machine shared with others
    48 to 69 times and 510 to 1 580 times, at 5 to 8 million."""
    way = Way(planned=fixed_interval(planned))
    mine, theirs, times, speed = race(Pump, planned, way, lanes=LANES, cycles=CYCLES)
    apart, slowest = time_positions(planned, 6_000.0)
    assert mine == pytest.approx(theirs, rel=0.04)
    assert mine == pytest.approx(apart, rel=0.12)
    print(
        f"whole kits: {times:.0f} times one process a pump, {speed / slowest:.0f} times one a "
        f"position ({speed / 1e6:.1f} million rebuilds a second)"
    )
    assert times >= 40.0
    assert speed / slowest >= 200.0


def test_failed_part_and_what_is_older():
    """Measured with both cores busy: 7 to 8 times, at 2.5 to 2.7 million openings a second."""
    way = Way(kit_share=0.0, renew_older=0.6 * SCALE)
    mine, theirs, times, speed = race(Opened, 0.6 * SCALE, way, lanes=300, cycles=60)
    assert mine == pytest.approx(theirs, rel=0.04)
    print(f"failed part and older: {times:.1f} times ({speed / 1e6:.2f} million a second)")
    assert times >= 3.0
