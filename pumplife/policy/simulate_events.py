"""The general simulator: all lanes of a pump side stepped together from event to event.

One lane is one pump in one replicate.  Lanes past their end drop out.  No loop runs over pumps,
replicates or lives.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from scipy import special

from pumplife.policy.simulate_draws import draw_left, draw_lives, draw_planned
from pumplife.policy.simulate_way import (
    INSPECTION,
    PLANNED,
    TOGETHER,
    BoolArray,
    FloatArray,
    IntArray,
    Way,
    check_sizes,
    too_many_events,
)
from pumplife.weibull.draws import LifeDraws, pick


def _none() -> IntArray:
    return np.zeros(0, np.int64)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SideEvents:
    """What happened to the sides of a simulated fleet, in no particular order.

    Attributes
    ----------
    pump : int array (events,)
        Row of the pump in the arrays given.
    replicate : int array (events,)
    time : float array (events,)
        From today [years].
    position : int array (events,)
        Position that failed; -1 for planned renewal of the whole side, -2 for an inspection.
    kit : bool array (events,)
        Whether the whole side was renewed.
    also_event, also_position : int array (renewals,)
        Positions renewed at events that did not renew the whole side, besides the failed one:
        row of the event and the position.
    """

    pump: IntArray
    replicate: IntArray
    time: FloatArray
    position: IntArray
    kit: BoolArray
    also_event: IntArray = field(default_factory=_none)
    also_position: IntArray = field(default_factory=_none)

    def __repr__(self) -> str:
        """Count the events."""
        return f"<SideEvents: {self.time.size}, {int((self.position == PLANNED).sum())} planned>"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Rules:
    """How the sides live and are worked, and where chance comes from."""

    lives: LifeDraws  # (replicates, positions)
    way: Way
    schedule: FloatArray  # (rows, times) usage at which a side is renewed whole, rising; inf last
    rng: np.random.Generator
    one_cycle: bool = False  # a lane ends when its whole side is renewed
    alike: int = 1  # so many parts of the lanes, one after the other, begin with the same chance

    @property
    def positions(self) -> int:
        """Positions of the side."""
        return int(self.lives.shape.shape[1])


@dataclass(slots=True, kw_only=True, eq=False)
class Lanes:
    """The lanes still running; all usage counts from the start of the simulation."""

    pump: IntArray
    replicate: IntArray
    row: IntArray  # row of the schedule
    clock: FloatArray  # usage at the last event
    end: FloatArray  # usage at the horizon
    fails: FloatArray  # (lanes, positions) usage at which each position fails
    born: FloatArray  # (lanes, positions or 0) usage at which it was fitted, where ages count
    sign: FloatArray  # (lanes, positions or 0) usage of its first sign, where signs count
    plan: FloatArray  # usage at the planned age
    block: FloatArray  # usage at the next of the schedule
    turn: IntArray  # which of the schedule that is
    look: FloatArray  # usage at the next inspection

    def keep(self, which: BoolArray) -> None:
        """Drop the other lanes."""
        if which.all():
            return
        rows = np.flatnonzero(which)
        for name in self.__slots__:
            setattr(self, name, pick(getattr(self, name), rows))


def start_lanes(
    rules: Rules,
    lane: tuple[IntArray, IntArray, IntArray],
    end: FloatArray,
    today: tuple[FloatArray, FloatArray, FloatArray],
) -> Lanes:
    """Lanes (pump, replicate, row of the schedule) as they stand today.

    Today: the ages of the positions, the usage since the side was last renewed whole, and the
    usage until its planned age.
    """
    pump, replicate, row = lane
    age, clock, plan = today
    way = rules.way
    check_sizes(way, *rules.lives.shape.shape)
    first = slice(pump.size // rules.alike)
    fails = draw_left(rules.lives[replicate[first]], age[first], rules.rng)
    fails = np.tile(fails, (rules.alike, 1))
    none = np.zeros((pump.size, 0))
    inspection = way.inspection
    look = np.full(pump.size, np.inf)
    if inspection is not None:
        look = inspection.every - np.fmod(clock, inspection.every)
    lanes = Lanes(
        pump=pump,
        replicate=replicate,
        row=row,
        clock=np.zeros(pump.size),
        end=end,
        fails=fails,
        born=none if way.renew_older is None else -age,
        sign=none,
        plan=plan,
        block=rules.schedule[row, 0],
        turn=np.zeros(pump.size, np.int64),
        look=look,
    )
    if inspection is not None:
        lanes.sign = _first_sign(rules, -age, fails, np.arange(rules.positions))
    return lanes


def run_lanes(lanes: Lanes, rules: Rules, most_events: int) -> SideEvents:
    """Step all lanes from event to event until none is left."""
    found: list[SideEvents] = []
    for _ in range(most_events):
        position, clock = _next_event(lanes, rules)
        inside = (clock <= lanes.end) & np.isfinite(clock)
        lanes.keep(inside)
        position, lanes.clock = position[inside], clock[inside]
        if position.size == 0:
            return join_events(found)
        kit = rules.rng.random(position.size) < rules.way.kit_share
        kit = (position == PLANNED) | (kit & (position != INSPECTION))
        lane, column = _renewed(lanes, rules, position, kit)
        found.append(_note(lanes, (position, kit), (lane, column)))
        if rules.one_cycle:
            lane = (np.cumsum(~kit) - 1)[lane]
            lanes.keep(~kit)
            position, kit = position[~kit], kit[~kit]
        _renew(lanes, rules, position, kit)
        _fit(lanes, rules, lane, column)
    raise too_many_events(most_events)


def _next_event(lanes: Lanes, rules: Rules) -> tuple[IntArray, FloatArray]:
    """What comes next in each lane, and at what usage."""
    position = np.argmin(lanes.fails, axis=1)
    clock = lanes.fails[np.arange(position.size), position]
    planned = np.minimum(lanes.plan, lanes.block)
    inspection = rules.way.inspection
    if inspection is not None:
        first = (lanes.look <= clock) & (lanes.look < planned - TOGETHER * inspection.every)
        position = np.where(first, INSPECTION, position)
        clock = np.where(first, lanes.look, clock)
    position = np.where(planned <= clock, PLANNED, position)
    return position, np.minimum(clock, planned)


def _renewed(
    lanes: Lanes, rules: Rules, position: IntArray, kit: BoolArray
) -> tuple[IntArray, IntArray]:
    """Lane and position of each renewal at openings that are not for the whole side.

    Where a find is reason for the whole side, its `kit` is set.
    """
    way, clock = rules.way, lanes.clock[:, None]
    failed = np.flatnonzero(~kit & (position >= 0))
    if way.renew_older is None and way.inspection is None:
        return failed, position[failed]
    renew = np.zeros(lanes.fails.shape, bool)
    if way.renew_older is not None:
        shared = way.renew_older.ndim == 1
        older = way.renew_older if shared else pick(way.renew_older, lanes.replicate)
        np.greater(clock - lanes.born, older, out=renew)
    if way.inspection is not None:
        looked = np.flatnonzero(position == INSPECTION)
        seen = lanes.sign[looked] <= clock[looked]
        seen &= rules.rng.random(seen.shape) < way.inspection.detection
        renew[looked] |= seen
        kit[looked] = way.inspection.whole & seen.any(axis=1)
    renew[failed, position[failed]] = True
    renew[kit] = False
    lane, column = np.divmod(np.flatnonzero(renew), rules.positions)
    return lane, column


def _note(
    lanes: Lanes, event: tuple[IntArray, BoolArray], renewed: tuple[IntArray, IntArray]
) -> SideEvents:
    """The events of this step, and what was renewed besides the failed position."""
    position, kit = event
    row, column = renewed
    besides = position[row] != column
    return SideEvents(
        pump=lanes.pump,
        replicate=lanes.replicate,
        time=lanes.clock,
        position=position,
        kit=kit,
        also_event=row[besides],
        also_position=column[besides],
    )


def _renew(lanes: Lanes, rules: Rules, position: IntArray, kit: BoolArray) -> None:
    """Fit all parts anew where the whole side is renewed, and set its clocks."""
    whole = np.flatnonzero(kit)
    _fit(lanes, rules, whole[:, None], np.arange(rules.positions))
    fresh = np.zeros(whole.size)
    clock = lanes.clock[whole]
    lanes.plan[whole] = clock + draw_planned(rules.way.planned, fresh, rules.rng)
    passed = lanes.block[whole] <= clock * (1.0 + TOGETHER)
    lanes.turn[whole] += passed
    lanes.block[whole] = rules.schedule[lanes.row[whole], lanes.turn[whole]]
    if rules.way.inspection is not None:
        lanes.look[whole] = clock + rules.way.inspection.every
        lanes.look[(position == INSPECTION) & ~kit] += rules.way.inspection.every


def _fit(lanes: Lanes, rules: Rules, lane: IntArray, column: IntArray) -> None:
    """New parts at these positions of these lanes; whole lanes where `lane` is a column."""
    replicate, clock = lanes.replicate[lane], lanes.clock[lane]
    whole = lane.ndim == 2
    parts = rules.lives[replicate[:, 0]] if whole else rules.lives[replicate, column]
    at = lane[:, 0] if whole else (lane, column)
    fails = clock + draw_lives(parts, rules.rng)
    lanes.fails[at] = fails
    if rules.way.renew_older is not None:
        lanes.born[at] = clock
    if rules.way.inspection is not None:
        lanes.sign[at] = _first_sign(rules, clock, fails, column)


def _first_sign(rules: Rules, born: FloatArray, fails: FloatArray, column: IntArray) -> FloatArray:
    """Usage at which parts fitted at `born` that fail at `fails` show their first sign."""
    inspection = rules.way.inspection
    if inspection is None:
        return fails
    if inspection.delay_share is not None:
        delay = inspection.delay_share[column] * (fails - born)
    else:
        mean, shape = np.asarray(inspection.delay_mean), inspection.delay_shape
        drawn = rules.rng.weibull(shape, fails.shape) / special.gamma(1.0 + 1.0 / shape)
        delay = mean[column] * drawn
    return np.where(delay > 0.0, fails - delay, np.inf)


def join_events(parts: Sequence[SideEvents]) -> SideEvents:
    """Events of one side from several sources, one after the other."""
    if not parts:
        none = _none()
        return SideEvents(
            pump=none, replicate=none, time=np.zeros(0), position=none, kit=np.zeros(0, bool)
        )
    before = np.cumsum([0, *(part.time.size for part in parts[:-1])])
    also = [part.also_event + start for part, start in zip(parts, before, strict=True)]
    return SideEvents(
        pump=np.concatenate([part.pump for part in parts]),
        replicate=np.concatenate([part.replicate for part in parts]),
        time=np.concatenate([part.time for part in parts]),
        position=np.concatenate([part.position for part in parts]),
        kit=np.concatenate([part.kit for part in parts]),
        also_event=np.concatenate(also),
        also_position=np.concatenate([part.also_position for part in parts]),
    )
