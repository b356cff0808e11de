"""Rebuild advice for the whole plant: the intervals table, the cost curves, the due list."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from scipy.interpolate import PchipInterpolator

from pumplife.lives.build import Lives
from pumplife.policy.adopted import adopted_interval, review_row, say_unmatched
from pumplife.policy.decide import (
    FAILED_PART,
    Decision,
    common_interval,
    decide_group,
    expected_cost,
)
from pumplife.policy.due import build_due
from pumplife.policy.groups import SideGroup, build_groups
from pumplife.policy.interval import CostCurve
from pumplife.policy.practice_told import PRACTICE_COLUMNS, tell_practice
from pumplife.policy.pump import FloatArray, SideLife
from pumplife.policy.verdict import describe_decision
from pumplife.records.duty import Duty
from pumplife.records.read import Records
from pumplife.records.usage import UsageClock

if TYPE_CHECKING:
    from pumplife.fits.build import Fits

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
    "prob_planning_pays", "knowing_better_per_year", "kit_share_today", "never_planned_today",
    "failures", "usage_per_year", "planned_cost", "failure_cost",
    *PRACTICE_COLUMNS,
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

    Nothing is drawn here: the integrals over the draws of `fits` are exact.

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
    intervals = _intervals_table(records, lives, fits, groups, decisions)
    say_unmatched(records, groups)
    factor, unit = RATE_UNITS[records.plant.usage_unit]
    return Advice(
        groups=groups,
        decisions=decisions,
        intervals=intervals,
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
    lives: Lives,
    fits: Fits,
    groups: tuple[SideGroup, ...],
    decisions: tuple[Decision | None, ...],
) -> pd.DataFrame:
    """The intervals table; blank where a group has no advice."""
    rows = []
    for group, decision in zip(groups, decisions, strict=True):
        row = _group_row(group) | tell_practice(lives, group, adopted_interval(records, group))
        if decision is not None:
            row |= _decision_row(records, group, decision)
            row |= _saving_row(group, decision)
            row |= review_row(records, group, decision)
            row |= _actual_row(lives, group, decision)
            row |= _words_row(records, fits, group, decision)
        rows.append(row)
    table = pd.DataFrame(rows).reindex(columns=list(INTERVAL_COLUMNS))
    for name in ("policy", "binding_limit", "rate_unit", "review"):
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
    never = decision.run_to_failure.money
    return {
        "policy": decision.policy,
        "interval": _blank(decision.interval),
        "near_best_low": np.nan if alone else advice.near_best_low,
        "near_best_high": _blank(advice.near_best_high),
        "interval_weeks": _blank(decision.interval / (7.0 * float(np.median(group.rate)))),
        "cost_rate": factor * float(decision.advised.money.mean()),
        "cost_rate_run_to_failure": factor * float(never.mean()),
        "cost_rate_today": factor * float(decision.today.money.mean()),
        "cost_rate_failed_part": factor * float(decision.failed_part.money.mean()),
        "saving_vs_run_to_failure": usage * float((never - decision.advised.money).mean()),
        "prob_better": float(np.mean(decision.advised.money < never)),
        "prob_planning_pays": advice.prob_planning_pays,
        "failure_prob_at_interval": advice.failure_prob if finite else np.nan,
        "release_prob": _release_prob(group, decision) if finite else np.nan,
        "ruptures_per_year": usage * float(releasing) if group.releases.any() else np.nan,
        "binding_limit": "" if advice.binding_limit == "cost" else advice.binding_limit,
        "rate_unit": f"{records.plant.currency} {unit}".strip(),
        "planned_cost": decision.costs.planned_money,
        "failure_cost": _mean_failure(decision),
    }


def _release_prob(group: SideGroup, decision: Decision) -> float:
    """Chance of a release within one interval at its 95 % bound; NaN where it isn't hazardous."""
    if group.hazard != "hazardous" or not group.releases.any():
        return np.nan
    exposed = SideLife(lives=group.lives, count=group.count * group.releases.astype(float))
    alive = exposed.survival(np.array([[decision.interval]]))
    return float(np.quantile(1.0 - alive, 0.95))


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
    knowing = advised.money - np.minimum(advised.money, decision.advice.rates.min(axis=0))
    return {
        "saving_per_year": float(saving.mean()),
        "saving_low": float(low),
        "saving_high": float(high),
        "saving_cash": usage * float((today.cash - advised.cash).mean()),
        "saving_labour_h": usage * float((today.labour_h - advised.labour_h).mean()),
        "saving_downtime_h": usage * float((today.downtime_h - advised.downtime_h).mean()),
        "loss_if_wrong": max(0.0, float(np.quantile(lost, 0.9))),
        "knowing_better_per_year": usage * float(knowing.mean()),
    }


def _actual_row(lives: Lives, group: SideGroup, decision: Decision) -> dict[str, Any]:
    """What the tickets of these pumps' breakdowns cost on average, at today's prices."""
    visits, costs = lives.visits, decision.costs
    mine = visits["pump"].isin(group.pumps) & (visits["side"] == group.side)
    mine &= visits["breakdown"].astype(bool) & visits["labour_h"].notna()
    rows = visits[mine]
    if rows.empty:
        return {"actual_cost_per_breakdown": np.nan, "tickets_priced": 0}
    kits = ~rows["kit"].isin(["", "none"])
    money = kits * costs.kit_price + costs.call_out + costs.labour_per_h * rows["labour_h"]
    money += costs.downtime_per_h * rows["downtime_h"].fillna(0.0) + rows["other_cost"].fillna(0.0)
    return {"actual_cost_per_breakdown": float(money.mean()), "tickets_priced": len(rows)}


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
    failures = fits.table.iloc[np.unique(group.fit_rows)]["failures"]
    return {"verdict": verdict, "failures": float(failures.sum())}


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
    shown = (advice.expected < 6.0 * never) & (advice.times < _settled(advice.times, advice.rates))
    low, high = np.quantile(advice.rates[shown], [0.05, 0.95], axis=1)
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


def _settled(times: FloatArray, rates: FloatArray) -> float:
    """Interval beyond which the expected cost rate no longer moves [usage]."""
    expected = rates.mean(axis=1)
    moving = np.flatnonzero(np.abs(expected / expected[-1] - 1.0) > 0.001)
    return float(times[min(moving[-1] + 2, times.size - 1)]) if moving.size else float(times[-1])


def _blank(value: float) -> float:
    """NaN, a blank cell, for what has no end."""
    return value if np.isfinite(value) else np.nan
