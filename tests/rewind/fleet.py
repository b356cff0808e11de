"""A simulated plant of one service whose lives are known, small enough to be rewound many times.

Pumps run ten hours a day; a kit of two diaphragms and four balls is fitted at every failure, and
at the planned age where there is one. Every pump is new when the records begin.
"""

from pathlib import Path

import numpy as np
import pandas as pd

from tests.plants import SETTINGS, pump_rows, small_plant, small_tables

FROM = pd.Timestamp("2016-01-01")
YEARS = 6
TRUTH = {"diaphragm": (2, 2.5, 9000.0), "ball": (4, 1.8, 30000.0)}  # positions, shape, scale [h]
HOURS_A_DAY = 10.0


def day_of(day: float) -> str:
    """The ISO date of a day after the start of the records."""
    return (FROM + pd.Timedelta(days=round(day))).strftime("%Y-%m-%d")


def fleet_settings() -> str:
    """plant.toml with a window of six years."""
    lines = [line for line in SETTINGS.splitlines() if not line.startswith("records_")]
    at = lines.index('usage_unit = "hours"') + 1
    window = [f"records_from = {day_of(0)}", f"records_to = {FROM.year + YEARS}-01-01"]
    return "\n".join([*lines[:at], *window, *lines[at:]]) + "\n"


def fleet_tables(seed: int, *, pumps: int = 24, planned: float = np.inf) -> dict[str, list[dict]]:
    """The tables of one plant; `planned` is the age of planned work [h]."""
    rng = np.random.default_rng(seed)
    register = pump_rows()[0] | {"commissioned_on": day_of(0)}
    names = [f"P-{number:03d}" for number in range(pumps)]
    rebuilds = [row for name in names for row in _tickets(rng, name, planned)]
    kept = {name: rows for name, rows in small_tables().items() if name != "findings"}
    return kept | {
        "pumps": [register | {"pump_id": name} for name in names],
        "rebuilds": rebuilds,
        "readings": [
            {"pump_id": name, "read_on": day_of(day), "reading": HOURS_A_DAY * day}
            for name in names
            for day in range(0, 365 * YEARS + 2, 91)
        ],
        "parts": [row for row in kept["parts"] if row["part"] in TRUTH],
        "kit_contents": [
            {"kit": "FK", "part_no": part.upper(), "quantity": count}
            for part, (count, _, _) in TRUTH.items()
        ],
    }


def _tickets(rng: np.random.Generator, pump: str, planned: float) -> list[dict]:
    rows, day, end = [], 0.0, 365.0 * YEARS + 1
    while True:
        lives = {
            part: scale * rng.weibull(shape, count).min()
            for part, (count, shape, scale) in TRUTH.items()
        }
        part = min(lives, key=lambda name: lives[name])
        age = min(lives[part], planned)
        day += max(1.0, round(age / HOURS_A_DAY))
        if day >= end:
            return rows
        failed = lives[part] <= planned
        rows.append(
            {
                "rebuild_id": f"{pump}-{len(rows)}",
                "pump_id": pump,
                "opened_on": day_of(day),
                "closed_on": day_of(day),
                "reason": "breakdown" if failed else "planned",
                "kit": "FK",
                "failed_part": part if failed else "none",
            }
        )


def write_fleet(folder: Path, tables: dict[str, list[dict]]) -> Path:
    """Write the plant."""
    return small_plant(folder, plant_toml=fleet_settings(), **({"findings": None} | tables))
