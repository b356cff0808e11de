"""Look things up along time within groups: which row holds at a day, and lines between points."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

_REACH = 1.0e6
"""Days on either side of 1970-01-01 that a key can tell apart [day]."""


def time_key(group: ArrayLike, day: ArrayLike) -> Floats:
    """Join group and day into one number that sorts by group, then day.

    Parameters
    ----------
    group : int array
        Codes from 0.
    day : float array
        [day]; infinities count as the far past and future.
    """
    near = np.clip(np.asarray(day, dtype=np.float64), -_REACH, _REACH)
    return np.asarray(group, dtype=np.float64) * (4 * _REACH) + near


def row_at(keys: Floats, group: ArrayLike, day: ArrayLike) -> Ints:
    """Give the last row of the group that starts at or before a day.

    Parameters
    ----------
    keys : float array
        Sorted `time_key` of the rows' starts.
    group, day : array
        The questions.

    Returns
    -------
    int array
        Row, or -1 where the group has no row that early or the day is NaN.
    """
    group, day = np.broadcast_arrays(np.asarray(group, dtype=np.int64), np.asarray(day, float))
    asked = time_key(group, np.nan_to_num(day))
    row = _count_until(keys, asked) - 1
    if not len(keys):
        return np.full(group.shape, -1, dtype=np.int64)
    owner = np.floor((keys[np.maximum(row, 0)] + 2 * _REACH) / (4 * _REACH))
    return np.where((row >= 0) & (owner == group) & ~np.isnan(day), row, -1)


def _count_until(keys: Floats, asked: Floats) -> Ints:
    """Count the sorted keys up to each number; many sorted numbers are counted along the keys."""
    if asked.ndim == 1 and len(asked) > 4 * len(keys) and bool((asked[1:] >= asked[:-1]).all()):
        begin = np.searchsorted(asked, keys, side="left")
        return np.cumsum(np.bincount(begin, minlength=len(asked) + 1)[: len(asked)])
    return np.searchsorted(keys, asked, side="right").astype(np.int64)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Course:
    """A quantity of each group that runs along time in straight pieces without jumps.

    Attributes
    ----------
    keys : float array, (pieces,)
        Sorted `time_key` of the first day of each piece; every group starts in the far past.
    first_day : float array, (pieces,)
        First day of each piece, finite [day].
    value : float array, (pieces,)
        The quantity on the first day of each piece.
    rate : float array, (pieces,)
        What it gains per day within the piece.
    """

    keys: Floats
    first_day: Floats
    value: Floats
    rate: Floats

    def __repr__(self) -> str:
        return f"Course({len(self.keys)} pieces)"

    def __call__(self, group: ArrayLike, day: ArrayLike) -> Floats:
        """Give the quantity of groups on days; NaN for an unknown group or day."""
        row = row_at(self.keys, group, day)
        safe = np.maximum(row, 0)
        near = np.clip(np.asarray(day, dtype=np.float64), -_REACH, _REACH)
        run = self.value[safe] + self.rate[safe] * (near - self.first_day[safe])
        return np.where(row >= 0, run, np.nan)


def build_course(group: Ints, first_day: Floats, rate: Floats) -> Course:
    """Join pieces, sorted by group and day, into a course that is 0 on 1970-01-01.

    Parameters
    ----------
    group : int array, (pieces,)
        Codes from 0.
    first_day : float array, (pieces,)
        First day of each piece, -inf for the first of a group [day].
    rate : float array, (pieces,)
        Gain per day within the piece.
    """
    near = np.clip(first_day, -_REACH, _REACH)
    gain = np.zeros(len(group))
    same = group[1:] == group[:-1]
    gain[1:] = np.where(same, rate[:-1] * (near[1:] - near[:-1]), 0.0)
    value = sum_within(group, gain)
    keys = time_key(group, near)
    raw = Course(keys=keys, first_day=near, value=value, rate=rate)
    origin = raw(group, np.zeros(len(group)))
    return Course(keys=keys, first_day=near, value=value - origin, rate=rate)


def sum_within(group: Ints, gain: Floats) -> Floats:
    """Cumulate gains within groups whose rows stand together.

    Parameters
    ----------
    group : int array, (n,)
        Sorted codes.
    gain : float array, (n,)
        Gain at each row; the first of a group counts.
    """
    if not len(group):
        return np.zeros(0)
    total = np.cumsum(gain)
    first = np.flatnonzero(np.r_[True, group[1:] != group[:-1]])
    before = np.r_[0.0, total[first[1:] - 1]]
    within: Floats = total - np.repeat(before, np.diff(np.r_[first, len(group)]))
    return within
