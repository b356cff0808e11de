"""The fast simulator: sides renewed whole at every opening, many cycles at once.

Positions with the same lives are one part: the first of n Weibull lives is drawn at once.  What
ends a cycle is found in logs, and only the length of those that end in failure is raised from
them.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pumplife.policy.simulate_draws import draw_planned
from pumplife.policy.simulate_way import PLANNED, FloatArray, IntArray, PlannedAges
from pumplife.weibull.draws import LifeDraws


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
    with np.errstate(divide="ignore"):
        soonest = np.broadcast_to(np.log(due), size).copy()
    which = np.full(size, PLANNED)
    for part, count in enumerate(parts.count):
        log_life = _draw_log_life(parts.lives[part], int(count), size, rng)
        sooner = log_life < soonest
        np.copyto(soonest, log_life, where=sooner)
        which[sooner] = part
    length = np.exp(soonest)
    np.copyto(length, due, where=which == PLANNED)
    return length, which


def _draw_due(planned: PlannedAges, size: tuple[int, int], rng: np.random.Generator) -> FloatArray:
    """A planned age for each cycle."""
    return draw_planned(planned, np.zeros(size[0] * size[1]), rng).reshape(size)


def _draw_log_life(
    lives: LifeDraws, count: int, size: tuple[int, int], rng: np.random.Generator
) -> FloatArray:
    """Log of the first failure among `count` positions of one part, (draws, cycles)."""
    with np.errstate(divide="ignore"):
        effort = np.log(rng.standard_exponential(size))
    power, scale = 1.0 / lives.shape[:, None], np.log(lives.scale)[:, None]
    if not np.any(lives.early_share):
        effort -= np.log(count)
        effort *= power
        effort += scale
        return effort
    share = np.broadcast_to(lives.early_share[:, None], size)
    early = _count_early(share, count, rng.random(size))
    with np.errstate(divide="ignore"):
        left = -np.log(np.arange(count, -1.0, -1.0))
    life = scale + power * (effort + left[early])
    some = np.nonzero(early)
    with np.errstate(divide="ignore"):
        first = np.log(rng.standard_exponential(some[0].size) / early[some])
    life[some] = np.minimum(life[some], first + np.log(lives.early_scale)[some[0]])
    return np.asarray(life)


def _count_early(share: FloatArray, count: int, pick: FloatArray) -> IntArray:
    """How many of `count` lives end early, by their binomial distribution at quantile `pick`."""
    early = np.zeros(pick.shape, np.int64)
    some = np.nonzero(pick > (1.0 - share) ** count)
    share, pick = share[some], pick[some]
    odds = share / np.where(share < 1.0, 1.0 - share, 1e-300)
    chance = (1.0 - share) ** count
    upto, found = chance.copy(), np.zeros(share.size, np.int64)
    for number in range(1, count + 1):
        found += pick > upto
        chance = chance * odds * (count - number + 1) / number
        upto += chance
    early[some] = found
    return early


def share_among_positions(
    parts: LikeParts, failures: FloatArray, rng: np.random.Generator
) -> FloatArray:
    """Failures of like positions, (parts, ...), shared among them at random: (positions, ...)."""
    shared = np.zeros((parts.part_of.size, *failures.shape[1:]))
    for number, count in enumerate(parts.count):
        drawn = rng.multinomial(failures[number].astype(np.int64), np.full(count, 1.0 / count))
        shared[parts.part_of == number] = np.moveaxis(drawn, -1, 0)
    return shared
