"""The tutorial's export: like pumps of the invented demo plant, as an order system gives it."""

from pathlib import Path

import pandas as pd

DEMO = Path(__file__).resolve().parents[1] / "data" / "demo"
SERVICE, KIT = "press sludge", "FK-80-CR"
WINDOW = ("2019-01-01", "2025-06-30")

ORDERS = {
    "rebuild_id": "Order No",
    "pump_id": "Equipment",
    "opened_on": "Date",
    "reason": "Work type",
    "kit": "Kit fitted",
    "failed_part": "Part at fault",
    "labour_h": "Labour hours",
    "downtime_h": "Downtime hours",
}
EQUIPMENT = {
    "pump_id": "Equipment",
    "site": "Plant",
    "service": "Service",
    "size_mm": "Size",
    "fluid_kit": "Fluid kit",
    "commissioned_on": "In service since",
    "last_fluid_renewal_on": "Last fluid renewal",
    "use_per_week": "Hours per week",
}
WORK_TYPES = {"BD": "breakdown", "Störung": "breakdown", "PM": "planned", "Insp.": "inspection"}
CODES = {"breakdown": "Breakdown", "planned": "PM", "inspection": "Insp."}


def make_export(folder: Path) -> None:
    """Write orders on the fluid side, the list of pumps, readings, and kits with their contents."""
    folder.mkdir(parents=True)
    pumps = _read("pumps")
    pumps = pumps[(pumps["service"] == SERVICE) & (pumps["fluid_kit"] == KIT)]
    orders = _read("rebuilds")
    orders = orders[orders["pump_id"].isin(pumps["pump_id"])]
    fluid = ~orders["kit"].str.startswith("AK")
    orders = orders[orders["opened_on"].between(*WINDOW) & fluid]
    orders = orders.assign(reason=orders["reason"].replace(WORK_TYPES).replace(CODES))
    readings = _read("readings")
    readings = readings[readings["pump_id"].isin(pumps["pump_id"])]
    kits = _read("kits")
    kits = kits[kits["kit"].isin({KIT, *orders["kit"]})]
    contents = _read("kit_contents")
    contents = contents[contents["kit"].isin(kits["kit"])]
    parts = _read("parts")
    for name, frame in {
        "orders 2019-2025": orders[list(ORDERS)].rename(columns=ORDERS),
        "equipment": pumps[list(EQUIPMENT)].rename(columns=EQUIPMENT),
        "readings": readings,
        "kits": kits,
        "kit_contents": contents,
        "parts": parts[parts["part_no"].isin(contents["part_no"])],
    }.items():
        frame.to_csv(folder / f"{name}.csv", index=False)


def _read(table: str) -> pd.DataFrame:
    return pd.read_csv(DEMO / f"{table}.csv", dtype=str, keep_default_na=False)
