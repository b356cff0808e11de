"""Give the raw cells of a table our headings and types; say what could not be used."""

import dataclasses
import re
from collections.abc import Collection
from typing import Any

import numpy as np
import pandas as pd

from pumplife.records.audit import SET_ASIDE, AuditLog
from pumplife.records.blanks import blank_cells, open_cells, repeated
from pumplife.records.cells import (
    TypedColumn,
    decimal_mark,
    leave_undecided,
    read_codes,
    read_dates,
    read_numbers,
    tidy_text,
    translate,
)
from pumplife.records.grids import RawTable
from pumplife.records.phrases import count_of, list_some, squeeze
from pumplife.records.schema import Column, Table
from pumplife.records.texts import FROM_TEXT, read_texts
from pumplife.records.troubles import MOST, log_unreadable
from pumplife.records.words import Words

UNITS = {"h": "h", "mm": "mm"}
"""The unit that a column is in, by the end of its name."""


def set_aside(
    frame: pd.DataFrame,
    unfit: "pd.Series[bool]",
    log: AuditLog,
    *,
    table: str,
    rule: str,
    what: str | list[str],
    remedy: str | list[str] = "Correct the row in the source.",
    severity: str = "caution",
) -> pd.DataFrame:
    """Leave rows out of a table, with one audit row each.

    Parameters
    ----------
    frame : DataFrame
        The table.
    unfit : Series of bool
        The rows to leave out.
    what, remedy : str or list of str
        One sentence for all, or one per row left out.
    """
    if not bool(unfit.any()):
        return frame
    log.add_rows(
        frame[unfit],
        severity=severity,
        rule=rule,
        what=what,
        table=table,
        consequence=SET_ASIDE,
        remedy=remedy,
    )
    return frame[~unfit].reset_index(drop=True)


def type_table(
    raw: RawTable, table: Table, settings: dict[str, Any], words: Words | None, log: AuditLog
) -> pd.DataFrame | None:
    """Turn the raw cells of a table into typed columns under our headings.

    Parameters
    ----------
    raw : RawTable
        As read.
    table : Table
        What is expected.
    settings : dict
        plant.toml, of which [columns], [codes], [text], [dates] and [numbers] are used.
    words : Words or None
        The words by which text is read, where [text] declares any.
    log : AuditLog
        Gets every cell and row that can't be used.

    Returns
    -------
    DataFrame or None
        Every column of the table, the plant's own further columns as text, `file` and `row`;
        None where the study can't go on, with the reason in the log.
    """
    _log_reading(raw, table, log)
    texts = settings.get("text", {}).get(table.name, {})
    mapping = settings.get("columns", {}).get(table.name, {})
    headings = _our_headings(raw, table, mapping)
    cells = _rename(raw, headings, table, list(texts), log)
    exact = {
        ours for ours, own in zip(headings, raw.cells.columns, strict=True) if own in raw.exact
    }
    filled = {target for targets in texts.values() for target in targets}
    if not _complete(cells, raw, table, filled, log):
        return None
    cells = _tidied(cells, settings.get("codes", {}).get(table.name, {}))
    if words:
        cells = cells.astype(object)
    told = read_texts(cells, texts, table, words, log) if words else None
    columns: dict[str, pd.Series] = {}
    bad: dict[str, pd.Series] = {}
    hint = decimal_hint(cells, exact, table)
    for column in table.columns:
        if column.name not in cells:
            columns[column.name] = blank_cells(column, len(cells))
        elif column.kind == "text":
            columns[column.name] = cells[column.name].astype(object)
        else:
            typed = _type_column(
                cells[column.name], column, raw, settings, hint=hint, exact=column.name in exact
            )
            if table.by_hand and typed.undecided:
                typed = leave_undecided(cells[column.name], typed, serials=not raw.mark)
            columns[column.name], bad[column.name] = typed.values, typed.bad
            if not _decided(typed, column, raw, table, log):
                return None
    own = (str(name) for name in cells if name not in columns)
    columns |= {name: cells[name].astype(object) for name in own}
    columns |= {"file": repeated(raw.source.label, len(cells)), "row": raw.row}
    frame = pd.DataFrame(columns | open_cells(table, len(cells)), copy=False)
    log_unreadable(frame, cells, bad, table, log)
    if told is not None and FROM_TEXT in frame:
        frame[FROM_TEXT] = told
    return _drop_blank(frame, bad, table, log)


def _tidied(cells: pd.DataFrame, codes: dict[str, dict[str, str]]) -> pd.DataFrame:
    """Cells trimmed, and the plant's words of these columns replaced by ours."""
    tidied = {str(name): tidy_text(cells[name]) for name in cells}
    tidied |= {name: translate(tidied[name], codes[name]) for name in tidied if name in codes}
    return pd.DataFrame(tidied, index=cells.index, copy=False)


def _log_reading(raw: RawTable, table: Table, log: AuditLog) -> None:
    log.add(
        "note",
        f"{table.name} was read from {raw.source.label}: {count_of(len(raw.cells), 'row')}.",
        rule="source",
        table=table.name,
    )
    if raw.encoding == "cp1252":
        log.add(
            "note",
            f"{raw.source.label} isn't UTF-8; it was read in the western code page.",
            rule="encoding",
            table=table.name,
            remedy="If letters look wrong, export it again as UTF-8.",
        )
    for severity, rule, what, follows, remedy in raw.remarks:
        log.add(severity, what, rule=rule, table=table.name, consequence=follows, remedy=remedy)
    log.add_rows(
        pd.DataFrame({"row": raw.overlong, "file": raw.source.label}),
        severity="caution",
        rule="overlong_row",
        table=table.name,
        what=[
            f"{raw.source.label} row {row} has more cells than the heading." for row in raw.overlong
        ],
        consequence=SET_ASIDE,
        remedy='Put "quotation marks" around a cell that holds the separator.',
    )


def _our_headings(raw: RawTable, table: Table, mapping: dict[str, str]) -> list[str]:
    """Give our heading of each of the plant's columns, "" where it isn't one of ours."""
    exact = {heading.strip(): ours for heading, ours in mapping.items()}
    alike = {squeeze(name): name for name in table.headings}
    alike |= {squeeze(heading): ours for heading, ours in mapping.items()}
    return [exact.get(word) or alike.get(squeeze(word), "") for word in raw.cells.columns]


def _rename(
    raw: RawTable, headings: list[str], table: Table, texts: list[str], log: AuditLog
) -> pd.DataFrame:
    """Give the cells our headings; keep the plant's further columns, `texts` too, as they are."""
    taken: dict[str, int] = {}
    for place, ours in enumerate(headings):
        if ours and ours not in taken:
            taken[ours] = place
    own = [place for place, ours in enumerate(headings) if not ours]
    read = {squeeze(text) for text in texts}
    unused = [str(name) for name in raw.cells.columns[own] if squeeze(str(name)) not in read]
    _log_unused(unused, raw, table, log)
    _log_twice(raw, headings, taken, table, log)
    cells = raw.cells.iloc[:, list(taken.values())].set_axis(list(taken), axis=1)
    extra = raw.cells.iloc[:, own]
    extra = extra.loc[:, ~extra.columns.duplicated() & ~extra.columns.isin(_reserved(table))]
    return pd.concat([cells, extra], axis=1)


def _reserved(table: Table) -> list[str]:
    return [*table.headings, "file", "row", "pump", "plan", FROM_TEXT]


def _log_unused(names: list[str], raw: RawTable, table: Table, log: AuditLog) -> None:
    if not names:
        return
    log.add(
        "note",
        f"{raw.source.label} has columns that pumplife doesn't use: {list_some(names)}.",
        rule="extra_columns",
        table=table.name,
        remedy=f'If one is ours, say so: [columns.{table.name}] "{names[0]}" = "...".',
    )


def _log_twice(
    raw: RawTable, headings: list[str], taken: dict[str, int], table: Table, log: AuditLog
) -> None:
    for place, ours in enumerate(headings):
        if ours and taken[ours] != place:
            log.add(
                "caution",
                f"{raw.source.label} has {ours} twice; the first was read.",
                rule="two_columns",
                table=table.name,
                remedy="Remove or rename one of them.",
            )


def _complete(
    cells: pd.DataFrame, raw: RawTable, table: Table, filled: set[str], log: AuditLog
) -> bool:
    """Check that every required column is there."""
    missing = [
        column.name
        for column in table.columns
        if column.required
        and not (column.lenient and table.name in ("parts", "kits"))
        and column.name not in {*cells, *filled}
        and column.instead not in cells
    ]
    if not missing:
        return True
    seen = list_some([str(name) for name in raw.cells.columns], most=40)
    log.add(
        "stop",
        f"{raw.source.label} has no column {' and no column '.join(missing)}. "
        f"Its headings are: {seen}.",
        rule="missing_column",
        table=table.name,
        consequence="The study can't go on.",
        remedy=f'Add it, or name the plant\'s heading: [columns.{table.name}] "..." = '
        f'"{missing[0]}".',
    )
    return False


def decimal_hint(cells: pd.DataFrame, exact: Collection[str], table: Table) -> str:
    """Say what the numbers of a file as a whole show to stand before decimals, or "".

    Parameters
    ----------
    cells : DataFrame
        Under our headings.
    exact : collection of str
        The headings of ours in which a point is a point: they can't tell.
    table : Table
        What is expected.
    """
    words = [
        re.sub(r"\s", "", word)
        for column in table.columns
        if column.kind == "number" and column.name in cells and column.name not in exact
        for word in cells[column.name].unique()
        if "." in word or "," in word
    ]
    return decimal_mark(words)


def _type_column(
    cells: "pd.Series",
    column: Column,
    raw: RawTable,
    settings: dict[str, Any],
    *,
    hint: str,
    exact: bool,
) -> TypedColumn:
    if column.kind == "date":
        order = str(settings.get("dates", {}).get("order", ""))
        return read_dates(cells, order=order, serials=not raw.mark, months=column.name == "month")
    if column.kind != "number":
        typed = read_codes(cells, column.codes)
        if not typed.bad.any():
            return typed
        taken = typed.values.mask(typed.bad, column.unreadable)
        return dataclasses.replace(typed, values=taken)
    if column.unreadable == "withhold":
        cells = cells.astype(object).mask(cells.str.casefold().eq("none"), "")
    declared = {"comma": ",", "point": "."}.get(settings.get("numbers", {}).get("decimal", ""), "")
    stand_in = hint or ("," if raw.mark == ";" else ".")
    typed = read_numbers(
        cells,
        decimal=declared,
        hint=stand_in,
        exact=exact,
        unit=UNITS.get(column.name.rpartition("_")[2], ""),
    )
    typed = dataclasses.replace(typed, guessed=typed.guessed and not hint)
    unfit = ~typed.values.between(-MOST if column.signed else 0.0, MOST) & typed.values.notna()
    if not unfit.any():
        return typed
    return dataclasses.replace(typed, values=typed.values.mask(unfit), bad=typed.bad | unfit)


def _decided(
    typed: TypedColumn, column: Column, raw: RawTable, table: Table, log: AuditLog
) -> bool:
    """Check that the column's dates and numbers can be read in one way only."""
    if typed.guessed:
        log.add(
            "caution",
            f"{raw.source.label}: {column.name} can't tell decimals from thousands; "
            f'"{typed.decimal}" was taken to stand before decimals.',
            rule="decimal_mark",
            table=table.name,
            remedy='Write [numbers] decimal = "comma" or "point" in plant.toml.',
        )
    if typed.serial:
        log.add(
            "note",
            f"{raw.source.label}: {column.name} holds the day numbers of a spreadsheet; "
            f"{typed.serial}.",
            rule="serial_dates",
            table=table.name,
            consequence="They are read as days since 1899-12-30.",
            remedy="Export the column as dates, if that is wrong.",
        )
    if not typed.undecided:
        return True
    log.add(
        "stop",
        f"{raw.source.label}: the dates in {column.name} can be read day first or month first.",
        rule="date_order",
        table=table.name,
        consequence="The study can't go on.",
        remedy='Write [dates] order = "day-first" or "month-first" in plant.toml.',
    )
    return False


def _drop_blank(
    frame: pd.DataFrame, bad: "dict[str, pd.Series]", table: Table, log: AuditLog
) -> pd.DataFrame:
    """Set aside the rows that lack a required cell."""
    unreadable = np.zeros(len(frame), dtype=np.bool_)
    for column in table.columns:
        unfit = bad.get(column.name, False)
        if column.kind == "date" and column.instead:
            frame[column.name] = frame[column.name].fillna(frame[column.instead])
            unreadable |= np.asarray(frame[column.name].isna() & unfit)
        elif column.sets_aside:
            unreadable |= np.asarray(unfit)
    if unreadable.any():
        frame = frame[~unreadable].reset_index(drop=True)
    for column in table.columns:
        if not column.required or column.lenient:
            continue
        blank = is_blank(frame[column.name])
        if column.instead:
            blank &= is_blank(frame[column.instead])
        also = f" and no {column.instead} stands in" if column.instead else ""
        frame = set_aside(
            frame,
            blank,
            log,
            table=table.name,
            rule="blank_cell",
            what=f"{column.name} is blank{also}.",
            remedy="Fill the cell in the source.",
        )
    return frame


def is_blank(cells: "pd.Series") -> "pd.Series[bool]":
    """Say which cells hold nothing."""
    return cells.eq("") if cells.dtype == object else cells.isna()
