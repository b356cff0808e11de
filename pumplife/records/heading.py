"""Find the heading of a table below its titles, in one row or in two."""

import re
from collections.abc import Collection
from dataclasses import dataclass

import numpy as np
import pandas as pd

from pumplife.records.phrases import squeeze

LOOK = 40
"""So many filled rows are looked at [rows]."""
WIDE = 0.6
"""A heading fills at least so large a share of the cells of a usual row [1]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Heading:
    """Where a table begins.

    Attributes
    ----------
    top, depth : int
        Row of the grid and number of rows.
    words : list of str
        One per column of the grid, "" where a column has no heading.
    """

    top: int
    depth: int
    words: list[str]


def find_heading(grid: pd.DataFrame, filled: np.ndarray, known: Collection[str]) -> Heading:
    """Find the heading of a grid.

    The row, or the two rows, of the first `LOOK` with most of the known headings, if it has two of
    them; else the first row that fills `WIDE` of what a usual row fills. A row above that only
    groups headings is joined to them: "Order" above "No" is "Order No".

    Parameters
    ----------
    grid : DataFrame
        Cells as text.
    filled : bool array, (rows,)
        Rows that hold anything.
    known : collection of str
        Squeezed headings that the table may have.
    """
    rows = np.flatnonzero(filled)[:LOOK]
    lines = [[cell.strip() for cell in line] for line in grid.iloc[rows].to_numpy(object)]
    best = _best_known(lines, rows, frozenset(known))
    if best is not None:
        return best
    counts = np.array([len(set(line) - {""}) for line in lines])
    place = int(np.argmax(counts >= WIDE * np.median(counts)))
    if place and _groups(lines[place - 1], lines[place]) and rows[place - 1] + 1 == rows[place]:
        return _joined(lines, rows, place - 1)
    below = place + 1 < len(rows) and rows[place] + 1 == rows[place + 1]
    if below and _groups(lines[place], lines[place + 1]) and _fills_gaps(lines, place):
        return _joined(lines, rows, place)
    return Heading(top=int(rows[place]), depth=1, words=lines[place])


def _joined(lines: list[list[str]], rows: np.ndarray, place: int) -> Heading:
    words = _join(lines[place], lines[place + 1])
    return Heading(top=int(rows[place]), depth=2, words=words)


def _best_known(lines: list[list[str]], rows: np.ndarray, known: Collection[str]) -> Heading | None:
    best, most = None, 1
    for place, line in enumerate(lines):
        count = _count_known(line, known)
        if count > most:
            best, most = Heading(top=int(rows[place]), depth=1, words=line), count
        if place + 1 == len(lines) or rows[place] + 1 != rows[place + 1]:
            continue
        words = _join(line, lines[place + 1], known)
        single = max(count, _count_known(lines[place + 1], known))
        if _count_known(words, known) > max(most, single):
            best = Heading(top=int(rows[place]), depth=2, words=words)
            most = _count_known(words, known)
    return best


def _count_known(line: list[str], known: Collection[str]) -> int:
    return len({squeeze(word) for word in line if word}.intersection(known))


def _join(above: list[str], below: list[str], known: Collection[str] = ()) -> list[str]:
    """Join two rows of a heading; a blank above belongs to the word on its left."""
    joined, group = [], ""
    for upper, lower in zip(above, below, strict=True):
        group = upper or (group if lower else "")
        alike = squeeze(upper or group) == squeeze(lower)
        both = lower if alike else f"{upper or group} {lower}".strip()
        alone = squeeze(lower) in known and squeeze(both) not in known
        joined.append(lower if alone else both)
    return joined


def _groups(above: list[str], below: list[str]) -> bool:
    """Say whether a row groups the headings below it: several words, nothing that is a value."""
    words = [word for word in above if word]
    plain = not any(re.search(r"\d", word) for word in [*words, *below])
    repeats = len(words) - len(set(words))
    gaps = sum(not upper and bool(lower) for upper, lower in zip(above, below, strict=True))
    return plain and len(set(words)) >= 2 and repeats + gaps > 0


def _fills_gaps(lines: list[list[str]], place: int) -> bool:
    above, below = lines[place], lines[place + 1]
    return len(set(below) - {""}) > len(set(above) - {""})
