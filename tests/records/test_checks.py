"""Contradictions in the records, each with its words."""

import tempfile
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pumplife.errors import SettingError
from pumplife.records.duty import build_duty
from pumplife.records.read import read_records
from pumplife.records.usage import build_clock

SETTINGS = "[plant]\nrecords_from = 2020-01-01\nrecords_to = 2023-12-31\n[costs]\nspill = 1.0\n"
TABLES = {
    "pumps": "pump_id,site,service,location,fluid_kit,commissioned_on,use_per_week\n"
    "P1,north,slip,A-1,FK,2019-05-01,70\nP2,north,slip,A-2,FK,2018-01-01,70\n",
    "rebuilds": "rebuild_id,pump_id,opened_on,reason,kit,failed_part,meter,labour_h\n"
    "R1,P1,2020-03-04,breakdown,FK,diaphragm,,4.5\nR2,P2,2021-06-07,planned,FK,none,9,3\n",
    "readings": "pump_id,location,read_on,reading,new_meter_start,meter_id,digits\n"
    "P1,,2020-01-01,1000,,,\nP1,,2021-01-01,4660,5,a,5\nP1,,2022-01-01,8310,,b,5\n",
    "kits": "kit,side,size_mm,material,unit_cost,valid_from\nFK,fluid,50,NBR,180,\n",
    "parts": "part_no,part,side,wears,material,per_pump,unit_cost\n"
    "D,diaphragm,fluid,yes,NBR,2,40\nB,ball,fluid,yes,NBR,4,10\n",
    "moves": "pump_id,moved_on,location,state\nP1,2021-05-01,,in_store\nP2,2021-06-01,A-1,\n",
}


def _words(records, rule):
    audit = records.log.frame()
    return list(audit.loc[audit["rule"].eq(rule), "what"])


def test_orders_that_contradict_themselves_are_kept_and_named(write_plant):
    rebuilds = (
        "rebuild_id,pump_id,opened_on,happened_on,closed_on,reason,downtime_h,waited_h\n"
        "R1,P1,2020-03-04,,2020-03-01,breakdown,,\n"
        "R2,P1,2020-04-04,2020-05-01,2020-04-05,breakdown,,\n"
        "R3,P1,2020-06-04,,,breakdown,5,6\n"
        "R4,P3,2020-06-04,,,planned,,\n"
    )
    records = read_records(write_plant(rebuilds=rebuilds))
    assert len(records.table("rebuilds")) == 4
    assert _words(records, "closed_early") == ["The order was closed before it was opened."]
    assert len(_words(records, "happened_late")) == 1
    assert len(_words(records, "waited_long")) == 1


def test_orders_outside_the_pumps_service_are_left_to_the_lives(write_plant, small_tables):
    early = read_records(write_plant(pumps=small_tables["pumps"].replace("2019-05", "2021-05")))
    pumps = small_tables["pumps"].replace("commissioned_on", "retired_on")
    late = read_records(write_plant(pumps=pumps))
    for records in (early, late):
        assert len(records.table("rebuilds")) == 3
        assert set(records.log.frame()["severity"]) == {"note"}


def test_kits_that_do_not_fit_the_pump_are_named(write_plant, small_tables):
    pumps = small_tables["pumps"].replace("A-1,50,FK,AK", "A-1,80,AK,AK")
    records = read_records(write_plant(pumps=pumps))
    assert _words(records, "kit_misfit") == [
        "fluid_kit AK has another side in kits.",
        "fluid_kit AK has another size_mm in kits.",
        "air_kit AK has another size_mm in kits.",
    ]


def test_items_nobody_knows_are_named(write_plant):
    records = read_records(write_plant(on_hand="store,item,quantity\nnorth,ZZ,2\nnorth,D,2\n"))
    assert _words(records, "unknown_item") == [
        "on_hand: ZZ (1 row) is neither in kits nor in parts."
    ]


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ('[files]\nrebuild = "a.csv"', "no table has that name. Did you mean rebuilds?"),
        ('[columns.rebuilds]\n"No" = "rebild_id"', "Did you mean rebuild_id?"),
        ('[codes.rebuilds.reasn]\n"BD" = "breakdown"', "Did you mean reason?"),
        ('[codes.rebuilds.reason]\n"BD" = "brakedown"', "Did you mean breakdown?"),
        ('[dates]\norder = "european"', "must be one of day-first, month-first, year-first"),
        ('[numbers]\ndecimal = ","', "must be one of point, comma"),
    ],
)
def test_a_line_of_wording_that_cannot_be_used_is_named(write_plant, line, words):
    with pytest.raises(SettingError) as caught:
        read_records(write_plant(line))
    assert words in str(caught.value)


def test_pump_ids_that_differ_in_case_are_one_pump(write_plant, small_tables):
    pumps = small_tables["pumps"] + "p1,north,slip,A-7,50,FK,AK,,70\n"
    records = read_records(write_plant(pumps=pumps))
    assert list(records.pumps["pump_id"]) == ["P1", "P2", "P3"]
    assert (
        "Row 2 has the same pump_id, but location, commissioned_on differ"
        in _words(records, "repeated_row")[0]
    )


_WORDS = ("", "x", "none", "ü", "P1", "p1", "yes", ";", '"', "breakdown", "FK", "A-1")
_NUMBERS = ("-1", "0", "1e308", "inf", "nan", "1,5", "1.234,5", "44000")
_DATES = ("31.02.2021", "2021-01-01", "12:30")
_JUNK = st.sampled_from((*_WORDS, *_NUMBERS, *_DATES))
_SPOILS = st.lists(
    st.tuples(st.integers(0, 5), st.integers(1, 4), st.integers(0, 9), _JUNK), max_size=8
)


@settings(max_examples=30, deadline=None)
@given(spoils=_SPOILS)
def test_no_cell_however_spoilt_breaks_the_reading(spoils):
    names = sorted(TABLES)
    grids = {name: [line.split(",") for line in TABLES[name].splitlines()] for name in names}
    for table, row, column, word in spoils:
        grid = grids[names[table]]
        cells = grid[min(row, len(grid) - 1)]
        cells[column % len(cells)] = word
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "plant.toml").write_text(SETTINGS)
        for table, grid in grids.items():
            text = "\n".join(",".join(cells) for cells in grid)
            (folder / f"{table}.csv").write_text(text, encoding="utf-8")
        records = read_records(folder)
    assert records.fatal == records.log.has_stop or records.withheld
    if not records.fatal:
        clock = build_clock(records, build_duty(records))
        assert clock.usage(0, 18000.0).shape == ()
