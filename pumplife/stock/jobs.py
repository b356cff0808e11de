"""Planned jobs of simulated futures: from when on each is known, when it is due, how it ends."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pumplife.policy.ahead import UseAhead
from pumplife.policy.groups import DAYS_PER_YEAR, SideGroup
from pumplife.policy.simulate import PLANNED, SideEvents
from pumplife.stock.future import Practice

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.intp]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Jobs:
    """One row per job that somebody plans; a breakdown before its day takes it off the list.

    Attributes
    ----------
    pump, replicate : int array (jobs,)
        Row of the pump in its group; future.
    since : float array (jobs,)
        From when on it is known: the renewal before it [days].
    due : float array (jobs,)
        When it is to be done [days].
    until : float array (jobs,)
        When the side is renewed whole, as planned or by a breakdown; inf where never [days].
    """

    pump: IntArray
    replicate: IntArray
    since: FloatArray
    due: FloatArray
    until: FloatArray

    def __repr__(self) -> str:
        return f"Jobs({len(self.due)})"


def list_jobs(
    group: SideGroup,
    practice: Practice,
    events: SideEvents,
    replicates: int,
    latest: float,
    *,
    ahead: UseAhead | None = None,
) -> Jobs:
    """Jobs due before `latest` [days], the first one of each side and one after each renewal.

    The day of a job that a breakdown forestalls is known where the group has one planned age.
    """
    ages = practice.planned.ages
    if np.isinf(ages).all():
        return _none()
    age = float(ages[0]) if len(ages) == 1 else np.inf
    with np.errstate(divide="ignore", invalid="ignore"):
        cycle = np.where(group.rate > 0, age / group.rate, np.inf)
        left = np.maximum(age - group.clock_age, 0.0) / group.rate
        first = np.where(group.rate > 0, left, np.inf)
    pumps = len(group.pumps)
    every = np.arange(pumps * replicates)
    whole = np.flatnonzero(events.kit)
    lane = np.concatenate([every, events.pump[whole] * replicates + events.replicate[whole]])
    since = np.concatenate([np.zeros(len(every)), events.time[whole] * DAYS_PER_YEAR])
    own = lane // replicates
    due = _add_days(
        since, np.where(np.arange(len(lane)) < len(every), first[own], cycle[own]), own, ahead
    )
    if practice.first_days is not None:
        given = practice.first_days[own[: len(every)]]
        due[: len(every)] = np.where(np.isnan(given), due[: len(every)], given)
    planned = np.concatenate([np.zeros(len(every), bool), events.position[whole] == PLANNED])
    order = np.lexsort((since, lane))
    lane, since, due, planned = lane[order], since[order], due[order], planned[order]
    follows = np.append(lane[1:] == lane[:-1], False)
    until = np.where(follows, np.append(since[1:], np.inf), np.inf)
    due = np.where(follows & np.append(planned[1:], False), until, due)
    soon = due < latest
    return Jobs(
        pump=lane[soon] // replicates,
        replicate=lane[soon] % replicates,
        since=since[soon],
        due=due[soon],
        until=until[soon],
    )


def _add_days(
    since: FloatArray, days: FloatArray, pump: IntArray, ahead: UseAhead | None
) -> FloatArray:
    """The day on which pumps have run so many days at today's rate from other days on [days]."""
    if ahead is None or ahead.as_now:
        return since + days
    return ahead.day_of(pump, ahead.take(pump).run_days(since) + days)


def _none() -> Jobs:
    nothing, never = np.zeros(0, np.intp), np.zeros(0)
    return Jobs(pump=nothing, replicate=nothing, since=never, due=never, until=never)
