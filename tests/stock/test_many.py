"""Levels of many items at once are those of each alone."""

import dataclasses

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from pumplife.records import second
from pumplife.stock.ageing import Ageing
from pumplife.stock.asked import count_futures
from pumplife.stock.expiry import Expiry, Shelves
from pumplife.stock.held import Store
from pumplife.stock.lead_worth import count_sooner
from pumplife.stock.least_cost import ItemPrices, assess_demand, cost_levels, find_least_cost
from pumplife.stock.level import poisson_loss
from pumplife.stock.many import assess_many
from pumplife.stock.rows import state_items
from tests.stock.fleets import poisson_futures
from tests.stock.test_assess import item, plant

FIELDS = ("reorder_point", "fill_rate", "shortage_prob", "on_hand", "backorders", "pumps_waiting")


def same(one, other):
    assert one.quantity == other.quantity
    for name in FIELDS:
        assert getattr(one, name) == pytest.approx(getattr(other, name), abs=1e-12), name


def prices_of(order=35.0, rush=np.nan, wait=200.0):
    return ItemPrices(unit_cost=100.0, holding=20.0, order=order, waiting_per_day=wait,
                      rush=rush, rush_days=2.0)  # fmt: skip


@given(
    rates=st.lists(st.floats(0.05, 40.0), min_size=1, max_size=5),
    review=st.sampled_from([0.0, 14.0, 30.0]),
    least=st.integers(1, 6),
    prices=st.builds(
        prices_of, st.sampled_from([0.0, 35.0, 500.0]), st.sampled_from([np.nan, 90.0])
    ),
    seed=st.integers(0, 30),
)
@settings(max_examples=25, deadline=None)
def test_many_items_are_assessed_as_each_alone(rates, review, least, prices, seed):
    futures = poisson_futures(rates, replicates=120, review=review, seed=seed)
    demands = count_futures(futures)
    every = [prices] * len(rates)
    many = assess_many((demands, demands), [least] * len(rates), every, review, by_target=False)
    for demand, one in zip(demands, many, strict=True):
        same(one.shelf, assess_demand(demand, least))
        same(one.alone, assess_demand(demand, 1))
        shelf, point, cost = find_least_cost(demand, least, prices, review)
        assert one.cheapest[2] == pytest.approx(cost)
        assert (one.cheapest[1], one.cheapest[0].quantity) == (point, shelf.quantity)
        same(one.cheapest[0], shelf)
        same(one.sooner, assess_demand(demand, shelf.quantity))
        for kept, cost in (
            (one.shelf, one.shelf_cost), (one.cheapest[0], one.cheapest_cost),
            (one.sooner, one.sooner_cost),
        ):  # fmt: skip
            alone = cost_levels(kept, demand, prices, review)
            for name in ("money", "short", "waiting", "rushed"):
                assert getattr(cost, name) == pytest.approx(getattr(alone, name)), name


def test_pieces_that_lie_for_jobs_to_come_count_as_lying():
    futures = poisson_futures([3.0, 9.0], replicates=200, review=14.0)
    demands = [
        dataclasses.replace(
            one, spans=tuple(dataclasses.replace(span, lowest=-1) for span in one.spans)
        )
        for one in count_futures(futures)
    ]
    many = assess_many((demands, demands), [1, 1], [prices_of()] * 2, 14.0, by_target=True)
    for demand, one in zip(demands, many, strict=True):
        same(one.shelf, assess_demand(demand, 1))


def test_planned_jobs_whose_pieces_come_late_are_left_out_of_many_as_of_one():
    """Every other piece is taken by a planned job that nobody knew of at the look."""
    futures = poisson_futures([3.0, 9.0, 0.2], replicates=200, review=14.0)
    planned = np.arange(len(futures.needs.day)) % 2 == 0
    futures = dataclasses.replace(
        futures, needs=dataclasses.replace(futures.needs, planned=planned)
    )
    demands = count_futures(futures)
    prices = [prices_of()] * 3
    many = assess_many((demands, demands), [1, 2, 1], prices, 14.0, by_target=False)
    for demand, one, least in zip(demands, many, (1, 2, 1), strict=True):
        alone = assess_demand(demand, least)
        same(one.shelf, alone)
        assert one.cheapest[2] == pytest.approx(find_least_cost(demand, least, prices[0], 14.0)[2])
        cost = cost_levels(alone, demand, prices[0], 14.0)
        assert one.shelf_cost.waiting == pytest.approx(cost.waiting)
    # in turn on average: half of all that wait are pumps
    busy = many[1].shelf
    np.testing.assert_allclose(busy.pumps_waiting[:4] / busy.backorders[:4], 0.5, atol=0.08)


def test_without_prices_no_level_is_cheapest():
    demands = count_futures(poisson_futures([3.0, 9.0], replicates=50))
    prices = [prices_of(wait=np.nan), prices_of()]
    first, second = assess_many((demands, demands), [2, 2], prices, 0.0, by_target=False)
    assert first.cheapest is None
    assert first.sooner.quantity == 2
    assert second.cheapest is not None


@given(level=st.integers(-3, 30), mean=st.floats(0.0, 25.0))
def test_poisson_loss_is_the_sum_over_the_counts(level, mean):
    counts = np.arange(200)
    direct = np.maximum(counts - level, 0) @ stats.poisson.pmf(counts, mean)
    assert float(poisson_loss(level, mean)) == pytest.approx(direct, abs=1e-10)


def test_two_processes_give_the_same_levels_and_rows(monkeypatch):
    """Counting and rows, block by block, by one process and by two."""
    monkeypatch.setattr("pumplife.stock.asked._BLOCK_CELLS", 600)
    monkeypatch.setattr("pumplife.stock.many.BLOCK", 3)
    futures = poisson_futures(np.linspace(0.1, 9.0, 11), replicates=100, review=14.0)
    store = Store(
        items={"K": item()},
        current={},
        on_hand={},
        shelves=Shelves(bags=pd.DataFrame(), usable={}, lives={}),
        on_order={("B", "K"): np.array([[3.0, 10.0]])},
        jobs={("A", "K"): np.array([[5.0], [9.0]])},
        used={},
        reserves={},
        in_kits=set(),
    )
    ageing = {key: Ageing(years=float("inf")) for key in futures.keys}
    found = {}
    for worth in (0, 10**9):
        monkeypatch.setattr(second, "WORTH", worth)
        demands = count_futures(futures)
        counted = demands, count_sooner(futures, demands)
        found[worth] = state_items(counted, store, Expiry(ageing=ageing, unused={}), plant())
    alone, shared = found[10**9], found[0]
    assert [one.row["store"] for one in shared] == [store for store, _ in futures.keys]
    assert len(alone) == len(shared) == 11
    for one, other in zip(alone, shared, strict=True):
        np.testing.assert_equal(one.row, other.row)
        assert one.order == other.order
        assert (one.curve.levels.money == other.curve.levels.money).all()
