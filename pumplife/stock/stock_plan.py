"""The stock plan: its tables side by side, and how their rows are sorted."""

from dataclasses import dataclass
from typing import Any

import pandas as pd

from pumplife.stock.asked import Key
from pumplife.stock.assess import STOCK_COLUMNS
from pumplife.stock.coverage import COVERAGE_COLUMNS
from pumplife.stock.cure_dates import SHELF_COLUMNS
from pumplife.stock.curves import RiskCurve
from pumplife.stock.frontier import FRONTIER_COLUMNS, LEVEL_COLUMNS
from pumplife.stock.held import Held
from pumplife.stock.kit_or_parts import KIT_OR_PARTS_COLUMNS
from pumplife.stock.loose import LoosePart
from pumplife.stock.on_condition import SHARE_COLUMNS
from pumplife.stock.orders import ORDER_COLUMNS
from pumplife.stock.pooling import POOLING_COLUMNS
from pumplife.stock.rotables import RemovalTally
from pumplife.stock.transfers import transfer_frame


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class StockPlan:
    """What to keep and what to order.

    Attributes
    ----------
    stock : DataFrame
        One row per store and item, `STOCK_COLUMNS`.
    orders : DataFrame
        One row per item to order now, `ORDER_COLUMNS`, the most urgent first.
    coverage : DataFrame
        Which part is asked for how often and which kit brings it, `COVERAGE_COLUMNS`.
    on_condition : DataFrame
        How often openings took each part renewed on condition, `SHARE_COLUMNS`.
    kit_or_parts : DataFrame
        What each way of supplying each kit costs, `KIT_OR_PARTS_COLUMNS`.
    loose : list of tuple of LoosePart
        What openings of each advised group take beside the kit.
    removals : RemovalTally
        Openings of pumps that are rebuilt on the bench, in the same futures.
    transfers : DataFrame
        Surplus moved instead of orders, `TRANSFER_COLUMNS`.
    pooling : DataFrame
        One shelf against several, `POOLING_COLUMNS`.
    levels : DataFrame
        What every level holds, risks and costs, `LEVEL_COLUMNS`.
    frontier : DataFrame
        Waiting against capital in the whole, `FRONTIER_COLUMNS`.
    curves : tuple of RiskCurve
        Shortage against the reorder point, the dearest shelf first.
    replicates : int
        Simulated futures behind them.
    shelf : DataFrame
        One row per store, item and cure date, `SHELF_COLUMNS`.
    held : Held or None
        What levels were chosen from; None where the records withhold stock.
    unknown : frozenset of (store, item)
        Items of which nobody knows what all pumps will take.
    """

    stock: pd.DataFrame
    orders: pd.DataFrame
    shelf: pd.DataFrame
    coverage: pd.DataFrame
    on_condition: pd.DataFrame
    kit_or_parts: pd.DataFrame
    transfers: pd.DataFrame
    pooling: pd.DataFrame
    levels: pd.DataFrame
    frontier: pd.DataFrame
    loose: list[tuple[LoosePart, ...]]
    removals: RemovalTally
    curves: tuple[RiskCurve, ...]
    replicates: int
    held: Held | None
    unknown: frozenset[Key] = frozenset()

    def __repr__(self) -> str:
        return f"StockPlan({len(self.stock)} items, {len(self.orders)} orders)"


def no_plan() -> StockPlan:
    """Nothing kept and nothing ordered."""
    return StockPlan(
        stock=stock_frame([]),
        orders=order_frame([]),
        shelf=pd.DataFrame(columns=list(SHELF_COLUMNS)),
        coverage=pd.DataFrame(columns=list(COVERAGE_COLUMNS)),
        on_condition=pd.DataFrame(columns=list(SHARE_COLUMNS)),
        kit_or_parts=pd.DataFrame(columns=list(KIT_OR_PARTS_COLUMNS)),
        transfers=transfer_frame([]),
        pooling=pd.DataFrame(columns=list(POOLING_COLUMNS)),
        levels=pd.DataFrame(columns=list(LEVEL_COLUMNS)),
        frontier=pd.DataFrame(columns=list(FRONTIER_COLUMNS)),
        loose=[],
        removals=RemovalTally(services=frozenset(), replicates=0),
        curves=(),
        replicates=0,
        held=None,
    )


def stock_frame(rows: list[dict[str, Any]]) -> pd.DataFrame:
    """The stock table, by store, kind and item."""
    table = pd.DataFrame(rows, columns=list(STOCK_COLUMNS))
    return table.sort_values(["store", "kind", "item"], kind="stable", ignore_index=True)


def order_frame(rows: list[dict[str, Any]]) -> pd.DataFrame:
    """The orders, the most urgent first."""
    table = pd.DataFrame(rows, columns=list(ORDER_COLUMNS))
    table = table.sort_values(["order_by", "needed_by", "store", "item"], kind="stable")
    return table.reset_index(drop=True)
