"""Rebuild tickets that came back: one order each, once, with what was looked at."""

import numpy as np
import pandas as pd
import pytest

from pumplife.lives.build import build_lives
from pumplife.records.cut import cut_records
from pumplife.records.duty import build_duty
from pumplife.records.read import read_records, read_written
from pumplife.records.usage import build_clock

from ..plants import on_day, small_plant

HEAD = (
    "ticket_id,pump_id,done_on,reason,done,kit,lot,meter,labour_h,downtime_h,released,part,"
    "position,action,grade,saved_at\n"
)
DAY = 650.0
NUMBER = "P-1-F-20211012"
POSITIONS = [
    ("diaphragm", "left", "renewed", "3"),
    ("diaphragm", "right", "renewed", "1"),
    ("ball", "suction_left", "kept", "1"),
    ("ball", "suction_right", "kept", "0"),
    ("ball", "discharge_left", "", ""),
    ("ball", "discharge_right", "", "2"),
]


def ticket(positions=POSITIONS, *, reason="planned", number=NUMBER, hours="3.5", saved="t1"):
    order = f"{number},P-1,{on_day(DAY)},{reason},yes,FK,2021Q1,6480,{hours},2,none"
    return HEAD + "".join(f"{order},{','.join(cells)},{saved}\n" for cells in positions)


def read(folder, **files):
    for name, text in files.items():
        (folder / f"{name.replace('__', '-')}.csv").write_text(text, encoding="utf-8")
    return read_records(folder)


@pytest.fixture
def folder(tmp_path):
    return small_plant(tmp_path)


def rules(records):
    return set(records.log.frame()["rule"])


def test_a_ticket_becomes_one_order_with_its_findings(folder):
    before = read_records(folder)
    records = read(folder, **{f"returned__{NUMBER}": ticket()})
    order = records.table("rebuilds").iloc[len(before.table("rebuilds")) :]
    assert len(order) == 1
    told = order.iloc[0]
    assert (told["rebuild_id"], told["ticket_id"]) == (NUMBER, NUMBER)
    assert (told["reason"], told["kit"], told["lot"]) == ("planned", "FK", "2021Q1")
    assert (told["meter"], told["labour_h"], told["downtime_h"]) == (6480.0, 3.5, 2.0)
    assert told["file"] == f"returned-{NUMBER}.csv"
    found = records.table("findings").query("rebuild_id == @NUMBER")
    found = found.set_index(["part", "position"])
    assert found["found"].to_dict() == {
        ("diaphragm", "left"): "worn",
        ("diaphragm", "right"): "sound",
        ("ball", "suction_left"): "sound",
        ("ball", "suction_right"): "sound",
        ("ball", "discharge_right"): "sound",
    }
    assert found.loc[("ball", "discharge_right"), "action"] == "kept"
    assert not rules(records) & {"ticket_twice", "ticket_contradicts", "unknown_file"}
    assert records.aside["rebuilds"] == before.aside["rebuilds"]
    assert records.aside["returned"] == 0


def test_kept_balls_live_on_and_those_not_looked_at_follow_the_kit(folder):
    records = read(folder, returned=ticket())
    duty = build_duty(records)
    lives = build_lives(records, duty, build_clock(records, duty))
    now = lives.now[lives.now["pump_id"].eq("P-1")].set_index(["part", "position"])["age"]
    since_kit, since_ticket = 10.0 * (730 - 600), 10.0 * (730 - DAY)
    assert now["ball", "suction_left"] == pytest.approx(since_kit, abs=15.0)
    assert now["ball", "discharge_right"] == pytest.approx(since_kit, abs=15.0)
    assert now["ball", "discharge_left"] == pytest.approx(since_ticket, abs=15.0)
    assert now["diaphragm", "left"] == pytest.approx(since_ticket, abs=15.0)


def test_twice_is_once_and_of_two_that_differ_the_later_counts(folder):
    once = read(folder, returned__a=ticket()).table("rebuilds")
    again = read(folder, returned__b=ticket())
    assert len(again.table("rebuilds")) == len(once)
    told = again.log.frame().query("rule == 'ticket_twice'")
    assert told["severity"].tolist() == ["note"]
    corrected = read(folder, returned__b=ticket(hours="4.5", saved="t2"))
    assert corrected.table("rebuilds")["labour_h"].iloc[-1] == 4.5
    told = corrected.log.frame().query("rule == 'ticket_twice'")
    assert told["severity"].tolist() == ["caution"]
    assert "differ" in told["what"].iloc[0]


def test_an_unfilled_copy_never_beats_the_filled_one(folder):
    """A new study's empty sheet lies beside last month's, filled and saved under another name."""
    bare = [(part, position, "renewed", "") for part, position, *_ in POSITIONS]
    blank = (
        ticket(bare, saved="").replace(f",{on_day(DAY)},", ",,").replace(",6480,3.5,2,none", ",,,,")
    )
    records = read(folder, returned=blank, returned__KW12=ticket(saved=""))
    order = records.table("rebuilds").iloc[-1]
    assert (order["labour_h"], order["file"]) == (3.5, "returned-KW12.csv")
    assert f"{order['opened_on']:%Y-%m-%d}" == on_day(DAY)
    assert not rules(records) & {"ticket_twice", "ticket_open", "ticket_undated"}


def test_marks_without_a_day_are_named(folder):
    records = read(folder, returned=ticket().replace(f",{on_day(DAY)},", ",,"))
    audit = records.log.frame().set_index("rule")
    assert "no done_on" in audit.loc["ticket_undated", "what"]
    assert audit.loc["ticket_undated", "row"] == 2
    assert NUMBER not in set(records.table("rebuilds")["rebuild_id"])


def test_a_sheet_filled_on_its_first_line_keeps_its_other_lines(folder):
    head, first, *others = ticket(saved="t9").splitlines()
    blank = ",".join([NUMBER, "P-1", "", "planned", "", "FK", *[""] * 5])
    lines = [f"{blank},{','.join(cells)}," for cells in POSITIONS[1:]]
    records = read(folder, returned="\n".join([head, first, *lines]) + "\n")
    assert len(others) == len(lines)
    assert len(records.table("findings").query("rebuild_id == @NUMBER")) == 5
    assert "ticket_twice" not in rules(records)
    then = cut_records(read_written(folder), pd.Timestamp(on_day(DAY + 1)))
    assert len(then.table("findings").query("rebuild_id == @NUMBER")) == 5


def test_two_breakdowns_under_one_number_are_two_orders(folder):
    """A side that runs to failure is numbered by the day on which the records end."""
    second = ticket(reason="breakdown", saved="t2").replace(on_day(DAY), on_day(DAY + 40))
    records = read(folder, returned__a=ticket(reason="breakdown"), returned__b=second)
    orders = records.table("rebuilds").set_index("rebuild_id")["opened_on"]
    assert f"{orders[NUMBER]:%Y-%m-%d}" == on_day(DAY)
    assert f"{orders[NUMBER + '-2']:%Y-%m-%d}" == on_day(DAY + 40)
    counts = records.table("findings")["rebuild_id"].value_counts()
    assert (counts[NUMBER], counts[NUMBER + "-2"]) == (5, 5)
    assert "two jobs" in records.log.frame().set_index("rule").loc["ticket_reused", "consequence"]
    moved = second.replace(on_day(DAY + 40), on_day(DAY + 2))
    records = read(folder, returned__b=moved)
    order = records.table("rebuilds").iloc[-1]
    assert f"{order['opened_on']:%Y-%m-%d}" == on_day(DAY + 2)
    assert "ticket_reused" not in rules(records)


def test_of_two_jobs_under_one_number_one_may_stand_in_rebuilds(folder):
    path = folder / "rebuilds.csv"
    head, *lines = path.read_text().splitlines()
    cells = dict.fromkeys(head.split(","), "") | {
        "rebuild_id": NUMBER, "pump_id": "P-1", "opened_on": on_day(DAY + 41),
        "reason": "breakdown", "kit": "FK",
    }  # fmt: skip
    path.write_text("\n".join([head, *lines, ",".join(cells.values())]) + "\n")
    second = ticket(reason="breakdown", saved="t2").replace(on_day(DAY), on_day(DAY + 40))
    records = read(folder, returned__a=ticket(reason="breakdown"), returned__b=second)
    told = records.table("returned").set_index("done_on")["rebuild_id"]
    assert told[pd.Timestamp(on_day(DAY + 40))] == NUMBER
    assert told[pd.Timestamp(on_day(DAY))] != NUMBER
    assert records.table("rebuilds")["rebuild_id"].is_unique


def test_a_ticket_for_another_pump_or_side_is_named(folder):
    text = ticket().replace(",P-1,", ",P-2,")
    first, *rest = text.splitlines()[1:]
    mixed = "\n".join([HEAD.strip(), first, *(line.replace(",P-2,", ",P-1,") for line in rest)])
    records = read(folder, returned=mixed + "\n")
    told = records.log.frame().set_index("rule").loc["ticket_elsewhere", "what"]
    assert "made for pump P-1, and came back for pump P-2" in told
    findings = records.table("findings").query("rebuild_id == @NUMBER")
    assert set(findings["pump_id"]) == {"P-2"}
    air = read(folder, returned=ticket(number="P-1-A-20211012"))
    told = air.log.frame().set_index("rule").loc["ticket_elsewhere", "what"]
    assert "air side" in told
    assert "kit FK" in told


def test_a_day_that_can_be_read_in_two_ways_sets_one_ticket_aside(folder):
    odd = ticket(number="P-2-F-20211012").replace(",P-1,", ",P-2,")
    odd = odd.replace(on_day(DAY), "05.10.2021")
    records = read(folder, returned__a=ticket(), returned__b=odd)
    assert not records.fatal
    assert NUMBER in set(records.table("rebuilds")["rebuild_id"])
    told = records.log.frame().set_index("rule").loc["unreadable_date"]
    assert "day first or month first" in told["what"].iloc[0]


def test_an_order_that_the_plant_wrote_too_only_gets_the_findings(folder):
    path = folder / "rebuilds.csv"
    text = path.read_text().splitlines()
    head = text[0].split(",")
    row = dict.fromkeys(head, "") | {
        "rebuild_id": "R-9", "pump_id": "P-1", "opened_on": on_day(DAY), "reason": "planned",
        "kit": "FK",
    }  # fmt: skip
    lines = [f"{text[0]},ticket_id", *(f"{line}," for line in text[1:])]
    lines.append(",".join([*(row[name] for name in head), NUMBER.lower()]))
    path.write_text("\n".join(lines) + "\n")
    records = read(folder, returned=ticket())
    assert records.table("rebuilds")["rebuild_id"].tolist().count("R-9") == 1
    assert NUMBER not in set(records.table("rebuilds")["rebuild_id"])
    assert set(records.table("findings")["rebuild_id"]) == {"R-4", "R-9"}
    assert "ticket_known" in rules(records)


def test_one_part_failed_is_the_part_blamed(folder):
    positions = [("diaphragm", "left", "renewed", "4"), *POSITIONS[1:]]
    records = read(folder, returned=ticket(positions, reason="breakdown"))
    assert records.table("rebuilds")["failed_part"].iloc[-1] == "diaphragm"
    both = [("diaphragm", "left", "renewed", "4"), ("ball", "suction_left", "renewed", "4")]
    records = read(folder, returned=ticket(both, reason="breakdown"))
    assert records.table("rebuilds")["failed_part"].iloc[-1] == ""


def test_what_contradicts_itself_and_odd_grades_are_named(folder):
    text = ticket([*POSITIONS[:1], ("diaphragm", "right", "renewed", "7")])
    text = text.replace(",3.5,", ",9,", 1)
    records = read(folder, returned=text)
    audit = records.log.frame().set_index("rule")
    assert "labour_h" in audit.loc["ticket_contradicts", "what"]
    assert audit.loc["ticket_grade", "row"] == 3
    assert np.isnan(records.table("findings")["grade"].iloc[-1])


def test_a_ticket_for_no_pump_is_named_and_set_aside(folder):
    records = read(folder, returned=ticket().replace(",P-1,", ",P-77,"))
    audit = records.log.frame()
    assert audit["what"].str.contains("P-77").any()
    assert NUMBER not in set(records.table("rebuilds")["rebuild_id"])
