"""How much each pump will run: dated changes of use, pumps that come, rest, move on or retire.

Work is reckoned in usage. What is planned for the calendar is a change of time: days at today's
rate stand for usage, and this file takes one to the other and back.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from pumplife.policy.groups import SideGroup
from pumplife.policy.pump import FloatArray
from pumplife.policy.simulate import IntArray
from pumplife.records.duty import lay_out_duty
from pumplife.records.plant import to_day, to_days
from pumplife.records.read import Records


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class UseAhead:
    """Use of some pumps from the end of the records on, as a share of today's.

    Attributes
    ----------
    knots : float array (knots,)
        Days from the end of the records, rising from 0, at which some share changes [days].
    share : float array (pumps, knots)
        Of today's rate, from each knot to the next and from the last one on [-].
    """

    knots: FloatArray
    share: FloatArray

    def __repr__(self) -> str:
        """Count what changes."""
        return f"<UseAhead: {self.share.shape[0]} pumps, {self.knots.size - 1} changes>"

    @property
    def as_now(self) -> bool:
        """Whether nothing changes."""
        return bool((self.share == 1.0).all())

    def run_days(self, day: FloatArray) -> FloatArray:
        """Days at today's rate that each pump runs until days from now, (..., pumps) [days].

        Parameters
        ----------
        day : float array (..., pumps) or broadcast to it
            [days]
        """
        width = np.diff(self.knots, append=np.inf)
        inside = np.clip(np.asarray(day, float)[..., None] - self.knots, 0.0, width)
        return np.asarray((inside * self.share).sum(axis=-1))

    def day_of(self, row: IntArray, run: FloatArray) -> FloatArray:
        """Day from now on which pumps will have run so many days at today's rate [days].

        Parameters
        ----------
        row : int array (n,)
            Rows of `share`.
        run : float array (n,)
            Days at today's rate [days].

        Returns
        -------
        float array (n,)
            The day on which that use is passed, so that what is due while a pump stands waits
            until it runs; inf where it never is.
        """
        gained = np.diff(self.knots) * self.share[:, :-1]
        before = np.concatenate([np.zeros((len(gained), 1)), np.cumsum(gained, axis=1)], axis=1)
        own = before[row]
        place = np.maximum((own <= run[:, None]).sum(axis=1) - 1, 0)
        rate = self.share[row, place]
        past = run - own[np.arange(row.size), place]
        wait = np.divide(past, rate, out=np.full(row.size, np.inf), where=rate > 0.0)
        return np.asarray(np.where(np.isfinite(run), self.knots[place] + wait, np.inf))

    def take(self, rows: slice | IntArray) -> UseAhead:
        """Some of the pumps."""
        return UseAhead(knots=self.knots, share=self.share[rows])


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Outlook:
    """What the records plan for the time after their end; days count from that end.

    Attributes
    ----------
    plan : DataFrame
        Changes of use to come: pump (-1 for a whole service), service, start, end [days],
        use_factor; in the order in which they are laid over each other.
    stints : DataFrame
        Where pumps stand from now on: pump, service, in_service, start, end [days] and the other
        columns of duty; empty where no move is planned.
    commissioned, retired : float array (pumps,)
        Days until a pump comes, and until it goes; 0 where it is there, inf where it stays [days].
    """

    plan: pd.DataFrame
    stints: pd.DataFrame
    commissioned: FloatArray
    retired: FloatArray

    def __repr__(self) -> str:
        """Count what is planned."""
        moves = int((self.stints["start"] > 0.0).sum()) if len(self.stints) else 0
        return f"<Outlook: {len(self.plan)} changes of use, {moves} moves>"


def open_outlook(records: Records) -> Outlook:
    """Read what is planned: `plan`, and rows of pumps and moves dated after the records.

    A row of `plan` that began within the records is in the rates of today already and is left
    out. A pump's own row goes before its service's, of two the one that begins later.
    """
    today = to_day(records.plant.records_to)
    plan = records.table("plan")
    later = plan["from_on"] > records.plant.records_to
    plan = plan[later & plan["use_factor"].notna()]
    plan = plan.assign(
        own=plan["pump"] >= 0,
        start=to_days(plan["from_on"]) - today - 1.0,
        end=np.nan_to_num(to_days(plan["to_on"]) - today, nan=np.inf),
    )
    coming = to_days(records.pumps["commissioned_on"]) - today - 1.0
    going = to_days(records.pumps["retired_on"]) - today
    return Outlook(
        plan=plan.sort_values(["own", "start"], kind="stable", ignore_index=True),
        stints=_stints_ahead(records, today),
        commissioned=np.maximum(np.nan_to_num(coming), 0.0),
        retired=np.maximum(np.nan_to_num(going, nan=np.inf), 0.0),
    )


def _stints_ahead(records: Records, today: float) -> pd.DataFrame:
    """Duty from now on, moves to come among it."""
    moves = records.table("moves")
    coming = moves["plan"].astype(bool) & moves["pump"].ge(0)
    pumps = records.pumps if coming.any() else records.pumps.head(0)
    stints = lay_out_duty(pumps, moves.assign(plan=False)).stints
    stints = stints[stints["pump"].isin(moves.loc[coming, "pump"])]
    stints = stints.assign(
        start=stints["from_day"] - today - 1.0, end=stints["to_day"] - today - 1.0
    )
    return stints[stints["end"] > 0.0].reset_index(drop=True)


def look_ahead(outlook: Outlook, group: SideGroup) -> UseAhead:
    """Use of the pumps of a group by what is planned.

    A pump runs in its group while it is there and serves the group's service.

    Parameters
    ----------
    outlook : Outlook
    group : SideGroup

    Returns
    -------
    UseAhead
        Rows as the group's pumps.
    """
    changes = [*_plan_changes(outlook, group), *_absences(outlook, group)]
    knots = np.unique([0.0, *(day for _, start, end, _ in changes for day in (start, end))])
    knots = knots[np.isfinite(knots) & (knots >= 0.0)]
    share = np.ones((group.pumps.size, knots.size))
    for row, start, end, factor in changes:
        share[np.ix_(row, (knots >= start) & (knots < end))] = factor
    return UseAhead(knots=knots, share=share)


_Change = tuple[IntArray, float, float, float]  # rows of pumps, from, to [days from now], share


def _plan_changes(outlook: Outlook, group: SideGroup) -> list[_Change]:
    plan = outlook.plan
    plan = plan[plan["pump"].isin(group.pumps) | plan["service"].eq(group.service) & ~plan["own"]]
    every = np.arange(group.pumps.size)
    return [
        (every[group.pumps == pump] if pump >= 0 else every, start, end, factor)
        for pump, start, end, factor in zip(
            plan["pump"].to_numpy(), plan["start"], plan["end"], plan["use_factor"], strict=True
        )
    ]


def _absences(outlook: Outlook, group: SideGroup) -> list[_Change]:
    """When pumps don't run in the group: yet to come, gone, in store, in another service."""
    row = np.arange(group.pumps.size)
    first, last = outlook.commissioned[group.pumps], outlook.retired[group.pumps]
    away = outlook.stints
    away = away[away["pump"].isin(group.pumps)]
    away = away[~away["in_service"].astype(bool) | away["service"].ne(group.service)]
    return [
        *((row[[n]], 0.0, float(first[n]), 0.0) for n in row[first > 0.0]),
        *((row[[n]], float(last[n]), np.inf, 0.0) for n in row[np.isfinite(last)]),
        *(
            (row[group.pumps == pump], start, end, 0.0)
            for pump, start, end in zip(away["pump"], away["start"], away["end"], strict=True)
        ),
    ]
