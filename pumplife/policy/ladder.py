"""A ladder of ages even in log time: what happens to a side by each, with hardly a power taken.

On such a ladder the cumulative hazard of a Weibull part is a running product: one power for the
first age and one for the step, then multiplications, and one exponential per age and draw.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pumplife.policy.alive import Side, live_through, running_powers, take_apart
from pumplife.policy.pump import (
    LARGEST_LOG,
    FloatArray,
    SideIntegrals,
    SideLife,
    below_first,
    integrate_side,
    share_failures,
    shared_times,
)
from pumplife.weibull.draws import LifeDraws

LEAST, MOST = 1e-6, 30.0  # cumulative hazard of the side where a ladder begins and ends
LOW = 1e-3  # what no draw's may have passed where it begins
FRESH = 1e-3  # share of the mean early life up to which early failures come evenly
WIDEST = 0.5  # of a step in log time, times the shape: what the quadrature is exact for
FEWEST_STEPS, MOST_STEPS = 64, 256
INNER = (0.5 - 0.05**0.5, 0.5 + 0.05**0.5)  # Lobatto nodes within a step, as shares of it
LARGEST_FACTOR = 230.0  # log of what a hazard may be multiplied by within a block of steps
BLOCK_CELLS = 25_000  # steps x parts x draws taken at once: arrays that a processor holds near


def integrate_ladder(side: SideLife, *, widest: float = WIDEST) -> SideIntegrals:
    """Survival, incidence by part and uptime on one ladder of ages for all draws.

    From where hardly a draw has a failure to where hardly a draw has a survivor. Weibull lives,
    with or without early ones, go by running products and Gauss-Lobatto of four nodes in log
    time; any other life by `integrate_side`.

    Parameters
    ----------
    side : SideLife
    widest : float
        Step in log time, times the shape.  The integrals are exact to 1e-6 of them with the one
        half that is usual, to 1e-4 with 1.

    Returns
    -------
    SideIntegrals
        Times are (times, 1), 65 to 257 of them with the usual steps.
    """
    if not isinstance(side.lives, LifeDraws):
        return integrate_side(side, shared_times(side))
    low, high = ladder_ends(side)
    steps = _count_steps(side.lives, np.log(high / low), widest)
    climb = _prepare(side, side.lives, low, float(np.log(high / low)) / steps)
    known = _start(climb, low * np.exp(climb.step * np.arange(steps + 1)))
    for first in range(0, steps, climb.block):
        _climb(climb, known, first, min(first + climb.block, steps))
    share_failures(known.incidence, 1.0 - known.survival)
    return known


def ladder_ends(side: SideLife) -> tuple[float, float]:
    """First and last age [usage], by the part that fails first and bounds of its hazard."""
    lives, count = side.lives, side.count[:, None]
    if not isinstance(lives, LifeDraws):
        times = shared_times(side)
        return float(times[0, 0]), float(times[-1, 0])
    early = np.where(lives.early_share > 0.0, lives.early_scale, np.nan)

    def reaching(hazard: float) -> FloatArray:
        with np.errstate(divide="ignore"):
            return np.asarray(lives.scale * (hazard / count) ** (1.0 / lives.shape))

    usual = np.quantile(np.fmin(reaching(LEAST / len(count)), early * FRESH).min(axis=0), 0.05)
    fastest = reaching(LOW / len(count)).min()
    with np.errstate(divide="ignore"):
        last = np.fmax(reaching(MOST), early * MOST / count).min(axis=0)
    return float(min(usual, fastest)), float(last.max())


def _count_steps(lives: LifeDraws, span: float, widest: float) -> int:
    """As many steps as the steepest lives ask for."""
    steep = float(np.quantile(lives.shape, 0.95))
    fewest = int(FEWEST_STEPS * min(1.0, WIDEST / widest))
    return int(np.clip(np.ceil(span * steep / widest), fewest, MOST_STEPS))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Climb:
    """What all steps of a ladder have in common; a block of them is taken at once."""

    lives: LifeDraws
    count: FloatArray  # (parts,)
    side: Side
    step: float  # in log time
    factor: FloatArray  # (parts, draws) by which the log of wear rises in a step
    log_wear: FloatArray  # (parts, draws) cumulative hazard of a position at the first age
    at_one: FloatArray  # (parts, draws) hazard times age of all positions where that hazard is 1
    block: int  # steps, so many that their arrays stay small
    powers: FloatArray | None  # (block + 1, parts, draws) growth of wear; None beyond a float

    def __repr__(self) -> str:
        """Say the step."""
        return f"<_Climb: steps of {self.step:.3g}>"


def _prepare(side: SideLife, lives: LifeDraws, low: float, step: float) -> _Climb:
    """The powers that every block of steps needs."""
    block = max(1, BLOCK_CELLS // lives.shape.size)
    factor = lives.shape * step
    overflow = (block + 1) * factor.max() > LARGEST_FACTOR
    return _Climb(
        lives=lives,
        count=side.count,
        step=step,
        factor=factor,
        at_one=side.count[:, None] * lives.shape,
        log_wear=lives.shape * (np.log(low) - np.log(lives.scale)),
        block=block,
        side=take_apart(lives, side.count),
        powers=None if overflow else running_powers(np.exp(factor), block + 1),
    )


def _start(climb: _Climb, times: FloatArray) -> SideIntegrals:
    """Integrals to be filled in, the first age done.

    All are laid into one array: memory of that size is then kept at hand for the next ladder.
    """
    parts, draws = climb.lives.shape.shape
    every = np.empty((times.size, 2 * parts + 2, draws))
    known = SideIntegrals(
        times=times[:, None],
        survival=every[:, 2 * parts],
        hazard=every[:, :parts],
        incidence=every[:, parts : 2 * parts],
        uptime=every[:, 2 * parts + 1],
    )
    survival, rate = _live(climb, times[:1], 0.0)
    side = SideLife(lives=climb.lives, count=climb.count)
    gone = -np.log(np.maximum(survival, 1e-300))
    known.incidence[:1], known.uptime[:1] = below_first(
        side, known.times[:1], gone, rate / times[0]
    )
    return known


def _climb(climb: _Climb, known: SideIntegrals, first: int, last: int) -> None:
    """Fill in survival and hazard from one row to another, and what each step between adds."""
    step, times, steps = climb.step, known.times[first : last + 1, 0], slice(first + 1, last + 1)
    survival, rate = _live(climb, times, float(first))
    known.survival[first : last + 1] = survival
    np.multiply(rate, (1.0 / times)[:, None, None], out=known.hazard[first : last + 1])
    survival *= step / 12.0
    rate *= survival[:, None]
    survival *= times[:, None]
    incidence = np.add(rate[:-1], rate[1:], out=known.incidence[steps])
    uptime = np.add(survival[:-1], survival[1:], out=known.uptime[steps])
    for share in INNER:
        inner = times[:-1] * np.exp(share * step)
        survival, rate = _live(climb, inner, first + share)
        survival *= 5.0 / 12.0 * step
        rate *= survival[:, None]
        incidence += rate
        survival *= inner[:, None]
        uptime += survival
    for row in range(first + 1, last + 1):
        known.incidence[row] += known.incidence[row - 1]
        known.uptime[row] += known.uptime[row - 1]


def _live(climb: _Climb, times: FloatArray, steps: float) -> tuple[FloatArray, FloatArray]:
    """Survival of the side (times, draws) and hazard times age by part (times, parts, draws).

    The first of the times is so many steps from where the ladder begins.
    """
    rate = _wear(climb, times.size, steps)
    return live_through(climb.side, times[:, None], rate), rate


def _wear(climb: _Climb, size: int, steps: float) -> FloatArray:
    """Hazard times age of wear of the positions, (size, parts, draws), from some steps on."""
    first = climb.log_wear + steps * climb.factor
    if climb.powers is None:
        logs = first + np.arange(size)[:, None, None] * climb.factor
        return np.asarray(climb.at_one * np.exp(np.minimum(logs, LARGEST_LOG)))
    first = climb.at_one * np.exp(np.minimum(first, LARGEST_LOG))
    return np.asarray(climb.powers[:size] * first)
