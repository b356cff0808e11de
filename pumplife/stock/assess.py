"""One item in one store: its reorder point, what today's shelf can do, what to order."""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pumplife.policy.groups import DAYS_PER_YEAR
from pumplife.records.plant import Plant
from pumplife.stock.demand import ItemDemand
from pumplife.stock.items import Item
from pumplife.stock.level import (
    Shelf,
    assess_levels,
    count_pmf,
    least_cost_point,
    reorder_point,
)

FloatArray = NDArray[np.float64]

STOCK_COLUMNS = (
    "store",
    "item",
    "kind",
    "lead_time_days",
    "demand_per_year",
    "planned_per_year",
    "used_12m",
    "reorder_point",
    "order_up_to",
    "shortage_prob",
    "fill_rate",
    "capital",
    "cost_per_year",
    "today_on_hand",
    "today_on_order",
    "today_shortage_prob",
    "pump_days_waiting",
    "capital_today",
    "surplus",
    "months_cover",
    "least_cost_up_to",
    "least_cost_per_year",
    "limited_by",
    "verdict",
)
NO_LEVEL = "no level:"
"""Begins the verdict of an item whose demand isn't known."""
_MONTHS = 12.0
_LIKELY = 0.5  # a shortage of this probability is told in words
_WORTH_SAYING = 0.10  # a saving of this share of the cost is told in words


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RiskCurve:
    """Shortage against the reorder point for one item in one store.

    Attributes
    ----------
    store, item : str
    level : array (levels,)
        Reorder points [items].
    shortage_prob : array (levels,)
        Probability that demand over lead time and review exceeds it [-].
    fill_rate : array (levels,)
        Share of unplanned demands met at once [-].
    reorder_point : float
        The advised one [items].
    """

    store: str
    item: str
    level: FloatArray
    shortage_prob: FloatArray
    fill_rate: FloatArray
    reorder_point: float

    def __repr__(self) -> str:
        return f"RiskCurve({self.item} at {self.store}: {self.reorder_point:g})"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ItemPrices:
    """What one item costs to buy, keep and wait for.

    Attributes
    ----------
    unit_cost : float
        [money]; NaN where not given.
    holding : float
        Keeping one item for a year [money/year]; NaN where not given.
    order : float
        Placing one order [money].
    waiting_per_day : float
        One pump waiting for one day [money/day]; NaN where not given.
    """

    unit_cost: float
    holding: float
    order: float
    waiting_per_day: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TodaysShelf:
    """What lies in store and is under way for one item.

    Attributes
    ----------
    on_hand, on_order, arriving : float
        On the shelf, under way, and the part of it that is expected within the lead time [items].
    used : float
        Taken in the last twelve months, by the tickets [items]; NaN for loose parts.
    planned : FloatArray (jobs,)
        Days from today to each planned job that takes the item within lead time and review,
        ascending [days].
    """

    on_hand: float
    on_order: float
    arriving: float
    used: float
    planned: FloatArray


def price_item(plant: Plant, unit_cost: float) -> ItemPrices:
    """Prices of one item from the plant's costs; no order cost given counts as none."""
    return ItemPrices(
        unit_cost=unit_cost,
        holding=plant.cost("holding_per_year") * unit_cost,
        order=float(np.nan_to_num(plant.cost("order"))),
        waiting_per_day=plant.cost("waiting_per_day"),
    )


def assess_demand(demand: ItemDemand, quantity: int) -> Shelf:
    """Every reorder point of one item against its simulated demand."""
    return assess_levels(
        count_pmf(demand.spans[0]),
        (count_pmf(demand.spans[1]), count_pmf(demand.spans[2])),
        quantity=quantity,
    )


def advise_level(
    demand: ItemDemand, quantity: int, plant: Plant, prices: ItemPrices
) -> tuple[Shelf, int, float, str]:
    """Choose the reorder point: all levels, the chosen one, the one of least cost, what limits.

    The service level decides where plant.toml sets one, or where costs are missing; otherwise
    the least of holding and waiting cost does.
    """
    shelf = assess_demand(demand, quantity)
    target = reorder_point(shelf, plant.service_level)
    waiting = prices.waiting_per_day * DAYS_PER_YEAR
    if not np.isfinite(prices.holding + waiting) or prices.holding <= 0:
        return shelf, target, float("nan"), _limit(demand, quantity, plant, target)
    cheapest = least_cost_point(shelf, holding=prices.holding, waiting=waiting)
    if "service_level" in plant.raw.get("targets", {}):
        return shelf, target, float(cheapest), _limit(demand, quantity, plant, target)
    return shelf, cheapest, float(cheapest), "cost"


def _limit(demand: ItemDemand, quantity: int, plant: Plant, chosen: int) -> str:
    """min_order where the least order alone lifts the top of the shelf, else target."""
    if quantity == 1:
        return "target"
    alone = reorder_point(assess_demand(demand, 1), plant.service_level) + 1
    return "min_order" if chosen + quantity > alone else "target"


def stock_row(
    demand: ItemDemand, item: Item, plant: Plant, today: TodaysShelf
) -> tuple[dict[str, Any], RiskCurve]:
    """One row of the stock table and its curve.

    Parameters
    ----------
    demand : ItemDemand
    item : Item
    plant : Plant
        Gives the service level, the review period and the costs.
    today : TodaysShelf

    Returns
    -------
    dict, RiskCurve
        `STOCK_COLUMNS`. capital is the mean value on the shelf under the advice; cost_per_year
        is keeping it, ordering (planned jobs too) and waiting pumps; NaN where a price is missing.
    """
    quantity = item.min_order
    prices = price_item(plant, item.unit_cost)
    shelf, chosen, cheapest, limit = advise_level(demand, quantity, plant, prices)
    at = int(np.flatnonzero(shelf.reorder_point == chosen)[0])
    row: dict[str, Any] = {
        "store": demand.store,
        "item": demand.item,
        "kind": item.kind,
        "lead_time_days": item.lead_time_days,
        "demand_per_year": float(demand.year.mean()),
        "planned_per_year": demand.planned_per_year,
        "used_12m": today.used,
        "reorder_point": float(chosen),
        "order_up_to": float(chosen + quantity),
        "shortage_prob": float(shelf.shortage_prob[at]),
        "fill_rate": float(shelf.fill_rate[at]),
        "capital": float(shelf.on_hand[at]) * prices.unit_cost,
        "cost_per_year": _cost_per_year(demand, shelf, at, prices),
        "pump_days_waiting": float(shelf.backorders[at]) * DAYS_PER_YEAR,
        "least_cost_up_to": cheapest + quantity,
        "least_cost_per_year": _cheapest_cost(demand, shelf, cheapest, prices),
        "limited_by": limit,
    }
    row |= _todays_state(demand, today, prices, chosen + quantity)
    order = quantity_to_order(today, chosen, quantity)
    row["verdict"] = _verdict(row, order, plant.currency)
    return row, _curve(demand, shelf, chosen)


def idle_row(
    store: str, item: Item, on_hand: float, *, why: str = "", in_kit: bool = True
) -> dict[str, Any]:
    """Row of an item on the shelf that no work as planned takes; `why` where pumps carry it."""
    verdict = "no pump of this store is expected to take it: move it, return it or use it up"
    if item.kind == "part" and in_kit:
        verdict = "kits cover the work as advised: use it up, no need to order more"
    asked = np.nan if why.startswith(NO_LEVEL) else 0.0
    return {
        "store": store,
        "item": item.name,
        "kind": item.kind,
        "lead_time_days": item.lead_time_days,
        "demand_per_year": asked,
        "planned_per_year": asked,
        "order_up_to": asked,
        "today_on_hand": on_hand,
        "capital_today": on_hand * item.unit_cost,
        "surplus": np.nan if why else on_hand,
        "limited_by": "",
        "verdict": why or verdict,
    }


def quantity_to_order(today: TodaysShelf, chosen: int, quantity: int) -> int:
    """Items to order now so that shelf + under way − planned jobs rises above `chosen`."""
    missing = chosen + 1 - (today.on_hand + today.on_order - len(today.planned))
    return int(np.ceil(missing / quantity)) * quantity if missing > 0 else 0


def _cost_per_year(demand: ItemDemand, shelf: Shelf, at: int, prices: ItemPrices) -> float:
    orders = (float(demand.year.mean()) + demand.planned_per_year) / shelf.quantity
    waiting = float(shelf.backorders[at]) * DAYS_PER_YEAR * prices.waiting_per_day
    return float(prices.holding * shelf.on_hand[at] + prices.order * orders + waiting)


def _cheapest_cost(demand: ItemDemand, shelf: Shelf, cheapest: float, prices: ItemPrices) -> float:
    if np.isnan(cheapest):
        return float("nan")
    at = int(np.flatnonzero(shelf.reorder_point == cheapest)[0])
    return _cost_per_year(demand, shelf, at, prices)


def _curve(demand: ItemDemand, shelf: Shelf, chosen: int) -> RiskCurve:
    shown = shelf.reorder_point >= min(0, chosen)
    return RiskCurve(
        store=demand.store,
        item=demand.item,
        level=shelf.reorder_point[shown].astype(np.float64),
        shortage_prob=shelf.shortage_prob[shown],
        fill_rate=shelf.fill_rate[shown],
        reorder_point=float(chosen),
    )


def _todays_state(
    demand: ItemDemand, today: TodaysShelf, prices: ItemPrices, top: int
) -> dict[str, Any]:
    """What today's shelf can do if nothing more is ordered until a lead time from now."""
    due = today.planned[:, None] <= demand.lead_days
    needed = demand.lead + due.sum(axis=0)
    yearly = float(demand.year.mean()) + demand.planned_per_year
    spare = today.on_hand + today.on_order - top - len(today.planned)
    return {
        "today_on_hand": today.on_hand,
        "today_on_order": today.on_order,
        "today_shortage_prob": float(np.mean(needed > today.on_hand + today.arriving)),
        "capital_today": today.on_hand * prices.unit_cost,
        "surplus": max(0.0, spare),
        "months_cover": today.on_hand / yearly * _MONTHS if yearly > 0 else float("nan"),
    }


def _verdict(row: dict[str, Any], order: int, currency: str) -> str:
    """The row in words."""
    words = ["enough on the shelf and under way"]
    if order:
        words = [f"order {order} now"]
    elif row["surplus"] > 0:
        words = [f"{row['surplus']:.0f} above what the service level asks for"]
    if row["today_shortage_prob"] >= _LIKELY:
        words.append("today's shelf is likely to run out before an order arrives")
    cheapest, saved = row["least_cost_up_to"], row["cost_per_year"] - row["least_cost_per_year"]
    if saved > _WORTH_SAYING * row["cost_per_year"]:
        why = "waiting is dear" if cheapest > row["order_up_to"] else "keeping it is dear"
        words.append(
            f"{why}: up to {cheapest:.0f} would cost {saved:,.0f} {currency} less a year".replace(
                "  ", " "
            )
        )
    return "; ".join(words)
