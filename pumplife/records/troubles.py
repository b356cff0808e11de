"""Say which cells of a table can't be read, what becomes of them and how to mend them."""

import re

import pandas as pd

from pumplife.records.audit import SET_ASIDE, AuditLog
from pumplife.records.phrases import clip, mapping_line
from pumplife.records.schema import Column, Table

MOST = 1e12
"""No number in a plant's records is larger."""
NOT_WRITTEN = "The cell counts as not written."
UNREADABLE_LIMIT = "unreadable_limit"
"""The rule of a limit that is written but can't be read."""
_TWO_WAYS = re.compile(r"(0?[1-9]|1[0-2])[./-](0?[1-9]|1[0-2])[./-](\d{2}|\d{4})")


def log_unreadable(
    frame: pd.DataFrame,
    cells: pd.DataFrame,
    bad: "dict[str, pd.Series]",
    table: Table,
    log: AuditLog,
) -> None:
    """Add one audit row per cell that holds something which can't be read.

    Parameters
    ----------
    frame : DataFrame
        The typed table, before blanks are filled from stand-ins.
    cells : DataFrame
        Its text.
    bad : dict of Series of bool
        The cells concerned, by column.
    table : Table
        Its description.
    log : AuditLog
        Gets the rows.
    """
    for name, unfit in bad.items():
        if not bool(unfit.any()):
            continue
        column, rows = table.column(name), frame[unfit]
        words = list(cells.loc[unfit, name])
        remedies = {word: _remedy(column, table, word) for word in dict.fromkeys(words)}
        limit = column.unreadable == "withhold"
        log.add_rows(
            rows,
            severity="stop" if limit else "caution",
            rule=UNREADABLE_LIMIT if limit else f"unreadable_{column.kind}",
            table=table.name,
            what=[
                f'{file}: {name} "{clip(word)}" {_trouble(column, word)}.'
                for file, word in zip(rows["file"], words, strict=True)
            ],
            consequence=_consequences(column, rows),
            remedy=[remedies[word] for word in words],
        )


def _trouble(column: Column, word: str) -> str:
    if column.kind == "number" and _is_huge(word):
        return "is too large to be true"
    if column.kind == "date" and _TWO_WAYS.fullmatch(word):
        return "can be read day first or month first"
    return {
        "date": "isn't a date",
        "number": "isn't a number" if column.signed else "isn't a number from 0 up",
    }.get(column.kind, f"isn't one of {', '.join(column.codes)}")


def _is_huge(word: str) -> bool:
    try:
        return abs(float(word)) > MOST
    except ValueError:
        return False


def _consequences(column: Column, rows: pd.DataFrame) -> str | list[str]:
    if column.instead:
        stands = f"{column.instead} stands in."
        return [SET_ASIDE if blank else stands for blank in rows[column.instead].isna()]
    if column.sets_aside:
        return SET_ASIDE
    if column.unreadable == "withhold":
        return "No interval is given that might go beyond this limit."
    if column.unreadable:
        return f"Taken as {column.unreadable} until plant.toml says what it means."
    return NOT_WRITTEN


def _remedy(column: Column, table: Table, word: str) -> str:
    if column.kind in ("date", "number"):
        blank = column.unreadable in ("aside", "withhold")
        meaning = f" (a blank means: {_blank_meaning(column)})" if blank else ""
        return f"Correct the cell in the source{meaning}."
    choices = (column.unreadable,) if column.unreadable else column.codes
    line = mapping_line(f"{table.name}.{column.name}", word, choices)
    return f"Say in plant.toml what it means: {line}, or correct the cell."


def _blank_meaning(column: Column) -> str:
    return "no limit" if column.unreadable == "withhold" else "run to failure"
