"""The air side rebuilt with the fluid side, against each by itself."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from pumplife.policy.costs import CostRates
from pumplife.policy.decide import FAILED_PART, Decision
from pumplife.policy.groups import SideGroup
from pumplife.policy.practice import EventRates, rates_of
from pumplife.policy.pump import FloatArray, time_at_hazard
from pumplife.policy.ways.alone import Withheld, events_at
from pumplife.policy.ways.counts import FailureCounts, count_with_kit
from pumplife.policy.ways.outcome import Outcome, outcome_of
from pumplife.policy.ways.together import (
    MOST,
    air_events,
    block_chances,
    cycle_chances,
    shared_costs,
)
from pumplife.records.plant import Plant

TOGETHER = "air kit at every n-th fluid rebuild"
STRETCH = (0.8, 1.0, 1.25)  # fluid intervals tried, against the one advised for the fluid side
DEAD = 12.0  # cumulative hazard that hardly any side outlives

Pair = tuple[SideGroup, Decision]


def find_partner(group: SideGroup, others: list[Pair]) -> tuple[Pair | None, int]:
    """The air side of most of a fluid group's pumps, and of how many."""
    if group.side != "fluid":
        return None, 0
    shared = [
        np.intersect1d(group.pumps, other.pumps).size if other.side == "air" else 0
        for other, _ in others
    ]
    best = int(np.argmax(shared)) if shared else 0
    return (others[best], shared[best]) if shared and shared[best] else (None, 0)


def together_way(plant: Plant, fluid: Pair, air: Pair, pumps: int) -> Outcome | Withheld:
    """The best n and fluid interval for the air kit at every n-th fluid rebuild.

    Numbers are those of the fluid side and what changes on the air side against its own advice.

    Parameters
    ----------
    plant : Plant
    fluid, air : tuple of SideGroup and Decision
    pumps : int
        Pumps that have both.
    """
    (group, decision), (other, apart) = fluid, air
    if FAILED_PART in (decision.policy, apart.policy):
        return Withheld(
            policy=TOGETHER, note="Where the failed part alone is renewed, no kit can share a stop."
        )
    costs = shared_costs(decision.costs, apart.costs, plant.work("together"))
    counts = count_with_kit(other.life, apart.advice.at_failure.uptime[0])
    own = outcome_of(apart.policy, apart.costs, apart.events, other.releases)
    outcomes = []
    for interval in _intervals(decision):
        base = _fluid_outcome(group, decision, interval)
        kept = [n for n in range(1, MOST + 1) if n * interval <= apart.limit]
        for n, events in zip(kept, _air(group, counts, interval, kept), strict=True):
            shared = outcome_of(TOGETHER, costs, events, other.releases)
            joint = _sum(base, shared, own)
            outcomes.append(replace(joint, interval=base.interval, every=float(n)))
    if not outcomes:
        return Withheld(policy=TOGETHER, note="The air side's limit lies below the fluid interval.")
    best = min(outcomes, key=lambda one: float(one.costs.money.mean()))
    return replace(best, note=_note(plant, group, other, pumps))


def _intervals(decision: Decision) -> list[float]:
    """Fluid intervals to try [usage]."""
    if not np.isfinite(decision.interval):
        return [np.inf]
    kept = {min(decision.interval * factor, decision.limit) for factor in STRETCH}
    return sorted(kept)


def _fluid_outcome(group: SideGroup, decision: Decision, interval: float) -> Outcome:
    """The fluid side by itself at one interval."""
    if np.isfinite(interval):
        events = events_at(group.life, interval)
    else:
        events = rates_of(decision.advice.at_failure)
    age = interval if np.isfinite(interval) else np.nan
    return outcome_of(
        TOGETHER, decision.costs, events, group.releases, interval=age, longest=interval
    )


def _air(
    group: SideGroup, counts: FailureCounts, interval: float, kept: list[int]
) -> list[EventRates]:
    """Events of the air side at every n-th fluid rebuild."""
    if not kept:
        return []
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


def _note(plant: Plant, group: SideGroup, other: SideGroup, pumps: int) -> str:
    """What was assumed."""
    given = plant.work("together")
    words = [f"With what changes on the air side (kit {other.kit})."]
    if not np.isfinite([given["planned_labour_h"], given["planned_downtime_h"]]).all():
        words.append("A shared stop takes the labour of both, the downtime of the longer.")
    if pumps < group.pumps.size:
        words.append(f"Reckoned for {pumps} of {group.pumps.size} pumps, the others likewise.")
    return " ".join(words)
