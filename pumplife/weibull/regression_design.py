"""Covariates of a regression as checked, standardised columns, and the way back."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from pumplife.errors import RecordError
from pumplife.weibull.arrays import Bools, Floats, Ints

DEPENDENT = 1e-8  # share of a column that earlier ones leave, below which it adds nothing


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class Design:
    """Standardised columns of log scale and log shape, each with a leading column of ones.

    Attributes
    ----------
    kind : int array (rows,)
        Rows that have all columns in common are of one kind: they share scale and shape.
    scale : array (kinds, scale terms)
    shape : array (kinds, shape terms)
    names : tuple of str
        Of all terms: those of log scale, then those of log shape.
    back : array (terms, terms)
        Takes standardised terms to terms per unit of the given columns.
    """

    kind: Ints
    scale: Floats
    shape: Floats
    names: tuple[str, ...]
    back: Floats

    def __repr__(self) -> str:
        return f"Design({len(self.kind)} lives, {len(self.names)} terms)"

    def add_up(self, rows: Floats) -> Floats:
        """Return the sum over the rows of each kind (kinds,)."""
        return np.bincount(self.kind, rows, len(self.scale)).astype(np.float64, copy=False)


def build_design(
    scale: Floats, shape: Floats, names: Sequence[str], shape_names: Sequence[str], weight: Floats
) -> Design:
    """Return the standardised design, or say which column can't be told apart."""
    first, kind = _find_kinds(np.column_stack([scale, shape]))
    total = np.bincount(kind, weight).astype(np.float64, copy=False)
    scale_part, scale_back = _standardise(scale[first], names, total)
    shape_part, shape_back = _standardise(shape[first], shape_names, total)
    count = len(scale_back)
    back = np.zeros((count + len(shape_back), count + len(shape_back)))
    back[:count, :count], back[count:, count:] = scale_back, shape_back
    terms = ["intercept", *names, "log shape", *(f"log shape, {name}" for name in shape_names)]
    return Design(kind=kind, scale=scale_part, shape=shape_part, names=tuple(terms), back=back)


def _find_kinds(columns: Floats) -> tuple[Ints, Ints]:
    """Return the first row of each kind, and the kind of each row.

    Kinds are told apart by a sum of their columns in uneven parts; where two of them have one sum,
    every row is a kind of its own.
    """
    parts = np.random.default_rng(1).random(columns.shape[1])
    _, first, kind = np.unique(columns @ parts, return_index=True, return_inverse=True)
    if not np.array_equal(columns[first[kind]], columns):
        first = kind = np.arange(len(columns))
    return first.astype(np.intp), kind.astype(np.intp)


def check_columns(what: str, columns: ArrayLike | None, names: Sequence[str], rows: int) -> Floats:
    """Return covariates as a float array (rows, columns), or say what is wrong with them."""
    if columns is None:
        return np.zeros((rows, 0))
    try:
        table = np.asarray(columns, dtype=np.float64)
    except (TypeError, ValueError) as problem:
        raise RecordError(f"{what} holds something that isn't a number: {problem}.") from None
    if table.shape != (rows, len(names)):
        raise RecordError(
            f"{what} has shape {table.shape} where {rows} lives and {len(names)} names need "
            f"({rows}, {len(names)}): give one row per life and one name per column."
        )
    bad = ~np.isfinite(table)
    if bad.any():
        row, column = np.argwhere(bad)[0]
        raise RecordError(
            f"Row {row}: {names[column]} is {table[row, column]:g}: a number is needed; leave out "
            "lives whose covariate isn't known, or the column."
        )
    return table


def _standardise(columns: Floats, names: Sequence[str], weight: Floats) -> tuple[Floats, Floats]:
    """Return ones and the columns at mean 0 and spread 1, and the way back (terms, terms)."""
    total = weight.sum()
    mean = weight @ columns / total
    spread = np.sqrt(weight @ (columns - mean) ** 2 / total)
    flat = spread <= 1e-12 * (np.abs(mean) + np.abs(columns).max(axis=0, initial=0.0))
    if flat.any():
        name = names[int(np.argmax(flat))]
        raise RecordError(
            f"{name} is the same for every life: it has no effect to find; leave it out."
        )
    standard = np.column_stack([np.ones(len(columns)), (columns - mean) / spread])
    doubled = find_dependent(standard * np.sqrt(weight)[:, None])
    if doubled.any():
        _say_collinear(standard, doubled, names)
    back = np.diag(np.append(1.0, 1.0 / spread))
    back[0, 1:] = -mean / spread
    return standard, back


def find_dependent(columns: Floats) -> Bools:
    """Return which columns (columns,) are sums of multiples of those before them."""
    reduced = np.asarray(np.linalg.qr(columns, mode="r"), dtype=np.float64)
    basis = np.zeros((reduced.shape[0], 0))
    dependent = np.zeros(columns.shape[1], dtype=bool)
    for place in range(columns.shape[1]):
        left = reduced[:, place].copy()
        length = float(np.linalg.norm(left))
        for _ in range(2):  # twice: the second pass takes out what rounding left of the first
            left -= basis @ (basis.T @ left)
        size = float(np.linalg.norm(left))
        dependent[place] = size <= DEPENDENT * length
        if not dependent[place]:
            basis = np.column_stack([basis, left / size])
    return dependent


def name_partners(columns: Floats, place: int) -> Ints:
    """Return the earlier columns that together make up the column at a place."""
    answer = np.linalg.lstsq(columns[:, :place], columns[:, place], rcond=1e-9)[0]
    return np.flatnonzero(np.abs(answer) > 1e-6).astype(np.intp)


def _say_collinear(standard: Floats, doubled: Bools, names: Sequence[str]) -> None:
    place = int(np.argmax(doubled))
    partners = [names[one - 1] for one in name_partners(standard, place) if one > 0]
    raise RecordError(
        f"{names[place - 1]} always moves together with {' and '.join(partners)}: their effects "
        "can't be told apart; leave one of them out."
    )
