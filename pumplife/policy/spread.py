"""Pieces of work spread over slots of limited hours, dear work first."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import csr_array

from pumplife.policy.pump import FloatArray
from pumplife.policy.simulate import IntArray

MOST_CELLS = 20_000  # rows x slots up to which the cheapest way is sought by branch and cut
NEAR, MOST_NODES = 0.005, 200  # share of the least cost, and branches after which to stop
NO_SLOT = 10.0  # cost of finding no slot, in units of the dearest slot


def spread_work(cost: FloatArray, hours: FloatArray, room: FloatArray) -> IntArray:
    """A slot for each piece of work at near the least cost, no slot beyond its room.

    By branch and cut to half a percent; where there is very much work, the pieces ask in turn,
    see `ask_in_turn`.

    Parameters
    ----------
    cost : float array (rows, slots)
        Cost of doing each piece in each slot [money]; inf where it can't be done then.
    hours : float array (rows,)
        [h]
    room : float array (slots,)
        [h]; inf where nothing bounds it.

    Returns
    -------
    int array (rows,)
        -1 where no slot has room.
    """
    wished = ask_in_turn(cost, hours, np.full(room.size, np.inf))
    wanted = np.bincount(wished[wished >= 0], weights=hours[wished >= 0], minlength=room.size)
    if np.all(wanted <= room):
        return wished
    place = _branch(cost, hours, room) if cost.size <= MOST_CELLS else None
    return ask_in_turn(cost, hours, room) if place is None else place


def _branch(cost: FloatArray, hours: FloatArray, room: FloatArray) -> IntArray | None:
    """The cheapest way by branch and cut; None where none was found in time."""
    row, slot = np.nonzero(np.isfinite(cost))
    rows, cells = len(cost), row.size
    unit = max(float(np.abs(cost[row, slot]).max(initial=0.0)), 1e-300)
    every = np.arange(cells + rows)
    one = csr_array((np.ones(every.size), (np.append(row, np.arange(rows)), every)))
    load = csr_array((hours[row], (slot, np.arange(cells))), shape=(room.size, cells + rows))
    found = milp(
        np.append(cost[row, slot] / unit, np.full(rows, NO_SLOT)),
        constraints=[LinearConstraint(one, 1.0, 1.0), LinearConstraint(load, -np.inf, room)],
        integrality=np.ones(every.size, dtype=np.int64),
        bounds=Bounds(0.0, 1.0),
        options={"mip_rel_gap": NEAR, "node_limit": MOST_NODES},
    )
    if found.x is None:
        return None
    taken = np.flatnonzero(found.x[:cells] > 0.5)
    place = np.full(rows, -1)
    place[row[taken]] = slot[taken]
    return place


def ask_in_turn(cost: FloatArray, hours: FloatArray, room: FloatArray) -> IntArray:
    """A slot for each piece of work, dear work first, no slot beyond its room.

    Every piece asks for its cheapest slot; where a slot is asked for more than it holds, those
    stay that would lose most an hour by moving on, the others ask for their next one, until all
    have one.  Near the cheapest way where slots hold many pieces.
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
