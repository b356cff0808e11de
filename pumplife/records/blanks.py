"""Tables and columns in which nothing is written yet, each in its type."""

import functools

import numpy as np
import pandas as pd

from pumplife.records.schema import Column, Table
from pumplife.records.texts import FROM_TEXT

PLANNABLE = ("pumps", "moves", "parts", "kits")
"""Tables whose rows may be dated after the window, as plans."""


def blank_table(table: Table) -> pd.DataFrame:
    """Give the table without rows but with every column in its type."""
    return _make_blank(table).copy()


@functools.cache
def _make_blank(table: Table) -> pd.DataFrame:
    columns: dict[str, object] = {column.name: blank_cells(column, 0) for column in table.columns}
    columns |= {"file": repeated("", 0), "row": np.zeros(0, dtype=np.int64)}
    return pd.DataFrame(columns | open_cells(table, 0))


def open_cells(table: Table, count: int) -> dict[str, np.ndarray]:
    """Give the columns that are filled later: pump = -1, plan = False, from_text = False."""
    more: dict[str, np.ndarray] = {}
    if "pump_id" in table.headings:
        more["pump"] = np.full(count, -1, dtype=np.int64)
    if table.name in PLANNABLE:
        more["plan"] = np.zeros(count, dtype=np.bool_)
    if table.name == "rebuilds":
        more[FROM_TEXT] = np.zeros(count, dtype=np.bool_)
    return more


def blank_cells(column: Column, count: int) -> "pd.Series":
    """Give a column without anything written, in its type."""
    if column.kind == "number":
        return pd.Series(np.full(count, np.nan))
    if column.kind == "date":
        return pd.Series(np.full(count, np.datetime64("NaT", "ns")))
    return repeated("", count)


def repeated(word: str, count: int) -> "pd.Series":
    """Give a column of one word."""
    return pd.Series(np.full(count, word, dtype=object))
