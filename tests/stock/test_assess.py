"""One item in one store by hand: level, money, today's shelf, the order and its words."""

import dataclasses

import numpy as np
import pandas as pd
import pytest

from pumplife.records.plant import Plant
from pumplife.stock.asked import ItemDemand
from pumplife.stock.assess import TodaysShelf, idle_row, pieces_missing, stock_row, whole_orders
from pumplife.stock.coming import list_coming
from pumplife.stock.items import Item
from pumplife.stock.orders import order_row
from pumplife.stock.reserve import NO_RESERVE
from pumplife.stock.tally import tally
from pumplife.stock.verdict import say_verdict

NOW = pd.Timestamp("2024-06-30")
COSTS = {"holding_per_year": 0.2, "order": 30.0, "waiting_per_day": 100.0}


def plant(costs=COSTS, **targets):
    return Plant(
        name="Plant",
        currency="EUR",
        usage_unit="hours",
        records_from=pd.Timestamp("2020-01-01"),
        records_to=NOW,
        raw={"costs": costs, "targets": {"service_level": 0.9} | targets},
    )


def item(**changes):
    settings = {
        "name": "K",
        "kind": "kit",
        "unit_cost": 500.0,
        "lead_time_days": 40.0,
        "lead_time_high": 40.0,
        "min_order": 1,
        "superseded_by": "",
    }
    return Item(**(settings | changes))


def demand(lead=(0, 0, 1, 1), protected=(0, 1, 1, 2), **changes):
    """Four equally likely futures."""
    lead, protected = np.array(lead), np.array(protected)
    settings = {
        "store": "MAIN",
        "item": "K",
        "lead": lead,
        "spans": (tally(lead), tally(lead), tally(protected)),
        "year": np.full(len(lead), 6),
        "planned_per_year": 2.0,
        "lead_days": np.full(len(lead), 40.0),
    }
    asked = settings | changes
    return ItemDemand(unplanned_per_year=float(np.mean(asked["year"])), **asked)


def shelf(on_hand=0.0, on_order=0.0, coming=(), planned=(), used=5.0):
    """What lies there and is under way; coming: (pieces, day) of each order."""
    return TodaysShelf(
        on_hand=on_hand,
        on_order=on_order,
        coming=list_coming(np.array(coming, dtype=float).reshape(-1, 2)),
        used=used,
        planned=np.array(planned, dtype=float),
    )


def test_level_and_money_by_hand():
    row, curve = stock_row(demand(), item(), plant(), shelf(on_hand=1))
    # one by one. Stock 1: of E[D(L+R)] - E[D(L)] = 0.5 asked, {E(D(L+R)-1)+ = .25} - 0 go short
    # at s = 0: fill 0.5; stock 2: none goes short
    assert row["reorder_point"] == 1
    assert row["order_up_to"] == 2
    assert row["fill_rate"] == pytest.approx(1.0)
    # a look leaves 2 at the least, demand is never above: nothing waits before the next can arrive
    assert row["shortage_prob"] == pytest.approx(0.0)
    assert row["cycle_service"] == pytest.approx(1.0)
    # mean over the review by Simpson: demand (0.5 + 4 · 0.5 + 1) / 6, nothing waits
    on_hand = 2 - 3.5 / 6
    assert row["capital"] == pytest.approx(500 * on_hand)
    assert row["pump_days_waiting"] == pytest.approx(0.0)
    # 8 a year, one by one, ordered at 12.175 looks where anything was asked since the last
    orders = 365.25 / 30 * (1 - np.exp(-8 * 30 / 365.25))
    assert row["cost_per_year"] == pytest.approx(0.2 * 500 * on_hand + 30 * orders)
    assert row["demand_per_year"] == 6
    assert row["limited_by"] == "target"
    assert curve.reorder_point == 1
    assert dict(zip(curve.level, curve.shortage_prob, strict=True))[0] == pytest.approx(0.25)


def test_a_lower_target_waits_and_pays_for_it():
    free = plant(COSTS | {"order": 0.0}, service_level=0.4)
    row, _ = stock_row(demand(), item(), free, shelf(on_hand=9))
    assert row["reorder_point"] == 0
    assert row["fill_rate"] == pytest.approx(0.5)
    # waiting: mean over the review of E(D - 1)+ = (0 + 0 + .25) / 6; no planned job is among them
    assert row["pump_days_waiting"] == pytest.approx(0.25 / 6 * 365.25)
    waiting = row["pump_days_waiting"] * 100
    holding = 0.2 * 500 * (1 - 3.5 / 6 + 0.25 / 6)
    assert row["cost_per_year"] == pytest.approx(holding + waiting)
    assert row["least_cost_up_to"] == 2
    cheapest = 0.2 * 500 * (2 - 3.5 / 6)
    assert row["least_cost_per_year"] == pytest.approx(cheapest)
    saved = round(row["cost_per_year"] - cheapest)
    words = f"waiting or ordering is dear: up to 2 would cost {saved:,} EUR less a year"
    assert f"{words}; [targets] service_level of 40 % decides" in row["verdict"]


def test_without_a_target_the_cost_decides():
    settings = plant()
    settings.raw["targets"].clear()
    row, _ = stock_row(demand(), item(), settings, shelf())
    assert row["limited_by"] == "cost"
    assert row["order_up_to"] == row["least_cost_up_to"]
    assert row["cost_per_year"] == pytest.approx(row["least_cost_per_year"])
    dear, _ = stock_row(demand(), item(unit_cost=1e6), settings, shelf())
    assert dear["order_up_to"] == 0
    target, _ = stock_row(demand(), item(unit_cost=1e6), plant(), shelf())
    assert "keeping it is dear: up to 0 would cost" in target["verdict"]


@pytest.mark.parametrize("missing", ["holding_per_year", "waiting_per_day"])
def test_without_costs_the_target_decides_and_money_stays_blank(missing):
    costs = {name: value for name, value in COSTS.items() if name != missing}
    settings = plant(costs)
    settings.raw["targets"].clear()
    row, _ = stock_row(demand(), item(), settings, shelf())
    assert row["limited_by"] == "target"
    assert row["reorder_point"] == 1  # by the usual service level of 0.95
    assert np.isnan(row["cost_per_year"])
    assert np.isnan(row["least_cost_up_to"])


def test_the_least_order_lifts_the_shelf():
    row, _ = stock_row(demand(), item(min_order=10), plant(), shelf())
    assert row["reorder_point"] == 0
    assert row["order_up_to"] == 10
    assert row["limited_by"] == "min_order"
    assert "order 10 now" in row["verdict"]


def test_todays_shelf_by_hand():
    # unplanned demand 0, 0, 1, 1 and one job within the lead time; one on the shelf, one arriving
    row, _ = stock_row(
        demand(early=np.zeros((1, 4))),
        item(),
        plant(),
        shelf(on_hand=1, on_order=2, coming=[(1, -3)], planned=[10, 50]),
    )
    assert row["today_shortage_prob"] == pytest.approx(0.0)
    bare, _ = stock_row(demand(), item(), plant(), shelf(on_hand=1, planned=[10, 50]))
    assert bare["today_shortage_prob"] == pytest.approx(0.5)
    assert "likely to run out" in bare["verdict"]
    assert bare["capital_today"] == 500
    assert bare["months_cover"] == pytest.approx(1 / 8 * 12)
    assert bare["used_12m"] == 5.0


def test_a_random_lead_time_decides_which_jobs_count():
    lead_days = np.array([5.0, 20.0, 20.0, 60.0])
    row, _ = stock_row(
        demand(lead=(0, 0, 0, 0), lead_days=lead_days), item(), plant(), shelf(planned=[10.0])
    )
    assert row["today_shortage_prob"] == pytest.approx(0.75)


def test_surplus_by_hand():
    row, _ = stock_row(demand(), item(), plant(), shelf(on_hand=5, on_order=1, planned=[3.0]))
    assert row["surplus"] == 5 + 1 - 2 - 1
    assert row["surplus_value"] == 3 * 500
    assert "1 of them under way: ask whether that order can wait" in row["verdict"]
    few, _ = stock_row(demand(), item(), plant(service_level=0.4), shelf(on_order=2))
    assert (few["surplus"], few["least_cost_up_to"]) == (1, 3)  # of use at the level of least cost
    assert "under way: ask" not in few["verdict"]
    coming, _ = stock_row(demand(), item(), plant(), shelf(on_order=6))
    assert (coming["surplus"], coming["surplus_value"]) == (4, 2000)
    assert "3 of them under way" in coming["verdict"]
    assert row["verdict"].startswith("3 above what the service level asks for")


def test_surplus_over_a_level_by_cost_is_not_said_to_be_over_the_service_level():
    by_cost = dataclasses.replace(plant(), raw={**plant().raw, "targets": {}})
    row, _ = stock_row(demand(), item(), by_cost, shelf(on_hand=50))
    assert row["limited_by"] == "cost"
    assert f"{row['surplus']:.0f} above the level of least cost" in row["verdict"]


def test_pieces_that_the_level_of_least_cost_uses_are_to_be_kept():
    few, _ = stock_row(demand(), item(), plant(service_level=0.4), shelf(on_hand=2))
    assert (few["surplus"], few["least_cost_up_to"] - few["order_up_to"]) == (1, 2)
    said = "1 above what the service level asks for, not above the level of least cost: keep them"
    assert few["verdict"].startswith(said)
    more, _ = stock_row(demand(), item(), plant(service_level=0.4), shelf(on_hand=9))
    assert "8 above what the service level asks for, 6 above the level of least" in more["verdict"]


def test_a_verdict_says_what_is_moved_before_what_is_ordered():
    row, _ = stock_row(demand(), item(), plant(), shelf(on_hand=0))
    assert row["verdict"].startswith("order 2 now; ")
    rest = row["verdict"].removeprefix("order 2 now; ")
    said = say_verdict(row, plant(), NO_RESERVE, order=1, come=["move 1 from B now"])
    assert said == f"move 1 from B now; order 1 now; {rest}"
    said = say_verdict(row, plant(), NO_RESERVE, order=0, come=["move 2 from B now"])
    assert said == f"move 2 from B now; {rest}"
    gone = say_verdict(row, plant(), NO_RESERVE, order=2, go=["move 1 to B now"])
    assert gone == f"{row['verdict']}; move 1 to B now"


def test_an_idle_item_is_all_surplus():
    row = idle_row("MAIN", item(), 4.0)
    assert (row["surplus"], row["surplus_value"], row["capital_today"]) == (4.0, 2000.0, 2000.0)
    assert "no pump of this store" in row["verdict"]
    assert "use it up" in idle_row("MAIN", item(kind="part"), 4.0)["verdict"]


def test_an_idle_item_that_will_expire_is_not_to_be_used_up():
    part = idle_row("MAIN", item(kind="part"), 4.0, unused=3.0, on_order=1.0)
    told = "kits cover the work as advised: lend or return it, 3 will likely expire unused"
    assert part["verdict"] == told
    assert part["today_on_order"] == 1.0
    gone = idle_row("MAIN", item(kind="part"), 0.0, expired=3.0)
    assert gone["verdict"] == "kits cover the work as advised: no need to order more"
    unknown = idle_row("MAIN", item(), 2.0, why="no level: it has no lead time", unused=2.0)
    assert unknown["verdict"] == "no level: it has no lead time"


@pytest.mark.parametrize(
    ("on_hand", "jobs", "least", "quantity"),
    [(3, 0, 1, 0), (2, 0, 1, 1), (0, 0, 1, 3), (0, 4, 1, 7), (2, 0, 5, 5), (0, 4, 5, 10)],
)
def test_orders_bring_the_position_above_the_reorder_point(on_hand, jobs, least, quantity):
    today = shelf(on_hand=on_hand, planned=np.arange(jobs))
    assert whole_orders(pieces_missing(today, 2), least) == quantity
    position = on_hand + quantity - jobs
    assert 2 < position <= 2 + max(least, on_hand)


def order(today, **changes):
    terms = item(**changes)
    row, _ = stock_row(demand(), terms, plant(), today)
    return order_row(row, terms, today, NOW)


def test_an_order_for_the_shelf_alone():
    got = order(shelf(on_hand=1, on_order=0))
    assert (got["store"], got["item"], got["quantity"], got["amount"]) == ("MAIN", "K", 1.0, 500.0)
    assert got["needed_by"] == NOW + pd.Timedelta(days=40)
    assert got["order_by"] == NOW
    assert got["why"] == "1 on the shelf, 0 under way; reorder at 1"


def test_an_order_for_jobs_that_come_later():
    # three on the shelf, reorder at 1: the second job brings it down to 1
    got = order(shelf(on_hand=3, planned=[20.0, 52.0]))
    assert got["quantity"] == 1
    assert got["needed_by"] == NOW + pd.Timedelta(days=52)
    assert got["order_by"] == NOW + pd.Timedelta(days=12)
    assert "2 planned jobs take one each" in got["why"]
    assert "arrives" not in got["why"]


def test_an_order_at_the_reorder_point_is_due_now():
    # one on the shelf is the reorder point; it covers the first job, not the second
    got = order(shelf(on_hand=1, planned=[20.0, 52.0]))
    assert got["quantity"] == 3
    assert got["needed_by"] == NOW + pd.Timedelta(days=40)
    assert got["order_by"] == NOW


def test_jobs_before_an_order_can_arrive_are_no_day_by_which_it_is_needed():
    # four lie, reorder at 1: three jobs bring them there before what is ordered now can arrive,
    # and only the fifth finds nothing
    got = order(shelf(on_hand=4, planned=[0.0, 1.0, 2.0, 10.0]))
    assert (got["needed_by"], got["order_by"]) == (NOW + pd.Timedelta(days=40), NOW)
    got = order(shelf(on_hand=4, planned=[0.0, 1.0, 2.0, 10.0, 15.0]))
    assert (got["needed_by"], got["order_by"]) == (NOW + pd.Timedelta(days=15), NOW)


def test_planned_work_is_ordered_for_by_the_high_lead_time():
    got = order(shelf(on_hand=3, planned=[20.0, 82.0]), lead_time_high=70.0)
    assert got["needed_by"] == NOW + pd.Timedelta(days=82)
    assert got["order_by"] == NOW + pd.Timedelta(days=12)
    assert item(lead_time_high=np.nan).ahead_days == 40.0
    assert item(lead_time_high=30.0).ahead_days == 40.0


def test_an_order_that_comes_too_late_says_so():
    got = order(shelf(planned=[5.0]), min_order=4)
    assert got["order_by"] == NOW
    assert got["needed_by"] == NOW + pd.Timedelta(days=5)
    assert "arrives about 35 days after a job that needs it" in got["why"]
    assert "1 planned job takes one" in got["why"]
    assert "least order 4" in got["why"]


def test_enough_means_no_order():
    assert order(shelf(on_hand=2)) is None
    assert order(shelf(on_hand=0, on_order=2)) is None
