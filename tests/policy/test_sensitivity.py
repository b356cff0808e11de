"""What a change of reading does to the answer, on plants where it can be told by hand."""

import numpy as np
import pandas as pd
import pytest

from pumplife.policy import sensitivity
from pumplife.study import run_study
from tests.plants import finding_rows, on_day, rebuild_rows, small_plant

RENEWED = "every kit renewed all it holds, whatever findings say"


def more_tickets() -> list[dict]:
    """The small plant's tickets and eight more breakdowns of P-3, so that something is fitted."""
    same = {"pump_id": "P-3", "reason": "breakdown", "kit": "FK", "failed_part": "diaphragm"}
    days = (440, 490, 520, 570, 610, 650, 680, 720)
    rows = [same | {"rebuild_id": f"N-{day}", "opened_on": on_day(day)} for day in days]
    return [*rebuild_rows(), *rows]


def test_usage_that_is_all_assumed_scales_the_answer_and_not_the_calendar(tmp_path):
    plant = small_plant(tmp_path / "plant", readings=None, rebuilds=more_tickets())
    table = run_study(plant, results=["sensitivity"]).tables["sensitivity"]
    for way, factor in (("lower", 0.8), ("higher", 1.2)):
        mine = table[(table["change"] == f"assumed usage 20 % {way}") & (table["side"] == "fluid")]
        (row,) = mine.to_dict("records")
        assert row["main_part"] == "diaphragm"
        assert row["scale_ratio"] == pytest.approx(factor, rel=1e-6)
        assert row["shape_ratio"] == pytest.approx(1.0, abs=1e-6)
        if np.isfinite(row["interval_as_is"]):
            assert row["interval"] == pytest.approx(factor * row["interval_as_is"], rel=0.01)
            assert row["interval_weeks"] == pytest.approx(row["weeks_as_is"], rel=0.01)
    note = table.loc[table["change"] == "lives of measured usage only", "note"]
    assert list(note) == ["No life is of measured usage."]


def test_what_has_nothing_to_act_on_says_so(tmp_path):
    days = range(0, 731, 50)
    readings = pd.DataFrame(
        [
            {"pump_id": pump, "read_on": on_day(day), "reading": 10 * day}
            for pump in ("P-1", "P-2", "P-3")
            for day in days
        ]
    )
    table = run_study(
        small_plant(tmp_path / "plant", readings=readings), results=["sensitivity"]
    ).tables["sensitivity"]
    notes = table[table["service"] == ""].set_index("change")["note"].to_dict()
    assert notes["assumed usage 20 % lower or higher"] == "No usage is assumed."
    assert notes[RENEWED] == "No finding says that a part of a fitted kit was kept."


def test_kept_parts_taken_as_renewed_end_two_lives_more(tmp_path):
    kept = {"rebuild_id": "R-5", "pump_id": "P-3", "part": "diaphragm", "found": "sound"}
    findings = [*finding_rows(), kept | {"rebuild_id": "N-490", "action": "kept"}]
    tickets = more_tickets()
    tickets[6] |= {"failed_part": "ball"}  # N-490: the diaphragms were looked at and kept
    plant = small_plant(tmp_path / "plant", findings=findings, rebuilds=tickets)
    study = run_study(plant, results=["sensitivity"])
    table = study.tables["sensitivity"]
    (row,) = table[(table["change"] == RENEWED) & (table["side"] == "fluid")].to_dict("records")
    assert row["main_part"] == "diaphragm"
    assert row["lives_used"] == (study.tables["lives"]["part"] == "diaphragm").sum() + 2
    assert row["scale_ratio"] != pytest.approx(1.0, abs=1e-3)


def test_a_plant_with_too_many_lives_is_told_so(tmp_path, monkeypatch):
    monkeypatch.setattr(sensitivity, "MOST_LIVES", 3)
    table = run_study(small_plant(tmp_path / "plant"), results=["sensitivity"]).tables[
        "sensitivity"
    ]
    assert list(table["note"]) == ["Not tried: the plant has more than 3 lives."]
