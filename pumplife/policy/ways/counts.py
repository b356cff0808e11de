"""Expected failures by usage since a side was new, nothing planned: renewal functions by draw."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pumplife.policy.ages import own_times
from pumplife.policy.pump import FloatArray, SideLife, count_draws, integrate_side
from pumplife.policy.renewal import solve_renewal
from pumplife.weibull.draws import LifeDraws

REACH = 4.0  # mean lives up to which the renewal equation is solved; a line carries on from there
STEPS = 160  # grid steps up to there


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FailureCounts:
    """Expected failures by part on grids of their own for each lane (a draw, or part and draw).

    Kept is the ratio of the renewal function to the chance of a first failure, which hardly moves
    near 0, so that short usages are as exact as long ones.

    Attributes
    ----------
    side : SideLife
    whole : bool
        True: the whole side is renewed at each failure; False: the failed part alone.
    step : float array (lanes,) or (parts, lanes)
        Grid step [usage].
    ratio : float array (grid, ...)
        Renewal function over the chance of a first failure.
    share : float array (grid, parts, draws)
        Share of each part in the failures of the side; ones where parts are counted apart.
    lasting : float array (parts, draws)
        The same share in the long run.
    mean : float array (...)
        Mean usage from renewal to failure [usage].
    """

    side: SideLife
    whole: bool
    step: FloatArray
    ratio: FloatArray
    share: FloatArray
    lasting: FloatArray
    mean: FloatArray

    def __repr__(self) -> str:
        """Say what is renewed at a failure."""
        return f"<FailureCounts: {'whole side' if self.whole else 'failed part'} renewed>"

    def at(self, usage: FloatArray) -> FloatArray:
        """Expected failures by part up to each usage, all its positions.

        Parameters
        ----------
        usage : float array (times, 1) or (times, draws)
            [usage], above 0.

        Returns
        -------
        float array (times, parts, draws)
        """
        t = np.asarray(usage, float)
        if self.whole:
            first = -np.expm1(-self.side.evaluate(self._inside(t))[0])
            counted = first * self._interpolate(self.ratio, t)
            inside = counted[:, None, :] * self._interpolate(self.share, t)
            return np.asarray(inside + self._beyond(t)[:, None, :] * self.lasting)
        t = t[:, None, :]
        first = 1.0 - self.side.lives.survival(self._inside(t))
        counted = first * self._interpolate(self.ratio, t) + self._beyond(t)
        return np.asarray(counted * self.side.count[:, None])

    def _inside(self, t: FloatArray) -> FloatArray:
        return np.asarray(np.minimum(t, self.step * (self.ratio.shape[0] - 1)))

    def _beyond(self, t: FloatArray) -> FloatArray:
        """Failures after the end of the grid, at the long-run rate."""
        return np.asarray(np.maximum(t - self._inside(t), 0.0) / self.mean)

    def _interpolate(self, values: FloatArray, t: FloatArray) -> FloatArray:
        """By line between grid points, the last value beyond them."""
        place = np.broadcast_to(self._inside(t) / self.step, t.shape[:1] + self.step.shape)
        row = np.minimum(place.astype(np.int64), values.shape[0] - 2)
        part = place - row
        if values.ndim > place.ndim:
            row, part = row[:, None, :], part[:, None, :]
        low = np.take_along_axis(values, row, axis=0)
        return np.asarray(low + part * (np.take_along_axis(values, row + 1, axis=0) - low))


def count_with_kit(side: SideLife, mean: FloatArray) -> FailureCounts:
    """Failures when each renews the whole side.

    M_j = I_j + integral of M_j(t - x) dF(x): each part's own failures, all renewing the side.

    Parameters
    ----------
    side : SideLife
    mean : float array (draws,)
        Mean usage of the new side to a failure [usage].
    """
    step = REACH * mean / STEPS
    half_grid = np.arange(2 * STEPS + 2)[:, None] / 2.0 * step
    with np.errstate(divide="ignore", over="ignore"):
        by_part = -np.log(side.lives.survival(half_grid[:, None, :])) * side.count[:, None]
    hazard = np.minimum(by_part, 700.0)
    first = -np.expm1(-hazard.sum(axis=1))
    steps = np.diff(hazard[0::2], axis=0)
    share = steps / np.maximum(steps.sum(axis=1, keepdims=True), 1e-300)
    failed = share * np.diff(first[0::2], axis=0)[:, None, :]
    incidence = np.cumsum(np.concatenate([np.zeros_like(failed[:1]), failed]), axis=0)
    counted = solve_renewal(np.moveaxis(incidence, 0, -1), first.T)
    counted = np.maximum(np.moveaxis(counted, -1, 0), 0.0)
    total = counted.sum(axis=1)
    shares = counted[1:] / np.maximum(total[1:, None, :], 1e-300)
    return FailureCounts(
        side=side,
        whole=True,
        step=step,
        ratio=_ratio(total, first[0::2]),
        share=np.concatenate([shares[:1], shares]),
        lasting=incidence[-1] / np.maximum(incidence[-1].sum(axis=0), 1e-300),
        mean=mean,
    )


def count_by_part(side: SideLife) -> FailureCounts:
    """Failures when each renews the failed part alone: every position a process of its own."""
    mean = mean_lives(side)
    step = REACH * mean / STEPS
    half_grid = np.arange(2 * STEPS + 2)[:, None, None] / 2.0 * step
    with np.errstate(over="ignore"):
        first = 1.0 - side.lives.survival(half_grid)
    counted = solve_renewal(np.moveaxis(first[0::2], 0, -1), np.moveaxis(first, 0, -1))
    return FailureCounts(
        side=side,
        whole=False,
        step=step,
        ratio=_ratio(np.moveaxis(counted, -1, 0), first[0::2]),
        share=np.ones((1, 1, 1)),
        lasting=np.ones((1, 1)),
        mean=mean,
    )


def mean_lives(side: SideLife) -> FloatArray:
    """Mean life of one position of each part, (parts, draws) [usage]."""
    if isinstance(side.lives, LifeDraws):
        return side.lives.mean()
    alone = [SideLife(lives=side.lives, count=one) for one in np.eye(side.count.size)]
    means = [integrate_side(one, own_times(one), nodes=6).uptime[-1] for one in alone]
    return np.asarray(np.broadcast_to(means, (side.count.size, count_draws(side))))


def _ratio(counted: FloatArray, first: FloatArray) -> FloatArray:
    """Renewals over first failures; 1 at 0."""
    some = first > 1e-12
    return np.where(some, np.maximum(counted, first) / np.where(some, first, 1.0), 1.0)
