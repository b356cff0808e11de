"""Pieces of work spread over slots of limited hours, dear work first."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pumplife.policy.pump import FloatArray
from pumplife.policy.simulate import IntArray

PRECEDENCE = (1.0, 0.5)  # powers of the hours by which what waiting costs is divided; both tried
NO_SLOT = 10.0  # cost of finding no slot, in units of the dearest slot
FULL_TO = 1.0 - 1e-9  # of its hours, from which on a slot is full
BoolArray = NDArray[np.bool_]


def spread_work(
    cost: FloatArray, hours: FloatArray, room: FloatArray, runs_on: BoolArray
) -> IntArray:
    """A slot for each piece of work to begin in, dear work first, no slot beyond its hours.

    Every piece asks for its cheapest slot; where a slot is asked for more than it holds, those
    stay that would lose most an hour by moving on, the others ask for their next one, until all
    have one.  Pieces that would lose most by the root of their hours are tried as well, and the
    cheaper of both ways is taken.

    Parameters
    ----------
    cost : float array (rows, slots)
        Cost of beginning each piece in each slot [money]; inf where it can't be.
    hours : float array (rows,)
        [h]
    room : float array (slots,)
        [h]; inf where nothing bounds it.
    runs_on : bool array (slots,)
        Whether what a slot begins may run on into the slots after it, as from week to week: the
        longest piece of a slot comes last, and must begin while there are hours.  Other slots
        hold whole pieces.

    Returns
    -------
    int array (rows,)
        -1 where no slot has room.
    """
    dearest = float(np.abs(cost[np.isfinite(cost)]).max(initial=0.0))
    ways = [_ask_in_turn(cost, hours, (room, runs_on), power) for power in PRECEDENCE]
    rows = np.arange(hours.size)
    paid = [np.where(way < 0, NO_SLOT * dearest, cost[rows, way]).sum() for way in ways]
    return ways[int(np.argmin(paid))]


def _ask_in_turn(
    cost: FloatArray, hours: FloatArray, slots: tuple[FloatArray, BoolArray], power: float
) -> IntArray:
    """A slot for each piece, those first that lose most by moving on over hours^power."""
    open_cost = np.concatenate([cost, np.full((len(cost), 2), np.inf)], axis=1)
    while True:
        best = np.argmin(open_cost, axis=1)
        least, second = np.partition(open_cost, 1, axis=1)[:, :2].T
        asks = np.flatnonzero(np.isfinite(least))
        with np.errstate(invalid="ignore"):
            loss = (second - least)[asks] / np.maximum(hours[asks], 1e-9) ** power
        order = asks[np.lexsort((-loss, best[asks]))]
        turned = order[~_fitting(best[order], hours[order], *slots)]
        if not turned.size:
            return np.where(np.isfinite(least), best, -1)
        open_cost[turned, best[turned]] = np.inf


def _fitting(slot: IntArray, hours: FloatArray, room: FloatArray, runs_on: BoolArray) -> BoolArray:
    """Which rows, sorted by slot and precedence, fit into their slot."""
    fits = np.zeros(slot.size, bool)
    ends = np.searchsorted(slot, np.arange(room.size + 1))
    carried = 0.0
    for place in range(room.size):
        rows = slice(ends[place], ends[place + 1])
        carried = carried if runs_on[place] else 0.0
        total = np.cumsum(hours[rows])
        left = (room[place] - carried) * FULL_TO
        before_last = total - np.maximum.accumulate(hours[rows])
        fits[rows] = before_last < left if runs_on[place] else total * FULL_TO <= room[place]
        carried = max(carried + float(hours[rows] @ fits[rows]) - float(room[place]), 0.0)
    return fits


def hours_worked(
    place: IntArray, hours: FloatArray, room: FloatArray, runs_on: BoolArray
) -> FloatArray:
    """Hours of work done in each slot, what is left over done in the next ones, (slots,) [h].

    Parameters
    ----------
    place : int array (rows,)
        Slots as `spread_work` gives them.
    hours : float array (rows,)
        [h]
    room : float array (slots,)
        [h]
    runs_on : bool array (slots,)
    """
    worked = np.bincount(place[place >= 0], hours[place >= 0], room.size).astype(float)
    carried = 0.0
    for slot in np.flatnonzero(runs_on):
        begun = worked[slot] + carried
        worked[slot] = min(begun, room[slot])
        carried = begun - worked[slot]
    return worked


def place_work(
    cost: FloatArray, hours: FloatArray, room: FloatArray, hard: BoolArray, runs_on: BoolArray
) -> tuple[IntArray, BoolArray, FloatArray]:
    """Place what can't wait first, in a full slot where it must be, then all other work.

    Parameters
    ----------
    cost : float array (rows, slots)
        [money]; inf where the work can't begin then.
    hours : float array (rows,)
        [h]
    room : float array (slots,)
        [h]
    hard : bool array (rows,)
        What can't wait beyond its slots: other work that has begun waits for it.
    runs_on : bool array (slots,)
        See `spread_work`.

    Returns
    -------
    place : int array (rows,)
        -1 where no slot has room.
    forced : bool array (rows,)
        Put where there was no room left, and done in that slot.
    worked : float array (slots,)
        Hours of work done in each slot [h].
    """
    place = np.full(hours.size, -1)
    place[hard] = spread_work(cost[hard], hours[hard], room, runs_on)
    forced = hard & (place < 0)
    worked = hours_worked(place, hours, room, runs_on)
    place[forced] = np.argmin(cost[forced], axis=1)
    worked += np.bincount(place[forced], hours[forced], room.size)
    left = np.maximum(room - worked, 0.0)
    place[~hard] = spread_work(cost[~hard], hours[~hard], left, runs_on)
    return place, forced, worked + hours_worked(place[~hard], hours[~hard], left, runs_on)
