"""Pump groups run forward from their ages of today, under one way of working."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pumplife.policy.advice import Advice
from pumplife.policy.ahead import UseAhead
from pumplife.policy.groups import DAYS_PER_YEAR, SideGroup
from pumplife.policy.own_limits import split_by_limit
from pumplife.policy.simulate import PlannedAges, SideEvents, fixed_interval, simulate_side

_BLOCK_CELLS = 2_000_000  # pumps × positions × futures held in memory at once


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Practice:
    """How a group is looked after.

    Attributes
    ----------
    planned : PlannedAges
        Ages of planned renewal [usage].
    kit_share : float
        Share of breakdowns at which the whole kit is fitted, else the failed part alone [-].
    first_days : float array (pumps,) or None
        When each pump's side is next renewed as planned, unless a breakdown renews it before; inf
        where never, NaN where it reaches its planned age [days from today]. None: all by age.
    """

    planned: PlannedAges
    kit_share: float
    first_days: NDArray[np.float64] | None = None

    def __repr__(self) -> str:
        return f"Practice({self.planned!r}, kit at {self.kit_share:.0%} of breakdowns)"


def planned_at(interval: float) -> Practice:
    """The kit at one age [usage] and at every failure; inf means run to failure."""
    return Practice(planned=fixed_interval(interval), kit_share=1.0)


def as_today(group: SideGroup) -> Practice:
    """The group's own way of working, as its tickets show it."""
    return Practice(planned=group.planned, kit_share=group.kit_share)


def count_replicates(groups: Sequence[SideGroup], *, cells: int, least: int, most: int) -> int:
    """Futures to simulate so that the work stays bounded: about `cells` position lives in all."""
    size = sum(group.age.size for group in groups)
    return int(np.clip(cells // max(1, size), least, most))


def run_group(
    group: SideGroup,
    practice: Practice,
    *,
    years: float,
    replicates: int,
    rng: np.random.Generator,
    ahead: UseAhead | None = None,
) -> SideEvents:
    """Events of one group in every future; future r lives by draw r of the lives, over and over.

    All groups see the same draw in the same future, so that a doubt about a life which they
    share moves them together, and sums over groups are honest.  Where the pumps' use will change,
    they are followed over the usage that lies ahead, and each event falls on the day on which
    that usage is reached.
    """
    days = years * DAYS_PER_YEAR
    share = np.ones(group.pumps.size) if ahead is None else ahead.run_days(np.array(days)) / days
    column = np.arange(replicates) % group.lives.shape.shape[-1]
    lives = group.position_lives[:, column]
    first = _first_usage(group, practice, ahead)
    step = max(1, _BLOCK_CELLS // max(1, lives.shape.size))
    blocks = []
    for start in range(0, len(group.pumps), step):
        rows = slice(start, start + step)
        events = simulate_side(
            age=group.age[rows],
            known=group.known[rows],
            most=group.most[rows],
            usage_per_year=(group.usage_per_year * share)[rows],
            lives=lives,
            planned=practice.planned,
            clock_age=group.clock_age[rows],
            kit_share=practice.kit_share,
            years=years,
            rng=rng,
            first=None if first is None else first[rows],
        )
        blocks.append((events.pump + start, events))
    pump = np.concatenate([pump for pump, _ in blocks])
    time = np.concatenate([events.time for _, events in blocks])
    if ahead is not None and not ahead.as_now:
        time = ahead.day_of(pump, time * share[pump] * DAYS_PER_YEAR) / DAYS_PER_YEAR
    return SideEvents(
        pump=pump,
        replicate=np.concatenate([events.replicate for _, events in blocks]),
        time=time,
        position=np.concatenate([events.position for _, events in blocks]),
        kit=np.concatenate([events.kit for _, events in blocks]),
    )


def _first_usage(
    group: SideGroup, practice: Practice, ahead: UseAhead | None
) -> NDArray[np.float64] | None:
    """Usage of each pump until its first planned renewal, (pumps,) [usage]."""
    days = practice.first_days
    if days is None:
        return None
    run = np.where(np.isfinite(days), days, 0.0)
    run = run if ahead is None else ahead.run_days(run)
    return np.where(np.isfinite(days), run * group.rate, days)


def overdue_until(
    group: SideGroup, practice: Practice, ahead: UseAhead | None
) -> NDArray[np.float64]:
    """Day by which planned work renews what is past its age today, (pumps,) [days from today].

    It comes on the day of the due list, -inf where that has a side that is not past its age;
    without one as soon as the pump runs.
    """
    days = practice.first_days
    if days is None:
        days = np.full(group.pumps.size, np.nan)
    past = group.clock_age >= practice.planned.ages[0]
    by = np.where(past & np.isfinite(days), days, 0.0)
    if ahead is not None:
        by = ahead.day_of(np.arange(by.size), ahead.run_days(by))
    return np.where(past | np.isnan(days), by, -np.inf)


def advised_groups(advice: Advice) -> list[SideGroup]:
    """The groups for which there is advice; of the others the future isn't known.

    A group whose pumps have limits of their own is in several parts.
    """
    return [part for group in advice.groups if not group.missing for part in split_by_limit(group)]


def follow(advice: Advice) -> list[Practice]:
    """What the plant follows: adopted intervals, else the advice; as `advised_groups`."""
    return _practices(advice, advice.followed, advice.followed_kit_share)


def advised(advice: Advice) -> list[Practice]:
    """The advice, whatever the plant has adopted; as `advised_groups`."""
    return _practices(advice, advice.advised, advice.advised_kit_share)


def _practices(
    advice: Advice, intervals: NDArray[np.float64], kit_shares: NDArray[np.float64]
) -> list[Practice]:
    parts = [
        (number, part)
        for number, group in enumerate(advice.groups)
        if not group.missing
        for part in split_by_limit(group)
    ]
    return [
        _practice(
            part,
            float(intervals[number]),
            float(kit_shares[number]),
            _due_days(advice, number, part)
            if intervals[number] == advice.followed[number]
            else None,
        )
        for number, part in parts
    ]


def _due_days(advice: Advice, number: int, part: SideGroup) -> NDArray[np.float64]:
    """When the due list renews the pumps of a part of a group; NaN for those that come later."""
    pumps, days = advice.groups[number].pumps, advice.first_days[number]
    every = np.concatenate([days, np.full(pumps.size - days.size, np.nan)])
    return np.asarray(every[np.isin(pumps, part.pumps)])


def _practice(
    group: SideGroup, interval: float, kit_share: float, first_days: NDArray[np.float64] | None
) -> Practice:
    """The interval within the pumps' own limit, which renews the whole side at failures."""
    own = float(group.own_limit.min())
    if own < interval:
        interval, kit_share = own, 1.0
    return Practice(planned=fixed_interval(interval), kit_share=kit_share, first_days=first_days)
