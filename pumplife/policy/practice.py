"""How often a side fails and is rebuilt, a usage unit, under a way of working.

The plant's own way: planned ages as its tickets show them, and the whole side renewed at a share
of the failures, the failed part alone at the others.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pumplife.policy.ladder import integrate_ladder
from pumplife.policy.pump import (
    FloatArray,
    SideIntegrals,
    SideLife,
    integrate_to,
)
from pumplife.policy.renewal import solve_renewal
from pumplife.policy.simulate import BoolArray, PlannedAges

AS_GOOD_AS_ALL = 0.95  # a whole kit at this share of the failures counts as at all of them
LEAST_KIT_SHARE = 0.02  # below it a side is still renewed whole once in fifty failures
MOST_AGES = 40  # planned ages kept apart


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class EventRates:
    """Long-run events of one pump side per usage unit, for each draw.

    Attributes
    ----------
    kit_failures : float array (parts, draws)
        Failures of the part after which the whole side is renewed [1 / usage unit].
    part_failures : float array (parts, draws)
        Failures of the part after which it alone is renewed [1 / usage unit].
    planned : float array (draws,)
        Planned renewals of the whole side [1 / usage unit].
    """

    kit_failures: FloatArray
    part_failures: FloatArray
    planned: FloatArray

    def __repr__(self) -> str:
        """Say the mean rate of failures and of planned work."""
        failures = (self.kit_failures + self.part_failures).sum(axis=0).mean()
        return f"<EventRates: {failures:.3g} failures, {self.planned.mean():.3g} planned>"

    @property
    def failures(self) -> FloatArray:
        """Failures by part, (parts, draws) [1 / usage unit]."""
        return self.kit_failures + self.part_failures


def rates_of(at: SideIntegrals) -> EventRates:
    """Event rates with the whole side renewed at every failure and at the one age of `at`."""
    return EventRates(
        kit_failures=at.incidence[0] / at.uptime[0],
        part_failures=np.zeros_like(at.incidence[0]),
        planned=at.survival[0] / at.uptime[0],
    )


def failed_part_rates(mean_life: FloatArray, count: FloatArray) -> EventRates:
    """Event rates when only the failed part is renewed and nothing is planned.

    Parameters
    ----------
    mean_life : float array (parts, draws)
        [usage]
    count : float array (parts,)
        Positions of each part.
    """
    failures = np.asarray(count, float)[:, None] / mean_life
    return EventRates(
        kit_failures=np.zeros_like(failures),
        part_failures=failures,
        planned=np.zeros(failures.shape[1]),
    )


def find_planned_ages(age: FloatArray, planned: BoolArray) -> PlannedAges:
    """Distribution of the age at planned renewals, failures and today's ages censoring it.

    Parameters
    ----------
    age : float array (sides,)
        Usage since the last renewal of the whole side when it was renewed again, failed or is
        now [usage].
    planned : bool array (sides,)
        True where that end was planned work.

    Returns
    -------
    PlannedAges
        Kaplan-Meier steps; what is left at the longest age is never planned.

    References
    ----------
    Kaplan & Meier, Journal of the American Statistical Association 53 (1958) 457-481.
    """
    usable = np.isfinite(age) & (age > 0.0)
    age, planned = np.asarray(age, float)[usable], np.asarray(planned, bool)[usable]
    ages, inverse = np.unique(age, return_inverse=True)
    ends = np.bincount(inverse, planned, ages.size)
    leaving = np.bincount(inverse, minlength=ages.size)
    at_risk = age.size - np.cumsum(leaving) + leaving
    left = np.cumprod(1.0 - ends / np.maximum(at_risk, 1))
    weights = -np.diff(left, prepend=1.0)
    some = weights > 0.0
    ages, weights = _bring_together(ages[some], weights[some])
    never = max(0.0, 1.0 - float(weights.sum()))
    if never > 1e-12:
        ages, weights = np.append(ages, np.inf), np.append(weights, never)
    return PlannedAges(ages=ages, weights=weights / weights.sum())


def _bring_together(ages: FloatArray, weights: FloatArray) -> tuple[FloatArray, FloatArray]:
    """At most MOST_AGES ages: neighbours of like weight replaced by their mean."""
    if ages.size <= MOST_AGES:
        return ages, weights
    middle = (np.cumsum(weights) - 0.5 * weights) / weights.sum()
    bin_of = np.minimum((middle * MOST_AGES).astype(int), MOST_AGES - 1)
    total = np.bincount(bin_of, weights, MOST_AGES).astype(float)
    mean = np.bincount(bin_of, weights * ages, MOST_AGES) / np.where(total > 0.0, total, 1.0)
    return mean[total > 0.0], total[total > 0.0]


def practice_rates(
    side: SideLife, planned: PlannedAges, kit_share: float, *, known: SideIntegrals | None = None
) -> EventRates:
    """Event rates of a side planned at ages drawn anew at each renewal of the whole side.

    Between two such renewals each position is a renewal process of its own, and every failure
    ends the cycle with probability `kit_share`.  The chance that a position has not ended the
    cycle by t solves a renewal equation, G = S + (1 - kit_share) * integral of G(t - x) dF(x);
    with G in place of S the formulas of age replacement hold, and each failure that ended a
    cycle stands for 1 / kit_share failures.

    Parameters
    ----------
    side : SideLife
    planned : PlannedAges
    kit_share : float
        Share of the failures at which the whole side is renewed; 0.95 and more counts as all,
        less than 0.02 as 0.02.
    known : SideIntegrals, optional
        The side's integrals by `integrate_ladder`, where they are at hand.

    Returns
    -------
    EventRates
    """
    known = integrate_ladder(side) if known is None else known
    if kit_share >= AS_GOOD_AS_ALL:
        survival, incidence, uptime = _whole_kit_cycles(side, planned.ages, known)
        kit_share = 1.0
    else:
        kit_share = max(kit_share, LEAST_KIT_SHARE)
        survival, incidence, uptime = _thinned_cycles(
            side, planned.ages, kit_share, known.uptime[-1]
        )
    weights = planned.weights
    length = np.einsum("td,t->d", uptime, weights)
    ending = np.einsum("tpd,t->pd", incidence, weights) / length
    return EventRates(
        kit_failures=ending,
        part_failures=ending * (1.0 - kit_share) / kit_share,
        planned=np.einsum("td,t->d", survival, weights) / length,
    )


def _whole_kit_cycles(
    side: SideLife, ages: FloatArray, known: SideIntegrals
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Survival, incidence and uptime at each planned age, kit at every failure."""
    at = integrate_to(side, known, ages[:, None])
    return at.survival, at.incidence, at.uptime


def _thinned_cycles(
    side: SideLife, ages: FloatArray, kit_share: float, mean: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """The same when a failure ends the cycle only with probability `kit_share`.

    On an even grid for each draw, long enough for the ends to settle to a constant rate, which
    carries on beyond it; `mean` is the side's mean usage to a failure, (draws,) [usage].
    """
    lives = 2.0 + 2.0 / kit_share
    steps = int(min(32.0 * lives, 1000.0))
    reach = np.minimum(lives * mean, np.max(ages) * (1.0 + 1e-9))
    step = reach / steps
    half_grid = np.arange(2 * steps + 2)[:, None, None] / 2.0 * step
    lasting = np.moveaxis(side.lives.survival(half_grid), 0, -1)
    kept = solve_renewal(lasting[..., 0::2], 1.0 - lasting, 1.0 - kit_share)
    log_kept = np.log(np.clip(kept, 1e-200, 1.0)) * side.count[:, None, None]
    running = np.exp(log_kept.sum(axis=0))
    ending = -np.diff(log_kept, axis=-1) * 0.5 * (running[:, :-1] + running[:, 1:])
    incidence = np.concatenate([np.zeros_like(ending[..., :1]), np.cumsum(ending, -1)], axis=-1)
    area = 0.5 * (running[:, :-1] + running[:, 1:]) * step[:, None]
    uptime = np.concatenate([np.zeros_like(area[:, :1]), np.cumsum(area, -1)], axis=-1)
    tail = max(1, steps // 8)
    rate = (log_kept[..., -1 - tail] - log_kept[..., -1]) / (tail * step)
    grid = _Grid(step=step, running=running, incidence=incidence, uptime=uptime, rate=rate)
    return _look_up(grid, ages)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Grid:
    """Cycles of each draw on its own even grid of steps."""

    step: FloatArray  # (draws,) [usage]
    running: FloatArray  # (draws, grid) chance that the cycle hasn't ended
    incidence: FloatArray  # (parts, draws, grid) chance that the part has ended it
    uptime: FloatArray  # (draws, grid) expected usage until then [usage]
    rate: FloatArray  # (parts, draws) rate of ending beyond the grid [1 / usage unit]


def _look_up(grid: _Grid, ages: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Values at the ages, by line between grid points and at the end rate beyond the grid."""
    step, running, uptime, rate = grid.step, grid.running, grid.uptime, grid.rate
    steps = running.shape[-1] - 1
    reach = step * steps
    inside = np.minimum(ages[:, None], reach) / step
    row = np.minimum(inside.astype(int), steps - 1)
    share = inside - row
    lane = np.arange(step.size)
    alive = running[lane, row] + share * (running[lane, row + 1] - running[lane, row])
    ended = np.moveaxis(grid.incidence, 0, -1)
    ended = ended[lane, row] + share[..., None] * (ended[lane, row + 1] - ended[lane, row])
    used = uptime[lane, row] + share * (uptime[lane, row + 1] - uptime[lane, row])
    total = np.maximum(rate.sum(axis=0), 1e-300)
    lost = -np.expm1(-total * np.maximum(ages[:, None] - reach, 0.0)) * alive
    ended = ended + lost[..., None] * (rate / total).T
    alive = alive - lost
    summed = ended.sum(axis=-1, keepdims=True)
    ended *= np.where(summed > 0.0, (1.0 - alive)[..., None] / np.maximum(summed, 1e-300), 1.0)
    return alive, np.moveaxis(ended, -1, 1), used + lost / total
