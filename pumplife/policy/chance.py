"""Chance that a pump side of today's ages fails within some more usage; chances in words."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pumplife.policy.pump import FloatArray
from pumplife.policy.simulate import wear_area
from pumplife.weibull.draws import LifeDraws

MOST_DRAWS = 200
BLOCK_CELLS = 2_000_000  # pumps x positions x draws held at once


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PositionAges:
    """Ages of the positions of some pumps.

    Attributes
    ----------
    age : float array (pumps, positions)
        [usage]; where not known, the least that it can be.
    known : bool array (pumps, positions)
    most : float array (pumps, positions)
        The most that an unknown age can be [usage]; inf where nothing bounds it.
    """

    age: FloatArray
    known: np.ndarray[tuple[int, int], np.dtype[np.bool_]]
    most: FloatArray

    def __repr__(self) -> str:
        """Say the size."""
        return f"<PositionAges: {self.age.shape} pumps x positions>"


def failure_chance(
    lives: LifeDraws, ages: PositionAges, usage: FloatArray, *, most_draws: int = MOST_DRAWS
) -> tuple[FloatArray, FloatArray]:
    """Posterior probability that some position fails within more usage, and which it is.

    Parameters
    ----------
    lives : LifeDraws (positions, draws)
    ages : PositionAges
        An age that isn't known counts as the stationary age beyond its minimum, density
        proportional to survival.
    usage : float array (spans, pumps)
        [usage]
    most_draws : int
        Draws beyond this number are thinned.

    Returns
    -------
    chance : float array (spans, pumps)
    share : float array (spans, pumps, positions)
        Share of each position in it, by its own chance.
    """
    step = max(1, lives.shape.shape[1] // most_draws)
    thinned = lives[:, ::step]
    block = max(1, BLOCK_CELLS // thinned.shape.size)
    starts = range(0, ages.age.shape[0], block)
    parts = [_block_chance(thinned, ages, usage, slice(at, at + block)) for at in starts]
    chance, own = (np.concatenate(column, axis=1) for column in zip(*parts, strict=True))
    total = own.sum(axis=2, keepdims=True)
    return chance, np.divide(own, total, out=np.zeros_like(own), where=total > 0.0)


def _block_chance(
    lives: LifeDraws, ages: PositionAges, usage: FloatArray, pumps: slice
) -> tuple[FloatArray, FloatArray]:
    """Failure chance of some pumps, (spans, pumps), and of their positions."""
    age = ages.age[pumps, :, None]
    more = usage[:, pumps, None, None]
    pump, position = np.nonzero(~ages.known[pumps])
    with np.errstate(all="ignore"):
        now = lives.survival(age)
        left = np.stack([lives.survival(age + span) for span in more]) / now
        left = np.where(now > 0.0, left, 0.0)
    if pump.size:
        least = ages.age[pumps][pump, position][:, None]
        spans = usage[:, pumps][:, pump][..., None]
        most = ages.most[pumps][pump, position][:, None]
        left[:, pump, position] = _stationary_left(lives[position], least, spans, most)
    return 1.0 - left.prod(axis=2).mean(axis=-1), 1.0 - left.mean(axis=-1)


def _stationary_left(
    lives: LifeDraws, least: FloatArray, spans: FloatArray, most: FloatArray
) -> FloatArray:
    """Chance to last `spans` more of parts whose age is only known to exceed `least`.

    The integral of survival over the ages later, over that of the ages now.
    """
    upper = np.maximum(most, 1.001 * least + 1e-6)  # an age that is all but known

    def area(low: FloatArray, high: FloatArray) -> FloatArray:
        worn = (1.0 - lives.early_share) * wear_area(lives.shape, lives.scale, low, high)
        ones = np.ones_like(lives.shape)
        return worn + lives.early_share * wear_area(ones, lives.early_scale, low, high)

    with np.errstate(all="ignore"):
        now = area(least, upper)
        later = np.stack([area(least + span, upper + span) for span in spans])
        return np.where(now > 0.0, later / now, 0.0)


def say_chance(share: float) -> str:
    """Say a chance counted from some hundred draws, which can't tell half a percent from nothing.

    Parameters
    ----------
    share : float
        The chance [1].

    Returns
    -------
    str
        "94 %", "under 1 %", "over 99 %".
    """
    if share < 0.005:
        return "under 1 %"
    return "over 99 %" if share > 0.995 else f"{100.0 * share:.0f} %"
