"""A small plant made by hand, for tests that need a folder of records.

Three pumps of one service, ten hours a day, one fluid kit (two diaphragms, four balls, four
seats), a window of two years. Ages in hours are ten times the days between dates:

====  =================  ==========================================================================
pump  age known from     tickets
====  =================  ==========================================================================
P-1   day 0 (new)        R-1 day 300 breakdown, kit, a diaphragm (3000 h); R-2 day 600 planned, kit
P-2   day 0 (new)        R-3 day 200 breakdown, kit, a ball (2000 h); R-4 day 500 breakdown, no
                         kit, the ball at discharge_left (3000 h)
P-3   its first renewal  R-5 day 400 breakdown, kit, a seat; older than the window, renewals unknown
====  =================  ==========================================================================

P-1 and P-2 have hour meters; P-3 has 70 hours a week in the register only.
"""

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import pandas as pd

FIRST_DAY = pd.Timestamp("2020-01-01")
LAST_DAY = FIRST_DAY + pd.Timedelta(days=730)
SETTINGS = f"""\
[plant]
name = "Small plant"
currency = "EUR"
usage_unit = "hours"
records_from = {FIRST_DAY:%Y-%m-%d}
records_to = {LAST_DAY:%Y-%m-%d}

[costs]
labour_per_h = 50.0
downtime_per_h = 100.0
spill = 200.0
call_out = 100.0
order = 30.0
expedite = 80.0
waiting_per_day = 200.0
holding_per_year = 0.2

[work.fluid]
planned_labour_h = 3.0
breakdown_labour_h = 5.0
planned_downtime_h = 2.0
breakdown_downtime_h = 8.0

[targets]
service_level = 0.95
"""

Rows = Sequence[Mapping[str, Any]]


def on_day(day: float) -> str:
    """The ISO date of a day of the window; day 0 is its first."""
    return (FIRST_DAY + pd.Timedelta(days=day)).strftime("%Y-%m-%d")


def pump_rows() -> list[dict[str, Any]]:
    """The three pumps."""
    same = {"site": "works", "service": "slip", "size_mm": 50, "fluid_kit": "FK"}
    same |= {"use_per_week": 70, "hazard": "none"}
    return [
        {"pump_id": "P-1", **same, "commissioned_on": on_day(0)},
        {"pump_id": "P-2", **same, "commissioned_on": on_day(0)},
        {"pump_id": "P-3", **same, "commissioned_on": on_day(-500)},
    ]


def rebuild_rows() -> list[dict[str, Any]]:
    """The five tickets."""
    rows = [
        ("R-1", "P-1", 300, "breakdown", "FK", "diaphragm"),
        ("R-2", "P-1", 600, "planned", "FK", "none"),
        ("R-3", "P-2", 200, "breakdown", "FK", "ball"),
        ("R-4", "P-2", 500, "breakdown", "none", "ball"),
        ("R-5", "P-3", 400, "breakdown", "FK", "seat"),
    ]
    names = ("rebuild_id", "pump_id", "opened_on", "reason", "kit", "failed_part")
    return [dict(zip(names, (*row[:2], on_day(row[2]), *row[3:]), strict=True)) for row in rows]


def finding_rows() -> list[dict[str, Any]]:
    """The one finding: which ball it was at R-4."""
    ball = {"rebuild_id": "R-4", "pump_id": "P-2", "part": "ball", "position": "discharge_left"}
    return [ball | {"found": "failed", "action": "renewed"}]


def reading_rows() -> list[dict[str, Any]]:
    """Hour meters of P-1 and P-2 every fifty days, ten hours a day."""
    return [
        {"pump_id": pump, "read_on": on_day(day), "reading": 10 * day}
        for pump in ("P-1", "P-2")
        for day in range(0, 731, 50)
    ]


def part_rows() -> list[dict[str, Any]]:
    """Diaphragm, ball and seat."""
    same = {"side": "fluid", "wears": "yes", "material": "CR", "size_mm": 50, "lead_time_days": 20}
    counts = {"diaphragm": (2, 60.0), "ball": (4, 15.0), "seat": (4, 12.0)}
    return [
        {"part_no": part.upper(), "part": part, **same, "per_pump": n, "unit_cost": cost}
        for part, (n, cost) in counts.items()
    ]


def small_tables() -> dict[str, Rows]:
    """Every table of the small plant."""
    kit = {"kit": "FK", "side": "fluid", "size_mm": 50, "material": "CR", "unit_cost": 200.0}
    contents = (("DIAPHRAGM", 2), ("BALL", 4), ("SEAT", 4))
    return {
        "pumps": pump_rows(),
        "rebuilds": rebuild_rows(),
        "findings": finding_rows(),
        "readings": reading_rows(),
        "parts": part_rows(),
        "kits": [kit | {"lead_time_days": 20}],
        "kit_contents": [{"kit": "FK", "part_no": p, "quantity": q} for p, q in contents],
        "on_hand": [{"store": "works", "item": "FK", "quantity": 1, "cure_date": on_day(600)}],
    }


def small_plant(folder: Path, *, plant_toml: str | None = SETTINGS, **overrides: Any) -> Path:
    """Write the small plant into the folder and return the folder.

    Parameters
    ----------
    folder : Path
        Made if missing.
    plant_toml : str or None
        Settings in place of `SETTINGS`; None writes no plant.toml.
    **overrides
        A table by name: rows (list of dict), a DataFrame, the text of the CSV file as it stands,
        or None for no such file. Tables the small plant hasn't got are added.
    """
    folder.mkdir(parents=True, exist_ok=True)
    if plant_toml is not None:
        (folder / "plant.toml").write_text(plant_toml, encoding="utf-8")
    for name, rows in (small_tables() | overrides).items():
        if rows is not None:
            text = rows if isinstance(rows, str) else _as_csv(rows)
            (folder / f"{name}.csv").write_text(text, encoding="utf-8")
    return folder


def _as_csv(rows: pd.DataFrame | Rows) -> str:
    return str(pd.DataFrame(rows).to_csv(index=False, lineterminator="\n"))
