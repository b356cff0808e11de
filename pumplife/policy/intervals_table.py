"""The intervals table: what to do with each pump group, how sure it is, what it costs and saves."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from pumplife.lives.build import Lives
from pumplife.policy.adopted import adopted_interval, review_row
from pumplife.policy.by_calendar import calendar_rows
from pumplife.policy.decide import (
    FAILED_PART,
    RUN_TO_FAILURE,
    Decision,
)
from pumplife.policy.few import FewIntervals
from pumplife.policy.groups import SideGroup
from pumplife.policy.interval import IntervalAdvice, chance_cheaper
from pumplife.policy.practice_told import PRACTICE_COLUMNS, tell_practice
from pumplife.policy.pump import SideLife
from pumplife.policy.pumps_differ import differ_row
from pumplife.policy.rounding import rounding_row
from pumplife.policy.say_money import money_words
from pumplife.policy.tickets import Tickets, actual_row
from pumplife.policy.verdict import describe_decision
from pumplife.records.read import Records
from pumplife.records.usage import UsageClock

if TYPE_CHECKING:
    from pumplife.fits.build import Fits

BEYOND = "beyond the longest life seen"
MONEY_WORDS = ("costs_differ", "pumps_apart", "extrapolated")
RATE_UNITS = {
    "hours": (1e3, "per 1,000 h"),
    "cycles": (1e6, "per million cycles"),
    "days": (1e3, "per 1,000 days"),
}
INTERVAL_COLUMNS = (
    "service", "size_mm", "side", "kit", "hazard", "pumps", "policy", "interval", "near_best_low",
    "near_best_high", "interval_weeks", "cost_rate", "cost_rate_run_to_failure",
    "cost_rate_today", "saving_per_year", "saving_low", "saving_high", "saving_vs_run_to_failure",
    "prob_better", "failure_prob_at_interval", "release_prob", "ruptures_per_year",
    "binding_limit", "rate_unit",
    "saving_cash", "saving_labour_h", "saving_downtime_h", "loss_if_wrong", "adopted_interval",
    "cost_of_keeping", "review", "common_interval", "cost_of_common",
    "actual_cost_per_breakdown", "tickets_priced", "verdict", "cost_rate_failed_part",
    "prob_planning_pays", "knowing_better_per_year", "worth_of_half_year",
    "worth_of_half_year_error", "worth_of_half_year_told",
    "half_year_draws", "learn_first", "flip_downtime_per_h",
    "near_best_also", "kit_share_today", "never_planned_today",
    "failures", "usage_per_year", "planned_cost", "failure_cost", "assumed_cost_per_breakdown",
    "costs_differ", "downtime_per_h_low", "downtime_per_h_high", "pumps_apart", "extrapolated",
    "longest_life", "round_interval",
    "cost_of_rounding", "round_weeks", "calendar_weeks", "cost_of_calendar", "usage_spread",
    *PRACTICE_COLUMNS,
)  # fmt: skip


def build_intervals(
    records: Records,
    groups: tuple[SideGroup, ...],
    decisions: tuple[Decision | None, ...],
    *,
    clock: UsageClock,
    lives: Lives,
    tickets: Tickets,
    fits: Fits,
    few: FewIntervals,
) -> pd.DataFrame:
    """One row per group; blank where it has no advice."""
    rows = []
    pairs = zip(groups, decisions, strict=True)
    calendars = iter(
        calendar_rows(records, clock, [(g, one) for g, one in pairs if one is not None])
    )
    for number, (group, decision) in enumerate(zip(groups, decisions, strict=True)):
        row = _group_row(group) | tell_practice(lives, group, adopted_interval(records, group))
        if decision is not None:
            row |= _decision_row(records, group, decision)
            row |= _saving_row(group, decision)
            row |= review_row(records, group, decision)
            row |= actual_row(records, tickets, group, decision)
            row |= differ_row(records, group, decision)
            row |= _words_row(records, fits, group, decision)
            row |= rounding_row(group, decision) | next(calendars)
            row |= {
                "common_interval": _blank(few.taken[number]),
                "cost_of_common": few.cost[number],
            }
            row["verdict"] += money_words(row)
        rows.append(row)
    table = pd.DataFrame(rows).reindex(columns=list(INTERVAL_COLUMNS))
    for name in ("policy", "binding_limit", "rate_unit", "review", "near_best_also", *MONEY_WORDS):
        table[name] = table[name].fillna("").astype(object)
    return table


def _group_row(group: SideGroup) -> dict[str, Any]:
    """What a row says of the group itself."""
    return {
        "service": group.service,
        "size_mm": group.size_mm,
        "side": group.side,
        "kit": group.kit,
        "hazard": group.hazard,
        "pumps": group.pumps.size,
        "kit_share_today": group.kit_share,
        "never_planned_today": group.planned.never,
        "usage_per_year": float(group.usage_per_year.sum()),
        "verdict": group.missing,
    }


def _decision_row(records: Records, group: SideGroup, decision: Decision) -> dict[str, Any]:
    """Interval, band, cost rates, risks."""
    factor, unit = RATE_UNITS[records.plant.usage_unit]
    advice, usage = decision.advice, float(group.usage_per_year.sum())
    releasing = decision.events.failures[group.releases].sum(axis=0).mean()
    finite = bool(np.isfinite(decision.interval))
    alone = decision.policy == FAILED_PART
    flat = not alone and group.evidence.enough
    never = decision.run_to_failure.money
    return {
        "policy": decision.policy,
        "interval": _blank(decision.interval),
        "near_best_low": advice.near_best_low if flat else np.nan,
        "near_best_high": _blank(advice.near_best_high) if flat else np.nan,
        "near_best_also": _say_other_bands(advice) if flat else "",
        "interval_weeks": _blank(decision.interval / (7.0 * float(np.median(group.rate)))),
        "cost_rate": factor * float(decision.advised.money.mean()),
        "cost_rate_run_to_failure": factor * float(never.mean()),
        "cost_rate_today": factor * float(decision.today.money.mean()),
        "cost_rate_failed_part": factor * float(decision.failed_part.money.mean()),
        "saving_vs_run_to_failure": usage * float((never - decision.advised.money).mean()),
        "prob_better": _prob_better(decision),
        "prob_planning_pays": advice.prob_planning_pays,
        "failure_prob_at_interval": advice.failure_prob if finite else np.nan,
        "release_prob": _release_prob(group, decision) if finite else np.nan,
        "ruptures_per_year": usage * float(releasing) if group.releases.any() else np.nan,
        "binding_limit": "" if advice.binding_limit == "cost" else advice.binding_limit,
        "rate_unit": f"{records.plant.currency} {unit}".strip(),
        "planned_cost": decision.costs.planned_money,
        "failure_cost": _mean_failure(decision),
    }


def _say_other_bands(advice: IntervalAdvice) -> str:
    """The near-best stretches apart from that of the advice."""
    own = advice.near_best_low, advice.near_best_high
    return "; ".join(
        f"{low:.4g} to {high:.4g}" if np.isfinite(high) else f"from {low:.4g}"
        for low, high in advice.near_best_bands
        if (low, high) != own
    )


def _prob_better(decision: Decision) -> float:
    """Chance that the advice beats running to failure; NaN where that is the advice."""
    if decision.policy == RUN_TO_FAILURE:
        return np.nan
    return chance_cheaper(decision.advised.money, decision.run_to_failure.money)


def _release_prob(group: SideGroup, decision: Decision) -> float:
    """Chance of a release within one interval at its 95 % bound; NaN where it isn't hazardous.

    The larger of that by all lives and that by the group's own failures alone.
    """
    if group.hazard != "hazardous" or not group.releases.any():
        return np.nan
    count = group.count * group.releases.astype(float)
    age = np.array([[decision.interval]])
    alive = [SideLife(lives=one, count=count).survival(age) for one in (group.lives, group.alone)]
    return max(float(np.quantile(1.0 - one, 0.95)) for one in alive)


def _mean_failure(decision: Decision) -> float:
    """Cost of a failure, averaged over the parts as they fail without planned work [money]."""
    share = decision.advice.at_failure.incidence[0].mean(axis=1)
    return float(np.dot(share, decision.costs.failure_money) / share.sum())


def _saving_row(group: SideGroup, decision: Decision) -> dict[str, Any]:
    """What the advice saves a year against today's practice, and what it may lose."""
    usage = float(group.usage_per_year.sum())
    today, advised = decision.today, decision.advised
    saving = usage * (today.money - advised.money)
    low, high = np.quantile(saving, [0.05, 0.95])
    lost = usage * (advised.money - decision.followed.money)
    return {
        "saving_per_year": float(saving.mean()),
        "saving_low": float(low),
        "saving_high": float(high),
        "saving_cash": usage * float((today.cash - advised.cash).mean()),
        "saving_labour_h": usage * float((today.labour_h - advised.labour_h).mean()),
        "saving_downtime_h": usage * float((today.downtime_h - advised.downtime_h).mean()),
        "loss_if_wrong": max(0.0, float(np.quantile(lost, 0.9))),
    }


def _words_row(
    records: Records, fits: Fits, group: SideGroup, decision: Decision
) -> dict[str, Any]:
    """The failures behind the advice, and the verdict."""
    verdict = describe_decision(
        group,
        decision,
        fits.table,
        usage_unit=records.plant.usage_unit,
        target=records.plant.hazardous_failure_probability,
    )
    behind = fits.table.iloc[np.unique(group.fit_rows)]
    longest = float(behind["longest_life"].max())
    finite = bool(np.isfinite(decision.interval))
    return {
        "verdict": verdict,
        "failures": float(behind["failures"].sum()),
        "longest_life": longest,
        "extrapolated": BEYOND if finite and decision.interval > longest else "",
    }


def _blank(value: float) -> float:
    """NaN, a blank cell, for what has no end."""
    return value if np.isfinite(value) else np.nan
