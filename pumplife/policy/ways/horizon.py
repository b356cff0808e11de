"""What a way of working costs over the next years, from the ages that the sides have today."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from pumplife.policy.decide import FAILED_PART, PLANNED, RUN_TO_FAILURE
from pumplife.policy.groups import DAYS_PER_YEAR, SideGroup
from pumplife.policy.pump import FloatArray
from pumplife.policy.simulate_way import Inspection, Way, fixed_interval
from pumplife.policy.ways.alone import (
    ADOPTED,
    CALENDAR,
    CALENDAR_PART,
    OUTAGES,
    PLANNED_PART,
    TODAY,
    Scope,
)
from pumplife.policy.ways.both_ahead import count_together
from pumplife.policy.ways.both_sides import TOGETHER
from pumplife.policy.ways.futures import Counted, Span, count_events, plain_works, run_side
from pumplife.policy.ways.inspection import INSPECTION, Look, mending_work, read_look, seeing_work
from pumplife.policy.ways.kit_when_worn import KIT_WHEN_WORN
from pumplife.policy.ways.older import OLDER, PLANNED_OLDER
from pumplife.policy.ways.outcome import Outcome, YearsAhead
from pumplife.records.plant import to_day

YEARS = 3.0
LANES = 800  # pumps times futures of a group, roughly
FEWEST, MOST = 24, 200  # futures
SEED = 21
KIT_SHARE = {
    RUN_TO_FAILURE: 1.0, PLANNED: 1.0, ADOPTED: 1.0, CALENDAR: 1.0, OUTAGES: 1.0,
    FAILED_PART: 0.0, PLANNED_PART: 0.0, CALENDAR_PART: 0.0, OLDER: 0.0, PLANNED_OLDER: 0.0,
    INSPECTION: 0.0, KIT_WHEN_WORN: 1.0,
}  # fmt: skip
LOOKED = (INSPECTION, KIT_WHEN_WORN)  # interval is that between looks


def look_ahead(
    scope: Scope, outcome: Outcome, air: Scope | None = None, years: float = YEARS
) -> YearsAhead:
    """Simulate the next years of a way of working, all ways on the same futures' lives.

    Parameters
    ----------
    scope : Scope
    outcome : Outcome
        The way at its setting.
    air : Scope, optional
        The air side of most of the pumps, for the way that rebuilds it with the fluid side.
    years : float
        [years]

    Returns
    -------
    YearsAhead
    """
    rate = scope.plant.cost("discount_per_year")
    span = Span(
        years=years,
        futures=_count_futures(scope.group),
        discount=0.0 if np.isnan(rate) else rate,
        seed=SEED,
    )
    if outcome.policy == TOGETHER and air is not None:
        counted = count_together(scope, air, outcome, span)
    else:
        counted = _count_alone(scope, outcome, span)
    low, high = np.quantile(counted.money, [0.05, 0.95])
    return YearsAhead(
        mean=float(counted.money.mean()),
        low=float(low),
        high=float(high),
        error=float(counted.money.std(ddof=1) / np.sqrt(span.futures)),
        failures=float(counted.failures.mean()),
        kits=float(counted.kits.mean()),
        releases=float(counted.releases.mean()),
        downtime_h=float(counted.downtime_h.mean()),
    )


def count_lanes(group: SideGroup) -> int:
    """Pumps times futures of a group, for each way."""
    return group.pumps.size * _count_futures(group)


def _count_futures(group: SideGroup) -> int:
    return int(np.clip(LANES // group.pumps.size, FEWEST, MOST))


def _count_alone(scope: Scope, outcome: Outcome, span: Span) -> Counted:
    """A way of one side by itself."""
    group, costs = scope.group, scope.decision.costs
    works = plain_works(costs)
    way = _way_of(group, outcome)
    if outcome.policy in LOOKED:
        look = read_look(scope.plant, group.part)
        way = replace(
            way, planned=fixed_interval(np.inf), inspection=_inspect(group, outcome, look)
        )
        works = replace(works, also=mending_work(costs), look=seeing_work(look))
    scheduled = _schedule(scope, outcome, span.years)
    events = run_side(group, way, span, scheduled=scheduled)
    return count_events(events, group, costs, works, span)


def _way_of(group: SideGroup, outcome: Outcome) -> Way:
    """The way as the simulator follows it, blocks apart."""
    if outcome.policy == TODAY:
        return Way(planned=group.planned, kit_share=group.kit_share)
    older = np.isfinite(outcome.renew_older)
    return Way(
        planned=fixed_interval(outcome.interval if np.isfinite(outcome.interval) else np.inf),
        kit_share=KIT_SHARE[outcome.policy],
        renew_older=np.full(group.part_of.size, outcome.renew_older) if older else None,
    )


def _inspect(group: SideGroup, outcome: Outcome, look: Look) -> Inspection:
    """Looks at every multiple of their interval since the side was last renewed whole."""
    return Inspection(
        every=outcome.interval,
        delay_share=look.delay_share[group.part_of],
        detection=look.detection,
        whole=outcome.policy == KIT_WHEN_WORN,
    )


def _schedule(scope: Scope, outcome: Outcome, years: float) -> FloatArray | None:
    """Usage of each pump until each kit that the calendar sets, (pumps, kits)."""
    group = scope.group
    days = years * DAYS_PER_YEAR
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
