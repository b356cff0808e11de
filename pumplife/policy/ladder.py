"""A ladder of ages even in log time: what happens to a side by each, with hardly a power taken.

On such a ladder the cumulative hazard of a Weibull part is a running product: one power for the
first age and one for the step, then multiplications, and one exponential per age and draw.
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import lru_cache

import numpy as np

from pumplife.policy.ages import shared_times
from pumplife.policy.alive import live_through, running_powers
from pumplife.policy.pump import (
    LARGEST_LOG,
    FloatArray,
    SideIntegrals,
    SideLife,
    below_first,
    integrate_side,
    share_failures,
)
from pumplife.weibull.draws import LifeDraws

LEAST, MOST = 1e-5, 30.0  # cumulative hazard of the side where a ladder begins and ends
LOW = 1e-3  # what no draw's may have passed where it begins
FRESH = 1e-3  # share of the mean early life up to which early failures come evenly
WIDEST = 0.5  # of a step in log time, times the shape: what the quadrature is exact for
FEWEST_STEPS, MOST_STEPS = 64, 256
NEAR = 13  # half steps around a step that it is integrated by: an odd number
LARGEST_FACTOR = 230.0  # log of what a hazard may be multiplied by within a block of steps
BLOCK_CELLS = 25_000  # steps x parts x draws taken at once: arrays that a processor holds near


def integrate_ladder(side: SideLife, *, widest: float = WIDEST) -> SideIntegrals:
    """Survival, incidence by part and uptime on one ladder of ages for all draws.

    From where hardly a draw has a failure to where hardly a draw has a survivor. Weibull lives,
    with or without early ones, go by running products and polynomials through the half steps
    around each step; any other life by `integrate_side`.

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
    half = float(np.log(high / low)) / (2 * steps)
    ages = low * np.exp(half * np.arange(2 * steps + 1))
    known, flow = _lay_out(ages[::2], side.lives.shape.shape)
    _fill_in(side, side.lives, ages, half, (known, flow))
    gone = -np.log(np.maximum(known.survival[:1], 1e-300))
    known.incidence[:1], known.uptime[:1] = below_first(
        side, known.times[:1], gone, known.hazard[:1]
    )
    for row in range(steps):
        flow[row + 1] += flow[row]
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

    young = np.fmin(reaching(LEAST / len(count)), early * FRESH).min(axis=0)
    usual = _lower_than(young, 0.05)
    fastest = reaching(LOW / len(count)).min()
    with np.errstate(divide="ignore"):
        last = np.fmax(reaching(MOST), early * MOST / count).min(axis=0)
    return float(min(usual, fastest)), float(last.max())


def _count_steps(lives: LifeDraws, span: float, widest: float) -> int:
    """As many steps as the steepest lives ask for."""
    steep = -_lower_than(-lives.shape.ravel(), 0.05)
    fewest = int(FEWEST_STEPS * min(1.0, WIDEST / widest))
    return int(np.clip(np.ceil(span * steep / widest), fewest, MOST_STEPS))


def _lower_than(values: FloatArray, share: float) -> float:
    """One of the values, such that about a share of them is lower."""
    place = int(share * values.size)
    return float(np.partition(values, place)[place])


def _lay_out(times: FloatArray, size: tuple[int, ...]) -> tuple[SideIntegrals, FloatArray]:
    """Integrals to be filled in, and incidence and uptime together, (times, parts + 1, draws).

    All are laid into one array: memory of that size is then kept at hand for the next ladder.
    """
    parts, draws = size
    every = np.empty((times.size, 2 * parts + 2, draws))
    known = SideIntegrals(
        times=times[:, None],
        survival=every[:, parts],
        hazard=every[:, :parts],
        incidence=every[:, parts + 1 : -1],
        uptime=every[:, -1],
        even=True,
    )
    return known, every[:, parts + 1 :]


def _fill_in(
    side: SideLife,
    lives: LifeDraws,
    ages: FloatArray,
    half: float,
    into: tuple[SideIntegrals, FloatArray],
) -> None:
    """Fill in survival and hazard at every other age, and what each step between adds."""
    known, flow = into
    block = 2 * max(NEAR // 2 + 1, BLOCK_CELLS // (2 * lives.shape.size))
    weights, apart, done, old = _weights(len(flow) - 1), side.apart, 0, NEAR + 1
    density = np.zeros((old + block, *flow.shape[1:]))
    for first, rate in _wear(lives, side.count, ages, half, block):
        stop = first + len(rate)
        rows, age = slice(first // 2, (stop + 1) // 2), ages[first:stop, None]
        survival = live_through(apart, age, rate)
        known.survival[rows] = survival[::2]
        np.multiply(rate[::2], 1.0 / age[::2, None], out=known.hazard[rows])
        survival *= half
        density[:old] = density[block:]
        np.multiply(rate, survival[:, None], out=density[old : old + len(rate), :-1])
        np.multiply(survival, age, out=density[old : old + len(rate), -1])
        ready = len(flow) - 1 if stop == ages.size else (stop - NEAR // 2) // 2 - 1
        begin = max(0, first - old)
        near = density[old - (first - begin) : old + len(rate)]
        np.matmul(
            weights[done:ready, begin:stop],
            near.reshape(len(near), -1),
            out=flow[done + 1 : ready + 1].reshape(ready - done, -1),
        )
        done = ready


def _wear(
    lives: LifeDraws, count: FloatArray, ages: FloatArray, half: float, block: int
) -> Iterator[tuple[int, FloatArray]]:
    """Hazard times age of wear of the positions, (block, parts, draws), block by block."""
    factor = lives.shape * half
    at_one = count[:, None] * lives.shape
    log_wear = lives.shape * (np.log(ages[0]) - np.log(lives.scale))
    overflow = block * factor.max() > LARGEST_FACTOR
    powers = None if overflow else running_powers(np.exp(factor), block)
    for first in range(0, ages.size, block):
        size = min(block, ages.size - first)
        logs = log_wear + first * factor
        if powers is None:
            logs = logs + np.arange(size)[:, None, None] * factor
            yield first, at_one * np.exp(np.minimum(logs, LARGEST_LOG))
        else:
            yield first, powers[:size] * (at_one * np.exp(np.minimum(logs, LARGEST_LOG)))


@lru_cache(maxsize=16)
def _weights(steps: int) -> FloatArray:
    """Weights of each age in the integral over each step, by the polynomial around it.

    Two ages to a step, (steps, 2 steps + 1) [steps between ages]; beyond the last nothing lives.
    """
    start = 2 * np.arange(steps)
    first = np.maximum(start + 1 - NEAR // 2, 0)
    weights = np.zeros((steps, 2 * steps + 1 + NEAR))
    np.put_along_axis(weights, first[:, None] + np.arange(NEAR), _shares()[start - first], axis=1)
    return weights[:, : 2 * steps + 1]


@lru_cache(maxsize=1)
def _shares() -> FloatArray:
    """Weights of `NEAR` even points in the integral from each of them to the next but one.

    That of the polynomial through all, (points - 2, points) [steps between the points].
    """
    middle = NEAR // 2
    place = (np.arange(NEAR) - middle) / middle
    power = np.arange(NEAR)[:, None]
    integral = (place[2:] ** (power + 1) - place[:-2] ** (power + 1)) / (power + 1)
    return np.asarray(middle * np.linalg.solve(place**power, integral).T)
