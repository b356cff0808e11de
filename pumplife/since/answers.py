"""The answers of a study that people act on, one a row, as its tables write them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import pandas as pd

NOTHING = 1e-9
"""Numbers closer to zero are what is left of rounding, and written as 0."""
SEPARATOR = ", "


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """Columns of one output table that answer a question.

    Attributes
    ----------
    key : tuple of str
        Columns that tell one row from another.
    columns : tuple of str
        The answers.
    """

    key: tuple[str, ...]
    columns: tuple[str, ...]


ANSWERS: dict[str, Answer] = {
    "intervals": Answer(
        key=("service", "size_mm", "side", "kit", "hazard"),
        columns=("policy", "interval", "saving_per_year"),
    ),
    "budget": Answer(key=("site", "scenario", "quantity"), columns=("p50", "p80")),
    "stock": Answer(key=("store", "item"), columns=("reorder_point", "order_up_to")),
    "orders": Answer(key=("store", "item"), columns=("quantity", "order_by")),
    "due": Answer(key=("pump_id", "side"), columns=("do_on",)),
}
"""By output table; what a plant acts on, and no more. Of the budget the first whole year."""
BUDGET_QUANTITIES = ("money", "kits")
INDEX = ["table", "key", "column"]


def list_answers(tables: Mapping[str, pd.DataFrame]) -> pd.Series[str]:
    """Every answer of a study, as its CSV files write it.

    Parameters
    ----------
    tables : mapping of DataFrame
        Output tables, computed or read back as text; those that lack give no answers.

    Returns
    -------
    Series of str
        By table, key and column; "" = blank, such as an interval of run to failure.
    """
    parts = [
        _melt(name, answer, _rows_of(name, tables[name]))
        for name, answer in ANSWERS.items()
        if name in tables and len(tables[name])
    ]
    if not parts:
        return pd.Series(
            [], dtype=object, index=pd.MultiIndex.from_arrays([[], [], []], names=INDEX)
        )
    answers: pd.Series[str] = pd.concat(parts).set_index(INDEX)["value"]
    return answers


def write_values(frame: pd.DataFrame) -> pd.DataFrame:
    """A table as its CSV file writes it: ISO dates, ten significant digits, blanks empty."""
    return frame.apply(_write_column)


def _write_column(column: pd.Series[Any]) -> pd.Series[str]:
    if pd.api.types.is_datetime64_any_dtype(column):
        return pd.Series(column.dt.strftime("%Y-%m-%d").fillna(""), dtype=object)
    if pd.api.types.is_float_dtype(column):
        tidy = column.mask(column.abs() < NOTHING, 0.0)
        return tidy.map(lambda value: "" if pd.isna(value) else f"{value:.10g}").astype(object)
    return column.map(lambda value: "" if pd.isna(value) else str(value)).astype(object)


def _rows_of(name: str, frame: pd.DataFrame) -> pd.DataFrame:
    """The rows that count, as text."""
    if name == "budget":
        year = pd.to_numeric(frame["year"])
        frame = frame[(year == 1) & frame["quantity"].isin(BUDGET_QUANTITIES)]
    return write_values(frame)


def _melt(name: str, answer: Answer, rows: pd.DataFrame) -> pd.DataFrame:
    keys = pd.concat([_say_key(column, rows[column]) for column in answer.key], axis=1)
    joined = [SEPARATOR.join(filter(None, cells)) for cells in keys.to_numpy()]
    words = pd.Series(joined, rows.index, dtype=object)
    again = words.groupby(words).cumcount()  # a second row of the same key is told apart
    words = words.where(again.eq(0), words + SEPARATOR + (again + 1).astype(str))
    long = rows.assign(key=words).melt("key", list(answer.columns), var_name="column")
    return long.assign(table=name)


def _say_key(name: str, column: pd.Series[str]) -> pd.Series[str]:
    if name == "size_mm":
        return column.where(column.eq(""), column + " mm")
    if name == "hazard":
        return column.where(column.ne("none"), "")
    if name == "site":
        return column.where(column.ne("all"), "all sites")
    return column.str.replace("_", " ") if name == "scenario" else column
