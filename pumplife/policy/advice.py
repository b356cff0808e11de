"""Rebuild advice for the whole plant: the intervals table, the cost curves, the due list."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from scipy.interpolate import PchipInterpolator

from pumplife.lives.build import Lives
from pumplife.policy.adopted import adopted_interval, review_row, say_unmatched
from pumplife.policy.cost_book import open_cost_book
from pumplife.policy.cost_table import build_costs
from pumplife.policy.decide import (
    FAILED_PART,
    RUN_TO_FAILURE,
    Decision,
    common_interval,
    decide_group,
    expected_cost,
)
from pumplife.policy.doubt.table import Doubt, add_doubts, tornado_table, weigh_doubt
from pumplife.policy.due import build_due
from pumplife.policy.groups import SideGroup, build_groups
from pumplife.policy.interval import CostCurve, IntervalAdvice, chance_cheaper
from pumplife.policy.pump import FloatArray, SideLife
from pumplife.policy.pumps_differ import differ_row
from pumplife.policy.say_money import money_words, say_money
from pumplife.policy.tickets import Tickets, actual_row, gather_tickets
from pumplife.policy.today import duty_today
from pumplife.policy.verdict import describe_decision
from pumplife.policy.ways.table import compare_ways, policies_table
from pumplife.policy.ways.worth import say_worth_a_look
from pumplife.records.duty import Duty
from pumplife.records.read import Records
from pumplife.records.usage import UsageClock

if TYPE_CHECKING:
    from pumplife.fits.build import Fits

BEYOND = "beyond the longest life seen"
MONEY_WORDS = ("costs_differ", "pumps_apart", "extrapolated")
CURVE_POINTS = 120  # of a drawn cost curve
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
    "worth_of_half_year_error", "half_year_draws", "learn_first", "flip_downtime_per_h",
    "near_best_also", "kit_share_today", "never_planned_today",
    "failures", "usage_per_year", "planned_cost", "failure_cost", "assumed_cost_per_breakdown",
    "costs_differ", "downtime_per_h_low", "downtime_per_h_high", "pumps_apart", "extrapolated",
    "longest_life",
)  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Advice:
    """When to rebuild which side of which pump.

    Attributes
    ----------
    groups : tuple of SideGroup (groups,)
    decisions : tuple of Decision or None (groups,)
        None where a group's `missing` says why.
    intervals : DataFrame
        One row per group, in their order.
    doubts : tuple of Doubt or None (groups,)
        What is not sure about each group, with its cost surface.
    tornado : DataFrame
        How the advice moves with each input, one row per group and input.
    policies : DataFrame
        One row per group and way of working.
    costs : DataFrame
        One row per group and figure of its costs.
    due : DataFrame
        One row per pump and side.
    curves : tuple of CostCurve or None (groups,)
    advised : float array (groups,)
        Advised interval [usage]; inf means run to failure, NaN no advice.
    advised_kit_share : float array (groups,)
        1 where the advice renews the whole side at a failure, 0 where the failed part alone.
    followed : float array (groups,)
        Adopted interval, else the advised one [usage].
    followed_kit_share : float array (groups,)
    adopted : float array (groups,)
        Adopted interval [usage]; inf means run to failure, NaN nothing adopted.
    """

    groups: tuple[SideGroup, ...]
    decisions: tuple[Decision | None, ...]
    intervals: pd.DataFrame
    doubts: tuple[Doubt | None, ...]
    tornado: pd.DataFrame
    policies: pd.DataFrame
    costs: pd.DataFrame
    due: pd.DataFrame
    curves: tuple[CostCurve | None, ...]
    advised: FloatArray
    advised_kit_share: FloatArray
    followed: FloatArray
    followed_kit_share: FloatArray
    adopted: FloatArray

    def __repr__(self) -> str:
        """Count the groups and the planned ones."""
        planned = int(np.isfinite(self.advised).sum())
        return f"<Advice: {len(self.groups)} groups, {planned} planned, {len(self.due)} sides>"


def advise(records: Records, duty: Duty, clock: UsageClock, lives: Lives, fits: Fits) -> Advice:
    """Advise an interval for every pump group and list what is due.

    The integrals over the draws of `fits` are exact; only ways of working beside the advice that
    have no closed form are simulated, on seeds of their own.

    Parameters
    ----------
    records : Records
        Its audit gets what stood in for missing figures and the groups without advice.
    duty : Duty
    clock : UsageClock
    lives : Lives
    fits : Fits

    Returns
    -------
    Advice
        Without groups where the records withhold intervals.
    """
    withheld = "intervals" in records.withheld
    groups = () if withheld else build_groups(records, duty, clock, lives, fits)
    decisions = tuple(_decide(records, group) for group in groups)
    book = open_cost_book(records, lives, duty_today(records, duty))
    tickets = gather_tickets(records, lives, book)
    ways = compare_ways(records.plant, groups, decisions)
    looks = [
        say_worth_a_look(*one, records.plant.currency)
        for one in zip(groups, decisions, ways, strict=True)
    ]
    factor, unit = RATE_UNITS[records.plant.usage_unit]
    units = records.plant.currency, records.plant.usage_unit
    doubts = tuple(
        None if decision is None else weigh_doubt(group, decision, units=units)
        for group, decision in zip(groups, decisions, strict=True)
    )
    intervals = _intervals_table(records, tickets, fits, groups, decisions)
    verdicts = intervals["verdict"].astype(object) + " " + pd.Series(looks, dtype=object)
    intervals["verdict"] = verdicts.str.strip()
    intervals = add_doubts(intervals, doubts)
    say_unmatched(records, groups)
    say_money(records, groups, decisions)
    return Advice(
        groups=groups,
        decisions=decisions,
        intervals=intervals,
        doubts=doubts,
        tornado=tornado_table(groups, doubts, factor),
        policies=policies_table(records, groups, decisions, ways, (factor, unit)),
        costs=build_costs(records, book, tickets, groups),
        due=build_due(records, groups, decisions),
        curves=tuple(
            _curve(group, decision, factor, unit)
            for group, decision in zip(groups, decisions, strict=True)
        ),
        advised=_of_decisions(decisions, "interval"),
        advised_kit_share=_of_decisions(decisions, "kit_share"),
        followed=_of_decisions(decisions, "followed_interval"),
        followed_kit_share=_of_decisions(decisions, "followed_kit_share"),
        adopted=_of_decisions(decisions, "adopted_interval"),
    )


def _of_decisions(decisions: tuple[Decision | None, ...], name: str) -> FloatArray:
    """One number of each decision, NaN where there is none."""
    return np.array(
        [np.nan if decision is None else getattr(decision, name) for decision in decisions],
        dtype=float,
    )


def _decide(records: Records, group: SideGroup) -> Decision | None:
    """Decide one group, or say in the audit why not."""
    if group.missing:
        records.log.add(
            "caution",
            f"{group.title}: {group.missing}",
            rule="no_interval",
            consequence=f"No interval is advised for its {group.pumps.size} pumps.",
            remedy="Complete what is missing; the row of intervals stays blank until then.",
        )
        return None
    return decide_group(
        group,
        release_target=records.plant.hazardous_failure_probability,
        adopted_interval=adopted_interval(records, group),
    )


def _intervals_table(
    records: Records,
    tickets: Tickets,
    fits: Fits,
    groups: tuple[SideGroup, ...],
    decisions: tuple[Decision | None, ...],
) -> pd.DataFrame:
    """The intervals table; blank where a group has no advice."""
    rows = []
    for group, decision in zip(groups, decisions, strict=True):
        row = _group_row(group)
        if decision is not None:
            row |= _decision_row(records, group, decision)
            row |= _saving_row(group, decision)
            row |= review_row(records, group, decision)
            row |= actual_row(records, tickets, group, decision)
            row |= differ_row(records, group, decision)
            row |= _words_row(records, fits, group, decision)
            row["verdict"] += money_words(row)
        rows.append(row)
    table = pd.DataFrame(rows).reindex(columns=list(INTERVAL_COLUMNS))
    for name in ("policy", "binding_limit", "rate_unit", "review", "near_best_also", *MONEY_WORDS):
        table[name] = table[name].fillna("").astype(object)
    return _add_common(table, groups, decisions)


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


def _add_common(
    table: pd.DataFrame, groups: tuple[SideGroup, ...], decisions: tuple[Decision | None, ...]
) -> pd.DataFrame:
    """One interval for all groups of a side, and what it costs more a year than each its own."""
    for side in ("fluid", "air"):
        members = [
            (row, group, decision)
            for row, (group, decision) in enumerate(zip(groups, decisions, strict=True))
            if decision is not None and group.side == side
        ]
        if not members:
            continue
        interval = common_interval([(group, decision) for _, group, decision in members])
        for row, group, decision in members:
            at = float(expected_cost(decision, np.array([min(interval, 1e300)]))[0])
            usage = float(group.usage_per_year.sum())
            table.loc[row, "common_interval"] = _blank(min(interval, decision.limit))
            table.loc[row, "cost_of_common"] = usage * (at - float(decision.advised.money.mean()))
    return table


def _curve(
    group: SideGroup, decision: Decision | None, factor: float, unit: str
) -> CostCurve | None:
    """What the figure of one group shows: the part of the curve around the decision.

    Between the intervals that were computed the curve is interpolated, for the eye alone.
    """
    if decision is None:
        return None
    advice = decision.advice
    never = float(advice.expected[-1])
    shown = (advice.expected < 6.0 * never) & (advice.times < _settled(advice))
    low, high = advice.low[shown], advice.high[shown]
    times = advice.times[shown]
    t = np.union1d(times, np.geomspace(times[0], times[-1], CURVE_POINTS))
    mean, low, high = (
        factor * np.exp(PchipInterpolator(np.log(times), np.log(rates))(np.log(t)))
        for rates in (advice.expected[shown], low, high)
    )
    return CostCurve(
        title=group.title,
        t=t,
        mean=mean,
        low=low,
        high=high,
        run_to_failure=factor * never,
        today=factor * float(decision.today.money.mean()),
        interval=decision.interval,
        near_best_low=advice.near_best_low,
        near_best_high=advice.near_best_high,
        rate_unit=unit,
    )


def _settled(advice: IntervalAdvice) -> float:
    """Interval beyond which the expected cost rate no longer moves [usage]."""
    times, expected = advice.times, advice.expected
    moving = np.flatnonzero(np.abs(expected / expected[-1] - 1.0) > 0.001)
    return float(times[min(moving[-1] + 2, times.size - 1)]) if moving.size else float(times[-1])


def _blank(value: float) -> float:
    """NaN, a blank cell, for what has no end."""
    return value if np.isfinite(value) else np.nan
