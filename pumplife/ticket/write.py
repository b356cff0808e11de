"""The tickets of the coming weeks, written into the results of a study."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import pandas as pd

from pumplife.errors import OutputError
from pumplife.records.files import write_whole
from pumplife.records.ticket_settings import ticket_language, ticket_weeks
from pumplife.ticket.content import make_ticket
from pumplife.ticket.page import write_ticket
from pumplife.ticket.sheet import NAME, write_sheet
from pumplife.ticket.words import load_words

if TYPE_CHECKING:
    from pumplife.ticket.face import HasDueList

MOST = 200
"""Tickets written at once, those to be done first."""


def write_tickets(study: HasDueList, folder: Path, *, invented: bool) -> int:
    """Write a page per rebuild that is to be done in the coming weeks, and one workbook of them.

    Parameters
    ----------
    study : Study
        Finished.
    folder : Path
        Made where there is a ticket to write.
    invented : bool
        Whether the plant is an invented example.

    Returns
    -------
    int
        How many.

    Raises
    ------
    SettingError
        When [ticket] names no language of ours, or the plant's own words can't be used.
    """
    plant = study.records.plant
    soon = pick_soon(study).head(MOST)
    if soon.empty or study.lives is None or study.clock is None:
        return 0
    words = _words(study)
    tickets = [
        make_ticket(study, str(pump), str(side), words)
        for pump, side in zip(soon["pump_id"], soon["side"], strict=True)
    ]
    folder.mkdir(parents=True, exist_ok=True)
    for ticket in tickets:
        page = write_ticket(ticket, words, language=ticket_language(plant.raw), invented=invented)
        _write(page, folder / name_file(ticket.ticket_id))
    write_sheet(tickets, words, folder / NAME, plant.records_to)
    return len(tickets)


def pick_soon(study: HasDueList) -> pd.DataFrame:
    """Pick the rebuilds that are to be done in the coming weeks, those to be done first first.

    Parameters
    ----------
    study : Study
        Finished.

    Returns
    -------
    DataFrame
        Rows of the table due; tickets are written for the first `MOST` of them.
    """
    due = study.tables.get("due", pd.DataFrame())
    if due.empty:
        return due
    plant = study.records.plant
    last = plant.records_to + pd.Timedelta(weeks=ticket_weeks(plant.raw))
    return due[due["do_on"].le(last)].sort_values(["do_on", "priority"], kind="stable")


def write_one(study: HasDueList, pump_id: str, side: str, path: Path, *, invented: bool) -> None:
    """Write the page of one pump side; errors as of `make_ticket` and `load_words`.

    Raises
    ------
    OutputError
        When the file can't be written.
    """
    words = _words(study)
    ticket = make_ticket(study, pump_id, side, words)
    language = ticket_language(study.records.plant.raw)
    try:
        write_whole(write_ticket(ticket, words, language=language, invented=invented), path)
    except OSError as problem:
        raise OutputError(
            f"The ticket can't be written to {path}: {problem.strerror}. Choose another file."
        ) from problem


def _words(study: HasDueList) -> dict[str, str]:
    source = study.records.source
    folder = source.parent if source.is_file() else source
    return load_words(ticket_language(study.records.plant.raw), folder)


def _write(words: str, path: Path) -> None:
    path.write_text(words, encoding="utf-8", newline="\n")


def name_file(ticket_id: str) -> str:
    """Name the file of a ticket: its number without what a file name can't hold."""
    kept = (letter if letter.isalnum() or letter in "-_. " else "_" for letter in ticket_id)
    return f"{''.join(kept)}.html"
