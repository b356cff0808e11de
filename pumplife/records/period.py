"""Propose the unit of usage, the window of the records and how dates and numbers are written."""

from collections.abc import Iterator

import numpy as np
import pandas as pd

from pumplife.records.cells import read_dates, read_numbers, tidy_text
from pumplife.records.columns import decimal_hint
from pumplife.records.mapping import Guess
from pumplife.records.schema import Column
from pumplife.records.signs import daily_gain, share_growing
from pumplife.records.tables import TABLES

MOST_HOURS = 24.5
"""Most that an hour meter gains in a day [h]."""
_DAYS = {"rebuilds": ("opened_on", "closed_on"), "readings": ("read_on",)}
_METERS = (("readings", "read_on", "reading"), ("rebuilds", "opened_on", "meter"))


def propose_plant(guesses: list[Guess]) -> Iterator[str]:
    """Give the lines of [plant]."""
    yield from ("[plant]", '# name = "Our works"', '# currency = "EUR"', _usage_line(guesses))
    first = _days(guesses, "rebuilds")
    last = pd.concat([first, _days(guesses, "readings")])
    if first.notna().any():
        yield f"records_from = {first.min():%Y-%m-%d}   # please check: the first order's day"
        yield f"records_to = {last.max():%Y-%m-%d}   # please check: the last day that is dated"
    else:
        yield "# records_from = 2019-01-01   # please fill: since when the orders are complete"
        yield "# records_to = 2025-12-31   # please fill: until when the orders are complete"


def _days(guesses: list[Guess], table: str) -> "pd.Series":
    """Give every date of a table, day first where it can be read both ways."""
    found = [
        read_dates(tidy_text(guess.cells(column)), serials=not guess.raw.mark).values
        for guess in guesses
        if guess.table == table
        for column in _DAYS[table]
    ]
    return pd.concat(found) if found else pd.Series([], dtype="datetime64[ns]")


def _usage_line(guesses: list[Guess]) -> str:
    for table, when, shown in _METERS:
        metered = [guess for guess in guesses if guess.table == table and guess.heading(shown)]
        for guess in metered:
            pump, day, value = _read_meter(guess, when, shown)
            gain, grows = daily_gain(pump, day, value), share_growing(pump, day, value)
            if np.isfinite(gain):
                unit = "hours" if gain <= MOST_HOURS else "cycles"
                where = f"{guess.raw.source.label}, {guess.heading(shown)}"
                return (
                    f'usage_unit = "{unit}"   # please check: meters gain {gain:.3g} a day and grow'
                    f" in {grows:.0%} of steps ({where})"
                )
    return (
        'usage_unit = "days"   # please check: no meter found; "hours" or "cycles" with readings '
        "or use_per_week in pumps"
    )


def _read_meter(
    guess: Guess, when: str, shown: str
) -> tuple["pd.Series", "pd.Series", "pd.Series"]:
    day = read_dates(tidy_text(guess.cells(when)), serials=not guess.raw.mark).values
    exact = guess.heading(shown) in guess.raw.exact
    value = read_numbers(tidy_text(guess.cells(shown)), hint=_hint(guess), exact=exact).values
    return guess.cells("pump_id"), day, value


def _hint(guess: Guess) -> str:
    """Say what the sheet as a whole shows to stand before decimals, as when it is read."""
    cells = pd.DataFrame({line.column: guess.cells(line.column) for line in guess.lines})
    exact = {line.column for line in guess.lines if line.heading in guess.raw.exact}
    return decimal_hint(cells, exact, TABLES[guess.table])


def propose_dates(guesses: list[Guess]) -> Iterator[str]:
    """Give [dates] and [numbers], to be filled where a column can't show how it is written."""
    undecided = list(_columns(guesses, "date", "undecided"))
    open_mark = [guess for guess in guesses if not _hint(guess)]
    guessed = list(_columns(open_mark, "number", "guessed"))
    yield "[dates]"
    if undecided:
        yield (
            '# order = "day-first"   # please fill, or "month-first": both fit '
            f"{', '.join(undecided)}"
        )
    yield from ("", "[numbers]")
    if guessed:
        yield (f'# decimal = "comma"   # please fill, or "point": both fit {", ".join(guessed)}')


def _columns(guesses: list[Guess], kind: str, sign: str) -> Iterator[str]:
    for guess in guesses:
        for line in guess.lines:
            column: Column = TABLES[guess.table].column(line.column)
            if column.kind == kind and getattr(guess.signs[line.heading], sign):
                yield f"{guess.raw.source.label} {line.heading}"
