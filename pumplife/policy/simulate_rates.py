"""Long-run events of a pump side under a way of working, counted from simulated lanes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pumplife.policy.simulate_draws import by_replicate, draw_planned, draw_settled_ages
from pumplife.policy.simulate_events import Lanes, Rules, SideEvents, run_lanes, start_lanes
from pumplife.policy.simulate_kits import bring_together, draw_cycles, share_among_positions
from pumplife.policy.simulate_way import (
    INSPECTION,
    PLANNED,
    TOGETHER,
    BoolArray,
    FloatArray,
    IntArray,
    Way,
)
from pumplife.weibull.draws import LifeDraws

_CELLS = 2_000_000  # lanes x positions held at once by the general engine
_CYCLES = 1 << 15  # cycles x draws held at once by the fast one: they stay in the cache
_MOST_EVENTS = 1_000_000  # of one lane
_SETTLING = 2.0  # longest mean lives before lanes without a fresh start are counted
_SETTLED = 300.0  # failures at the mean lives after which they are counted anyway


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class WayTally:
    """Events of independent lanes of each draw, and the usage in which they came.

    Attributes
    ----------
    kit_failures : float array (positions, draws, lanes)
        Failures of the position at which the whole side was renewed.
    part_failures : float array (positions, draws, lanes)
        Failures of the position at which less than the whole side was renewed.
    also : float array (positions, draws, lanes)
        Renewals of the position at openings not for the whole side where it had not failed:
        older than the limit, or found worn.
    planned : float array (draws, lanes)
        Planned renewals of the whole side, by age or block.
    inspections : float array (draws, lanes)
    found : float array (draws, lanes)
        Inspections at which the whole side was renewed for what they found.
    usage : float array (draws, lanes)
        [usage]
    """

    kit_failures: FloatArray
    part_failures: FloatArray
    also: FloatArray
    planned: FloatArray
    inspections: FloatArray
    found: FloatArray
    usage: FloatArray

    def __repr__(self) -> str:
        """Count the lanes and the failures."""
        draws, lanes = self.usage.shape
        return f"<WayTally: {draws} draws x {lanes} lanes, {self.failures.sum():.0f} failures>"

    @property
    def failures(self) -> FloatArray:
        """Failures by position, (positions, draws, lanes)."""
        return self.kit_failures + self.part_failures

    @property
    def kits(self) -> FloatArray:
        """Renewals of the whole side, (draws, lanes)."""
        return np.asarray(self.planned + self.found + self.kit_failures.sum(axis=0))

    @property
    def renewals(self) -> FloatArray:
        """Renewals by position, with kits and alone, (positions, draws, lanes)."""
        return np.asarray(self.kits + self.part_failures + self.also)

    @property
    def openings(self) -> FloatArray:
        """Times that the side was opened: planned, breakdown, inspection, (draws, lanes)."""
        return np.asarray(self.planned + self.failures.sum(axis=0) + self.inspections)

    def per_usage(self, count: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Rate of any count or cost of the lanes, and its standard error: `rate_of`."""
        return rate_of(count, self.usage)


def rate_of(count: FloatArray, usage: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Long-run rate of a count or cost over independent lanes, and its standard error.

    Parameters
    ----------
    count : float array (..., draws, lanes)
        Any count of a tally, or a cost summed from them.
    usage : float array (draws, lanes)
        [usage]

    Returns
    -------
    rate, error : float array (..., draws)
        Per usage unit: sum over the lanes by sum of their usage, and the standard error of that
        ratio through simulation.

    References
    ----------
    Ratio estimator of renewal reward: Law, Simulation Modeling and Analysis (2015), chapter 9
    (from memory).
    """
    lanes, total = usage.shape[-1], usage.sum(axis=-1)
    rate = np.asarray(count).sum(axis=-1) / total
    spread = np.asarray(count) - rate[..., None] * usage
    error = np.sqrt((spread**2).sum(axis=-1) * lanes / max(lanes - 1, 1)) / total
    return np.asarray(rate), np.asarray(error)


def simulate_way(
    lives: LifeDraws,
    way: Way,
    *,
    rng: np.random.Generator,
    lanes: int = 32,
    cycles: int = 32,
    alike: int = 1,
) -> WayTally:
    """Long-run events of one pump side under a way of working, for each draw of its lives.

    Each lane counts `cycles` cycles, whole ones wherever the way has fresh starts: from block to
    block, or from one renewal of the whole side to the next.  Without them (failed parts alone)
    a lane starts from the stationary ages of positions that are renewed one by one, and counts as
    much usage as `cycles` failures take at the mean lives; where more than the failed part is
    renewed, it first settles for two of the longest mean lives (300 failures at the most).

    Parameters
    ----------
    lives : LifeDraws (positions, draws)
    way : Way
    rng : numpy Generator
    lanes : int
        Independent lanes of each draw, which give the standard errors; at least 2.
    cycles : int
        Of each lane.
    alike : int
        The draws are so many times the same lives, one set after the other, to be worked in
        ways that differ by replicate: each set begins with the same ages and first lives.

    Returns
    -------
    WayTally
        Its `per_usage` gives rates with standard errors.

    References
    ----------
    Renewal reward: Ross, Stochastic Processes (1996), chapter 3 (from memory).
    """
    if way.whole_only:
        return _tally_kits(lives, way, (lanes, cycles), rng)
    draws = lives.shape.shape[1]
    step = max(1, _CELLS // (lives.shape.shape[0] * lanes * cycles))
    step = step if alike == 1 else draws
    blocks = [
        _tally_lanes(lives[:, some], way.of(some), (lanes, cycles), rng, alike)
        for some in (slice(start, start + step) for start in range(0, draws, step))
    ]
    return WayTally(
        **{
            name: np.concatenate([getattr(block, name) for block in blocks], axis=-2)
            for name in WayTally.__slots__
        }
    )


def _tally_kits(
    lives: LifeDraws, way: Way, size: tuple[int, int], rng: np.random.Generator
) -> WayTally:
    """The tally where every opening renews the whole side."""
    parts = bring_together(lives)
    draws, (lanes, cycles) = lives.shape.shape[1], size
    usage = np.zeros((draws, lanes))
    planned = np.zeros((draws, lanes))
    failures = np.zeros((parts.count.size, draws, lanes))
    step = max(1, _CYCLES // (draws * cycles))
    for start in range(0, lanes, step):
        some = slice(start, min(start + step, lanes))
        shape = (draws, some.stop - start, cycles)
        length, part = draw_cycles(parts, way.planned, shape[1] * cycles, rng)
        usage[:, some] = length.reshape(shape).sum(axis=-1)
        part = part.reshape(shape)
        for number in range(parts.count.size):
            failures[number, :, some] = np.count_nonzero(part == number, axis=-1)
        planned[:, some] = cycles - failures[:, :, some].sum(axis=0)
    none = np.zeros((lives.shape.shape[0], draws, lanes))
    return WayTally(
        kit_failures=share_among_positions(parts, failures, rng),
        part_failures=none,
        also=none,
        planned=planned,
        inspections=none[0],
        found=none[0],
        usage=usage,
    )


def _tally_lanes(
    lives: LifeDraws, way: Way, size: tuple[int, int], rng: np.random.Generator, alike: int
) -> WayTally:
    """The tally of a few draws by the general engine."""
    lanes, cycles = size
    blocks = np.isfinite(way.block)
    rules = Rules(
        lives=by_replicate(lives),
        way=way,
        schedule=np.array([[way.block, np.inf]]),
        rng=rng,
        one_cycle=way.starts_afresh and not blocks,
        alike=alike,
    )
    if not (blocks or rules.one_cycle):
        return _tally_settled(lives, rules, size)
    draws = rules.lives.shape.shape[0]
    new = np.zeros((draws * lanes * cycles, rules.positions))
    events = run_lanes(_start(rules, np.full(draws, way.block), new), rules, _MOST_EVENTS)
    lane = events.replicate * lanes + events.pump // cycles
    usage = np.full(draws * lanes, way.block * cycles)
    if rules.one_cycle:
        usage = np.bincount(lane[events.kit], events.time[events.kit], draws * lanes)
    return _count(events, lane, usage.reshape(draws, lanes), rules.positions)


def _tally_settled(lives: LifeDraws, rules: Rules, size: tuple[int, int]) -> WayTally:
    """The tally of lanes without a fresh start, counted once they have settled."""
    lanes, cycles = size
    mean = lives.mean()
    gap = 1.0 / (1.0 / mean).sum(axis=0)
    window = cycles * gap
    settling = np.minimum(_SETTLING * mean.max(axis=0), _SETTLED * gap)
    if rules.way.renew_older is None and rules.way.inspection is None:
        settling = np.zeros_like(gap)  # each position by itself: settled from the start
    if rules.way.inspection is not None:
        every = rules.way.inspection.every
        settling, window = np.ceil(settling / every) * every, np.ceil(window / every) * every
    replicate = np.repeat(np.arange(settling.size // rules.alike), lanes)
    age = draw_settled_ages(rules.lives[replicate], rules.rng)
    age = np.tile(age, (rules.alike, 1))
    events = run_lanes(_start(rules, settling + window, age), rules, _MOST_EVENTS)
    settled = np.flatnonzero(events.time > settling[events.replicate] * (1.0 + TOGETHER))
    lane = np.full(events.time.size, settling.size * lanes)  # one lane more, not counted
    lane[settled] = events.replicate[settled] * lanes + events.pump[settled]
    usage = np.repeat(window[:, None], lanes, axis=1)
    return _count(events, lane, usage, rules.positions)


def _start(rules: Rules, end: FloatArray, age: FloatArray) -> Lanes:
    """Lanes of each draw, numbered within it, at these ages with a clock of 0."""
    draws, lanes = end.size, age.shape[0] // end.size
    replicate = np.repeat(np.arange(draws), lanes)
    number = np.tile(np.arange(lanes), draws)
    clock = np.zeros(number.size)
    plan = draw_planned(rules.way.planned, clock, rules.rng)
    row = np.zeros(number.size, np.int64)
    return start_lanes(rules, (number, replicate, row), end[replicate], (age, clock, plan))


def _count(events: SideEvents, lane: IntArray, usage: FloatArray, positions: int) -> WayTally:
    """The tally of the events by lane, numbered through all draws; lanes beyond don't count."""
    lanes = usage.size + 1

    looked = events.position == INSPECTION

    def tally(which: BoolArray) -> FloatArray:
        found = np.bincount(lane[which], minlength=lanes)
        return np.asarray(found[:-1].reshape(usage.shape), float)

    def by_position(lane: IntArray, position: IntArray) -> FloatArray:
        found = np.bincount(position * lanes + lane, minlength=positions * lanes)
        each = found.reshape(positions, lanes)[:, :-1]
        return np.asarray(each.reshape(positions, *usage.shape), float)

    failed = events.position >= 0
    whole, alone = failed & events.kit, failed & ~events.kit
    return WayTally(
        kit_failures=by_position(lane[whole], events.position[whole]),
        part_failures=by_position(lane[alone], events.position[alone]),
        also=by_position(lane[events.also_event], events.also_position),
        planned=tally(events.position == PLANNED),
        inspections=tally(looked),
        found=tally(looked & events.kit),
        usage=usage,
    )
