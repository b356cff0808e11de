"""The answer in words: what to do, what is due, what to order and what a year costs."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from pumplife.report.face import ReadableStudy, find_table, study_units
from pumplife.report.pictures import capitalise
from pumplife.report.tables import (
    is_blank,
    sort_key,
    write_cell,
    write_count,
    write_money,
    write_number,
)
from pumplife.report.words import Units


@dataclass(frozen=True, slots=True)
class Tile:
    """One figure of the headline.

    Attributes
    ----------
    value : str
        The figure, with its unit.
    words : str
        What it is.
    note : str
        What it stands against.
    """

    value: str
    words: str
    note: str


@dataclass(frozen=True, slots=True, kw_only=True)
class GroupAdvice:
    """What to do with one pump group and side.

    Attributes
    ----------
    anchor : str
        Of its evidence on the page.
    group, kit, pumps : str
        Which pumps.
    action : str
        "Rebuild every 3,180 h (about 41 weeks)".
    band : str
        The near-best band.
    chance : str
        To beat run to failure.
    saving : str
        A year against today, with its band.
    limit : str
        What binds, or blank.
    verdict : str
        The study's own words.
    chance_key, saving_key : str
        What the columns are sorted by.
    """

    anchor: str
    group: str
    kit: str
    pumps: str
    action: str
    band: str
    chance: str
    saving: str
    limit: str
    verdict: str
    chance_key: str
    saving_key: str


def advise_groups(study: ReadableStudy) -> list[GroupAdvice]:
    """Put every row of intervals into words, in the order of the table.

    Parameters
    ----------
    study : ReadableStudy
        Finished.

    Returns
    -------
    list of GroupAdvice
    """
    units = study_units(study)
    rows = find_table(study, "intervals").to_dict("records")
    return [_advise(place, row, units) for place, row in enumerate(rows)]


def _advise(place: int, row: Mapping[Any, Any], units: Units) -> GroupAdvice:
    limit = row.get("binding_limit", "")
    return GroupAdvice(
        anchor=f"group-{place + 1}",
        group=name_pump_group(row),
        kit=write_cell(row["kit"], "text"),
        pumps=write_count(float(row["pumps"])),
        action=write_action(row, units),
        band=write_band(row, units),
        chance="–" if is_blank(row["interval"]) else write_cell(row["prob_better"], "chance"),
        saving=write_saving(row),
        limit="" if is_blank(limit) or limit == "cost" else str(limit),
        verdict=write_cell(row["verdict"], "text", ""),
        chance_key=sort_key(row["prob_better"]),
        saving_key=sort_key(row["saving_per_year"]),
    )


def name_pump_group(row: Mapping[Any, Any]) -> str:
    """Name a pump group: service, size, side, and hazard where there is one.

    Parameters
    ----------
    row : mapping
        A row of intervals.

    Returns
    -------
    str
        "Glaze slip, 50 mm, fluid side".
    """
    words = [str(row["service"])]
    if not is_blank(row["size_mm"]):
        words.append(f"{float(row['size_mm']):g} mm")
    words.append(f"{row['side']} side")
    if row["hazard"] == "hazardous":
        words.append("hazardous")
    return capitalise(", ".join(words))


def write_action(row: Mapping[Any, Any], units: Units) -> str:
    """Say what to do: an interval, run to failure, or nothing while the advice is withheld.

    Parameters
    ----------
    row : mapping
        A row of intervals.
    units : Units
        Of the plant.

    Returns
    -------
    str
    """
    if is_blank(row["policy"]):
        return "No advice: withheld"
    if is_blank(row["interval"]):
        return capitalise(str(row["policy"]))
    every = f"Rebuild every {write_number(float(row['interval']))} {units.usage}"
    weeks = row["interval_weeks"]
    return every if is_blank(weeks) else f"{every} (about {write_number(float(weeks), 2)} weeks)"


def write_band(row: Mapping[Any, Any], units: Units) -> str:
    """Say which intervals cost within 5 % of the best."""
    low, high = row["near_best_low"], row["near_best_high"]
    if is_blank(row["policy"]) or is_blank(low):
        return "–"
    start = write_number(float(low))
    if is_blank(high) or np.isinf(float(high)):
        return f"{start} {units.usage} and more, or run to failure"
    if float(high) <= float(low) * 1.001:
        return f"{start} {units.usage} only"
    return f"{start} to {write_number(float(high))} {units.usage}"


def write_saving(row: Mapping[Any, Any]) -> str:
    """Say what the advice saves a year against today, with its 90 % band."""
    saving = row["saving_per_year"]
    if is_blank(saving):
        return "–"
    words = write_money(float(saving))
    if is_blank(row["saving_low"]) or is_blank(row["saving_high"]):
        return words
    low, high = write_money(float(row["saving_low"])), write_money(float(row["saving_high"]))
    return f"{words} ({low} to {high})"


def headline(study: ReadableStudy) -> list[Tile]:
    """Give the figures that a reader takes away.

    Parameters
    ----------
    study : ReadableStudy
        Finished.

    Returns
    -------
    list of Tile
        Only those that the study has numbers for.
    """
    makers = (_groups_tile, _saving_tile, _due_tile, _orders_tile, _budget_tile)
    return [tile for maker in makers if (tile := maker(study)) is not None]


def _groups_tile(study: ReadableStudy) -> Tile | None:
    intervals = find_table(study, "intervals")
    if intervals.empty:
        return None
    given = intervals["policy"].fillna("") != ""
    planned = int((given & intervals["interval"].notna()).sum())
    rest = int(given.sum()) - planned
    withheld = int((~given).sum())
    note = f"{rest} run to failure" + (f", {withheld} withheld" if withheld else "")
    return Tile(f"{planned} of {len(intervals)}", "pump groups with a planned interval", note)


def _saving_tile(study: ReadableStudy) -> Tile | None:
    intervals = find_table(study, "intervals")
    if intervals.empty or intervals["saving_per_year"].isna().all():
        return None
    units = study_units(study)
    total = float(intervals["saving_per_year"].sum())
    return Tile(
        f"{write_number(total)} {units.currency}",
        "expected saving a year",
        "the advice against today's practice, long run, sum of the groups' means",
    )


def _due_tile(study: ReadableStudy) -> Tile | None:
    due = find_table(study, "due")
    if due.empty:
        return None
    today = study.records.plant.records_to
    overdue = due["overdue_by"].astype(float) > 0
    soon = (pd.to_datetime(due["do_on"]) <= today + pd.Timedelta(weeks=13)) & ~overdue
    return Tile(
        write_count(float(overdue.sum())),
        "rebuilds overdue",
        f"{int(soon.sum())} more to do in the next 13 weeks",
    )


def _orders_tile(study: ReadableStudy) -> Tile | None:
    if "orders" not in study.tables:
        return None
    orders = find_table(study, "orders")
    pieces = float(orders["quantity"].sum()) if len(orders) else 0.0
    return Tile(
        write_count(float(len(orders))), "orders to place", f"{write_count(pieces)} pieces in all"
    )


def first_year(budget: pd.DataFrame, scenario: str) -> "pd.Series[Any] | None":
    """Give the money row of the first coming year, all sites, for one scenario.

    Parameters
    ----------
    budget : DataFrame
        The output table.
    scenario : str
        today, advised, adopted or run_to_failure.

    Returns
    -------
    Series or None
        None where the budget has no such row.
    """
    if budget.empty:
        return None
    rows = budget[
        (budget["scenario"] == scenario)
        & (budget["quantity"] == "money")
        & (budget["site"] == "all")
    ]
    return None if rows.empty else rows.sort_values("year").iloc[0]


def _budget_tile(study: ReadableStudy) -> Tile | None:
    budget = find_table(study, "budget")
    scenario = "adopted" if first_year(budget, "adopted") is not None else "advised"
    row, today = first_year(budget, scenario), first_year(budget, "today")
    if row is None:
        return None
    units = study_units(study)
    p50, p80, p90 = (write_number(float(row[name])) for name in ("p50", "p80", "p90"))
    beside = "" if today is None else f"; as today {write_number(float(today['p50']))} at P50"
    return Tile(
        f"{p50} {units.currency}",
        f"next 12 months as {scenario}, P50",
        f"P80 {p80}, P90 {p90}{beside}",
    )


def list_stops(study: ReadableStudy) -> list[dict[str, str]]:
    """Give what had to be withheld, why, and what to do about it.

    Parameters
    ----------
    study : ReadableStudy
        Finished.

    Returns
    -------
    list of dict
        what, consequence, remedy.
    """
    audit = find_table(study, "audit")
    if audit.empty:
        return []
    rows = audit.loc[audit["severity"] == "stop", ["what", "consequence", "remedy"]]
    rows = rows.drop_duplicates()
    return [
        {str(key): capitalise(str(value).strip().rstrip(".")) for key, value in row.items()}
        for row in rows.to_dict("records")
    ]


def count_rules(audit: pd.DataFrame) -> pd.DataFrame:
    """Count the rows of the audit per rule, with one example each.

    Parameters
    ----------
    audit : DataFrame
        The output table.

    Returns
    -------
    DataFrame
        severity, table, rule, rows, what, consequence, remedy; the gravest and commonest first.
    """
    columns = ["severity", "table", "rule", "rows", "what", "consequence", "remedy"]
    if audit.empty:
        return pd.DataFrame(columns=columns)
    kept = audit[["severity", "table", "rule", "what", "consequence", "remedy"]].fillna("")
    counted = kept.groupby(["severity", "table", "rule"], as_index=False, sort=False).agg(
        rows=("what", "size"),
        what=("what", "first"),
        consequence=("consequence", "first"),
        remedy=("remedy", "first"),
    )
    order = counted["severity"].map({"stop": 0, "caution": 1, "note": 2}).fillna(3)
    counted = counted.assign(order=order).sort_values(
        ["order", "rows"], ascending=[True, False], kind="stable"
    )
    return counted[columns].reset_index(drop=True)
