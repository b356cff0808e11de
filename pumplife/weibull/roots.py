"""Many one-dimensional roots at once."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from pumplife.weibull.arrays import Floats

Curve = Callable[[Floats], tuple[Floats, Floats]]


def find_roots(
    curve: Curve,
    start: Floats,
    low: Floats,
    high: Floats,
    *,
    tolerance: float = 1e-13,
    iterations: int = 80,
) -> Floats:
    """Return where falling curves cross zero, by Newton steps that never leave their bracket.

    Parameters
    ----------
    curve : callable
        Takes positions (n,) and returns values and slopes (n,); values are positive below the
        root and negative above it.
    start, low, high : arrays (n,)
        First guess and bracket of every root.
    tolerance : float
        Largest last step allowed, relative to 1 + the size of the root.
    iterations : int
        Most evaluations; a curve that needs more keeps its last position.
    """
    position = np.clip(start, low, high)
    low, high = low.copy(), high.copy()
    for _ in range(iterations):
        value, slope = curve(position)
        low = np.where(value > 0, position, low)
        high = np.where(value < 0, position, high)
        with np.errstate(all="ignore"):
            target = position - value / slope
        inside = (target >= low) & (target <= high)
        target = np.where(inside, target, 0.5 * (low + high))
        target = np.where(value == 0, position, target)
        moved = np.abs(target - position)
        position = target
        if bool((moved <= tolerance * (1.0 + np.abs(position))).all()):
            break
    return position
