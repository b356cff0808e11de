"""How far an interval may move before it costs much more than the best."""

from __future__ import annotations

import numpy as np
from scipy.interpolate import CubicSpline

from pumplife.policy.pump import FloatArray

FINER = 8  # ages looked at for one of the ladder
NEAR_BEST = 1.05  # the near-best band reaches to this multiple of the least cost


def near_best_bands(
    times: FloatArray, expected: FloatArray, advised: tuple[float, float], limit: float
) -> tuple[tuple[float, float], ...]:
    """Stretches where the expected cost rate is within 5 % of that of the advice [usage].

    The upper end is inf where the curve never leaves the stretch again.  None goes beyond the
    limit; the interval lies in one of them.
    """
    interval, best = advised
    times, expected = _refine(times, expected)
    if np.isfinite(interval):
        at = int(np.searchsorted(times, interval))
        times, expected = np.insert(times, at, interval), np.insert(expected, at, best)
    level = NEAR_BEST * best
    inside = np.concatenate([[False], expected <= level, [False]])
    starts = np.flatnonzero(inside[1:-1] & ~inside[:-2])
    ends = np.flatnonzero(inside[1:-1] & ~inside[2:])
    bands = []
    for start, end in zip(starts, ends, strict=True):
        low = _crossing(times, expected, int(start) - 1, level) if start else float(times[0])
        last = end == times.size - 1
        high = np.inf if last else _crossing(times, expected, int(end), level)
        bands.append((low, min(high, limit)))
    kept = tuple(band for band in bands if band[0] <= band[1])
    return kept or ((interval, interval),)


def _refine(times: FloatArray, expected: FloatArray) -> tuple[FloatArray, FloatArray]:
    """The curve at some ages between each two, by a spline in log age."""
    places = np.log(times)
    fine = np.interp(np.arange(0.0, times.size - 0.999, 1.0 / FINER), np.arange(times.size), places)
    return np.exp(fine), np.asarray(CubicSpline(places, expected)(fine))


def _crossing(times: FloatArray, expected: FloatArray, row: int, level: float) -> float:
    """Age between rows `row` and `row + 1` where the curve crosses the level, in log time."""
    share = (level - expected[row]) / (expected[row + 1] - expected[row])
    return float(times[row] * (times[row + 1] / times[row]) ** share)
