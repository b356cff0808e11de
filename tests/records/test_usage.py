"""Usage by hand: exchanged meters, rollovers, strokes, slips and stores."""

import random
import tempfile
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pumplife.records.duty import build_duty
from pumplife.records.read import read_records
from pumplife.records.usage import build_clock

START = pd.Timestamp("2021-01-01")
DAY0 = float((START - pd.Timestamp(0)).days)


def _lines(heading, *rows):
    """Write readings of P1: each row is days since START and the cells that follow."""
    text = f"pump_id,read_on,{heading}\n"
    for day, *cells in rows:
        on = START + pd.Timedelta(days=day)
        text += ",".join(["P1", f"{on:%Y-%m-%d}", *(str(cell) for cell in cells)]) + "\n"
    return text


@pytest.fixture
def clock_of(write_plant):
    """Give a function that reads a plant and builds its clock."""

    def build(**changed):
        records = read_records(write_plant(**changed))
        return build_clock(records, build_duty(records)), records

    return build


def _gain(clock, first, last, pump=0):
    run = clock.usage(pump, np.array([DAY0 + first, DAY0 + last]))
    return float(run[1] - run[0])


def _rule(records, rule):
    audit = records.log.frame()
    return audit[audit["rule"].eq(rule)]


def test_usage_runs_straight_between_readings_and_on_beyond_them(clock_of):
    clock, _ = clock_of(readings=_lines("reading", (0, 1000), (100, 2000), (200, 2500)))
    assert _gain(clock, 0, 50) == pytest.approx(500)
    assert _gain(clock, 50, 150) == pytest.approx(750)
    assert clock.rate[0] == pytest.approx(7.5)
    assert _gain(clock, 200, 300) == pytest.approx(750)
    assert _gain(clock, -100, 0) == pytest.approx(750)


def test_only_the_last_year_tells_the_rate(clock_of):
    clock, _ = clock_of(readings=_lines("reading", (0, 0), (365, 3650), (730, 3650 + 730)))
    assert clock.rate[0] == pytest.approx(2.0)
    assert clock.first_rate[0] == pytest.approx(10.0)


def test_an_exchanged_meter_is_joined(clock_of):
    readings = _lines("reading,new_meter_start", (0, 100, ""), (10, 200, 5), (20, 55, ""))
    clock, records = clock_of(readings=readings)
    assert _gain(clock, 0, 20) == pytest.approx(150)
    assert _rule(records, "unrecorded_exchange").empty


def test_a_meter_noted_on_a_ticket_counts_but_not_on_the_day_of_an_exchange(clock_of):
    rebuilds = (
        "rebuild_id,pump_id,opened_on,reason,meter\n"
        "R1,P1,2021-01-11,breakdown,5\nR2,P1,2021-01-31,planned,205\n"
    )
    readings = _lines("reading,new_meter_start", (0, 100, ""), (10, 200, 5), (20, 55, ""))
    clock, records = clock_of(readings=readings, rebuilds=rebuilds)
    assert _gain(clock, 10, 20) == pytest.approx(50)
    assert _gain(clock, 20, 30) == pytest.approx(150)
    assert set(records.log.frame()["severity"]) == {"note"}


def test_a_rollover_is_joined_when_the_rate_is_usual(clock_of):
    rows = [(10 * i, (9700 + 100 * i) % 10000, 4) for i in range(8)]
    clock, records = clock_of(readings=_lines("reading,digits", *rows))
    assert _gain(clock, 0, 70) == pytest.approx(700)
    assert list(_rule(records, "rollover")["severity"]) == ["note"]
    assert list(_rule(records, "rollover")["row"]) == [5]


def test_without_digits_a_restart_is_bridged_with_a_caution(clock_of):
    rows = [(10 * i, (9700 + 100 * i) % 10000) for i in range(8)]
    clock, records = clock_of(readings=_lines("reading", *rows))
    assert _gain(clock, 0, 70) == pytest.approx(700)
    row = _rule(records, "unrecorded_exchange").iloc[0]
    assert row["severity"] == "caution"
    assert "runs backward" in row["what"]
    assert row["row"] == 5
    assert clock.graded(0, DAY0 + 20, DAY0 + 30) == "assumed"
    assert clock.graded(0, DAY0 + 30, DAY0 + 40) == "measured"


def test_a_new_meter_number_without_a_start_is_bridged(clock_of):
    rows = [(0, 100, "a"), (10, 200, "a"), (20, 220, "b"), (30, 320, "b")]
    clock, records = clock_of(readings=_lines("reading,meter_id", *rows))
    assert _gain(clock, 10, 20) == pytest.approx(100)
    assert "another one than before" in _rule(records, "unrecorded_exchange")["what"].iloc[0]


def test_a_slip_is_set_aside_and_named(clock_of):
    rows = [(0, 100), (10, 200), (20, 3000), (30, 400), (40, 500), (50, 60), (60, 700)]
    clock, records = clock_of(readings=_lines("reading", *rows))
    assert _gain(clock, 0, 60) == pytest.approx(600)
    assert _gain(clock, 10, 20) == pytest.approx(100)
    slips = _rule(records, "meter_slip")
    assert list(slips["row"]) == [4, 7]
    assert slips["consequence"].eq("The reading is set aside.").all()


def test_more_hours_than_a_day_has_are_bridged(clock_of):
    rows = [(0, 0), (10, 100), (20, 200), (30, 2200), (40, 2300)]
    clock, records = clock_of(readings=_lines("reading", *rows))
    assert _gain(clock, 0, 40) == pytest.approx(400)
    assert list(_rule(records, "impossible_rate")["row"]) == [5]


def test_round_the_clock_running_is_possible(clock_of):
    clock, records = clock_of(readings=_lines("reading", (0, 0), (1, 48), (8, 216), (15, 384)))
    assert _gain(clock, 0, 15) == pytest.approx(384)
    assert _rule(records, "impossible_rate").empty


def _unit_plant(small_settings, usage_unit):
    return small_settings.replace('usage_unit = "hours"', f'usage_unit = "{usage_unit}"')


@pytest.mark.parametrize(
    ("usage_unit", "cells", "gain"),
    [
        ("cycles", "cycles,", 1000.0),
        ("cycles", "strokes,", 500.0),
        ("cycles", "strokes,10", 5000.0),
        ("cycles", "hours,", 1000.0 * 1200.0),
        ("hours", "cycles,", 1000.0 / 1200.0),
        ("hours", "strokes,", 1000.0 / 2400.0),
        ("hours", "hours,0.1", 100.0),
    ],
)
def test_meters_are_turned_into_usage_units(clock_of, small_settings, usage_unit, cells, gain):
    pumps = "pump_id,site,service,cycles_per_h\nP1,north,slip,1200\n"
    rebuilds = "rebuild_id,pump_id,opened_on,reason\nR1,P1,2021-03-04,breakdown\n"
    readings = _lines("reading,unit,multiplier", (0, 500, cells), (100, 1500, cells))
    clock, _ = clock_of(
        settings=_unit_plant(small_settings, usage_unit),
        pumps=pumps,
        rebuilds=rebuilds,
        readings=readings,
    )
    assert _gain(clock, 0, 100) == pytest.approx(gain)


def test_a_counter_that_cannot_be_joined_to_hours_is_not_used(clock_of):
    readings = _lines("reading,unit", (0, 500, "cycles"), (100, 90000, "cycles"))
    clock, records = clock_of(readings=readings)
    assert _gain(clock, 0, 7) == pytest.approx(70)
    row = _rule(records, "meter_unit").iloc[0]
    assert "2 readings are in cycles, usage is in hours" in row["what"]
    assert "cycles_per_h" in row["remedy"]


def test_a_counter_at_double_the_usual_use_is_a_question(clock_of):
    readings = _lines("reading", (0, 0), (350, 7000))
    _, records = clock_of(
        readings=readings.replace("reading\n", "reading,unit\n").replace("0\n", "0,cycles\n"),
        pumps="pump_id,site,service,use_per_week,cycles_per_h\nP1,north,slip,70,1\n",
        rebuilds="rebuild_id,pump_id,opened_on,reason\nR1,P1,2021-03-04,breakdown\n",
    )
    assert "2.00 times use_per_week: half or double?" in " ".join(records.log.frame()["what"])


def test_calendar_days_count_days_in_service(clock_of, small_settings):
    moves = "pump_id,moved_on,state\nP1,2021-01-11,in_store\nP1,2021-01-31,in_service\n"
    clock, records = clock_of(settings=_unit_plant(small_settings, "days"), moves=moves)
    assert _gain(clock, 0, 40) == pytest.approx(20)
    assert clock.graded(0, DAY0, DAY0 + 40) == "measured"
    assert len(_rule(records, "calendar_usage")) == 1


def test_no_usage_passes_in_store(clock_of):
    moves = "pump_id,moved_on,state\nP1,2021-02-10,in_store\nP1,2021-03-12,in_service\n"
    readings = _lines("reading", (0, 0), (30, 300), (80, 500))
    clock, _ = clock_of(readings=readings, moves=moves)
    assert _gain(clock, 40, 70) == pytest.approx(0)
    assert _gain(clock, 30, 40) == pytest.approx(100)
    assert _gain(clock, 70, 80) == pytest.approx(100)


def test_no_usage_passes_before_commissioning_or_after_retirement(clock_of):
    pumps = (
        "pump_id,site,service,commissioned_on,retired_on,use_per_week\n"
        "P1,north,slip,2021-01-11,2021-01-20,70\n"
    )
    rebuilds = "rebuild_id,pump_id,opened_on,reason\nR1,P1,2021-01-14,breakdown\n"
    clock, _ = clock_of(pumps=pumps, rebuilds=rebuilds, readings=None)
    assert _gain(clock, -1000, 1000) == pytest.approx(100)
    assert _gain(clock, 10, 20) == pytest.approx(100)


def test_without_readings_use_per_week_stands_in_as_assumed(clock_of):
    clock, records = clock_of(readings=None)
    assert _gain(clock, 0, 70) == pytest.approx(700)
    assert clock.graded(0, DAY0, DAY0 + 70) == "assumed"
    assert clock.known.all()
    assert len(_rule(records, "no_readings")) == 1


def test_without_anything_the_usage_is_unknown_and_says_so(clock_of):
    pumps = "pump_id,site,service,use_per_week\nP1,north,slip,70\nP2,north,slip,\n"
    rebuilds = "rebuild_id,pump_id,opened_on,reason\nR1,P1,2021-01-14,breakdown\n"
    clock, records = clock_of(pumps=pumps, rebuilds=rebuilds, readings=None)
    assert list(clock.known) == [True, False]
    assert np.isnan(clock.usage(1, DAY0))
    assert list(_rule(records, "usage_unknown")["pump_id"]) == ["P2"]


def test_grades_follow_the_share_of_days_covered(clock_of):
    clock, _ = clock_of(readings=_lines("reading", (0, 0), (100, 1000)))
    end = DAY0 + np.array([100.0, 110.0, 120.0, 200.0, 300.0])
    graded = clock.graded(0, DAY0, end)
    assert list(graded) == ["measured", "measured", "partly", "partly", "assumed"]
    assert clock.graded(0, DAY0 + 50, DAY0 + 50) == "measured"
    assert clock.graded(0, DAY0 + 500, DAY0 + 500) == "assumed"
    assert clock.graded(1, DAY0, DAY0 + 50) == "assumed"


def test_readings_after_the_window_are_not_used(clock_of):
    clock, records = clock_of(readings=_lines("reading", (0, 0), (100, 1000), (1500, 99999)))
    assert _gain(clock, 100, 200) == pytest.approx(1000)
    assert len(_rule(records, "late_reading")) == 1


_STEPS = st.lists(
    st.tuples(st.integers(0, 40), st.integers(-50, 900), st.booleans()), min_size=2, max_size=25
)


def _meter_lines(steps):
    """What was read at one meter: day, reading, start of a new meter."""
    day, reading, lines = 0, 500, []
    for width, gain, exchanged in steps:
        day, reading = day + width, max(reading + gain, 0)
        on = START + pd.Timedelta(days=day)
        lines.append(f"{on:%Y-%m-%d},{reading},{10 if exchanged else ''}")
        reading = 10 if exchanged else reading
    return lines


@settings(max_examples=10, deadline=None)
@given(meters=st.lists(_STEPS, min_size=1, max_size=5), seed=st.integers(0, 1000))
def test_usage_never_falls_and_row_order_does_not_matter(meters, seed):
    """Each meter is that of two pumps: the rows of one as they came, of the other shuffled."""
    each = [_meter_lines(steps) for steps in meters]
    shuffled = [random.Random(seed).sample(lines, len(lines)) for lines in each]
    rows = [f"P{pump},{line}" for pump, lines in enumerate(each + shuffled) for line in lines]
    pumps = range(2 * len(each))
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "plant.toml").write_text("[plant]\nrecords_to = 2025-12-31\n")
        listed = "".join(f"P{pump},a,b,70\n" for pump in pumps)
        (folder / "pumps.csv").write_text("pump_id,site,service,use_per_week\n" + listed)
        (folder / "rebuilds.csv").write_text(
            "rebuild_id,pump_id,opened_on,reason\nR1,P1,2021-03-04,planned\n"
        )
        text = "pump_id,read_on,reading,new_meter_start\n" + "\n".join(rows)
        (folder / "readings.csv").write_text(text)
        records = read_records(folder)
    clock = build_clock(records, build_duty(records))
    days = DAY0 + np.arange(-50.0, 1100.0, 0.5)
    usage = np.array([clock.usage(pump, days) for pump in pumps])
    assert np.all(np.diff(usage) >= -1e-9)
    np.testing.assert_allclose(usage[: len(each)], usage[len(each) :])
