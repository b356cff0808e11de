"""The ticket as one page: a sheet of A4 when printed, a form that saves a CSV on a screen."""

from __future__ import annotations

import math
from functools import cache

from jinja2 import Environment, PackageLoader, StrictUndefined

from pumplife.records.tables import TABLES
from pumplife.ticket.cautions import CAUTIONS
from pumplife.ticket.content import RebuildTicket, Words
from pumplife.ticket.reading import Expected

ACTIONS = ("renewed", "kept", "cleaned", "turned", "")
CHOICES = {
    "done": ("yes", "partly", "no"),
    "reason": ("planned", "breakdown", "inspection"),
    "released": ("none", "air_side", "outside"),
}
TYPED = (
    "done_on", "not_done_why", "kit", "lot", "meter", "labour_h", "downtime_h", "waited_h", "crew",
    "note",
)  # fmt: skip


def write_ticket(ticket: RebuildTicket, words: Words, *, language: str, invented: bool) -> str:
    """Give the ticket as one HTML page without anything from outside.

    Parameters
    ----------
    ticket : RebuildTicket
    words : dict
        See `load_words`.
    language : str
        Of the words, as HTML writes it.
    invented : bool
        Whether the plant is an invented example.
    """
    return (
        _environment()
        .get_template("ticket.html")
        .render(
            it=ticket,
            word=words,
            language=language,
            invented=invented,
            do_by=say_day(ticket, words),
            expected=say_expected(ticket.expected, words),
            unit=words.get(ticket.expected.unit, ""),
            actions=ACTIONS,
            choices=list(CHOICES.items()),
            cautions=[words[f"caution_{place + 1}"] for place in range(len(CAUTIONS))],
            about={
                "ticket_id": ticket.ticket_id,
                "pump_id": ticket.pump_id,
                "columns": list(TABLES["returned"].headings),
                "typed": list(TYPED),
                "chosen": list(CHOICES),
                "file": f"returned-{ticket.ticket_id}.csv",
                "saved": words["saved"].format(file=f"returned-{ticket.ticket_id}.csv"),
                "fill_first": words["fill_first"],
            },
        )
    )


def say_day(ticket: RebuildTicket, words: Words) -> str:
    """The last day on which to do it, and the outage where it is done at one."""
    if not ticket.planned:
        return "–"
    if ticket.outage_on == ticket.do_on:
        return words["stop"].format(day=f"{ticket.outage_on:%Y-%m-%d}")
    return f"{ticket.do_on:%Y-%m-%d}"


def say_expected(expected: Expected, words: Words) -> str:
    """Between which readings the meter should stand."""
    if math.isnan(expected.low):
        return words["expected_none"]
    return words["expected_words"].format(
        low=f"{expected.low:,.0f}", high=f"{expected.high:,.0f}", unit=words[expected.unit]
    )


@cache
def _environment() -> Environment:
    return Environment(
        loader=PackageLoader("pumplife.ticket", "."),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
