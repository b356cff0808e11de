"""Superseded numbers: old and new count as one, loops and strangers are named."""

import pandas as pd

from pumplife.records.read import read_records
from pumplife.stock.items import list_items, stock_on_hand, successors
from pumplife.study import run_study

from ..plants import part_rows, rebuild_rows, small_plant, small_tables

KIT = dict(small_tables()["kits"][0])
NEW = KIT | {"kit": "FK-B", "unit_cost": 210.0}
NEWER = KIT | {"kit": "FK-C", "unit_cost": 220.0}


def chain(*names):
    """The kits FK, FK-B and FK-C, each superseded by the name given."""
    return [
        kit | {"superseded_by": after} for kit, after in zip((KIT, NEW, NEWER), names, strict=True)
    ]


def words(records, rule):
    audit = records.log.frame()
    return audit.loc[audit["rule"].eq(rule), "what"].tolist()


def test_a_chain_is_followed_in_tickets_register_issues_and_stock(tmp_path):
    issued = [{"issued_on": "2020-10-27", "item": "FK", "quantity": 1, "rebuild_id": "R-1"}]
    folder = small_plant(tmp_path, kits=chain("FK-B", "FK-C", ""), issued=issued)
    records = read_records(folder)
    assert set(records.table("rebuilds")["kit"]) == {"FK-C", "none"}
    assert set(records.pumps["fluid_kit"]) == {"FK-C"}
    assert records.table("issued")["item"].tolist() == ["FK-C"]
    current = successors(list_items(records))
    assert stock_on_hand(records, current) == {("works", "FK-C"): 1.0}
    assert words(records, "superseded")[-1] == (
        "FK is superseded by FK-C: 9 rows naming it count for the new number."
    )
    assert not records.log.frame()["severity"].eq("caution").any()


def test_a_successor_without_contents_holds_what_the_old_kit_holds(tmp_path):
    records = read_records(small_plant(tmp_path, kits=chain("FK-B", "FK-C", "")))
    contents = records.table("kit_contents")
    held = contents.loc[contents["kit"].eq("FK-C"), ["part_no", "quantity"]]
    assert held.to_numpy().tolist() == [["DIAPHRAGM", 2], ["BALL", 4], ["SEAT", 4]]


def test_renaming_changes_neither_lives_nor_what_a_kit_costs_today(tmp_path):
    plain = run_study(small_plant(tmp_path / "a", kits=[KIT | {"unit_cost": 210.0}]), results=())
    renamed = run_study(small_plant(tmp_path / "b", kits=chain("FK-B", "", "")), results=())
    same = ["pump_id", "part", "position", "entry", "lower", "upper", "outcome"]
    pd.testing.assert_frame_equal(plain.lives.table[same], renamed.lives.table[same])
    rates = [study.tables["intervals"]["cost_rate"].tolist() for study in (plain, renamed)]
    assert rates[0] == rates[1]
    assert renamed.tables["intervals"]["kit"].tolist() == ["FK-B"]


def test_old_and_new_number_on_one_pump_are_one_kit(tmp_path):
    tickets = rebuild_rows()
    tickets[1] |= {"kit": "FK-B"}
    records = read_records(small_plant(tmp_path, kits=chain("FK-B", "", ""), rebuilds=tickets))
    assert set(records.table("rebuilds")["kit"]) == {"FK-B", "none"}


def test_a_blank_price_is_that_of_the_successor(tmp_path):
    kits = chain("FK-B", "", "")
    kits[0] |= {"unit_cost": None}
    kits[0] |= {"material": "NBR"}  # another thing: it isn't renamed
    records = read_records(small_plant(tmp_path, kits=kits))
    assert list_items(records)["FK"].unit_cost == 210.0


def test_a_loop_is_named_and_each_number_stands_for_itself(tmp_path):
    records = read_records(small_plant(tmp_path, kits=chain("FK-B", "FK-C", "FK")))
    assert len(words(records, "superseded_loop")) == 3
    assert set(records.table("rebuilds")["kit"]) == {"FK", "none"}
    assert successors(list_items(records))["FK"] == "FK"


def test_strange_and_unlike_successors_are_named_and_not_followed(tmp_path):
    kits = chain("FK-X", "", "")
    records = read_records(small_plant(tmp_path / "a", kits=kits))
    assert words(records, "superseded_unknown") == [
        "FK is superseded by FK-X, which kits doesn't list."
    ]
    kits = chain("FK-B", "", "")
    kits[1] |= {"material": "EPDM"}
    records = read_records(small_plant(tmp_path / "b", kits=kits))
    assert len(words(records, "superseded_unlike")) == 1
    assert set(records.table("rebuilds")["kit"]) == {"FK", "none"}


def test_a_successor_that_can_be_bought_later_is_a_plan(tmp_path):
    kits = chain("FK-B", "", "")
    kits[1] |= {"valid_from": "2030-01-01"}
    records = read_records(small_plant(tmp_path, kits=kits))
    assert set(records.table("rebuilds")["kit"]) == {"FK", "none"}
    assert records.log.frame()["severity"].ne("caution").all()


def test_part_numbers_are_followed_into_kits(tmp_path):
    parts = [row | {"superseded_by": "", "valid_from": None} for row in part_rows()]
    parts.append(parts[0] | {"part_no": "DIAPHRAGM-B", "unit_cost": 66.0})
    parts[0] |= {"superseded_by": "DIAPHRAGM-B"}
    shelf = [{"store": "works", "item": "DIAPHRAGM", "quantity": 3}]
    records = read_records(small_plant(tmp_path, parts=parts, on_hand=shelf))
    assert "DIAPHRAGM-B" in set(records.table("kit_contents")["part_no"])
    current = successors(list_items(records))
    assert stock_on_hand(records, current) == {("works", "DIAPHRAGM-B"): 3.0}
