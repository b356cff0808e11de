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

from pumplife.policy.ages import own_times
from pumplife.policy.ladder import integrate_ladder
from pumplife.policy.limits import MAKER, apply_limits, release_limits
from pumplife.policy.near_best import near_best_bands
from pumplife.policy.optima import NODES, cycle_cost, first_order, local_optima
from pumplife.policy.pump import FloatArray, SideIntegrals, SideLife, integrate_side, integrate_to

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
        Where the expected cost rate is within 5 % of that of the advice, around the interval and
        not beyond a limit [usage].
    near_best_bands : tuple of (float, float)
        All stretches within 5 % and the limits, also those apart from the interval [usage].
    cost_rate, cost_rate_run_to_failure : float array (draws,)
        [money / usage unit].
    prob_better : float
        Posterior probability that the advice is cheaper than running to failure, ties counted
        half; NaN where the advice is to run to failure.
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
    side : SideLife
    planned_cost, failure_cost : float, and float array (parts,)
        What it was asked with [money].
    kept : SideIntegrals or None
        `known` while a group is decided; let go then, since the integrals of a thousand groups
        fill the memory.
    times, expected : float array (times,)
        The expected cost rate against the interval [usage], [money / usage unit].
    low, high : float array (times,)
        90 % band of that cost rate [money / usage unit].
    """

    interval: float
    binding_limit: str
    near_best_low: float
    near_best_high: float
    near_best_bands: tuple[tuple[float, float], ...]
    cost_rate: FloatArray
    cost_rate_run_to_failure: FloatArray
    prob_better: float
    prob_planning_pays: float
    failure_prob: float
    limits: dict[str, float]
    at_interval: SideIntegrals
    at_failure: SideIntegrals
    side: SideLife
    planned_cost: float
    failure_cost: FloatArray
    kept: SideIntegrals | None
    times: FloatArray
    expected: FloatArray
    low: FloatArray
    high: FloatArray

    def __repr__(self) -> str:
        """Say the interval and why."""
        return f"<IntervalAdvice: {self.interval:.6g}, by {self.binding_limit}>"

    @property
    def known(self) -> SideIntegrals:
        """What all of this was computed from, at `times`; computed anew once it was let go."""
        return integrate_ladder(self.side) if self.kept is None else self.kept

    @property
    def rates(self) -> FloatArray:
        """Cost rate against the interval, (times, draws) [money / usage unit]."""
        return cost_rate(self.known, self.planned_cost, self.failure_cost)


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
    return cycle_cost(at, planned_cost, failure_cost) / at.uptime


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
    slope = first_order(known, planned_cost, failure_cost)
    turning = (slope[:-1] < 0.0) & (slope[1:] >= 0.0)
    lowest = np.where(turning, np.minimum(rates[:-1], rates[1:]), np.inf)
    row = np.argmin(lowest, axis=0)
    lane = np.arange(rates.shape[1])

    def solve(log_age: FloatArray) -> FloatArray:
        at = integrate_to(side, known, np.exp(log_age))
        return np.asarray(first_order(at, planned_cost, failure_cost)[0])

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
    known = integrate_ladder(side)
    money = planned_cost, np.asarray(failure_cost, float)
    rates = cost_rate(known, *money)
    times, expected = known.times[:, 0], rates.mean(axis=1)
    optima = [(at, cost_rate(at, *money)[0]) for at in local_optima(side, known, money, expected)]
    cheapest, planning_pays = _cheapest(optima, rates[-1])
    limits = {MAKER: maximum}
    if releasing is not None and np.any(releasing):
        limits |= release_limits(side, releasing, release_target, confidence, alone=alone)
    interval, binding = apply_limits(cheapest if failures_seen else np.inf, limits)
    limit = min((value for value in limits.values() if value > 0.0), default=np.inf)
    at, chosen = _at_interval(side, known, money, (interval, optima))
    if binding != "cost" and failures_seen:
        at, chosen = _cheaper_within(optima, interval, (at, chosen))
        interval = min(interval, float(at.times[0, 0]))
    finite = bool(np.isfinite(interval))
    bands = near_best_bands(times, expected, (interval, float(chosen.mean())), limit)
    edges = np.quantile(np.sort(rates, axis=1), [0.05, 0.95], axis=1)  # twice as fast, sorted
    low, high = next(band for band in bands if band[0] <= interval <= band[1])
    return IntervalAdvice(
        interval=interval,
        binding_limit=binding,
        near_best_low=low,
        near_best_high=high,
        near_best_bands=bands,
        cost_rate=chosen,
        cost_rate_run_to_failure=rates[-1],
        prob_better=chance_cheaper(chosen, rates[-1]) if finite else np.nan,
        prob_planning_pays=planning_pays,
        failure_prob=float(1.0 - at.survival.mean()) if finite else 1.0,
        limits=limits,
        at_interval=at,
        at_failure=_last(known),
        side=side,
        planned_cost=planned_cost,
        failure_cost=money[1],
        kept=known,
        times=times,
        expected=expected,
        low=edges[0],
        high=edges[1],
    )


def chance_cheaper(cost: FloatArray, other: FloatArray) -> float:
    """Share of the draws, (draws,), in which `cost` is below `other`; ties count half."""
    same = np.isclose(cost, other, rtol=1e-9, atol=0.0)
    return float(np.mean(np.where(same, 0.5, cost < other)))


_Optimum = tuple[SideIntegrals, FloatArray]  # at its age, and its cost rate (draws,)


def _cheapest(optima: list[_Optimum], never: FloatArray) -> tuple[float, float]:
    """The interval by cost alone, inf to failure, and the probability that planning pays."""
    if not optima:
        return np.inf, 0.0
    at, rate = min(optima, key=lambda one: float(one[1].mean()))
    pays = chance_cheaper(rate, never)
    worth = rate.mean() <= (1.0 - WORTH_PLANNING) * never.mean() and pays >= 0.5
    return (float(at.times[0, 0]) if worth else np.inf), pays


def _at_interval(
    side: SideLife,
    known: SideIntegrals,
    money: tuple[float, FloatArray],
    wanted: tuple[float, list[_Optimum]],
) -> _Optimum:
    """What happens by an interval, which may be one of the optima."""
    interval, optima = wanted
    for at, rate in optima:
        if at.times[0, 0] == interval:
            return at, rate
    at = integrate_to(side, known, np.array([interval]), nodes=NODES)
    return at, cost_rate(at, *money)[0]


def _last(known: SideIntegrals) -> SideIntegrals:
    """The end of the ladder, where nothing runs any more, for itself."""
    return SideIntegrals(
        times=np.broadcast_to(known.times[-1:], known.survival[-1:].shape),
        survival=known.survival[-1:].copy(),
        hazard=known.hazard[-1:].copy(),
        incidence=known.incidence[-1:].copy(),
        uptime=known.uptime[-1:].copy(),
    )


def _cheaper_within(optima: list[_Optimum], limit: float, at_limit: _Optimum) -> _Optimum:
    """The limit, or an optimum before it that costs less: a curve may have several."""
    before = [one for one in optima if one[0].times[0, 0] < limit]
    return min([at_limit, *before], key=lambda one: float(one[1].mean()))
