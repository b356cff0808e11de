"""Stock plan and budget of a small plant, from the folder on, and their parts by hand."""

import dataclasses

import numpy as np
import pandas as pd
import pytest

from pumplife.fits.build import fit_lives
from pumplife.lives.build import build_lives
from pumplife.policy.advice import advise
from pumplife.policy.costs import SideCosts, WorkCost
from pumplife.records.duty import build_duty
from pumplife.records.plant import Plant
from pumplife.records.read import read_records
from pumplife.records.usage import build_clock
from pumplife.stock.amounts import AMOUNTS, event_amounts
from pumplife.stock.budget import BUDGET_COLUMNS, plan_budget
from pumplife.stock.items import list_items, stock_on_hand, stock_on_order, successors
from pumplife.stock.outcome import QUANTITIES
from pumplife.stock.shelf import plan_stock
from tests.plants import SETTINGS, on_day, part_rows, rebuild_rows, small_plant, small_tables
from tests.stock.fleets import lives as life_draws
from tests.stock.fleets import side_group

KIT = {"kit": "FK", "side": "fluid", "size_mm": 50, "material": "CR", "lead_time_days": 20}


def steps(folder, **overrides):
    """Records, lives and advice of the small plant."""
    records = read_records(small_plant(folder, **overrides))
    duty = build_duty(records)
    clock = build_clock(records, duty)
    fits, lives = fit_lives(records, build_lives(records, duty, clock), seed=1)
    return records, lives, advise(records, duty, clock, lives, fits)


def stock_of(folder, **overrides):
    taken = steps(folder, **overrides)
    return taken, plan_stock(*taken, seed=1)


def budget_of(folder, **overrides):
    records, lives, advice = steps(folder, **overrides)
    return records, plan_budget(records, lives, advice, seed=1).table


def test_the_small_plant_gets_a_level_and_an_order(tmp_path):
    (records, *_, advice), plan = stock_of(tmp_path)
    (row,) = plan.stock.to_dict("records")
    assert (row["store"], row["item"], row["kind"]) == ("works", "FK", "kit")
    assert row["today_on_hand"] == 1
    assert row["fill_rate"] >= 0.95
    assert row["used_12m"] == 2  # R-2 at day 600 and R-5 at day 400; the window ends on day 730
    # three pumps for some 3.6 thousand hours a year and three observed failures in six years
    assert 0.2 < row["demand_per_year"] < 5
    (order,) = plan.orders.to_dict("records")
    jobs = advice.due["do_on"] <= records.plant.records_to + pd.Timedelta(days=20 + 30)
    assert order["quantity"] == row["reorder_point"] + 1 + jobs.sum() - 1
    (curve,) = plan.curves
    assert curve.reorder_point == row["reorder_point"]


def test_same_seed_same_tables(tmp_path):
    taken, plan = stock_of(tmp_path)
    pd.testing.assert_frame_equal(plan_stock(*taken, seed=1).stock, plan.stock)
    assert not plan_stock(*taken, seed=2).stock.equals(plan.stock)


def test_two_years_of_kits_mean_surplus(tmp_path):
    on_hand = [{"store": "works", "item": "FK", "quantity": 30}]
    _, plan = stock_of(tmp_path, on_hand=on_hand)
    (row,) = plan.stock.to_dict("records")
    assert row["surplus"] > 20
    assert plan.orders.empty


def test_what_no_pump_takes_is_idle(tmp_path):
    on_hand = [{"store": "works", "item": item, "quantity": 2} for item in ("FK", "BALL")]
    on_hand.append({"store": "elsewhere", "item": "FK", "quantity": 3})
    _, plan = stock_of(tmp_path, on_hand=on_hand)
    idle = plan.stock[plan.stock["order_up_to"] == 0].set_index(["store", "item"])
    assert set(idle.index) == {("works", "BALL"), ("elsewhere", "FK")}
    assert idle.loc[("elsewhere", "FK"), "surplus"] == 3
    assert "move it" in idle.loc[("elsewhere", "FK"), "verdict"]


def test_a_rush_order_of_unknown_speed_is_told(tmp_path):
    """The small plant gives [costs] expedite and no [stock] rush_days."""
    (records, *_), plan = stock_of(tmp_path)
    assert "rush_days" in set(records.log.frame()["rule"])
    assert (plan.stock["rush_per_year"].dropna() == 0).all()


def test_a_kit_without_lead_time_gets_no_level_and_a_caution(tmp_path):
    kits = [{name: value for name, value in KIT.items() if "lead" not in name}]
    (records, *_), plan = stock_of(tmp_path, kits=[kits[0] | {"unit_cost": 200.0}])
    assert plan.stock["reorder_point"].isna().all()
    rows = records.log.frame().set_index("rule")
    assert "kit FK has no lead time" in rows.loc["no_lead_time", "what"]
    (row,) = plan.stock.to_dict("records")
    assert row["verdict"].startswith("no level: it has no lead time")
    blank = ("demand_per_year", "planned_per_year", "order_up_to", "surplus")
    assert np.isnan([row[name] for name in blank]).all()


def test_jobs_of_a_kit_without_lead_time_are_ordered_for_now(tmp_path):
    kits = [{name: value for name, value in KIT.items() if "lead" not in name}]
    kits = [kits[0] | {"unit_cost": 200.0, "min_order": 2}]
    (records, *_, advice), plan = stock_of(tmp_path / "short", kits=kits, on_hand=[])
    days = advice.due["do_on"].dropna().sort_values()
    soon = days[days <= records.plant.records_to + pd.Timedelta(days=91 + 30)]
    assert len(soon) > 0
    (order,) = plan.orders.to_dict("records")
    assert order["quantity"] == 2 * np.ceil(len(soon) / 2)
    assert order["needed_by"] == soon.iloc[0]
    assert order["order_by"] == records.plant.records_to
    assert order["why"].startswith("order now: no lead time known; 0 on the shelf, 0 under way; ")
    assert order["amount"] == 200.0 * order["quantity"]
    (row,) = plan.stock.to_dict("records")
    assert row["verdict"].endswith(f"order {order['quantity']:.0f} now for planned jobs")
    told = records.log.frame().set_index("rule").loc["no_lead_time", "consequence"]
    first = advice.due.set_index("do_on").loc[[days.iloc[0]], "pump_id"].min()
    said = f"No day to order by for {len(days)} planned jobs: {first} on {days.iloc[0]:%Y-%m-%d}"
    assert said in told
    assert set(advice.due["kit_ready"]) == {"order (no lead time known)"}

    coming = [{"store": "works", "item": "FK", "quantity": 9, "expected_on": on_day(740)}]
    _, plan = stock_of(tmp_path / "enough", kits=kits, on_order=coming)
    assert plan.orders.empty
    assert plan.stock["today_on_order"].tolist() == [9]


def test_a_part_of_every_opening_without_lead_time_gets_no_level(tmp_path):
    """And what of it will expire isn't foreseen: the shelf says nothing of its bag."""
    ring = {"part_no": "ORING", "part": "o-ring", "side": "fluid", "wears": "every_opening"}
    ring |= {"material": "NBR", "size_mm": 50, "per_pump": 2, "unit_cost": 10.0}
    lying = {"store": "works", "item": "ORING", "quantity": 4, "cure_date": on_day(600)}
    shelf = [*small_tables()["on_hand"], lying]
    _, plan = stock_of(tmp_path, parts=[*part_rows(), ring], on_hand=shelf)
    row = plan.stock.set_index("item").loc["ORING"]
    assert row["verdict"] == "no level: it has no lead time"
    assert row[["demand_per_year", "order_up_to", "surplus"]].isna().all()
    bag = plan.shelf.set_index("item").loc["ORING"]
    assert (bag["state"], bag["do"]) == ("usable", "")
    assert np.isnan(bag["likely_unused"])


def test_costs_not_given_leave_blanks_and_a_note(tmp_path):
    settings = SETTINGS.replace("waiting_per_day = 200.0\n", "")
    (records, *_), plan = stock_of(tmp_path, plant_toml=settings)
    assert plan.stock["cost_per_year"].isna().all()
    assert plan.stock["least_cost_up_to"].isna().all()
    assert np.isfinite(plan.stock["fill_rate"]).all()
    what = records.log.frame()["what"]
    assert (what == "[costs] waiting_per_day is not given.").sum() == 1


def test_on_order_counts_for_the_order_and_for_todays_risk(tmp_path):
    chances = []
    for name, day in (("there", 720), ("soon", 735)):
        coming = [{"store": "works", "item": "FK", "quantity": 9, "expected_on": on_day(day)}]
        _, plan = stock_of(tmp_path / name, on_order=coming)
        assert plan.orders.empty
        assert plan.stock["today_on_order"].tolist() == [9]
        chances.append(plan.stock["today_shortage_prob"].iloc[0])
    assert chances[0] < 0.01
    assert chances[0] < chances[1] < 0.05  # a breakdown in the days until they come finds none


def test_items_take_the_latest_valid_price_and_their_successor(tmp_path):
    old = KIT | {"unit_cost": 100.0, "valid_from": on_day(0), "min_order": 2.5}
    kits = [
        old,
        old | {"unit_cost": 180.0, "valid_from": on_day(400), "superseded_by": "FK2"},
        old | {"unit_cost": 999.0, "valid_from": on_day(2000)},
        old | {"kit": "FK2", "unit_cost": 190.0},
    ]
    shelf = [
        {"store": "works", "item": "FK", "quantity": 2, "cure_date": on_day(100)},
        {"store": "works", "item": "FK", "quantity": 1, "cure_date": on_day(300)},
        {"store": "works", "item": "FK2", "quantity": 4, "cure_date": on_day(300)},
    ]
    coming = [{"store": "works", "item": "FK", "quantity": 5, "expected_on": on_day(740)}]
    records = read_records(small_plant(tmp_path, kits=kits, on_hand=shelf, on_order=coming))
    items = list_items(records)
    assert items["FK"].unit_cost == 180.0
    assert items["FK"].min_order == 3
    assert items["BALL"].kind == "part"
    current = successors(items)
    assert (current["FK"], current["FK2"], current["BALL"]) == ("FK2", "FK2", "BALL")
    assert stock_on_hand(records, current) == {("works", "FK2"): 7.0}
    order = stock_on_order(records, current)
    assert order[["item", "quantity", "days"]].to_numpy().tolist() == [["FK2", 5.0, 10.0]]


def test_budget_has_its_scenarios_years_and_quantities(tmp_path):
    _, budget = budget_of(tmp_path)
    assert tuple(budget.columns) == BUDGET_COLUMNS
    simulated = budget[budget["scenario"] != "actual"]
    assert set(simulated["scenario"]) == {"today", "advised", "run_to_failure"}
    assert set(simulated["year"]) == {1, 2, 3}
    assert set(simulated["site"]) == {"all", "works"}
    counts = simulated.groupby(["scenario", "year", "site"]).size()
    assert (counts == len(QUANTITIES)).all()
    whole = simulated[simulated["site"] == "all"].drop(columns="site").reset_index(drop=True)
    alone = simulated[simulated["site"] == "works"].drop(columns="site").reset_index(drop=True)
    pd.testing.assert_frame_equal(whole, alone)


def test_what_the_plant_adopted_is_a_scenario_of_its_own(tmp_path):
    adopted = {"service": "slip", "side": "fluid", "interval": 500, "decided_by": "A. N. Other"}
    _, budget = budget_of(tmp_path, adopted=[adopted | {"decided_on": on_day(700)}])
    kits = budget[(budget["quantity"] == "kits") & (budget["site"] == "all")]
    mean = kits[kits["year"] == 2].set_index("scenario")["mean"]
    # 3 pumps of 3652 h a year, every 500 h or sooner
    assert mean["adopted"] > 3 * 3652 / 500 - 3
    assert mean["adopted"] > 2 * mean["advised"]


def test_the_last_year_by_its_tickets(tmp_path):
    hours = {"labour_h": 4.0, "downtime_h": 10.0, "waited_h": 2.0, "other_cost": 70.0}
    tickets = [row | hours for row in rebuild_rows()]
    _, budget = budget_of(tmp_path, rebuilds=tickets)
    actual = budget[(budget["scenario"] == "actual") & (budget["site"] == "all")]
    assert set(actual["year"]) == {0}
    value = actual.set_index("quantity")["p50"]
    # after day 365: R-5 breakdown with kit, R-4 breakdown with a loose ball, R-2 planned with kit
    assert (value["kits"], value["breakdowns"]) == (2, 2)
    assert (value["labour_h"], value["downtime_h"]) == (12, 24)
    assert value["money"] == pytest.approx(2 * 200 + 2 * 100 + 3 * (4 * 50 + 8 * 100 + 70))
    assert (actual["p50"] == actual["p90"]).all()


def test_blank_hours_leave_the_last_years_money_out(tmp_path):
    records, budget = budget_of(tmp_path)
    actual = budget[budget["scenario"] == "actual"]
    assert set(actual["quantity"]) == {"kits", "breakdowns", "material", "consequences"}
    rows = records.log.frame()
    said = rows.loc[rows["rule"] == "actual_hours", "consequence"].iloc[0]
    assert said == "The budget has no actual labour_h, downtime_h, labour, downtime, money."


def side_costs():
    """Planned 300 kit, 2 h, 3 h; failures 100 call-out, 200 spill for the first part."""
    spill = np.array([200.0, 0.0])
    return SideCosts(
        planned=WorkCost(
            cash=np.array([300.0 + 0.1 * 400]), labour_h=np.array([2.4]), downtime_h=np.array([3.8])
        ),
        kit_failure=WorkCost(
            cash=400.0 + spill + 0.1 * 400,
            labour_h=np.full(2, 4.4),
            downtime_h=np.full(2, 8.8),
        ),
        part_failure=WorkCost(
            cash=np.array([60.0, 20.0]) + 100 + spill + 0.1 * 400,
            labour_h=np.full(2, 4.4),
            downtime_h=np.full(2, 8.8),
        ),
        labour_per_h=50.0,
        downtime_per_h=100.0,
        pump_downtime=np.full(2, 100.0),
        kit_price=300.0,
        part_price=np.array([60.0, 20.0]),
        air_kit=0.0,
        call_out=100.0,
        spill=spill,
        opening_fault=0.1,
        hours={
            "planned_labour_h": 2.0,
            "breakdown_labour_h": 4.0,
            "planned_downtime_h": 3.0,
            "breakdown_downtime_h": 8.0,
        },
        foul_share=0.0,
        fouling=WorkCost(cash=np.zeros(2), labour_h=np.zeros(2), downtime_h=np.zeros(2)),
    )


def test_what_events_take_by_hand():
    day = pd.Timestamp("2024-01-01")
    plant = Plant(
        name="",
        currency="",
        usage_unit="hours",
        records_from=day,
        records_to=day,
        raw={"costs": {"foul_air_side_probability": 0.25}},
    )
    costs, releases = side_costs(), np.array([True, False])
    draws = life_draws([1.0, 1.0], [1e3, 1e3])
    got = event_amounts(side_group(2, draws, costs=costs, releases=releases), plant)
    takes = dict(zip(AMOUNTS, got.takes.T, strict=True))
    # planned; failure with the kit of the first part and of the second; the same part alone
    assert takes["kits"] == pytest.approx([1.1, 1.35, 1.1, 0.35, 0.1])
    assert takes["parts"].tolist() == [0, 0, 0, 1, 1]
    assert takes["breakdowns"] == pytest.approx([0.1, 1.1, 1.1, 1.1, 1.1])
    assert takes["spills"].tolist() == [0, 1, 0, 1, 0]
    assert takes["labour_h"] == pytest.approx([2.4, 4.4, 4.4, 4.4, 4.4])
    assert got.kit_money == pytest.approx([330, 330, 330, 30, 30])
    assert got.part_money == pytest.approx([0, 0, 0, 60, 20])
    assert got.downtime_money == pytest.approx(100 * takes["downtime_h"])
    assert got.labour_money == pytest.approx(50 * takes["labour_h"])
    whole = got.kit_money + got.part_money + got.labour_money + got.downtime_money
    whole = whole + got.other_money
    wanted = [costs.planned_money, *costs.failure_money, *costs.part_money]
    assert whole == pytest.approx(wanted)
    air = event_amounts(side_group(2, draws, costs=costs, releases=releases, side="air"), plant)
    assert air.takes[1, 0] == pytest.approx(1.1)


def test_without_any_advised_group_only_the_shelf_is_shown(tmp_path):
    *taken, advice = steps(tmp_path)
    nothing = dataclasses.replace(
        advice,
        groups=(),
        due=pd.DataFrame(columns=advice.due.columns),
        followed=np.zeros(0),
        followed_kit_share=np.zeros(0),
    )
    plan = plan_stock(*taken, nothing)
    assert plan.stock["verdict"].str.contains("no pump of this store").all()
    assert plan.orders.empty
    records, lives = taken
    assert plan_budget(records, lives, nothing).table.empty


def test_a_group_without_advice_is_told_in_the_audit(tmp_path):
    records, *taken, advice = steps(tmp_path)
    group = dataclasses.replace(advice.groups[0], missing="No life is known yet.")
    plan = plan_stock(records, *taken, dataclasses.replace(advice, groups=(group,)))
    rows = records.log.frame()
    row = rows[rows["rule"] == "no_demand"].iloc[0]
    assert "what its 3 pumps will take isn't known" in row["what"]
    assert "FK is too low" in row["consequence"]
    assert plan.stock["reorder_point"].isna().all()


def test_withheld_prices_withhold_stock_and_budget(tmp_path):
    tables = small_tables()
    bare = [{"kit": "FK", "side": "fluid", "size_mm": 50, "material": "CR", "unit_cost": ""}]
    parts = [row | {"unit_cost": ""} for row in tables["parts"]]
    taken = steps(tmp_path, kits=bare, parts=parts)
    records, lives, advice = taken
    assert {"stock", "budget"} <= records.withheld
    assert plan_stock(*taken).stock.empty
    assert plan_budget(records, lives, advice).table.empty
