"""One output table on one sheet: cells, widths, what stays in sight, how it prints."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from pumplife.report.sheet_formats import (
    PERCENT,
    Formats,
    count_lines,
    count_places,
    places_of,
    row_height,
)
from pumplife.report.tables import NOTHING, is_blank, write_code
from pumplife.report.words import Units, find_heading, write_heading

MOST_ROWS = 50_000  # more than this opens slowly and reads badly: the CSV holds the rest
MOST_LETTERS = 32_000  # of a cell; a sheet holds 32,767
CUT = " … (cut here; the whole text is in the CSV)"
LONG = 40  # letters from which a text takes several lines
WIDEST, NARROWEST = 100.0, 9.0  # columns [letters]
KEPT_IN_SIGHT = 56.0  # columns that don't scroll away, at most [letters]
PAGE_WIDTH = 180.0  # of a page in landscape, at a size that can be read [letters]
PAPER_WIDTH = 110.0  # of A4 in landscape at full size, in a wide font [letters]
CELL_EDGE = 0.72  # what a cell adds to the width of its column [letters]
NAMES = (
    "pump_id", "site", "location", "service", "size_mm", "side", "kit", "hazard", "store", "item",
    "part_no", "part", "position", "material", "variant", "reference", "trial_id", "ticket_id",
    "question", "change", "rule", "priority", "severity", "year", "scenario", "quantity", "as_of",
    "month",
)  # fmt: skip
"""Columns that say what a row is about."""

WORST_FIRST: dict[str, tuple[str, tuple[str, ...]]] = {
    "account": ("status", ("set aside", "used with an assumption", "used")),
    "audit": ("severity", ("fatal", "caution", "note")),
    "lives": ("outcome", ("failed", "failed_between")),
}
"""Tables that may be longer than a sheet: what comes first when they are cut."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Column:
    """One column ready to be written.

    Attributes
    ----------
    heading : str
        With its unit.
    values : list
        Number, text, Timestamp, or None where blank.
    width : float
        [letters].
    layout : format
        Of the column.
    layout_of : callable
        Gives the format of one value.
    """

    heading: str
    values: list[Any]
    width: float
    layout: Any
    layout_of: Callable[[Any], Any]

    def __repr__(self) -> str:
        return f"Column({self.heading!r}: {len(self.values)} rows)"


def pick_rows(name: str, frame: pd.DataFrame) -> pd.DataFrame:
    """Pick the rows that stand on the sheet: all, or the worst ones of a table that is too long.

    Parameters
    ----------
    name : str
        Of the output table.
    frame : DataFrame
        The table, in its own order.

    Returns
    -------
    DataFrame
    """
    if len(frame) <= MOST_ROWS:
        return frame
    column, order = WORST_FIRST.get(name, ("", ()))
    if column not in frame:
        return frame.head(MOST_ROWS)
    rank = frame[column].astype(str).map({word: place for place, word in enumerate(order)})
    first = np.argsort(rank.fillna(len(order)).to_numpy(dtype=float), kind="stable")
    return frame.iloc[first[:MOST_ROWS]]


def say_cut(name: str, frame: pd.DataFrame) -> str:
    """Say what a sheet leaves out, and where it is; "" where it holds everything."""
    if len(frame) <= MOST_ROWS:
        return ""
    column, order = WORST_FIRST.get(name, ("", ()))
    kept = f"{order[0]} first" if column in frame else "the first ones"
    return f"{MOST_ROWS:,} of {len(frame):,} rows, {kept}; all of them are in tables/{name}.csv."


def write_sheet(sheet: Any, name: str, frame: pd.DataFrame, units: Units, formats: Formats) -> None:
    """Write an output table on an empty sheet.

    Parameters
    ----------
    sheet : xlsxwriter worksheet
    name : str
        Of the output table.
    frame : DataFrame
        The table.
    units : Units
        Of the plant.
    formats : Formats
        Of the workbook.
    """
    shown = pick_rows(name, frame)
    columns = [_lay_out(name, shown[label], units, formats) for label in shown.columns]
    for place, column in enumerate(columns):
        sheet.write_string(0, place, column.heading, formats.heading)
        sheet.set_column(place, place, column.width, column.layout)
        _write_column(sheet, place, column)
    _set_heights(sheet, columns, len(shown), formats)
    widths = [column.width for column in columns]
    kept = count_kept([str(label) for label in shown.columns], widths)
    sheet.freeze_panes(1, kept)
    if columns:
        sheet.autofilter(0, 0, max(len(shown), 1), len(columns) - 1)
        _lay_out_print(sheet, widths, kept)


def _set_heights(sheet: Any, columns: Sequence[Column], rows: int, formats: Formats) -> None:
    """Give rows whose texts wrap the height that they need: not every program finds it itself."""
    top = max((count_lines(column.heading, column.width - 2.0) for column in columns), default=1)
    sheet.set_row(0, row_height(top))
    lines = np.ones(rows, dtype=int)
    for column in columns:
        if column.layout is formats.words:
            needed = [count_lines(value, column.width) if value else 1 for value in column.values]
            lines = np.maximum(lines, needed)
    for row in np.flatnonzero(lines > 1):
        sheet.set_row(int(row) + 1, row_height(int(lines[row])))


def count_kept(names: Sequence[str], widths: Sequence[float]) -> int:
    """Count the leading columns that name a row and stay in sight when the others scroll.

    Parameters
    ----------
    names : sequence of str
        Columns of the table.
    widths : sequence of float
        Their widths [letters].

    Returns
    -------
    int
        At least one where there is a column.
    """
    kept, wide = min(1, len(names)), sum(widths[:1])
    while kept < len(names) and names[kept] in NAMES and wide + widths[kept] <= KEPT_IN_SIGHT:
        wide += widths[kept]
        kept += 1
    return kept


def _lay_out_print(sheet: Any, widths: Sequence[float], kept: int) -> None:
    """Print in landscape, as many pages across as the columns need, the names on each.

    The scale is written, not left to be found: an office program lays all pages out for each that
    it tries, which takes minutes for a long table.
    """
    sheet.set_landscape()
    sheet.set_paper(9)  # A4
    sheet.set_margins(left=0.4, right=0.4, top=0.7, bottom=0.6)
    sheet.repeat_rows(0)
    across = float(np.sum(np.add(widths, CELL_EDGE)))
    if across > PAGE_WIDTH:
        sheet.repeat_columns(0, kept - 1)
    sheet.set_print_scale(print_scale(across))


def print_scale(across: float) -> int:
    """Say how small columns are printed.

    Parameters
    ----------
    across : float
        Width of all columns, with the edges of their cells [letters].

    Returns
    -------
    int
        Share of full size [%]: all on one page across where they can be read there, else as many
        to a page as can.
    """
    return int(min(100.0, 100.0 * PAPER_WIDTH / min(across, PAGE_WIDTH)))


def _write_column(sheet: Any, place: int, column: Column) -> None:
    """Write the cells; a text stays a text, whatever it starts with."""
    for row, value in enumerate(column.values, start=1):
        if value is None:
            continue
        layout = column.layout_of(value)
        if isinstance(value, str):
            sheet.write_string(row, place, value, layout)
        elif isinstance(value, pd.Timestamp):
            sheet.write_datetime(row, place, value.to_pydatetime(), layout)
        else:
            sheet.write_number(row, place, value, layout)


Look = tuple[float, Any, Callable[[Any], Any]]
"""Width of a column, its format, and what gives the format of one value."""


def _lay_out(name: str, column: "pd.Series[Any]", units: Units, formats: Formats) -> Column:
    label = str(column.name)
    kind = find_heading(name, label).kind
    heading = write_heading(name, label, units)
    values = [plain_value(value) for value in column.tolist()]
    if kind == "code":
        values = [write_code(value) if isinstance(value, str) else value for value in values]
    if pd.api.types.is_datetime64_any_dtype(column):
        width, layout, layout_of = 12.0, formats.date, lambda value: formats.date
    elif any(isinstance(value, float) for value in values):
        width, layout, layout_of = _look_of_numbers(kind, values, formats)
    else:
        width, layout, layout_of = _look_of_texts(values, formats)
    return Column(
        heading=heading,
        values=values,
        width=max(width, NARROWEST, _heading_width(heading)),
        layout=layout,
        layout_of=layout_of,
    )


def _look_of_texts(values: list[Any], formats: Formats) -> Look:
    longest = max((_longest_line(value) for value in values if isinstance(value, str)), default=0)
    layout = formats.words if longest > LONG else formats.plain
    width = min(max(longest / 4, 36.0), WIDEST) if longest > LONG else longest + 3.0
    return width, layout, lambda value: layout


def _look_of_numbers(kind: str, values: list[Any], formats: Formats) -> Look:
    """Lay out a column of numbers, which may hold a word such as "no end" here and there."""
    numbers = np.array([value for value in values if isinstance(value, float)], dtype=float)
    scale = 100.0 if kind in PERCENT else 1.0
    places = count_places(kind, scale * numbers)
    usual, least_shown = formats.number(kind, places), 0.5 * 10.0**-places / scale

    def layout_of(value: Any) -> Any:
        if isinstance(value, float):
            shows = value == 0 or abs(value) >= least_shown
            return usual if shows else formats.number(kind, places_of(scale * value))
        return formats.date if isinstance(value, pd.Timestamp) else formats.plain

    texts = [f"{scale * edge:,.{places}f}%" for edge in (numbers.min(), numbers.max())]
    texts += [value for value in values if isinstance(value, str) and len(value) <= LONG]
    return 2.0 + max(map(len, texts)), usual, layout_of


def _longest_line(text: str) -> int:
    return max(map(len, text.splitlines()), default=0)


def _heading_width(heading: str) -> float:
    """Give the width in which a heading takes four lines at most, beside its filter button."""
    return max(max(map(len, heading.split()), default=0) + 3.0, len(heading) / 3.0 + 2.0)


def plain_value(value: Any) -> Any:
    """Give what a sheet can hold: number, text, day, or None where blank."""
    if is_blank(value):
        return None
    if isinstance(value, bool | np.bool_):
        return "yes" if value else "no"
    if isinstance(value, int | float | np.number):
        number = float(value)
        if not np.isfinite(number):
            return "no end" if number > 0 else "−no end"
        return 0.0 if abs(number) < NOTHING else number
    if isinstance(value, pd.Timestamp):
        return value
    text = str(value)
    return text if len(text) <= MOST_LETTERS else text[:MOST_LETTERS] + CUT
