"""Groups of lives on their way to an estimate: their maxima, and why some have none."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pumplife.weibull.arrays import Bools, Floats, Groups, Ints, LifeArrays, keep_groups
from pumplife.weibull.existence import (
    SHAPE_UP,
    find_plain_gaps,
    limit_at_infinity,
    limit_at_zero,
)
from pumplife.weibull.likelihood import LogLives, Point, build_log_lives
from pumplife.weibull.peak import find_covariance, find_peak, name_runaway


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class Peaks:
    """The maximum of the likelihood of some groups that all have one.

    Attributes
    ----------
    where : array (groups,)
        Places of these groups among all groups of the call.
    lives, groups : LifeArrays, Groups
        Their lives.
    logs : LogLives
        The same in logarithms.
    log_shape, theta : arrays (groups,)
        Where the maximum is; theta = -shape log(scale / longest life).
    point : Point
        The log-likelihood there.
    covariance : array (groups, 2, 2)
        Of (log scale, log shape).
    ends : pair of arrays (groups,)
        Limits of the maximised log-likelihood as shape goes to zero and to infinity.
    """

    where: Ints
    lives: LifeArrays
    groups: Groups
    logs: LogLives
    log_shape: Floats
    theta: Floats
    point: Point
    covariance: Floats
    ends: tuple[Floats, Floats]

    def __repr__(self) -> str:
        return f"Peaks({len(self.where)} groups)"

    def log_scale(self) -> Floats:
        """Return log(scale / longest life) at the maximum."""
        return np.asarray(-self.theta / np.exp(self.log_shape))

    def spread(self) -> Floats:
        """Return the standard error of log shape."""
        error = np.sqrt(self.covariance[:, 1, 1])
        return np.nan_to_num(error, nan=1.0, posinf=1.0)


def find_peaks(lives: LifeArrays, groups: Groups, reason: NDArray[Any]) -> Iterator[Peaks]:
    """Yield the maxima batch by batch, and write into `reason` why other groups have none.

    Groups of exact and suspended lives seen from new go apart from the others, which need more
    work. Lives are sorted by group, without rows of weight 0.
    """
    reason[:] = find_plain_gaps(lives, groups)
    special_rows = (lives.lower < lives.upper) & np.isfinite(lives.upper)
    if lives.entry is not None:
        special_rows |= lives.entry > 0.0
    hard = np.zeros(len(groups.labels), dtype=bool)
    hard[groups.code[special_rows]] = True
    ready = reason == ""
    for kept in (ready & ~hard, ready & hard):
        if kept.any():
            where = np.flatnonzero(kept)
            found = _find_batch(where, *keep_groups(lives, groups, kept), reason)
            if found is not None:
                yield found


def _find_batch(
    where: Ints, lives: LifeArrays, groups: Groups, reason: NDArray[Any]
) -> Peaks | None:
    """Return the maxima of groups of one kind, or None where none of them has one."""
    logs = build_log_lives(lives, groups)
    steep = limit_at_infinity(logs) == np.inf
    if steep.any():
        reason[where[steep]] = SHAPE_UP
        where = where[~steep]
        if not len(where):
            return None
        lives, groups = keep_groups(lives, groups, ~steep)
        logs = build_log_lives(lives, groups)
    log_shape, theta, point = find_peak(logs)
    ends = limit_at_zero(logs), limit_at_infinity(logs)
    covariance = find_covariance(theta, log_shape, point)
    reason[where] = name_runaway(point, log_shape, covariance, ends)
    peaks = Peaks(
        where=where,
        lives=lives,
        groups=groups,
        logs=logs,
        log_shape=log_shape,
        theta=theta,
        point=point,
        covariance=covariance,
        ends=ends,
    )
    good = reason[where] == ""
    return peaks if good.all() else _keep(peaks, good)


def _keep(peaks: Peaks, kept: Bools) -> Peaks | None:
    """Return some of the groups."""
    if not kept.any():
        return None
    lives, groups = keep_groups(peaks.lives, peaks.groups, kept)
    point = {name: getattr(peaks.point, name)[kept] for name in Point.__slots__}
    return Peaks(
        where=peaks.where[kept],
        lives=lives,
        groups=groups,
        logs=build_log_lives(lives, groups),
        log_shape=peaks.log_shape[kept],
        theta=peaks.theta[kept],
        point=Point(**point),
        covariance=peaks.covariance[kept],
        ends=(peaks.ends[0][kept], peaks.ends[1][kept]),
    )
