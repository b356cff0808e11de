"""What levels are chosen from: what lies, comes and is planned in each store, what was asked."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from pumplife.records.plant import Plant
from pumplife.stock.ageing import Ageing
from pumplife.stock.asked import Asked, ItemDemand, Key
from pumplife.stock.assess import TodaysShelf
from pumplife.stock.cure_dates import count_available
from pumplife.stock.expiry import Shelves
from pumplife.stock.items import Item
from pumplife.stock.reserve import Reserve


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Store:
    """What lies, comes, is planned and was used, by store and item."""

    items: dict[str, Item]
    current: dict[str, str]
    on_hand: dict[Key, float]  # expired or not
    shelves: Shelves
    on_order: pd.DataFrame  # store, item, quantity, days from now
    jobs: pd.DataFrame  # store, item, days from now
    used: dict[Key, float]
    reserves: dict[Key, Reserve]
    in_kits: set[str]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Held:
    """What levels were chosen from, to choose them at other terms: see `what_if.try_item`.

    Attributes
    ----------
    asked : Asked
    store : Store
    ageing : dict of (store, item) to Ageing
    plant : Plant
    """

    asked: Asked
    store: Store
    ageing: dict[Key, Ageing]
    plant: Plant

    def __repr__(self) -> str:
        return f"Held({self.asked!r})"


def find_today(store: Store, demand: ItemDemand, item: Item, plant: Plant) -> TodaysShelf:
    """What lies in store and is under way for one item, and the jobs that take it."""
    key: Key = (demand.store, demand.item)
    coming = _of(store.on_order, key)
    jobs = np.sort(_of(store.jobs, key)["days"].to_numpy(np.float64))
    jobs = jobs[jobs <= item.lead_time_days + plant.review_days]
    good = count_available(store.shelves.usable.get(key), jobs, item.lead_time_days)
    return TodaysShelf(
        on_hand=good,
        on_order=float(coming["quantity"].sum()),
        arriving=float(coming.loc[coming["days"] <= item.lead_time_days, "quantity"].sum()),
        used=store.used.get(key, 0.0) if item.kind == "kit" else float("nan"),
        planned=jobs,
        expired=store.on_hand.get(key, 0.0) - good,
    )


def _of(frame: pd.DataFrame, key: Key) -> pd.DataFrame:
    return frame[(frame["store"] == key[0]) & (frame["item"] == key[1])]
