"""What levels are chosen from: what lies, comes and is planned in each store, what was asked."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pumplife.records.plant import Plant
from pumplife.stock.ageing import Ageing
from pumplife.stock.asked import Futures, ItemDemand, Key
from pumplife.stock.assess import TodaysShelf
from pumplife.stock.coming import Coming, list_coming
from pumplife.stock.cure_dates import count_available
from pumplife.stock.expiry import Shelves
from pumplife.stock.items import Item
from pumplife.stock.reserve import Reserve

FloatArray = NDArray[np.float64]

_NOTHING = np.zeros((0, 2))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Store:
    """What lies, comes, is planned and was used, by store and item."""

    items: dict[str, Item]
    current: dict[str, str]
    on_hand: dict[Key, float]  # expired or not
    shelves: Shelves
    on_order: dict[Key, FloatArray]  # rows of quantity, days from now
    jobs: dict[Key, FloatArray]  # rows of days from now
    used: dict[Key, float]
    reserves: dict[Key, Reserve]
    in_kits: set[str]

    def pieces_on_order(self, key: Key) -> float:
        """What is under way of one item, whenever it comes [items]."""
        return float(self.on_order.get(key, _NOTHING)[:, 0].sum())

    @property
    def coming(self) -> dict[Key, Coming]:
        """What is under way, by the day on which it is expected."""
        return {key: list_coming(rows) for key, rows in self.on_order.items()}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Held:
    """What levels were chosen from, to choose them at other terms: see `what_if.try_item`.

    Attributes
    ----------
    futures : Futures
    store : Store
    ageing : dict of (store, item) to Ageing
    plant : Plant
    """

    futures: Futures
    store: Store
    ageing: dict[Key, Ageing]
    plant: Plant

    def __repr__(self) -> str:
        return f"Held({self.futures!r})"


def list_jobs_of(store: Store, key: Key, within: float) -> FloatArray:
    """Days from today to the jobs that take an item within so many days, ascending [days]."""
    jobs = store.jobs.get(key, _NOTHING)[:, 0]
    return np.sort(jobs[jobs <= within]) if len(jobs) else jobs


def find_today(store: Store, demand: ItemDemand, item: Item, plant: Plant) -> TodaysShelf:
    """What lies in store and is under way for one item, and the jobs that take it."""
    key: Key = (demand.store, demand.item)
    orders = store.on_order.get(key, _NOTHING)
    jobs = list_jobs_of(store, key, item.ahead_days + plant.review_days)
    good = count_available(store.shelves.usable.get(key), jobs, item.lead_time_days)
    return TodaysShelf(
        on_hand=good,
        on_order=store.pieces_on_order(key),
        coming=list_coming(orders),
        used=store.used.get(key, 0.0) if item.kind == "kit" else float("nan"),
        planned=jobs,
        expired=store.on_hand.get(key, 0.0) - good,
    )
