"""The years ahead of one side of a group, simulated from today's ages, counted and paid."""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np

from pumplife.policy.costs import SideCosts, WorkCost
from pumplife.policy.groups import SideGroup
from pumplife.policy.pump import FloatArray
from pumplife.policy.simulate import BoolArray, IntArray, SideEvents, simulate_side
from pumplife.policy.simulate_way import INSPECTION, PLANNED, Way
from pumplife.policy.ways.outcome import part_prices


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Span:
    """How far and how often is looked ahead.

    Attributes
    ----------
    years : float
        [years]
    futures : int
    discount : float
        [1 / year]
    seed : int
        The same for all ways, so that they meet the same chance as far as they go together.
    """

    years: float
    futures: int
    discount: float
    seed: int

    def __repr__(self) -> str:
        """Say how far."""
        return f"<Span: {self.years:g} years, {self.futures} futures>"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Works:
    """The pieces of work that a way of working does, each with its cost.

    Attributes
    ----------
    planned : WorkCost (1,)
        The whole side by plan.
    kit_failure, part_failure : WorkCost (parts,)
        A failure of each part, the whole side or it alone renewed.
    also : WorkCost (parts,)
        Each part renewed without having failed, at an opening that is not for the whole side.
    look : WorkCost (1,)
        One inspection.
    """

    planned: WorkCost
    kit_failure: WorkCost
    part_failure: WorkCost
    also: WorkCost
    look: WorkCost

    def __repr__(self) -> str:
        """Say the planned work."""
        return f"<Works: planned {self.planned!r}>"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Counted:
    """What the years ahead bring a group in each future, (futures,); differences may be below 0.

    Attributes
    ----------
    money : float array
        Discounted cost [money].
    downtime_h : float array
        [h]
    failures, kits, releases : float array
        Failures, whole renewals of a side, failures that release fluid.
    """

    money: FloatArray
    downtime_h: FloatArray
    failures: FloatArray
    kits: FloatArray
    releases: FloatArray

    def __repr__(self) -> str:
        """Say the mean cost."""
        return f"<Counted: {self.money.mean():.4g} over {self.money.size} futures>"

    def plus(self, other: Counted, factor: float = 1.0) -> Counted:
        """This and so many times another, future by future."""
        names = [field.name for field in fields(self)]
        return Counted(
            **{name: getattr(self, name) + factor * getattr(other, name) for name in names}
        )


def plain_works(costs: SideCosts) -> Works:
    """Work without inspections; parts renewed besides cost their price alone."""
    none = np.zeros(costs.part_failure.cash.size)
    return Works(
        planned=costs.planned,
        kit_failure=costs.kit_failure,
        part_failure=costs.part_failure,
        also=WorkCost(cash=part_prices(costs), labour_h=none, downtime_h=none),
        look=WorkCost(cash=np.zeros(1), labour_h=np.zeros(1), downtime_h=np.zeros(1)),
    )


def run_side(
    group: SideGroup, way: Way, span: Span, *, scheduled: FloatArray | None = None
) -> SideEvents:
    """Events of all pumps of a group, once in each future, from the ages of today.

    Futures take the draws of the lives in turn.

    Parameters
    ----------
    group : SideGroup
    way : Way
    span : Span
    scheduled : float array (pumps, times) or (pumps, futures, times), optional
        See `simulate_side`.
    """
    return simulate_side(
        age=group.age,
        known=group.known,
        most=group.most,
        usage_per_year=group.usage_per_year,
        lives=group.position_lives[:, draws_of(group, span.futures)],
        clock_age=group.clock_age,
        years=span.years,
        rng=np.random.default_rng(span.seed),
        way=way,
        scheduled=scheduled,
    )


def draws_of(group: SideGroup, futures: int) -> IntArray:
    """The draw of the lives that each future takes."""
    return np.asarray(np.arange(futures) * group.lives.shape.shape[-1] // futures)


def count_events(
    events: SideEvents, group: SideGroup, costs: SideCosts, works: Works, span: Span
) -> Counted:
    """Count events by future, and pay for them.

    Parameters
    ----------
    events : SideEvents
        Of that group.
    group : SideGroup
    costs : SideCosts
        What hours cost.
    works : Works
    span : Span
    """
    part, failed = group.part_of[np.maximum(events.position, 0)], events.position >= 0
    also, also_part = events.also_event, group.part_of[events.also_position]
    now = (1.0 + span.discount) ** -events.time

    def add_up(each: FloatArray | BoolArray, besides: FloatArray | None = None) -> FloatArray:
        total = np.bincount(events.replicate, each, span.futures)
        if besides is not None:
            total = total + np.bincount(events.replicate[also], besides, span.futures)
        return np.asarray(total, float)

    money, hours = (
        {field.name: measure(getattr(works, field.name)) for field in fields(works)}
        for measure in (costs.money, _downtime)
    )
    return Counted(
        money=add_up(now * _each(events, part, money), now[also] * money["also"][also_part]),
        downtime_h=add_up(_each(events, part, hours), hours["also"][also_part]),
        failures=add_up(failed),
        kits=add_up(events.kit),
        releases=add_up(failed & group.releases[part]),
    )


def _downtime(work: WorkCost) -> FloatArray:
    return work.downtime_h


def _each(events: SideEvents, part: IntArray, of: dict[str, FloatArray]) -> FloatArray:
    """What each event takes by its kind, by the measure of each piece of work."""
    taken = np.where(events.kit, of["kit_failure"][part], of["part_failure"][part])
    taken = np.where(events.position == PLANNED, of["planned"], taken)
    looked = of["look"] + events.kit * of["planned"]
    return np.asarray(np.where(events.position == INSPECTION, looked, taken))
