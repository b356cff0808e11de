"""What the work of one store takes under each way of supplying it. Arrays only.

A kit that is broken for one part leaves the others in a bin; they are used before another kit is
broken, and none is lost.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pumplife.policy.groups import DAYS_PER_YEAR
from pumplife.policy.simulate import PLANNED, SideEvents

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.intp]
BoolArray = NDArray[np.bool_]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Takings:
    """Pieces taken from a store, one entry each.

    Attributes
    ----------
    item : int array (pieces,)
        Row of the item in some list of items.
    replicate : int array (pieces,)
    day : float array (pieces,)
        [days] from today.
    planned : bool array (pieces,)
        Whether it was known before the pump was opened.
    """

    item: IntArray
    replicate: IntArray
    day: FloatArray
    planned: BoolArray

    def __repr__(self) -> str:
        return f"Takings({self.item.size} pieces)"

    def where(self, kept: BoolArray) -> "Takings":
        """Those of some entries only."""
        return Takings(
            item=self.item[kept],
            replicate=self.replicate[kept],
            day=self.day[kept],
            planned=self.planned[kept],
        )


def take(events: SideEvents, item: IntArray, pieces: IntArray, *, sure: bool = True) -> Takings:
    """So many pieces of an item at each event; planned where the work is and it is `sure`."""
    rows = np.repeat(np.arange(events.time.size), pieces)
    return Takings(
        item=item[rows],
        replicate=events.replicate[rows],
        day=events.time[rows] * DAYS_PER_YEAR,
        planned=(events.position[rows] == PLANNED) & sure,
    )


def join_takings(parts: list[Takings]) -> Takings:
    """All of them, one after another."""
    return Takings(
        item=np.concatenate([np.zeros(0, np.intp), *(p.item for p in parts)]),
        replicate=np.concatenate([np.zeros(0, np.intp), *(p.replicate for p in parts)]),
        day=np.concatenate([np.zeros(0), *(p.day for p in parts)]),
        planned=np.concatenate([np.zeros(0, np.bool_), *(p.planned for p in parts)]),
    )


def count_together(takings: Takings, items: int) -> tuple[FloatArray, int]:
    """Openings at which each item was taken, (items,), and at which anything was."""
    order = np.lexsort((takings.item, takings.day, takings.replicate))
    item, replicate, day = takings.item[order], takings.replicate[order], takings.day[order]
    moved = (np.diff(replicate, prepend=-1) != 0) | (np.diff(day, prepend=-1.0) != 0)
    new = moved | (np.diff(item, prepend=-1) != 0)
    times = np.bincount(item[new], minlength=items).astype(np.float64)
    return times, int(np.count_nonzero(moved))


def select_events(events: SideEvents, kept: BoolArray) -> SideEvents:
    """Some of the events."""
    return SideEvents(
        pump=events.pump[kept],
        replicate=events.replicate[kept],
        time=events.time[kept],
        position=events.position[kept],
        kit=events.kit[kept],
    )


def break_kits(needs: Takings, held: IntArray) -> BoolArray:
    """At which needs another kit is broken, the bin having none of that part left.

    Parameters
    ----------
    needs : Takings
        Pieces needed, items counted in `held`.
    held : int array (items,)
        Pieces of each item in the kit, at least 1 for every item needed [items].

    Returns
    -------
    bool array (needs,)

    Notes
    -----
    Kits broken by any time are the most, over items, of the pieces needed so far over the pieces
    in a kit, rounded up: what is left of a kit goes to the bin first.
    """
    rank = _count_so_far(needs.replicate, needs.item, needs.day)
    kits = -(-rank // held[needs.item])
    order = np.lexsort((needs.day, needs.replicate))
    most = _highest_so_far(kits[order], needs.replicate[order])
    rises = np.diff(most, prepend=0) > 0
    first = np.diff(needs.replicate[order], prepend=-1) > 0
    opened = np.zeros(rank.size, bool)
    opened[order] = np.where(first, most > 0, rises)
    return opened


def not_in_bin(needs: Takings, broken: Takings, held: int) -> BoolArray:
    """Needs of one item that the bin of broken kits can't meet, each kit bringing `held` pieces.

    Parameters
    ----------
    needs : Takings
        Of one item.
    broken : Takings
        One entry for each kit broken.
    held : int
        [items]

    Returns
    -------
    bool array (needs,)
    """
    rank = _count_so_far(needs.replicate, needs.item, needs.day)
    supplied = held * _count_until(broken, needs)
    order = np.lexsort((needs.day, needs.replicate))
    short = np.maximum(rank - supplied, 0)[order]
    most = _highest_so_far(short, needs.replicate[order])
    first = np.diff(needs.replicate[order], prepend=-1) > 0
    missing = np.zeros(rank.size, bool)
    missing[order] = np.where(first, most > 0, np.diff(most, prepend=0) > 0)
    return missing


def _count_so_far(replicate: IntArray, item: IntArray, day: FloatArray) -> IntArray:
    """Which piece of its item each need is in its replicate, from 1."""
    order = np.lexsort((day, item, replicate))
    new = (np.diff(replicate[order], prepend=-1) != 0) | (np.diff(item[order], prepend=-1) != 0)
    place = np.arange(order.size)
    rank = np.empty(order.size, np.intp)
    rank[order] = place - np.maximum.accumulate(np.where(new, place, 0)) + 1
    return rank


def _highest_so_far(values: IntArray, replicate: IntArray) -> IntArray:
    """Running maximum within each replicate; replicates ascending, values at least 0."""
    step = int(values.max(initial=0)) + 1
    highest = np.maximum.accumulate(values + replicate * step) - replicate * step
    return np.asarray(highest, dtype=np.intp)


def _count_until(broken: Takings, needs: Takings) -> IntArray:
    """Kits broken in the replicate of each need up to its day, that day included."""
    span = float(max(broken.day.max(initial=0.0), needs.day.max(initial=0.0))) + 1.0
    when = np.sort(broken.replicate * span + broken.day)
    start = np.searchsorted(when, needs.replicate * span, side="left")
    until = np.searchsorted(when, needs.replicate * span + needs.day, side="right")
    return np.asarray(until - start, dtype=np.intp)
