"""Pieces of work spread over slots of limited hours, dear work first."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pumplife.policy.pump import FloatArray
from pumplife.policy.simulate import IntArray


def spread_work(cost: FloatArray, hours: FloatArray, room: FloatArray) -> IntArray:
    """A week for each piece of work, dear work first, no week beyond its room.

    Every piece asks for its cheapest week; where a week is asked for more than it holds, those
    stay that would lose most an hour by moving on, the others ask for their next week, until all
    have one.  For costs that rise evenly with the wait that is the cheapest way; else it is near.

    Parameters
    ----------
    cost : float array (rows, weeks)
        Cost of doing each piece in each week [money]; inf where it can't be done then.
    hours : float array (rows,)
        [h]
    room : float array (weeks,)
        [h]

    Returns
    -------
    int array (rows,)
        -1 where no week has room.
    """
    open_cost = np.concatenate([cost, np.full((len(cost), 2), np.inf)], axis=1)
    while True:
        best = np.argmin(open_cost, axis=1)
        least, second = np.partition(open_cost, 1, axis=1)[:, :2].T
        asks = np.flatnonzero(np.isfinite(least))
        with np.errstate(invalid="ignore"):
            regret = (second - least)[asks] / hours[asks]
        order = asks[np.lexsort((-regret, best[asks]))]
        turned = order[_beyond(best[order], hours[order], room)]
        if not turned.size:
            return np.where(np.isfinite(least), best, -1)
        open_cost[turned, best[turned]] = np.inf


def _beyond(week: IntArray, hours: FloatArray, room: FloatArray) -> NDArray[np.bool_]:
    """Which rows, sorted by week and precedence, don't fit into their week any more."""
    total = np.cumsum(hours)
    first = np.searchsorted(week, week, side="left")
    before = np.where(first > 0, total[first - 1], 0.0)
    return np.asarray(total - before > room[week] * (1.0 + 1e-12))


def place_work(
    cost: FloatArray, hours: FloatArray, room: FloatArray, hard: NDArray[np.bool_]
) -> tuple[IntArray, NDArray[np.bool_]]:
    """Place what can't wait first, in a full slot where it must be, then all other work.

    Parameters
    ----------
    cost : float array (rows, slots)
        [money]; inf where the work can't be done then.
    hours : float array (rows,)
        [h]
    room : float array (slots,)
        [h]
    hard : bool array (rows,)
        What can't wait beyond its slots.

    Returns
    -------
    place : int array (rows,)
        -1 where no slot has room.
    forced : bool array (rows,)
        Put where there was no room left.
    """
    place = np.full(hours.size, -1)
    place[hard] = spread_work(cost[hard], hours[hard], room)
    forced = hard & (place < 0)
    place[forced] = np.argmin(cost[forced], axis=1)
    left = room - np.bincount(place[hard], weights=hours[hard], minlength=room.size)
    place[~hard] = spread_work(cost[~hard], hours[~hard], np.maximum(left, 0.0))
    return place, forced
