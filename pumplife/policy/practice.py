"""How often a side fails and is rebuilt, a usage unit, under a way of working.

The plant's own way: planned ages as its tickets show them, and the whole side renewed at a share
of the failures, the failed part alone at the others.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pumplife.policy.alive import powers_of_numbers, running_powers
from pumplife.policy.ladder import integrate_ladder
from pumplife.policy.pump import (
    LARGEST_LOG,
    FloatArray,
    Life,
    SideIntegrals,
    SideLife,
    integrate_to,
)
from pumplife.policy.renewal import renew_on_grid
from pumplife.policy.simulate import BoolArray, PlannedAges
from pumplife.weibull.draws import LifeDraws

AS_GOOD_AS_ALL = 0.95  # a whole kit at this share of the failures counts as at all of them
LEAST_KIT_SHARE = 0.02  # below it a side is still renewed whole once in fifty failures
MOST_AGES = 40  # planned ages kept apart
STEPS_A_LIFE = 2.5  # grid steps in a side's mean usage to a failure, times the steepest mean shape
LEAST_SHAPE = 2.4  # lives less steep are looked at as closely
FEWEST_STEPS, MOST_STEPS = 16, 400
ONE_SIDED = np.array([9.0, 19.0, -5.0, 1.0])  # a first cell's integral in 24ths, by its four points


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
        at, kit_share = integrate_to(side, known, planned.ages[:, None], nodes=3), 1.0
        survival, incidence, uptime = at.survival, at.incidence, at.uptime
    else:
        kit_share = max(kit_share, LEAST_KIT_SHARE)
        survival, incidence, uptime = _thinned_cycles(side, planned.ages, kit_share, known)
    weights = planned.weights
    length = np.einsum("td,t->d", uptime, weights)
    ending = np.einsum("tpd,t->pd", incidence, weights) / length
    return EventRates(
        kit_failures=ending,
        part_failures=ending * (1.0 - kit_share) / kit_share,
        planned=np.einsum("td,t->d", survival, weights) / length,
    )


def _thinned_cycles(
    side: SideLife, ages: FloatArray, kit_share: float, known: SideIntegrals
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Survival, incidence and uptime when a failure ends the cycle only with a probability.

    While a side is young, hardly a position fails twice, and the chance that the cycle has ended
    is `kit_share` times that of a failure: this much by the integrals of the ladder.  What there
    is besides is smooth, and read off an even grid for each draw, long enough for the ends to
    settle to a constant rate, which carries on beyond it.  Mean failure rates are exact to 5e-4,
    to 3e-3 where parts have early lives.
    """
    lives, mean = 2.0 + 2.0 / kit_share, known.uptime[-1]
    reach = np.minimum(lives * mean, np.max(ages) * (1.0 + 1e-9))
    finest = STEPS_A_LIFE * max(_steepest(side.lives), LEAST_SHAPE)
    steps = int(np.clip(finest * (reach / mean).max(), FEWEST_STEPS, MOST_STEPS))
    step = reach / steps
    lasting, logs = _survive_grid(side.lives, 0.5 * step, 2 * steps + 2)
    alive, failed, _ = _end_cycles(logs, side.count)
    kept = renew_on_grid(lasting, 1.0 - kit_share)
    running, ended, tail = _end_cycles(_logs_of(kept), side.count)
    running -= 1.0 - kit_share * (1.0 - alive)
    ended -= np.multiply(failed, kit_share, out=failed)
    grid = _Grid(step=step, running=running, ended=ended, rate=tail / step)
    at = _until(side, known, ages, reach)
    inside = np.minimum(ages[:, None], reach)
    running, ended, used = _look_up(grid, inside)
    young = inside - kit_share * (inside - at.uptime)
    running = np.clip(running + 1.0 - kit_share * (1.0 - at.survival), 0.0, 1.0)
    return _carry_on(
        (running, ended + kit_share * at.incidence, used + young), grid.rate, ages[:, None] - inside
    )


def _steepest(lives: Life) -> float:
    """The largest mean shape of a part; other lives than Weibull are taken to be steep: 4."""
    return float(lives.shape.mean(axis=1).max()) if isinstance(lives, LifeDraws) else 4.0


def _until(side: SideLife, known: SideIntegrals, ages: FloatArray, reach: FloatArray) -> _Young:
    """What happens by some ages, or by each draw's own `reach` where that comes first."""
    at = integrate_to(side, known, ages[:, None])
    young = _Young(survival=at.survival, incidence=at.incidence, uptime=at.uptime)
    past = ages[:, None] > reach
    if not past.any():
        return young
    end = integrate_to(side, known, reach, nodes=3)
    return _Young(
        survival=np.where(past, end.survival, at.survival),
        incidence=np.where(past[:, None], end.incidence, at.incidence),
        uptime=np.where(past, end.uptime, at.uptime),
    )


def _survive_grid(lives: Life, step: FloatArray, size: int) -> tuple[FloatArray, FloatArray]:
    """Survival of the parts at 0, 1, 2 ... steps of each draw's own, (parts, size, draws).

    And its logarithm at every other of them.
    """
    if not isinstance(lives, LifeDraws):
        ages = np.arange(size)[:, None, None] * step
        alive = np.ascontiguousarray(np.moveaxis(lives.survival(ages), 0, 1))
        return alive, _logs_of(alive[:, 0::2])
    wear = powers_of_numbers(lives.shape, size)
    wear *= -np.exp(np.minimum(lives.shape * np.log(step / lives.scale), LARGEST_LOG))[:, None]
    logs = wear[:, 0::2].copy()
    alive = np.exp(wear, out=wear)
    for part in np.flatnonzero((lives.early_share > 0.0).any(axis=1)):
        share = lives.early_share[part]
        alive[part] *= 1.0 - share
        alive[part] += share * running_powers(np.exp(-step / lives.early_scale[part]), size)
        logs[part] = _logs_of(alive[part, 0::2])
    return alive, logs


def _logs_of(chance: FloatArray) -> FloatArray:
    """Logarithms of chances, also of 0."""
    logs = np.maximum(chance, 1e-200)
    return np.log(np.minimum(logs, 1.0, out=logs), out=logs)


def _end_cycles(logs: FloatArray, count: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """What becomes of a cycle by the chances that its positions have each not ended it.

    Parameters
    ----------
    logs : float array (parts, grid, draws)
        Logarithms of these chances; written over.
    count : float array (parts,)
        Positions of each part.

    Returns
    -------
    running : float array (grid, draws)
        Chance that the cycle goes on.
    ended : float array (parts, grid, draws)
        Chance that the part has ended it.
    tail : float array (parts, draws)
        Rate of ending by each part over the last eighth of the grid [1 / step].
    """
    logs *= count[:, None, None]
    running = np.exp(logs.sum(axis=0))
    ended = np.zeros_like(logs)
    lost = np.subtract(logs[:, :-1], logs[:, 1:], out=ended[:, 1:])
    lost *= (running[:-1] - running[1:]) / np.maximum(lost.sum(axis=0), 1e-300)
    for row in range(2, logs.shape[1]):
        ended[:, row] += ended[:, row - 1]
    eighth = max(1, (logs.shape[1] - 1) // 8)
    return running, ended, (logs[:, -1 - eighth] - logs[:, -1]) / eighth


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Young:
    """What failures do to a side by some ages, the first of which ends it."""

    survival: FloatArray  # (ages, draws)
    incidence: FloatArray  # (ages, parts, draws)
    uptime: FloatArray  # (ages, draws) [usage]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Grid:
    """What cycles are more than young ones, on an even grid of each draw's own."""

    step: FloatArray  # (draws,) [usage]
    running: FloatArray  # (grid, draws) chance that the cycle hasn't ended
    ended: FloatArray  # (parts, grid, draws) chance that the part has ended it
    rate: FloatArray  # (parts, draws) rate of ending beyond the grid [1 / usage unit]


def _look_up(grid: _Grid, ages: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Running, ended and the integral of running at ages on the grid, by cubics.

    (ages, draws), (ages, parts, draws) and (ages, draws) [usage].
    """
    f = grid.running
    cells = np.empty_like(f[1:])
    cells[1:-1] = 13.0 * (f[1:-2] + f[2:-1]) - f[:-3] - f[3:]
    cells[0] = ONE_SIDED @ f[:4]
    cells[-1] = ONE_SIDED @ f[:-5:-1]
    used = np.zeros_like(f)
    np.cumsum(cells, axis=0, out=used[1:])
    place = ages / grid.step
    row = np.clip(place.astype(np.int64), 1, f.shape[0] - 3)
    s = place - row
    weights = (
        -s * (s - 1.0) * (s - 2.0) / 6.0,
        (s + 1.0) * (s - 1.0) * (s - 2.0) / 2.0,
        -(s + 1.0) * s * (s - 2.0) / 2.0,
        (s + 1.0) * s * (s - 1.0) / 6.0,
    )
    cell = (row - 1) * f.shape[1] + np.arange(f.shape[1])

    def read(values: FloatArray) -> FloatArray:
        """At each age between the four points around it, (ages, draws)."""
        flat = values.reshape(-1)
        nearby = (w * flat.take(cell + k * f.shape[1]) for k, w in enumerate(weights))
        return np.asarray(sum(nearby))

    ended = np.stack([read(one) for one in grid.ended], axis=1)
    return read(f), ended, read(used) * (grid.step / 24.0)


def _carry_on(
    at: tuple[FloatArray, FloatArray, FloatArray], rate: FloatArray, beyond: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Survival, incidence and uptime some usage beyond the grid, at its last rate of ending.

    Parameters
    ----------
    at : tuple of float array (ages, draws), (ages, parts, draws), (ages, draws)
        Running, ended and used at the end of the grid, or at the age where that is on it.
    rate : float array (parts, draws)
        [1 / usage unit]
    beyond : float array (ages, draws)
        [usage]
    """
    running, ended, used = at
    total = np.maximum(rate.sum(axis=0), 1e-300)
    lost = -np.expm1(-total * beyond) * running
    alive = running - lost
    ended = np.maximum(ended + lost[:, None] * (rate / total), 0.0)
    summed = ended.sum(axis=1)
    ended *= np.where(summed > 0.0, (1.0 - alive) / np.maximum(summed, 1e-300), 1.0)[:, None]
    return alive, ended, used + lost / total
