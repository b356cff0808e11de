"""What it costs to renew a pump side sooner or later than its due day."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.interpolate import PchipInterpolator

from pumplife.policy.ahead import UseAhead
from pumplife.policy.chance import PositionAges, failure_chance
from pumplife.policy.cycles import planned_money
from pumplife.policy.decide import Decision
from pumplife.policy.groups import SideGroup
from pumplife.policy.own_limits import own_intervals
from pumplife.policy.pump import FloatArray, SideLife
from pumplife.policy.simulate import IntArray
from pumplife.records.second import in_turn

DAYS = np.array([0.0, 7.0, 14.0, 28.0, 56.0, 91.0, 182.0, 273.0, 364.0, 546.0])
QUARTER = 5  # place of 13 weeks among them
VALUE_DRAWS = 64
NEW_AGES = 64  # at which the life of a new side is looked at


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Waiting:
    """Cost of renewing each side on a later day, and what may happen until then.

    Attributes
    ----------
    value : float array (days, rows)
        Expected cost until the side is renewed, by a failure or on that day, less what its usage
        until then costs in the long run [money]; days as in `DAYS`. Here and below, what isn't
        known since no interval is advised counts as nothing.
    quarter : float array (rows,)
        Chance of a failure within 13 weeks, NaN where not known.
    cost : float array (rows,)
        That chance times what a failure costs more than planned work [money], NaN where not known.
    chance : float array (days, rows)
        Chance of a failure until each of `DAYS`.
    broken, broken_after : float array (days, rows)
        Hours of work of the failures expected until each of `DAYS` [h]: from today on without any
        planned work, and from a renewal on.
    """

    value: FloatArray
    quarter: FloatArray
    cost: FloatArray
    chance: FloatArray
    broken: FloatArray
    broken_after: FloatArray

    def __repr__(self) -> str:
        """Count the rows."""
        return f"<Waiting: {self.quarter.size} sides>"

    def at(self, days: FloatArray, rows: IntArray) -> FloatArray:
        """Value of renewing some rows after the same days from today, (rows, days) [money]."""
        inside = np.clip(days, DAYS[0], DAYS[-1])
        return np.asarray(PchipInterpolator(DAYS, self.value[:, rows], axis=0)(inside).T)

    def on(self, days: FloatArray, rows: IntArray) -> FloatArray:
        """Value of renewing each of some rows after days of its own, (rows,) [money]."""
        inside = np.clip(days, DAYS[0], DAYS[-1])
        place = np.minimum(np.searchsorted(DAYS, inside, side="right") - 1, DAYS.size - 2)
        curves = PchipInterpolator(DAYS, self.value[:, rows], axis=0).c
        cube, square, slope, level = curves[:, place, np.arange(inside.size)]
        past = inside - DAYS[place]
        return np.asarray(((cube * past + square) * past + slope) * past + level)


def weigh_waiting(
    due: pd.DataFrame,
    groups: tuple[SideGroup, ...],
    decisions: tuple[Decision | None, ...],
    ahead: tuple[UseAhead, ...],
) -> Waiting:
    """Value of renewing on each of `DAYS` for every row, from its positions' own ages.

    Parameters
    ----------
    due : DataFrame
        Rows with their `group`, the rows of one group in the order of its pumps.
    groups : tuple of SideGroup
    decisions : tuple of Decision or None
    ahead : tuple of UseAhead
        Use of each group's pumps.

    Returns
    -------
    Waiting

    References
    ----------
    Relative values of a renewal reward process: R. A. Howard, Dynamic Programming and Markov
    Processes (1960), from memory.
    """

    def weigh(number: int, rows: IntArray) -> tuple[FloatArray, ...]:
        group, decision = groups[number], decisions[number]
        if decision is None:
            return _not_known(rows.size)
        return _weigh_group(group, decision, ahead[number])

    weighed = _of_groups(due, weigh)
    value, chance, broken, after, cost, quarter = weighed
    return Waiting(
        value=value,
        quarter=quarter[0],
        cost=cost[0],
        chance=chance,
        broken=broken,
        broken_after=after,
    )


def _not_known(rows: int) -> tuple[FloatArray, ...]:
    """What `_weigh_group` gives, for rows of a group without a decision."""
    nothing, unknown = np.zeros((DAYS.size, rows)), np.full((1, rows), np.nan)
    return nothing, nothing, nothing, nothing, unknown, unknown


def _weigh_group(group: SideGroup, decision: Decision, ahead: UseAhead) -> tuple[FloatArray, ...]:
    """Value, chance, both kinds of hours (days, pumps), then cost and quarter (1, pumps)."""
    usage = ahead.run_days(DAYS[:, None]) * group.rate
    ages = position_ages(group, decision)
    chance, share = failure_chance(group.position_lives, ages, usage, most_draws=VALUE_DRAWS)
    failure = share @ decision.costs.failure_money[group.part_of]
    extra = (decision.costs.failure_money - decision.costs.planned_money)[group.part_of]
    hours = share[QUARTER] @ decision.costs.kit_failure.labour_h[group.part_of]
    return (
        _value(decision, usage, chance, failure),
        chance,
        hours * _failures(group, decision, chance),
        hours * _failures(group, decision, _chance_when_new(group)),
        (chance[QUARTER] * np.maximum(share[QUARTER] @ extra, 0.0))[None],
        chance[QUARTER][None],
    )


def _of_groups(
    due: pd.DataFrame, task: Callable[[int, IntArray], tuple[FloatArray, ...]]
) -> tuple[FloatArray, ...]:
    """What a task gives for the rows of each group, (..., rows); by two processes where many."""
    places = _by_group(due)
    found = list(in_turn(lambda one: task(*one), places, DAYS.size * len(due)))
    rows = np.concatenate([row for _, row in places])
    order = np.argsort(rows, kind="stable")
    return tuple(np.concatenate(each, axis=-1)[..., order] for each in zip(*found, strict=True))


def _by_group(due: pd.DataFrame) -> list[tuple[int, IntArray]]:
    """Places of the rows of each group."""
    places = due.groupby("group", sort=True).indices
    return [(int(str(number)), np.asarray(rows, np.int64)) for number, rows in places.items()]


def _failures(group: SideGroup, decision: Decision, chance: FloatArray) -> FloatArray:
    """Failures expected until each day: the first by its chance, later ones as in the long run."""
    a_day = group.rate * float(decision.events.failures.sum(axis=0).mean())
    failed = np.zeros_like(chance)
    failed[1:] = np.cumsum(0.5 * (chance[:-1] + chance[1:]) * np.diff(DAYS)[:, None], axis=0)
    return np.asarray(chance + a_day * failed)


def _chance_when_new(group: SideGroup) -> FloatArray:
    """Chance that a side renewed today has failed by each of `DAYS`, (days, pumps)."""
    step = max(1, group.lives.shape.shape[1] // VALUE_DRAWS)
    usage = DAYS[:, None] * group.rate
    ages = np.linspace(0.0, max(float(usage.max()), 1e-9), NEW_AGES)
    side = SideLife(lives=group.lives[:, ::step], count=group.count)
    failed = 1.0 - side.survival(np.maximum(ages, 1e-9)[:, None]).mean(axis=1)
    return np.asarray(np.interp(usage, ages, failed))


def _value(
    decision: Decision, usage: FloatArray, chance: FloatArray, failure: FloatArray
) -> FloatArray:
    """Cost of failure or planned work until each day, less the long-run cost of the usage."""
    alive = 1.0 - chance
    run = np.zeros_like(chance)
    run[1:] = np.cumsum(0.5 * (alive[:-1] + alive[1:]) * np.diff(usage, axis=0), axis=0)
    paid = chance * failure + alive * decision.costs.planned_money
    return np.asarray(paid - planned_money(decision) * run)


def chance_by(
    due: pd.DataFrame,
    groups: tuple[SideGroup, ...],
    decisions: tuple[Decision | None, ...],
    ahead: tuple[UseAhead, ...],
    days: FloatArray,
) -> FloatArray:
    """Chance of a failure of each row within days of its own, (rows,); NaN where none is given."""

    def chance_of(number: int, rows: IntArray) -> tuple[FloatArray]:
        group, decision = groups[number], decisions[number]
        if decision is None:
            return (np.full(rows.size, np.nan),)
        usage = ahead[number].run_days(np.nan_to_num(days[rows])) * group.rate
        ages = position_ages(group, decision)
        return (failure_chance(group.position_lives, ages, usage[None, :])[0][0],)

    (chance,) = _of_groups(due, chance_of)
    return np.where(np.isnan(days), np.nan, chance)


def position_ages(group: SideGroup, decision: Decision) -> PositionAges:
    """Ages of today; one not known is below the interval that is followed, unless it is beyond."""
    interval = own_intervals(group, decision.followed_interval)[:, None]
    return PositionAges(
        age=group.age,
        known=group.known,
        most=np.minimum(group.most, np.where(group.age < interval, interval, np.inf)),
    )
