"""Failures and rebuilds of a fleet, drawn event by event from the pumps' ages of today."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from pumplife.errors import RecordError
from pumplife.policy.simulate_draws import by_replicate, draw_ages, draw_planned, wear_area
from pumplife.policy.simulate_events import Lanes, Rules, SideEvents, run_lanes, start_lanes
from pumplife.policy.simulate_kits import bring_together, follow_kits
from pumplife.policy.simulate_way import (
    PLANNED,
    BoolArray,
    FloatArray,
    IntArray,
    PlannedAges,
    Way,
    fixed_interval,
)
from pumplife.weibull.draws import LifeDraws

__all__ = [
    "PLANNED",
    "BoolArray",
    "FloatArray",
    "IntArray",
    "PlannedAges",
    "SideEvents",
    "Way",
    "fixed_interval",
    "simulate_side",
    "wear_area",
]


def simulate_side(
    *,
    age: FloatArray,
    known: BoolArray,
    usage_per_year: FloatArray,
    lives: LifeDraws,
    planned: PlannedAges | None = None,
    clock_age: FloatArray,
    kit_share: float = 1.0,
    years: float,
    rng: np.random.Generator,
    most: FloatArray | None = None,
    most_events: int = 20_000,
    way: Way | None = None,
    scheduled: FloatArray | None = None,
    first: FloatArray | None = None,
) -> SideEvents:
    """What happens to one side of some like pumps, from their ages of today.

    Parameters
    ----------
    age : float array (pumps, positions)
        Age of each position [usage]; where not known, the least that it can be.
    known : bool array (pumps, positions)
        False: the age is drawn beyond that minimum from the stationary ages, density
        proportional to survival, below the planned age and the block.
    usage_per_year : float array (pumps,)
        [usage / year]
    lives : LifeDraws (positions, replicates)
        One draw of the lives per replicate.
    planned : PlannedAges, optional
        A side past its planned age is rebuilt at time 0; None: never planned.
    clock_age : float array (pumps,)
        Usage since the last renewal of the whole side; where the ages are not known, the least.
    kit_share : float
        Share of the failures at which the whole side is renewed, else the failed part alone.
    years : float
        Horizon [years].
    rng : numpy Generator
    most : float array (pumps, positions), optional
        The most that an unknown age can be [usage].
    most_events : int
        Events of one lane beyond which the lives can't be true against the horizon.
    way : Way, optional
        The whole way of working, in place of `planned` and `kit_share`; its blocks count from
        today.  One that renews the whole side at every opening is run many cycles at once.
    scheduled : float array (pumps, times) or (pumps, replicates, times), optional
        Usage from today, rising, at which each side is renewed whole whatever its age, such as
        outages; inf where there are fewer [usage].  In place of the way's blocks.
    first : float array (pumps,), optional
        Usage from today to the first planned renewal, in place of what is left to the planned age,
        for sides that no failure renews before; inf where none is planned, NaN where the planned
        age counts [usage].

    Returns
    -------
    SideEvents
    """
    usage = np.nan_to_num(np.asarray(usage_per_year, float)) * years
    many = way is not None and way.whole_only and scheduled is None
    way = way or Way(planned=planned or fixed_interval(np.inf), kit_share=kit_share)
    schedule = _blocks(way.block, usage) if scheduled is None else np.asarray(scheduled, float)
    if schedule.shape[:-1] not in {usage.shape, (*usage.shape, lives.shape.shape[1])}:
        raise RecordError(
            f"scheduled work of the shape {schedule.shape} doesn't fit {usage.size} pumps: give "
            "times for each pump, or for each pump and replicate"
        )
    rules = Rules(
        lives=by_replicate(lives), way=way, schedule=_close(schedule), rng=rng, one_cycle=many
    )
    bounds = (np.asarray(age, float), np.full(age.shape, np.inf) if most is None else most)
    lanes = _lanes_of_today(rules, bounds, known, usage, clock_age)
    if first is not None:
        given = np.asarray(first, float)[lanes.pump]
        lanes.plan = np.where(np.isnan(given), lanes.plan, given)
    events = run_lanes(lanes, rules, most_events)
    if many:
        events = _follow(events, lives, usage, rules, most_events)
    return replace(events, time=events.time / np.asarray(usage_per_year, float)[events.pump])


def _follow(
    first: SideEvents,
    lives: LifeDraws,
    usage: FloatArray,
    rules: Rules,
    most_events: int,
) -> SideEvents:
    """The first whole renewals and all that come after them within the usage of each pump."""
    new = (first.replicate, first.time.copy(), usage[first.pump])
    parts = bring_together(lives)
    lane, time, position = follow_kits(parts, rules.way.planned, new, rules.rng, most_events)
    return SideEvents(
        pump=np.append(first.pump, first.pump[lane]),
        replicate=np.append(first.replicate, first.replicate[lane]),
        time=np.append(first.time, time),
        position=np.append(first.position, position),
        kit=np.ones(first.time.size + time.size, bool),
    )


def _blocks(block: float, usage: FloatArray) -> FloatArray:
    """Multiples of the block within the longest usage, (pumps, times) [usage]."""
    times = int(usage.max(initial=0.0) // block) + 1 if np.isfinite(block) else 0
    return np.broadcast_to(block * np.arange(1.0, times + 1.0), (usage.size, times))


def _close(schedule: FloatArray) -> FloatArray:
    """The schedule as rows, with nothing more to come after the last of each."""
    ending = np.full((*schedule.shape[:-1], 1), np.inf)
    schedule = np.concatenate([schedule, ending], axis=-1)
    return schedule.reshape(-1, schedule.shape[-1])


def _lanes_of_today(
    rules: Rules,
    bounds: tuple[FloatArray, FloatArray],
    known: BoolArray,
    usage: FloatArray,
    clock_age: FloatArray,
) -> Lanes:
    """All lanes at time 0, with ages drawn within their bounds where they are not known."""
    age, most = bounds
    replicates, positions = rules.lives.shape.shape
    if age.shape[1:] != (positions,) or known.shape != age.shape:
        raise RecordError(
            f"ages of {age.shape} pumps x positions don't fit lives of {positions} positions"
        )
    runs = np.flatnonzero(usage > 0.0)
    pump = np.repeat(runs, replicates)
    replicate = np.tile(np.arange(replicates), runs.size)
    clock = np.asarray(clock_age, float)[pump]
    due = draw_planned(rules.way.planned, clock, rules.rng)
    sure = np.asarray(known, bool)[pump]
    drawn = age[pump]
    if not sure.all():
        least = (drawn, most[pump])
        top = np.minimum(due, rules.way.block)
        drawn = draw_ages(rules.lives[replicate], least, sure, top, rules.rng)
        oldest = np.maximum(clock, drawn.max(axis=1, initial=0.0))
        clock = np.where(sure.all(axis=1), clock, oldest)
    plan = np.maximum(due - clock, 0.0)
    by_lane = rules.schedule.shape[0] == usage.size * replicates
    row = pump * replicates + replicate if by_lane else pump
    return start_lanes(rules, (pump, replicate, row), usage[pump], (drawn, clock, plan))
