"""A small plant whose pumps carry kits of two materials."""

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd
import pytest

from pumplife.materials.table import Materials, compare_materials
from pumplife.records.audit import AuditLog
from pumplife.study import run_study
from tests.plants import on_day, part_rows, small_plant

PUMPS = 16


def two_materials(seed: int = 4) -> dict[str, Any]:
    """Tables of sixteen pumps: half on kit FK of CR, half on FT of TPV, whose diaphragms outlast.

    Every breakdown is of a diaphragm.
    """
    generator = np.random.default_rng(seed)
    same = {"site": "works", "service": "slip", "size_mm": 50, "use_per_week": 70}
    same |= {"hazard": "none", "commissioned_on": on_day(0)}
    pumps, tickets, readings = [], [], []
    for number in range(PUMPS):
        name, kit = f"P-{number}", "FT" if number % 2 else "FK"
        pumps.append({"pump_id": name, **same, "fluid_kit": kit})
        readings += [
            {"pump_id": name, "read_on": on_day(day), "reading": 10 * day}
            for day in range(0, 731, 50)
        ]
        day = 0.0
        while True:
            day += float(generator.weibull(3.0)) * (320.0 if number % 2 else 160.0)
            if day >= 729:
                break
            ticket = {"rebuild_id": f"R-{len(tickets)}", "pump_id": name, "opened_on": on_day(day)}
            tickets.append(
                ticket
                | {"reason": "breakdown", "kit": kit, "failed_part": "diaphragm"}
                | {"failure_mode": "cut" if number % 2 else "cracked", "released": "air_side"}
            )
    tpv = [
        row
        | {"part_no": f"T-{row['part_no']}", "material": "TPV", "unit_cost": 2 * row["unit_cost"]}
        for row in part_rows()
    ]
    kits = [
        {"kit": "FK", "side": "fluid", "size_mm": 50, "material": "CR", "unit_cost": 228.0},
        {"kit": "FT", "side": "fluid", "size_mm": 50, "material": "TPV", "unit_cost": 456.0},
    ]
    contents = (("DIAPHRAGM", 2), ("BALL", 4), ("SEAT", 4))
    return {
        "pumps": pumps,
        "rebuilds": tickets,
        "readings": readings,
        "findings": None,
        "parts": [*part_rows(), *tpv],
        "kits": kits,
        "kit_contents": [
            {"kit": kit, "part_no": f"{head}{part}", "quantity": count}
            for kit, head in (("FK", ""), ("FT", "T-"))
            for part, count in contents
        ],
    }


def confirm(material: str, until: float | None = None, part: str = "") -> dict[str, Any]:
    """A row of the compatibility table."""
    row = {"material": material, "service": "slip", "part": part, "confirmed_by": "process"}
    ends = {} if until is None else {"valid_until": on_day(until)}
    return row | {"confirmed_on": on_day(10)} | ends


@pytest.fixture(scope="session")
def study(tmp_path_factory):
    """The study of the plant, both materials confirmed."""
    folder = tmp_path_factory.mktemp("plant")
    return run_study(
        small_plant(folder, **two_materials(), compatibility=[confirm("TPV"), confirm("CR")])
    )


def compared(study: Any, **tables: pd.DataFrame) -> Materials:
    """Compare the materials of a study anew with some tables of its records changed."""
    log = AuditLog()
    records = replace(study.records, tables={**study.records.tables, **tables}, log=log)
    return compare_materials(records, study.duty, study.lives, study.fits, study.advice)


def renamed(study: Any, change: Callable[[pd.DataFrame], pd.DataFrame]) -> Any:
    """The study with the material and variant of lives, fits and parts written otherwise."""
    tables = {**study.records.tables, "parts": change(study.records.table("parts"))}
    return replace(
        study,
        records=replace(study.records, tables=tables, log=AuditLog()),
        lives=replace(study.lives, table=change(study.lives.table)),
        fits=replace(study.fits, table=change(study.fits.table)),
    )
