"""Money on the shelf against waiting: the frontier against search, points by hand, lead time."""

import itertools

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pumplife.stock.asked import count_futures
from pumplife.stock.assess import TodaysShelf, stock_row
from pumplife.stock.frontier import build_frontier, list_levels
from pumplife.stock.lead_worth import count_sooner
from tests.stock.fleets import poisson_futures
from tests.stock.test_pooling import kit, plant

PRICES = (50.0, 120.0, 300.0)


def rows_of(rates, *, place=None, today=2.0, prices=PRICES, lead=30.0, replicates=400):
    """Stock rows and curves of one item per store."""
    futures = poisson_futures(rates, lead=lead, replicates=replicates)
    demands = count_futures(futures)
    sooner = count_sooner(futures, demands)
    shelf = TodaysShelf(on_hand=today, on_order=0.0, used=0.0, planned=np.zeros(0))
    found = [
        stock_row(demand, kit(price), place or plant(level=0.95), shelf, sooner=fast)
        for demand, fast, price in zip(demands, sooner, prices, strict=False)
    ]
    return pd.DataFrame([row for row, _ in found]), [curve for _, curve in found]


def test_no_other_shelves_of_the_same_value_let_pumps_wait_less():
    """Against every combination of levels of three items."""
    stock, curves = rows_of([3.0, 6.0, 10.0])
    table = build_frontier(curves, stock)
    steps = table[table["point"] == "frontier"]
    levels = [curve.levels for curve in curves]
    money = [one.on_hand * one.unit_cost for one in levels]
    for row in steps.iloc[2:12].to_dict("records"):
        best = min(
            sum(one.waiting[k] for one, k in zip(levels, ks, strict=True))
            for ks in itertools.product(*(range(min(7, len(one.point))) for one in levels))
            if sum(cash[k] for cash, k in zip(money, ks, strict=True)) <= row["capital"] + 1e-6
        )
        assert row["pump_days_waiting"] <= best + 1e-6


def test_the_frontier_ends_where_nobody_waits_and_starts_with_nothing():
    stock, curves = rows_of([3.0, 6.0])
    table = build_frontier(curves, stock)
    steps = table[table["point"] == "frontier"]
    assert (steps["capital"].diff().dropna() > 0).all()
    assert (steps["pump_days_waiting"].diff().dropna() <= 1e-9).all()
    assert steps["pump_days_waiting"].iloc[-1] == pytest.approx(0.0, abs=1e-9)
    assert steps["fill_rate"].iloc[-1] > 0.999
    assert (steps["item"].iloc[0], steps["store"].iloc[1]) == ("", "A")


def test_advised_and_today_lie_on_their_own_shelves():
    stock, curves = rows_of([3.0, 6.0], today=4.0)
    table = build_frontier(curves, stock).set_index("point")
    advised = table.loc["advised"]
    assert advised["capital"] == pytest.approx(stock["capital"].sum())
    assert advised["pump_days_waiting"] == pytest.approx(stock["pump_days_waiting"].sum())
    assert table.loc["today", "capital"] == pytest.approx(4 * 50.0 + 4 * 120.0)
    held = [levels.waiting[levels.point == 3.0].item() for levels in (c.levels for c in curves)]
    assert table.loc["today", "pump_days_waiting"] == pytest.approx(sum(held))
    frontier = table.loc["frontier"]
    as_dear = frontier[frontier["capital"] <= advised["capital"] + 1e-6].iloc[-1]
    dearest = max(PRICES[:2])
    assert as_dear["capital"] > advised["capital"] - dearest - 1e-6


def test_levels_are_listed_with_both_marks():
    stock, curves = rows_of([6.0], today=2.0)
    table = list_levels(curves)
    (advised,) = table[table["mark"].str.contains("advised")].to_dict("records")
    assert advised["reorder_point"] == stock["reorder_point"].iloc[0]
    assert advised["cost_per_year"] == pytest.approx(stock["cost_per_year"].iloc[0])
    (today,) = table[table["mark"].str.contains("today")].to_dict("records")
    assert today["order_up_to"] == 2
    assert (table["shortage_prob"].diff().dropna() <= 0).all()
    assert (table["shortage_cost"] <= table["cost_per_year"]).all()


def test_an_item_without_a_price_is_left_out_of_the_frontier():
    stock, curves = rows_of([3.0, 6.0], prices=(np.nan, 120.0))
    table = build_frontier(curves, stock)
    assert set(table["store"]) == {"", "B"}
    assert build_frontier(curves[:1], stock).empty
    assert list_levels([]).empty


@given(rate=st.floats(0.5, 20.0), lead=st.floats(0.0, 90.0), level=st.sampled_from([None, 0.95]))
@settings(max_examples=10, deadline=None)
def test_sooner_orders_are_never_worth_less_than_nothing(rate, lead, level):
    stock, _ = rows_of([rate], place=plant(level=level), lead=lead, replicates=150)
    assert stock["lead_time_worth"].iloc[0] >= 0.0


def test_sooner_orders_by_hand():
    """Poisson 2 and 4/3 over the lead time at 95 %: five pieces kept, then four."""
    rate = 2.0 * 365.25 / 30.0
    costs = {"holding_per_year": 0.2, "waiting_per_day": 0.0, "order": 0.0}
    stock, _ = rows_of([rate], place=plant(level=0.90, costs=costs), replicates=6000)
    assert stock["order_up_to"].iloc[0] == 5
    # on the shelf in the mean: 5 - 2 + E[(D - 5)+] = 3.036, and 4 - 4/3 + E[(D - 4)+] = 2.686
    assert stock["lead_time_worth"].iloc[0] == pytest.approx(0.2 * 50.0 * (3.036 - 2.686), rel=0.08)


def test_without_prices_sooner_orders_have_no_worth():
    stock, _ = rows_of([6.0], place=plant(level=0.95, costs={}))
    assert stock["lead_time_worth"].isna().all()
