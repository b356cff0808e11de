"""Rebuild tickets that came back: one order each, once, with what was looked at."""

import numpy as np
import pytest

from pumplife.lives.build import build_lives
from pumplife.records.duty import build_duty
from pumplife.records.read import read_records
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
