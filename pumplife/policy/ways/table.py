"""Table `policies`: every way of working of every group, on one footing."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd

from pumplife.policy.decide import Decision
from pumplife.policy.groups import SideGroup
from pumplife.policy.ways.alone import (
    Scope,
    Withheld,
    closed_ways,
    inspection_way,
    open_scope,
    renewal_ways,
)
from pumplife.policy.ways.both_sides import TOGETHER, find_partner, together_way
from pumplife.policy.ways.horizon import YEARS, count_lanes, look_ahead
from pumplife.policy.ways.kit_when_worn import kit_when_worn
from pumplife.policy.ways.older import older_ways
from pumplife.policy.ways.outcome import Outcome
from pumplife.policy.ways.worth import is_worth_a_look
from pumplife.records.plant import Plant
from pumplife.records.read import Records
from pumplife.records.second import in_turn

HOURS_PER_YEAR = 8766.0
POLICY_COLUMNS = (
    "service", "size_mm", "side", "kit", "hazard", "policy", "standing", "interval", "t0", "q",
    "block_weeks", "cost_rate", "cost_rate_low", "cost_rate_high", "rate_unit", "cost_per_year",
    "saving_vs_advised", "saving_vs_advised_low", "saving_vs_advised_high",
    "prob_cheaper_than_advised", "keeps_limit", "availability", "failures_per_year",
    "kits_per_year", "spills_per_year", "labour_h_per_year", "downtime_h_per_year",
    "cost_3_years", "cost_3_years_low", "cost_3_years_high", "cost_3_years_error",
    "availability_3_years", "failures_3_years", "kits_3_years", "spills_3_years",
    "computed", "standard_error", "note",
)  # fmt: skip
ADVISED, LOOK = "advised", "worth a look"

Ways = tuple[Outcome | Withheld, ...]


def compare_ways(
    plant: Plant, groups: tuple[SideGroup, ...], decisions: tuple[Decision | None, ...]
) -> tuple[Ways, ...]:
    """Every way of working of every group, each at its best setting within the limits.

    Parameters
    ----------
    plant : Plant
    groups : tuple of SideGroup
    decisions : tuple of Decision or None

    Returns
    -------
    tuple of tuple of Outcome or Withheld (groups,)
        Empty for a group without a decision.
    """
    known = [number for number, decision in enumerate(decisions) if decision is not None]
    known.sort(key=lambda number: -groups[number].pumps.size)

    def open_one(number: int) -> Scope:
        decision = decisions[number]
        assert decision is not None, "only groups with a decision are looked at"
        return open_scope(plant, groups[number], decision)

    air = {number: open_one(number) for number in known if groups[number].side != "fluid"}
    others = [air[number] for number in sorted(air)]

    def compare_one(number: int) -> Ways:
        scope = air[number] if number in air else open_one(number)
        return _ways_of(groups[number], scope, others)

    lanes = sum(count_lanes(groups[number]) for number in known)
    found = dict(zip(known, in_turn(compare_one, known, lanes), strict=True))
    return tuple(found.get(number, ()) for number in range(len(groups)))


def _ways_of(group: SideGroup, scope: Scope, air: list[Scope]) -> Ways:
    """Every way of working of one group; `scope` has some of its draws."""
    looked = inspection_way(scope)
    ways = [
        *closed_ways(group, scope.decision),
        *renewal_ways(scope),
        *older_ways(scope),
        looked,
        kit_when_worn(scope, looked),
    ]
    if group.side == "fluid":
        ways.append(together_way(scope, air))
    return tuple(_ahead_of(scope, way, air) for way in ways)


def _ahead_of(scope: Scope, way: Outcome | Withheld, air: list[Scope]) -> Outcome | Withheld:
    """A way of working with its years ahead."""
    if isinstance(way, Withheld):
        return way
    partner, _ = find_partner(scope.group, air if way.policy == TOGETHER else [])
    return replace(way, ahead=look_ahead(scope, way, partner))


def policies_table(
    records: Records,
    groups: tuple[SideGroup, ...],
    decisions: tuple[Decision | None, ...],
    ways: tuple[Ways, ...],
    rate: tuple[float, str],
) -> pd.DataFrame:
    """One row per group and way of working.

    Parameters
    ----------
    records : Records
    groups, decisions, ways
        In one order; see `compare_ways`.
    rate : tuple of float and str
        Usage that cost rates are for, and its words.

    Returns
    -------
    DataFrame
        Bands are 90 %, differences are paired by draw.  availability is 1 - downtime hours a year
        over the hours of the year, for the group's running pumps.
    """
    unit = f"{records.plant.currency} {rate[1]}".strip()
    rows = [
        _row(group, decision, way, rate[0]) | {"rate_unit": unit}
        for group, decision, found in zip(groups, decisions, ways, strict=True)
        if decision is not None
        for way in found
    ]
    table = pd.DataFrame(rows).reindex(columns=list(POLICY_COLUMNS))
    for name in ("standing", "computed", "keeps_limit", "note"):
        table[name] = table[name].fillna("").astype(object)
    return table


def _row(
    group: SideGroup, decision: Decision, way: Outcome | Withheld, factor: float
) -> dict[str, Any]:
    """One way of working of one group."""
    keys = {
        "service": group.service,
        "size_mm": group.size_mm,
        "side": group.side,
        "kit": group.kit,
        "hazard": group.hazard,
        "policy": way.policy,
        "note": way.note,
    }
    if isinstance(way, Withheld):
        return keys
    if way.policy == decision.policy:
        keys["standing"] = ADVISED
    elif is_worth_a_look(decision, way):
        keys["standing"] = LOOK
    parts = (_settings(decision, way), _money(group, decision, way, factor))
    return {**keys, **parts[0], **parts[1], **_year(group, way), **_ahead(group, way)}


def _settings(decision: Decision, way: Outcome) -> dict[str, Any]:
    """What the policy is set to, and how it was computed."""
    return {
        "interval": way.interval,
        "t0": way.renew_older,
        "q": way.every,
        "block_weeks": way.block_weeks,
        "keeps_limit": "yes" if way.longest <= decision.limit * (1.0 + 1e-9) else "no",
        "computed": way.how,
    }


def _money(group: SideGroup, decision: Decision, way: Outcome, factor: float) -> dict[str, Any]:
    """Cost rate, cost a year, and the difference to the advice, draw by draw.

    Where some draws stand for all, their difference to the advice counts from the advice's mean
    over all draws.
    """
    usage = float(group.usage_per_year.sum())
    advised, money = decision.advised.money, way.costs.money
    same_draws = advised[:: advised.size // money.size]
    money = money + (advised.mean() - same_draws.mean())
    saving = usage * (same_draws - way.costs.money)
    low, high = np.quantile(money, [0.05, 0.95])
    saving_low, saving_high = np.quantile(saving, [0.05, 0.95])
    same = way.policy == decision.policy
    return {
        "cost_rate": factor * float(money.mean()),
        "cost_rate_low": factor * float(low),
        "cost_rate_high": factor * float(high),
        "cost_per_year": usage * float(money.mean()),
        "saving_vs_advised": float(saving.mean()),
        "saving_vs_advised_low": float(saving_low),
        "saving_vs_advised_high": float(saving_high),
        "prob_cheaper_than_advised": np.nan if same else float(np.mean(saving > 0.0)),
        "standard_error": factor * way.error,
    }


def _year(group: SideGroup, way: Outcome) -> dict[str, Any]:
    """Events and hours a year of the whole group, posterior means."""
    usage = float(group.usage_per_year.sum())
    downtime = usage * float(way.costs.downtime_h.mean())
    return {
        "availability": 1.0 - downtime / (HOURS_PER_YEAR * group.pumps.size),
        "failures_per_year": usage * float(way.failures.mean()),
        "kits_per_year": usage * float(way.kits.mean()),
        "spills_per_year": usage * float(way.releases.mean()) if group.releases.any() else np.nan,
        "labour_h_per_year": usage * float(way.costs.labour_h.mean()),
        "downtime_h_per_year": downtime,
    }


def _ahead(group: SideGroup, way: Outcome) -> dict[str, float]:
    """The next three years of the group from today's ages: discounted cost, and what comes."""
    ahead = way.ahead
    if ahead is None:
        return {}
    hours = YEARS * HOURS_PER_YEAR * group.pumps.size
    return {
        "cost_3_years": ahead.mean,
        "cost_3_years_low": ahead.low,
        "cost_3_years_high": ahead.high,
        "cost_3_years_error": ahead.error,
        "availability_3_years": 1.0 - ahead.downtime_h / hours,
        "failures_3_years": ahead.failures,
        "kits_3_years": ahead.kits,
        "spills_3_years": ahead.releases if group.releases.any() else np.nan,
    }
