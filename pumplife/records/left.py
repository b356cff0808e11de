"""Whether enough rows are left to go on, and why the others were set aside."""

import pandas as pd

from pumplife.records.audit import SET_ASIDE, AuditLog
from pumplife.records.phrases import count_of
from pumplife.records.plant import Plant, to_days

Tables = dict[str, pd.DataFrame]


def lacks_pumps(tables: Tables, counts: dict[str, int], log: AuditLog) -> bool:
    """Say whether every row of pumps was set aside; then the study can't go on.

    Parameters
    ----------
    tables : dict of DataFrame
        Typed tables.
    counts : dict of int
        Rows that each source has.
    log : AuditLog
        Gets the stop.
    """
    written = counts.get("pumps", 0)
    if not written or len(tables["pumps"]):
        return False
    _log_none_left("pumps", "no_pump", written, _set_aside(log, "pumps"), log)
    return True


def lacks_tickets(tables: Tables, counts: dict[str, int], plant: Plant, log: AuditLog) -> bool:
    """Say whether no ticket can be used; caution where most can't.

    Tickets dated outside the window count as set aside.

    Parameters
    ----------
    tables : dict of DataFrame
        Linked tables.
    counts : dict of int
        Rows that each source has.
    plant : Plant
        The window.
    log : AuditLog
        Gets a stop or a caution with the commonest reason.
    """
    written = counts.get("rebuilds", 0)
    reasons = pd.concat([_set_aside(log, "rebuilds"), _outside(tables, plant)])
    aside = written - len(tables["rebuilds"]) + int(reasons["rule"].eq("window").sum())
    if written and aside >= written:
        _log_none_left("rebuilds", "no_ticket", written, reasons, log)
        return True
    if aside > written / 2:
        what, remedy = _commonest(reasons)
        log.add(
            "caution",
            f"{aside} of {count_of(written, 'row')} of rebuilds can't be used. {what}",
            rule="most_tickets_aside",
            table="rebuilds",
            consequence="The study rests on the rows that are left.",
            remedy=remedy,
        )
    return False


def _set_aside(log: AuditLog, table: str) -> pd.DataFrame:
    """Give what the log says of each row set aside: row, rule, what, remedy."""
    audit = log.frame()
    told = audit[audit["table"].eq(table) & audit["consequence"].eq(SET_ASIDE)]
    return told[["row", "rule", "what", "remedy"]].drop_duplicates(["row", "rule"])


def _outside(tables: Tables, plant: Plant) -> pd.DataFrame:
    """Give the tickets dated outside the window of their site, in the same columns."""
    rebuilds = tables["rebuilds"]
    day = to_days(rebuilds["happened_on"].fillna(rebuilds["opened_on"]))
    sites = rebuilds["pump"].map(tables["pumps"]["site"])
    bounds = {site: plant.window(site) for site in sites.dropna().unique()}
    early = day < sites.map({site: pair[0] for site, pair in bounds.items()})
    late = day > sites.map({site: pair[1] for site, pair in bounds.items()})
    span = f"{plant.records_from:%Y-%m-%d} to {plant.records_to:%Y-%m-%d}"
    return rebuilds.loc[early | late, ["row"]].assign(
        rule="window",
        what=f"The order is dated outside the records ({span}).",
        remedy="Correct records_from or records_to in plant.toml, or the dates.",
    )


def _log_none_left(
    table: str, rule: str, written: int, reasons: pd.DataFrame, log: AuditLog
) -> None:
    what, remedy = _commonest(reasons)
    every = "The only row" if written == 1 else f"Each of the {written} rows"
    log.add(
        "stop",
        f"{every} of {table} is set aside. {what}",
        rule=rule,
        table=table,
        consequence="The study can't go on.",
        remedy=remedy,
    )


def _commonest(reasons: pd.DataFrame) -> tuple[str, str]:
    """Say the commonest reason by its first row, and what to do about it."""
    if reasons.empty:
        return "", "See the other findings."
    counts = reasons["rule"].value_counts(sort=False)
    first = reasons[reasons["rule"].eq(counts.idxmax())].iloc[0]
    often = count_of(int(counts.max()), "row")
    return f"Most often ({often}), as in row {first['row']}: {first['what']}", str(first["remedy"])
