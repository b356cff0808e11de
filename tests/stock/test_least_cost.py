"""Costs of levels by hand, rush orders, reserves, and what no change of terms may do."""

import dataclasses

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pumplife.stock.asked import ItemDemand
from pumplife.stock.assess import advise_level, price_item, stock_row
from pumplife.stock.future import planned_at
from pumplife.stock.least_cost import (
    ItemPrices,
    assess_demand,
    cost_levels,
    find_least_cost,
    orders_per_year,
)
from pumplife.stock.level import assess_levels, poisson_pmf, reorder_point
from pumplife.stock.reserve import Reserve
from pumplife.stock.tally import tally
from tests.stock.fleets import lives, side_group, simulate_demand
from tests.stock.test_assess import COSTS, demand, item, plant, shelf

PRICES = ItemPrices(unit_cost=500.0, holding=100.0, order=30.0, waiting_per_day=100.0)


def poisson_demand(a_year, lead, review=30.0, seed=0, futures=600):
    """Futures of a memoryless fleet."""
    rng = np.random.default_rng(seed)
    spans = [rng.poisson(a_year * (lead + part * review) / 365.25, futures) for part in (0, 0.5, 1)]
    year = rng.poisson(a_year, futures)
    return ItemDemand(
        store="MAIN",
        item="K",
        lead=spans[0],
        spans=tuple(map(tally, (spans[0], np.maximum(*spans[:2]), np.maximum.reduce(spans)))),
        year=year,
        unplanned_per_year=float(year.mean()),
        planned_per_year=0.0,
        lead_days=np.full(futures, lead),
    )


def test_at_most_one_order_at_each_look():
    assert orders_per_year(8.0, 1, 0.0) == 8.0
    # 12.175 looks, each with an order if anything was asked since the last
    assert orders_per_year(8.0, 1, 30.0) == pytest.approx(
        365.25 / 30 * (1 - np.exp(-8 * 30 / 365.25))
    )
    assert orders_per_year(1e4, 1, 30.0) == pytest.approx(365.25 / 30)
    assert orders_per_year(8.0, 50, 30.0) == pytest.approx(8 / 50)


def test_a_job_whose_kit_comes_late_costs_no_waiting():
    """By hand: one planned job beyond those known in each of four futures, two breakdowns in all.

    Over lead and review futures ask for 1, 2, 2 and 1 pieces. The job comes first, but in one
    future second, and is asked for by the end of each span, six times of six.
    """
    asked = demand(
        lead=(1, 2, 2, 1), protected=(1, 2, 2, 1), spans=(tally([1, 2, 2, 1]),) * 3,
        late=tally([0] * 18 + [1] * 6),
    )  # fmt: skip
    found = assess_demand(asked, 1)
    assert found.reorder_point[:3].tolist() == [-1, 0, 1]
    # nothing kept: 6/4 wait, of them 4/4 jobs; one piece: 2/4, of them 1/4 jobs; two: none
    assert found.backorders[:3] == pytest.approx([1.5, 0.5, 0.0])
    assert found.pumps_waiting[:3] == pytest.approx([0.5, 0.25, 0.0])
    cost = cost_levels(found, asked, PRICES, 30.0)
    assert cost.waiting[:3] == pytest.approx(np.array([0.5, 0.25, 0.0]) * 365.25)
    assert cost.short[:3] == pytest.approx(100 * cost.waiting[:3])


@given(st.floats(0.05, 30.0), st.floats(3.0, 200.0), st.integers(1, 5))
@settings(max_examples=20, deadline=None)
def test_where_nothing_is_planned_all_that_wait_are_pumps(a_year, lead, quantity):
    found = assess_demand(poisson_demand(a_year, lead), quantity)
    assert found.pumps_waiting.tolist() == found.backorders.tolist()


def test_a_rush_order_where_it_is_cheaper_than_waiting():
    # stock 1: half of 6 demands a year go short; .25 / 6 wait on average, pumps down
    found = assess_demand(demand(), 1)
    at = int(np.flatnonzero(found.reorder_point == 0)[0])
    waits = 0.25 / 6 * 365.25
    slow = cost_levels(found, demand(), PRICES, 30.0)
    assert slow.waiting[at] == pytest.approx(waits)
    assert slow.rushed[at] == 0.0
    prices = dataclasses.replace(PRICES, rush=80.0, rush_days=2.0)
    quick = cost_levels(found, demand(), prices, 30.0)
    assert quick.rushed[at] == pytest.approx(3.0)
    assert quick.waiting[at] == pytest.approx(6.0)
    saved = 100 * waits - 3 * (80 + 2 * 100)
    assert slow.money[at] - quick.money[at] == pytest.approx(saved)
    dear = dataclasses.replace(PRICES, rush=800.0, rush_days=2.0)
    assert cost_levels(found, demand(), dear, 30.0).money[at] == pytest.approx(slow.money[at])


def test_rush_orders_stand_in_the_row_and_its_words():
    settings_ = plant(COSTS | {"expedite": 80.0}, service_level=0.4)
    settings_.raw["stock"] = {"rush_days": 2.0}
    row, _ = stock_row(demand(), item(), settings_, shelf())
    assert row["rush_per_year"] == pytest.approx(3.0)
    assert "a rush order is cheaper than waiting" in row["verdict"]
    settings_.raw["stock"] = {}
    row, _ = stock_row(demand(), item(), settings_, shelf())
    assert row["rush_per_year"] == 0.0


def test_least_cost_is_the_least_of_all_quantities_and_points():
    prices = dataclasses.replace(PRICES, holding=20.0)
    asked = poisson_demand(12.0, 45.0)
    best, point, cost = find_least_cost(asked, 1, prices, 30.0)
    grid = [
        (float(money), quantity)
        for quantity in range(1, 14)
        for money in cost_levels(assess_demand(asked, quantity), asked, prices, 30.0).money
    ]
    assert cost == pytest.approx(min(grid)[0])
    assert (best.quantity, cost) == (min(grid)[1], pytest.approx(min(grid)[0]))
    assert best.quantity > 1
    assert point in best.reorder_point
    assert find_least_cost(asked, 10, prices, 30.0)[0].quantity >= 10


def test_a_reserve_raises_the_reorder_point_and_serves_critical_pumps_better():
    plain, _ = stock_row(demand(), item(), plant(service_level=0.4), shelf())
    row, curve = stock_row(
        demand(),
        item(),
        plant(service_level=0.4),
        shelf(),
        reserve=Reserve(pieces=1, classes=("A",)),
    )
    assert row["reorder_point"] == plain["reorder_point"] + 1 == curve.reorder_point
    assert row["order_up_to"] == plain["order_up_to"] + 1
    assert row["fill_rate"] == plain["fill_rate"] == pytest.approx(0.5)
    assert row["critical_fill"] == pytest.approx(1.0)
    assert row["capital"] == pytest.approx(plain["capital"] + 500)
    assert row["cost_per_year"] == pytest.approx(plain["cost_per_year"] + 0.2 * 500)
    assert "raised by 1: kept for breakdowns on pumps of class A" in row["verdict"]
    assert np.isnan(plain["critical_fill"])


def test_planned_work_alone_keeps_nothing():
    none = np.zeros(4, int)
    ahead = demand(
        lead=none, protected=none, year=none, spans=tuple(map(tally, (none - 1, none, none)))
    )
    row, _ = stock_row(ahead, item(), plant(), shelf(on_hand=1, planned=[5.0]))
    assert (row["reorder_point"], row["order_up_to"]) == (-1, 0)
    assert "nothing is kept: ordered for each job as it comes" in row["verdict"]
    assert "order" not in row["verdict"].split(";")[0]
    short, _ = stock_row(ahead, item(), plant(), shelf(planned=[5.0]))
    assert short["verdict"].startswith("order 1 now")


def test_pieces_lying_for_jobs_to_come_are_capital():
    none = np.zeros(4, int)
    ahead = demand(lead=none, spans=tuple(map(tally, (none - 2, none - 1, none))), year=none)
    # Simpson: two pieces, one piece, none
    row, _ = stock_row(ahead, item(), plant(), shelf())
    assert row["capital"] == pytest.approx(500 * (2 + 4 * 1 + 0) / 6)


rates, leads = st.floats(0.05, 30.0), st.floats(3.0, 200.0)


@given(rates, leads, st.floats(1.01, 3.0), st.integers(1, 5))
@settings(max_examples=40, deadline=None)
def test_longer_lead_time_never_lowers_the_level(a_year, lead, longer, quantity):
    def level(days):
        spans = [poisson_pmf(a_year * (days + part * 30.0) / 365.25) for part in (0.0, 0.5, 1.0)]
        return reorder_point(assess_levels(spans[0], tuple(spans[1:]), quantity=quantity), 0.95)

    assert level(lead * longer) >= level(lead)


@given(rates, leads, st.floats(0.3, 0.9), st.floats(0.01, 0.09), st.integers(1, 5))
@settings(max_examples=40, deadline=None)
def test_higher_target_never_lowers_the_level(a_year, lead, target, more, quantity):
    found = assess_demand(poisson_demand(a_year, lead), quantity)
    assert reorder_point(found, target + more) >= reorder_point(found, target)


@given(rates, leads, st.floats(1.0, 500.0), st.floats(1.01, 20.0))
@settings(max_examples=40, deadline=None)
def test_dearer_waiting_never_lowers_the_level(a_year, lead, waiting, factor):
    asked = poisson_demand(a_year, lead)
    tops = []
    for price in (waiting, waiting * factor):
        costs = COSTS | {"waiting_per_day": price}
        settings_ = plant(costs | {"order": 0.0})
        settings_.raw["targets"].clear()
        level = advise_level(asked, 1, settings_, price_item(settings_, 500.0))
        assert level.limited_by == "cost"
        tops.append(level.reorder_at + level.shelf.quantity)
    assert tops[1] >= tops[0]


def planned_demand(days, *, outage=False):
    """Pumps that wear, renewed as planned or half of them on one day; lead times are spread."""
    group = side_group(24, lives([2.5], [1600.0]), age=np.linspace(0, 1150, 24)[:, None])
    half = np.where(np.arange(24) % 2 == 0, 100.0, np.nan)
    way = dataclasses.replace(planned_at(1200.0), first_days=half if outage else None)
    (asked,) = simulate_demand([group], [way], {"K": (days, 1.5 * days)}, review_days=30.0,
                               replicates=1500, seed=4)  # fmt: skip
    return asked


def least_level(asked, waiting, rush=np.nan):
    prices = dataclasses.replace(
        PRICES, order=0.0, waiting_per_day=waiting, rush=rush, rush_days=2.0
    )
    money = cost_levels(assess_demand(asked, 1), asked, prices, 30.0).money
    return int(np.argmin(money)) - 1


@pytest.mark.parametrize("rush", [np.nan, 400.0])
@pytest.mark.parametrize("outage", [False, True])
def test_with_jobs_in_it_dearer_waiting_never_lowers_the_level(outage, rush):
    asked = planned_demand(50.0, outage=outage)
    assert asked.late.of > 0
    levels = [least_level(asked, price, rush) for price in (1.0, 5.0, 20.0, 100.0, 500.0, 2500.0)]
    assert (np.diff(levels) >= 0).all()
    assert levels[-1] > levels[0]


@pytest.mark.parametrize("waiting", [20.0, 100.0, 500.0])
def test_with_jobs_in_it_a_longer_lead_time_never_lowers_the_level(waiting):
    levels = [least_level(planned_demand(days), waiting) for days in (10.0, 20.0, 40.0, 60.0, 80.0)]
    assert (np.diff(levels) >= 0).all()
    assert levels[-1] > levels[0]


@pytest.mark.parametrize("quantity", [1, 4])
@pytest.mark.parametrize("target", [0.5, 0.999])
def test_no_demand_keeps_nothing_whatever_the_target(quantity, target):
    none = np.zeros(5, int)
    asked = demand(lead=none, protected=none, year=none, planned_per_year=0.0)
    settings_ = plant(service_level=target)
    level = advise_level(asked, quantity, settings_, price_item(settings_, 500.0))
    assert level.reorder_at == -1
