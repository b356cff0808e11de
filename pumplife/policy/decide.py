"""What to do with one pump group, and what each way of working would cost."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from pumplife.policy.costs import CostRates, SideCosts, cost_rates
from pumplife.policy.evidence import keep_todays
from pumplife.policy.groups import SideGroup
from pumplife.policy.interval import IntervalAdvice, advise_interval
from pumplife.policy.own_limits import keep_own_limits
from pumplife.policy.practice import (
    AS_GOOD_AS_ALL,
    LEAST_KIT_SHARE,
    EventRates,
    failed_part_rates,
    practice_rates,
    rates_of,
)
from pumplife.policy.pump import integrate_to

PLANNED = "planned kit"
RUN_TO_FAILURE = "run to failure"
FAILED_PART = "run to failure, failed part only"
CLEARLY_CHEAPER = 0.95  # renewing the failed part alone must undercut the rest by 5 %
CLEARLY_SURE = 0.9  # and be the cheaper way with this probability
SEEN = 0.5  # fewer failures than this are none (a breakdown may be shared among several parts)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Decision:
    """The advice for one group beside the other ways of working.

    Attributes
    ----------
    policy : str
        planned kit / run to failure / run to failure, failed part only / keep today's.
    interval : float
        Planned interval [usage]; inf means run to failure.
    kit_share : float
        1 where a failure renews the whole side, 0 where it renews the failed part alone.
    advice : IntervalAdvice
        The best planned interval of the whole kit against running to failure, also where the
        failed part alone is cheaper than both.
    costs : SideCosts
    events : EventRates
        Events under the advice [1 / usage unit].
    events_today : EventRates
        Events under today's practice [1 / usage unit].
    advised, today, run_to_failure, failed_part : CostRates
        [money / usage unit], paired by draw.
    adopted : CostRates or None
        What the plant has adopted, where it has.
    adopted_interval : float
        [usage]; inf means run to failure, NaN that nothing is adopted.
    """

    policy: str
    interval: float
    kit_share: float
    advice: IntervalAdvice
    costs: SideCosts
    events: EventRates
    events_today: EventRates
    advised: CostRates
    today: CostRates
    run_to_failure: CostRates
    failed_part: CostRates
    adopted: CostRates | None
    adopted_interval: float

    def __repr__(self) -> str:
        """Say the policy and the interval."""
        return f"<Decision: {self.policy}, {self.interval:.6g}>"

    @property
    def followed_interval(self) -> float:
        """What the due list follows [usage]: the adopted interval, else the advised one.

        A limit caps what the plant has adopted, too.
        """
        if np.isnan(self.adopted_interval):
            return self.interval
        return min(self.adopted_interval, self.limit)

    @property
    def limit(self) -> float:
        """The strictest limit that can be kept [usage]; inf where there is none."""
        return min((value for value in self.advice.limits.values() if value > 0.0), default=np.inf)

    @property
    def followed_kit_share(self) -> float:
        """1 where what is followed renews the whole side at a failure, else 0."""
        return self.kit_share if np.isnan(self.adopted_interval) else 1.0

    @property
    def followed(self) -> CostRates:
        """What the plant does now: its adopted interval, else its practice."""
        return self.today if self.adopted is None else self.adopted


def decide_group(
    group: SideGroup, *, release_target: float, adopted_interval: float = np.nan
) -> Decision:
    """Compare the ways of working for one group and choose the cheapest within the limits.

    Parameters
    ----------
    group : SideGroup
        One without `missing`.
    release_target : float
        Largest probability of a release within one interval, for hazardous groups.
    adopted_interval : float
        What the plant has adopted [usage]; inf is run to failure, NaN nothing.

    Returns
    -------
    Decision
    """
    costs = group.costs
    assert costs is not None, "a group without costs has its reason in `missing`"
    side = group.life
    advice = advise_interval(
        side,
        costs.planned_money,
        costs.failure_money,
        maximum=group.maximum,
        releasing=group.releases if group.hazard == "hazardous" else None,
        alone=group.alone_life,
        release_target=release_target,
        failures_seen=group.failures >= SEEN or group.evidence.lent,
    )
    planned, never = rates_of(advice.at_interval), rates_of(advice.at_failure)
    alone = failed_part_rates(group.lives.mean(), group.count)
    cost_alone = cost_rates(costs, alone)
    best = cost_rates(costs, planned)
    alone_pays = (
        not _has_limit(advice)
        and cost_alone.money.mean() < CLEARLY_CHEAPER * best.money.mean()
        and np.mean(cost_alone.money < best.money) >= CLEARLY_SURE
    )
    interval = np.inf if alone_pays else advice.interval
    policy = PLANNED if np.isfinite(interval) else RUN_TO_FAILURE
    today = _events_today(group, advice, alone, never)
    decision = Decision(
        policy=FAILED_PART if alone_pays else policy,
        interval=interval,
        kit_share=0.0 if alone_pays else 1.0,
        advice=advice,
        costs=costs,
        events=alone if alone_pays else planned,
        advised=cost_alone if alone_pays else best,
        events_today=today,
        today=cost_rates(costs, today),
        run_to_failure=cost_rates(costs, never),
        failed_part=cost_alone,
        adopted=_adopted_rates(group, advice, costs, adopted_interval),
        adopted_interval=adopted_interval,
    )
    return keep_own_limits(group, keep_todays(group, decision))


def let_go(decision: Decision) -> Decision:
    """The decision without its integrals: with those of thousands of groups memory is full."""
    return replace(decision, advice=replace(decision.advice, kept=None))


def _has_limit(advice: IntervalAdvice) -> bool:
    """Whether a limit asks for planned work whatever it costs."""
    return any(0.0 < limit < np.inf for limit in advice.limits.values())


def _events_today(
    group: SideGroup, advice: IntervalAdvice, alone: EventRates, never: EventRates
) -> EventRates:
    """Events under today's practice; without planned work they may be known already."""
    if group.planned.never == 1.0 and group.kit_share < LEAST_KIT_SHARE:
        return alone
    if group.planned.never == 1.0 and group.kit_share >= AS_GOOD_AS_ALL:
        return never
    return practice_rates(advice.side, group.planned, group.kit_share, known=advice.known)


def _adopted_rates(
    group: SideGroup, advice: IntervalAdvice, costs: SideCosts, interval: float
) -> CostRates | None:
    """Cost of the adopted interval, the whole side renewed at failures."""
    if np.isnan(interval):
        return None
    at = integrate_to(advice.side, advice.known, np.array([interval]))
    return cost_rates(costs, rates_of(at))
