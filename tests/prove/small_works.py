"""Small invented works with many pump groups, from raw tickets, beside their hidden truth.

Every works has some ten services, each with a fluid kit of two diaphragms, four balls and four
seats whose lives nobody at the works knows. Services differ in lives, assembly faults, costs and
habits; some have several small pump groups, by size, that share their lives.
"""

import sys
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

ROOT = Path(__file__).resolve().parents[2]
for folder in (ROOT, ROOT / "data" / "demo"):
    if str(folder) not in sys.path:
        sys.path.insert(0, str(folder))

from invented.spoil import OWN_PARTS, OWN_REASONS, spoil  # noqa: E402

from tests.prove.running import PLACES, Habits, Sides, run_sides  # noqa: E402
from tests.prove.small_pumps import draw_pumps  # noqa: E402

FIRST_DAY = np.datetime64("2018-01-01")
MATERIALS = ("CR", "NBR", "EPDM", "TPV", "PTFE", "FKM")
PARTS = ("diaphragm", "ball", "seat")
COUNT = np.array([2.0, 4.0, 4.0])
USUAL_SHAPE, SHAPE_SPREAD, SERVICE_SPREAD = 2.2, 0.34, 0.15
USUAL_SCALE = np.array([7_000.0, 14_000.0, 17_000.0])  # [h]
LABOUR = 48.0  # [EUR / h]
LABOUR_H, DOWNTIME_H = 3.0, 8.0  # of a rebuild; of production lost by a breakdown
CHECKS = ("suction_left", "suction_right", "discharge_left", "discharge_right")
POSITIONS = np.array(["left", "right", *CHECKS, *CHECKS])
PART_OF = np.repeat(np.arange(3), COUNT.astype(int))
HARSH = 0.3  # life in a harsh service, times that in its like
COMMON = (1.5, 6.0)  # cost of a breakdown over planned work where no line stops: common practice
WIDE = (1.2, 20.0)  # the same with services that stop a line, or are hazardous


@dataclass(frozen=True, kw_only=True, eq=False)
class Works:
    """Invented works.

    Attributes
    ----------
    tables : dict of DataFrame
        The plant folder.
    plant_toml : str
    services : DataFrame
        One row per service: service, material, ratio (of a breakdown's cost to a planned
        rebuild's), early_share, early_scale [h], hazard, harsh, planned [h], kit_share.
    lives : DataFrame
        service, part, material, shape, scale [h].
    groups : DataFrame
        service, size_mm, kit, usage [h], breakdowns.
    later : DataFrame
        Visits beyond the records, which nobody at the works knows yet: pump_id, year (since the
        end of the records), place (that failed; -1 where planned), whole.
    """

    tables: dict[str, pd.DataFrame]
    plant_toml: str
    services: pd.DataFrame
    lives: pd.DataFrame
    groups: pd.DataFrame
    later: pd.DataFrame

    def __repr__(self) -> str:
        return f"<Works: {len(self.services)} services, {len(self.groups)} groups>"

    def write(self, folder: Path) -> Path:
        """Write the plant folder."""
        folder.mkdir(parents=True, exist_ok=True)
        for name, table in self.tables.items():
            table.to_csv(folder / f"{name}.csv", index=False, lineterminator="\n")
        (folder / "plant.toml").write_text(self.plant_toml, encoding="utf-8", newline="\n")
        return folder


def make_works(
    seed: int,
    *,
    services: int = 10,
    spoilt: bool = False,
    hazardous: float = 0.0,
    ratio: tuple[float, float] = WIDE,
    more_years: float = 0.0,
    even: bool = False,
) -> Works:
    """Make the works: same arguments, same works.

    Parameters
    ----------
    seed, services : int
    spoilt : bool
        Whether the records are spoilt as the demo's are.
    hazardous : float
        Share of the services whose fluid is hazardous; one of them, then, is harsh.
    ratio : pair of float
        Least and largest cost of a breakdown over that of planned work. Lives, habits and tickets
        don't depend on it.
    more_years : float
        Years that the works run on beyond their records.
    even : bool
        Without assembly faults, and with failures spread evenly over pump groups, see
        `draw_pumps`.
    """
    rng = np.random.default_rng([seed, services, round(100 * hazardous)])
    years = float(rng.uniform(3.0, 7.0))
    table, shape, scale = _draw_services(rng, services, hazardous, ratio)
    table = table.assign(early_share=0.0) if even else table
    pumps = draw_pumps(rng, table, years, even=even)
    own = pumps["number"].to_numpy()
    early = np.where(PART_OF == 0, table["early_share"].to_numpy()[own, None], 0.0)
    sides = Sides(
        shape=shape[own][:, PART_OF],
        scale=scale[own][:, PART_OF],
        early_share=early,
        early_scale=table["early_scale"].to_numpy()[own],
    )
    habits = Habits(
        planned=table["planned"].to_numpy()[own], kit_share=table["kit_share"].to_numpy()[own]
    )
    more = more_years * 365.25 * pumps["rate"].to_numpy()
    visits = run_sides(rng, sides, habits, pumps["usage"].to_numpy() + more)
    visits, later = _cut_visits(pumps, visits)
    tables = _write_tables(pumps, visits, table)
    return Works(
        tables=spoil(tables, rng) if spoilt else tables,
        plant_toml=_settings(table, years),
        services=table,
        lives=_true_lives(table, shape, scale),
        groups=_count_groups(pumps, visits),
        later=later,
    )


def _cut_visits(pumps: pd.DataFrame, visits: pd.DataFrame) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Visits within the records, and those beyond."""
    own = pumps.iloc[visits["pump"].to_numpy()].reset_index(drop=True)
    beyond = visits["usage"] - own["usage"]
    later = visits.assign(pump_id=own["pump_id"], year=beyond / own["rate"] / 365.25)
    kept = visits[beyond <= 0.0].reset_index(drop=True)
    return kept, later.loc[beyond > 0.0, ["pump_id", "year", "place", "whole"]]


def _draw_services(
    rng: np.random.Generator, count: int, hazardous: float, ratio: tuple[float, float]
) -> tuple[pd.DataFrame, np.ndarray, np.ndarray]:
    """Services with their habits and costs; shape and scale (services, parts)."""
    shape = _draw_shapes(rng, count)
    scale = USUAL_SCALE * rng.lognormal(0.0, 0.4, (count, 1)) * rng.lognormal(0.0, 0.25, (count, 3))
    hazard = rng.permutation(count) < round(hazardous * count)
    harsh = hazard & (np.cumsum(hazard) == 1)
    scale = np.where(harsh[:, None], HARSH * USUAL_SCALE, scale)
    # hazardous pumps are leak-tested after fitting: no assembly faults
    early = np.where((rng.random(count) < 0.5) & ~hazard, rng.uniform(0.0, 0.08, count), 0.0)
    mean = _mean_to_failure(shape, scale)
    never = rng.random(count) < 0.4
    capped = rng.random(count) < 0.1
    table = pd.DataFrame(
        {
            "service": [f"service {number:02d}" for number in range(count)],
            "material": rng.choice(MATERIALS, count),
            "ratio": np.exp(rng.uniform(*np.log(ratio), count)),
            "spill": np.where(rng.random(count) < 0.5, rng.uniform(0.0, 2.0, count), 0.0),
            "early_share": early,
            "early_scale": 0.03 * scale[:, 0],
            "hazard": np.where(hazard, "hazardous", "none"),
            "harsh": harsh,
            "typical": mean,
            "planned": np.where(never, np.inf, mean * rng.uniform(0.4, 1.6, count)),
            "kit_share": np.where(rng.random(count) < 0.6, 1.0, rng.uniform(0.0, 1.0, count)),
            "maximum": np.where(capped, mean * rng.uniform(0.3, 1.5, count), np.nan),
        }
    )
    return table, shape, scale


def _mean_to_failure(shape: np.ndarray, scale: np.ndarray) -> np.ndarray:
    """Mean usage to the first failure by wear of a new side (services,) [h]."""
    age = np.geomspace(1.0, 1e6, 800)[:, None, None]
    alive = np.exp(-(COUNT * (age / scale) ** shape).sum(axis=2))
    return np.asarray(np.trapezoid(alive, age[:, 0, 0], axis=0))


def _draw_shapes(rng: np.random.Generator, count: int) -> np.ndarray:
    """Shapes (services, parts) of 0.8 to 4: a part wears alike in all services, not the same."""
    part = USUAL_SHAPE * rng.lognormal(0.0, SHAPE_SPREAD, 3)
    return np.clip(part * rng.lognormal(0.0, SERVICE_SPREAD, (count, 3)), 0.8, 4.0)


def _write_tables(
    pumps: pd.DataFrame, visits: pd.DataFrame, services: pd.DataFrame
) -> dict[str, pd.DataFrame]:
    visits = _date_visits(pumps, visits)
    contents = _contents(pumps)
    return {
        "pumps": _register(pumps, services),
        "rebuilds": _rebuilds(visits),
        "findings": _findings(visits),
        "issued": _issued(visits),
        "readings": _readings(pumps),
        "parts": contents.drop(columns=["kit", "kit_cost"]),
        "kits": contents.groupby("kit", as_index=False).agg(
            side=("side", "first"), size_mm=("size_mm", "first"),
            material=("material", "first"), unit_cost=("kit_cost", "first"),
        ),
        "kit_contents": contents[["kit", "part_no"]].assign(quantity=contents["per_pump"]),
    }  # fmt: skip


def _date_visits(pumps: pd.DataFrame, visits: pd.DataFrame) -> pd.DataFrame:
    own = pumps.iloc[visits["pump"].to_numpy()].reset_index(drop=True)
    day = np.floor(own["first"] + visits["usage"] / own["rate"]).astype(int)
    visits = visits.assign(
        pump_id=own["pump_id"], kit=np.where(visits["whole"], own["kit"], "none"),
        material=own["material"], size_mm=own["size_mm"],
        opened_on=(FIRST_DAY + day.to_numpy()).astype(str),
    ).sort_values(["opened_on", "usage"], kind="stable")  # fmt: skip
    return visits.assign(rebuild_id=[f"R-{number:05d}" for number in range(len(visits))])


def _register(pumps: pd.DataFrame, services: pd.DataFrame) -> pd.DataFrame:
    own = services.iloc[pumps["number"].to_numpy()].reset_index(drop=True)
    return pd.DataFrame(
        {
            "pump_id": pumps["pump_id"], "site": "works", "service": pumps["service"],
            "location": [f"L-{number:04d}" for number in range(len(pumps))],
            "size_mm": pumps["size_mm"], "fluid_kit": pumps["kit"],
            "commissioned_on": (FIRST_DAY + pumps["first"].astype(int).to_numpy()).astype(str),
            "use_per_week": pumps["use_per_week"].round(1), "meter_unit": "hours",
            "cycles_per_h": np.nan, "hazard": own["hazard"],
            "max_fluid_interval": own["maximum"].round(0), "moved": False,
        }
    )  # fmt: skip


def _rebuilds(visits: pd.DataFrame) -> pd.DataFrame:
    broken = visits["place"] >= 0
    part = np.array(PARTS, dtype=object)[PART_OF[visits["place"].clip(lower=0)]]
    return pd.DataFrame(
        {
            "rebuild_id": visits["rebuild_id"], "pump_id": visits["pump_id"], "location": "",
            "opened_on": visits["opened_on"], "reason": np.where(broken, "breakdown", "planned"),
            "happened_on": "", "closed_on": visits["opened_on"], "kit": visits["kit"],
            "failed_part": np.where(broken, part, "none"), "failure_mode": "",
            "meter": visits["usage"].round(1), "labour_h": LABOUR_H,
            "downtime_h": np.where(broken, DOWNTIME_H, 0.0), "waited_h": 0.0, "other_cost": np.nan,
            "lot": "", "crew": "", "completes": "", "done": "",
        }
    ).reset_index(drop=True)  # fmt: skip


def _findings(visits: pd.DataFrame) -> pd.DataFrame:
    failed = visits[visits["place"] >= 0]
    place = failed["place"].to_numpy()
    return pd.DataFrame(
        {
            "rebuild_id": failed["rebuild_id"], "pump_id": failed["pump_id"],
            "part": np.array(PARTS, dtype=object)[PART_OF[place]], "position": POSITIONS[place],
            "count": 1.0, "found": "failed", "grade": np.nan, "action": "renewed",
        }
    ).reset_index(drop=True)  # fmt: skip


def _issued(visits: pd.DataFrame) -> pd.DataFrame:
    short = np.array(["DIA", "BAL", "SEA"], dtype=object)[PART_OF[visits["place"].clip(lower=0)]]
    loose = short + "-" + visits["size_mm"].astype(str) + "-" + visits["material"]
    return pd.DataFrame(
        {
            "issued_on": visits["opened_on"],
            "item": np.where(visits["kit"] == "none", loose, visits["kit"]),
            "quantity": 1.0,
            "rebuild_id": visits["rebuild_id"],
            "pump_id": visits["pump_id"],
            "store": "store",
        }
    ).reset_index(drop=True)


def _readings(pumps: pd.DataFrame) -> pd.DataFrame:
    """Hour meters read every hundred days and on the last day."""
    day = np.arange(0.0, float(pumps["last"].max()), 100.0)
    day = np.append(day, pumps["last"].max())
    row, column = np.nonzero(day >= pumps["first"].to_numpy()[:, None])
    own, when = pumps.iloc[row].reset_index(drop=True), day[column]
    return pd.DataFrame(
        {
            "pump_id": own["pump_id"], "read_on": (FIRST_DAY + when.astype(int)).astype(str),
            "reading": ((when - own["first"]) * own["rate"]).round(1),
            "new_meter_start": np.nan, "meter_id": own["pump_id"] + "a", "unit": "hours",
        }
    )  # fmt: skip


def _contents(pumps: pd.DataFrame) -> pd.DataFrame:
    kits = pumps[["kit", "size_mm", "material"]].drop_duplicates("kit").reset_index(drop=True)
    rows: list[dict[str, Any]] = []
    for kit in kits.to_dict("records"):
        cost = _kit_cost(kit["size_mm"])
        for part, count, share in zip(PARTS, COUNT, (0.2, 0.06, 0.05), strict=True):
            number = f"{part[:3].upper()}-{kit['size_mm']}-{kit['material']}"
            rows.append(
                {
                    "part_no": number, "part": part, "side": "fluid", "wears": "yes",
                    "releases_fluid": "yes" if part == "diaphragm" else "no",
                    "material": kit["material"], "size_mm": kit["size_mm"], "per_pump": count,
                    "unit_cost": round(share * cost, 2), "kit": kit["kit"], "kit_cost": cost,
                }
            )  # fmt: skip
    return pd.DataFrame(rows)


def _kit_cost(size: float) -> float:
    """Price of a fluid kit [EUR]."""
    return 60.0 + 4.0 * size


def _settings(services: pd.DataFrame, years: float) -> str:
    last = FIRST_DAY + int(np.floor(years * 365.25))
    text = (
        '[plant]\nname = "Small works (invented)"\ncurrency = "EUR"\nusage_unit = "hours"\n'
        f"records_from = {FIRST_DAY}\nrecords_to = {last}\n"
        f"[costs]\nlabour_per_h = {LABOUR}\ndowntime_per_h = 0.0\nspill = 0.0\ncall_out = 0.0\n"
        "order = 35.0\nexpedite = 90.0\nwaiting_per_day = 100.0\nholding_per_year = 0.18\n"
        f"[work.fluid]\nplanned_labour_h = {LABOUR_H}\nbreakdown_labour_h = {LABOUR_H}\n"
        f"planned_downtime_h = 0.0\nbreakdown_downtime_h = {DOWNTIME_H}\n"
        "[targets]\nservice_level = 0.95\nhazardous_failure_probability = 0.05\n"
    )
    usual = _kit_cost(50.0) + LABOUR * LABOUR_H
    for row in services.to_dict("records"):
        downtime = (row["ratio"] - 1.0) * usual / DOWNTIME_H
        text += f'[costs.service."{row["service"]}"]\n'
        text += f"downtime_per_h = {downtime:.2f}\nspill = {row['spill'] * usual:.2f}\n"
    for column, codes in (("reason", OWN_REASONS), ("failed_part", OWN_PARTS)):
        text += f"[codes.rebuilds.{column}]\n"
        text += "".join(f'"{w}" = "{code}"\n' for code, words in codes.items() for w in words)
    return text


def _true_lives(services: pd.DataFrame, shape: np.ndarray, scale: np.ndarray) -> pd.DataFrame:
    repeated = services.loc[services.index.repeat(3), ["service", "material"]]
    repeated = repeated.reset_index(drop=True)
    early = services["early_share"].to_numpy()[:, None] * (np.arange(3) == 0)
    return repeated.assign(
        part=np.tile(PARTS, len(services)), shape=shape.ravel(), scale=scale.ravel(),
        early_share=early.ravel(), early_scale=services["early_scale"].repeat(3).to_numpy(),
    )  # fmt: skip


def _count_groups(pumps: pd.DataFrame, visits: pd.DataFrame) -> pd.DataFrame:
    broken = np.bincount(visits["pump"], visits["place"] >= 0, len(pumps))
    keyed = pumps.assign(breakdowns=broken)
    keys = ["service", "size_mm", "kit"]
    return keyed.groupby(keys, as_index=False).agg(
        usage=("usage", "sum"), breakdowns=("breakdowns", "sum"), pumps=("pump_id", "size")
    )


assert len(PART_OF) == PLACES
