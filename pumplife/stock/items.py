"""Kits and loose parts as things to buy: price, lead time, least order, what lies in store."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from pumplife.records.read import Records
from pumplife.stock.lead_times import order_ahead
from pumplife.stock.looks import QUARTER_DAYS

_LONGEST_CHAIN = 10


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Item:
    """Terms of one kit or loose part on the last day of the records.

    Attributes
    ----------
    name, kind : str
        Its number; kit or part.
    unit_cost : float
        [money]; NaN where not given.
    lead_time_days, lead_time_high : float
        Usual, and exceeded once in ten [days]; NaN where not given.
    min_order : int
        Least order, at least 1 [items].
    superseded_by : str
        The number that takes its place, "" for none.
    """

    name: str
    kind: str
    unit_cost: float
    lead_time_days: float
    lead_time_high: float
    min_order: int
    superseded_by: str

    @property
    def ahead_days(self) -> float:
        """How long before a planned job to order, so that nine pieces of ten are there [days]."""
        return order_ahead(self.lead_time_days, self.lead_time_high)

    def __repr__(self) -> str:
        return f"Item({self.kind} {self.name}: {self.unit_cost:g}, {self.lead_time_days:g} days)"


def longest_ahead(items: Mapping[str, Item]) -> float:
    """How long ahead jobs count for an item without lead time: as for the slowest [days]."""
    return max([QUARTER_DAYS, *(one.ahead_days for one in items.values() if one.ahead_days > 0)])


def list_items(records: Records) -> dict[str, Item]:
    """Every kit and part by its number; of several rows the latest that is valid counts."""
    parts = _valid(records, "parts", "part_no")
    kits = _valid(records, "kits", "kit")
    return {item.name: item for item in (*parts, *kits)}


def _valid(records: Records, table: str, name: str) -> list[Item]:
    rows = records.table(table)
    rows = rows[~(rows["valid_from"] > records.plant.records_to)]
    rows = rows.sort_values("valid_from", kind="stable", na_position="first")
    rows = rows.drop_duplicates(name, keep="last")
    kind = table.removesuffix("s")
    return [
        Item(
            name=str(row[name]),
            kind=kind,
            unit_cost=float(row["unit_cost"]),
            lead_time_days=float(row["lead_time_days"]),
            lead_time_high=float(row["lead_time_high"]),
            min_order=int(np.ceil(np.fmax(1.0, float(row["min_order"])))),
            superseded_by=str(row["superseded_by"]),
        )
        for row in rows.to_dict("records")
    ]


def successors(items: dict[str, Item]) -> dict[str, str]:
    """The number that takes each item's place today: its own where nothing supersedes it."""
    return {name: _follow(name, items) for name in items}


def _follow(name: str, items: dict[str, Item]) -> str:
    for _ in range(_LONGEST_CHAIN):
        after = items[name].superseded_by
        if after not in items or after == name:
            return name
        name = after
    return name


def stock_on_hand(records: Records, current: dict[str, str]) -> dict[tuple[str, str], float]:
    """Pieces on the shelf by (store, item), superseded numbers counted with their successor."""
    rows = _renamed(records.table("on_hand"), current)
    summed = rows.groupby(["store", "item"], as_index=False)["quantity"].sum()
    return {
        (str(store), str(item)): float(quantity)
        for store, item, quantity in zip(
            summed["store"], summed["item"], summed["quantity"], strict=True
        )
    }


def stock_on_order(records: Records, current: dict[str, str]) -> pd.DataFrame:
    """Orders under way: store, item, quantity [items], days [days from the end of the records]."""
    rows = _renamed(records.table("on_order"), current)
    days = (rows["expected_on"] - records.plant.records_to) / pd.Timedelta(days=1)
    return rows.assign(days=days)[["store", "item", "quantity", "days"]]


def _renamed(rows: pd.DataFrame, current: dict[str, str]) -> pd.DataFrame:
    item = rows["item"].map(lambda name: current.get(name, name)).astype(object)
    return rows.assign(item=item, quantity=rows["quantity"].astype(np.float64).fillna(0.0))
