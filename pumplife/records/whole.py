"""What the plant hasn't given, and what can't be said without it."""

import pandas as pd

from pumplife.records.audit import AuditLog
from pumplife.records.phrases import find_near
from pumplife.records.plant import Plant
from pumplife.records.prices import check_prices, price_kits
from pumplife.records.troubles import UNREADABLE_LIMIT

Tables = dict[str, pd.DataFrame]

PRICED = ("intervals", "stock", "budget")
"""Results that need prices and costs."""


def check_whole(tables: Tables, plant: Plant, given: set[str], log: AuditLog) -> set[str]:
    """Say what is missing and which results have to be withheld.

    Parameters
    ----------
    tables : dict of DataFrame
        Linked tables.
    plant : Plant
        The settings.
    given : set of str
        Tables that the plant wrote.
    log : AuditLog
        Gets one stop for each result withheld.

    Returns
    -------
    set of str
        The results withheld.
    """
    _check_usage(tables, plant, log)
    _check_pumps(tables, log)
    _check_service_names(tables, plant, log)
    return _withhold(tables, plant, log) | _withhold_beyond_limit(log)


def _withhold_beyond_limit(log: AuditLog) -> set[str]:
    """A limit that is written but can't be read must never count as no limit."""
    if not log.has_rule(UNREADABLE_LIMIT):
        return set()
    log.add(
        "stop",
        f"No {', '.join(PRICED)} can be given: a limit in pumps can't be read.",
        rule="no_limit",
        table="pumps",
        consequence="They are withheld; audit, lives and fits are written.",
        remedy="Correct max_fluid_interval and max_air_interval in pumps; a blank means no limit.",
    )
    return set(PRICED)


def _withhold(tables: Tables, plant: Plant, log: AuditLog) -> set[str]:
    lacking = []
    tables["kits"] = price_kits(tables, log)
    if not plant.has_costs:
        lacking.append("there are no [costs] in plant.toml")
    if tables["kits"]["unit_cost"].notna().sum() == 0:
        lacking.append("no kit has a price (kits, column unit_cost)")
    for result in PRICED if lacking else ():
        log.add(
            "stop",
            f"No {result} can be given: {' and '.join(lacking)}.",
            rule="no_prices",
            consequence="Audit, lives and fits are written.",
            remedy="Fill in [costs] and kits.unit_cost.",
        )
    if not lacking:
        check_prices(tables, plant, log)
    return set(PRICED) if lacking else set()


def _check_usage(tables: Tables, plant: Plant, log: AuditLog) -> None:
    if tables["readings"].empty and plant.usage_unit != "days":
        log.add(
            "caution",
            "There are no meter readings.",
            rule="no_readings",
            table="readings",
            consequence="Usage rests on meters noted in rebuilds and on use_per_week.",
            remedy="Add readings.",
        )


def _check_pumps(tables: Tables, log: AuditLog) -> None:
    pumps = tables["pumps"]
    idle = ~pumps["pump"].isin(tables["rebuilds"]["pump"])
    log.add_rows(
        pumps[idle & ~pumps["plan"]],
        severity="note",
        rule="no_rebuild",
        table="pumps",
        what="The pump has no order in rebuilds.",
        consequence="Its parts count as running since their last known renewal.",
        remedy="Check that its orders are in the export.",
    )
    wrong = pumps["retired_on"] < pumps["commissioned_on"]
    log.add_rows(
        pumps[wrong],
        severity="caution",
        rule="retired_early",
        table="pumps",
        what="retired_on is before commissioned_on.",
        consequence="The pump never ran.",
        remedy="Correct one of the two dates.",
    )


def _check_service_names(tables: Tables, plant: Plant, log: AuditLog) -> None:
    """Name the services and sites of plant.toml that no pump has."""
    moved, pumps = tables["moves"], tables["pumps"]
    settings = (
        ("service", "costs.service", plant.raw.get("costs", {}).get("service", {})),
        ("site", "plant.site", plant.site_windows),
        ("site", "calendar.site", plant.raw.get("calendar", {}).get("site", {})),
    )
    for column, section, given in settings:
        known = sorted({*pumps[column], *moved[column]} - {""})
        for name in sorted(set(given) - set(known)):
            near = find_near(name, known, likeness=0.5)
            log.add(
                "caution",
                f'plant.toml: [{section}."{name}"] fits no {column} in pumps.',
                rule="unknown_setting",
                consequence="It has no effect.",
                remedy=f'Did you mean "{near}"?' if near else f"Write a {column} of pumps.",
            )
