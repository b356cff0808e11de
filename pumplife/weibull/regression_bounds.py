"""Likelihood-ratio bounds of the terms of a regression."""

from __future__ import annotations

import numpy as np

from pumplife.weibull.arrays import Floats
from pumplife.weibull.regression_climb import Summit, climb
from pumplife.weibull.regression_design import Design
from pumplife.weibull.regression_likelihood import RowLives

FARTHEST = 60.0  # standard errors within which a bound is looked for
CLOSE = 1e-9  # of the root of the deviance


def bound_terms(
    lives: RowLives, design: Design, summit: Summit, reach: float
) -> tuple[Floats, Floats]:
    """Return low and high (terms,), where the root of the deviance of each term is `reach`.

    The terms are per unit of the given columns, the intercept in units of the longest age.
    """
    ends = np.array(
        [
            [bound_term(lives, design, summit, combination, sign * reach) for sign in (-1.0, 1.0)]
            for combination in design.back
        ]
    )
    return ends[:, 0], ends[:, 1]


def bound_term(
    lives: RowLives, design: Design, summit: Summit, combination: Floats, reach: float
) -> float:
    """Return the value of a combination of terms at which the signed root is `reach`.

    The root is nearly straight, so that Newton's steps on it, kept inside their bracket, arrive in
    a few; every step climbs again with the combination held.
    """
    centre = float(combination @ summit.terms)
    across = summit.inverse @ combination
    error = float(np.sqrt(combination @ across))
    inner, outer = 0.0, np.sign(reach) * np.inf
    shift, terms = reach * error, summit.terms
    for _ in range(60):
        start = terms + across * (centre + shift - combination @ terms) / error**2
        there = climb(lives, design, start, combination)
        terms = there.terms
        root = np.sign(reach) * np.sqrt(max(0.0, 2.0 * (summit.value - there.value)))
        off = float(root - reach)
        if abs(off) < CLOSE:
            break
        inner, outer = (shift, outer) if off * reach < 0.0 else (inner, shift)
        slope = _root_slope(there, combination, float(root), error)
        shift = _next(shift, -off / slope, inner, outer, abs(reach) * error)
        if abs(shift) > FARTHEST * error * abs(reach):
            return float(np.sign(reach) * np.inf)
    return centre + shift


def _root_slope(there: Summit, combination: Floats, root: float, error: float) -> float:
    """Return how the root of the deviance changes with the combination's value."""
    across = there.inverse @ combination
    pull = float(there.gradient @ across) / float(combination @ across)
    return -pull / root if root else 1.0 / error


def _next(shift: float, step: float, inner: float, outer: float, unit: float) -> float:
    """Return the next shift: Newton's, or the middle of the bracket where that leaves it."""
    low, high = min(inner, outer), max(inner, outer)
    step = float(np.clip(step, -4.0 * unit, 4.0 * unit)) if np.isfinite(step) else np.inf
    target = shift + step
    if low < target < high:
        return target
    return 0.5 * (inner + outer) if np.isfinite(outer) else shift + np.sign(outer) * 2.0 * unit
