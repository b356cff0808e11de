"""Dated events through a whole study: a split kept, a shock set aside, both on the page."""

from dataclasses import replace

import pandas as pd
import pytest
from python_calamine import CalamineWorkbook

from pumplife.fits.alike.likeness import say_differences
from pumplife.fits.alike.question import NO
from pumplife.records.audit import AuditLog
from pumplife.report.write import write_study
from pumplife.study import run_study

from ..plants import on_day, small_plant

NUMBER, SHOCK, CHANGE = 14, 300, 365
EVENTS = [
    {"happened_on": on_day(CHANGE), "what": "air dryer", "kind": "lasting", "service": "slip"},
    {"happened_on": on_day(SHOCK), "what": "water hammer", "kind": "shock", "site": "works"},
]


def breakdowns():
    """Every 40 days or so before the change, every 110 or so since; nine pumps at the shock."""
    rows = []
    for pump in range(NUMBER):
        early = range(20 + 2 * pump, SHOCK - 5, 36 + pump)
        late = range(CHANGE + 60 + 3 * pump, 725, 100 + 2 * pump)
        hit = [SHOCK + pump % 2] if pump < 9 else []
        for day in (*early, *hit, *late):
            rows.append({"rebuild_id": f"R-{pump}-{day}", "pump_id": f"P-{pump}",
                         "opened_on": on_day(day), "reason": "breakdown", "kit": "FK",
                         "failed_part": "diaphragm", "failure_mode": "cut"})  # fmt: skip
    return sorted(rows, key=lambda row: row["opened_on"])


@pytest.fixture(scope="module")
def study(tmp_path_factory):
    same = {"site": "works", "service": "slip", "size_mm": 50, "fluid_kit": "FK", "hazard": "none"}
    same |= {"use_per_week": 70, "commissioned_on": on_day(0)}
    pumps = [{"pump_id": f"P-{pump}", **same} for pump in range(NUMBER)]
    tables = {"pumps": pumps, "rebuilds": breakdowns(), "events": EVENTS}
    folder = tmp_path_factory.mktemp("events")
    return run_study(small_plant(folder, readings=None, findings=None, **tables))


def test_todays_fit_rests_on_the_lives_since_the_change(study):
    table = study.fits.table
    wanted = (table["part"] == "diaphragm") & (table["mode"] == "")
    rows = table[wanted].set_index("period")
    assert set(rows.index) == {"", f"before {on_day(CHANGE)}"}
    assert rows.loc["", "scale"] > 1.5 * rows.loc[f"before {on_day(CHANGE)}", "scale"]
    assert "lives before" in rows.loc[f"before {on_day(CHANGE)}", "verdict"]
    found = study.fits.find("slip", 50.0, "diaphragm", "CR", "")
    assert table.loc[found, "period"] == ""
    behind = study.fits.table.iloc[sorted(set(study.advice.groups[0].fit_rows))]
    assert (behind["period"] == "").all()
    assert (behind["mode"] == "").all()


def test_other_readings_are_split_at_the_same_day(study):
    """All usage is assumed, so 20 % less of it is every life 20 % shorter and nothing else."""
    table = study.tables["sensitivity"]
    rows = table[(table["side"] == "fluid") & table["change"].str.contains("assumed usage")]
    assert rows["scale_ratio"].tolist() == pytest.approx([0.8, 1.2], rel=1e-6)
    assert rows["shape_ratio"].tolist() == pytest.approx([1.0, 1.0], rel=1e-6)
    lives = study.tables["lives"]
    today = (lives["part"] == "diaphragm") & (lives["period"] == "")
    assert rows["lives_used"].tolist() == [today.sum()] * 2


def test_the_split_is_said(study):
    audit = study.tables["audit"]
    said = audit[audit["rule"] == "lives_changed"]
    assert len(said) == 1
    assert "air dryer" in said["what"].iloc[0]
    likeness = study.tables["likeness"]
    asked = likeness[likeness["question"] == "dated events"].set_index("part")
    assert asked.loc["diaphragm", "alike"] == "differ"
    assert asked.loc["ball", "alike"] == "too few to tell"


def test_shock_failures_are_no_wear_and_stay_demand(study):
    at_shock = study.tables["lives"].query("shock == 'water hammer'")
    assert (at_shock["outcome"] == "suspended").all()
    shocks = study.tables["shocks"]
    assert shocks["failures"].tolist() == [9.0]
    assert shocks["per_year"].iloc[0] == pytest.approx(9 / (730 / 365.25))
    failed = study.tables["lives"]["outcome"].str.startswith("failed").sum()
    assert failed == len(breakdowns()) - 9


def test_page_and_workbook_show_what_is_unlike(study, tmp_path):
    out = write_study(study, tmp_path / "out")
    page = (out / "report.html").read_text(encoding="utf-8")
    assert "Are lives that are fitted together alike" in page
    assert "Pumps among their peers" in page
    assert "air dryer" in page
    book = CalamineWorkbook.from_path(str(out / "study.xlsx"))
    assert {"pumps", "likeness", "shocks"} <= set(book.sheet_names)
    book.close()
    assert pd.read_csv(out / "tables" / "pumps.csv")["pump_id"].is_unique


def test_each_kind_of_difference_is_a_row_of_the_audit(study):
    kinds = {
        "positions": "unlike_positions", "calendar time": "unlike_calendar_time",
        "pumps": "unlike_pumps", "lots": "unlike_lots", "crews": "unlike_crews",
    }  # fmt: skip
    found = pd.DataFrame({"question": list(kinds), "alike": NO, "verdict": "They differ."})
    log = AuditLog()
    say_differences(replace(study.records, log=log), found)
    assert log.frame()["rule"].tolist() == list(kinds.values())
    assert log.frame()[["consequence", "remedy"]].ne("").all(axis=None)
