"""What a way of working does and costs per usage unit, for each draw: one footing for all."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pumplife.policy.costs import CostRates, SideCosts, WorkCost, cost_rates
from pumplife.policy.practice import EventRates
from pumplife.policy.pump import FloatArray
from pumplife.policy.simulate import BoolArray

EXACT = "exact"
SIMULATED = "simulated"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class YearsAhead:
    """What a whole group costs over the horizon, discounted, and what comes in it.

    Attributes
    ----------
    mean, low, high : float
        Mean and 90 % band: chance and doubt about the lives together [money].
    error : float
        Standard error of the mean by simulation [money].
    failures, kits, releases : float
        Expected failures, whole renewals of the side, failures that release fluid.
    downtime_h : float
        [h]
    """

    mean: float
    low: float
    high: float
    error: float
    failures: float
    kits: float
    releases: float
    downtime_h: float

    def __repr__(self) -> str:
        """Say the mean."""
        return f"<YearsAhead: {self.mean:.4g}>"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Outcome:
    """One way of working with its settings: costs and events, (draws,) [1 / usage unit].

    Attributes
    ----------
    policy : str
    costs : CostRates
    failures, kits, releases : float array (draws,)
        Failures, whole renewals of the side, failures that release fluid [1 / usage unit].
    interval : float
        Planned age, or usage between inspections [usage]; NaN where there is none.
    renew_older : float
        Age from which a part is renewed as well while the side is open [usage].
    every : float
        Air kit at every so many fluid rebuilds, or kit at every so many outages.
    block_weeks : float
        Weeks between planned kits where the calendar sets them.
    longest : float
        Most usage that a side can reach before it is renewed whole [usage].
    how : str
        exact / simulated.
    error : float
        Standard error of the mean cost by simulation [money / usage unit].
    note : str
        What was assumed.
    ahead : YearsAhead or None
        The next three years, where they were looked at.
    """

    policy: str
    costs: CostRates
    failures: FloatArray
    kits: FloatArray
    releases: FloatArray
    interval: float = np.nan
    renew_older: float = np.nan
    every: float = np.nan
    block_weeks: float = np.nan
    longest: float = np.inf
    how: str = EXACT
    error: float = 0.0
    note: str = ""
    ahead: YearsAhead | None = None

    def __repr__(self) -> str:
        """Say the policy and the mean cost."""
        return f"<Outcome: {self.policy}, {self.costs.money.mean():.4g} a usage unit>"


def outcome_of(
    policy: str, costs: SideCosts, events: EventRates, releases: BoolArray, **settings: float | str
) -> Outcome:
    """Price the events of a way of working.

    Parameters
    ----------
    policy : str
    costs : SideCosts
    events : EventRates
        [1 / usage unit]
    releases : bool array (parts,)
        Parts whose failure lets fluid out.
    **settings
        Further fields of Outcome.
    """
    return Outcome(
        policy=policy,
        costs=cost_rates(costs, events),
        failures=events.failures.sum(axis=0),
        kits=events.planned + events.kit_failures.sum(axis=0),
        releases=events.failures[releases].sum(axis=0),
        **settings,  # type: ignore[arg-type]  # names are those of Outcome
    )


def add_work(costs: SideCosts, to: CostRates, work: WorkCost, rate: FloatArray) -> CostRates:
    """Costs with further work at some rate, (pieces of work, draws) [1 / usage unit]."""
    cash, labour, downtime = (
        getattr(to, name) + np.einsum("pd,p->d", rate, getattr(work, name))
        for name in ("cash", "labour_h", "downtime_h")
    )
    return CostRates(
        money=cash + costs.labour_per_h * labour + costs.downtime_per_h * downtime,
        cash=cash,
        labour_h=labour,
        downtime_h=downtime,
    )


def part_prices(costs: SideCosts) -> FloatArray:
    """Price of one new part of each, (parts,) [money].

    A failure with the failed part alone differs from one with the kit in nothing but what is
    fitted.
    """
    return np.asarray(costs.part_failure.cash - costs.kit_failure.cash + costs.kit_price)


def mean_rates(events: list[EventRates], weights: FloatArray) -> EventRates:
    """Event rates of some pumps taken together, weighted by their usage."""
    weights = np.asarray(weights, float) / np.sum(weights)

    def mean(name: str) -> FloatArray:
        return np.asarray(np.tensordot(weights, [getattr(one, name) for one in events], axes=1))

    return EventRates(
        kit_failures=mean("kit_failures"),
        part_failures=mean("part_failures"),
        planned=mean("planned"),
    )


def thin_events(events: EventRates, step: int) -> EventRates:
    """Event rates of every so manieth draw."""
    return EventRates(
        kit_failures=events.kit_failures[:, ::step],
        part_failures=events.part_failures[:, ::step],
        planned=events.planned[::step],
    )
