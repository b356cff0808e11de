"""The fast simulator: sides renewed whole at every opening, many cycles at once.

Positions with the same lives are one part: the first of n Weibull lives is drawn at once.  What
ends a cycle is found in logs, and only the length of those that end in failure is raised from
them.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pumplife.policy.simulate_draws import draw_planned
from pumplife.policy.simulate_way import PLANNED, FloatArray, IntArray, PlannedAges, too_many_events
from pumplife.weibull.draws import LifeDraws

_FIRST = 4  # cycles drawn at once for lanes of which nothing is known yet
_LEAST = 1e-300  # usage, in place of 0
_TOGETHER = 1 << 17  # cycles x lanes held at once


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LikeParts:
    """Positions of a side brought together by their lives.

    Attributes
    ----------
    part_of : int array (positions,)
        Part of each position.
    count : int array (parts,)
        Positions of each part.
    lives : LifeDraws (parts, draws)
    """

    part_of: IntArray
    count: IntArray
    lives: LifeDraws

    def __repr__(self) -> str:
        """Count parts and positions."""
        return f"<LikeParts: {self.count.size} parts, {self.part_of.size} positions>"


def bring_together(lives: LifeDraws) -> LikeParts:
    """Find the positions whose lives (positions, draws) are the same in every draw."""
    fields = (lives.early_share, lives.early_scale, lives.shape, lives.scale)
    _, first, part_of, count = np.unique(
        np.hstack(fields), axis=0, return_index=True, return_inverse=True, return_counts=True
    )
    return LikeParts(part_of=part_of.reshape(-1), count=count, lives=lives[first])


def draw_cycles(
    parts: LikeParts, planned: PlannedAges, cycles: int, rng: np.random.Generator
) -> tuple[FloatArray, IntArray]:
    """Whole renewals one after another: how long each cycle lasts and which part ends it.

    Parameters
    ----------
    parts : LikeParts
    planned : PlannedAges
        Age of the side at planned work [usage].
    cycles : int
        Of each draw.
    rng : numpy Generator

    Returns
    -------
    length : float array (draws, cycles)
        [usage]
    part : int array (draws, cycles)
        Part that failed; -1 for planned work.
    """
    size = parts.lives.shape.shape[1], cycles
    due = planned.ages[0] if planned.ages.size == 1 else _draw_due(planned, size, rng)
    soonest = np.broadcast_to(np.log(due), size).copy()
    which = np.full(size, PLANNED)
    log_life = np.empty(size)
    for part, count in enumerate(parts.count):
        _draw_log_life(parts.lives[part], int(count), rng, out=log_life)
        np.putmask(which, log_life < soonest, part)
        np.minimum(log_life, soonest, out=soonest)
    with np.errstate(over="ignore"):
        length = np.exp(soonest, out=soonest)
    np.copyto(length, due, where=which == PLANNED)
    return length, which


def follow_kits(
    parts: LikeParts,
    planned: PlannedAges,
    new: tuple[IntArray, FloatArray, FloatArray],
    rng: np.random.Generator,
    most_events: int,
) -> tuple[IntArray, FloatArray, IntArray]:
    """Whole renewals of some lanes from one renewal to the horizon, many cycles at once.

    Parameters
    ----------
    parts : LikeParts
    planned : PlannedAges
    new : tuple of int array, float array and float array (lanes,)
        Draw of each lane; usage at which its side is new; usage at its horizon [usage].
    rng : numpy Generator
    most_events : int
        Events of one lane beyond which the lives can't be true against the horizon.

    Returns
    -------
    lane : int array (events,)
    time : float array (events,)
        [usage]
    position : int array (events,)
        Position that failed; -1 for planned work.
    """
    draw, clock, end = new
    lane, cycles, drawn = np.arange(draw.size), _FIRST, 0
    none = np.zeros(0, np.int64)
    found = [(none, np.zeros(0), none)]
    while lane.size:
        mine = LikeParts(part_of=parts.part_of, count=parts.count, lives=parts.lives[:, draw[lane]])
        length, part = draw_cycles(mine, planned, cycles, rng)
        time = clock[lane, None] + np.cumsum(length, axis=1)
        row, column = np.nonzero(time <= end[lane, None])
        position = _pick_position(parts, part[row, column], rng)
        found.append((lane[row], time[row, column], position))
        clock[lane] = time[:, -1]
        lane = lane[clock[lane] <= end[lane]]
        drawn += cycles
        if lane.size and drawn > most_events:
            raise too_many_events(most_events)
        ahead = np.max((end - clock)[lane], initial=0.0) / max(length.mean(), _LEAST)
        cycles = int(np.clip(ahead, 1, max(1, _TOGETHER // max(1, lane.size))))
    lanes, times, positions = (np.concatenate(part) for part in zip(*found, strict=True))
    return lanes, times, positions


def _pick_position(parts: LikeParts, part: IntArray, rng: np.random.Generator) -> IntArray:
    """One of the like positions of the part that failed, at random; -1 for planned work."""
    order = np.argsort(parts.part_of, kind="stable")
    first = np.cumsum(parts.count) - parts.count
    step = (rng.random(part.size) * parts.count[part]).astype(np.int64)
    return np.where(part == PLANNED, PLANNED, order[first[part] + step])


def _draw_due(planned: PlannedAges, size: tuple[int, int], rng: np.random.Generator) -> FloatArray:
    """A planned age for each cycle."""
    return draw_planned(planned, np.zeros(size[0] * size[1]), rng).reshape(size)


def _draw_log_life(
    lives: LifeDraws, count: int, rng: np.random.Generator, *, out: FloatArray
) -> None:
    """Log of the first failure among `count` positions of one part, into `out` (draws, cycles)."""
    power = 1.0 / lives.shape
    _draw_log_effort(rng, out)
    out *= power[:, None]
    out += (np.log(lives.scale) - power * np.log(count))[:, None]
    if np.any(lives.early_share):
        _bring_in_early(lives, count, rng, out)


def _draw_log_effort(rng: np.random.Generator, out: FloatArray) -> None:
    """Logs of exponential draws, from uniform ones: that is quicker than drawing them."""
    rng.random(out=out)
    with np.errstate(divide="ignore"):
        np.log(out, out=out)
        np.negative(out, out=out)
        np.log(out, out=out)


def _bring_in_early(
    lives: LifeDraws, count: int, rng: np.random.Generator, log_life: FloatArray
) -> None:
    """Let some of the positions end early: the others wear on, one of the early ones is first."""
    pick = rng.random(log_life.shape)
    some = np.nonzero(pick > ((1.0 - lives.early_share) ** count)[:, None])
    draw = some[0]
    early = _count_early(lives.early_share[draw], count, pick[some])
    with np.errstate(divide="ignore"):
        fewer = np.log(count) - np.log(count - early)
    effort = np.empty(draw.size)
    _draw_log_effort(rng, effort)
    worn = log_life[some] + fewer / lives.shape[draw]
    log_life[some] = np.minimum(worn, effort - np.log(early) + np.log(lives.early_scale)[draw])


def _count_early(share: FloatArray, count: int, pick: FloatArray) -> IntArray:
    """How many of `count` lives end early, by their binomial distribution at quantile `pick`.

    The picks are beyond the chance of none.
    """
    odds = share / np.where(share < 1.0, 1.0 - share, 1e-300)
    chance = (1.0 - share) ** count
    upto, early = chance.copy(), np.ones(share.size, np.int64)
    for number in range(1, count):
        chance = chance * odds * (count - number + 1) / number
        upto += chance
        early += pick > upto
    return np.where(share < 1.0, early, count)


def share_among_positions(
    parts: LikeParts, failures: FloatArray, rng: np.random.Generator
) -> FloatArray:
    """Failures of like positions, (parts, ...), shared among them at random: (positions, ...)."""
    shared = np.zeros((parts.part_of.size, *failures.shape[1:]))
    for number, count in enumerate(parts.count):
        drawn = rng.multinomial(failures[number].astype(np.int64), np.full(count, 1.0 / count))
        shared[parts.part_of == number] = np.moveaxis(drawn, -1, 0)
    return shared
