"""How many of the positions of a side live, and how fast they fail, from how far they are worn."""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from pumplife.weibull.arrays import Floats
from pumplife.weibull.draws import LifeDraws


def live_through(
    lives: LifeDraws, count: Floats, times: Floats, wear: Floats
) -> tuple[Floats, Floats]:
    """Survival of the side, (times, draws), and hazard times age by part, (times, parts, draws).

    Parameters
    ----------
    lives : LifeDraws (parts, draws)
    count : float array (parts,)
        Positions of each part.
    times : float array (times, 1) or (times, draws)
        [usage]
    wear : float array (times, parts, draws)
        Cumulative hazard of wear of all positions of a part; what is handed back lies there.
    """
    early = (lives.early_share > 0.0).any(axis=1) & (count > 0.0)
    survival = np.einsum("tpd,p->td", wear, np.where(early, 0.0, -1.0))
    np.exp(survival, out=survival)
    wear *= lives.shape
    for part in np.flatnonzero(early):
        survival *= _with_early(lives[part], float(count[part]), times, wear[:, part])
    return survival, wear


def _with_early(life: LifeDraws, count: float, times: Floats, rate: Floats) -> Floats:
    """Survival of the positions of a part, some of which die early.

    `rate`, the hazard times age of wear alone, becomes that of both.
    """
    age = times * (1.0 / life.early_scale)
    worn = rate * (-1.0 / (count * life.shape))
    np.exp(worn, out=worn)
    worn *= 1.0 - life.early_share
    early = np.exp(-age)
    early *= life.early_share
    alive = worn + early
    early *= age
    early *= count
    rate *= worn
    rate += early
    rate /= np.maximum(alive, 1e-300)
    return _to_the(alive, count)


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
