"""How long kits and parts may be stored, by hand and by published classes; bags that expired."""

import numpy as np
import pandas as pd
import pytest

from pumplife.errors import SettingError
from pumplife.records.polymers import layers_of, polymers, storage_of
from pumplife.records.read import read_records
from pumplife.records.storage import add_years, list_bags, storage_lives
from tests.plants import LAST_DAY, SETTINGS, on_day, part_rows, small_plant, small_tables

# Classes of ISO 2230:2002 as two public summaries give them (the standard itself was not seen):
# prepol.com/resources/rubber-shelf-life-storage for the polymers of each class and its years,
# epidor.com/en/blog/storage-of-elastomers-according-to-din-7716-and-iso-2230 for the years
CLASSES = {
    "A": ("NR IR BR SBR AU EU", 5, 2),
    "B": ("ACM ECO CR HNBR IIR NBR", 7, 3),
    "C": ("CSM EPDM FKM FFKM VMQ FVMQ", 10, 5),
}


def lives_of(folder, **overrides):
    records = read_records(small_plant(folder, **overrides))
    return storage_lives(records.tables, records.plant)


@pytest.mark.parametrize("name", CLASSES)
def test_the_classes_of_the_standard(name):
    codes, initial, extension = CLASSES[name]
    rows = polymers().loc[codes.split()]
    assert set(rows["storage_class"]) == {name}
    assert set(rows["initial_years"]) == {initial}
    assert set(rows["extension_years"]) == {extension}
    assert set(rows["edition"]) == {"ISO 2230:2002"}
    assert rows["note"].str.contains("check against your edition").all()


def test_every_storage_life_names_its_source_and_thermoplastics_have_none():
    table = polymers()
    assert table.loc[table["initial_years"].notna(), "source"].ne("").all()
    assert table.loc["TPV":"TPV", "initial_years"].isna().all()
    assert table.loc[["TPE", "TPU", "TPC"], "initial_years"].isna().all()
    assert np.isinf(table.loc["PTFE", "initial_years"])
    assert table.loc[table["initial_years"].isna(), "note"].str.contains("ask the supplier").all()


def test_a_layered_material_lasts_as_long_as_its_shortest_known_layer():
    assert layers_of("epdm / PTFE") == ["EPDM", "PTFE"]
    assert storage_of("EPDM/PTFE", {}).years == 10
    assert storage_of("TPV+NBR", {}).years == 7
    assert np.isnan(storage_of("TPV", {}).years)
    assert np.isnan(storage_of("", {}).years)
    assert storage_of("TPV", {"TPV": 6.0}).years == 6


def test_a_kit_expires_with_its_shortest_lived_part(tmp_path):
    ball, seat, diaphragm = ({row["part"]: row for row in part_rows()}[name] for name in
                             ("ball", "seat", "diaphragm"))  # fmt: skip
    parts = [
        diaphragm | {"material": "PTFE"},
        ball | {"material": "EPDM"},
        seat | {"material": "TPV"},
    ]
    lives = lives_of(tmp_path, parts=parts)
    assert lives["FK"].years == 10
    assert lives["FK"].because.startswith("its BALL: EPDM, ISO 2230:2002 class C")
    assert np.isinf(lives["DIAPHRAGM"].years)
    assert np.isnan(lives["SEAT"].years)


def test_the_part_comes_before_the_plants_list_and_that_before_the_standard(tmp_path):
    parts = [
        row | {"shelf_life_years": "4" if row["part"] == "seat" else ""} for row in part_rows()
    ]
    settings = SETTINGS + "\n[storage]\nyears = { cr = 6 }\n"
    lives = lives_of(tmp_path, parts=parts, plant_toml=settings)
    assert {name: life.years for name, life in lives.items()} == {
        "SEAT": 4, "BALL": 6, "DIAPHRAGM": 6, "FK": 4
    }  # fmt: skip
    assert lives["SEAT"].because == "shelf_life_years in parts"


@pytest.mark.parametrize("years", ["0", '"long"', "true", "-3"])
def test_years_that_are_no_number_above_0_are_refused(tmp_path, years):
    settings = SETTINGS + f"\n[storage]\nyears = {{ NBR = {years} }}\n"
    with pytest.raises(SettingError, match=r"\[storage\] years of NBR .* number above 0"):
        read_records(small_plant(tmp_path, plant_toml=settings))


def test_years_are_added_to_the_month():
    days = pd.Series(pd.to_datetime(["2020-02-29", "2019-08-31", "2019-03-01", None, "2019-03-01"]))
    years = np.array([7.0, 0.5, 2.5, 7.0, np.inf])
    got = add_years(days, years).dt.strftime("%Y-%m-%d").tolist()
    assert got[:3] == ["2027-02-28", "2020-02-29", "2021-09-01"]
    assert pd.isna(got[3])
    assert pd.isna(got[4])


def test_bags_of_every_kind(tmp_path):
    shelf = [
        {"store": "works", "item": "FK", "quantity": 2, "cure_date": on_day(730 - 8 * 366)},
        {"store": "works", "item": "FK", "quantity": 1, "cure_date": on_day(0)},
        {"store": "works", "item": "FK", "quantity": 3, "cure_date": ""},
        {"store": "works", "item": "FK", "quantity": 4, "cure_date": on_day(900)},
        {"store": "works", "item": "ZZ", "quantity": 5, "cure_date": ""},
    ]
    records = read_records(small_plant(tmp_path, on_hand=shelf))
    bags = list_bags(records.tables, records.plant)
    assert bags["standing"].tolist() == [
        "expired", "usable", "no cure date", "no cure date", "usable"
    ]  # fmt: skip
    assert bags["expires_on"].iloc[1] == pd.Timestamp("2027-01-01")
    audit = records.log.frame().set_index("rule")
    gone = audit.loc["expired_stock"]
    assert (gone["row"], gone["file"]) == (2, "")
    assert gone["what"].startswith("2 of FK at works expired on 2020-")
    assert "may add 3 years" in gone["remedy"]
    assert audit.loc["no_cure_date", "row"] == 4
    assert audit.loc["unknown_item", "row"] == 6
    assert bags["expires_on"].iloc[0] < LAST_DAY


def test_stock_good_until_the_last_day_of_the_records_has_not_expired(tmp_path):
    cured = LAST_DAY - pd.DateOffset(years=7)
    for days, standing in ((0, "usable"), (1, "expired")):
        day = f"{cured - pd.Timedelta(days=days):%Y-%m-%d}"
        shelf = [{"store": "works", "item": "FK", "quantity": 2, "cure_date": day}]
        records = read_records(small_plant(tmp_path / str(days), on_hand=shelf))
        assert list_bags(records.tables, records.plant)["standing"].tolist() == [standing]


def test_negative_and_broken_quantities_are_said_with_their_row(tmp_path):
    shelf = [
        {"store": "works", "item": "FK", "quantity": -1, "cure_date": on_day(0)},
        {"store": "works", "item": "BALL", "quantity": 2.75, "cure_date": on_day(0)},
    ]
    coming = [{"store": "works", "item": "FK", "quantity": 1.5, "expected_on": on_day(740)}]
    records = read_records(small_plant(tmp_path, on_hand=shelf, on_order=coming))
    audit = records.log.frame()
    (aside,) = audit[audit["rule"] == "unreadable_number"].to_dict("records")
    assert (aside["table"], aside["row"]) == ("on_hand", 2)
    broken = audit[audit["rule"] == "fractional_quantity"]
    assert broken[["table", "row"]].to_numpy().tolist() == [["on_hand", 3], ["on_order", 2]]
    assert broken["consequence"].tolist() == ["2 whole ones count.", "1 whole ones count."]
    assert records.table("on_hand")["quantity"].tolist() == [2]
    assert records.table("on_order")["quantity"].tolist() == [1]


def test_kits_that_hold_themselves_are_set_aside_whole_chains_too(tmp_path):
    more = [("FK", "FK"), ("FK", "K2"), ("K2", "K3"), ("K3", "FK"), ("K4", "FK")]
    rows = [{"kit": kit, "part_no": part, "quantity": 1} for kit, part in more]
    contents = [*small_tables()["kit_contents"], *rows]
    records = read_records(small_plant(tmp_path, kit_contents=contents))
    audit = records.log.frame()
    looped = audit[audit["rule"] == "kit_holds_itself"]
    assert looped["row"].tolist() == [5, 6, 7, 8]
    assert looped["what"].iloc[0] == "Kit FK holds itself."
    nested = audit[audit["rule"] == "kit_in_kit"]
    assert nested["what"].tolist() == ["Kit K4 holds FK, which is a kit."]
    assert (looped["consequence"] == "The row is set aside.").all()
    assert records.table("kit_contents")["part_no"].tolist() == ["DIAPHRAGM", "BALL", "SEAT"]
