"""The tickets as one workbook to fill: a line per position, and what the page says beside it."""

from collections.abc import Sequence
from datetime import date
from pathlib import Path
from typing import Any

import pandas as pd
import xlsxwriter

from pumplife.records.tables import TABLES
from pumplife.ticket.content import RebuildTicket, Words
from pumplife.ticket.page import say_day, say_expected

NAME = "returned.xlsx"
"""As the plant folder reads it back."""
WIDTHS = {"ticket_id": 22, "done_on": 12, "note": 30, "not_done_why": 18, "part": 14}
ONCE = ("done_on", "done", "meter", "labour_h", "downtime_h", "released", "lot")
"""Filled once a ticket: on its first line."""
A_DAY = {
    "validate": "date",
    "criteria": ">",
    "value": date(1990, 1, 1),
    "error_title": "done_on",
    "error_message": "yyyy-mm-dd, such as 2026-03-31",
}
"""A date as such, so that nobody has to guess the order of day and month."""
OPTIONS = {"strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False}


def lines_to_fill(ticket: RebuildTicket) -> pd.DataFrame:
    """The rows of the table `returned` that a ticket asks for, filled as far as is known.

    Returns
    -------
    DataFrame
        One row per position; what speaks of the whole ticket may be filled on its first row only.
    """
    rows = [
        {
            "ticket_id": ticket.ticket_id,
            "pump_id": ticket.pump_id,
            "reason": "planned" if ticket.planned else "breakdown",
            "kit": ticket.kit,
            "part": place.part,
            "position": place.position,
            "action": "renewed" if place.in_kit else "",
        }
        for place in ticket.places
    ]
    return pd.DataFrame(rows, columns=list(TABLES["returned"].headings)).fillna("")


def write_sheet(
    tickets: Sequence[RebuildTicket], words: Words, path: Path, made: pd.Timestamp
) -> None:
    """Write the tickets into one workbook: the sheet `returned` to fill, the sheet `about` to read.

    Parameters
    ----------
    tickets : sequence of RebuildTicket
    words : dict
        See `load_words`.
    path : Path
        The file to make.
    made : Timestamp
        Its date, so that the same tickets make the same file.
    """
    table = TABLES["returned"]
    lines = pd.concat([lines_to_fill(ticket) for ticket in tickets], ignore_index=True)
    with xlsxwriter.Workbook(str(path), OPTIONS) as book:
        book.set_properties({"title": words["title"], "created": made.to_pydatetime()})
        bold = book.add_format({"bold": True, "bottom": 1, "bg_color": "#E8EDF2"})
        day = book.add_format({"num_format": "yyyy-mm-dd"})
        sheet = book.add_worksheet(table.name)
        for place, column in enumerate(table.columns):
            sheet.write_string(0, place, column.name, bold)
            sheet.set_column(place, place, WIDTHS.get(column.name, 13))
            if column.codes:
                allowed = {"validate": "list", "source": list(column.codes)}
                sheet.data_validation(1, place, len(lines), place, allowed)
            if column.kind == "date":
                sheet.set_column(place, place, WIDTHS.get(column.name, 13), day)
                sheet.data_validation(1, place, len(lines), place, A_DAY)
            for row, cell in enumerate(lines[column.name], start=1):
                if cell != "" or column.kind != "date":  # a blank keeps the column's format
                    sheet.write_string(row, place, str(cell))
        sheet.freeze_panes(1, 2)
        sheet.autofilter(0, 0, max(1, len(lines)), len(table.columns) - 1)
        _about(book, tickets, words)


def _about(book: Any, tickets: Sequence[RebuildTicket], words: Words) -> None:
    """What the pages say, a line per ticket, and how to fill the other sheet."""
    sheet = book.add_worksheet("about")
    bold, wrap = book.add_format({"bold": True}), book.add_format({"text_wrap": True})
    headings = ["do_by", "pump", "place", "kit", "why", "while_open", "last_visits", "expected"]
    sheet.set_column(0, 0, 22)
    sheet.set_column(1, 4, 16)
    sheet.set_column(5, 8, 46)
    sheet.write_string(0, 0, f"{words['grade_first']} {', '.join(ONCE)}: 1 ×.", wrap)
    for place, name in enumerate(["title", *headings]):
        sheet.write_string(1, place, words[name], bold)
    for row, ticket in enumerate(tickets, start=2):
        cells = [
            ticket.ticket_id,
            say_day(ticket, words),
            f"{ticket.pump_id}, {words[ticket.side]}",
            ticket.location,
            " ".join(filter(None, (ticket.kit, ticket.store, ticket.kit_words))),
            *("\n".join(part) for part in (ticket.why, ticket.also, ticket.visits)),
            say_expected(ticket.expected, words),
        ]
        for place, cell in enumerate(cells):
            sheet.write_string(row, place, cell, wrap)
