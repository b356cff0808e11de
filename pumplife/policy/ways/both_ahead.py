"""The years ahead of both sides of a pump where the air kit goes along with fluid rebuilds."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from pumplife.policy.groups import SideGroup
from pumplife.policy.own_limits import take_pumps
from pumplife.policy.pump import FloatArray
from pumplife.policy.simulate import IntArray
from pumplife.policy.simulate_pump import nth_rebuilds
from pumplife.policy.simulate_way import Way, fixed_interval
from pumplife.policy.ways.alone import Scope
from pumplife.policy.ways.futures import Counted, Span, count_events, plain_works, run_side
from pumplife.policy.ways.outcome import Outcome
from pumplife.policy.ways.together import shared_costs


def count_together(fluid: Scope, air: Scope, outcome: Outcome, span: Span) -> Counted:
    """The fluid side at its interval, and what changes on the air side against its own advice.

    Both sides meet the same draws of the lives; the air side meets the same chance with and
    without the fluid side's rebuilds, as far as they go together.  The rebuilds since the air kit
    last went along are as many as fit into the air side's age today: its first kit comes sooner
    where it is old.  Pumps of the fluid group without that air side count like the others.

    Parameters
    ----------
    fluid, air : Scope
        The air side of most of the fluid group's pumps.
    outcome : Outcome
        With the fluid interval, and the number of fluid rebuilds to each air kit.
    span : Span
    """
    group, costs = fluid.group, fluid.decision.costs
    interval = outcome.interval if np.isfinite(outcome.interval) else np.inf
    events = run_side(group, Way(planned=fixed_interval(interval)), span)
    counted = count_events(events, group, costs, plain_works(costs), span)
    side, row = _shared(group, air.group)
    rebuilds = max(int(events.kit.sum()), 1)
    cycle = span.futures * span.years * float(group.usage_per_year.sum()) / rebuilds
    done = np.minimum(side.clock_age // cycle, outcome.every - 1.0).astype(np.int64)
    since = np.zeros(group.pumps.size, np.int64)
    since[row] = done
    scheduled = nth_rebuilds(events, group.usage_per_year, span.futures, int(outcome.every), since)
    change = _change(fluid, replace(air, group=side), span, scheduled[row])
    share = float(group.rate.sum()) / max(float(group.rate[row].sum()), 1e-300)
    return counted.plus(change, share)


def _shared(fluid: SideGroup, air: SideGroup) -> tuple[SideGroup, IntArray]:
    """The air sides of the fluid group's pumps at these pumps' usage, and their fluid rows."""
    side = take_pumps(air, np.isin(air.pumps, fluid.pumps))
    order = np.argsort(fluid.pumps)
    row = order[np.searchsorted(fluid.pumps, side.pumps, sorter=order)]
    return replace(side, rate=fluid.rate[row]), row


def _change(fluid: Scope, air: Scope, span: Span, scheduled: FloatArray) -> Counted:
    """The air side at the fluid side's openings, less the air side by its own advice."""
    group, decision = air.group, air.decision
    apart = plain_works(decision.costs)
    hours = fluid.plant.work("together")
    shared = shared_costs(fluid.decision.costs, decision.costs, hours)
    chance = replace(span, seed=span.seed + 1)
    along = run_side(group, Way(), chance, scheduled=scheduled)
    way = Way(planned=fixed_interval(decision.interval), kit_share=decision.kit_share)
    own = count_events(run_side(group, way, chance), group, decision.costs, apart, span)
    works = replace(apart, planned=shared.planned)
    return count_events(along, group, decision.costs, works, span).plus(own, -1.0)
