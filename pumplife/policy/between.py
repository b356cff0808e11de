"""What happens to a side by ages that lie between the rows of a ladder even in log time.

Incidence and uptime are read off the eight rows around an age, by the polynomial that has their
values and slopes: slopes are at hand, since the density of failures is hazard times survival.
"""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np

from pumplife.weibull.arrays import Floats

if TYPE_CHECKING:
    from pumplife.policy.pump import SideIntegrals

ROWS = 8  # whose values and slopes a polynomial goes through


def read_between(known: SideIntegrals, ages: Floats) -> tuple[Floats, Floats]:
    """Incidence by part (ages, parts, draws) and uptime (ages, draws) at ages of all draws.

    Parameters
    ----------
    known : SideIntegrals
        On a ladder even in log time, at the end of which nothing lives: rows beyond are as the
        last.
    ages : float array (ages,)
        Within the ladder [usage].
    """
    logs = np.log(known.times[[0, -1], 0])
    step = (logs[1] - logs[0]) / (len(known.times) - 1)
    place = (np.log(ages) - logs[0]) / step
    last = len(known.times) - 1
    start = np.clip(place.astype(np.int64), ROWS // 2 - 1, last - 1) - (ROWS // 2 - 1)
    first = int(start.min())
    near = known[slice(first, int(start.max()) + ROWS)]
    weights = _weights(place - start)
    value, slope = np.zeros((2, ages.size, len(near.times)))
    row = np.minimum(start[:, None] + np.arange(ROWS), last) - first
    cells = np.arange(ages.size)[:, None], row
    np.add.at(value, cells, weights[:, :ROWS])
    np.add.at(slope, cells, weights[:, ROWS:] * step)
    living = near.survival * near.times
    failing = near.hazard * living[:, None]
    size = (ages.size, *near.incidence.shape[1:])
    flat = (len(near.times), -1)
    incidence = value @ near.incidence.reshape(flat) + slope @ failing.reshape(flat)
    return incidence.reshape(size), value @ near.uptime + slope @ living


def _weights(place: Floats) -> Floats:
    """Weights of the values of `ROWS` even rows, then of their slopes, (places, 2 ROWS)."""
    middle = 0.5 * (ROWS - 1)
    return np.asarray(((place - middle) / middle)[:, None] ** np.arange(2 * ROWS) @ _basis())


@lru_cache(maxsize=1)
def _basis() -> Floats:
    """Coefficients of the polynomial that has given values, and slopes by row, at even rows.

    By powers of the distance from their middle, half their span being 1, (2 ROWS, 2 ROWS).
    """
    middle = 0.5 * (ROWS - 1)
    rows, power = (np.arange(ROWS)[:, None] - middle) / middle, np.arange(2 * ROWS)
    slopes = power * rows ** np.maximum(power - 1, 0) / middle
    return np.asarray(np.linalg.inv(np.concatenate([rows**power, slopes])))
