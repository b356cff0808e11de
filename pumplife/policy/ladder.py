"""A ladder of ages even in log time: what happens to a side by each, with hardly a power taken.

On such a ladder the cumulative hazard of a Weibull part is a running product: one power for the
first age and one for the step, then multiplications, and one exponential per age and draw.
"""

from __future__ import annotations

import numpy as np

from pumplife.policy.pump import (
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
LARGEST_FACTOR = 700.0  # log of what a running product may be multiplied by
LARGEST_LOG = 460.0  # of a cumulative hazard: nothing survives it, and it is far from overflow


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
    low, high = _ends(side.lives, side.count[:, None])
    steps = _count_steps(side.lives, np.log(high / low), widest)
    step = np.log(high / low) / steps
    times = low * np.exp(step * np.arange(steps + 1))
    column = times[:, None]
    survival, rate = _live(side, times, step)
    incidence, uptime = np.empty_like(rate), np.empty_like(survival)
    hazard = rate / column[:, None]
    incidence[:1], uptime[:1] = below_first(
        side, column[:1], -np.log(np.maximum(survival[:1], 1e-300)), hazard[:1]
    )
    rate *= (step / 12.0) * survival[:, None]
    running = (step / 12.0) * column * survival
    np.add(rate[:-1], rate[1:], out=incidence[1:])
    np.add(running[:-1], running[1:], out=uptime[1:])
    for share in INNER:
        inner = times[:-1] * np.exp(share * step)
        alive, rate = _live(side, inner, step)
        alive *= 5.0 / 12.0 * step
        rate *= alive[:, None]
        incidence[1:] += rate
        uptime[1:] += inner[:, None] * alive
    for row in range(1, times.size):
        incidence[row] += incidence[row - 1]
        uptime[row] += uptime[row - 1]
    return SideIntegrals(
        times=column,
        survival=survival,
        hazard=hazard,
        incidence=share_failures(incidence, 1.0 - survival),
        uptime=uptime,
    )


def _ends(lives: LifeDraws, count: FloatArray) -> tuple[float, float]:
    """First and last age [usage], by the part that fails first and bounds of its hazard."""
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


def _live(side: SideLife, times: FloatArray, step: float) -> tuple[FloatArray, FloatArray]:
    """Survival of the side (times, draws) and hazard times age by part (times, parts, draws)."""
    lives, count = side.lives, side.count[:, None]
    assert isinstance(lives, LifeDraws), "asked before"
    first = lives.shape * (np.log(times[0]) - np.log(lives.scale))
    wear = _running_product((count, first), lives.shape * step, times.size)
    early = (lives.early_share > 0.0).any(axis=1) & (side.count > 0.0)
    survival = np.exp(-np.einsum("tpd,p->td", wear, np.where(early, 0.0, 1.0)))
    wear *= lives.shape
    for part in np.flatnonzero(early):
        alive, wear[:, part] = _with_early(
            lives[part], side.count[part], times[:, None], wear[:, part]
        )
        survival *= alive
    return survival, wear


def _running_product(
    start: tuple[FloatArray, FloatArray], factor: FloatArray, size: int
) -> FloatArray:
    """Multiples of numbers whose logs rise evenly, (size, ...).

    From how many of them, the log of the first and that of the factor: by doubling; where the
    first or a factor leaves the range of a float, by an exponential each.
    """
    count, first = start
    if first.min() < -LARGEST_LOG or 2.0 * size * factor.max() > LARGEST_FACTOR:
        steps = np.arange(size).reshape(-1, *(1,) * first.ndim)
        return np.asarray(count * np.exp(np.minimum(first + steps * factor, LARGEST_LOG)))
    out = np.empty((size, *first.shape))
    out[0], times, done = count * np.exp(first), np.exp(factor), 1
    while done < size:
        more = min(done, size - done)
        np.multiply(out[:more], times, out=out[done : done + more])
        done, times = done + more, times * times
    return out


def _with_early(
    life: LifeDraws, count: float, times: FloatArray, rate: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Survival and hazard times age of the positions of a part, some of which die early.

    `rate` is the hazard times age of wear alone.
    """
    age = times / life.early_scale
    worn = (1.0 - life.early_share) * np.exp(rate / (-count * life.shape))
    early = life.early_share * np.exp(-age)
    alive = worn + early
    rate = (worn * rate + count * early * age) / np.maximum(alive, 1e-300)
    return _to_the(alive, count), rate


def _to_the(base: FloatArray, count: float) -> FloatArray:
    """A power, by multiplications where it is a whole one, as the number of positions is."""
    if not float(count).is_integer():
        return np.asarray(base**count)
    out, left = np.ones_like(base), int(count)
    while left:
        out = out * base if left % 2 else out
        base, left = base * base, left // 2
    return out
