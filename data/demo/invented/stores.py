"""The register, the shelves, the orders and the books of the invented plant."""

import numpy as np
import pandas as pd

from .fleet import FROM, STORES, TO, Bools, Fleet
from .running import History
from .tickets import text_dates
from .truth import COSTS, IS_AIR, MATERIALS, Floats

NEW_PUMP = {25: 620.0, 40: 890.0, 50: 1_350.0, 80: 2_300.0}


def write_pumps(fleet: Fleet, history: History, rng: np.random.Generator) -> pd.DataFrame:
    """The pumps table: duty before the first move, kits that are fitted today."""
    register = fleet.register
    in_use = np.where(np.isfinite(fleet.modified_on), fleet.later_material, fleet.material)
    material = pd.Series(np.array(MATERIALS, dtype=object)[in_use])
    size = register.size_mm.astype(str)
    solvent = register.service == "wash solvent"
    return pd.DataFrame(
        {
            "pump_id": register.pump_id,
            "site": register.site,
            "service": register.service,
            "location": register.location,
            "store": register.site.map(STORES),
            "size_mm": register.size_mm,
            "fluid_kit": "FK-" + size + "-" + material,
            "air_kit": "AK-" + size,
            "commissioned_on": text_dates(fleet.commissioned),
            "retired_on": text_dates(fleet.retired),
            "last_fluid_renewal_on": text_dates(_last_whole(fleet, history, ~IS_AIR, rng)),
            "last_air_renewal_on": text_dates(_last_whole(fleet, history, IS_AIR, rng)),
            "use_per_week": register.use_per_week,
            "hazard": register.hazard,
            "standby": register.standby,
            "new_cost": register.size_mm.map(NEW_PUMP) * np.where(solvent, 1.8, 1.0),
            "new_lead_time_days": 70,
            "max_fluid_interval": np.where(solvent, 2_500.0, np.nan),
        }
    )


def _last_whole(fleet: Fleet, history: History, side: Bools, rng: np.random.Generator) -> Floats:
    """The last whole renewal before the window [day]; NaN where unknown, most are known.

    Blank too where some part was renewed by itself since then, and where the material changed
    later: what was fitted at that time isn't what the register says today.
    """
    lives = history.lives
    current = lives[(lives.start_day < FROM) & (lives.end_day >= FROM) & side[lives.place]]
    start = current.groupby("pump").start_day.agg(["min", "max"])
    whole = start["min"].where(start["min"] == start["max"]).reindex(range(len(fleet)))
    known = (rng.random(len(fleet)) < 0.9) & ~np.isfinite(fleet.modified_on)
    return np.floor(np.where(known, whole, np.nan))


def write_moves(fleet: Fleet) -> pd.DataFrame:
    """Into the store, and back into service at another duty slot of the same service."""
    pump = np.flatnonzero(np.isfinite(fleet.stored))
    ids = fleet.register.pump_id.to_numpy()[pump]
    into = {"moved_on": text_dates(fleet.stored[pump]), "location": "", "state": "in_store"}
    back = {
        "moved_on": text_dates(fleet.returned[pump]),
        "location": fleet.register.later_location.to_numpy()[pump],
        "state": "in_service",
    }
    rows = [pd.DataFrame({"pump_id": ids, **part}) for part in (into, back)]
    return pd.concat(rows).sort_values(["moved_on", "pump_id"], kind="stable")


def write_shelves(
    pumps: pd.DataFrame, rebuilds: pd.DataFrame, parts: pd.DataFrame, rng: np.random.Generator
) -> dict[str, pd.DataFrame]:
    """The tables on_hand and on_order: a habit of some months' issues, not a calculation."""
    pairs = pd.concat(
        [pumps[["store", kit]].rename(columns={kit: "item"}) for kit in ("fluid_kit", "air_kit")]
    ).drop_duplicates()
    recent = rebuilds[(rebuilds.day > TO - 730) & (rebuilds.kit != "none")]
    store = recent.site.map(STORES)
    used = recent.groupby([store, "kit"]).size().rename_axis(["store", "item"]).rename("used")
    kits = pairs.merge(used.reset_index(), on=["store", "item"], how="left").fillna({"used": 0})
    quantity = np.floor(kits.used / 730 * 60 * rng.lognormal(0, 0.5, len(kits)) + 0.7)
    kits["quantity"] = quantity
    loose = _loose_shelf(pairs, parts, rng)
    on_hand = pd.concat([kits[["store", "item", "quantity"]], loose]).reset_index(drop=True)
    aged = on_hand.item.str.contains("FK|AK|DIA|BAL|SEA|ROD")
    cured = text_dates(np.floor(TO - rng.uniform(60, 5 * 365, len(on_hand))))
    on_hand["cure_date"] = cured.where(aged, "")
    coming = kits[rng.random(len(kits)) < 0.3][["store", "item"]]
    coming = coming.assign(quantity=rng.integers(1, 5, len(coming)))
    coming["expected_on"] = text_dates(TO + rng.integers(3, 45, len(coming))).to_numpy()
    return {"on_hand": on_hand, "on_order": coming.reset_index(drop=True)}


def _loose_shelf(
    pairs: pd.DataFrame, parts: pd.DataFrame, rng: np.random.Generator
) -> pd.DataFrame:
    """A few diaphragms, balls, seats and rod seals beside the kits."""
    wanted = parts[parts.part.isin(["diaphragm", "ball", "seat", "rod seal", "gasket set"])]
    kit = np.where(
        wanted.side == "air",
        "AK-" + wanted.size_mm.astype(str),
        "FK-" + wanted.size_mm.astype(str) + "-" + wanted.material,
    )
    table = wanted.assign(item=kit)[["item", "part_no"]].merge(pairs, on="item")
    table = table[["store", "part_no"]].rename(columns={"part_no": "item"}).drop_duplicates()
    table["quantity"] = rng.integers(0, 5, len(table))
    return table[table.quantity > 0]


def write_compatibility() -> pd.DataFrame:
    """Who confirmed which elastomer for which service; one confirmation has run out."""
    good = {
        "body slip": ("CR", "TPV", "NBR"),
        "glaze": ("NBR", "TPV", "CR"),
        "press sludge": ("CR", "TPV"),
        "caustic wash": ("EPDM",),
        "wash solvent": ("PTFE", "FKM"),
    }
    rows = [(material, service) for service, names in good.items() for material in names]
    table = pd.DataFrame(rows, columns=["material", "service"])
    table["confirmed_by"] = "process engineering"
    table["confirmed_on"] = "2023-05-16"
    out = (table.material == "FKM").to_numpy()
    table["valid_until"] = np.where(out, "2025-03-31", "2027-05-31")
    table["reference"] = "CL-" + (table.index + 101).astype(str)
    return table


def write_trials(pumps: pd.DataFrame) -> dict[str, pd.DataFrame]:
    """One trial under way: every 80 mm pump on body slip, by the kit that it carries."""
    mine = pumps[(pumps.service == "body slip") & (pumps.size_mm == 80)]
    trial = {
        "trial_id": "TR-1",
        "part": "diaphragm",
        "material": "TPV",
        "reference": "CR",
        "service": "body slip",
        "started_on": "2021-07-01",
        "ends_on": "2026-12-31",
        "wanted_ratio": 1.5,
        "looks": 3,
    }
    arms = pd.DataFrame({"trial_id": "TR-1", "pump_id": mine.pump_id})
    arms["arm"] = mine.fluid_kit.str.rsplit("-", n=1).str[-1]
    return {"trials": pd.DataFrame([trial]), "trial_pumps": arms}


def write_spend(rebuilds: pd.DataFrame, prices: dict[str, float]) -> pd.DataFrame:
    """What was booked, per month and site: kits, labour, clean-up and the sum (no downtime)."""
    rebuilds = rebuilds[rebuilds.day >= FROM]
    month = rebuilds.opened_on.str[:7]
    once = ~rebuilds.duplicated("rebuild_id")
    call_out = np.where(rebuilds.reason == "breakdown", COSTS["call_out"], 0.0) * once
    labour = rebuilds.labour_h * COSTS["labour_per_h"] * once
    table = pd.DataFrame(
        {
            "month": month,
            "site": rebuilds.site,
            "kits": rebuilds.kit.map(prices).fillna(0.0),
            "money": rebuilds.kit.map(prices).fillna(0.0)
            + labour
            + call_out
            + rebuilds.other_cost.fillna(0.0) * once,
        }
    )
    sums = table.groupby(["month", "site"], as_index=False).sum()
    long = sums.melt(["month", "site"], var_name="quantity", value_name="amount")
    return long.assign(amount=long.amount.round(2))


def kit_prices(kits: pd.DataFrame) -> dict[str, float]:
    """Kit number to unit cost [EUR]."""
    return dict(zip(kits.kit, kits.unit_cost, strict=True))
