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
FRESH = 1e-3  # share of the mean early life up to which early failures come evenly
WIDEST = 0.5  # of a step in log time, times the shape: what the quadrature is exact for
FEWEST_STEPS, MOST_STEPS = 64, 256
INNER = (0.5 - 0.05**0.5, 0.5 + 0.05**0.5)  # Lobatto nodes within a step, as shares of it
DEAD = 1e200  # a cumulative hazard that nothing survives, still far from overflow


def integrate_ladder(side: SideLife) -> SideIntegrals:
    """Survival, incidence by part and uptime on one ladder of ages for all draws.

    From where hardly a draw has a failure to where hardly a draw has a survivor. Weibull lives,
    with or without early ones, go by running products and Gauss-Lobatto of four nodes in log
    time; any other life by `integrate_side`.

    Parameters
    ----------
    side : SideLife

    Returns
    -------
    SideIntegrals
        Times are (times, 1), 65 to 257 of them.
    """
    if not isinstance(side.lives, LifeDraws):
        return integrate_side(side, shared_times(side))
    low, high = _ends(side.lives, side.count[:, None])
    steps = _count_steps(side.lives, np.log(high / low))
    step = np.log(high / low) / steps
    times = low * np.exp(step * np.arange(steps + 1))
    cumulative, rate = _hazards(side, times, step)
    survival = np.exp(-cumulative)
    failing, running = rate * survival[:, None], times[:, None] * survival
    fall, stay = failing[:-1] + failing[1:], running[:-1] + running[1:]
    for share in INNER:
        inner = times[:-1] * np.exp(share * step)
        inside, inside_rate = _hazards(side, inner, step)
        alive = np.exp(-inside)
        fall += 5.0 * (inside_rate * alive[:, None])
        stay += 5.0 * (inner[:, None] * alive)
    hazard = rate / times[:, None, None]
    column = times[:, None]
    first = below_first(side, column[:1], cumulative[:1], hazard[:1])
    incidence, uptime = (
        np.cumsum(np.concatenate([start, step / 12.0 * within]), axis=0)
        for start, within in zip(first, (fall, stay), strict=True)
    )
    return SideIntegrals(
        times=column,
        survival=survival,
        hazard=hazard,
        incidence=share_failures(incidence, cumulative),
        uptime=uptime,
    )


def _ends(lives: LifeDraws, count: FloatArray) -> tuple[float, float]:
    """First and last age [usage], by the part that fails first and bounds of its hazard."""
    early = np.where(lives.early_share > 0.0, lives.early_scale, np.nan)
    with np.errstate(divide="ignore"):
        first = lives.scale * (LEAST / (count * len(count))) ** (1.0 / lives.shape)
        last = lives.scale * (MOST / count) ** (1.0 / lives.shape)
        last_early = early * MOST / count
    low = np.fmin(first, early * FRESH).min(axis=0)
    high = np.fmax(last, last_early).min(axis=0)
    return float(np.quantile(low, 0.05)), float(high.max())


def _count_steps(lives: LifeDraws, span: float) -> int:
    """As many steps as the steepest lives ask for."""
    steep = float(np.quantile(lives.shape, 0.95))
    return int(np.clip(np.ceil(span * steep / WIDEST), FEWEST_STEPS, MOST_STEPS))


def _hazards(side: SideLife, times: FloatArray, step: float) -> tuple[FloatArray, FloatArray]:
    """Cumulative hazard (times, draws) and hazard times age by part (times, parts, draws)."""
    lives, count = side.lives, side.count[:, None]
    assert isinstance(lives, LifeDraws), "asked before"
    first = np.exp(lives.shape * (np.log(times[0]) - np.log(lives.scale)))
    wear = _running_product(count * first, np.exp(lives.shape * step), times.size)
    rate = lives.shape * wear
    dying_early = (lives.early_share > 0.0).any(axis=1) & (side.count > 0.0)
    for part in np.flatnonzero(dying_early):
        wear[:, part], rate[:, part] = _with_early(
            lives[part], side.count[part], times[:, None], wear[:, part]
        )
    return wear.sum(axis=1), rate


def _running_product(first: FloatArray, factor: FloatArray, size: int) -> FloatArray:
    """First, first x factor, first x factor squared ..., (size, ...), by doubling."""
    out = np.empty((size, *first.shape))
    out[0], done = first, 1
    with np.errstate(over="ignore", under="ignore"):
        while done < size:
            more = min(done, size - done)
            np.multiply(out[:more], factor, out=out[done : done + more])
            done, factor = done + more, factor * factor
    return out if out[-1].max() < DEAD else np.minimum(out, DEAD)


def _with_early(
    life: LifeDraws, count: float, times: FloatArray, wear: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Both for the positions of one part, some of which die early; `wear` is what it was."""
    age = times / life.early_scale
    worn = (1.0 - life.early_share) * np.exp(-wear / count)
    early = life.early_share * np.exp(-age)
    alive = worn + early
    some = alive > 1e-300
    alive = np.where(some, alive, 1.0)
    cumulative = np.where(some, -count * np.log(alive), wear)
    rate = life.shape * wear
    early *= count * age
    return cumulative, np.where(some, (worn * rate + early) / alive, rate)
