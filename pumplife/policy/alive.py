"""How many of the positions of a side live, and how fast they fail, from how far they are worn."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from pumplife.weibull.arrays import Floats, Ints
from pumplife.weibull.draws import LifeDraws


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class EarlyPart:
    """A part of which some positions die early."""

    part: int
    count: float  # positions
    share: Floats  # (draws,) of early lives
    fade: Floats  # (draws,) log of what is left of worn positions, for their hazard times age
    begun: Floats  # (draws,) the same before any wear
    rate: Floats  # (draws,) early failures of all positions while all are new [1 / usage unit]
    scales: Floats  # (scales,) different mean early lives [usage]
    scale_of: Ints  # (draws,) which of them

    def __repr__(self) -> str:
        """Name the part by its place."""
        return f"<EarlyPart {self.part}>"

    def alive(self, times: Floats) -> Floats:
        """Share that dies early and still lives, (times, draws)."""
        if times.shape[1] > 1:
            early = np.exp(-times / self.scales[self.scale_of])
        else:
            early = np.exp(-times / self.scales).take(self.scale_of, axis=1)
        early *= self.share
        return np.asarray(early)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Side:
    """What of the lives of a side's parts is needed again and again.

    Attributes
    ----------
    fall : float array (parts, draws)
        Log of survival for each hazard times age of wear; 0 for parts with early lives.
    early : tuple of EarlyPart
        The parts with early lives.
    """

    fall: Floats
    early: tuple[EarlyPart, ...]

    def __repr__(self) -> str:
        """Count the parts."""
        return f"<Side: {len(self.fall)} parts, {len(self.early)} with early lives>"


def take_apart(lives: LifeDraws, count: Floats) -> Side:
    """The parts with early lives, each with its few different means, and those without."""
    some = (lives.early_share > 0.0).any(axis=1) & (count > 0.0)
    found = []
    for part in np.flatnonzero(some):
        scales, scale_of = np.unique(lives.early_scale[part], return_inverse=True)
        found.append(
            EarlyPart(
                part=int(part),
                count=float(count[part]),
                share=lives.early_share[part],
                fade=-1.0 / (count[part] * lives.shape[part]),
                begun=np.log1p(-np.minimum(lives.early_share[part], 1.0 - 1e-16)),
                rate=count[part] / lives.early_scale[part],
                scales=scales,
                scale_of=scale_of,
            )
        )
    return Side(fall=np.where(some[:, None], 0.0, -1.0 / lives.shape), early=tuple(found))


def live_through(side: Side, times: Floats, rate: Floats) -> Floats:
    """Survival of the side, (times, draws).

    Parameters
    ----------
    side : Side
    times : float array (times, 1) or (times, draws)
        [usage]
    rate : float array (times, parts, draws)
        Hazard times age of wear of all positions of a part; becomes that of early lives too.
    """
    survival: Floats = np.einsum("tpd,pd->td", rate, side.fall)
    np.exp(survival, out=survival)
    for one in side.early:
        survival *= _with_early(one, times, rate[:, one.part])
    return survival


def _with_early(life: EarlyPart, times: Floats, rate: Floats) -> Floats:
    """Survival of the positions of a part, some of which die early.

    `rate`, the hazard times age of wear alone, becomes that of both.
    """
    worn = rate * life.fade
    worn += life.begun
    np.exp(worn, out=worn)
    early = life.alive(times)
    rate *= worn
    worn += early
    np.maximum(worn, 1e-300, out=worn)
    early *= times
    early *= life.rate
    rate += early
    rate /= worn
    return _to_the(worn, life.count)


def _to_the(base: Floats, count: float) -> Floats:
    """A power, by multiplications where it is a whole one, as the number of positions is."""
    if not count.is_integer():
        return np.asarray(base**count)
    out, left = None, int(count)
    while left:
        if left % 2:
            out = base if out is None else out * base
        base, left = base * base if left > 1 else base, left // 2
    return np.ones_like(base) if out is None else out


def running_powers(base: Floats, size: int) -> Floats:
    """The powers 0, 1, 2 ... of some bases, (size, ...), by doubling."""
    out = np.empty((size, *base.shape))
    out[0], done = 1.0, 1
    while done < size:
        more = min(done, size - done)
        np.multiply(out[:more], base, out=out[done : done + more])
        done, base = done + more, base * base
    return out


def powers_of_numbers(exponent: Floats, size: int) -> Floats:
    """The numbers 0, 1, 2 ... to some powers above 0, (rows, size, draws).

    A power is taken for prime numbers only; the others' are products.

    Parameters
    ----------
    exponent : float array (rows, draws)
    size : int
    """
    out = np.empty((exponent.shape[0], size, exponent.shape[1]))
    out[:, 0], out[:, 1:2] = 0.0, 1.0
    for number, factor in enumerate(_least_factors(size)):
        if number < 2:
            continue
        if factor == number:
            np.exp(exponent * np.log(number), out=out[:, number])
        else:
            np.multiply(out[:, factor], out[:, number // factor], out=out[:, number])
    return out


@lru_cache(maxsize=64)
def _least_factors(size: int) -> tuple[int, ...]:
    """The least factor above 1 of each number below a size; of 0 and 1 themselves."""
    least = list(range(size))
    for number in range(int(size**0.5), 1, -1):
        least[number * number :: number] = [number] * len(least[number * number :: number])
    return tuple(least)
