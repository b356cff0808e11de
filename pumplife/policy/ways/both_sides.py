"""The air side rebuilt with the fluid side, against each by itself."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from pumplife.policy.ages import time_at_hazard
from pumplife.policy.costs import CostRates
from pumplife.policy.decide import FAILED_PART, Decision
from pumplife.policy.groups import SideGroup
from pumplife.policy.practice import EventRates
from pumplife.policy.pump import FloatArray
from pumplife.policy.ways.alone import Scope, Withheld, events_at
from pumplife.policy.ways.counts import FailureCounts
from pumplife.policy.ways.outcome import Outcome, outcome_of
from pumplife.policy.ways.together import (
    MOST,
    air_events,
    block_chances,
    cycle_chances,
    shared_costs,
)

TOGETHER = "air kit at every n-th fluid rebuild"
STRETCH = (0.8, 1.0, 1.25)  # fluid intervals tried, against the one advised for the fluid side
DEAD = 12.0  # cumulative hazard that hardly any side outlives


def find_partner(fluid: SideGroup, air: list[Scope]) -> tuple[Scope | None, int]:
    """The air side of most of a fluid group's pumps, and of how many."""
    shared = [np.intersect1d(fluid.pumps, scope.group.pumps).size for scope in air]
    best = int(np.argmax(shared)) if shared else 0
    return (air[best], shared[best]) if shared and shared[best] else (None, 0)


def together_way(fluid: Scope, others: list[Scope]) -> Outcome | Withheld:
    """The best n and fluid interval for the air kit at every n-th fluid rebuild.

    Numbers are those of the fluid side and what changes on the air side against its own advice.

    Parameters
    ----------
    fluid : Scope
    others : list of Scope
        Air sides.
    """
    air, pumps = find_partner(fluid.group, others)
    if air is None:
        return Withheld(policy=TOGETHER, note="No air side of these pumps has advice.")
    if FAILED_PART in (fluid.decision.policy, air.decision.policy):
        return Withheld(
            policy=TOGETHER,
            note="Where the failed part alone is renewed, no kit can share a visit.",
        )
    outcomes = [
        one for interval in _intervals(fluid.decision) for one in _joint(fluid, air, interval)
    ]
    if not outcomes:
        return Withheld(policy=TOGETHER, note="The air side's limit lies below the fluid interval.")
    best = min(outcomes, key=lambda one: float(one.costs.money.mean()))
    return replace(best, note=_note(fluid, air, pumps))


def _joint(fluid: Scope, air: Scope, interval: float) -> list[Outcome]:
    """The air kit at every n-th fluid rebuild for each n that keeps the air side's limit."""
    kept = [n for n in range(1, MOST + 1) if n * interval <= air.decision.limit]
    if not kept:
        return []
    apart, releases = air.decision, air.group.releases
    hours = fluid.plant.work("together")
    costs = shared_costs(fluid.decision.costs, apart.costs, hours)
    own = outcome_of(apart.policy, apart.costs, air.advised, releases)
    base = _fluid_outcome(fluid, interval)
    shared = [
        outcome_of(TOGETHER, costs, events, releases)
        for events in _air(fluid.group, air.with_kit, interval, kept)
    ]
    return [
        replace(_sum(base, one, own), every=float(n)) for n, one in zip(kept, shared, strict=True)
    ]


def _intervals(decision: Decision) -> list[float]:
    """Fluid intervals to try [usage]."""
    if not np.isfinite(decision.interval):
        return [np.inf]
    return sorted({min(decision.interval * factor, decision.limit) for factor in STRETCH})


def _fluid_outcome(fluid: Scope, interval: float) -> Outcome:
    """The fluid side by itself at one interval."""
    group, decision = fluid.group, fluid.decision
    known = interval == decision.interval
    events = fluid.advised if known else events_at(group.life, interval)
    age = interval if np.isfinite(interval) else np.nan
    return outcome_of(
        TOGETHER, decision.costs, events, group.releases, interval=age, longest=interval
    )


def _air(
    group: SideGroup, counts: FailureCounts, interval: float, kept: list[int]
) -> list[EventRates]:
    """Events of the air side at every n-th fluid rebuild."""
    draws = group.lives.shape.shape[-1]
    longest: FloatArray = np.full(draws, np.inf)
    if not np.isfinite(interval):
        longest = time_at_hazard(group.life, DEAD, draws)
    step, chance = cycle_chances(group.life, interval, longest)
    return air_events(counts, step, [block_chances(chance, n) for n in kept])


def _sum(fluid: Outcome, air: Outcome, own: Outcome) -> Outcome:
    """The fluid side and what changes on the air side."""

    def total(name: str) -> FloatArray:
        parts = [getattr(one, name) for one in (fluid, air, own)]
        return np.asarray(parts[0] + parts[1] - parts[2])

    def money(name: str) -> FloatArray:
        parts = [getattr(one.costs, name) for one in (fluid, air, own)]
        return np.asarray(parts[0] + parts[1] - parts[2])

    names = ("money", "cash", "labour_h", "downtime_h")
    return replace(
        fluid,
        costs=CostRates(**{name: money(name) for name in names}),
        failures=total("failures"),
        kits=total("kits"),
        releases=total("releases"),
    )


def _note(fluid: Scope, air: Scope, pumps: int) -> str:
    """What was assumed."""
    given = fluid.plant.work("together")
    words = [f"With what changes on the air side (kit {air.group.kit})."]
    if not np.isfinite([given["planned_labour_h"], given["planned_downtime_h"]]).all():
        words.append("A shared visit takes the labour of both, the downtime of the longer.")
    if pumps < fluid.group.pumps.size:
        words.append(
            f"Reckoned for {pumps} of {fluid.group.pumps.size} pumps, the others likewise."
        )
    return " ".join(words)
