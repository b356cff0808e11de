"""How much faster levels come from simulated demand for many items than item by item in simpy."""

from __future__ import annotations

import random
import time
import tracemalloc

import numpy as np
import simpy

from pumplife.stock.asked import count_futures
from pumplife.stock.least_cost import ItemPrices
from pumplife.stock.level import base_stock, count_pmf
from pumplife.stock.many import assess_many
from tests.prove.stores import (
    draw_stores,
    fill_stores,
    lay_tables,
    make_items,
    state_stores,
    works,
)
from tests.stock.fleets import poisson_futures

LEAD, FUTURES = 30.0, 400
RATES = np.linspace(2.0, 12.0, 8)
SLOW = np.exp(np.random.default_rng(5).normal(np.log(0.5), 1.2, 400)).clip(max=60.0)
"""Demands a year as in many stores: half of the items less than one in two years."""
PRICES = ItemPrices(unit_cost=100.0, holding=20.0, order=35.0, waiting_per_day=200.0)


class Shelf:
    """One item of one store: breakdowns at random times, counted over one lead time."""

    def __init__(self, env: simpy.Environment, rate: float) -> None:
        self.env, self.rate, self.asked = env, rate, 0
        env.process(self.run())

    def run(self):
        while True:
            yield self.env.timeout(random.expovariate(self.rate / 365.25))
            self.asked += 1


def levels_by_simpy(rate: float) -> int:
    """Base stock for 95 % from one process run per future."""
    counts = []
    for _ in range(FUTURES):
        env = simpy.Environment()
        shelf = Shelf(env, rate)
        env.run(until=LEAD)
        counts.append(shelf.asked)
    return base_stock(count_pmf(counts), 0.95)


def points_of(known) -> list[int]:
    return [int(np.argmax(one.shelf.fill_rate >= 0.95)) for one in known]


def assess(rates, review=14.0):
    futures = poisson_futures(rates, lead=LEAD, replicates=FUTURES, review=review)
    begun = time.process_time()
    demands = count_futures(futures)
    count = len(demands)
    known = assess_many((demands, demands), [1] * count, [PRICES] * count, review, by_target=True)
    return time.process_time() - begun, known


def test_levels_agree_and_come_many_times_faster_than_a_process_per_future():
    random.seed(1)
    begun = time.process_time()
    slow = [levels_by_simpy(rate) for rate in RATES]
    by_simpy = time.process_time() - begun
    runs = [assess(RATES, review=0.0) for _ in range(3)]
    taken, known = min(run[0] for run in runs), runs[0][1]
    assert np.abs(np.array(points_of(known)) - slow).max() <= 1
    assert by_simpy > 6.0 * taken, f"simpy {by_simpy:.3f} s, at once {taken:.3f} s"


def test_time_grows_no_faster_than_the_items():
    few = min(assess(SLOW[:100])[0] for _ in range(3))
    more = min(assess(SLOW)[0] for _ in range(3))
    assert more < 1.5 * 4 * few, f"{few:.3f} s for 100 items, {more:.3f} s for 400"


def test_memory_grows_no_faster_than_the_items_and_little_with_looks():
    """What is kept of an item is two numbers per future and its tallies, not every look."""
    peaks = {}
    for count in (100, 400):
        futures = poisson_futures(SLOW[:count], lead=LEAD, replicates=FUTURES, review=14.0)
        tracemalloc.start()
        kept = count_futures(futures)
        peaks[count] = tracemalloc.get_traced_memory()
        tracemalloc.stop()
        assert len(kept) == count
    assert peaks[400][0] < 32 * 400 * FUTURES
    assert peaks[400][1] < 5 * peaks[100][1]


def time_stores(items: int, stores: int = 4) -> float:
    """Processor for levels, rows, orders, transfers and tables of so many items in each store."""
    known, plant = make_items(items), works()
    futures = draw_stores(known, range(stores), futures=100)
    store = fill_stores(futures, known)
    begun = time.process_time()
    tables = lay_tables(state_stores(futures, store, plant), store, plant)
    taken = time.process_time() - begun
    assert len(tables["stock"]) > 0.9 * items * stores
    assert len(tables["transfers"])
    return taken


def test_rows_orders_and_transfers_take_time_in_proportion_to_the_items():
    few = min(time_stores(60) for _ in range(3))
    more = min(time_stores(240) for _ in range(2))
    assert more < 1.5 * 4 * few, f"{few:.3f} s for 60 items in each store, {more:.3f} s for 240"
