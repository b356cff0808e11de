"""What changed since the last study, for the page: the largest in words, then every one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import pandas as pd

from pumplife.report.face import ReadableStudy, study_units
from pumplife.report.tables import (
    PageTable,
    lay_out,
    write_cell,
    write_code,
    write_many,
    write_number,
)
from pumplife.report.titles import TABLES
from pumplife.report.words import UNIT_OF_KIND, Units, find_heading

MOST = 5
LONGEST = 60
"""Rows of the table on the page."""
ALONE, MOSTLY = 0.95, 0.6
"""Share from which a cause counts as the only one, and as the main one."""
NUMBERS = frozenset(UNIT_OF_KIND) | {"count", "number", "share", "ratio"}
MORE_DIGITS = range(4, 11)
"""Significant digits to try where two numbers read alike."""
RANKS = {"intervals": 0, "budget": 0, "stock": 1}
"""Tables whose changes are told, those of 1 only where 0 has too few."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Changed:
    """What the page says of changes.

    Attributes
    ----------
    largest : tuple of str
        One sentence each: what changed most, by how much of itself.
    count : str
        How many answers changed.
    rows : PageTable
        The table, for people.
    """

    largest: tuple[str, ...]
    count: str
    rows: PageTable


def say_changes(study: ReadableStudy) -> Changed | None:
    """Tell what changed since the study that this one was compared with.

    Parameters
    ----------
    study : ReadableStudy
        Finished.

    Returns
    -------
    Changed or None
        None where it was compared with none.
    """
    changes = study.tables.get("changes")
    if changes is None:
        return None
    units = study_units(study)
    answers = changes.drop_duplicates(["table", "key", "column"])
    told = write_many(len(answers), "answer") + " changed since the last study."
    return Changed(
        largest=_largest(changes, units),
        count=told if len(answers) else "No answer changed since the last study.",
        rows=lay_out(_for_people(changes, units), "changes", units, most=LONGEST),
    )


def _largest(changes: pd.DataFrame, units: Units) -> tuple[str, ...]:
    """Sentences on the answers that moved most, one for each group, budget or item."""
    rows = changes[changes["table"].isin(RANKS)]
    rows = rows[~rows["table"].eq("budget") | _is_whole_budget(rows)]
    rows = rows[~rows["column"].isin(["saving_per_year", "p50", "reorder_point"])]
    answers = rows.drop_duplicates(["table", "key", "column"])
    cells = answers[["table", "column", "key", "before", "after"]].itertuples(index=False)
    answers = answers.assign(
        alike=[
            _reads_alike(table, column, key, (was, now), units)
            for table, column, key, was, now in cells
        ]
    )
    answers = answers[~answers["alike"].astype(bool)].copy()
    before, after = (pd.to_numeric(answers[name], errors="coerce") for name in ("before", "after"))
    largest = before.abs().combine(after.abs(), max)
    answers["size"] = ((after - before).abs() / largest.where(largest > 0)).fillna(1.0)
    answers["rank"] = answers["table"].map(RANKS)
    order = answers.sort_values(["rank", "size"], ascending=[True, False], kind="stable")
    first = order.drop_duplicates(["table", "key"]).head(MOST)
    return tuple(
        _sentence(rows[rows["table"].eq(table) & rows["key"].eq(key)], units)
        for table, key in zip(first["table"], first["key"], strict=True)
    )


def _reads_alike(table: str, column: str, key: str, values: tuple[str, str], units: Units) -> bool:
    """Whether a change is too small to show in the digits that people read."""
    was, now = (_write(table, column, key, value, units) for value in values)
    return was == now and column != "policy"


def _is_whole_budget(rows: pd.DataFrame) -> pd.Series[bool]:
    """Money of the whole plant, by the way that it follows or was advised."""
    ways = ("advised", "adopted")
    return rows["key"].isin([f"all sites, {way}, money" for way in ways])


def _sentence(rows: pd.DataFrame, units: Units) -> str:
    """One sentence on a group, budget or item: from what to what, and by which cause."""
    table, key = rows["table"].iloc[0], rows["key"].iloc[0]
    policy = rows[rows["column"].eq("policy")]
    main = rows[rows["column"].ne("policy")] if len(policy) < len(rows) else policy
    column = main["column"].iloc[0]
    before, after = (
        _write(table, column, key, str(main[name].iloc[0]), units) for name in ("before", "after")
    )
    if len(policy):  # the blank of a group that had no advice is no run to failure
        before = before if policy["before"].iloc[0] else "no advice"
        after = after if policy["after"].iloc[0] else "no advice"
    unit = after.partition(" ")[2]
    before = before.removesuffix(f" {unit}") if unit else before
    name = _name_answer(table, key)
    return f"{name[:1].upper()}{name[1:]}: {before} → {after}, {_name_causes(main)}."


def _name_answer(table: str, key: str) -> str:
    if table == "budget":
        return f"Next year's budget, {key.split(', ')[1]}, P80"
    return f"{key}, order up to" if table == "stock" else key


def _name_causes(rows: pd.DataFrame) -> str:
    shares = rows.groupby("cause", sort=False)["share_of_change"].sum().abs()
    shares = (shares / shares.sum()).sort_values(ascending=False, kind="stable")
    if shares.iloc[0] >= ALONE:
        return f"by {shares.index[0]}"
    if shares.iloc[0] >= MOSTLY:
        return f"mostly by {shares.index[0]}"
    return f"by {shares.index[0]} and {shares.index[1]}"


def _for_people(changes: pd.DataFrame, units: Units) -> pd.DataFrame:
    names = ["before", "after", "reached"]
    cells = changes[["table", "column", "key", *names]].itertuples(index=False)
    written = pd.DataFrame(
        [_write_apart(table, column, key, values, units) for table, column, key, *values in cells],
        columns=names,
        index=changes.index,
    )
    return changes.assign(
        table=[TABLES[table][0] for table in changes["table"]],
        column=[
            find_heading(table, column).words
            for table, column in zip(changes["table"], changes["column"], strict=True)
        ],
        before=written["before"],
        after=written["after"],
        reached=written["reached"],
    )


def _write_apart(
    table: str, column: str, key: str, values: Sequence[str], units: Units
) -> list[str]:
    """Answers before, after and between, with as many digits as tell the first two apart."""
    written = [_write(table, column, key, value, units) for value in values]
    for digits in MORE_DIGITS:
        if written[0] != written[1] or values[0] == values[1]:
            break
        written = [_write(table, column, key, value, units, digits=digits) for value in values]
    return written


def _write(
    table: str, column: str, key: str, value: str, units: Units, *, digits: int | None = None
) -> str:
    """An answer as people read it, with its unit; what a blank means where it is one."""
    heading = find_heading(table, column)
    kind = "money" if table == "budget" and key.endswith(", money") else heading.kind
    if not value or kind not in NUMBERS:
        return write_code(value) if value else heading.blank
    unit = UNIT_OF_KIND.get(kind, "")
    words = unit.format(usage=units.usage, currency=units.currency, rate=units.rate)
    if digits is None or kind not in UNIT_OF_KIND:
        return f"{write_cell(float(value), kind)} {words}".strip()
    return f"{write_number(float(value), digits)} {words}".strip()
