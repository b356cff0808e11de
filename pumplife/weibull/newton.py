"""Newton's climb on two parameters of many groups at once, from a start near the summit."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from pumplife.weibull.arrays import Bools, Floats

Look = Callable[[Floats], tuple[Floats, Floats, Floats]]

ROUNDS = 60
ARRIVED = 1e-6  # gain in log-likelihood still promised, below which a group has arrived
LEAST_BEND = 1e-9


def climb_pairs(
    look: Look, place: Floats, largest: Callable[[Floats], Floats], *, settled: float = 1e-10
) -> tuple[Floats, Floats, Bools]:
    """Return place (groups, 2), value (groups,) and which groups have arrived.

    look gives the value, its slope (groups, 2) and bend (groups, 2, 2) at a place; largest gives
    the largest step in each direction from there. Bends are made to point downwards, a step that
    doesn't gain is shortened, and the climb ends when no group promises a gain above `settled`.
    """
    value, slope, bend = look(place)
    pace, promise = np.ones(len(place)), np.full(len(place), np.inf)
    for _ in range(ROUNDS):
        step = _uphill(slope, bend)
        promise = np.einsum("gi,gi->g", slope, step)
        if bool((~(promise >= settled) | (pace < 1e-8)).all()):
            break
        excess = np.max(np.abs(step) / largest(place), axis=1)
        trial = place + (pace / np.maximum(1.0, excess))[:, None] * step
        new = look(trial)
        better = new[0] >= value
        place = np.where(better[:, None], trial, place)
        value = np.where(better, new[0], value)
        slope = np.where(better[:, None], new[1], slope)
        bend = np.where(better[:, None, None], new[2], bend)
        pace = np.where(better, np.minimum(1.0, 2.0 * pace), 0.25 * pace)
    return place, value, promise < ARRIVED


def _uphill(slope: Floats, bend: Floats) -> Floats:
    """Return Newton's step, the bend's eigenvalues made to point downwards.

    For a symmetric matrix (a, b; b, d) with eigenvalues m + r and m - r, the step is worked out
    from the projections on the two eigenvectors.
    """
    a, b, d = -bend[:, 0, 0], -bend[:, 0, 1], -bend[:, 1, 1]
    middle, half = 0.5 * (a + d), 0.5 * (a - d)
    reach = np.hypot(half, b)
    high = np.maximum(np.abs(middle + reach), LEAST_BEND)
    low = np.maximum(np.abs(middle - reach), LEAST_BEND)
    sure = np.where(reach > 0.0, reach, 1.0)
    mean, gap = 0.5 * (1.0 / high + 1.0 / low), 0.5 * (1.0 / high - 1.0 / low)
    along, across = gap * half / sure, gap * b / sure
    first, second = slope[:, 0], slope[:, 1]
    return np.column_stack(
        [(mean + along) * first + across * second, across * first + (mean - along) * second]
    )
