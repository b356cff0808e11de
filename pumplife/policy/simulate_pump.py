"""Both sides of a pump: the air kit goes along at every nth rebuild of the fluid side."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pumplife.errors import RecordError
from pumplife.policy.simulate_events import SideEvents
from pumplife.policy.simulate_kits import (
    LikeParts,
    bring_together,
    draw_cycles,
    share_among_positions,
)
from pumplife.policy.simulate_rates import rate_of
from pumplife.policy.simulate_way import PLANNED, FloatArray, IntArray, PlannedAges, fixed_interval
from pumplife.weibull.draws import LifeDraws

_CYCLES = 1 << 15  # fluid cycles x draws held at once
_NEVER = fixed_interval(np.inf)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PumpTally:
    """Events of both sides in independent lanes of each draw.

    Attributes
    ----------
    fluid_failures : float array (fluid positions, draws, lanes)
        Failures of the fluid side, which is renewed whole.
    fluid_planned : float array (draws, lanes)
        Planned renewals of the fluid side.
    air_failures : float array (air positions, draws, lanes)
        Failures of the air side, which is renewed whole and alone.
    with_planned, with_failure : float array (draws, lanes)
        Of the fluid rebuilds, planned and after failure, those at which the air kit went along:
        each is one opening where there would be two.
    usage : float array (draws, lanes)
        [usage]
    """

    fluid_failures: FloatArray
    fluid_planned: FloatArray
    air_failures: FloatArray
    with_planned: FloatArray
    with_failure: FloatArray
    usage: FloatArray

    def __repr__(self) -> str:
        """Count lanes and openings."""
        draws, lanes = self.usage.shape
        return f"<PumpTally: {draws} draws x {lanes} lanes, {self.openings.sum():.0f} openings>"

    @property
    def saved(self) -> FloatArray:
        """Openings saved by working on both sides at once, (draws, lanes)."""
        return self.with_planned + self.with_failure

    @property
    def fluid_kits(self) -> FloatArray:
        """Renewals of the fluid side, (draws, lanes)."""
        return np.asarray(self.fluid_planned + self.fluid_failures.sum(axis=0))

    @property
    def air_kits(self) -> FloatArray:
        """Renewals of the air side, (draws, lanes)."""
        return np.asarray(self.saved + self.air_failures.sum(axis=0))

    @property
    def openings(self) -> FloatArray:
        """Times that the pump was opened, (draws, lanes)."""
        return np.asarray(self.fluid_kits + self.air_failures.sum(axis=0))

    def per_usage(self, count: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Rate of any count or cost of the lanes, and its standard error: `rate_of`."""
        return rate_of(count, self.usage)


def simulate_pump(
    fluid: LifeDraws,
    air: LifeDraws,
    planned: PlannedAges,
    every: int,
    *,
    rng: np.random.Generator,
    lanes: int = 32,
    cycles: int = 8,
) -> PumpTally:
    """Long-run events of a pump whose air kit goes along at every nth fluid rebuild.

    The fluid side is renewed whole at its planned age and at each failure.  Its rebuilds of
    either kind are counted, and at every `every`-th the air kit is fitted too, whatever the age
    of the air side; air failures in between renew the air side alone and don't touch the count.
    From one such rebuild to the next is one cycle: both sides are new then.

    Parameters
    ----------
    fluid, air : LifeDraws (positions, draws)
    planned : PlannedAges
        Planned age of the fluid side [usage].
    every : int
        1: at each fluid rebuild.
    rng : numpy Generator
    lanes : int
        Independent lanes of each draw; at least 2.
    cycles : int
        Of each lane.

    Returns
    -------
    PumpTally
    """
    if every < 1:
        raise RecordError(
            f"the air kit goes along at every {every}th fluid rebuild: that must be 1 or more"
        )
    sides = bring_together(fluid), bring_together(air)
    draws = fluid.shape.shape[1]
    step = max(1, _CYCLES // (draws * cycles * every))
    blocks = []
    for start in range(0, lanes, step):
        shape = (draws, min(step, lanes - start), cycles, every)
        blocks.append(_tally(sides, planned, shape, rng))
    return PumpTally(
        **{
            name: np.concatenate([getattr(block, name) for block in blocks], axis=-1)
            for name in PumpTally.__slots__
        }
    )


def _tally(
    sides: tuple[LikeParts, LikeParts],
    planned: PlannedAges,
    shape: tuple[int, int, int, int],
    rng: np.random.Generator,
) -> PumpTally:
    """Some lanes: (draws, lanes, cycles, fluid rebuilds of a cycle)."""
    fluid, air = sides
    length, part = draw_cycles(fluid, planned, shape[1] * shape[2] * shape[3], rng)
    length, part = length.reshape(shape).sum(axis=-1), part.reshape(shape)
    failures = np.stack(
        [np.count_nonzero(part == number, axis=(2, 3)) for number in range(fluid.count.size)]
    )
    together = np.count_nonzero(part[..., -1] == PLANNED, axis=2).astype(float)
    return PumpTally(
        fluid_failures=share_among_positions(fluid, failures, rng),
        fluid_planned=np.count_nonzero(part == PLANNED, axis=(2, 3)).astype(float),
        air_failures=share_among_positions(air, _count_within(air, length, rng), rng),
        with_planned=together,
        with_failure=shape[2] - together,
        usage=length.sum(axis=-1),
    )


def _count_within(air: LikeParts, length: FloatArray, rng: np.random.Generator) -> FloatArray:
    """Failures by part of a side renewed at each, within each cycle: (parts, draws, lanes)."""
    draws, lanes, cycles = length.shape
    left = length.reshape(draws, -1).copy()
    failures = np.zeros((air.count.size, draws, lanes))
    while True:
        life, part = draw_cycles(air, _NEVER, left.shape[1], rng)
        left -= life
        if not np.any(left >= 0.0):
            return failures
        part[left < 0.0] = PLANNED
        for number in range(air.count.size):
            found = (part == number).reshape(draws, lanes, cycles)
            failures[number] += np.count_nonzero(found, axis=2)


def nth_rebuilds(
    events: SideEvents,
    usage_per_year: FloatArray,
    replicates: int,
    every: int,
    done: IntArray | None = None,
) -> FloatArray:
    """When the air kit goes along, by the fluid events of a simulated fleet.

    Give it to `simulate_side` of the air side as `scheduled`: its planned events are then the
    openings saved.

    Parameters
    ----------
    events : SideEvents
        Of the fluid side of the same pumps.
    usage_per_year : float array (pumps,)
        [usage / year]
    replicates : int
    every : int
        The air kit goes along at every `every`-th renewal of the fluid side.
    done : int array (pumps,), optional
        Fluid rebuilds since the air kit last went along; None: 0.

    Returns
    -------
    float array (pumps, replicates, times)
        Usage from today, rising; inf where there are fewer [usage].
    """
    rate = np.asarray(usage_per_year, float)
    pump, replicate = events.pump[events.kit], events.replicate[events.kit]
    usage = events.time[events.kit] * rate[pump]
    lane = pump * replicates + replicate
    order = np.lexsort((usage, lane))
    lane, usage = lane[order], usage[order]
    number = np.arange(lane.size) - np.searchsorted(lane, lane) + 1
    number += 0 if done is None else np.asarray(done)[lane // replicates]
    along = number % every == 0
    lane, usage, turn = lane[along], usage[along], number[along] // every
    turn -= 0 if done is None else np.asarray(done)[lane // replicates] // every
    schedule = np.full((rate.size * replicates, turn.max(initial=0)), np.inf)
    schedule[lane, turn - 1] = usage
    return schedule.reshape(rate.size, replicates, -1)
