"""Rebuild tickets that came back filled in: each becomes one order with its findings, once."""

from typing import Any

import numpy as np
import pandas as pd

from pumplife.records.audit import AuditLog
from pumplife.records.blanks import blank_table
from pumplife.records.phrases import count_are, squeeze
from pumplife.records.tables import TABLES

Tables = dict[str, pd.DataFrame]

WORN, FAILED = 3.0, 4.0
"""Grades from which a part counts as worn, and as failed."""
OF_ORDER = (
    "pump_id", "done_on", "reason", "done", "not_done_why", "kit", "lot", "meter", "labour_h",
    "downtime_h", "waited_h", "released", "crew", "note",
)  # fmt: skip
"""Columns that speak of the whole ticket; they stand on each of its rows."""
OF_POSITION = ("part", "position", "action", "grade")


def take_returned(tables: Tables, counts: dict[str, int], log: AuditLog) -> dict[str, int]:
    """Add the tickets that came back to rebuilds and findings, in place; one row each is left.

    A ticket that came back twice counts once: the copy saved last. One that stands in rebuilds
    already, under its ticket_id or as an order of that number, only adds its findings. A position
    that is graded but has no action was looked at and left in; one with neither was not looked at.

    Parameters
    ----------
    tables : dict of DataFrame
        As read. Of `returned` one row per ticket is left, with its `rebuild_id`.
    counts : dict of int
        Rows written of each table.
    log : AuditLog
        Gets what came twice, or contradicts itself.

    Returns
    -------
    dict
        The counts, with the rows that were added, and a row for each ticket.
    """
    written = tables["returned"]
    rows = _filled(written, log)
    tables["returned"] = rows.assign(rebuild_id="")
    if rows.empty:
        return counts | ({"returned": 0} if "returned" in counts else {})
    rows = _one_copy(_grades_in_range(rows, log), log)
    orders = _orders(rows, log)
    number = _order_numbers(orders, tables["rebuilds"], log)
    tables["returned"] = _below(
        written.head(0).assign(rebuild_id=""), orders.assign(rebuild_id=number), "returned"
    )
    new = orders[~number.isin(tables["rebuilds"]["rebuild_id"])]
    findings = _findings(rows, number)
    added = {"rebuilds": _rebuilds(new, rows), "findings": findings}
    for name, frame in added.items():
        log.name_files(name)
        tables[name] = _below(tables[name], frame, name)
    more = {name: counts.get(name, 0) + len(frame) for name, frame in added.items()}
    return counts | more | {"returned": len(orders)}


def _filled(rows: pd.DataFrame, log: AuditLog) -> pd.DataFrame:
    """The rows of tickets that bear a day of the work on any of their rows."""
    filled = rows["done_on"].notna().groupby(rows["ticket_id"].map(squeeze)).transform("any")
    waiting = rows.loc[~filled.astype(bool), "ticket_id"].nunique()
    if waiting:
        log.add(
            "note",
            f"{count_are(waiting, 'ticket')} in the folder without done_on.",
            rule="ticket_open",
            table="returned",
            consequence="They count as not filled in yet.",
            remedy="Write done_on, the day of the work, on each ticket that is done.",
        )
    return rows[filled.astype(bool)].reset_index(drop=True)


def _grades_in_range(rows: pd.DataFrame, log: AuditLog) -> pd.DataFrame:
    strange = rows["grade"].gt(FAILED) | (rows["grade"] % 1).gt(0.0)
    log.add_rows(
        rows[strange],
        severity="caution",
        rule="ticket_grade",
        table="returned",
        what=[f"Grade {grade:g} is none of 0, 1, 2, 3, 4." for grade in rows.loc[strange, "grade"]],
        consequence="The position counts as not graded.",
        remedy="0 like new, 1 good, 2 used, 3 worn, 4 failed.",
    )
    return rows.assign(grade=rows["grade"].mask(strange))


def _one_copy(rows: pd.DataFrame, log: AuditLog) -> pd.DataFrame:
    """The rows of the last copy of each ticket, `ticket` its number without case and marks."""
    ticket = rows["ticket_id"].map(squeeze)
    rows = rows.assign(ticket=ticket, copy=rows["saved_at"] + "\x1f" + rows["file"])
    last = rows.groupby("ticket")["copy"].transform("max")
    kept, other = rows[rows["copy"] == last], rows[rows["copy"] != last]
    told = other.drop_duplicates(["ticket", "copy"])
    contents: dict[Any, list[tuple[str, ...]]] = {
        key: sorted(map(tuple, copy[[*OF_ORDER, *OF_POSITION]].astype(str).to_numpy().tolist()))
        for key, copy in rows[rows["ticket"].isin(told["ticket"])].groupby(["ticket", "copy"])
    }
    newest = kept.drop_duplicates("ticket").set_index("ticket")
    for row in told.to_dict("records"):
        best = newest.loc[row["ticket"]]
        same = contents[row["ticket"], row["copy"]] == contents[row["ticket"], best["copy"]]
        log.add(
            "note" if same else "caution",
            f"Ticket {row['ticket_id']} came back twice, in {row['file']} and {best['file']}"
            f"{'' if same else ', and they differ'}.",
            rule="ticket_twice",
            table="returned",
            row=int(row["row"]),
            pump_id=str(row["pump_id"]),
            consequence=f"It counts once, as {best['file']} tells it.",
            remedy="None needed." if same else "If the other copy is right, remove this file.",
        )
    return kept.reset_index(drop=True)


def _orders(rows: pd.DataFrame, log: AuditLog) -> pd.DataFrame:
    """One row per ticket: of each column the first cell that is written."""
    columns = list(OF_ORDER)
    written = rows[columns].where(rows[columns].notna() & (rows[columns] != ""))
    differing = written.groupby(rows["ticket"], sort=False).nunique().gt(1)
    orders = written.groupby(rows["ticket"], sort=False).first()
    first = rows.drop_duplicates("ticket").set_index("ticket")[["ticket_id", "file", "row"]]
    orders = first.join(orders)
    for ticket in differing.index[differing.any(axis=1)].astype(str):
        row = orders.loc[ticket]
        named = differing.columns[differing.loc[ticket].to_numpy()]
        log.add(
            "caution",
            f"Ticket {row['ticket_id']} says two things of {', '.join(named)}.",
            rule="ticket_contradicts",
            table="returned",
            row=int(row["row"]),
            pump_id=str(row["pump_id"]),
            consequence="The first is used.",
            remedy=f"Correct {row['file']}.",
        )
    return orders


def _order_numbers(orders: pd.DataFrame, rebuilds: pd.DataFrame, log: AuditLog) -> "pd.Series[str]":
    """The order that each ticket is: one that stands in rebuilds already, else its own number."""
    answers = rebuilds[rebuilds["ticket_id"].ne("")]
    by_ticket = dict(zip(answers["ticket_id"].map(squeeze), answers["rebuild_id"], strict=True))
    by_number = dict(zip(rebuilds["rebuild_id"].map(squeeze), rebuilds["rebuild_id"], strict=True))
    known = by_number | by_ticket
    number = orders["ticket_id"].copy()
    for ticket, order in ((key, known[key]) for key in orders.index if key in known):
        number[ticket] = order
        log.add(
            "note",
            f"Ticket {orders.loc[ticket, 'ticket_id']} came back, and stands in rebuilds as order "
            f"{order}.",
            rule="ticket_known",
            table="returned",
            row=int(orders.loc[ticket, "row"]),
            pump_id=str(orders.loc[ticket, "pump_id"]),
            consequence="It is one event; only the ticket's findings are added.",
            remedy="None needed.",
        )
    return number.astype(object)


def _rebuilds(orders: pd.DataFrame, rows: pd.DataFrame) -> pd.DataFrame:
    """Orders as rows of rebuilds; of one part failed alone, that part is blamed."""
    failed = rows[rows["grade"].eq(FAILED) & rows["part"].ne("")]
    parts = failed.groupby("ticket")["part"].unique()
    blamed = {ticket: names[0] for ticket, names in parts.items() if len(names) == 1}
    told = [name for name in OF_ORDER if name != "done_on"]
    return orders[[*told, "ticket_id", "file", "row"]].assign(
        rebuild_id=orders["ticket_id"],
        opened_on=orders["done_on"],
        closed_on=orders["done_on"],
        failed_part=np.where(
            orders["reason"].eq("breakdown"), [blamed.get(key, "") for key in orders.index], ""
        ),
    )


def _findings(rows: pd.DataFrame, number: "pd.Series[str]") -> pd.DataFrame:
    """Positions that were looked at, as rows of findings."""
    seen = rows[rows["part"].ne("") & (rows["action"].ne("") | rows["grade"].notna())]
    grade = seen["grade"]
    found = np.select(
        [grade.isna(), grade.ge(FAILED), grade.ge(WORN)],
        ["not_checked", "failed", "worn"],
        default="sound",
    )
    told = seen[["pump_id", "part", "position", "grade", "file", "row"]]
    return told.assign(
        rebuild_id=seen["ticket"].map(number),
        found=found,
        action=seen["action"].where(seen["action"].ne(""), "kept"),
    )


def _below(frame: pd.DataFrame, added: pd.DataFrame, name: str) -> pd.DataFrame:
    """Set rows below a table's own, every column in its type."""
    if added.empty:
        return frame
    blank = blank_table(TABLES[name])
    whole = pd.DataFrame(index=range(len(added)))
    for column in frame.columns:
        usual = blank[column] if column in blank else pd.Series([], dtype=object)
        whole[column] = _cells(added, column, usual)
    return pd.concat([frame, whole], ignore_index=True) if len(frame) else whole


def _cells(added: pd.DataFrame, column: str, usual: "pd.Series") -> "pd.Series":
    blanks = {"O": "", "f": np.nan, "M": pd.NaT, "i": -1, "b": False}
    blank = blanks[usual.dtype.kind]
    if column not in added:
        return pd.Series([blank] * len(added), dtype=usual.dtype)
    cells = added[column].reset_index(drop=True)
    if usual.dtype.kind == "O":
        cells = cells.where(cells.notna(), "")
    return cells.astype(usual.dtype)
