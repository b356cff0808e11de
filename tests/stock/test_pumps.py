"""Each pump among its peers, on plants made by hand: money, standing, what the excess follows."""

import numpy as np
import pytest

from pumplife.stock.pumps import COLUMNS
from pumplife.study import run_study

from ..plants import SETTINGS, on_day, pump_rows, small_plant

NUMBER = 12


def pumps():
    same = {"site": "works", "service": "slip", "size_mm": 50, "fluid_kit": "FK", "hazard": "none"}
    same |= {"use_per_week": 70, "commissioned_on": on_day(0)}
    cost = {5: 50.0, 6: ""}
    return [
        {"pump_id": f"P-{n}", "location": f"L-{n}", "new_cost": cost.get(n, 3000.0), **same}
        for n in range(NUMBER)
    ]


def rebuilds(days_of):
    """One breakdown with a kit per pump and day."""
    rows = [
        {"rebuild_id": f"R-{pump}-{day}", "pump_id": f"P-{pump}", "opened_on": on_day(day),
         "reason": "breakdown", "kit": "FK", "failed_part": "diaphragm", "labour_h": 5,
         "downtime_h": 8}
        for pump, days in days_of.items() for day in days
    ]  # fmt: skip
    return sorted(rows, key=lambda row: row["opened_on"])


def usual(pump):
    """Failures some 170 days apart, the others' way."""
    rng = np.random.default_rng(pump)
    days = np.cumsum(rng.integers(110, 240, 6))
    return [int(day) for day in days if day < 725]


def study_of(folder, days_of, moves=None):
    tables = {"pumps": pumps(), "rebuilds": rebuilds(days_of), "readings": None, "findings": None}
    return run_study(small_plant(folder, **tables, moves=moves), results=())


DAYS = {n: usual(n) for n in range(NUMBER)}
SWAP = [
    {"pump_id": "P-0", "moved_on": on_day(365), "location": "L-1", "state": "in_service"},
    {"pump_id": "P-1", "moved_on": on_day(365), "location": "L-0", "state": "in_service"},
]


def test_an_excess_that_goes_with_the_pump_follows_the_pump(tmp_path):
    days = DAYS | {0: list(range(25, 725, 25))}
    table = study_of(tmp_path, days, SWAP).tables["pumps"]
    assert table.columns.tolist() == COLUMNS
    first = table.iloc[0]
    assert (first["pump_id"], first["standing"], first["follows"]) == ("P-0", "stands out", "pump")
    assert first["location"] == "L-1"
    assert "common practice" in first["look_at"]
    assert first["look_at"].startswith("diaphragm: ")
    assert (table["standing"] == "stands out").sum() == 1
    assert set(table.loc[1:, "follows"]) <= {"", "can't tell"}


def test_an_excess_that_stays_behind_follows_the_location(tmp_path):
    days = DAYS | {0: [*range(20, 365, 20), *(365 + d for d in usual(0)[:2])],
             1: [150, 300, *range(380, 725, 20)]}  # fmt: skip
    table = study_of(tmp_path, days, SWAP).tables["pumps"].set_index("pump_id")
    marked = table.loc[["P-0", "P-1"]]
    assert (marked["standing"] != "").all()
    assert (marked["follows"] == "location").all()


@pytest.fixture(scope="module")
def still(tmp_path_factory):
    """Nobody moved: P-0 breaks down every 25 days; P-5 costs 50 anew, P-6 nobody knows what."""
    days = DAYS | {0: list(range(25, 725, 25)), 3: [100, 400, 500]}
    return study_of(tmp_path_factory.mktemp("still"), days)


def test_a_pump_that_never_moved_cant_tell(still):
    first = still.tables["pumps"].iloc[0]
    assert (first["pump_id"], first["follows"]) == ("P-0", "can't tell")
    named = still.tables["audit"].query("rule == 'pump_stands_out'")
    assert named["pump_id"].tolist() == ["P-0"]
    assert named["severity"].tolist() == ["caution"]


def test_a_year_by_hand(still):
    table = still.tables["pumps"].set_index("pump_id")
    row = table.loc["P-3"]
    assert row["breakdowns_12m"] == 2  # days 400 and 500 of 730
    assert row["usage_12m"] == pytest.approx(3652.5)
    assert row["failures"] == 3
    # two kits at 200, 10 h of labour at 50, 16 h of lost production at 100, two call-outs at 100
    assert row["cost_12m"] == pytest.approx(2 * (200 + 250 + 800 + 100))
    # a breakdown by the settings: kit, 5 h, 8 h, call-out, spill 200
    assert row["expected_cost"] == pytest.approx(row["expected_breakdowns"] * 1550.0)
    seen = 28 + 3 + sum(len(DAYS[n]) for n in range(NUMBER) if n not in (0, 3))
    assert table["failures"].sum() == seen


def test_a_pump_dearer_to_rebuild_than_to_buy_is_to_be_weighed(still):
    table = still.tables["pumps"].set_index("pump_id")
    said, why = table["rebuild_or_replace"], table["replace_why"]
    assert (said["P-5"], said["P-6"], said["P-3"]) == ("replace", "", "rebuild")
    assert why["P-6"] == "new_cost isn't given"
    # a kit for 200 and 3 h at 50, of a new pump for 3000; for 50
    assert why["P-3"].startswith("a rebuild of both sides costs 12 % of a new pump")
    assert why["P-5"].startswith("a rebuild of both sides costs 700 % of a new pump")
    assert why["P-0"].startswith("a rebuild of both sides costs 12 %")


def test_without_prices_costs_stay_blank(tmp_path):
    bare = "\n[targets]".join(SETTINGS.split("\n[costs]")[0:1]) + "\n"
    study = run_study(small_plant(tmp_path, plant_toml=bare), results=())
    table = study.tables["pumps"]
    assert table[["cost_12m", "expected_cost"]].isna().all().all()
    assert (table["rebuild_or_replace"] == "").all()
    assert len(table) == len(pump_rows())
    assert "likeness" in study.tables
