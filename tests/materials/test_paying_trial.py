"""Records that can't tell two materials apart, where a trial would pay: from folder to page."""

import json

import matplotlib.pyplot as plt
import numpy as np
import pytest

import pumplife
from pumplife.report.face import find_table, study_units
from pumplife.report.gather_advice import draw_trials
from pumplife.report.opening import answer_materials, find_pair
from pumplife.report.page import write_page
from pumplife.report.worth_trying import list_worth_trying
from pumplife.study import run_study
from tests.materials.conftest import confirm
from tests.notebooks.test_withheld import run_cells
from tests.plants import on_day, part_rows, small_plant

PUMPS, CHANGED = 24, 3


def mostly_one_material():
    """Tables of 24 pumps whose diaphragms fail about every 1,500 h; three changed over to TPV, at
    day 600, which costs a fifth more."""
    generator = np.random.default_rng(4)
    same = {"site": "works", "service": "slip", "size_mm": 50, "use_per_week": 70}
    same |= {"hazard": "none", "commissioned_on": on_day(0)}
    pumps, tickets = [], []
    for number in range(PUMPS):
        name, changed = f"P-{number:02d}", number < CHANGED
        pumps.append({"pump_id": name, **same, "fluid_kit": "FT" if changed else "FK"})
        days = np.cumsum(170.0 * generator.weibull(2.5, 12))
        tickets += [
            {"rebuild_id": f"{name}/{place}", "pump_id": name, "opened_on": on_day(day)}
            | {"reason": "breakdown", "kit": "FT" if changed and day > 600 else "FK"}
            | {"failed_part": "diaphragm", "released": "air_side"}
            for place, day in enumerate(days[days < 729])
        ]
    tpv = [
        row | {"part_no": "T-DIAPHRAGM", "material": "TPV", "unit_cost": 72.0}
        for row in part_rows()
        if row["part"] == "diaphragm"
    ]
    kits = (("FK", "CR", 228.0, "DIAPHRAGM"), ("FT", "TPV", 252.0, "T-DIAPHRAGM"))
    return {
        "pumps": pumps,
        "rebuilds": tickets,
        "readings": None,
        "findings": None,
        "parts": [*part_rows(), *tpv],
        "kits": [
            {"kit": kit, "side": "fluid", "size_mm": 50, "material": material, "unit_cost": cost}
            for kit, material, cost, _ in kits
        ],
        "kit_contents": [
            {"kit": kit, "part_no": part, "quantity": count}
            for kit, _, _, own in kits
            for part, count in ((own, 2), ("BALL", 4), ("SEAT", 4))
        ],
        "compatibility": [confirm("TPV"), confirm("CR")],
    }


@pytest.fixture(scope="module")
def study(tmp_path_factory):
    plant = small_plant(tmp_path_factory.mktemp("plant"), **mostly_one_material())
    return run_study(plant, results=["materials"])


def test_the_trial_is_proposed_since_it_saves_more_than_it_costs(study):
    plan = study.tables["trial_plans"].iloc[0]
    assert plan["comparable"] == "confounded"
    assert plan["pays"] == "yes"
    assert plan["trial_saves"] > plan["trial_costs"] > 0.0
    assert plan["trial_saves"] < plan["most_to_save"]
    assert plan["power"] == pytest.approx(0.8, abs=0.01)
    assert plan["pumps_each"] <= PUMPS // 2
    assert plan["weeks"] == pytest.approx(plan["usage_per_pump"] / 70.0, rel=0.01)
    assert 1.0 < plan["break_even_ratio"] < plan["wanted_ratio"]
    assert "drawn by lot" in plan["why"]


def test_the_page_names_it_and_draws_it(study):
    (said,) = list_worth_trying(find_table(study, "trial_plans"), study_units(study))
    plan = study.tables["trial_plans"].iloc[0]
    assert said.startswith("Diaphragm in slip: TPV against CR, ")
    assert f"{plan['pumps_each']} pumps with each for about {plan['weeks']:.0f} weeks" in said
    assert f"pays from {plan['break_even_ratio']:.2f} times the life on" in said
    drawn = list(draw_trials(study))
    title = f"Diaphragm in slip: {plan['pumps_each']} pumps with TPV and as many with CR show "
    assert drawn[0].alt == f"{title}{plan['wanted_ratio']:g} times the life with a chance of 80 %"
    page = write_page(study, [(drawn[0], "<svg></svg>")])
    assert said in page
    plt.close("all")


def test_no_sentence_where_none_pays(study):
    plans = find_table(study, "trial_plans").assign(pays="no")
    assert list_worth_trying(plans, study_units(study)) == []
    assert list_worth_trying(plans.iloc[:0], study_units(study)) == []


def test_the_reference_is_no_comparison_of_its_own(study):
    assert answer_materials(study).startswith("0 of 1 comparison ")
    assert find_pair(study)["material"] == "TPV"


def test_the_notebook_names_it(study, monkeypatch):
    plt.switch_backend("agg")
    monkeypatch.setattr(pumplife, "run_study", lambda *given, **named: study)
    shown = run_cells("elastomers")
    *_, (printed, _) = shown.values()
    assert json.loads(printed)["first"] == "TPV"
    (said,) = list_worth_trying(find_table(study, "trial_plans"), study_units(study))
    assert any(said in words for words, _ in shown.values())
