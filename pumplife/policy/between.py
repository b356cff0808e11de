"""What happens to a side by ages that lie between the rows of a ladder even in log time.

Incidence and uptime are read off the ten rows around an age, by the polynomial that has their
values and slopes: slopes are at hand, since the density of failures is hazard times survival.
"""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np

from pumplife.weibull.arrays import Floats

if TYPE_CHECKING:
    from pumplife.policy.pump import SideIntegrals

ROWS = 10  # whose values and slopes a polynomial goes through


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
    """Weights of the values of `ROWS` even rows, then of their slopes, (places, 2 ROWS).

    Those of the polynomial that has these values and slopes (Hermite, by Lagrange's factors).
    """
    gaps = place[:, None] - np.arange(ROWS)
    one = np.ones((place.size, 1))
    before = np.cumprod(np.concatenate([one, gaps[:, :-1]], axis=1), axis=1)
    after = np.cumprod(np.concatenate([one, gaps[:, :0:-1]], axis=1), axis=1)[:, ::-1]
    products, slopes = _factors()
    square = (before * after / products) ** 2
    return np.concatenate([(1.0 - 2.0 * slopes * gaps) * square, gaps * square], axis=1)


@lru_cache(maxsize=1)
def _factors() -> tuple[Floats, Floats]:
    """Products of the distances of each row from the others, and sums of their inverses."""
    rows = np.arange(float(ROWS))
    gaps = rows[:, None] - rows + np.eye(ROWS)
    return gaps.prod(axis=1), (1.0 / gaps).sum(axis=1) - 1.0
