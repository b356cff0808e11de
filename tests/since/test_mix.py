"""What belongs to which cause, and files of today with one cause put back."""

from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from pumplife.records import plant as plant_settings
from pumplife.records.read import Written, read_written
from pumplife.records.tables import TABLES
from pumplife.since.mix import changed_causes, put_back, same_content
from pumplife.since.partition import (
    CAUSES,
    PRICE_COLUMNS,
    RETIREMENT,
    ROWS_TO_COME,
    SECTION_CAUSES,
    TABLE_CAUSES,
    join_settings,
    split_settings,
)

from ..plants import LAST_DAY, SETTINGS, on_day, part_rows, pump_rows, rebuild_rows, small_plant

LATER = (LAST_DAY + pd.Timedelta(days=31)).strftime("%Y-%m-%d")
NEXT_MONTH = SETTINGS.replace(f"records_to = {LAST_DAY:%Y-%m-%d}", f"records_to = {LATER}")
KIT = {"kit": "FK", "side": "fluid", "size_mm": 50, "material": "CR", "lead_time_days": 20}


def test_every_table_column_and_section_has_its_place() -> None:
    assert set(TABLE_CAUSES) == set(TABLES)
    assert set(SECTION_CAUSES) == set(plant_settings._SECTIONS)
    assert {*TABLE_CAUSES.values(), *SECTION_CAUSES.values()} < set(CAUSES)
    for table, columns in PRICE_COLUMNS.items():
        assert set(columns) <= set(TABLES[table].headings)
    for table, column in (*ROWS_TO_COME.items(), RETIREMENT):
        assert TABLES[table].column(column).kind == "date"
    money = {
        (table.name, column.name)
        for table in TABLES.values()
        for column in table.columns
        if column.name.endswith("_cost") or column.name == "downtime_per_h"
    }
    placed = {(table, column) for table, names in PRICE_COLUMNS.items() for column in names}
    assert money - placed == {("rebuilds", "other_cost")}  # what was paid is a record


def test_settings_are_split_and_joined_without_loss() -> None:
    raw: dict[str, dict[str, Any]] = {
        "plant": {"name": "a", "records_to": 1, "site": {"b": {"records_to": 2}}},
        "costs": {"spill": 3.0, "service": {"slip": {"spill": 4.0}}},
        "calendar": {"outages": []},
        "new_section": {"line": True},
    }
    parts = split_settings(raw)
    assert join_settings(parts) == raw
    assert set(parts["records"]) == {("plant", "records_to"), ("plant", "site")}
    assert set(parts["prices"]) == {("costs", "spill"), ("costs", "service")}
    assert set(parts["plan"]) == {("calendar", "outages")}
    assert set(parts["settings"]) == {("plant", "name"), ("new_section", "line")}


@pytest.fixture
def old(tmp_path: Path) -> Written:
    """The small plant with a pump, a price and a move to come, and a retirement planned."""
    coming = {"pump_id": "P-9", "site": "works", "service": "slip", "commissioned_on": on_day(900)}
    leaving = [{**row, "retired_on": on_day(950)} for row in pump_rows()[:1]]
    kits = [
        KIT | {"unit_cost": 200.0, "valid_from": ""},
        KIT | {"unit_cost": 220.0, "valid_from": on_day(740)},
    ]
    moves = [{"pump_id": "P-2", "moved_on": on_day(745), "service": "glaze"}]
    pumps = [*leaving, *pump_rows()[1:], coming]
    return read_written(small_plant(tmp_path / "old", pumps=pumps, kits=kits, moves=moves))


def test_the_same_files_have_no_cause(old: Written) -> None:
    assert changed_causes(old, read_written(old.source)) == ()
    assert same_content(put_back(old, old, ("plan", "prices", "settings")), old)


def test_a_month_later_only_the_records_have_changed(old: Written) -> None:
    (old.source / "plant.toml").write_text(NEXT_MONTH, encoding="utf-8")
    assert changed_causes(read_written(old.source), old) == ("records",)


def test_prices_put_back_are_those_of_the_same_day(old: Written, tmp_path: Path) -> None:
    kits = [
        KIT | {"unit_cost": 230.0, "valid_from": ""},
        KIT | {"unit_cost": 240.0, "valid_from": on_day(735)},
        KIT | {"unit_cost": 250.0, "valid_from": on_day(750)},
        KIT | {"kit": "NEW", "unit_cost": 99.0, "valid_from": ""},
    ]
    new = read_written(small_plant(tmp_path / "new", kits=kits))
    mixed = put_back(new, old, {"prices"})
    # no row of day 735 was there: the price of always held; of 750, that of 740; NEW has none
    assert mixed.tables["kits"]["unit_cost"].tolist() == [200.0, 200.0, 220.0, 99.0]
    assert new.tables["kits"]["unit_cost"].tolist() == [230.0, 240.0, 250.0, 99.0]


def test_each_change_is_told_by_its_cause(tmp_path: Path) -> None:
    was = read_written(small_plant(tmp_path / "old"))
    changes: list[tuple[str, dict[str, Any]]] = [
        ("prices", {"kits": [KIT | {"unit_cost": 210.0}]}),
        ("prices", {"parts": [row | {"unit_cost": 70.0} for row in part_rows()]}),
        ("prices", {"plant_toml": SETTINGS.replace("spill = 200.0", "spill = 300.0")}),
        ("prices", {"plant_toml": SETTINGS.replace("breakdown_labour_h = 5.0", "")}),
        ("settings", {"plant_toml": SETTINGS.replace("0.95", "0.9")}),
        ("records", {"kits": [KIT | {"unit_cost": 200.0, "lead_time_days": 30}]}),
        ("records", {"rebuilds": rebuild_rows()[:-1]}),
        ("records", {"on_hand": None}),
        ("plan", {"plant_toml": SETTINGS + "[calendar]\noutages = [2022-05-04]\n"}),
        ("plan", {"pumps": [row | {"retired_on": on_day(900)} for row in pump_rows()]}),
        ("records", {"pumps": [row | {"retired_on": on_day(700)} for row in pump_rows()]}),
    ]
    for number, (cause, changed) in enumerate(changes):
        new = read_written(small_plant(tmp_path / str(number), **changed))
        assert changed_causes(new, was) == (cause,), changed


def test_plans_put_back_are_those_beyond_the_records_of_today(old: Written, tmp_path: Path) -> None:
    # a month later P-9 works already, and the price and the move of the plan never came
    working = {"pump_id": "P-9", "site": "works", "service": "slip", "commissioned_on": on_day(740)}
    pumps = [*pump_rows(), working]
    kits = [KIT | {"unit_cost": 200.0}]
    new = read_written(small_plant(tmp_path / "new", pumps=pumps, kits=kits, plant_toml=NEXT_MONTH))
    mixed = put_back(new, old, {"plan"})
    assert mixed.tables["pumps"]["pump_id"].tolist() == ["P-1", "P-2", "P-3", "P-9"]
    assert mixed.tables["pumps"]["commissioned_on"].iloc[3] == pd.Timestamp(on_day(740))
    assert mixed.tables["pumps"]["retired_on"].notna().tolist() == [True, False, False, False]
    assert len(mixed.tables["kits"]) == 1
    assert mixed.tables["moves"].empty


def test_rows_to_come_are_put_back_in_their_places(old: Written, tmp_path: Path) -> None:
    new = read_written(small_plant(tmp_path / "new", kits=[KIT | {"unit_cost": 200.0}]))
    assert changed_causes(new, old) == ("plan",)
    mixed = put_back(new, old, {"plan"})
    assert same_content(mixed, old)
    assert mixed.log is not new.log
