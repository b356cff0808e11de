"""The small hand-made plant and the valve-seat folder hold what their descriptions say."""

import importlib.util
import json
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from pumplife.records.read import read_records

from ..plants import on_day, pump_rows, small_plant

REFERENCE = Path(__file__).resolve().parents[1] / "reference"
SEATS = REFERENCE / "valve_seats"


def test_the_small_plant_reads_without_a_caution(tmp_path: Path) -> None:
    records = read_records(small_plant(tmp_path / "plant"))
    assert set(records.log.frame().severity) == {"note"}
    assert len(records.pumps) == 3
    assert len(records.table("rebuilds")) == 5


def test_the_small_plant_takes_other_tables_and_settings(tmp_path: Path) -> None:
    folder = small_plant(
        tmp_path,
        plant_toml=None,
        findings=None,
        pumps=pd.DataFrame(pump_rows()[:1]),
        rebuilds="rebuild_id;pump_id\nR-9;P-1\n",
        moves=[{"pump_id": "P-1", "moved_on": on_day(31), "state": "in_store"}],
    )
    assert not (folder / "plant.toml").exists()
    assert not (folder / "findings.csv").exists()
    assert pd.read_csv(folder / "pumps.csv").pump_id.tolist() == ["P-1"]
    assert (folder / "rebuilds.csv").read_text() == "rebuild_id;pump_id\nR-9;P-1\n"
    assert pd.read_csv(folder / "moves.csv").moved_on.tolist() == ["2020-02-01"]


def test_the_valve_seat_folder_is_what_its_script_writes(tmp_path: Path) -> None:
    spec = importlib.util.spec_from_file_location("make_folder", SEATS / "make_folder.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    module.write_folder(tmp_path)
    for made in tmp_path.iterdir():
        assert made.read_bytes() == (SEATS / made.name).read_bytes(), made.name


def test_the_valve_seat_folder_repeats_the_published_counts() -> None:
    """41 engines, 48 replacements; the mean number per engine as R's survival gives it."""
    known = json.loads((REFERENCE / "recurrent.json").read_text())["valve_seats"]
    pumps, rebuilds = pd.read_csv(SEATS / "pumps.csv"), pd.read_csv(SEATS / "rebuilds.csv")
    assert (len(pumps), len(rebuilds)) == (known["systems"], known["events"])
    assert rebuilds.duplicated(["pump_id", "opened_on"]).sum() == 2
    assert rebuilds.rebuild_id.is_unique
    last = pd.to_datetime(pumps.retired_on.fillna("2022-01-31")).to_numpy()
    day = np.sort(pd.to_datetime(rebuilds.opened_on).to_numpy())
    at_risk = (last[:, None] >= day).sum(axis=0)
    assert (1 / at_risk).sum() == pytest.approx(known["mcf"][-1], rel=1e-12)


def test_the_valve_seat_folder_has_no_prices_to_act_on() -> None:
    records = read_records(SEATS)
    assert {"intervals", "stock", "budget"} <= records.withheld
    assert not records.fatal
