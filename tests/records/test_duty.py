"""Duty by hand: who stood where, and which pump a place means on a day."""

import numpy as np
import pandas as pd
import pytest

from pumplife.records.duty import build_duty
from pumplife.records.read import read_records

MOVES = (
    "pump_id,moved_on,site,service,location,state\n"
    "P1,2021-05-01,,,,in_store\n"
    "P1,2021-09-01,south,glaze,B-9,\n"
    "P2,2021-05-01,,,A-1,\n"
    "P3,2024-05-01,,slip,,\n"
)


def _day(text):
    return float((pd.Timestamp(text) - pd.Timestamp(0)).days)


@pytest.fixture
def duty(write_plant):
    return build_duty(read_records(write_plant(moves=MOVES)))


def _at(duty, pump, text):
    return duty.stints.iloc[int(duty.at(pump, _day(text)))]


def test_pumps_hold_until_the_first_move(duty):
    assert _at(duty, 0, "1999-01-01")["location"] == "A-1"
    assert _at(duty, 0, "2021-04-30")["in_service"]


def test_a_move_holds_from_its_day_and_blank_cells_stay(duty):
    stored = _at(duty, 0, "2021-05-01")
    assert not stored["in_service"]
    assert (stored["site"], stored["service"]) == ("north", "slip")
    back = _at(duty, 0, "2021-09-01")
    assert back["in_service"]
    assert (back["site"], back["service"], back["size_mm"]) == ("south", "glaze", 50.0)
    assert back["store"] == "south"


def test_planned_moves_stay_out(duty):
    assert _at(duty, 2, "2030-01-01")["service"] == "glaze"


def test_stints_cover_all_time_without_gap(duty):
    for _, stints in duty.stints.groupby("pump"):
        assert stints["from_day"].iloc[0] == -np.inf
        assert stints["to_day"].iloc[-1] == np.inf
        np.testing.assert_array_equal(stints["to_day"].iloc[:-1], stints["from_day"].iloc[1:])


def test_no_pump_has_no_stint(duty):
    np.testing.assert_array_equal(duty.at([-1, 0], [0.0, np.nan]), [-1, -1])


@pytest.mark.parametrize(
    ("place", "day", "pump"),
    [
        ("A-1", "2021-04-30", 0),
        ("A-1", "2021-05-01", 1),
        ("A-2", "2021-04-30", 1),
        ("A-2", "2021-05-01", -1),
        ("B-9", "2021-08-31", -1),
        ("B-9", "2021-09-01", 0),
        ("B-1", "2021-02-28", -1),
        ("B-1", "2021-03-01", 2),
        ("nowhere", "2021-03-01", -1),
    ],
)
def test_a_place_means_the_pump_that_stood_there(duty, place, day, pump):
    assert duty.resolve_location(pd.Series([place]), np.array([_day(day)]))[0] == pump


def test_rows_with_a_place_get_its_pump_or_are_set_aside(write_plant):
    rebuilds = (
        "rebuild_id,location,opened_on,reason\n"
        "R1,A-1,2021-04-30,breakdown\nR2,A-1,2021-06-01,breakdown\nR3,A-2,2021-06-01,planned\n"
    )
    records = read_records(write_plant(moves=MOVES, rebuilds=rebuilds))
    assert list(records.table("rebuilds")["pump_id"]) == ["P1", "P2"]
    audit = records.log.frame()
    lost = audit[audit["rule"].eq("unresolved_location")].iloc[0]
    assert lost["what"] == "No pump stood at A-2 that day."
    assert lost["row"] == 4


def test_two_pumps_at_one_place_are_a_question(write_plant, small_tables):
    pumps = small_tables["pumps"].replace("A-2", "A-1")
    readings = "location,read_on,reading\nA-1,2021-01-01,5\nB-1,2021-06-01,7\n"
    records = read_records(write_plant(pumps=pumps, readings=readings))
    assert list(records.table("readings")["pump"]) == [2]
    assert "More than one pump stood at A-1" in " ".join(records.log.frame()["what"])


def test_a_place_that_contradicts_the_pump_is_cautioned(write_plant):
    readings = "pump_id,location,read_on,reading\nP1,A-2,2021-01-01,5\n"
    records = read_records(write_plant(readings=readings))
    assert list(records.table("readings")["pump"]) == [0]
    assert "P2 stood at A-2, not the pump that is written" in " ".join(records.log.frame()["what"])


SWAP = "pump_id,moved_on,location,state\nP1,2021-05-01,,in_store\nP2,2021-05-01,A-1,in_service\n"


def test_work_on_the_day_of_a_swap_is_for_the_pump_that_left(write_plant):
    rebuilds = (
        "rebuild_id,pump_id,location,opened_on,reason\n"
        "R1,,A-1,2021-04-30,breakdown\nR2,,A-1,2021-05-01,breakdown\n"
        "R3,,A-1,2021-05-02,breakdown\nR4,P2,A-1,2021-05-01,breakdown\n"
        "R5,P1,A-1,2021-05-01,planned\n"
    )
    issued = "issued_on,item,quantity,location\n2021-05-01,FK,1,A-1\n2021-05-02,FK,1,A-1\n"
    readings = "location,read_on,reading\nA-1,2021-05-01,5\n"
    folder = write_plant(moves=SWAP, rebuilds=rebuilds, issued=issued, readings=readings)
    records = read_records(folder)
    assert list(records.table("rebuilds")["pump_id"]) == ["P1", "P1", "P2", "P2", "P1"]
    assert list(records.table("issued")["pump_id"]) == ["P1", "P2"]
    assert list(records.table("readings")["pump_id"]) == ["P2"]
    audit = records.log.frame()
    told = audit[audit["rule"].eq("swap_day")]
    assert told[["table", "row", "pump_id"]].to_numpy().tolist() == [
        ["rebuilds", 3, "P1"],
        ["issued", 2, "P1"],
    ]
    assert "P1 left A-1 that day" in told["what"].iloc[0]
    assert "location_differs" not in set(audit["rule"])


def test_work_on_the_day_of_a_retirement_is_for_the_pump_that_was_retired(write_plant):
    pumps = (
        "pump_id,site,service,location,commissioned_on,retired_on,use_per_week\n"
        "P1,north,slip,A-1,2019-05-01,2021-05-01,70\nP2,north,slip,A-1,2021-05-01,,70\n"
    )
    rebuilds = (
        "rebuild_id,location,opened_on,reason\nR1,A-1,2021-04-30,breakdown\n"
        "R2,A-1,2021-05-01,breakdown\nR3,A-1,2021-05-02,breakdown\n"
    )
    records = read_records(write_plant(pumps=pumps, rebuilds=rebuilds, readings=None))
    assert list(records.table("rebuilds")["pump_id"]) == ["P1", "P1", "P2"]


def test_work_of_the_day_of_a_move_counts_in_the_duty_that_it_ended(duty):
    day = _day("2021-09-01")
    rows = duty.worked_at([0, 0], [day, day + 1.0])
    assert list(duty.stints.iloc[rows]["service"]) == ["slip", "glaze"]
