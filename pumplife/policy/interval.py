"""After how much usage to renew a pump side: cost rate, optimum, limits, advice.

The side is renewed whole, with its kit, at a planned age or at its first failure, whichever comes
first; every renewal starts afresh (age replacement, Barlow & Hunter 1960, here for parts in
series with a cost of failure of their own each).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pumplife.policy.limits import MAKER, apply_limits, release_limits
from pumplife.policy.pump import (
    FloatArray,
    SideIntegrals,
    SideLife,
    integrate_side,
    integrate_to,
    own_times,
    shared_times,
)

NEAR_BEST = 1.05  # the near-best band reaches to this multiple of the least cost
WORTH_PLANNING = 0.01  # planned work must save this share of the cost of running to failure


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CostCurve:
    """Cost rate against the planned interval, as a figure shows it.

    Attributes
    ----------
    title : str
        The pump group.
    t : float array (times,)
        Planned interval [usage].
    mean, low, high : float array (times,)
        Posterior mean and 90 % band of the cost rate [rate_unit].
    run_to_failure, today : float
        Posterior mean cost rate without planned work, and of today's practice [rate_unit].
    interval : float
        Advised interval [usage]; inf means run to failure.
    near_best_low, near_best_high : float
        Ends of the near-best band [usage]; inf means no upper end.
    rate_unit : str
        Money per how much usage.
    """

    title: str
    t: FloatArray
    mean: FloatArray
    low: FloatArray
    high: FloatArray
    run_to_failure: float
    today: float
    interval: float
    near_best_low: float
    near_best_high: float
    rate_unit: str

    def __repr__(self) -> str:
        """Name the group and the interval."""
        return f"<CostCurve {self.title}: interval {self.interval:g}>"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class IntervalAdvice:
    """The planned interval of one side, and how sure one can be of it.

    Attributes
    ----------
    interval : float
        Advised interval [usage]; inf means run to failure.
    binding_limit : str
        "cost" where the least cost decides, else the name of the limit that does.
    near_best_low, near_best_high : float
        Where the expected cost rate is within 5 % of that of the advice [usage].
    cost_rate, cost_rate_run_to_failure : float array (draws,)
        [money / usage unit].
    prob_better : float
        Posterior probability that the advice is cheaper than running to failure.
    prob_planning_pays : float
        The same for the best interval by cost alone, even where it isn't advised.
    failure_prob : float
        Probability of a failure within one interval.
    limits : dict of str to float
        Every limit looked at [usage]; 0 means that no interval can be held to it.  Where parts
        that fail soon after fitting put the limit on release out of reach, it is held for wear
        alone, which is what an interval can act on.
    at_interval : SideIntegrals
        One row: survival, incidence and uptime at the advised interval.
    at_failure : SideIntegrals
        One row: the same without planned work.
    known : SideIntegrals
        What all of this was computed from, at `times`.
    times, expected : float array (times,)
        The expected cost rate against the interval [usage], [money / usage unit].
    rates : float array (times, draws)
        Cost rate against the interval [money / usage unit].
    """

    interval: float
    binding_limit: str
    near_best_low: float
    near_best_high: float
    cost_rate: FloatArray
    cost_rate_run_to_failure: FloatArray
    prob_better: float
    prob_planning_pays: float
    failure_prob: float
    limits: dict[str, float]
    at_interval: SideIntegrals
    at_failure: SideIntegrals
    known: SideIntegrals
    times: FloatArray
    expected: FloatArray
    rates: FloatArray

    def __repr__(self) -> str:
        """Say the interval and why."""
        return f"<IntervalAdvice: {self.interval:.6g}, by {self.binding_limit}>"


def cost_rate(at: SideIntegrals, planned_cost: float, failure_cost: FloatArray) -> FloatArray:
    """Long-run cost per usage unit of a kit at each of the times and at failure, (times, draws).

    Parameters
    ----------
    at : SideIntegrals
    planned_cost : float
        Cost of a planned rebuild [money].
    failure_cost : float array (parts,)
        Cost of a rebuild after a failure, by the part that failed [money].

    Returns
    -------
    float array (times, draws)
        [money / usage unit].

    References
    ----------
    Barlow & Hunter, Operations Research 8 (1960) 90-100, policy I, with a cost by failed part.
    """
    return _cycle_cost(at, planned_cost, failure_cost) / at.uptime


def _cycle_cost(at: SideIntegrals, planned_cost: float, failure_cost: FloatArray) -> FloatArray:
    """Expected cost of one cycle [money], (times, draws)."""
    failures = np.einsum("tpd,p->td", at.incidence, np.asarray(failure_cost, float))
    return np.asarray(failures + planned_cost * at.survival)


def _first_order(at: SideIntegrals, planned_cost: float, failure_cost: FloatArray) -> FloatArray:
    """Sign of the slope of the cost rate: below 0 it still falls, (times, draws) [money]."""
    extra = np.asarray(failure_cost, float) - planned_cost
    marginal = np.einsum("tpd,p->td", at.hazard, extra)
    return np.asarray(marginal * at.uptime - _cycle_cost(at, planned_cost, failure_cost))


def optimal_interval(
    side: SideLife, planned_cost: float, failure_cost: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """The cheapest planned interval for each draw taken as the truth.

    Solves the first-order condition, which stays sharp where the cost curve is flat.

    Parameters
    ----------
    side : SideLife
    planned_cost : float
        [money]
    failure_cost : float array (parts,)
        [money]

    Returns
    -------
    interval : float array (draws,)
        [usage]; inf where no interval beats running to failure.
    rate : float array (draws,)
        Its cost rate [money / usage unit].

    References
    ----------
    Barlow & Proschan, Mathematical Theory of Reliability (1965), chapter 4.
    """
    known = integrate_side(side, own_times(side), nodes=6)
    rates = cost_rate(known, planned_cost, failure_cost)
    slope = _first_order(known, planned_cost, failure_cost)
    turning = (slope[:-1] < 0.0) & (slope[1:] >= 0.0)
    lowest = np.where(turning, np.minimum(rates[:-1], rates[1:]), np.inf)
    row = np.argmin(lowest, axis=0)
    lane = np.arange(rates.shape[1])

    def solve(log_age: FloatArray) -> FloatArray:
        at = integrate_to(side, known, np.exp(log_age))
        return np.asarray(_first_order(at, planned_cost, failure_cost)[0])

    ladder = np.log(np.broadcast_to(known.times, rates.shape))
    log_age = _bisect(solve, ladder[row, lane], ladder[row + 1, lane])
    at = integrate_to(side, known, np.exp(log_age))
    rate = cost_rate(at, planned_cost, failure_cost)[0]
    exists = turning.any(axis=0) & (rate < rates[-1])
    return np.where(exists, np.exp(log_age), np.inf), np.where(exists, rate, rates[-1])


def _bisect(
    function: Callable[[FloatArray], FloatArray], low: FloatArray, high: FloatArray
) -> FloatArray:
    """Where the function turns positive between `low` and `high`, per lane."""
    for _ in range(46):
        middle = 0.5 * (low + high)
        positive = function(middle) >= 0.0
        low, high = np.where(positive, low, middle), np.where(positive, middle, high)
    return 0.5 * (low + high)


def advise_interval(
    side: SideLife,
    planned_cost: float,
    failure_cost: FloatArray,
    *,
    maximum: float = np.inf,
    releasing: NDArray[np.bool_] | None = None,
    alone: SideLife | None = None,
    release_target: float = 0.05,
    confidence: float = 0.95,
    failures_seen: bool = True,
) -> IntervalAdvice:
    """The interval of least posterior-expected cost, within the limits given.

    Parameters
    ----------
    side : SideLife
    planned_cost, failure_cost : float, and float array (parts,)
        Cost of a planned rebuild, and of one after a failure by the part that failed [money].
    maximum : float
        The maker's or legal limit [usage].
    releasing : bool array (parts,), optional
        Parts whose failure releases fluid, where the fluid is hazardous.
    alone : SideLife, optional
        The side by its own failures alone, where `side` borrows: see `release_limits`.
    release_target, confidence : float
        Largest probability that a releasing part fails within one interval, and the one-sided
        posterior probability with which it must hold.
    failures_seen : bool
        Without a failure there is nothing to plan by: only a limit asks for planned work then.

    Returns
    -------
    IntervalAdvice
        inf when running to failure is as good: planned work saves less than 1 %, or is more
        likely dearer than cheaper, and no limit asks for it.
    """
    known = integrate_side(side, shared_times(side))
    rates = cost_rate(known, planned_cost, failure_cost)
    expected, never = rates.mean(axis=1), rates[-1]
    cheapest, planning_pays = _cheapest(side, known, planned_cost, failure_cost)
    limits = {MAKER: maximum}
    if releasing is not None and np.any(releasing):
        limits |= release_limits(side, releasing, release_target, confidence, alone=alone)
    interval, binding = apply_limits(cheapest if failures_seen else np.inf, limits)
    at = integrate_to(side, known, np.array([interval]))
    chosen = cost_rate(at, planned_cost, failure_cost)[0]
    low, high = _near_best(known.times[:, 0], expected, interval, float(chosen.mean()))
    return IntervalAdvice(
        interval=interval,
        binding_limit=binding,
        near_best_low=low,
        near_best_high=high if binding == "cost" else interval,
        cost_rate=chosen,
        cost_rate_run_to_failure=never,
        prob_better=float(np.mean(chosen < never)) if np.isfinite(interval) else 0.0,
        prob_planning_pays=planning_pays,
        failure_prob=float(1.0 - at.survival.mean()) if np.isfinite(interval) else 1.0,
        limits=limits,
        at_interval=at,
        at_failure=integrate_to(side, known, np.array([np.inf])),
        known=known,
        times=known.times[:, 0],
        expected=expected,
        rates=rates,
    )


def _cheapest(
    side: SideLife, known: SideIntegrals, planned_cost: float, failure_cost: FloatArray
) -> tuple[float, float]:
    """The interval by cost alone, inf to failure, and the probability that planning pays."""
    interval = _expected_optimum(side, known, planned_cost, failure_cost)
    at = integrate_to(side, known, np.array([interval]))
    best = cost_rate(at, planned_cost, failure_cost)[0]
    never = cost_rate(known, planned_cost, failure_cost)[-1]
    pays = float(np.mean(best < never))
    worth = best.mean() <= (1.0 - WORTH_PLANNING) * never.mean() and pays >= 0.5
    return (interval if worth else np.inf), pays


def _expected_optimum(
    side: SideLife, known: SideIntegrals, planned_cost: float, failure_cost: FloatArray
) -> float:
    """Interval of least mean cost rate over the draws [usage]; the last time when it only falls."""

    def slope(log_age: FloatArray) -> FloatArray:
        at = integrate_to(side, known, np.exp(log_age))
        steep = _first_order(at, planned_cost, failure_cost) * at.survival / at.uptime**2
        return np.asarray(steep.mean(axis=1))

    expected = cost_rate(known, planned_cost, failure_cost).mean(axis=1)
    row = int(np.argmin(expected))
    if row in (0, expected.size - 1):
        return float(known.times[row, 0])
    low, high = np.log(known.times[[row - 1, row + 1], 0])
    for _ in range(6):
        middle = 0.5 * (low + high)
        low, high = (low, middle) if slope(np.array([middle]))[0] >= 0.0 else (middle, high)
    ends = slope(np.array([low])), slope(np.array([high]))
    share = float(np.clip(-ends[0][0] / max(ends[1][0] - ends[0][0], 1e-300), 0.0, 1.0))
    return float(np.exp(low + share * (high - low)))


def _near_best(
    times: FloatArray, expected: FloatArray, interval: float, best: float
) -> tuple[float, float]:
    """Ends of the stretch around the interval where the expected cost rate is within 5 %.

    The upper end is inf where it never leaves the stretch again.
    """
    if np.isfinite(interval):
        at = int(np.searchsorted(times, interval))
        times, expected = np.insert(times, at, interval), np.insert(expected, at, best)
    else:
        at = times.size - 1
    level = NEAR_BEST * best
    outside = np.flatnonzero(expected > level)
    below, above = outside[outside < at], outside[outside > at]
    low = _crossing(times, expected, int(below[-1]), level) if below.size else float(times[0])
    high = _crossing(times, expected, int(above[0]) - 1, level) if above.size else np.inf
    return low, high


def _crossing(times: FloatArray, expected: FloatArray, row: int, level: float) -> float:
    """Age between rows `row` and `row + 1` where the curve crosses the level, in log time."""
    share = (level - expected[row]) / (expected[row + 1] - expected[row])
    return float(times[row] * (times[row + 1] / times[row]) ** share)
