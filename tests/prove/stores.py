"""How long many items in many stores take: what pumps ask is drawn, all that follows is timed.

Drawing stands for `simulate_futures`, and hands on what that does: what is asked, in order. Some
stores are counted at once, so that memory doesn't go with all of them.

Run as a module, it measures so many items in so many stores and prints what it found as JSON.
"""

import json
import resource
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pumplife.policy.groups import DAYS_PER_YEAR
from pumplife.records.plant import Plant
from pumplife.stock.ageing import Ageing
from pumplife.stock.asked import Futures, count_futures
from pumplife.stock.cure_dates import Bags
from pumplife.stock.expiry import Expiry, Shelves
from pumplife.stock.frontier import build_frontier, list_levels
from pumplife.stock.held import Store
from pumplife.stock.items import Item
from pumplife.stock.lead_worth import count_sooner
from pumplife.stock.looks import QUARTER_DAYS
from pumplife.stock.needs import Known, Needs, sort_needs
from pumplife.stock.rows import Stated, say_verdicts, state_items
from pumplife.stock.stock_plan import order_frame, stock_frame
from pumplife.stock.transfers import move_surplus, transfer_frame
from tests.prove import judge
from tests.prove.bulk import watch_memory

FloatArray = NDArray[np.float64]

ROOT = Path(__file__).resolve().parents[2]
ITEMS, STORES, FUTURES = 2_000, 50, 1_000
AT_ONCE = 5  # stores
MOST_SECONDS, MOST_MEMORY = 60.0, 4096.0
"""Asked of the clock on two processors [s], and of memory [MiB]."""
MOST_TIMES = 6.0
"""Four would be in proportion; half as much again is allowed, as in the benchmarks."""
REVIEW = 14.0
LEADS = np.array([14.0, 28.0, 42.0, 63.0, 90.0])
RAW = {
    "costs": {"holding_per_year": 0.2, "order": 30.0, "waiting_per_day": 100.0},
    "targets": {"service_level": 0.9},
    "stores": {"transfer_days": 1.0, "transfer_cost": 6.0},
}


def make_items(count: int) -> dict[str, Item]:
    """Items with lead times as listed, prices that differ much, least orders now and then."""
    rng = np.random.default_rng(1)
    usual, price = rng.choice(LEADS, count), np.exp(rng.normal(4.0, 1.0, count))
    least = rng.choice([1, 1, 1, 5], count)
    return {
        f"I{n:05}": Item(
            name=f"I{n:05}",
            kind="part",
            unit_cost=float(price[n]),
            lead_time_days=float(usual[n]),
            lead_time_high=float(usual[n]),
            min_order=int(least[n]),
            superseded_by="",
        )
        for n in range(count)
    }


def draw_stores(items: dict[str, Item], numbers: range, *, futures: int = FUTURES) -> Futures:
    """What is asked of some stores: half of the items less than once in two years, none over 60.

    Lead times are spread for half of the items; in half of the futures three pieces of ten are
    taken by planned jobs that are known ahead.
    """
    usual = np.array([item.lead_time_days for item in items.values()])
    drawn = [_draw_store(usual, number, futures) for number in numbers]
    lead = np.concatenate([one for one, _ in drawn])
    counts = np.concatenate([one for _, one in drawn])
    rng = np.random.default_rng([numbers.start, 6])
    cell = np.repeat(np.arange(counts.size), counts.ravel())
    key, replicate = np.divmod(cell, futures)
    day = rng.uniform(0.0, _days(lead), len(cell))
    planned = (replicate % 2 == 0) & (rng.random(len(cell)) < 0.3)
    jobs = np.flatnonzero(planned)
    needs = Needs(key=key, replicate=replicate, day=day, planned=planned)
    return Futures(
        keys=[(f"S{number:02}", name) for number in numbers for name in items],
        lead=lead,
        listed=np.tile(usual, len(numbers)) + REVIEW,
        needs=sort_needs(needs, futures),
        jobs=Known(
            key=key[jobs],
            replicate=replicate[jobs],
            since=np.maximum(day[jobs] - 400.0, 0.0),
            due=day[jobs],
            until=day[jobs],
        ),
        review=REVIEW,
        days=_days(lead),
    )


def _days(lead: FloatArray) -> float:
    """How far futures run [days]."""
    return max(DAYS_PER_YEAR, float(lead.max()) + REVIEW + QUARTER_DAYS)


def _draw_store(usual: FloatArray, number: int, futures: int) -> tuple[FloatArray, FloatArray]:
    """Lead times, and how often each item is asked for, (items, futures)."""
    rng, count = np.random.default_rng([number, 5]), len(usual)
    rate = np.exp(rng.normal(np.log(0.5), 1.2, count)).clip(max=60.0)
    spread = np.where(rng.random(count) < 0.5, 0.37, 0.0)[:, None]
    lead = usual[:, None] * np.exp(spread * rng.standard_normal((count, futures)))
    return lead, rng.poisson(rate[:, None] * _days(lead) / DAYS_PER_YEAR, (count, futures))


def fill_stores(futures: Futures, items: dict[str, Item]) -> Store:
    """What lies there and is under way: up to three pieces of seven items in ten."""
    rng = np.random.default_rng([int(futures.keys[0][0][1:]), 7])
    lying = {key: float(rng.integers(1, 4)) for key in futures.keys if rng.random() < 0.7}
    bags = {
        key: Bags(pieces=np.array([pieces]), days_left=np.array([np.inf]), label=np.array([0]))
        for key, pieces in lying.items()
    }
    coming = {key: np.array([[2.0, 20.0]]) for key in futures.keys if rng.random() < 0.1}
    jobs = {key: rng.uniform(0.0, 60.0, (2, 1)) for key in futures.keys if rng.random() < 0.2}
    return Store(
        items=items,
        current={},
        on_hand=lying,
        shelves=Shelves(bags=pd.DataFrame(), usable=bags, lives={}),
        on_order=coming,
        jobs=jobs,
        used={},
        reserves={},
        in_kits=set(),
    )


def works() -> Plant:
    """The plant that they belong to."""
    begin, end = pd.Timestamp("2020-01-01"), pd.Timestamp("2024-06-30")
    return Plant(
        name="Works",
        currency="EUR",
        usage_unit="hours",
        records_from=begin,
        records_to=end,
        raw=RAW,
    )


def state_stores(futures: Futures, store: Store, plant: Plant) -> list[Stated]:
    """Levels, rows and orders of some stores."""
    demands = count_futures(futures, coming=store.coming)
    ageing = {key: Ageing(years=float("inf")) for key in futures.keys}
    expiry = Expiry(ageing=ageing, unused={})
    return state_items((demands, count_sooner(futures, demands)), store, expiry, plant)


def lay_tables(stated: list[Stated], store: Store, plant: Plant) -> dict[str, pd.DataFrame]:
    """The tables of all stores, surplus moved between them."""
    rows = [one.row for one in stated]
    placed = [one.order for one in stated if one.order is not None]
    moved = move_surplus(rows, placed, store.items, plant)
    say_verdicts(rows, store, moved, plant)
    stock = stock_frame(rows)
    curves = [one.curve for one in stated]
    return {
        "stock": stock,
        "orders": order_frame(moved.orders),
        "transfers": transfer_frame(moved.transfers),
        "levels": list_levels(curves),
        "frontier": build_frontier(curves, stock),
    }


def measure(items: int, stores: int) -> dict[str, float]:
    """Clock and processor [s] of all but drawing, with all processes; rows of the tables."""
    known, plant = make_items(items), works()
    spent, stated = np.zeros(2), []
    for number in range(0, stores, AT_ONCE):
        futures = draw_stores(known, range(number, min(number + AT_ONCE, stores)))
        store, begun = fill_stores(futures, known), _clocks()
        stated += state_stores(futures, store, plant)
        spent += _clocks() - begun
    begun = _clocks()
    tables = lay_tables(stated, store, plant)
    spent += _clocks() - begun
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    return {"wall": spent[0], "busy": spent[1], "peak": peak} | {
        name: len(table) for name, table in tables.items()
    }


def _clocks() -> FloatArray:
    """Clock, and processor of this process and those it has ended [s]."""
    told = [resource.getrusage(whose) for whose in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
    busy = sum(one.ru_utime + one.ru_stime for one in told)
    return np.array([time.perf_counter(), busy])


def _run(items: int, stores: int) -> dict[str, float]:
    command = [sys.executable, "-m", "tests.prove.stores", str(items), str(stores)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True, cwd=ROOT) as run:
        peak = watch_memory(run)
        told = run.stdout.read() if run.stdout else ""
    if run.returncode:
        raise RuntimeError("The stores could not be measured.")
    found = dict(json.loads(told.splitlines()[-1]))
    return found | {"peak": max(peak, found["peak"])}


def prove(scale: float) -> Iterator[tuple[judge.Result, int]]:
    """Levels, rows and tables of all stores, and of a quarter of the items."""
    stores = max(1, round(min(scale, 1.0) * STORES))
    whole, quarter = _run(ITEMS, stores), _run(ITEMS // 4, stores)
    words = f"{ITEMS:,} items in {stores} stores, {FUTURES:,} futures each"
    yield judge.within(f"{words}: seconds", whole["wall"], 1, 0.0, MOST_SECONDS), 1
    yield judge.tell(f"{words}: seconds of processor", whole["busy"], 1), 1
    yield judge.within(f"{words}: peak memory [MiB]", whole["peak"], 1, 0.0, MOST_MEMORY), 1
    ratio = whole["busy"] / quarter["busy"]
    words = f"{words}: times the processor of a quarter of the items"
    yield judge.within(words, ratio, 1, 0.0, MOST_TIMES), 1


if __name__ == "__main__":
    sys.stdout.write(json.dumps(measure(int(sys.argv[1]), int(sys.argv[2]))) + "\n")
