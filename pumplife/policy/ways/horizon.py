"""What a way of working costs over the next years, from the ages that the sides have today."""

from __future__ import annotations

import numpy as np

from pumplife.policy.decide import FAILED_PART, PLANNED, RUN_TO_FAILURE, Decision
from pumplife.policy.groups import DAYS_PER_YEAR, SideGroup
from pumplife.policy.pump import FloatArray
from pumplife.policy.simulate import SideEvents, simulate_side
from pumplife.policy.simulate_way import PLANNED as PLANNED_EVENT
from pumplife.policy.simulate_way import Way, fixed_interval
from pumplife.policy.ways.alone import (
    ADOPTED,
    CALENDAR,
    CALENDAR_PART,
    OUTAGES,
    PLANNED_PART,
    TODAY,
    Scope,
)
from pumplife.policy.ways.older import OLDER, PLANNED_OLDER
from pumplife.policy.ways.outcome import Outcome, YearsAhead, part_prices
from pumplife.records.plant import to_day

YEARS = 3.0
LANES = 800  # pumps times futures of a group, roughly
FEWEST, MOST = 24, 200  # futures
CONTENDER = 1.5  # dearer than so many times the advice in the long run: not looked at
SEED = 21
KIT_SHARE = {
    RUN_TO_FAILURE: 1.0, PLANNED: 1.0, ADOPTED: 1.0, CALENDAR: 1.0, OUTAGES: 1.0,
    FAILED_PART: 0.0, PLANNED_PART: 0.0, CALENDAR_PART: 0.0, OLDER: 0.0, PLANNED_OLDER: 0.0,
}  # fmt: skip


def look_ahead(scope: Scope, outcome: Outcome) -> YearsAhead | None:
    """Simulate the next three years of a way of working, all ways on the same futures' lives.

    Parameters
    ----------
    scope : Scope
    outcome : Outcome

    Returns
    -------
    YearsAhead or None
        None where the way isn't followed by the simulator of one side, or costs far more than the
        advice in the long run.
    """
    group, decision = scope.group, scope.decision
    way = _way_of(group, outcome)
    if way is None or outcome.costs.money.mean() > CONTENDER * decision.advised.money.mean():
        return None
    futures = int(np.clip(LANES // group.pumps.size, FEWEST, MOST))
    column = np.arange(futures) * group.lives.shape.shape[-1] // futures
    events = simulate_side(
        age=group.age,
        known=group.known,
        most=group.most,
        usage_per_year=group.usage_per_year,
        lives=group.position_lives[:, column],
        clock_age=group.clock_age,
        years=YEARS,
        rng=np.random.default_rng(SEED),
        way=way,
        scheduled=_schedule(scope, outcome),
    )
    rate = scope.plant.cost("discount_per_year")
    total = _paid(events, group, decision, 0.0 if np.isnan(rate) else rate, futures)
    low, high = np.quantile(total, [0.05, 0.95])
    return YearsAhead(
        mean=float(total.mean()),
        low=float(low),
        high=float(high),
        error=float(total.std(ddof=1) / np.sqrt(futures)),
    )


def _way_of(group: SideGroup, outcome: Outcome) -> Way | None:
    """The way as the simulator follows it, blocks apart."""
    if outcome.policy == TODAY:
        return Way(planned=group.planned, kit_share=group.kit_share)
    if outcome.policy not in KIT_SHARE:
        return None
    older = np.isfinite(outcome.renew_older)
    return Way(
        planned=fixed_interval(outcome.interval if np.isfinite(outcome.interval) else np.inf),
        kit_share=KIT_SHARE[outcome.policy],
        renew_older=np.full(group.part_of.size, outcome.renew_older) if older else None,
    )


def _schedule(scope: Scope, outcome: Outcome) -> FloatArray | None:
    """Usage of each pump until each kit that the calendar sets, (pumps, kits)."""
    group = scope.group
    days = YEARS * DAYS_PER_YEAR
    if outcome.policy in (CALENDAR, CALENDAR_PART):
        step = 7.0 * outcome.block_weeks
        return np.asarray(group.rate[:, None] * np.arange(step, days + step, step))
    if outcome.policy != OUTAGES:
        return None
    today = to_day(scope.plant.records_to)
    by_site = {
        site: _outage_days(np.unique(scope.plant.outages(site)) - today, days)
        for site in set(group.site[group.rate > 0.0])
    }
    schedule = np.full((group.site.size, max(len(own) for own in by_site.values())), np.inf)
    for site, own in by_site.items():
        kits = own[:: int(outcome.every)]
        mine = group.site == site
        schedule[mine, : kits.size] = group.rate[mine, None] * kits
    return schedule


def _outage_days(listed: FloatArray, days: float) -> FloatArray:
    """Outages from today on, the list repeating itself as far as needed [day]."""
    gaps = np.diff(listed)
    rounds = int(np.ceil(max(days - listed[-1], 0.0) / gaps.sum())) + 1
    later = listed[-1] + np.cumsum(np.tile(gaps, rounds))
    every = np.concatenate([listed, later])
    return np.asarray(every[(every > 0.0) & (every <= days)])


def _paid(
    events: SideEvents, group: SideGroup, decision: Decision, discount: float, futures: int
) -> FloatArray:
    """Discounted cost of the group in each future, (futures,) [money]."""
    costs = decision.costs
    part = group.part_of[np.maximum(events.position, 0)]
    paid = np.where(events.kit, costs.failure_money[part], costs.part_money[part])
    paid = np.where(events.position == PLANNED_EVENT, costs.planned_money, paid)
    now = (1.0 + discount) ** -events.time
    total = np.bincount(events.replicate, paid * now, futures)
    also = events.also_event
    price = part_prices(costs)[group.part_of[events.also_position]] * now[also]
    return np.asarray(total + np.bincount(events.replicate[also], price, futures))
