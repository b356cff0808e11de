"""Half a year of records to come, simulated: lives that end or go on, from today's ages."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

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
    parts, futures = len(lives), truth.size
    top = float((fleet.age + fleet.usage[:, None]).max())
    ages = np.concatenate([[0.0], top * np.geomspace(FINEST, 1.0, NODES)])
    lived = np.zeros((futures, parts, ages.size))
    failed = np.zeros_like(lived)
    own = _columns(lives[fleet.part_of], truth)
    age = np.broadcast_to(fleet.age, (futures, *fleet.age.shape))
    clock, left = (np.broadcast_to(x, age.shape[:2]) for x in (fleet.clock, fleet.usage))
    lane = np.arange(futures)[:, None, None] * parts + np.broadcast_to(fleet.part_of, age.shape)
    for _ in range(MOST_VISITS):
        wait = _draw_left(own, age, rng)
        first = wait.argmin(axis=2)[..., None]
        breaks = np.take_along_axis(wait, first, axis=2)[..., 0]
        due = np.maximum(fleet.interval - clock, 0.0)
        step = np.minimum(np.minimum(breaks, due), left)
        end = age + step[..., None]
        broke = (breaks <= step) & (left > 0.0)
        _tally(lived, ages, (lane, end), 1.0)
        _tally(lived, ages, (lane, age), -1.0)
        _tally(failed, ages, [np.take_along_axis(x, first, 2)[broke] for x in (lane, end)], 1.0)
        whole = (broke & fleet.whole_kit) | (~broke & (due <= step) & (left > step))
        alone = (np.arange(age.shape[2]) == first) & (broke & ~whole)[..., None]
        age = np.where(whole[..., None] | alone, 0.0, end)
        clock = np.where(whole, 0.0, clock + step)
        left = left - step
        if not (left > 0.0).any():
            break
    return Seen(ages=ages, lived=lived, failed=failed)


def _columns(lives: LifeDraws, truth: IntArray) -> LifeDraws:
    """Lives of the positions under each truth, (futures, 1, positions)."""
    return LifeDraws(
        early_share=lives.early_share[:, truth].T[:, None],
        early_scale=lives.early_scale[:, truth].T[:, None],
        shape=lives.shape[:, truth].T[:, None],
        scale=lives.scale[:, truth].T[:, None],
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


def _tally(into: FloatArray, ages: FloatArray, what: Sequence[Any], weight: float) -> None:
    """Share each age, of a future and part, between the two of the ladder beside it."""
    lane, age = what
    row = np.clip(np.searchsorted(ages, age, side="right") - 1, 0, ages.size - 2)
    share = (age - ages[row]) / (ages[row + 1] - ages[row])
    flat = into.reshape(-1)
    cell = (lane * ages.size + row).ravel()
    for offset, part in ((0, 1.0 - share), (1, share)):
        flat += weight * np.bincount(cell + offset, part.ravel(), flat.size)


def log_likelihood(lives: LifeDraws, seen: Seen) -> FloatArray:
    """Log likelihood of what was seen in each future under each draw, (futures, draws).

    The cumulative hazard goes straight between the ages of the ladder, 10 % apart: within about
    0.5 % of it for shapes up to 3.
    """
    found = np.zeros((seen.lived.shape[0], lives.shape.shape[1]))
    inner = seen.ages[1:, None]
    for part in range(len(lives)):
        one = SideLife(lives=lives[part : part + 1], count=np.ones(1))
        cumulative, hazard = one.evaluate(inner)
        log_hazard = np.log(np.maximum(hazard[:, 0], 1e-300))
        failed = seen.failed[:, part, 1:].copy()
        failed[:, 0] += seen.failed[:, part, 0]  # an age of hardly anything counts as the first
        found += failed @ log_hazard - seen.lived[:, part, 1:] @ cumulative
    return found
