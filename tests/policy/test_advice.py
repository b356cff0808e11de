"""Costs, advice and due list of a small plant, followed by hand."""

import numpy as np
import pandas as pd
import pytest

from pumplife.policy.advice import advise
from pumplife.policy.chance import PositionAges, failure_chance
from pumplife.policy.due import DUE_COLUMNS
from pumplife.policy.groups import build_groups
from pumplife.policy.interval import optimal_interval
from pumplife.policy.intervals_table import INTERVAL_COLUMNS
from tests.plants import SETTINGS, on_day, part_rows, pump_rows, small_plant, small_tables
from tests.policy.sides import draws, slip_fits, study_parts

PLANNED = 200 + 3 * 50 + 2 * 100  # kit, labour, lost production
FAILURE = 200 + 100 + 5 * 50 + 8 * 100  # kit, call-out, labour, lost production
SPILL = 200
COSTS = np.array([FAILURE + SPILL, FAILURE, FAILURE])


def advised(folder, *, fits=None, **overrides):
    records, duty, clock, lives = study_parts(small_plant(folder, **overrides))
    advice = advise(records, duty, clock, lives, slip_fits() if fits is None else fits)
    return records, advice


@pytest.fixture(scope="module")
def plain(tmp_path_factory):
    """Records and advice of the small plant as it stands."""
    return advised(tmp_path_factory.mktemp("plain"))


def kit_rows():
    return list(small_tables()["kits"])


def pumps_with(**columns):
    return [row | columns for row in pump_rows()]


def settings(old, new):
    assert old in SETTINGS
    return SETTINGS.replace(old, new)


def rules(records):
    return set(records.log.frame()["rule"])


def test_costs_by_hand(plain):
    _, advice = plain
    (group,) = advice.groups
    assert group.part == ("diaphragm", "ball", "seat")
    assert group.releases.tolist() == [True, False, False]
    assert group.costs.planned_money == PLANNED
    assert group.costs.failure_money == pytest.approx(COSTS)
    alone = FAILURE - 200 + np.array([60 + SPILL, 15, 12])
    assert group.costs.part_money == pytest.approx(alone)


def test_foul_air_side_and_opening_faults_by_hand(tmp_path):
    text = settings(
        "call_out = 100.0",
        "call_out = 100.0\nopening_fault_probability = 0.1\nfoul_air_side_probability = 0.25",
    )
    text += "[work.air]\nplanned_labour_h = 1\nbreakdown_labour_h = 2\n"
    text += "planned_downtime_h = 1\nbreakdown_downtime_h = 2\n"
    kits = [*kit_rows(), {"kit": "AK", "side": "air", "size_mm": 50, "unit_cost": 80.0}]
    _, advice = advised(tmp_path, plant_toml=text, kits=kits, pumps=pumps_with(air_kit="AK"))
    costs = advice.groups[0].costs if advice.groups[0].side == "fluid" else advice.groups[1].costs
    fault = 0.1 * FAILURE
    foul = 0.25 * (80 + 1 * 50 + 1 * 100)  # kit, labour, downtime besides
    assert costs.planned_money == pytest.approx(PLANNED + fault)
    assert costs.failure_money[:2] == pytest.approx(
        [FAILURE + SPILL + foul + fault, FAILURE + fault]
    )


def test_early_lives_in_the_fits_are_not_paid_twice(tmp_path):
    text = settings("call_out = 100.0", "call_out = 100.0\nopening_fault_probability = 0.1")
    share = np.array([[0.03], [0.0], [0.0]])
    _, advice = advised(tmp_path, plant_toml=text, fits=slip_fits(share=share))
    # two diaphragms of 3 % each carry 6 of the 10 % already
    assert advice.groups[0].costs.opening_fault == pytest.approx(0.04)
    assert "Look at assembly: about 3.0 %" in advice.intervals.loc[0, "verdict"]


def test_latest_valid_price_counts_and_later_ones_are_plans(tmp_path):
    base = kit_rows()[0]
    kits = [
        base | {"unit_cost": 150.0, "valid_from": on_day(-400)},
        base | {"unit_cost": 220.0, "valid_from": on_day(300)},
        base | {"unit_cost": 900.0, "valid_from": on_day(900)},
    ]
    _, advice = advised(tmp_path, kits=kits)
    assert advice.groups[0].costs.kit_price == 220.0


def test_installed_standby_takes_the_downtime_away(tmp_path):
    records, advice = advised(tmp_path, pumps=pumps_with(standby="installed"))
    assert advice.groups[0].costs.planned_money == 200 + 3 * 50
    assert "standby" in rules(records)


def test_hours_of_the_tickets_stand_in_for_missing_ones(tmp_path):
    text = SETTINGS.replace("planned_labour_h = 3.0\n", "")
    tickets = pd.DataFrame(
        [
            ("R-1", "P-1", 300, "breakdown", "FK", "diaphragm", 5.0),
            ("R-2", "P-1", 600, "planned", "FK", "none", 2.5),
            ("R-3", "P-2", 600, "planned", "FK", "none", 3.5),
        ],
        columns=["rebuild_id", "pump_id", "day", "reason", "kit", "failed_part", "labour_h"],
    )
    tickets["opened_on"] = [on_day(day) for day in tickets.pop("day")]
    records, advice = advised(tmp_path, plant_toml=text, rebuilds=tickets, findings=None)
    assert advice.groups[0].costs.planned.labour_h[0] == 3.0
    told = records.log.frame().query("rule == 'work_hours'")
    assert told["consequence"].str.contains("planned_labour_h 3 ").any()


def test_missing_costs_count_as_zero_and_say_so(tmp_path):
    records, advice = advised(tmp_path, plant_toml=settings("labour_per_h = 50.0\n", ""))
    assert advice.groups[0].costs.planned_money == 200 + 2 * 100
    told = records.log.frame().query("rule == 'cost_missing'")
    assert told["what"].tolist() == ["[costs] labour_per_h is not given."]


def test_missing_call_out_and_spill_are_noted(tmp_path):
    text = settings("call_out = 100.0\n", "").replace("spill = 200.0\n", "")
    records, advice = advised(tmp_path, plant_toml=text)
    assert advice.groups[0].costs.failure_money == pytest.approx(np.full(3, FAILURE - 100))
    told = records.log.frame().query("rule == 'cost_missing'")
    assert told["what"].tolist() == [
        "[costs] call_out is not given.",
        "[costs] spill is not given.",
    ]


def test_interval_is_the_optimum_of_the_known_lives(plain):
    _, advice = plain
    best, rate = optimal_interval(advice.groups[0].life, PLANNED, COSTS)
    row = advice.intervals.loc[0]
    assert list(advice.intervals.columns) == list(INTERVAL_COLUMNS)
    assert row["policy"] == "planned kit"
    assert row["interval"] == pytest.approx(best[0], rel=1e-4)
    assert row["interval_weeks"] == pytest.approx(best[0] / 70.0, rel=1e-4)
    assert row["cost_rate"] == pytest.approx(1000.0 * rate[0], rel=1e-7)
    assert row["rate_unit"] == "EUR per 1,000 h"
    assert row["near_best_low"] < best[0] < row["near_best_high"]
    assert row["prob_better"] == 1.0
    assert row["binding_limit"] == ""
    assert row["usage_per_year"] == pytest.approx(3 * 10 * 365.25)
    assert "Renew the whole side every" in row["verdict"]


def test_savings_add_up(plain):
    _, advice = plain
    row = advice.intervals.loc[0]
    saving = (row["cost_rate_today"] - row["cost_rate"]) / 1000.0 * row["usage_per_year"]
    assert row["saving_per_year"] == pytest.approx(saving, rel=1e-9)
    split = row["saving_cash"] + 50 * row["saving_labour_h"] + 100 * row["saving_downtime_h"]
    assert split == pytest.approx(saving, rel=1e-9)
    assert row["saving_low"] <= row["saving_per_year"] <= row["saving_high"]


def test_practice_of_today_comes_from_the_tickets(plain):
    # breakdowns with the kit, R-4 with the ball alone; one planned at 3000 h
    # among whole renewals at 2000 and 3000 h, and sides still running at 1300 and 5300 h
    _, advice = plain
    group = advice.groups[0]
    assert group.kit_share == 0.75
    assert group.planned.ages.tolist() == [3000.0, np.inf]
    assert 0.0 < group.planned.weights[0] < 0.5


def test_what_tickets_cost_stands_beside(tmp_path):
    tickets = pd.DataFrame(
        {
            "rebuild_id": ["R-1", "R-2"],
            "pump_id": ["P-1", "P-2"],
            "opened_on": [on_day(300), on_day(400)],
            "reason": "breakdown",
            "kit": ["FK", "FK"],
            "failed_part": "diaphragm",
            "labour_h": [4.0, np.nan],
            "downtime_h": [10.0, 10.0],
            "waited_h": [3.0, 0.0],
            "other_cost": [70.0, 0.0],
        }
    )
    _, advice = advised(tmp_path, rebuilds=tickets, findings=None)
    row = advice.intervals.loc[0]
    assert row["tickets_priced"] == 1
    assert row["actual_cost_per_breakdown"] == 200 + 100 + 4 * 50 + 7 * 100 + 70


def test_run_to_failure_where_nothing_wears(tmp_path):
    _, advice = advised(tmp_path, fits=slip_fits(shape=np.full((3, 1), 0.95)))
    row = advice.intervals.loc[0]
    assert row["policy"].startswith("run to failure")
    assert np.isnan(row["interval"])
    assert np.isinf(advice.advised[0])
    assert "Run to failure" in row["verdict"]
    assert advice.due["due_usage"].isna().all()
    assert advice.due["kit_ready"].eq("").all()
    assert advice.due["failure_prob_13_weeks"].between(0.0, 1.0).all()


def test_failed_part_alone_where_kits_are_dear_and_openings_cheap(tmp_path):
    text = settings("downtime_per_h = 100.0", "downtime_per_h = 0.0")
    kits = [kit_rows()[0] | {"unit_cost": 5000.0}]
    _, advice = advised(tmp_path, plant_toml=text, kits=kits)
    row = advice.intervals.loc[0]
    assert row["policy"] == "run to failure, failed part only"
    assert row["cost_rate"] == row["cost_rate_failed_part"]
    assert advice.advised_kit_share[0] == 0.0
    assert "renew the failed part alone" in row["verdict"]


def test_failed_part_alone_where_planned_kits_pay_but_less(tmp_path):
    """Two diaphragms and a dear kit: planning beats the kit at failures, the part beats both."""
    text = settings("downtime_per_h = 100.0", "downtime_per_h = 350.0")
    changed = {
        "plant_toml": text,
        "kits": [kit_rows()[0] | {"unit_cost": 3000.0}],
        "kit_contents": [{"kit": "FK", "part_no": "DIAPHRAGM", "quantity": 2}],
    }
    _, advice = advised(tmp_path / "free", **changed)
    row = advice.intervals.loc[0]
    assert row["policy"] == "run to failure, failed part only"
    assert np.isfinite(advice.decisions[0].advice.interval)
    assert row[["interval", "near_best_low", "near_best_high"]].isna().all()
    assert row["cost_rate"] == row["cost_rate_failed_part"] < row["cost_rate_run_to_failure"]
    assert "planned kits at their best" in row["verdict"]
    assert np.isinf(advice.followed[0])
    assert advice.followed_kit_share[0] == 0.0
    assert advice.due["due_usage"].isna().all()
    pumps = [row | {"max_fluid_interval": 3000} for row in pumps_with()]
    _, advice = advised(tmp_path / "held", pumps=pumps, **changed)
    assert advice.intervals.loc[0, "policy"] == "planned kit"


def test_makers_limit_caps_and_is_named(tmp_path):
    _, advice = advised(tmp_path, pumps=pumps_with(max_fluid_interval=1500))
    row = advice.intervals.loc[0]
    assert row["interval"] == 1500.0
    assert row["binding_limit"] == "maker's or legal limit"
    assert "The maker's or legal limit sets this" in row["verdict"]


def test_hazardous_groups_hold_the_release_limit(tmp_path):
    _, advice = advised(tmp_path, pumps=pumps_with(hazard="hazardous"))
    row = advice.intervals.loc[0]
    assert row["interval"] == pytest.approx(6000 * (-np.log(0.95) / 2) ** 0.4, rel=1e-8)
    assert row["binding_limit"] == "release of fluid"
    assert row["ruptures_per_year"] > 0.0
    assert row["hazard"] == "hazardous"


def test_groups_part_by_hazard_and_kit(tmp_path):
    pumps = pumps_with()
    pumps[0] |= {"hazard": "hazardous"}
    _, advice = advised(tmp_path, pumps=pumps)
    assert advice.intervals["hazard"].tolist() == ["hazardous", "none"]
    assert advice.intervals["pumps"].tolist() == [1, 2]


def test_pumps_out_of_service_are_left_out(tmp_path):
    pumps = pumps_with()
    pumps[0] |= {"retired_on": on_day(650)}
    moves = [{"pump_id": "P-2", "moved_on": on_day(700), "state": "in_store"}]
    _, advice = advised(tmp_path, pumps=pumps, moves=moves)
    assert advice.due["pump_id"].tolist() == ["P-3"]


def test_the_group_that_lacks_a_life_is_told_in_good_english(tmp_path):
    fits = slip_fits()
    fits.table["part"] = ["diaphragm", "ball", "inlet seat"]
    parts = [row | ({"part": "inlet seat"} if row["part"] == "seat" else {}) for row in part_rows()]
    fits.table.loc[2, "material"] = "PTFE"
    records, advice = advised(tmp_path, fits=fits, parts=parts, pumps=pump_rows()[:1])
    assert advice.intervals.loc[0, "verdict"] == "No life of an inlet seat CR in slip is known yet."
    told = records.log.frame().query("rule == 'no_interval'").iloc[0]
    assert told["consequence"] == "No interval is advised for its 1 pump."


def test_unknown_life_leaves_the_row_blank_and_says_why(tmp_path):
    fits = slip_fits()
    fits.table.loc[1, "material"] = "PTFE"
    records, advice = advised(tmp_path, fits=fits)
    row = advice.intervals.loc[0]
    assert row["policy"] == ""
    assert np.isnan(row["interval"])
    assert row["verdict"] == "No life of a ball CR in slip is known yet."
    assert np.isnan(advice.advised[0])
    assert advice.curves == (None,)
    assert advice.due.empty
    assert list(advice.due.columns) == list(DUE_COLUMNS)
    assert "no_interval" in rules(records)


def test_withheld_intervals_give_an_empty_advice(tmp_path):
    text = SETTINGS[: SETTINGS.index("[costs]")]
    _, advice = advised(tmp_path, plant_toml=text)
    assert advice.groups == ()
    assert advice.intervals.empty
    assert list(advice.intervals.columns) == list(INTERVAL_COLUMNS)


def test_few_failures_and_reach_beyond_the_records_are_said(tmp_path):
    fits = slip_fits()
    fits.table["failures"] = [1.0, 40.0, 40.0]
    fits.table["evidence"] = ["indicative", "good", "good"]
    fits.table["standing"] = ["borrowed mostly from other groups", *["enough to decide"] * 2]
    fits.table["borrowed_share"] = [0.7, 0.0, 0.0]
    fits.table["longest_life"] = 500.0
    _, advice = advised(tmp_path, fits=fits)
    verdict = advice.intervals.loc[0, "verdict"]
    told = "Evidence on the diaphragm, which fails most often: indicative; 1 failure, borrowed "
    assert told + "mostly from other groups (70 %)." in verdict
    assert "beyond the longest life seen (500 hours)" in verdict


def test_enough_evidence_is_not_spoken_of(plain):
    _, advice = plain
    assert "vidence" not in advice.intervals.loc[0, "verdict"]


def test_no_failure_is_said(tmp_path):
    fits = slip_fits()
    fits.table["failures"] = 0.0
    _, advice = advised(tmp_path, fits=fits)
    assert "No failure seen yet: these lives come from" in advice.intervals.loc[0, "verdict"]


def adopted_row(**columns):
    row = {"service": "slip", "side": "fluid", "interval": 5000}
    return [row | {"decided_by": "someone", "decided_on": on_day(100)} | columns]


def test_due_follows_what_the_plant_adopted(tmp_path):
    _, advice = advised(tmp_path, adopted=adopted_row())
    row = advice.intervals.loc[0]
    assert row["adopted_interval"] == 5000.0
    assert row["cost_of_keeping"] > 0.0
    assert row["review"].startswith("review: it costs over 5 % more")
    assert set(advice.due["due_usage"]) == {5000.0}
    assert advice.followed[0] == 5000.0
    assert advice.advised[0] < 5000.0


def test_adopted_run_to_failure_and_review_date(tmp_path):
    rows = adopted_row(interval="", review_on=on_day(500))
    _, advice = advised(tmp_path, adopted=rows)
    row = advice.intervals.loc[0]
    assert np.isnan(row["adopted_interval"])
    assert np.isinf(advice.followed[0])
    assert "its review date has come" in row["review"]
    assert advice.due["due_on"].isna().all()


def test_closest_adopted_row_stands_and_others_don_t(tmp_path):
    rows = adopted_row() + adopted_row(kit="FK", interval=4000) + adopted_row(kit="X", interval=9)
    _, advice = advised(tmp_path, adopted=rows)
    assert advice.adopted[0] == 4000.0


def test_due_list_by_hand(plain):
    _, advice = plain
    interval = advice.advised[0]
    due = advice.due.set_index("pump_id")
    assert list(advice.due.columns) == list(DUE_COLUMNS)
    # P-1 renewed whole on day 600, P-2 on day 200, P-3 on day 400; all run ten hours a day
    assert due["age_now"].to_dict() == pytest.approx({"P-1": 1300, "P-2": 5300, "P-3": 3300})
    assert due["age_known"].eq("yes").all()
    assert due.loc["P-1", "clock_from"] == pd.Timestamp(on_day(600))
    days = 730 + (interval - 1300) / 10.0
    assert due.loc["P-1", "due_on"] == pd.Timestamp(on_day(int(days)))
    assert due.loc["P-2", "overdue_by"] == pytest.approx(5300 - interval)
    assert due.loc["P-2", "due_on"] == pd.Timestamp(on_day(730))
    assert due.loc["P-2", "priority"] == 1
    assert due.loc["P-2", "ticket_id"] == f"P-2-F-{pd.Timestamp(on_day(730)):%Y%m%d}"


def test_kits_go_to_the_first_work_then_orders_then_order_by(tmp_path):
    orders = [{"store": "works", "item": "FK", "quantity": 1, "expected_on": on_day(740)}]
    _, advice = advised(tmp_path, on_order=orders)
    due = advice.due.set_index("pump_id")
    order_by = due.loc["P-1", "do_on"] - pd.Timedelta(days=20)
    ready = due.sort_values(["do_on", "pump_id"])["kit_ready"].tolist()
    assert ready == ["on_shelf", f"arrives {on_day(740)}", f"order by {order_by:%Y-%m-%d}"]


def test_planned_work_is_ordered_for_by_the_high_lead_time(tmp_path):
    kits = [row | {"lead_time_high": 33} for row in small_tables()["kits"]]
    _, advice = advised(tmp_path, kits=kits)
    told = advice.due[advice.due["kit_ready"].str.startswith("order by")]
    assert len(told) > 0
    days = (told["do_on"] - pd.to_datetime(told["kit_ready"].str.removeprefix("order by "))).dt.days
    late = told["kit_ready"].eq(f"order by {on_day(730)}")
    assert (days[~late] == 33).all()
    assert (~late).any()


def test_an_order_that_should_be_there_is_late_and_never_said_to_arrive_in_the_past(tmp_path):
    orders = [{"store": "works", "item": "FK", "quantity": 1, "expected_on": on_day(700)}]
    records, advice = advised(tmp_path, on_order=orders)
    ready = advice.due.sort_values(["do_on", "pump_id"])["kit_ready"].tolist()
    assert ready[:2] == ["on_shelf", f"late since {on_day(700)}"]
    told = records.log.frame().query("rule == 'order_late'").iloc[0]
    assert told["what"] == (
        f"1 of FK for works was expected on {on_day(700)}, before the records end."
    )


def test_work_moves_to_an_outage_within_the_near_best_band(plain, tmp_path):
    _, usual = plain
    due_on = usual.due.set_index("pump_id").loc["P-1", "due_on"]
    outage = due_on - pd.Timedelta(days=10)
    text = SETTINGS + f"\n[calendar]\noutages = [{outage:%Y-%m-%d}]\n"
    _, moved = advised(tmp_path / "moved", plant_toml=text)
    row = moved.due.set_index("pump_id").loc["P-1"]
    assert row["due_on"] == due_on
    assert row["do_on"] == row["outage_on"] == outage


def test_an_outage_far_too_early_or_beyond_a_limit_is_no_help(tmp_path):
    early = f"\n[calendar]\noutages = [{on_day(731)}]\n"
    _, advice = advised(tmp_path / "early", plant_toml=SETTINGS + early)
    assert advice.due.set_index("pump_id")["outage_on"].isna()["P-1"]
    late = f"\n[calendar]\noutages = [{on_day(780)}]\n"
    pumps = pumps_with(max_fluid_interval=1500)
    _, advice = advised(tmp_path / "late", plant_toml=SETTINGS + late, pumps=pumps)
    row = advice.due.set_index("pump_id").loc["P-1"]
    assert pd.isna(row["outage_on"])
    assert row["do_on"] == pd.Timestamp(on_day(750))


def test_failure_chance_of_known_ages_by_hand():
    lives = draws([[2.0], [1.0]], [[100.0], [50.0]])
    ages = PositionAges(
        age=np.array([[30.0, 10.0]]), known=np.ones((1, 2), bool), most=np.full((1, 2), np.inf)
    )
    chance, share = failure_chance(lives, ages, np.array([[20.0]]))
    assert share.sum() == pytest.approx(1.0)
    assert share[0, 0, 1] > share[0, 0, 0]  # the short-lived, memoryless one
    left = np.exp(0.3**2 - 0.5**2) * np.exp(-20 / 50)
    assert chance[0, 0] == pytest.approx(1.0 - left, rel=1e-12)


def test_failure_chance_of_an_age_known_only_at_least():
    # exponential: the age doesn't matter; Weibull with an even spread of ages below 50, by sums
    unsure = np.zeros((1, 1), bool)
    ages = PositionAges(age=np.array([[5.0]]), known=unsure, most=np.full((1, 1), np.inf))
    chance, _ = failure_chance(draws([[1.0]], [[50.0]]), ages, np.array([[20.0]]))
    assert chance[0, 0] == pytest.approx(1.0 - np.exp(-0.4), rel=1e-9)
    ages = PositionAges(age=np.array([[5.0]]), known=unsure, most=np.full((1, 1), 50.0))
    chance, _ = failure_chance(draws([[3.0]], [[100.0]]), ages, np.array([[20.0]]))
    x = np.linspace(5.0, 50.0, 200_001)
    alive, later = np.exp(-((x / 100) ** 3)), np.exp(-(((x + 20) / 100) ** 3))
    assert chance[0, 0] == pytest.approx(1.0 - np.trapezoid(later) / np.trapezoid(alive), rel=1e-6)


def test_unseen_renewals_leave_the_age_at_least(tmp_path):
    tickets = [
        {
            "rebuild_id": "R-1",
            "pump_id": "P-1",
            "opened_on": on_day(300),
            "reason": "breakdown",
            "kit": "FK",
            "failed_part": "diaphragm",
        }
    ]
    _, advice = advised(tmp_path, rebuilds=tickets, findings=None)
    due = advice.due.set_index("pump_id")
    assert due["age_known"].to_dict() == {"P-1": "yes", "P-2": "yes", "P-3": "at least"}
    assert due.loc["P-3", "age_now"] == pytest.approx(7300.0)
    group = advice.groups[0]
    assert not group.known[group.pumps == 2].any()


def test_dearer_spills_shorten_the_interval_and_prices_scale_out(plain, tmp_path):
    _, usual = plain
    _, dear = advised(tmp_path / "b", plant_toml=settings("spill = 200.0", "spill = 2000.0"))
    assert dear.advised[0] < usual.advised[0]


def test_same_records_same_advice(tmp_path):
    _, first = advised(tmp_path / "a")
    _, second = advised(tmp_path / "b")
    pd.testing.assert_frame_equal(first.intervals, second.intervals)
    pd.testing.assert_frame_equal(first.due, second.due)


def test_curves_hold_the_decision(plain):
    _, advice = plain
    (curve,) = advice.curves
    assert curve.t.shape == curve.mean.shape == curve.low.shape == curve.high.shape
    assert curve.t[0] < curve.interval < curve.t[-1]
    assert curve.mean.min() >= advice.intervals.loc[0, "cost_rate"] - 1e-9
    never = advice.intervals.loc[0, "cost_rate_run_to_failure"]
    assert curve.run_to_failure == pytest.approx(never, rel=1e-9)
    assert "<CostCurve slip 50 mm" in repr(curve)


def test_two_materials_of_one_part_keep_their_own_slots(tmp_path):
    parts = part_rows()
    parts.append(parts[1] | {"part_no": "BALL2", "material": "PTFE", "per_pump": 2})
    contents = (("DIAPHRAGM", 2), ("BALL", 2), ("BALL2", 2), ("SEAT", 4))
    rows = [{"kit": "FK", "part_no": part, "quantity": count} for part, count in contents]
    plant = small_plant(tmp_path, parts=parts, kit_contents=rows)
    groups = build_groups(*study_parts(plant), slip_fits())
    assert groups[0].part == ("diaphragm", "ball", "ball", "seat")
    assert groups[0].count.tolist() == [2.0, 2.0, 2.0, 4.0]
    assert groups[0].part_of.size == 10
    assert groups[0].missing == "No life of a ball PTFE in slip is known yet."


def test_a_limit_caps_what_the_plant_adopted(tmp_path):
    records, advice = advised(
        tmp_path, adopted=adopted_row(), pumps=pumps_with(max_fluid_interval=1500.0)
    )
    assert advice.adopted[0] == 5000.0
    assert advice.followed[0] == 1500.0
    assert set(advice.due["due_usage"]) == {1500.0}
    assert "beyond a limit" in advice.intervals.loc[0, "review"]
    assert "adopted_beyond_limit" in rules(records)
    assert advice.intervals.loc[0, "common_interval"] <= 1500.0


def test_an_adopted_row_that_nobody_follows_is_named(tmp_path):
    records, _ = advised(tmp_path, adopted=adopted_row(service="sirup"))
    row = records.log.frame().query("rule == 'adopted_unmatched'").iloc[0]
    assert row["row"] == 2
    assert "followed by no pump" in row["consequence"]


def test_without_a_failure_nothing_is_planned(tmp_path):
    fits = slip_fits()
    fits.table["failures"] = 0.0
    _, advice = advised(tmp_path, fits=fits)
    row = advice.intervals.iloc[0]
    assert row["policy"] == "run to failure"
    assert "no failure is on record" in row["verdict"]
    _, capped = advised(tmp_path / "b", fits=fits, pumps=pumps_with(max_fluid_interval=1500.0))
    assert capped.intervals.loc[0, "interval"] == 1500.0


def test_kits_on_the_shelf_go_to_the_work_that_is_dearest_to_wait_for(tmp_path):
    _, advice = advised(tmp_path, adopted=adopted_row(interval=100))
    due = advice.due.sort_values("priority")
    assert due["overdue_by"].gt(0).all()
    assert due["cost_of_waiting"].is_monotonic_decreasing
    assert due["kit_ready"].iloc[0] == "on_shelf"
    assert due["kit_ready"].iloc[1:].str.match(r"order by \d{4}-\d\d-\d\d").all()


def test_a_hazardous_group_says_the_chance_of_a_release(tmp_path):
    _, advice = advised(tmp_path, pumps=pumps_with(hazard="hazardous"))
    row = advice.intervals.iloc[0]
    assert row["binding_limit"] == "release of fluid"
    assert row["release_prob"] == pytest.approx(0.05, rel=1e-6)
