"""Parts, kits and what is in them: numbers and prices [EUR] of the invented plant."""

import numpy as np
import pandas as pd

from .fleet import GROUPS

SIZES = (25, 40, 50, 80)
FLUID_KIT_PRICE = {25: 115.0, 40: 175.0, 50: 265.0, 80: 470.0}
AIR_KIT_PRICE = {25: 95.0, 40: 110.0, 50: 140.0, 80: 195.0}
MATERIAL_FACTOR = {"CR": 1.0, "NBR": 0.95, "EPDM": 1.05, "TPV": 1.25, "PTFE": 2.2, "FKM": 2.6}
LEAD_TIME_DAYS = {"CR": 21, "NBR": 21, "EPDM": 28, "TPV": 28, "PTFE": 49, "FKM": 63, "": 28}
SHELF_LIFE_YEARS = {"CR": 7.0, "NBR": 7.0, "EPDM": 10.0, "TPV": 8.0, "FKM": 10.0}
PREFIX = {
    "diaphragm": "DIA",
    "ball": "BAL",
    "seat": "SEA",
    "backup diaphragm": "BUD",
    "gasket set": "GAS",
    "outer plate": "PLA",
    "air valve": "AVA",
    "pilot valve": "PIV",
    "rod seal": "ROD",
    "muffler": "MUF",
}
# part: per pump, share of the kit's price each, side, wears, in the kit
FLUID_PARTS = {
    "diaphragm": (2, 0.26, "fluid", "yes", True),
    "ball": (4, 0.075, "fluid", "yes", True),
    "seat": (4, 0.065, "fluid", "yes", True),
}
OTHER_FLUID_PARTS = {
    "backup diaphragm": (2, 0.10, "fluid", "no", True),
    "gasket set": (1, 0.12, "fluid", "every_opening", True),
    "outer plate": (2, 0.14, "fluid", "on_condition", False),
}
AIR_PARTS = {
    "air valve": (1, 0.62, "air", "yes", True),
    "pilot valve": (1, 0.28, "air", "yes", True),
    "rod seal": (2, 0.09, "air", "yes", True),
    "muffler": (1, 0.20, "air", "on_condition", False),
}

ALL_PARTS = FLUID_PARTS | OTHER_FLUID_PARTS | AIR_PARTS


def part_number(part: str, size: int, material: str) -> str:
    """The plant's number of a part; parts without a material have two pieces only."""
    return "-".join(x for x in (PREFIX[part], str(size), material) if x)


def fluid_kit(size: int, material: str) -> str:
    """The plant's number of a fluid kit."""
    return f"FK-{size}-{material}"


def air_kit(size: int) -> str:
    """The plant's number of an air kit."""
    return f"AK-{size}"


def fitted_kits() -> list[tuple[int, str]]:
    """Size and material of every fluid kit in use."""
    return sorted({(size, material) for _, _, size, material, *_ in GROUPS})


def build_catalogue() -> dict[str, pd.DataFrame]:
    """The tables parts, kits and kit_contents."""
    rows = [row for size, material in fitted_kits() for row in _fluid_rows(size, material)]
    rows += [row for size in SIZES for row in _air_rows(size)]
    everything = pd.DataFrame(rows).drop_duplicates(["kit", "part_no"])
    inside = everything[everything.in_kit]
    contents = inside[["kit", "part_no", "per_pump"]].rename(columns={"per_pump": "quantity"})
    parts = everything.drop(columns=["kit", "in_kit"]).drop_duplicates("part_no")
    return {"parts": parts, "kits": _kits(), "kit_contents": contents}


def _fluid_rows(size: int, material: str) -> list[dict[str, object]]:
    kit, price = fluid_kit(size, material), FLUID_KIT_PRICE[size] * MATERIAL_FACTOR[material]
    rows = [_part(kit, part, size, material, price) for part in FLUID_PARTS]
    if material == "PTFE":
        rows.append(_part(kit, "backup diaphragm", size, "EPDM", price))
    beside = ("gasket set", "outer plate")
    return [*rows, *(_part(kit, part, size, "", FLUID_KIT_PRICE[size]) for part in beside)]


def _air_rows(size: int) -> list[dict[str, object]]:
    materials = {part: "NBR" if part == "rod seal" else "" for part in AIR_PARTS}
    return [
        _part(air_kit(size), part, size, material, AIR_KIT_PRICE[size])
        for part, material in materials.items()
    ]


def _part(kit: str, part: str, size: int, material: str, price: float) -> dict[str, object]:
    per_pump, share, side, wears, in_kit = ALL_PARTS[part]
    lead = LEAD_TIME_DAYS[material]
    return {
        "kit": kit,
        "in_kit": in_kit,
        "part_no": part_number(part, size, material),
        "part": part,
        "side": side,
        "wears": wears,
        "releases_fluid": "yes" if part == "diaphragm" else "no",
        "material": material,
        "size_mm": size,
        "per_pump": per_pump,
        "unit_cost": round(price * share, 1),
        "lead_time_days": lead,
        "lead_time_high": round(lead * 1.7),
        "min_order": 2 if part in {"ball", "seat"} else 1,
        "shelf_life_years": SHELF_LIFE_YEARS.get(material, np.nan),
    }


def _kits() -> pd.DataFrame:
    rows = [
        _kit(fluid_kit(s, m), "fluid", s, m, FLUID_KIT_PRICE[s] * MATERIAL_FACTOR[m])
        for s, m in fitted_kits()
    ]
    rows += [_kit(air_kit(s), "air", s, "", AIR_KIT_PRICE[s]) for s in SIZES]
    return pd.DataFrame(rows)


def _kit(kit: str, side: str, size: int, material: str, price: float) -> dict[str, object]:
    lead = LEAD_TIME_DAYS[material]
    return {
        "kit": kit,
        "side": side,
        "size_mm": size,
        "material": material,
        "unit_cost": round(price, 1),
        "lead_time_days": lead,
        "lead_time_high": round(lead * 1.7),
        "min_order": 1,
    }
