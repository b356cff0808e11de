"""One shelf for several stores: a published kind of case, dominance, transfers by hand."""

import dataclasses

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pumplife.records.plant import Plant
from pumplife.stock.ageing import Ageing
from pumplife.stock.asked import count_futures
from pumplife.stock.items import Item
from pumplife.stock.needs import sort_needs
from pumplife.stock.pooled import pool_futures, pooled_point, price_shelf
from pumplife.stock.pooling import POOLING_COLUMNS, compare_pooling, say_pooling
from tests.stock.fleets import poisson_futures

DAY = pd.Timestamp("2024-12-31")
COSTS = {"holding_per_year": 0.2, "waiting_per_day": 200.0, "order": 0.0}


def plant(*, level=None, stores=None, costs=None):
    raw = {"costs": COSTS if costs is None else costs, "targets": {"review_days": 0.0}}
    raw["targets"] |= {} if level is None else {"service_level": level}
    raw |= {} if stores is None else {"stores": stores}
    return Plant(
        name="X", currency="EUR", usage_unit="hours", records_from=DAY, records_to=DAY, raw=raw
    )


def kit(price=100.0, least=1):
    return Item(
        name="K", kind="kit", unit_cost=price, lead_time_days=30.0, lead_time_high=np.nan,
        min_order=least, superseded_by="",
    )  # fmt: skip


def stock_of(futures, place, item):
    """The columns of the stock table that pooling reads, each store on its own."""
    rows = []
    for demand in count_futures(futures):
        shelf = price_shelf(demand, item, place)
        own = shelf.at(shelf.level.point)
        rows.append({"store": demand.store, "item": demand.item, "order_up_to": own.pieces,
                     "reorder_point": shelf.level.reorder_at, "capital": own.capital,
                     "cost_per_year": own.cost, "pump_days_waiting": own.waiting})  # fmt: skip
    return pd.DataFrame(rows)


def table_of(futures, place, item=None, **extra):
    item = item or kit()
    kwargs = {"reserves": {}, "ageing": {}} | extra
    return compare_pooling(futures, stock_of(futures, place, item), {"K": item}, place, **kwargs)


FOUR = [0.5 * 365.25 / 30.0] * 4  # half a demand in each lead time


def test_four_stores_of_half_a_demand_keep_twelve_apart_and_six_pooled():
    """Independently computed: base stock of Poisson 0.5 at 98 % is 3, of Poisson 2 it is 6."""
    futures = poisson_futures(FOUR, replicates=6000)
    (row,) = table_of(futures, plant(level=0.98, costs={})).to_dict("records")
    assert (row["apart_pieces"], row["pooled_pieces"]) == (12, 6)
    assert row["pooled_fill"] == pytest.approx(0.9834, abs=0.003)  # P(D <= 5)
    assert row["demand_per_year"] == pytest.approx(sum(FOUR), rel=0.02)
    assert row["advice"] == ""
    assert "isn't given" in row["why"]


def test_pooled_demand_is_the_sum_future_by_future():
    futures = poisson_futures([3.0, 5.0], replicates=300)
    futures = dataclasses.replace(futures, lead=np.full((2, 300), 30.0))
    apart = count_futures(futures)
    (pooled,) = count_futures(pool_futures(futures, [[0, 1]]))
    assert (pooled.year == apart[0].year + apart[1].year).all()
    assert (pooled.lead == apart[0].lead + apart[1].lead).all()


@given(
    rates=st.lists(st.floats(0.2, 20.0), min_size=2, max_size=4),
    wait=st.floats(5.0, 500.0),
    level=st.sampled_from([None, 0.8, 0.95]),
    seed=st.integers(0, 50),
)
@settings(max_examples=15, deadline=None)
def test_pooling_never_costs_more_before_transfers(rates, wait, level, seed):
    futures = poisson_futures(rates, replicates=150, seed=seed)
    place = plant(level=level, costs=COSTS | {"waiting_per_day": wait})
    (row,) = table_of(futures, place).to_dict("records")
    assert row["pooled_cost"] <= row["apart_cost"] * (1 + 1e-9)
    assert row["pooled_pieces"] <= row["apart_pieces"]
    assert row["saving_before_transfers"] == pytest.approx(row["apart_cost"] - row["pooled_cost"])


def test_stores_struck_together_gain_nothing_from_a_pool():
    """Both stores ask in the same moments: the pool needs what both need."""
    futures = poisson_futures([6.0], replicates=2000)
    needs = futures.needs
    both = {name: np.concatenate([getattr(needs, name)] * 2) for name in ("replicate", "day")}
    both["planned"] = np.zeros(len(both["day"]), np.bool_)
    both["key"] = np.repeat([0, 1], len(needs.day))
    twice = dataclasses.replace(
        futures,
        keys=[("A", "K"), ("B", "K")],
        lead=np.full((2, 2000), 30.0),
        listed=np.full(2, 30.0),
        needs=sort_needs(dataclasses.replace(needs, **both), 2000),
    )
    (together,) = table_of(twice, plant(level=0.95)).to_dict("records")
    (free,) = table_of(poisson_futures([6.0, 6.0]), plant(level=0.95)).to_dict("records")
    assert free["pooled_pieces"] < together["pooled_pieces"] <= together["apart_pieces"]


def test_transfers_by_hand():
    """B asks 2 a year of A's shelf: 2 transfers, each 1.5 days of a waiting pump."""
    stores = {"transfer_days": 1.5, "transfer_cost": 40.0}
    futures = poisson_futures([10.0, 2.0], replicates=4000)
    (row,) = table_of(futures, plant(level=0.95, stores=stores)).to_dict("records")
    moved = row["transfers_per_year"]
    assert moved == pytest.approx(2.0, rel=0.05)
    assert row["pooled_transfer_cost"] == pytest.approx(moved * (40.0 + 1.5 * 200.0))
    # one kept in B meets all but those within 1.5 days of another: 2/365.25 x 1.5 of them
    late = (row["local_transfer_cost"] - moved * 40.0) / (moved * 1.5 * 200.0)
    assert late == pytest.approx(1.0 - np.exp(-2.0 / 365.25 * 1.5), abs=0.004)


def test_a_far_store_stays_apart_and_a_near_one_doesnt():
    futures = poisson_futures([4.0, 4.0], replicates=1000)
    far = {"transfer_days": 9.0, "transfer_cost": 900.0}
    near = {"transfer_days": 0.0, "transfer_cost": 0.0}
    (apart,) = table_of(futures, plant(level=0.98, stores=far)).to_dict("records")
    (pooled,) = table_of(futures, plant(level=0.98, stores=near)).to_dict("records")
    assert (apart["advice"], apart["saving_per_year"]) == ("apart", 0.0)
    assert apart["holds"] == ", ".join(f"{s}: {apart['apart_pieces'] / 2:.0f}" for s in "AB")
    assert pooled["advice"] == "pooled"
    assert pooled["saving_per_year"] == pytest.approx(pooled["saving_before_transfers"])
    assert pooled["holds"] == f"A: {pooled['pooled_pieces']:.0f}"


def test_one_piece_in_each_store_where_waiting_for_it_is_dear():
    stores = {"transfer_days": 1.0, "transfer_cost": 1.0}
    futures = poisson_futures([6.0, 6.0, 6.0], replicates=1000)
    place = plant(stores=stores, costs=COSTS | {"waiting_per_day": 300.0})
    (row,) = table_of(futures, place).to_dict("records")
    assert row["advice"] == "one_in_each"
    assert row["holds"].count(": 1") >= 2
    held = sum(int(words.split(": ")[1]) for words in row["holds"].split(", "))
    assert held == row["local_pieces"]


def test_a_pair_of_stores_may_have_its_own_transfer():
    stores = {"transfer_days": 9.0, "transfer_cost": 900.0,
              "between": {"B": {"A": {"transfer_days": 0.0, "transfer_cost": 0.0}}}}  # fmt: skip
    (row,) = table_of(poisson_futures([4.0, 4.0]), plant(stores=stores)).to_dict("records")
    assert row["advice"] == "pooled"


def test_without_transfers_there_is_no_advice():
    (row,) = table_of(poisson_futures([4.0, 4.0]), plant()).to_dict("records")
    assert row["advice"] == ""
    assert "transfer_days and transfer_cost" in row["why"]
    assert row["saving_before_transfers"] >= 0


def test_a_pool_uses_up_what_would_age_out_apart():
    """One demand in two years in each store, storage life one year."""
    futures = poisson_futures([0.5, 0.5], replicates=400)
    counts = np.random.default_rng(3).poisson(0.125, (2, 8, 400))
    ageing = {(s, "K"): Ageing(years=1.0, counts=c) for s, c in zip("AB", counts, strict=True)}
    (risky,) = table_of(futures, plant(), ageing=ageing).to_dict("records")
    (sure,) = table_of(futures, plant()).to_dict("records")
    assert risky["pooled_cost"] > sure["pooled_cost"]


def test_one_store_has_nothing_to_pool():
    table = table_of(poisson_futures([4.0]), plant())
    assert table.empty
    assert tuple(table.columns) == POOLING_COLUMNS


def test_a_pool_is_not_raised_where_prices_are_missing():
    (demand, _) = count_futures(poisson_futures([4.0, 4.0]))
    shelf = price_shelf(demand, kit(price=np.nan), plant(level=0.9))
    assert pooled_point(shelf, plant(level=0.9), shelf.at(5)) == shelf.level.point


def say(*, fewer, saves, advice, lacking="", **more):
    row = {
        "apart_pieces": 6.0, "pooled_pieces": 6.0 - fewer, "saving_before_transfers": saves,
        "advice": advice, "transfers_per_year": 2.0, "pooled_transfer_cost": 300.0,
        "local_transfer_cost": 80.0,
    }  # fmt: skip
    return say_pooling(row | more, lacking, "EUR")


def test_the_advice_in_words():
    moving = "moving 2 pieces a year takes 300 EUR"
    assert say(fewer=3, saves=1200.4, advice="pooled") == (
        f"3 pieces fewer on one shelf saves 1,200 EUR a year before transfers; {moving}"
    )
    assert say(fewer=1, saves=120, advice="apart") == (
        f"1 piece fewer on one shelf saves 120 EUR a year before transfers, but {moving}"
    )
    assert say(fewer=-1, saves=-12, advice="apart") == (
        f"1 piece more on one shelf costs 12 EUR a year more before transfers, and {moving}"
    )
    assert say(fewer=0, saves=0.3, advice="apart") == (
        f"as many pieces on one shelf costs the same before transfers, and {moving}"
    )
    assert say(fewer=2, saves=90, advice="one_in_each") == (
        "2 pieces fewer on one shelf saves 90 EUR a year before transfers; moving 2 pieces a year "
        "takes 80 EUR where each store keeps one piece, more where all lie in one"
    )


def test_no_advice_in_words():
    assert say(fewer=0, saves=0, advice="", lacking="transfer_cost") == (
        "as many pieces on one shelf; no advice: [stores] transfer_cost not given"
    )
    assert say(fewer=-2, saves=np.nan, advice="") == (
        "2 pieces more on one shelf; no advice: a price in [costs] or of the item isn't given"
    )
