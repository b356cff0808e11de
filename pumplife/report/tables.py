"""Values as people read them: sensible digits, words for what is empty, ISO dates."""

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

import numpy as np
import pandas as pd

from pumplife.report.words import Units, find_heading, write_heading

LONG = 26  # characters from which the words of a column may wrap
NOTHING = 1e-9  # numbers closer to zero are what is left of rounding
THIN = "\u202f"  # between a number and its unit, so that lines don't break there


def write_number(value: float, digits: int = 3) -> str:
    """Write a number with so many significant digits and thousands apart.

    Parameters
    ----------
    value : float
        Any number; NaN becomes "–", infinity "no end".
    digits : int
        Significant digits; whole thousands keep no false ones.

    Returns
    -------
    str
        "12,300" for 12 345.6, "0.0457" for 0.045678.
    """
    if math.isnan(value):
        return "–"
    if math.isinf(value):
        return "no end" if value > 0 else "−no end"
    if value == 0:
        return "0"
    places = digits - 1 - math.floor(math.log10(abs(value)))
    rounded = round(value, places)
    # rounding up may gain a digit: 9.996 is 10.0, not 10.00
    places = digits - 1 - math.floor(math.log10(abs(rounded)))
    return f"{rounded:,.{max(places, 0)}f}".replace("-", "−")


def write_count(value: float) -> str:
    """Write a whole number whole, and a share of one with three digits."""
    if math.isfinite(value) and float(value).is_integer():
        return f"{value:,.0f}".replace("-", "−")
    return write_number(value)


def write_many(count: float, one: str) -> str:
    """Write a count with its noun: "1 piece", "4 pieces"."""
    return f"{write_count(count)} {one}" if count == 1 else f"{write_count(count)} {one}s"


def write_plain(value: float) -> str:
    """Write whole numbers whole, other numbers with three significant digits."""
    return write_count(value) if abs(value) < 1e6 else write_number(value)


def write_money(value: float) -> str:
    """Write money with three significant digits; less than half a cent is nothing."""
    return "0" if abs(value) < 0.005 else write_number(value)


def write_share(value: float) -> str:
    """Write a probability or share in percent, never rounding doubt away to 0 or 100.

    Parameters
    ----------
    value : float
        0 to 1.

    Returns
    -------
    str
        "12 %", "0.42 %", "< 0.1 %", "> 99.9 %".
    """
    if math.isnan(value):
        return "–"
    percent = 100 * value
    if 0 < percent < 0.1:
        return f"<{THIN}0.1{THIN}%"
    if 99.9 < percent < 100:
        return f">{THIN}99.9{THIN}%"
    return f"{percent:.{_percent_places(percent)}f}{THIN}%".replace("-", "−")


def write_chance(value: float) -> str:
    """Write a chance counted from a few hundred draws, which can't tell 0.5 % from nothing."""
    if value < 0.005:
        return f"<{THIN}1{THIN}%"
    return f">{THIN}99{THIN}%" if value > 0.995 else write_share(value)


def _percent_places(percent: float) -> int:
    if percent in (0.0, 100.0):
        return 0
    return 1 if percent < 10 or percent > 99 else 0


def write_date(value: Any) -> str:
    """Write a date as year-month-day; a text stays what it is."""
    if isinstance(value, str):
        return value or "–"
    return "–" if pd.isna(value) else pd.Timestamp(value).strftime("%Y-%m-%d")


WRITERS: dict[str, Callable[[Any], str]] = {
    "count": write_count,
    "number": write_plain,
    "usage": write_number,
    "money": write_money,
    "rate": write_number,
    "share": write_share,
    "chance": write_chance,
    "days": write_number,
    "weeks": write_number,
    "hours": write_number,
    "months": write_number,
    "ratio": write_number,
    "date": write_date,
}


SAID = {"on_shelf": "on the shelf"}


def write_code(value: str) -> str:
    """Write one of our own codes as words: "run_to_failure" as "run to failure"."""
    words = f"{value[:-2]} [h]" if value.endswith("_h") else SAID.get(value, value)
    return words.replace("_", " ")


def is_blank(value: Any) -> bool:
    """Tell whether a cell holds nothing: NaN, NaT, NA, None or an empty text."""
    if isinstance(value, str):
        return not value
    return value is None or bool(pd.isna(value))


def write_cell(value: Any, kind: str, blank: str = "–") -> str:
    """Write one cell for people.

    Parameters
    ----------
    value : any
        From an output table.
    kind : str
        Of its heading; a text in a number column stays as it is.
    blank : str
        What to say when the cell holds nothing.

    Returns
    -------
    str
    """
    if is_blank(value):
        return blank
    if isinstance(value, bool | np.bool_):
        return "yes" if value else "no"
    if isinstance(value, str):
        return write_code(value) if kind == "code" else value
    if isinstance(value, pd.Timestamp | np.datetime64):
        return write_date(value)
    if isinstance(value, int | float | np.number):
        return WRITERS.get(kind, write_plain)(float(value))
    return str(value)


@dataclass(frozen=True, slots=True)
class Cell:
    """One cell of a table on the page.

    Attributes
    ----------
    text : str
        What is read.
    sort : str
        What the column is sorted by; blank cells sort last.
    look : str
        "n" for a number, which stands to the right; "w" for words that may wrap; else "".
    link : str
        Where the cell leads: a place on the page or a file beside it; "" for nowhere.
    """

    text: str
    sort: str
    look: str
    link: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class PageTable:
    """A table ready for the page.

    Attributes
    ----------
    name : str
        Of the output table, for the anchor.
    headings : tuple of str
        With units.
    rows : tuple of tuples of Cell
        As many cells as headings.
    left_off : int
        Rows that exist and are not shown.
    """

    name: str
    headings: tuple[str, ...]
    rows: tuple[tuple[Cell, ...], ...]
    left_off: int

    def __repr__(self) -> str:
        return f"PageTable({self.name}: {len(self.rows)} rows, {self.left_off} left off)"


def lay_out(
    frame: pd.DataFrame,
    table: str,
    units: Units,
    *,
    columns: Sequence[str] | None = None,
    most: int = 200,
    file: str = "",
    bands: Mapping[str, tuple[str, str]] = MappingProxyType({}),
    links: Mapping[str, Sequence[str]] = MappingProxyType({}),
) -> PageTable:
    """Turn the first rows of an output table into words and figures.

    Parameters
    ----------
    frame : DataFrame
        An output table, in the order in which it is to be read.
    table : str
        Its name.
    units : Units
        Of the plant.
    columns : sequence of str, optional
        Which to show; those that the frame lacks or that are empty throughout are left out.
    most : int
        Rows shown at most.
    file : str
        Name of the CSV that holds them all; the table's own name when blank.
    bands : mapping of column to (column, column), optional
        Low and high end, written into the cell of the column that they belong to.
    links : mapping of column to sequence of str, optional
        Where each row's cell of that column leads.

    Returns
    -------
    PageTable
    """
    wanted = [name for name in (columns or list(frame.columns)) if name in frame.columns]
    shown = [name for name in wanted if columns is None or not _all_blank(frame[name])]
    head = frame[shown].head(most)
    cells = [
        _band_cells(frame.head(most), name, bands[name], table)
        if name in bands and set(bands[name]) <= set(frame.columns)
        else _column_cells(head[name], table, links.get(name, ()))
        for name in shown
    ]
    return PageTable(
        name=file or table,
        headings=tuple(write_heading(table, name, units) for name in shown),
        rows=tuple(zip(*cells, strict=True)) if cells else (),
        left_off=max(len(frame) - most, 0),
    )


def _all_blank(column: "pd.Series[Any]") -> bool:
    return all(is_blank(value) for value in column.tolist())


def _column_cells(column: "pd.Series[Any]", table: str, links: Sequence[str] = ()) -> list[Cell]:
    heading = find_heading(table, str(column.name))
    values = column.tolist()
    texts = [write_cell(value, heading.kind, heading.blank) for value in values]
    wraps = "w" if max(map(len, texts), default=0) > LONG else ""
    look = wraps if heading.kind in ("text", "code", "date") else "n"
    told = zip(texts, values, list(links)[: len(values)] or [""] * len(values), strict=True)
    return [Cell(text, sort_key(value), look, link) for text, value, link in told]


def _band_cells(frame: pd.DataFrame, name: str, ends: tuple[str, str], table: str) -> list[Cell]:
    """Give the cells of a number with its band: "2.50 (1.90 to 3.20)"."""
    columns = [_column_cells(frame[one], table) for one in (name, *ends)]
    cells = []
    for middle, low, high in zip(*columns, strict=True):
        known = low.sort or high.sort
        words = f"{middle.text} ({low.text} to {high.text})" if known else middle.text
        cells.append(Cell(words, middle.sort, "n"))
    return cells


def sort_key(value: Any) -> str:
    """Give what a cell is sorted by: dates as ISO, numbers in full, blanks empty."""
    if is_blank(value):
        return ""
    if isinstance(value, pd.Timestamp | np.datetime64):
        return write_date(value)
    return repr(float(value)) if isinstance(value, int | float | np.number) else str(value)
