"""Where pumps stand that name no site."""

import pandas as pd

from pumplife.records.audit import AuditLog
from pumplife.records.columns import set_aside
from pumplife.records.plant import Plant


def name_sites(tables: dict[str, pd.DataFrame], plant: Plant, log: AuditLog) -> None:
    """Give pumps and bookings without a site the only one that there is, in place.

    Where no pump names a site the whole plant is one, called as the plant is. A blank is filled
    where all others stand in one site, and is said. Where there are several sites, the row of a
    blank is set aside.

    Parameters
    ----------
    tables : dict of DataFrame
        Typed tables; pumps, moves and spend are looked at.
    plant : Plant
        The settings.
    log : AuditLog
        Gets what stands in, and what was set aside.
    """
    pumps, moves, spend = (tables[name]["site"] for name in ("pumps", "moves", "spend"))
    named = sorted({*pumps, *moves, *spend} - {""})
    if not named and len(pumps):
        _say_one(plant.name, log)
        for name in ("pumps", "spend"):
            tables[name] = tables[name].assign(site=plant.name)
        return
    several = len(named) > 1 or not set(moves) <= {*pumps, ""}
    for name in ("pumps", "spend"):
        blank = tables[name]["site"].eq("")
        if several:
            tables[name] = _leave_out(tables[name], blank, name, log)
        elif named:
            _say_filled(tables[name][blank], name, named[0], log)
            tables[name] = tables[name].assign(site=tables[name]["site"].mask(blank, named[0]))


def _leave_out(
    frame: pd.DataFrame, blank: "pd.Series[bool]", table: str, log: AuditLog
) -> pd.DataFrame:
    return set_aside(
        frame,
        blank,
        log,
        table=table,
        rule="blank_cell",
        what="site is blank, and there is more than one.",
        remedy="Fill the cell in the source.",
    )


def _say_one(site: str, log: AuditLog) -> None:
    log.add(
        "note",
        f"No pump names a site: the plant is taken as one, {site}.",
        rule="one_site",
        table="pumps",
        consequence="Answers by site are those of the whole plant.",
        remedy="Where there are several, write site in pumps.",
    )


def _say_filled(rows: pd.DataFrame, table: str, site: str, log: AuditLog) -> None:
    log.add_rows(
        rows,
        severity="caution",
        rule="site_filled",
        table=table,
        what="site is blank.",
        consequence=f"{site} stands in, the only site that is named.",
        remedy="Fill the cell in the source where it is another.",
    )
