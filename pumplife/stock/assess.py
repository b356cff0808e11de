"""One item in one store: its reorder point, what today's shelf can do, what to order."""

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pumplife.records.plant import Plant
from pumplife.records.stocking import rush_days_of
from pumplife.stock.ageing import (
    Ageing,
    age_row,
    charge_write_offs,
    highest_point,
    write_offs_a_year,
)
from pumplife.stock.asked import ItemDemand
from pumplife.stock.coming import NOTHING_COMING, Coming, run_short
from pumplife.stock.curves import Level, RiskCurve, draw_curve
from pumplife.stock.items import Item
from pumplife.stock.lead_worth import worth_of_sooner
from pumplife.stock.least_cost import (
    ItemPrices,
    LevelCost,
    assess_demand,
    cost_levels,
    find_least_cost,
)
from pumplife.stock.level import Shelf, reorder_point
from pumplife.stock.many import Assessed
from pumplife.stock.reserve import NO_RESERVE, Reserve
from pumplife.stock.verdict import say_idle, say_late, say_verdict

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
    "cycle_service",
    "rush_per_year",
    "reserve",
    "critical_fill",
    "storage_years",
    "expiry_risk",
    "write_offs_per_year",
    "write_off_cost",
    "expired_on_hand",
    "lead_time_worth",
    "surplus_value",
)
NO_AGEING = Ageing(years=float("nan"))
NOTHING_KEPT = -1  # reorder point of an item that only planned jobs take
NO_LEVEL = "no level:"
"""Begins the verdict of an item whose demand isn't known."""
_MONTHS = 12.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TodaysShelf:
    """What lies in store and is under way for one item.

    Attributes
    ----------
    on_hand, on_order : float
        On the shelf, and under way [items].
    used : float
        Taken in the last twelve months, by the tickets [items]; NaN for loose parts.
    planned : FloatArray (jobs,)
        Days from today to each planned job that takes the item within the lead time (the high
        one where given) and review, ascending [days].
    expired : float
        On the shelf beside on_hand, but expired before it can be fitted [items].
    coming : Coming
        When what is under way is expected.
    """

    on_hand: float
    on_order: float
    used: float
    planned: FloatArray
    expired: float = 0.0
    coming: Coming = NOTHING_COMING


def price_item(plant: Plant, unit_cost: float) -> ItemPrices:
    """Prices of one item from the plant's costs; no order cost given counts as none."""
    order = plant.cost("order")
    return ItemPrices(
        unit_cost=unit_cost,
        holding=plant.cost("holding_per_year") * unit_cost,
        order=0.0 if np.isnan(order) else order,
        waiting_per_day=plant.cost("waiting_per_day"),
        rush=plant.cost("expedite"),
        rush_days=rush_days_of(plant.raw),
    )


def advise_level(
    demand: ItemDemand,
    least_order: int,
    plant: Plant,
    prices: ItemPrices,
    *,
    reserve: Reserve = NO_RESERVE,
    ageing: Ageing = NO_AGEING,
    known: Assessed | None = None,
) -> Level:
    """Choose the reorder point and the order quantity.

    The service level decides where plant.toml sets one, or where costs are missing, with the
    least order, up to the level at which the last piece would probably age out (one is kept all
    the same); otherwise the least of holding, ordering, waiting and write-offs does. A reserve
    comes on top: those who may not touch it are served as without it.
    """
    cheapest = None
    if prices.complete:
        cheapest = _cheapest_level(demand, least_order, plant, prices, (reserve, ageing, known))
        if not asks_for_service(plant):
            return cheapest
    shelf = assess_demand(demand, least_order) if known is None else known.shelf
    asked = bool(demand.unplanned_per_year > 0 or demand.spans[2].highest > 0)
    target = reorder_point(shelf, plant.service_level) if asked else NOTHING_KEPT
    held = min(target, max(0.0, highest_point(ageing, least_order)))
    limit = "shelf_life" if held < target else "target"
    if least_order > 1 and held == target:
        single = assess_demand(demand, 1) if known is None else known.alone
        alone = reorder_point(single, plant.service_level) + 1
        limit = "min_order" if held + least_order > alone else "target"
    return Level(
        shelf=shelf,
        point=int(held),
        reserve=reserve,
        least_up_to=cheapest.least_up_to if cheapest else float("nan"),
        least_cost=cheapest.least_cost if cheapest else float("nan"),
        limited_by=limit,
    )


def asks_for_service(plant: Plant) -> bool:
    """Whether plant.toml sets a service level, which then decides."""
    return "service_level" in plant.raw.get("targets", {})


def _cheapest_level(
    demand: ItemDemand,
    least_order: int,
    plant: Plant,
    prices: ItemPrices,
    given: tuple[Reserve, Ageing, Assessed | None],
) -> Level:
    """The level of least cost, write-offs and the reserve with it."""
    reserve, ageing, known = given
    found = None if known is None else known.cheapest
    shelf, least, _ = found or find_least_cost(demand, least_order, prices, plant.review_days)
    money = cost_of(shelf, demand, prices, plant, known).money
    point = charge_write_offs(shelf, money, least, ageing, prices.unit_cost)
    lost = write_offs_a_year(ageing, np.array([point]), shelf.quantity)[0]
    cost = money[point - shelf.reorder_point[0]] + prices.unit_cost * lost
    return Level(
        shelf=shelf,
        point=point,
        reserve=reserve,
        least_up_to=float(point + shelf.quantity + reserve.pieces),
        least_cost=float(cost + reserve.pieces * prices.holding),
        limited_by="cost" if point == least else "shelf_life",
    )


def cost_of(
    shelf: Shelf, demand: ItemDemand, prices: ItemPrices, plant: Plant, known: Assessed | None
) -> LevelCost:
    """What the levels of a shelf cost, where that isn't known already."""
    if known is not None and shelf is known.shelf:
        return known.shelf_cost
    if known is not None and known.cheapest is not None and shelf is known.cheapest[0]:
        return known.cheapest_cost
    return cost_levels(shelf, demand, prices, plant.review_days)


def stock_row(
    demand: ItemDemand,
    item: Item,
    plant: Plant,
    today: TodaysShelf,
    *,
    reserve: Reserve = NO_RESERVE,
    ageing: Ageing = NO_AGEING,
    sooner: ItemDemand | None = None,
) -> tuple[dict[str, Any], RiskCurve]:
    """One row of the stock table and its curve, as `level_row`, with its verdict."""
    row, curve = level_row(
        demand, item, plant, today, reserve=reserve, ageing=ageing, sooner=sooner
    )
    step = round(row["order_up_to"] - row["reorder_point"])
    order = whole_orders(pieces_missing(today, int(row["reorder_point"])), step)
    return row | {"verdict": say_verdict(row, plant, reserve, order=order)}, curve


def level_row(
    demand: ItemDemand,
    item: Item,
    plant: Plant,
    today: TodaysShelf,
    *,
    reserve: Reserve = NO_RESERVE,
    ageing: Ageing = NO_AGEING,
    sooner: ItemDemand | None = None,
    known: Assessed | None = None,
) -> tuple[dict[str, Any], RiskCurve]:
    """One row of the stock table without its verdict, and its curve.

    Parameters
    ----------
    demand : ItemDemand
    item : Item
    plant : Plant
        Gives the service level, the review period and the costs.
    today : TodaysShelf
    reserve : Reserve, optional
        Last pieces kept for breakdowns on critical pumps.
    ageing : Ageing, optional
        How long it may lie in store, and how it is used meanwhile.
    sooner : ItemDemand, optional
        Its demand were orders there `SOONER_DAYS` earlier.
    known : Assessed, optional
        Its levels, where those of many items were assessed at once.

    Returns
    -------
    dict, RiskCurve
        `STOCK_COLUMNS`. capital is the mean value on the shelf under the advice; cost_per_year
        is keeping it, ordering (planned jobs too), waiting pumps or rush orders, and pieces that
        age out; NaN where a price is missing. expiry_risk is the chance that the last piece ages
        out. fill_rate and cycle_service are what those get who may not touch the
        reserve, critical_fill what breakdowns on critical pumps get at least. Beside these columns
        hasten, as of `say_verdict`.
    """
    prices = price_item(plant, item.unit_cost) if known is None else known.prices
    level = advise_level(
        demand, item.min_order, plant, prices, reserve=reserve, ageing=ageing, known=known
    )
    shelf, at = level.shelf, level.row_of(level.point)
    cost = cost_of(shelf, demand, prices, plant, known)
    kept, top = reserve.pieces, level.reorder_at + shelf.quantity
    critical = float(shelf.fill_rate[level.row_of(level.reorder_at)])
    row: dict[str, Any] = {
        "store": demand.store,
        "item": demand.item,
        "kind": item.kind,
        "lead_time_days": item.lead_time_days,
        "demand_per_year": demand.unplanned_per_year,
        "planned_per_year": demand.planned_per_year,
        "used_12m": today.used,
        "reorder_point": float(level.reorder_at),
        "order_up_to": float(top),
        "shortage_prob": float(shelf.shortage_prob[at]),
        "fill_rate": float(shelf.fill_rate[at]),
        "cycle_service": 1.0 - float(shelf.shortage_prob[at]),
        "capital": (float(shelf.on_hand[at]) + kept) * prices.unit_cost,
        "cost_per_year": float(cost.money[at]) + prices.holding * kept,
        "pump_days_waiting": float(cost.waiting[at]),
        "rush_per_year": float(cost.rushed[at]),
        "reserve": float(kept),
        "critical_fill": critical if kept else float("nan"),
        "least_cost_up_to": level.least_up_to,
        "least_cost_per_year": level.least_cost,
        "limited_by": level.limited_by,
    }
    row |= _todays_state(demand, today, prices, top)
    row["hasten"] = _say_late(today, item, level.reorder_at, plant)
    row |= age_row(ageing, level.reorder_at, shelf.quantity, prices.unit_cost)
    row["cost_per_year"] += 0.0 if np.isnan(row["write_off_cost"]) else row["write_off_cost"]
    if sooner is not None:
        row["lead_time_worth"] = worth_of_sooner(
            (demand, sooner),
            (level, cost),
            plant,
            prices,
            anew=None if known is None else (known.sooner, known.sooner_cost),
        )
    keys = (demand.store, demand.item, item.kind)
    asked = (row["demand_per_year"], today.on_hand + today.on_order - len(today.planned))
    return row, draw_curve(keys, level, cost, prices.unit_cost, asked)


def idle_row(
    store: str,
    item: Item,
    on_hand: float,
    *,
    why: str = "",
    in_kit: bool = True,
    storage_years: float = float("nan"),
    expired: float = 0.0,
    on_order: float = 0.0,
    unused: float = 0.0,
) -> dict[str, Any]:
    """Row of an item on the shelf that no work as planned takes; `why` where pumps carry it.

    `unused` of its pieces will likely expire before they are used [items].
    """
    verdict = say_idle(why, on_hand, unused, covered=item.kind == "part" and in_kit)
    unknown = why.startswith(NO_LEVEL)
    asked = np.nan if unknown else 0.0
    return {
        "store": store,
        "item": item.name,
        "kind": item.kind,
        "lead_time_days": item.lead_time_days,
        "demand_per_year": asked,
        "planned_per_year": asked,
        "order_up_to": asked,
        "today_on_hand": on_hand,
        "today_on_order": on_order,
        "capital_today": on_hand * item.unit_cost,
        "surplus": np.nan if why else on_hand,
        "surplus_value": np.nan if why else on_hand * item.unit_cost,
        "storage_years": storage_years,
        "expired_on_hand": expired,
        "limited_by": "",
        "verdict": why if unknown else verdict,
    }


def pieces_missing(today: TodaysShelf, chosen: int) -> float:
    """Pieces by which shelf + under way − planned jobs lie below one more than `chosen`."""
    return chosen + 1.0 - (today.on_hand + today.on_order - len(today.planned))


def whole_orders(missing: float, quantity: int) -> int:
    """Pieces to order so that no more is missing, in multiples of an order quantity."""
    return int(np.ceil(missing / quantity)) * quantity if missing > 0 else 0


def _todays_state(
    demand: ItemDemand, today: TodaysShelf, prices: ItemPrices, top: int
) -> dict[str, Any]:
    """What today's shelf can do if nothing more is ordered until a lead time from now."""
    counts = (demand.lead, demand.early, demand.lead_days)
    short = run_short(counts, today.planned, today.on_hand, today.coming)
    yearly = demand.unplanned_per_year + demand.planned_per_year
    spare = today.on_hand + today.on_order - top - len(today.planned)
    return {
        "today_on_hand": today.on_hand,
        "today_on_order": today.on_order,
        "today_shortage_prob": float(np.mean(short)),
        "capital_today": today.on_hand * prices.unit_cost,
        "surplus": max(0.0, spare),
        "surplus_value": max(0.0, spare) * prices.unit_cost,
        "months_cover": today.on_hand / yearly * _MONTHS if yearly > 0 else float("nan"),
        "expired_on_hand": today.expired,
    }


def _say_late(today: TodaysShelf, item: Item, point: int, plant: Plant) -> str:
    """What is under way and comes late, where one would order but for it; "" where none is."""
    if not today.on_order:
        return ""
    soon = today.coming.within(item.lead_time_days)
    missing = pieces_missing(replace(today, on_order=soon), point)
    if missing <= 0:
        return ""
    undated = today.on_order - float(today.coming.pieces.sum())
    return say_late(missing, today.coming, undated, item.lead_time_days, plant.records_to)
