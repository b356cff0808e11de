"""Pumps for which no interval can be advised, dated by what is adopted and by their own limits."""

import numpy as np
import pandas as pd
import pytest

from tests.plants import SETTINGS, on_day, part_rows, pump_rows, small_tables
from tests.policy.sides import slip_fits
from tests.policy.test_advice import adopted_row, advised, kit_rows, rules

# P-1, P-2 and P-3 have run 1300, 5300 and 3300 hours since their last renewals, ten hours a day,
# and the records end on day 730
WHY = "No life of a ball CR in slip is known yet."
UNKNOWN = ["failure_prob_by_due", "failure_prob_13_weeks", "cost_of_waiting"]


def without_life(folder, *limits, adopted=(), **overrides):
    """Records, and the due list of the small plant of which the life of the balls isn't known."""
    fits = slip_fits()
    fits.table.loc[1, "material"] = "PTFE"
    pumps = [
        row | {"max_fluid_interval": limit}
        for row, limit in zip(pump_rows(), limits or ("", "", ""), strict=True)
    ]
    overrides = {"pumps": pumps, "adopted": list(adopted)} | overrides
    records, advice = advised(folder, fits=fits, **overrides)
    return records, advice


def dated(advice, column):
    return advice.due.set_index("pump_id")[column].to_dict()


def day(number):
    return pd.Timestamp(on_day(number))


def test_a_limit_alone_dates_the_work_and_what_isnt_known_stays_blank(tmp_path):
    records, advice = without_life(tmp_path, 6000, 6000, 6000)
    assert np.isnan(advice.advised[0])
    assert dated(advice, "due_usage") == {"P-1": 6000.0, "P-2": 6000.0, "P-3": 6000.0}
    assert dated(advice, "due_on") == {"P-1": day(1200), "P-2": day(800), "P-3": day(1000)}
    assert dated(advice, "do_on") == dated(advice, "due_on")
    assert advice.due["without_advice"].unique().tolist() == [
        f"the maker's or legal limit: no interval is advised. {WHY}"
    ]
    assert advice.due[UNKNOWN].isna().all(axis=None)
    assert advice.due["kit"].eq("FK").all()
    assert advice.due["work_h"].eq(3.0).all()
    told = records.log.frame().query("rule == 'no_interval'").iloc[0]
    assert told["consequence"] == (
        "No interval is advised for its 3 pumps. An adopted interval or its own limit dates the "
        "work of 3."
    )


def test_what_is_adopted_dates_the_work_alone(tmp_path):
    _, advice = without_life(tmp_path, adopted=adopted_row(interval=5500))
    assert dated(advice, "due_on") == {"P-1": day(1150), "P-2": day(750), "P-3": day(950)}
    assert advice.due["without_advice"].str.startswith("the adopted interval: no inter").all()


def test_the_nearer_of_both_and_each_pump_its_own_limit(tmp_path):
    _, advice = without_life(tmp_path, 4000, 9000, "", adopted=adopted_row(interval=7000))
    assert dated(advice, "due_usage") == {"P-1": 4000.0, "P-2": 7000.0, "P-3": 7000.0}
    assert dated(advice, "do_on") == {"P-1": day(1000), "P-2": day(900), "P-3": day(1100)}
    by = {pump: words.split(":")[0] for pump, words in dated(advice, "without_advice").items()}
    assert by["P-1"] == "the maker's or legal limit"
    assert by["P-2"] == by["P-3"] == "the adopted interval"


def test_two_limits_and_a_pump_that_has_neither(tmp_path):
    _, advice = without_life(tmp_path, 4000, 6000, "")
    assert dated(advice, "due_usage") == {"P-1": 4000.0, "P-2": 6000.0}


def test_a_limit_that_is_passed_is_overdue_and_comes_first(tmp_path):
    _, advice = without_life(tmp_path, 6000, 4000, 6000)
    first = advice.due.iloc[0]
    assert (first["pump_id"], first["priority"]) == ("P-2", 1)
    assert first["overdue_by"] == 1300.0
    assert first["due_on"] == first["do_on"] == day(730)
    assert first["ticket_id"] == f"P-2-F-{day(730):%Y%m%d}"
    assert dated(advice, "overdue_by")["P-1"] == 0.0


@pytest.mark.parametrize("adopted", [(), adopted_row(interval="")])
def test_without_a_figure_there_is_no_row_and_the_audit_says_so(tmp_path, adopted):
    records, advice = without_life(tmp_path, adopted=adopted)
    assert advice.due.empty
    told = records.log.frame().query("rule == 'no_interval'").iloc[0]
    assert told["consequence"] == "No interval is advised for its 3 pumps."


def test_a_limit_that_cant_be_meant_dates_nothing(tmp_path):
    _, advice = without_life(tmp_path, 4000, 0, 5, adopted=adopted_row())
    assert dated(advice, "due_usage") == {"P-1": 4000.0}


def test_a_full_bench_never_moves_work_past_a_limit(tmp_path):
    text = SETTINGS + "\n[calendar]\nbench_hours_per_week = 1\n"
    shelf = [{"store": "works", "item": "FK", "quantity": 3}]
    _, advice = without_life(tmp_path, 1370, 5370, 3370, plant_toml=text, on_hand=shelf)
    assert (advice.due["do_on"] <= day(737)).all()
    assert advice.due["overdue_by"].eq(0.0).all()
    assert advice.load["hours_planned"].sum() == 9.0


def test_an_outage_is_offered_and_left_since_its_gain_isnt_known(tmp_path):
    stop = f"\n[calendar]\noutages = [{on_day(780)}]\n"
    _, advice = without_life(tmp_path, 6000, 6000, 6000, plant_toml=SETTINGS + stop)
    assert dated(advice, "do_on")["P-2"] == day(800)
    row = advice.outage.set_index("pump_id").loc["P-2"]
    assert row["do"] == "leave"
    assert np.isnan(row["gain"])
    assert row["reason"] == "no interval is advised: whether it would be cheaper isn't known"


def test_pumps_beside_a_group_with_advice_change_nothing_of_it(tmp_path):
    """The air side lacks its kit's contents; the fluid side is advised as ever."""
    _, plain = advised(tmp_path / "plain")
    pumps = [row | {"air_kit": "AK", "max_air_interval": 9000} for row in pump_rows()]
    air = [kit_rows()[0] | {"kit": "AK", "side": "air"}]
    _, advice = advised(tmp_path / "both", pumps=pumps, kits=[*kit_rows(), *air])
    own = advice.due[advice.due["side"] == "fluid"].drop(columns=["priority", "group"])
    usual = plain.due.drop(columns=["priority", "group"])
    pd.testing.assert_frame_equal(own.reset_index(drop=True), usual)
    rest = advice.due[advice.due["side"] == "air"]
    assert rest["due_usage"].eq(9000.0).all()
    assert rest["work_h"].isna().all()
    assert rest["kit"].eq("AK").all()


def test_a_pump_whose_use_isnt_known_is_dated_by_what_it_has_run_alone(tmp_path):
    pumps = [row | {"use_per_week": "", "max_fluid_interval": 6000} for row in pump_rows()]
    records, advice = advised(tmp_path, pumps=pumps, readings=[])
    assert dated(advice, "due_usage") == {"P-1": 6000.0, "P-2": 6000.0, "P-3": 6000.0}
    assert advice.due[["due_on", "do_on"]].isna().all(axis=None)
    assert "usage of these pumps isn't known" in advice.due.loc[0, "without_advice"]
    assert "rate_borrowed" not in rules(records)


def test_a_side_whose_kit_isnt_known_has_none_to_order(tmp_path):
    pumps = [row | {"fluid_kit": "", "max_fluid_interval": 6000} for row in pump_rows()]
    tables = small_tables()
    bare = [row | {"kit": ""} for row in tables["rebuilds"]]
    _, advice = advised(tmp_path, pumps=pumps, rebuilds=bare, parts=part_rows())
    assert len(advice.due) == 3
    assert advice.due["do_on"].notna().all()
    assert advice.due[["kit", "kit_ready"]].eq("").all(axis=None)
