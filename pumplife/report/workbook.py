"""The workbook: every output table on a sheet of its own, the first sheet explains them."""

from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import xlsxwriter

from pumplife.report.face import (
    ReadableStudy,
    is_invented,
    study_measures,
    study_name,
    study_units,
    study_window,
)
from pumplife.report.tables import is_blank
from pumplife.report.titles import TABLES
from pumplife.report.words import Units, find_heading, write_heading
from pumplife.ticket.cautions import CAUTIONS, CAUTIONS_TITLE

MOST_ROWS = 50_000  # more than this opens slowly and reads badly: the CSV holds the rest

NUMBER_FORMATS = {
    "count": "#,##0.##",
    "number": "#,##0.###",
    "usage": "#,##0",
    "money": "#,##0",
    "rate": "#,##0.0",
    "share": "0.0%",
    "chance": "0.0%",
    "date": "yyyy-mm-dd",
    "days": "#,##0.0",
    "weeks": "#,##0.0",
    "hours": "#,##0.0",
    "months": "#,##0.0",
    "ratio": "0.00",
}
OPTIONS = {
    "strings_to_formulas": False,
    "strings_to_urls": False,
    "strings_to_numbers": False,
    "nan_inf_to_errors": False,
    "constant_memory": False,
    "default_date_format": "yyyy-mm-dd",
}


def write_workbook(study: ReadableStudy, path: Path) -> None:
    """Write every output table into one workbook.

    Parameters
    ----------
    study : ReadableStudy
        Finished.
    path : Path
        The file to make.
    """
    with xlsxwriter.Workbook(str(path), OPTIONS) as book:
        # a fixed date, so that the same study makes the same file
        last = study.records.plant.records_to  # not the clock: same input, same bytes
        made = (pd.Timestamp(0) if pd.isna(last) else last).to_pydatetime()
        book.set_properties({"title": f"{study_name(study)}: study", "created": made})
        names = [name for name in [*TABLES, *sorted(study.tables)] if name in study.tables]
        names = list(dict.fromkeys(names))
        _write_first_sheet(book, study, names)
        formats = _formats(book)
        for name in names:
            _write_sheet(book, name, study.tables[name], study_units(study), formats)


def _formats(book: Any) -> dict[str, Any]:
    formats = {
        kind: book.add_format({"num_format": code, "valign": "top"})
        for kind, code in NUMBER_FORMATS.items()
    }
    formats["text"] = formats["code"] = book.add_format({"valign": "top"})
    formats["heading"] = book.add_format(
        {"bold": True, "text_wrap": True, "valign": "bottom", "bottom": 1, "bg_color": "#E8EDF2"}
    )
    return formats


def _write_first_sheet(book: Any, study: ReadableStudy, names: list[str]) -> None:
    sheet = book.add_worksheet("read me")
    sheet.set_column(0, 0, 24)
    sheet.set_column(1, 1, 96)
    bold, wrap = book.add_format({"bold": True}), book.add_format({"text_wrap": True})
    lines = [(study_name(study), "", bold)]
    if is_invented(study):
        lines.append(("", "Invented example data: no pump, price or failure here is real.", bold))
    lines += [
        ("", study_window(study), wrap),
        ("", f"{study_measures(study)} Bands are 90 %.", wrap),
        ("", "An empty interval means run to failure where a policy is given.", wrap),
        ("", "", wrap),
        ("Sheet", "What it holds", bold),
    ]
    for name in names:
        title, words = TABLES.get(name, (name, ""))
        lines.append((name, f"{title}. {words}{_cut_words(name, study.tables[name])}", wrap))
    lines += [("", "", wrap), (CAUTIONS_TITLE, "", bold)]
    lines += [("", caution, wrap) for caution in CAUTIONS]
    for row, (left, right, layout) in enumerate(lines):
        sheet.write_string(row, 0, left, layout if layout is bold else None)
        sheet.write_string(row, 1, right, layout)


def _cut_words(name: str, frame: pd.DataFrame) -> str:
    if len(frame) <= MOST_ROWS:
        return ""
    return f" First {MOST_ROWS:,} of {len(frame):,} rows; all of them are in tables/{name}.csv."


def _write_sheet(
    book: Any, name: str, frame: pd.DataFrame, units: Units, formats: dict[str, Any]
) -> None:
    sheet = book.add_worksheet(name[:31])
    shown = frame.head(MOST_ROWS)
    for place, column in enumerate(shown.columns):
        kind = find_heading(name, str(column)).kind
        values = _plain_values(shown[column])
        heading = write_heading(name, str(column), units)
        sheet.write_string(0, place, heading, formats["heading"])
        layout = formats["date" if _is_date(shown[column]) else kind]
        sheet.set_column(place, place, _width(heading, values), layout)
        _write_column(sheet, place, values, layout)
    sheet.freeze_panes(1, min(1, len(shown.columns)))
    if len(shown.columns):
        sheet.autofilter(0, 0, max(len(shown), 1), len(shown.columns) - 1)


def _write_column(sheet: Any, place: int, values: list[Any], layout: Any) -> None:
    """Write one column; a text stays a text, whatever it starts with."""
    for row, value in enumerate(values, start=1):
        if value is None:
            continue
        if isinstance(value, str):
            sheet.write_string(row, place, value, layout)
        elif isinstance(value, pd.Timestamp):
            sheet.write_datetime(row, place, value.to_pydatetime(), layout)
        else:
            sheet.write_number(row, place, value, layout)


def _is_date(column: "pd.Series[Any]") -> bool:
    return bool(pd.api.types.is_datetime64_any_dtype(column))


def _plain_values(column: "pd.Series[Any]") -> list[Any]:
    """Give cells that a sheet can hold: number, text, date, or None where blank."""
    if _is_date(column):
        return [None if pd.isna(value) else value for value in column.tolist()]
    return [_plain(value) for value in column.tolist()]


def _plain(value: Any) -> Any:
    if is_blank(value):
        return None
    if isinstance(value, bool | np.bool_):
        return "yes" if value else "no"
    if isinstance(value, int | float | np.number):
        number = float(value)
        return number if np.isfinite(number) else "no end"
    return value if isinstance(value, pd.Timestamp) else str(value)


def _width(heading: str, values: list[Any]) -> float:
    longest = max((len(str(value)) for value in values[:500] if isinstance(value, str)), default=0)
    words = max((len(word) for word in heading.split()), default=0)
    return float(min(max(longest + 2, words + 4, 10), 60))
