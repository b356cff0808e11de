"""Rebuild tickets that came back filled in: each becomes one order with its findings, once."""

import numpy as np
import pandas as pd

from pumplife.records.audit import AuditLog
from pumplife.records.blanks import blank_table
from pumplife.records.copies import settle_copies, tell_ticket
from pumplife.records.phrases import squeeze
from pumplife.records.tables import TABLES

Tables = dict[str, pd.DataFrame]

WORN, FAILED = 3.0, 4.0
"""Grades from which a part counts as worn, and as failed."""
OF_ORDER = (
    "pump_id", "done_on", "reason", "done", "not_done_why", "kit", "lot", "meter", "labour_h",
    "downtime_h", "waited_h", "released", "crew", "note",
)  # fmt: skip
"""Columns that speak of the whole ticket; they stand on each of its rows, or on one."""
_NUMBER = r"(?i)^(.+)-([FA])-\d{8}$"


def take_returned(tables: Tables, counts: dict[str, int], log: AuditLog) -> dict[str, int]:
    """Add the tickets that came back to rebuilds and findings, in place; one row each is left.

    A ticket that came back twice counts once, see `settle_copies`. One that stands in rebuilds
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
    rows = settle_copies(written, log)
    tables["returned"] = written.head(0).assign(rebuild_id="")
    if rows.empty:
        return counts | ({"returned": 0} if "returned" in counts else {})
    rows = _grades_in_range(rows, log)
    orders = _orders(rows, log)
    _check_place(orders, tables["kits"], log)
    number = _order_numbers(orders, tables["rebuilds"], log)
    tables["returned"] = _below(
        written.head(0).assign(rebuild_id=""), orders.assign(rebuild_id=number), "returned"
    )
    new = orders[~number.isin(tables["rebuilds"]["rebuild_id"])]
    findings = _findings(rows, number, orders["pump_id"])
    added = {"rebuilds": _rebuilds(new, rows, number), "findings": findings}
    for name, frame in added.items():
        log.name_files(name)
        tables[name] = _below(tables[name], frame, name)
    more = {name: counts.get(name, 0) + len(frame) for name, frame in added.items()}
    return counts | more | {"returned": len(orders)}


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


def _orders(rows: pd.DataFrame, log: AuditLog) -> pd.DataFrame:
    """One row per job: of each column the first cell that is written."""
    columns = list(OF_ORDER)
    written = rows[columns].where(rows[columns].notna() & (rows[columns] != ""))
    differing = written.groupby(rows["job"], sort=False).nunique().gt(1)
    orders = written.groupby(rows["job"], sort=False).first()
    own = ["ticket", "ticket_id", "job_number", "file", "row"]
    orders = rows.drop_duplicates("job").set_index("job")[own].join(orders)
    odd = differing.any(axis=1).to_numpy()
    for row, said in zip(orders[odd].to_dict("records"), differing[odd].to_numpy(), strict=True):
        named = differing.columns[said]
        tell_ticket(
            log,
            row,
            "caution",
            f"Ticket {row['ticket_id']} says two things of {', '.join(named)}.",
            rule="ticket_contradicts",
            consequence="The first is used.",
            remedy=f"Correct {row['file']}.",
        )
    return orders


def _check_place(orders: pd.DataFrame, kits: pd.DataFrame, log: AuditLog) -> None:
    """Tell of tickets whose number was made for another pump or side than their rows speak of."""
    made = orders["ticket_id"].str.extract(_NUMBER)
    pump = made[0].notna() & made[0].map(squeeze, na_action="ignore").ne(
        orders["pump_id"].map(squeeze, na_action="ignore")
    )
    side = made[1].str.upper().map({"F": "fluid", "A": "air"})
    fitted = (
        orders["kit"]
        .map(squeeze, na_action="ignore")
        .map(dict(zip(kits["kit"].map(squeeze), kits["side"], strict=True)))
    )
    other_side = side.notna() & fitted.isin(["fluid", "air"]) & fitted.ne(side)
    for wrong, what in (
        (
            pump & orders["pump_id"].notna(),
            "was made for pump {made}, and came back for pump {pump_id}",
        ),
        (other_side, "was made for the {side} side, and came back with kit {kit} of the other"),
    ):
        told = orders.assign(made=made[0], side=side)[wrong]
        for row in told.to_dict("records"):
            said = what.format_map(row)
            tell_ticket(
                log,
                row,
                "caution",
                f"Ticket {row['ticket_id']} {said}.",
                rule="ticket_elsewhere",
                consequence="It counts as its rows say.",
                remedy=f"If the ticket's number is right, correct {row['file']}.",
            )


def _order_numbers(orders: pd.DataFrame, rebuilds: pd.DataFrame, log: AuditLog) -> "pd.Series[str]":
    """The order that each job is: one that stands in rebuilds already, else its own number."""
    answers = rebuilds[rebuilds["ticket_id"].ne("")]
    by_ticket = dict(zip(answers["ticket_id"].map(squeeze), answers.index, strict=True))
    by_number = dict(zip(rebuilds["rebuild_id"].map(squeeze), rebuilds.index, strict=True))
    known = by_number | by_ticket
    apart = orders["ticket_id"] + "-" + orders["job_number"].astype(str)
    number = orders["ticket_id"].where(orders["job_number"] == 1, apart)
    for ticket, jobs in orders[orders["ticket"].isin(known)].groupby("ticket", sort=False):
        (order,) = rebuilds.loc[[known[str(ticket)]]].to_dict("records")
        away = (jobs["done_on"] - order["opened_on"]).abs().to_numpy()
        row = int(np.argmin(np.where(np.isnat(away), np.timedelta64(10**6, "D"), away)))
        number[jobs.index] = apart[jobs.index] if len(jobs) > 1 else ""  # the plain one is taken
        number[jobs.index[row]] = order["rebuild_id"]
        job = jobs.iloc[[row]].to_dict("records")[0]
        tell_ticket(
            log,
            job,
            "note",
            f"Ticket {job['ticket_id']} came back, and stands in rebuilds as order "
            f"{order['rebuild_id']}.",
            rule="ticket_known",
            consequence="It is one event; only the ticket's findings are added.",
            remedy="None needed.",
        )
    return number.astype(object)


def _rebuilds(orders: pd.DataFrame, rows: pd.DataFrame, number: "pd.Series[str]") -> pd.DataFrame:
    """Orders as rows of rebuilds; of one part failed alone, that part is blamed."""
    failed = rows[rows["grade"].eq(FAILED) & rows["part"].ne("")]
    parts = failed.groupby("job")["part"].unique()
    blamed = {ticket: names[0] for ticket, names in parts.items() if len(names) == 1}
    told = [name for name in OF_ORDER if name != "done_on"]
    return orders[[*told, "ticket_id", "file", "row"]].assign(
        rebuild_id=number.loc[orders.index],
        opened_on=orders["done_on"],
        closed_on=orders["done_on"],
        failed_part=np.where(
            orders["reason"].eq("breakdown"), [blamed.get(key, "") for key in orders.index], ""
        ),
    )


def _findings(rows: pd.DataFrame, number: "pd.Series[str]", pump: "pd.Series[str]") -> pd.DataFrame:
    """Positions that were looked at, as rows of findings of the order's pump."""
    seen = rows[rows["part"].ne("") & (rows["action"].ne("") | rows["grade"].notna())]
    grade = seen["grade"]
    found = np.select(
        [grade.isna(), grade.ge(FAILED), grade.ge(WORN)],
        ["not_checked", "failed", "worn"],
        default="sound",
    )
    told = seen[["part", "position", "grade", "file", "row"]]
    return told.assign(
        rebuild_id=seen["job"].map(number),
        pump_id=seen["job"].map(pump),
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
