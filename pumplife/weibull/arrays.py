"""Lives as checked arrays, and their groups as runs of rows."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pumplife.errors import RecordError

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]
Bools = NDArray[np.bool_]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class LifeArrays:
    """Checked lives, one row per life.

    Attributes
    ----------
    lower, upper, entry : arrays (rows,) [usage]
        Lower == upper is an exact failure, upper = inf a suspension at lower, otherwise a
        failure between the two; observed from entry on.
    weight : array (rows,)
        Count of such lives; None where every weight is 1.
    """

    lower: Floats
    upper: Floats
    entry: Floats | None
    weight: Floats | None

    def __repr__(self) -> str:
        return f"LifeArrays({len(self.lower)} lives)"

    def take(self, rows: Ints | Bools) -> LifeArrays:
        """Return the given rows."""
        return LifeArrays(
            lower=self.lower[rows],
            upper=self.upper[rows],
            entry=None if self.entry is None else self.entry[rows],
            weight=None if self.weight is None else self.weight[rows],
        )

    def weights(self) -> Floats:
        """Return the weight of every row, ones included."""
        return np.ones_like(self.lower) if self.weight is None else self.weight

    def entries(self) -> Floats:
        """Return the entry of every row, zeros included."""
        return np.zeros_like(self.lower) if self.entry is None else self.entry


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class Groups:
    """Which row belongs to which group.

    Attributes
    ----------
    labels : array (groups,)
        Sorted distinct labels.
    order : array (rows,) or None
        Rows sorted by group; None where they already were.
    code : array (rows,)
        Group number of each row, after sorting.
    start, size : arrays (groups,)
        First row and number of rows of each group, after sorting.
    """

    labels: NDArray[Any]
    order: Ints | None
    code: Ints
    start: Ints
    size: Ints

    def __repr__(self) -> str:
        return f"Groups({len(self.labels)} groups, {len(self.code)} rows)"


def check_lives(
    lower: ArrayLike,
    upper: ArrayLike,
    entry: ArrayLike | None = None,
    weight: ArrayLike | None = None,
) -> LifeArrays:
    """Return lives as float arrays, or say which row can't be true.

    Raises
    ------
    RecordError
        With the 0-based position of the first row at fault and its value.
    """
    low = _as_column("lower", lower)
    up = _as_column("upper", upper, length=len(low))
    if len(low) == 0:
        raise RecordError("There are no lives: give at least one row of lower and upper.")
    _refuse(~(low >= 0) | ~np.isfinite(low), "lower", low, "an age of zero or more is needed")
    _refuse(
        ~(up >= low),
        "upper",
        up,
        "it must not be smaller than lower; give inf for a life that is still running",
    )
    _refuse(
        up == 0,
        "upper",
        up,
        "a failure at age 0 has no likelihood; give it as an interval "
        "from lower = 0 to the upper age by which it had failed",
    )
    start = None if entry is None else _check_entry(_as_column("entry", entry, len(low)), low)
    count = None if weight is None else _check_weight(_as_column("weight", weight, len(low)))
    return LifeArrays(lower=low, upper=up, entry=start, weight=count)


def _check_entry(entry: Floats, lower: Floats) -> Floats | None:
    _refuse(~(entry >= 0), "entry", entry, "an age of zero or more is needed")
    _refuse(
        entry > lower,
        "entry",
        entry,
        "a life can't be observed from after its own lower age; correct entry or lower",
    )
    return entry if entry.any() else None


def _check_weight(weight: Floats) -> Floats | None:
    _refuse(
        ~(weight >= 0) | ~np.isfinite(weight), "weight", weight, "a count of zero or more is needed"
    )
    return None if bool((weight == 1.0).all()) else weight


def _as_column(name: str, values: ArrayLike, length: int | None = None) -> Floats:
    try:
        column = np.asarray(values, dtype=np.float64)
    except (TypeError, ValueError) as problem:
        raise RecordError(f"{name} holds something that isn't a number: {problem}.") from None
    if column.ndim != 1:
        raise RecordError(f"{name} has {column.ndim} dimensions: give one value per life.")
    if length is not None and len(column) != length:
        raise RecordError(
            f"{name} has {len(column)} values where lower has {length}: give one per life."
        )
    return column


def _refuse(bad: Bools, name: str, values: Floats, advice: str) -> None:
    if bad.any():
        row = int(np.argmax(bad))
        more = int(bad.sum()) - 1
        others = f" (and {more} more rows)" if more else ""
        raise RecordError(f"Row {row}: {name} is {values[row]:g}{others}: {advice}.")


def check_confidence(confidence: float) -> float:
    """Return the confidence, or say that it must lie between 0 and 1."""
    if not 0.0 < confidence < 1.0:
        raise RecordError(f"confidence is {confidence!r}: give a share between 0 and 1, say 0.90.")
    return float(confidence)


def find_groups(group: Sequence[Any] | NDArray[Any] | None, rows: int) -> Groups:
    """Return the groups of the rows; None makes one group of all."""
    if group is None:
        return _runs(np.zeros(1, dtype=np.intp), None, np.zeros(rows, dtype=np.intp))
    labels = np.asarray(group)
    if labels.shape != (rows,):
        raise RecordError(f"group has shape {labels.shape} where there are {rows} lives.")
    if labels.dtype.kind in "iu" and bool((labels[1:] >= labels[:-1]).all()):
        return _sorted_runs(labels)
    try:
        distinct, code = np.unique(labels, return_inverse=True)
    except TypeError:
        kinds = ", ".join(sorted({type(label).__name__ for label in labels.tolist()}))
        raise RecordError(
            f"group mixes labels that can't be sorted ({kinds}): give labels of one kind, "
            "with a label for every life."
        ) from None
    if distinct.dtype.kind == "f" and np.isnan(distinct).any():
        row = int(np.argmax(np.isnan(labels)))
        raise RecordError(f"Row {row}: group is nan: give a label for every life.")
    order = np.argsort(code, kind="stable").astype(np.intp)
    return _runs(distinct, order, code[order].astype(np.intp))


def _sorted_runs(labels: NDArray[Any]) -> Groups:
    start = np.flatnonzero(np.concatenate(([True], labels[1:] != labels[:-1]))).astype(np.intp)
    size = np.diff(np.append(start, len(labels))).astype(np.intp)
    code = np.repeat(np.arange(len(start), dtype=np.intp), size)
    return Groups(labels=labels[start], order=None, code=code, start=start, size=size)


def _runs(labels: NDArray[Any], order: Ints | None, code: Ints) -> Groups:
    size = np.bincount(code, minlength=len(labels)).astype(np.intp)
    start = (np.cumsum(size) - size).astype(np.intp)
    return Groups(labels=labels, order=order, code=code, start=start, size=size)


def sum_by(code: Ints, values: Floats, groups: int) -> Floats:
    """Return the sums of values over each group number; empty groups sum to zero."""
    return np.asarray(np.bincount(code, weights=values, minlength=groups), dtype=np.float64)


def sort_lives(lives: LifeArrays, groups: Groups) -> tuple[LifeArrays, Groups]:
    """Return the rows sorted by group, without those of weight 0."""
    if groups.order is not None:
        lives = lives.take(groups.order)
    if lives.weight is None or bool((lives.weight > 0.0).all()):
        return lives, groups
    kept = lives.weight > 0.0
    return lives.take(kept), _keep_rows(groups, kept)


def _keep_rows(groups: Groups, kept: Bools) -> Groups:
    code = groups.code[kept]
    size = np.bincount(code, minlength=len(groups.labels)).astype(np.intp)
    start = (np.cumsum(size) - size).astype(np.intp)
    return Groups(labels=groups.labels, order=None, code=code, start=start, size=size)


def keep_groups(lives: LifeArrays, groups: Groups, kept: Bools) -> tuple[LifeArrays, Groups]:
    """Return only some groups, renumbered."""
    if kept.all():
        return lives, groups
    rows = kept[groups.code]
    number = (np.cumsum(kept) - 1).astype(np.intp)
    size = groups.size[kept]
    smaller = Groups(
        labels=groups.labels[kept],
        order=None,
        code=number[groups.code[rows]],
        start=(np.cumsum(size) - size).astype(np.intp),
        size=size,
    )
    return lives.take(rows), smaller
