"""Rebuild advice for the whole plant: the intervals table, the cost curves, the due list."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeVar

import numpy as np
import pandas as pd

from pumplife.lives.build import Lives
from pumplife.policy.adopted import adopted_interval, say_unmatched
from pumplife.policy.cost_book import open_cost_book
from pumplife.policy.cost_table import build_costs
from pumplife.policy.curves import draw_curve
from pumplife.policy.decide import (
    Decision,
    decide_group,
    let_go,
)
from pumplife.policy.doubt.table import Doubt, add_doubts, tornado_table, weigh_doubt
from pumplife.policy.due import plan_due
from pumplife.policy.due_ages import given_ages
from pumplife.policy.few import choose_few
from pumplife.policy.groups import SideGroup, build_groups
from pumplife.policy.interval import CostCurve
from pumplife.policy.intervals_table import RATE_UNITS, build_intervals
from pumplife.policy.pump import FloatArray
from pumplife.policy.say_money import say_money
from pumplife.policy.tickets import gather_tickets
from pumplife.policy.today import duty_today
from pumplife.policy.ways.table import compare_ways, policies_table
from pumplife.policy.ways.worth import add_looks
from pumplife.records.duty import Duty
from pumplife.records.phrases import count_of
from pumplife.records.read import Records
from pumplife.records.second import in_turn
from pumplife.records.usage import UsageClock

if TYPE_CHECKING:
    from pumplife.fits.build import Fits

Result = TypeVar("Result")


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
    load : DataFrame
        Hours of planned work per week and site.
    outage : DataFrame
        What to renew at the coming outages, and what to leave.
    few : DataFrame
        Few intervals for the whole plant: one row per number of intervals.
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
    first_days : tuple of float arrays (groups,), each (pumps,)
        When the due list renews each pump's side, inf where never [days from the end of the
        records].
    """

    groups: tuple[SideGroup, ...]
    decisions: tuple[Decision | None, ...]
    intervals: pd.DataFrame
    doubts: tuple[Doubt | None, ...]
    tornado: pd.DataFrame
    policies: pd.DataFrame
    costs: pd.DataFrame
    due: pd.DataFrame
    load: pd.DataFrame
    outage: pd.DataFrame
    few: pd.DataFrame
    curves: tuple[CostCurve | None, ...]
    advised: FloatArray
    advised_kit_share: FloatArray
    followed: FloatArray
    followed_kit_share: FloatArray
    adopted: FloatArray
    first_days: tuple[FloatArray, ...]

    def __repr__(self) -> str:
        """Count the groups and the planned ones."""
        planned = int(np.isfinite(self.advised).sum())
        return f"<Advice: {len(self.groups)} groups, {planned} planned, {len(self.due)} sides>"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Decided:
    """What to do with every group, and no more than that.

    Attributes
    ----------
    groups : tuple of SideGroup (groups,)
    decisions : tuple of Decision or None (groups,)
        None where a group's `missing` says why.
    """

    groups: tuple[SideGroup, ...]
    decisions: tuple[Decision | None, ...]

    def __repr__(self) -> str:
        """Count the groups."""
        return f"<Decided: {len(self.groups)} groups>"


def decide_all(
    records: Records, duty: Duty, clock: UsageClock, lives: Lives, fits: Fits
) -> Decided:
    """Decide every pump group, as `advise` does, without all that rests on the decisions.

    Parameters
    ----------
    records, duty, clock, lives, fits
        As for `advise`.

    Returns
    -------
    Decided
    """
    groups = _groups_of(records, duty, clock, lives, fits)
    decisions = _of_each(records, groups, lambda group: let_go(_decide(records, group)))
    return Decided(groups=groups, decisions=tuple(decisions))


def _groups_of(
    records: Records, duty: Duty, clock: UsageClock, lives: Lives, fits: Fits
) -> tuple[SideGroup, ...]:
    """The pump groups, none where the records withhold intervals."""
    if "intervals" in records.withheld:
        return ()
    return build_groups(records, duty, clock, lives, fits)


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
    groups = _groups_of(records, duty, clock, lives, fits)
    units = records.plant.currency, records.plant.usage_unit
    weighed = list(_of_each(records, groups, lambda group: _weigh(records, group, units)))
    decisions = tuple(one[0] if one else None for one in weighed)
    doubts = tuple(one[1] if one else None for one in weighed)
    book = open_cost_book(records, lives, duty_today(records, duty))
    tickets = gather_tickets(records, lives, book)
    ways = compare_ways(records.plant, groups, decisions)
    few = choose_few(groups, decisions)
    plan = plan_due(records, clock, lives, groups, decisions)
    factor, unit = RATE_UNITS[records.plant.usage_unit]
    intervals = build_intervals(
        records, groups, decisions, clock=clock, lives=lives, tickets=tickets, fits=fits, few=few
    )
    intervals = add_looks(intervals, groups, decisions, ways, records.plant)
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
        due=plan.due,
        load=plan.load,
        outage=plan.outage,
        few=few.table,
        curves=tuple(
            draw_curve(group, decision, factor, unit)
            for group, decision in zip(groups, decisions, strict=True)
        ),
        advised=_of_decisions(decisions, "interval"),
        advised_kit_share=_of_decisions(decisions, "kit_share"),
        followed=_of_decisions(decisions, "followed_interval"),
        followed_kit_share=_of_decisions(decisions, "followed_kit_share"),
        adopted=_of_decisions(decisions, "adopted_interval"),
        first_days=plan.first_days,
    )


def _of_decisions(decisions: tuple[Decision | None, ...], name: str) -> FloatArray:
    """One number of each decision, NaN where there is none."""
    return np.array(
        [np.nan if decision is None else getattr(decision, name) for decision in decisions],
        dtype=float,
    )


def _of_each(
    records: Records, groups: tuple[SideGroup, ...], task: Callable[[SideGroup], Result]
) -> Iterator[Result | None]:
    """What a task gives for every group, by two processes where groups are many.

    A group of which something is missing has None, and the audit says why.
    """
    ready = [group for group in groups if not group.missing]
    size = sum(group.lives.shape.shape[-1] + group.pumps.size for group in ready)
    results = iter(list(in_turn(task, ready, size)))
    for group in groups:
        if group.missing:
            _say_missing(records, group)
        yield None if group.missing else next(results)


def _weigh(
    records: Records, group: SideGroup, units: tuple[str, str]
) -> tuple[Decision, Doubt | None]:
    """The decision on one group and what is not sure about it, from the same integrals."""
    decision = _decide(records, group)
    doubt = weigh_doubt(group, decision, units=units)
    return let_go(decision), doubt


def _decide(records: Records, group: SideGroup) -> Decision:
    """Decide one group."""
    return decide_group(
        group,
        release_target=records.plant.hazardous_failure_probability,
        adopted_interval=adopted_interval(records, group),
    )


def _say_missing(records: Records, group: SideGroup) -> None:
    """Say in the audit why a group isn't decided, and how many of its pumps are dated anyhow."""
    dated = int(np.isfinite(given_ages(records, group).interval).sum())
    due = f" An adopted interval or its own limit dates the work of {dated}." if dated else ""
    records.log.add(
        "caution",
        f"{group.title}: {group.missing}",
        rule="no_interval",
        consequence=f"No interval is advised for its {count_of(group.pumps.size, 'pump')}.{due}",
        remedy="Complete what is missing; the row of intervals stays blank until then.",
    )
