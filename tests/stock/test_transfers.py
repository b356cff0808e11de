"""Surplus moved instead of an order: who gives, how much, what is still ordered."""

import dataclasses

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pumplife.stock.transfers import TRANSFER_COLUMNS, move_surplus, transfer_frame
from tests.stock.test_assess import COSTS, NOW, item, plant

STORES = {"transfer_days": 1.0, "transfer_cost": 60.0}


def works(**stores):
    known = plant(COSTS)
    return dataclasses.replace(known, raw={**known.raw, "stores": STORES | stores})


def has(store, surplus, *, on_hand=None, a_year=2.0, name="K"):
    return {
        "store": store, "item": name, "surplus": surplus, "demand_per_year": a_year / 2,
        "planned_per_year": a_year / 2, "today_on_hand": surplus if on_hand is None else on_hand,
    }  # fmt: skip


def wants(store, missing, *, step=1, name="K", days=5):
    quantity = np.ceil(missing / step) * step
    return {
        "store": store, "item": name, "quantity": quantity, "missing": float(missing), "step": step,
        "needed_by": NOW, "order_by": NOW + pd.Timedelta(days=days), "amount": quantity * 500.0,
        "why": "0 on the shelf",
    }  # fmt: skip


def moved(stock, orders, known=None, **changes):
    """Surplus moved between these stores."""
    return move_surplus(stock, orders, {"K": item(**changes)}, known or works())


def test_a_piece_is_moved_by_hand():
    # 4 too many at B, 2 a year used: the two moved would lie (4 - 2 / 2) / 2 = 1.5 years,
    # at 20 % of 500 a year: 2 x 150 kept for nothing against two transfers of 60
    found = moved([has("A", 0.0), has("B", 4.0)], [wants("A", 2)])
    assert found.orders == []
    (row,) = found.transfers
    assert (row["from_store"], row["to_store"], row["quantity"]) == ("B", "A", 2.0)
    assert row["there_on"] == NOW + pd.Timedelta(days=1)
    assert (row["transfer_cost"], row["order_avoided"]) == (120.0, 1000.0)
    assert row["lies_years"] == pytest.approx(1.5)
    assert row["keeping_avoided"] == pytest.approx(300.0)
    come, go = found.say_moves()
    assert come == {("A", "K"): ["move 2 from B now"]}
    assert go == {("B", "K"): ["move 2 to A now"]}


def test_orders_and_stock_say_the_same_number_of_a_surplus():
    """All that lies above the level, not just as many as are ordered; what is under way apart."""
    dear = "moving them costs more than it saves"
    said_of = {13.0: "11 more than needed in other stores: ",
               4.0: "11 more than needed in other stores (4 of them on the shelf): "}  # fmt: skip
    for on_hand, said in said_of.items():
        rows = [has("A", 0.0), has("B", 11.0, on_hand=on_hand, a_year=2000.0)]
        (order,) = moved(rows, [wants("A", 6)]).orders
        assert order["why"].endswith(said + dear)


def test_what_is_soon_used_where_it_lies_stays_there():
    # lies 1 / 20 of a year: 5 kept for nothing against 60
    found = moved([has("A", 0.0), has("B", 1.5, on_hand=2.0, a_year=20.0)], [wants("A", 1)])
    assert found.transfers == []
    (order,) = found.orders
    assert order["quantity"] == 1
    assert order["why"].endswith("1 more than needed in other stores: moving them costs more than "
                                 "it saves")  # fmt: skip


def test_what_nobody_takes_is_worth_its_price():
    found = moved([has("B", 1.0, a_year=0.0), has("A", 0.0)], [wants("A", 3)])
    (row,) = found.transfers
    assert (row["keeping_avoided"], np.isnan(row["lies_years"])) == (500.0, True)
    (order,) = found.orders
    assert (order["quantity"], order["amount"]) == (2.0, 1000.0)
    assert "1 moved from B" in order["why"]


def test_least_orders_are_kept_to():
    """Seven missing, ordered by five: with three moved, four are missing and five ordered."""
    found = moved([has("A", 0.0), has("B", 3.0)], [wants("A", 7, step=5)])
    assert [one["quantity"] for one in found.transfers] == [3.0]
    assert [one["quantity"] for one in found.orders] == [5.0]


def test_the_most_urgent_order_is_served_first_and_only_once():
    stock = [has("A", 0.0), has("C", 0.0), has("B", 2.0, a_year=0.5)]
    found = moved(stock, [wants("A", 2, days=9), wants("C", 2, days=1)])
    assert [one["to_store"] for one in found.transfers] == ["C"]
    assert [one["store"] for one in found.orders] == ["A"]


def test_the_nearer_store_gives():
    near = works(between={"A": {"C": {"transfer_days": 0.2, "transfer_cost": 15.0}}})
    found = moved([has("A", 0.0), has("B", 3.0), has("C", 3.0)], [wants("A", 2)], near)
    assert [(one["from_store"], one["transfer_cost"]) for one in found.transfers] == [("C", 30.0)]


def test_what_is_under_way_or_another_item_cant_be_moved():
    stock = [has("A", 0.0), has("B", 3.0, on_hand=0.0), has("C", 3.0, name="J")]
    found = moved(stock, [wants("A", 1)])
    assert (found.transfers, len(found.orders)) == ([], 1)
    assert "other stores" not in found.orders[0]["why"]


def test_without_settings_the_order_says_what_lies_elsewhere():
    found = moved([has("A", 0.0), has("B", 3.0)], [wants("A", 1)], plant(COSTS))
    assert found.transfers == []
    assert "[stores] transfer_days and transfer_cost not given" in found.orders[0]["why"]


def test_without_a_price_nothing_is_moved():
    found = moved([has("A", 0.0), has("B", 3.0)], [wants("A", 1)], unit_cost=np.nan)
    assert (found.transfers, len(found.orders)) == ([], 1)


def test_the_table_has_its_columns_when_empty():
    assert tuple(transfer_frame([]).columns) == TRANSFER_COLUMNS


@given(
    spare=st.lists(st.integers(0, 6), min_size=1, max_size=4),
    missing=st.lists(st.integers(1, 6), min_size=1, max_size=4),
    step=st.integers(1, 4),
)
@settings(max_examples=60, deadline=None)
def test_pieces_are_neither_made_nor_lost(spare, missing, step):
    givers = [has(f"G{n}", float(pieces)) for n, pieces in enumerate(spare)]
    takers = [has(f"T{n}", 0.0) for n in range(len(missing))]
    orders = [wants(f"T{n}", pieces, step=step) for n, pieces in enumerate(missing)]
    found = moved(givers + takers, orders)
    table, bought = transfer_frame(found.transfers), {o["store"]: o for o in found.orders}
    given_away = table.groupby("from_store")["quantity"].sum()
    assert all(given_away.get(f"G{n}", 0.0) <= pieces for n, pieces in enumerate(spare))
    for n, pieces in enumerate(missing):
        got = table.loc[table["to_store"] == f"T{n}", "quantity"].sum()
        ordered = bought.get(f"T{n}", {"quantity": 0.0})["quantity"]
        assert pieces <= got + ordered < pieces + step
    assert (table["keeping_avoided"] > table["transfer_cost"]).all()
