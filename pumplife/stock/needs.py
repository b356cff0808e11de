"""What pumps ask of the stores in simulated futures: pieces taken, and planned jobs known ahead."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.intp]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Needs:
    """One row per item taken: which, in which replicate, on which day, planned or not."""

    key: IntArray
    replicate: IntArray
    day: FloatArray
    planned: NDArray[np.bool_]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Known:
    """One row per planned job: which item it takes, in which replicate, and when it is known."""

    key: IntArray
    replicate: IntArray
    since: FloatArray
    due: FloatArray
    until: FloatArray


def join_needs(parts: list[Needs]) -> Needs:
    return Needs(
        key=np.concatenate([p.key for p in parts] or [np.zeros(0, np.intp)]),
        replicate=np.concatenate([p.replicate for p in parts] or [np.zeros(0, np.intp)]),
        day=np.concatenate([p.day for p in parts] or [np.zeros(0)]),
        planned=np.concatenate([p.planned for p in parts] or [np.zeros(0, np.bool_)]),
    )


def sort_needs(needs: Needs, replicates: int) -> Needs:
    """By key, future and day."""
    order = order_cells(needs.key * replicates + needs.replicate, needs.day)
    return Needs(
        key=needs.key[order],
        replicate=needs.replicate[order],
        day=needs.day[order],
        planned=needs.planned[order],
    )


def join_known(parts: list[Known]) -> Known:
    return Known(
        key=np.concatenate([p.key for p in parts] or [np.zeros(0, np.intp)]),
        replicate=np.concatenate([p.replicate for p in parts] or [np.zeros(0, np.intp)]),
        since=np.concatenate([p.since for p in parts] or [np.zeros(0)]),
        due=np.concatenate([p.due for p in parts] or [np.zeros(0)]),
        until=np.concatenate([p.until for p in parts] or [np.zeros(0)]),
    )


def take_rows(needs: Needs, rows: slice | NDArray[np.bool_], key: int) -> Needs:
    """Some of the rows, keys counted from `key` on."""
    return Needs(
        key=needs.key[rows] - key,
        replicate=needs.replicate[rows],
        day=needs.day[rows],
        planned=needs.planned[rows],
    )


def take_known(jobs: Known, rows: slice | IntArray | NDArray[np.bool_], key: int = 0) -> Known:
    """Some of the jobs, keys counted from `key` on."""
    return Known(
        key=jobs.key[rows] - key,
        replicate=jobs.replicate[rows],
        since=jobs.since[rows],
        due=jobs.due[rows],
        until=jobs.until[rows],
    )


def order_cells(cell: IntArray, day: FloatArray) -> IntArray:
    """Order by cell and day, as a sort by two keys has it.

    One sort of both in one number is a few times as quick; the rare days that this can't tell
    apart are looked for afterwards.
    """
    if not len(cell):
        return np.zeros(0, np.intp)
    since = day - day.min()
    order = np.argsort(cell + since / (1.001 * since.max() + 1.0), kind="stable")
    falls = np.diff(day[order]) < 0
    if (falls & (np.diff(cell[order]) <= 0)).any():
        order = np.lexsort((day, cell))
    return order
