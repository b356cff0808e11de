"""A group's cost rate at any interval by the prices it is made of, so that any prices can be tried.

For given lives an expected cost rate is linear in every price: so many kits, hours and releases a
usage unit, each at its price. Within a step of the ladder it is a polynomial in log age, exact to
1e-9, by values and slopes at a few ages.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pumplife.policy.costs import SideCosts, WorkCost
from pumplife.policy.decide import SEEN, Decision
from pumplife.policy.evidence import typical_interval
from pumplife.policy.groups import SideGroup
from pumplife.policy.practice import EventRates, failed_part_rates, rates_of
from pumplife.policy.pump import FloatArray, SideIntegrals, integrate_to

PRICES = ("kits and parts", "labour", "lost production", "clean-up", "call-out")
PLACES = np.cos(np.pi * (2.0 * np.arange(4)[::-1] + 1.0) / 8.0)  # Chebyshev points of a step
TERMS = 2 * PLACES.size  # of the polynomial through values and slopes there
SETTLED = 1e-3  # mean chance of failure, or of survival, beyond which a curve says no more


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PriceCurves:
    """Expected money of one group a usage unit, by what it pays, at today's prices.

    Attributes
    ----------
    start, step : float
        Log of the first age, and what each step adds to it [log of usage].
    terms : float array (prices, steps, TERMS)
        Coefficients, lowest first, of the money of each price [money / usage unit] in the place
        within a step, from -1 to 1.
    never, alone, today : float array (prices,)
        Run to failure, the failed part alone renewed, and today's practice [money / usage unit].
    limit : float
        Longest interval that the limits allow [usage]; inf where there is none.
    at_limit : float array (prices,)
        There [money / usage unit].
    kept : float
        Today's interval, which stays where failures are too few to advise one [usage]; inf to
        failure, NaN where an interval is advised.
    at_kept : float array (prices,)
        There [money / usage unit].
    own : float array (limits,)
        Limits of single pumps [usage].
    own_share : float array (limits,)
        Their share in the usage of the group.
    at_own : float array (limits, prices)
        [money / usage unit]
    by_cost : bool
        Whether cost may decide: without a failure only a limit asks for planned work.
    week : float
        Usage of the median pump [usage / week].
    """

    start: float
    step: float
    terms: FloatArray
    never: FloatArray
    alone: FloatArray
    today: FloatArray
    limit: float
    at_limit: FloatArray
    kept: float
    at_kept: FloatArray
    own: FloatArray
    own_share: FloatArray
    at_own: FloatArray
    by_cost: bool
    week: float

    def __repr__(self) -> str:
        """Say the range of intervals."""
        first, last = np.exp(self.start + self.step * np.array([0.0, self.terms.shape[1]]))
        return f"<PriceCurves: {first:.4g} to {last:.4g}>"

    def rate_at(self, ages: FloatArray, factors: FloatArray) -> FloatArray:
        """Expected cost rate of planned ages with each price times a factor, (ages,).

        Parameters
        ----------
        ages : float array (ages,)
            Within the range of the curves [usage].
        factors : float array (prices,)
            In the order of `PRICES`.

        Returns
        -------
        float array (ages,)
            [money / usage unit]
        """
        place = (np.log(np.asarray(ages, float)) - self.start) / self.step
        row = np.clip(place.astype(np.int64), 0, self.terms.shape[1] - 1)
        curve = np.tensordot(np.asarray(factors, float), self.terms, axes=1)[row]
        inside = 2.0 * (place - row) - 1.0
        return np.asarray((curve * inside[:, None] ** np.arange(TERMS)).sum(axis=1))


def lay_price_curves(
    group: SideGroup, decision: Decision, *, known: SideIntegrals | None = None
) -> PriceCurves:
    """The curves of a group, from the integrals that its decision rests on.

    Parameters
    ----------
    group : SideGroup
    decision : Decision
        For that group.
    known : SideIntegrals, optional
        The side's integrals by `integrate_ladder`, where they are at hand.

    Returns
    -------
    PriceCurves
    """
    costs, known = decision.costs, decision.advice.known if known is None else known
    kept, limit = _kept_interval(group, decision), decision.limit
    own = np.unique(group.own_limit[np.isfinite(group.own_limit)])
    weight = np.array([group.rate[group.own_limit == age].sum() for age in own])
    ages = np.array([limit, kept, *own])
    at = _money(costs, *_events_at(integrate_to(group.life, known, ages[:, None])))
    logs = np.log(known.times[:, 0])
    rows = _telling_rows(known, min(limit, kept, decision.interval, *own))
    return PriceCurves(
        start=float(logs[rows.start]),
        step=float(logs[1] - logs[0]),
        terms=_polynomials(group, known, costs, rows),
        never=_by_price(costs, rates_of(decision.advice.at_failure)),
        alone=_by_price(costs, failed_part_rates(group.lives.mean(), group.count)),
        today=_by_price(costs, decision.events_today),
        limit=limit,
        at_limit=at[0],
        kept=np.nan if group.evidence.enough else kept,
        at_kept=at[1],
        own=own,
        own_share=weight / group.rate.sum(),
        at_own=at[2:],
        by_cost=bool(group.failures >= SEEN or group.evidence.lent),
        week=7.0 * float(np.median(group.rate)),
    )


def _kept_interval(group: SideGroup, decision: Decision) -> float:
    """What stays where failures are too few: today's interval within the limits [usage]."""
    adopted = decision.adopted_interval
    todays = typical_interval(group.planned) if np.isnan(adopted) else adopted
    return float(min(todays, decision.limit))


def _telling_rows(known: SideIntegrals, shortest: float) -> slice:
    """Rows of the ladder between hardly a failure and hardly a survivor."""
    alive = known.survival.mean(axis=1)
    first = int(np.searchsorted(1.0 - alive, SETTLED))
    first = max(0, min(first, int(np.searchsorted(known.times[:, 0], shortest))) - 1)
    last = int(np.flatnonzero(alive > SETTLED).max(initial=first))
    return slice(first, min(last + 2, alive.size))


def _polynomials(
    group: SideGroup, known: SideIntegrals, costs: SideCosts, rows: slice
) -> FloatArray:
    """Money of each price by log age within each step, (prices, steps, TERMS)."""
    logs = np.log(known.times[rows, 0])
    step = logs[1] - logs[0]
    places = logs[:-1, None] + step * 0.5 * (PLACES + 1.0)
    ages = np.exp(places).reshape(-1, 1)
    at = integrate_to(group.life, known, ages, nodes=4)
    shape = places.shape[0], PLACES.size, len(PRICES)
    value = _money(costs, *_events_at(at)).reshape(shape)
    slope = (_money(costs, *_slopes_at(at)) * ages * 0.5 * step).reshape(shape)
    both = np.moveaxis(np.concatenate([value, slope], axis=1), 1, -1)
    return np.ascontiguousarray(np.moveaxis(both @ _through_points().T, 1, 0))


def _through_points() -> FloatArray:
    """From values and slopes at `PLACES` to the terms of the polynomial, (TERMS, TERMS)."""
    power = np.arange(TERMS)
    values = PLACES[:, None] ** power
    slopes = power * PLACES[:, None] ** np.maximum(power - 1, 0)
    return np.asarray(np.linalg.inv(np.concatenate([values, slopes])))


def _events_at(at: SideIntegrals) -> tuple[FloatArray, FloatArray]:
    """Planned renewals (times,) and failures by part (times, parts), mean [1 / usage unit]."""
    planned = (at.survival / at.uptime).mean(axis=1)
    return np.asarray(planned), np.asarray((at.incidence / at.uptime[:, None]).mean(axis=2))


def _slopes_at(at: SideIntegrals) -> tuple[FloatArray, FloatArray]:
    """How these change with the interval [1 / usage unit squared]."""
    share = at.survival / at.uptime
    planned = -share * (at.hazard.sum(axis=1) + share)
    failures = share[:, None] * (at.hazard - at.incidence / at.uptime[:, None])
    return np.asarray(planned.mean(axis=1)), np.asarray(failures.mean(axis=2))


def _money(costs: SideCosts, planned: FloatArray, failures: FloatArray) -> FloatArray:
    """Money by price of planned renewals and failures with the kit, (times, prices)."""
    once, broken, _ = cost_pieces(costs)
    return np.asarray(planned[:, None] * once + failures @ broken)


def _by_price(costs: SideCosts, rates: EventRates) -> FloatArray:
    """Money by price of a way of working, (prices,) [money / usage unit]."""
    once, broken, alone = cost_pieces(costs)
    whole = rates.kit_failures.mean(axis=1) @ broken + rates.part_failures.mean(axis=1) @ alone
    return np.asarray(rates.planned.mean() * once[0] + whole)


def cost_pieces(costs: SideCosts) -> tuple[FloatArray, FloatArray, FloatArray]:
    """What work costs by price: planned, and a failure of each part with the kit and without.

    Parameters
    ----------
    costs : SideCosts

    Returns
    -------
    planned, kit_failure, part_failure : float array (1, prices), (parts, prices), (parts, prices)
        In the order of `PRICES` [money]; a fouled air side is a kit, hours and lost production.
    """
    fault, clean_up = costs.opening_fault, costs.spill - costs.fouling.cash
    return (
        _pieces(costs, costs.planned, fault, np.zeros(1)),
        _pieces(costs, costs.kit_failure, 1.0 + fault, clean_up),
        _pieces(costs, costs.part_failure, 1.0 + fault, clean_up),
    )


def _pieces(costs: SideCosts, work: WorkCost, call_outs: float, clean_up: FloatArray) -> FloatArray:
    called = np.full(work.cash.size, call_outs * costs.call_out)
    kits = work.cash - called - clean_up
    labour, idle = costs.labour_per_h * work.labour_h, costs.downtime_per_h * work.downtime_h
    return np.stack(np.broadcast_arrays(kits, labour, idle, clean_up, called), axis=1)
