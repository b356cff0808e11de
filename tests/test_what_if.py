"""What-if questions on one small study: unchanged they give the study's own answers, and changed
ones go where they must."""

import numpy as np
import pandas as pd
import pytest

from pumplife.errors import RecordError
from pumplife.policy.what_if import PRICES, prices_of, try_group
from pumplife.report import controls, what_if
from pumplife.report.style import read_title
from pumplife.stock.asked import count_futures
from pumplife.stock.outcome import MONEY_PARTS
from pumplife.stock.what_if import try_item, try_prices
from pumplife.study import run_study

from .plants import small_plant

KEY = ("works", "FK")


@pytest.fixture(scope="module")
def study(tmp_path_factory):
    return run_study(small_plant(tmp_path_factory.mktemp("plant")))


def money_of(budget):
    rows = budget[(budget["quantity"] == "money") & (budget["site"] == "all")]
    return rows[rows["scenario"] != "actual"].reset_index(drop=True)


def test_unchanged_prices_give_the_study_s_own_advice(study):
    row = study.tables["intervals"].iloc[0]
    tried = try_group(study.records.plant, study.advice, 0)
    assert tried.decision.interval == row["interval"]
    assert tried.saving == pytest.approx(row["saving_per_year"], rel=1e-12)
    np.testing.assert_array_equal(tried.curve.mean, study.advice.curves[0].mean)
    same = try_group(study.records.plant, study.advice, 0, **prices_of(study.advice.groups[0]))
    assert same.decision.interval == row["interval"]


def test_prices_of_a_group_are_those_of_the_plant(study):
    # plant.toml: 100 an hour of downtime, 50 of labour, 200 to clean up; the kit is listed at 200
    assert prices_of(study.advice.groups[0]) == dict(
        zip(PRICES, (100.0, 200.0, 200.0, 50.0), strict=True)
    )


def test_dearer_breakdowns_shorten_the_interval_and_a_dearer_kit_lengthens_it(study):
    plant, advice = study.records.plant, study.advice
    now = try_group(plant, advice, 0).decision.interval
    assert try_group(plant, advice, 0, clean_up=1000.0).decision.interval < now
    assert try_group(plant, advice, 0, kit_price=400.0).decision.interval > now


def test_dearer_labour_costs_its_hours(study):
    plant, advice = study.records.plant, study.advice
    one = try_group(plant, advice, 0).decision.run_to_failure
    two = try_group(plant, advice, 0, labour_per_h=80.0).decision.run_to_failure
    np.testing.assert_allclose(two.money - one.money, 30.0 * one.labour_h)
    np.testing.assert_allclose(two.cash, one.cash)


def test_a_price_by_another_name_is_refused(study):
    with pytest.raises(RecordError, match="kit_cost"):
        try_group(study.records.plant, study.advice, 0, kit_cost=1.0)


def test_an_item_at_its_own_terms_is_the_study_s_row(study):
    tried = try_item(study.stock.held, KEY)
    row = study.stock.stock.iloc[0]
    told = pd.Series(tried.row)
    pd.testing.assert_series_equal(
        told[list(row.index)].astype(object), row.astype(object), check_names=False
    )
    np.testing.assert_array_equal(tried.curve.shortage_prob, study.stock.curves[0].shortage_prob)


def test_a_longer_wait_or_a_higher_target_asks_for_more(study):
    held = study.stock.held
    now = try_item(held, KEY).row["reorder_point"]
    longer = try_item(held, KEY, lead_time=120.0).row
    assert longer["reorder_point"] > now
    assert longer["lead_time_days"] == 120.0
    assert try_item(held, KEY, service_level=0.5).row["reorder_point"] < now + 1
    assert try_item(held, KEY, service_level=0.999).row["reorder_point"] > now


def test_demand_over_a_longer_lead_time_is_counted_from_the_same_futures(study):
    asked = study.stock.held.futures
    (twice,) = count_futures(asked.of_one(KEY, lead_factor=2.0))
    needs = asked.needs
    mine = (needs.key == asked.keys.index(KEY)) & ~needs.planned
    early = mine & (needs.day <= 2.0 * asked.lead[asked.keys.index(KEY)][needs.replicate])
    by_hand = np.bincount(needs.replicate[early], minlength=asked.lead.shape[1])
    np.testing.assert_array_equal(twice.lead, by_hand)


def test_a_lead_time_beyond_the_futures_is_refused(study):
    with pytest.raises(RecordError, match="days"):
        try_item(study.stock.held, KEY, lead_time=700.0)
    with pytest.raises(RecordError, match="other"):
        try_item(study.stock.held, ("works", "other"))


def test_the_budget_at_its_own_prices_is_the_study_s(study):
    told = money_of(try_prices(study.budget, {}))
    columns = ["p50", "p80", "p90", "mean"]
    pd.testing.assert_frame_equal(told[columns], money_of(study.tables["budget"])[columns])
    assert told["scenario"].to_list() == money_of(study.tables["budget"])["scenario"].to_list()


def test_the_budget_is_linear_in_its_prices(study):
    now = money_of(study.tables["budget"])
    double = money_of(try_prices(study.budget, dict.fromkeys(MONEY_PARTS, 2.0)))
    np.testing.assert_allclose(double["p90"], 2.0 * now["p90"])
    without = money_of(try_prices(study.budget, {"downtime": 0.0}))
    lost = study.tables["budget"].query("quantity == 'downtime' and site == 'all'")
    lost = lost[lost["scenario"] != "actual"]
    np.testing.assert_allclose(without["mean"], now["mean"] - lost["mean"].to_numpy())
    with pytest.raises(RecordError, match="kits"):
        try_prices(study.budget, {"kits": 1.0})


def test_costs_given_with_the_call_stand_in_and_the_audit_says_so(tmp_path):
    folder = small_plant(tmp_path)
    text = (folder / "plant.toml").read_text(encoding="utf-8")
    called = run_study(folder, costs={"downtime_per_h": 300.0}, results=())
    other = text.replace("downtime_per_h = 100.0", "downtime_per_h = 300.0")
    written = run_study(small_plant(tmp_path / "other", plant_toml=other), results=())
    pd.testing.assert_frame_equal(called.tables["intervals"], written.tables["intervals"])
    note = called.tables["audit"].query("rule == 'costs_given'")
    assert note["what"].str.contains("downtime_per_h").all()
    assert len(note) == 1


@pytest.fixture
def widgets():
    return pytest.importorskip("ipywidgets")


def test_sliders_draw_anew_what_the_study_has_no_answer_to_is_said(widgets):
    seen = []

    def draw(**moved):
        seen.append(moved)
        if moved["price"] > 9.0:
            raise RecordError("too dear")
        axes = controls.style.new_axes()
        axes.set_title(f"at {moved['price']:g}", loc="left")
        controls.style.say(axes, f"at {moved['price']:g}")
        return axes

    shown = controls.offer(draw, [controls.around("price", "A price [EUR]", 5.0)])
    slider, picture, message = shown.widget.children
    first = picture.value
    slider.value = 7.5
    assert seen[-1] == {"price": 7.5}
    assert message.value == "at 7.5"
    assert picture.value != first
    slider.value = 10.0
    assert message.value == "too dear"
    data, _ = shown._repr_mimebundle_()
    assert {"image/png", "text/plain", "application/vnd.jupyter.widget-view+json"} <= set(data)


def test_without_widgets_the_figure_stands_as_it_is(study, monkeypatch):
    monkeypatch.setattr(controls, "find_spec", lambda name: None)
    shown = what_if.try_interval(study, 0)
    assert shown.widget is None
    data, kept = shown._repr_mimebundle_()
    assert set(data) == {"image/png", "text/plain"}
    assert data["text/plain"] == kept["image/png"]["alt"] == read_title(shown.axes)
    assert len(kept["drawn"]) >= 4


def test_sliders_of_level_and_budget_move_the_message(study, widgets):
    level = what_if.try_level(study, *KEY)
    target, lead, *_, message = level.widget.children
    assert lead.value == 20.0
    before = message.value
    lead.value = 120.0
    assert message.value != before
    budget = what_if.try_budget(study)
    before = budget.widget.children[-1].value
    budget.widget.children[2].value = 3.0
    assert budget.widget.children[-1].value != before
    assert target.value == 0.95
