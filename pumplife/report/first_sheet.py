"""The first sheet of the workbook: what it holds, how to read it, what it must not be used for."""

from collections.abc import Iterable
from typing import Any

from pumplife.report.face import (
    ReadableStudy,
    is_invented,
    study_measures,
    study_name,
    study_window,
)
from pumplife.report.headline import headline
from pumplife.report.sheet_formats import Formats, count_lines, row_height
from pumplife.report.sheets import say_cut
from pumplife.report.titles import TABLES
from pumplife.ticket.cautions import CAUTIONS, CAUTIONS_TITLE
from pumplife.ticket.sheet import NAME as TO_FILL

FIRST = "read me"
MORE = "More"
WIDTHS = (26, 9, 100)
CHAPTERS: dict[str, tuple[str, ...]] = {
    "What to do": ("intervals", "changes", "due", "ticket_answers", "load", "outage", "orders",
                   "transfers"),
    "What a year costs": (
        "budget", "bridge", "cash", "booked", "budget_services", "budget_pumps",
    ),
    "Why these intervals": ("few_intervals", "policies", "tornado", "costs"),
    "Kits and parts to keep": (
        "stock", "shelf", "coverage", "on_condition", "kit_or_parts", "demand_check", "pooling",
        "stock_frontier", "stock_levels", "rotables",
    ),
    "Lives of parts": ("fits", "duty_effects", "lives"),
    "Past advice": ("rewind_years", "rewind"),
    "Elastomers and trials": (
        "materials", "material_exposure", "material_costs", "trials", "trial_looks",
        "trial_plans", "trial_power",
    ),
    "Are lives alike": ("likeness", "pumps", "shocks"),
    "The records": ("questions", "audit", "account", "sensitivity", "kpi"),
}  # fmt: skip
"""Sheets in the order of the page."""

HOW_TO_READ = (
    "Low and high are the ends of 90 % bands. P50, P80 and P90 are sums that 50, 80 and 90 of 100 "
    "simulated years stay under.",
    "An empty interval means run to failure where a policy is given; any other empty cell means "
    "not known or not asked.",
    "Cells hold whole values and show few digits; days are year-month-day; shares are percentages.",
    "Texts from the records stay texts, whatever sign they begin with: nothing here is a formula.",
)


def sort_sheets(names: Iterable[str]) -> list[str]:
    """Put the sheets in the order of the page; those that no chapter names come last.

    Parameters
    ----------
    names : iterable of str
        Of the output tables.

    Returns
    -------
    list of str
    """
    return [name for _, mine in _chapters(names) for name in mine]


def _chapters(names: Iterable[str]) -> list[tuple[str, list[str]]]:
    held = set(names)
    known = {name for mine in CHAPTERS.values() for name in mine}
    rest = [name for name in [*TABLES, *sorted(held)] if name in held - known]
    chapters = [
        (title, [name for name in mine if name in held]) for title, mine in CHAPTERS.items()
    ]
    chapters.append((MORE, list(dict.fromkeys(rest))))
    return [(title, mine) for title, mine in chapters if mine]


def name_sheet(name: str) -> str:
    """Give the name of a table's sheet: 31 letters at most, none that no sheet may have."""
    return "".join("-" if letter in "[]:*?/\\'" else letter for letter in name)[:31]


def write_first_sheet(
    sheet: Any, study: ReadableStudy, formats: Formats, *, tickets: int = 0
) -> None:
    """Write the sheet that explains the others.

    Parameters
    ----------
    sheet : xlsxwriter worksheet
        Empty.
    study : ReadableStudy
        Finished.
    formats : Formats
        Of the workbook.
    tickets : int
        Rebuild tickets that were written beside the workbook.
    """
    for place, width in enumerate(WIDTHS):
        sheet.set_column(place, place, width)
    row = _write_top(sheet, study, formats)
    row = _write_list(sheet, row, CAUTIONS_TITLE, CAUTIONS, formats)
    row = _write_list(sheet, row, "How to read it", HOW_TO_READ, formats)
    row = _write_list(sheet, row, "At the bench", _say_tickets(tickets), formats)
    _write_contents(sheet, row, study, formats)
    sheet.set_landscape()
    sheet.set_paper(9)  # A4
    sheet.fit_to_pages(1, 0)
    sheet.hide_gridlines(2)


def _write_top(sheet: Any, study: ReadableStudy, formats: Formats) -> int:
    """Write name, banner, window and headline; give the next free row."""
    sheet.write_string(0, 0, study_name(study), formats.give(bold=True, font_size=16))
    row = 1
    if is_invented(study):
        words = "Invented example data: no pump, price or failure here is real."
        sheet.write_string(row, 0, words, formats.give(bold=True, font_color="#86264C"))
        row += 1
    sheet.write_string(
        row, 0, f"{study_window(study)} {study_measures(study)}", formats.give(valign="top")
    )
    row += 2
    value = formats.give(bold=True, font_size=12, valign="top", align="left")
    for tile in headline(study):
        sheet.write_string(row, 0, tile.value, value)
        words = tile.words[:1].upper() + tile.words[1:]
        _write_words(sheet, row, f"{words}: {tile.note}.", formats)
        row += 1
    return row + 1


def _say_tickets(tickets: int) -> tuple[str, ...]:
    if not tickets:
        return ()
    many = "1 rebuild ticket is" if tickets == 1 else f"{tickets} rebuild tickets are"
    return (
        f"{many} in the folder tickets beside this workbook: pages to print or to fill in on a "
        f"screen, and tickets/{TO_FILL}, the same to fill in as sheets. What comes back goes into "
        "the plant folder.",
    )


def _write_list(sheet: Any, row: int, title: str, lines: tuple[str, ...], formats: Formats) -> int:
    if not lines:
        return row
    sheet.write_string(row, 0, title, _chapter(formats))
    for step, words in enumerate(lines):
        _write_words(sheet, row + step, words, formats)
    return row + len(lines) + 1


def _write_words(sheet: Any, row: int, words: str, formats: Formats) -> None:
    sheet.set_row(row, max(16.0, row_height(count_lines(words, WIDTHS[2]))))
    sheet.write_string(row, 2, words, formats.words)


def _chapter(formats: Formats) -> Any:
    return formats.give(bold=True, text_wrap=True, valign="top")


def _write_contents(sheet: Any, row: int, study: ReadableStudy, formats: Formats) -> None:
    """List the sheets by chapter, each with a way to it, its rows and what it answers."""
    for place, words in enumerate(("Sheet", "Rows", "What it holds")):
        sheet.write_string(row, place, words, formats.heading)
    link = formats.give(font_color="#17406D", underline=1, valign="top")
    for title, names in _chapters(study.tables):
        row += 1
        sheet.write_string(row, 0, title, _chapter(formats))
        for name in names:
            row += 1
            frame = study.tables[name]
            called, about = TABLES.get(name, (name.replace("_", " ").capitalize(), ""))
            sheet.write_url(row, 0, f"internal:'{name_sheet(name)}'!A1", link, name)
            sheet.write_number(row, 1, len(frame), formats.number("count", 0))
            words = " ".join(filter(None, (f"{called}.", about, say_cut(name, frame))))
            _write_words(sheet, row, words, formats)
