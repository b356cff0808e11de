"""Half a year of records to come, simulated: lives that end or go on, from today's ages."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pumplife.policy.pump import FloatArray, SideLife
from pumplife.policy.simulate import IntArray
from pumplife.weibull.draws import LifeDraws

NODES = 96  # ages at which what was seen is tallied
FINEST = 1e-4  # first of these ages, as a share of the last
MOST_VISITS = 60  # of one side within the time to come


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Fleet:
    """The sides of a group as they stand, and how they will be worked.

    Attributes
    ----------
    part_of : int array (positions,)
        Part of each position.
    age : float array (pumps, positions)
        [usage]; at least, where it isn't known.
    clock : float array (pumps,)
        Usage since the last renewal of the whole side [usage].
    usage : float array (pumps,)
        Usage to come [usage].
    interval : float
        Planned interval [usage]; inf means run to failure.
    whole_kit : bool
        Whether a failure renews the whole side, or the failed part alone.
    """

    part_of: IntArray
    age: FloatArray
    clock: FloatArray
    usage: FloatArray
    interval: float
    whole_kit: bool

    def __repr__(self) -> str:
        """Count the pumps."""
        return f"<Fleet: {self.age.shape[0]} pumps, {self.age.shape[1]} positions>"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Seen:
    """What was seen of each part in each simulated half-year, laid on a ladder of ages.

    Attributes
    ----------
    ages : float array (ages,)
        [usage], from 0.
    lived : float array (futures, parts, ages)
        Weights of the cumulative hazard at each age: ends less beginnings of what was lived.
    failed : float array (futures, parts, ages)
        Failures, shared between the ages beside them.
    """

    ages: FloatArray
    lived: FloatArray
    failed: FloatArray

    def __repr__(self) -> str:
        """Count failures."""
        return f"<Seen: {self.failed.sum(axis=(1, 2)).mean():.3g} failures a future>"


def simulate_records(
    lives: LifeDraws, fleet: Fleet, truth: IntArray, rng: np.random.Generator
) -> Seen:
    """Run the fleet for the usage to come, once under each of some truths.

    Parameters
    ----------
    lives : LifeDraws (parts, draws)
    fleet : Fleet
    truth : int array (futures,)
        The draw that is the truth of each future.
    rng : Generator

    Returns
    -------
    Seen
        Every failed part named, every usage known: records as they should be.
    """
    top = float((fleet.age + fleet.usage[:, None]).max())
    ages = np.concatenate([[0.0], top * np.geomspace(FINEST, 1.0, NODES)])
    lanes = _start(lives, fleet, truth, rng)
    begun = [(lanes.whose, -lanes.since)]
    ended, failed = _run(lanes, fleet, rng)
    begun += [(cell, np.zeros(cell.size)) for cell, _ in ended]
    ended.append((lanes.whose, lanes.until[:, None] - lanes.since))
    shape = truth.size, len(lives), ages.size
    lived = _tally(ended, ages, shape) - _tally(begun, ages, shape)
    return Seen(ages=ages, lived=lived, failed=_tally(failed, ages, shape))


_Ages = tuple[IntArray, FloatArray]  # of a future and part each, and how old


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Lanes:
    """Every pump of every future, one after the other; written to as they run.

    Attributes
    ----------
    lives : LifeDraws (lanes, positions)
    whose : int array (lanes, positions)
        Future and part in one number.
    since, dies : float array (lanes, positions)
        When it was new, and when it fails [usage from now].
    due, until : float array (lanes,)
        The next planned renewal, and the end [usage from now].
    """

    lives: LifeDraws
    whose: IntArray
    since: FloatArray
    dies: FloatArray
    due: FloatArray
    until: FloatArray

    def ages(self, lane: IntArray, position: IntArray, now: FloatArray) -> _Ages:
        """How old some positions are."""
        return self.whose[lane, position], now - self.since[lane, position]


def _start(lives: LifeDraws, fleet: Fleet, truth: IntArray, rng: np.random.Generator) -> _Lanes:
    """The fleet as it stands, in every future."""
    future, pump = (index.ravel() for index in np.indices((truth.size, len(fleet.age))))
    own, age = _by_future(lives[fleet.part_of], truth)[future], fleet.age[pump]
    return _Lanes(
        lives=own,
        whose=future[:, None] * len(lives) + fleet.part_of,
        since=-age,
        dies=_draw_left(own, age, rng),
        due=np.maximum(fleet.interval - fleet.clock, 0.0)[pump],
        until=fleet.usage[pump],
    )


def _run(lanes: _Lanes, fleet: Fleet, rng: np.random.Generator) -> tuple[list[_Ages], list[_Ages]]:
    """Ages of the positions that were renewed, and of those among them that had failed."""
    ended: list[_Ages] = []
    failed: list[_Ages] = []
    going: IntArray = np.arange(lanes.until.size)
    for _ in range(MOST_VISITS):
        going, first, now = _next_visits(lanes, going)
        if not going.size:
            return ended, failed
        broke = now < lanes.due[going]
        failed.append(lanes.ages(going[broke], first[broke], now[broke]))
        whole = ~broke | fleet.whole_kit
        renewed = whole[:, None] | (np.arange(fleet.part_of.size) == first[:, None])
        row, position = np.nonzero(renewed)
        ended.append(lanes.ages(going[row], position, now[row]))
        _renew(lanes, (going[row], position), now[row], rng)
        lanes.due[going[whole]] = now[whole] + fleet.interval
    lanes.until[going] = now
    return ended, failed


def _next_visits(lanes: _Lanes, going: IntArray) -> tuple[IntArray, IntArray, FloatArray]:
    """The lanes with a visit to come, the position that fails first, and when it is."""
    first = lanes.dies[going].argmin(axis=1)
    now = np.minimum(lanes.dies[going, first], lanes.due[going])
    on = now < lanes.until[going]
    return going[on], first[on], now[on]


def _renew(
    lanes: _Lanes, where: tuple[IntArray, IntArray], now: FloatArray, rng: np.random.Generator
) -> None:
    """New parts at some positions."""
    lanes.since[where] = now
    lanes.dies[where] = now + _draw_left(lanes.lives[where], np.zeros(now.size), rng)


def _by_future(lives: LifeDraws, truth: IntArray) -> LifeDraws:
    """Lives of the positions under each truth, (futures, positions)."""
    return LifeDraws(
        early_share=lives.early_share[:, truth].T,
        early_scale=lives.early_scale[:, truth].T,
        shape=lives.shape[:, truth].T,
        scale=lives.scale[:, truth].T,
    )


def _draw_left(lives: LifeDraws, age: FloatArray, rng: np.random.Generator) -> FloatArray:
    """Usage to the failure of positions that have reached an age, each drawn."""
    lost = rng.standard_exponential(age.shape)
    reached = (age / lives.scale) ** lives.shape
    left = lives.scale * (reached + lost) ** (1.0 / lives.shape) - age
    if not lives.early_share.any():
        return np.maximum(left, 0.0)
    with np.errstate(under="ignore"):
        early = lives.early_share * np.exp(-age / lives.early_scale)
        worn = (1.0 - lives.early_share) * np.exp(-reached)
    dies_early = rng.random(age.shape) * (early + worn) < early
    return np.maximum(np.where(dies_early, lives.early_scale * lost, left), 0.0)


def _tally(seen: list[_Ages], ages: FloatArray, shape: tuple[int, int, int]) -> FloatArray:
    """Count ages by future and part, each shared between the two of the ladder beside it."""
    if not seen:
        return np.zeros(shape)
    whose = np.concatenate([cell.ravel() for cell, _ in seen])
    age = np.concatenate([each.ravel() for _, each in seen])
    row = np.clip(np.searchsorted(ages, age, side="right") - 1, 0, ages.size - 2)
    share = (age - ages[row]) / (ages[row + 1] - ages[row])
    cell, size = whose * ages.size + row, int(np.prod(shape))
    counted = np.bincount(cell, 1.0 - share, size) + np.bincount(cell + 1, share, size)
    return np.asarray(counted.reshape(shape))


def log_likelihood(lives: LifeDraws, seen: Seen) -> FloatArray:
    """Log likelihood of what was seen in each future under each draw, (futures, draws).

    The cumulative hazard goes straight between the ages of the ladder, 10 % apart: within about
    0.5 % of it for shapes up to 3.
    """
    found = np.zeros((seen.lived.shape[0], lives.shape.shape[1]))
    inner = seen.ages[1:, None]
    for part, life in enumerate(lives[row] for row in range(len(lives))):
        one = SideLife(lives=lives[part : part + 1], count=np.ones(1))
        cumulative, hazard = one.evaluate(inner)
        failed = seen.failed[:, part, 1:].copy()
        failed[:, 0] += seen.failed[:, part, 0]  # an age of hardly anything counts as the first
        found -= seen.lived[:, part, 1:] @ cumulative
        if life.early_share.any():
            found += failed @ np.log(np.maximum(hazard[:, 0], 1e-300))
        else:  # straight in log age
            level = np.log(life.shape) - life.shape * np.log(life.scale)
            sums = np.stack([failed.sum(axis=1), failed @ np.log(inner[:, 0])], axis=1)
            found += sums @ np.stack([level, life.shape - 1.0])
    return found
