"""Tickets that came back in more than one file: which copy counts, and which are two jobs."""

from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd

from pumplife.records.audit import AuditLog
from pumplife.records.phrases import count_are, squeeze

SAME_JOB_DAYS = 7
"""Copies of one ticket whose days of work lie further apart [days] are two jobs."""
WRITTEN = (
    "not_done_why", "meter", "labour_h", "downtime_h", "waited_h", "released", "crew", "note",
    "grade",
)  # fmt: skip
"""Cells that nothing but a hand fills: a ticket is printed with all others blank or as proposed."""


def tell_ticket(
    log: AuditLog,
    row: Mapping[Any, Any],
    severity: str,
    what: str,
    *,
    rule: str,
    consequence: str,
    remedy: str,
) -> None:
    """Add an audit row on a ticket, at the row of the table `returned` that names it."""
    log.add(
        severity,
        what,
        rule=rule,
        table="returned",
        row=int(row["row"]),
        pump_id=str(row["pump_id"]),
        consequence=consequence,
        remedy=remedy,
    )


def day_of_copy(rows: pd.DataFrame) -> "pd.Series[Any]":
    """The day of the work of each row: the first that its ticket names in that file."""
    return rows.groupby(_copy_of(rows), sort=False)["done_on"].transform("first")


def _copy_of(rows: pd.DataFrame) -> "pd.Series[Any]":
    """Number of the copy of each row: a ticket in one file."""
    return rows.groupby([rows["ticket_id"].map(squeeze), rows["file"]], sort=False).ngroup()


def settle_copies(rows: pd.DataFrame, log: AuditLog) -> pd.DataFrame:
    """Leave of each job the copy that was saved last.

    Parameters
    ----------
    rows : DataFrame
        Of the table `returned`, as read.
    log : AuditLog
        Gets what isn't filled in yet, what came twice, and numbers used for two jobs.

    Returns
    -------
    DataFrame
        The rows that count, with `ticket` (its number without case and marks), `job` (that
        number, and a further one for the second, third ... job under it) and `job_number` from 1.
    """
    day = day_of_copy(rows)
    _tell_unfilled(rows[day.isna()], rows[day.notna()], log)
    rows = rows.assign(ticket=rows["ticket_id"].map(squeeze), copy=_copy_of(rows), day=day)
    rows = rows[day.notna()].reset_index(drop=True)
    if rows.empty:
        return rows.assign(job="", job_number=0)
    copies = _number_jobs(rows)
    _tell_jobs(copies, log)
    best = copies.sort_values(["saved", "day", "file"], kind="stable").groupby("job").tail(1)
    _tell_copies(rows, copies, best, log)
    rows = rows.merge(copies[["copy", "job", "job_number"]], on="copy", how="left")
    kept = rows[rows["copy"].isin(best["copy"])]
    return kept.drop(columns=["copy", "day"]).reset_index(drop=True)


def _number_jobs(rows: pd.DataFrame) -> pd.DataFrame:
    """One row per copy, with the job that it tells of."""
    told = {"ticket": "first", "ticket_id": "first", "pump_id": "first", "file": "first",
            "row": "first", "day": "first", "saved_at": "max"}  # fmt: skip
    copies = rows.groupby("copy", as_index=False).agg(told).rename(columns={"saved_at": "saved"})
    copies = copies.sort_values(["ticket", "day", "file"], kind="stable", ignore_index=True)
    apart = copies.groupby("ticket")["day"].diff() > pd.Timedelta(days=SAME_JOB_DAYS)
    number = apart.groupby(copies["ticket"]).cumsum().astype(int) + 1
    job = np.where(number > 1, copies["ticket"] + "\x1f" + number.astype(str), copies["ticket"])
    return copies.assign(job_number=number, job=job)


def _tell_unfilled(open_rows: pd.DataFrame, filled: pd.DataFrame, log: AuditLog) -> None:
    """Tell of copies without a day of work: those that wait, and those that hold marks."""
    tickets = open_rows["ticket_id"].map(squeeze)
    waiting = tickets[~tickets.isin(filled["ticket_id"].map(squeeze))].nunique()
    if waiting:
        log.add(
            "note",
            f"{count_are(waiting, 'ticket')} in the folder without done_on.",
            rule="ticket_open",
            table="returned",
            consequence="They count as not filled in yet.",
            remedy="Write done_on, the day of the work, on each ticket that is done.",
        )
    cells = open_rows[list(WRITTEN)]
    marked = open_rows[(cells.notna() & ~cells.isin([""])).any(axis=1)]
    first = marked.groupby(_copy_of(marked), sort=False).head(1)
    log.add_rows(
        first,
        severity="caution",
        rule="ticket_undated",
        table="returned",
        what=[f"Ticket {number} in {file} has marks, but no done_on."
              for number, file in zip(first["ticket_id"], first["file"], strict=True)],
        consequence="What it says isn't used.",
        remedy="Write done_on, the day of the work, on its first line.",
    )  # fmt: skip


def _tell_jobs(copies: pd.DataFrame, log: AuditLog) -> None:
    """Tell of numbers that came back for more than one job."""
    for row in copies[copies["job_number"] > 1].drop_duplicates("job").to_dict("records"):
        before = copies[
            copies["ticket"].eq(row["ticket"]) & copies["job_number"].eq(row["job_number"] - 1)
        ].iloc[-1]
        tell_ticket(
            log,
            row,
            "caution",
            f"Ticket {row['ticket_id']} came back for work on {before['day']:%Y-%m-%d} "
            f"({before['file']}) and on {row['day']:%Y-%m-%d} ({row['file']}).",
            rule="ticket_reused",
            consequence="They count as two jobs.",
            remedy="If it was one job and a day was corrected, remove the file that is wrong.",
        )


def _tell_copies(
    rows: pd.DataFrame, copies: pd.DataFrame, best: pd.DataFrame, log: AuditLog
) -> None:
    """Tell of each copy that doesn't count, and whether it says the same."""
    kept = {row["job"]: row for row in best.to_dict("records")}
    other = copies[~copies["copy"].isin(best["copy"])]
    told = [name for name in rows if name not in ("file", "row", "saved_at", "copy", "day")]
    contents = {
        copy: sorted(map(tuple, lines[told].astype(str).to_numpy().tolist()))
        for copy, lines in rows[rows["ticket"].isin(other["ticket"])].groupby("copy")
    }
    for row in other.to_dict("records"):
        counts = kept[row["job"]]
        same = contents[row["copy"]] == contents[counts["copy"]]
        tell_ticket(
            log,
            row,
            "note" if same else "caution",
            f"Ticket {row['ticket_id']} came back twice, in {row['file']} and {counts['file']}"
            f"{'' if same else ', and they differ'}.",
            rule="ticket_twice",
            consequence=f"It counts once, as {counts['file']} tells it.",
            remedy="None needed." if same else "If the other copy is right, remove this file.",
        )
