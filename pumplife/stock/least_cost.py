"""What a level costs a year, and the reorder point and quantity of least cost."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache, lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pumplife.policy.groups import DAYS_PER_YEAR
from pumplife.stock.asked import ItemDemand
from pumplife.stock.level import (
    SIMPSON,
    DemandChances,
    Shelf,
    count_chances,
    lay_levels,
    poisson_loss,
)

FloatArray = NDArray[np.float64]

MOST_QUANTITIES = 24  # order quantities tried between the least order and twice the classical one


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ItemPrices:
    """What one item costs to buy, keep, order and wait for.

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
    rush : float
        Extra cost of a rush order [money]; NaN where not given.
    rush_days : float
        Days until a rush order is there [days]; NaN where not given: then none is placed.
    """

    unit_cost: float
    holding: float
    order: float
    waiting_per_day: float
    rush: float = float("nan")
    rush_days: float = float("nan")

    @property
    def complete(self) -> bool:
        """Whether levels can be chosen by cost."""
        return math.isfinite(self.holding + self.waiting_per_day) and self.holding > 0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LevelCost:
    """What each reorder point of a shelf costs and does a year; of many, (items, levels).

    Attributes
    ----------
    money : array (levels,)
        Keeping, ordering, waiting and rush orders [money/year]; NaN where a price is missing.
    waiting : array (levels,)
        Days that pumps that have broken down stand and wait for the item a year [days/year].
    rushed : array (levels,)
        Rush orders a year [orders/year]; 0 where waiting is cheaper.
    short : array (levels,)
        What waiting or rush orders cost of the money [money/year].
    """

    money: FloatArray
    waiting: FloatArray
    rushed: FloatArray
    short: FloatArray

    def __repr__(self) -> str:
        return f"LevelCost({len(self.money)} levels)"


def assess_demand(demand: ItemDemand, quantity: int) -> Shelf:
    """Every reorder point of one item against its simulated demand."""
    return lay_levels(_count(demand), quantity)


@lru_cache(maxsize=2)  # one demand is asked about many quantities in turn
def _count(demand: ItemDemand) -> DemandChances:
    lead, *later = (span.shares() for span in demand.spans)
    return count_chances(
        lead,
        (later[0], later[1]),
        seen=demand.seen.shares() if demand.seen.of else None,
        early=float(SIMPSON @ np.array([span.below for span in demand.spans])),
        late=demand.late_jobs,
    )


def cost_levels(
    shelf: Shelf, demand: ItemDemand, prices: ItemPrices, review_days: float
) -> LevelCost:
    """Cost a year of every reorder point; short demands wait, or are rushed where that is cheaper.

    Only a pump that has broken down stands and waits. A planned job whose piece comes late waits
    too, but its pump runs on: what that costs isn't known, and isn't charged. A rush order brings
    the piece in `rush_days` for `rush` extra. Which of the two is cheaper is asked level by level
    for the short demands on average, not one by one.
    """
    unplanned = demand.unplanned_per_year
    yearly = unplanned + demand.planned_per_year
    return price_levels(
        (shelf.on_hand, shelf.pumps_waiting, shelf.fill_rate),
        unplanned,
        orders_per_year(yearly, shelf.quantity, review_days),
        (
            prices.holding,
            prices.order,
            prices.waiting_per_day,
            prices.rush,
            prices.rush_days,
        ),
    )


def price_levels(
    kept: tuple[FloatArray, FloatArray, FloatArray],
    unplanned: ArrayLike,
    orders: ArrayLike,
    prices: Sequence[ArrayLike],
) -> LevelCost:
    """Cost a year of levels, of one item (levels,) or of many (items, levels).

    Parameters
    ----------
    kept : tuple of arrays
        Mean number on the shelf, mean number of breakdowns waiting [items], fill rate [-].
    unplanned : float or array (items, 1)
        Breakdowns' demand [items/year].
    orders : float or array (items, 1)
        [orders/year]
    prices : sequence
        holding, order, waiting_per_day, rush and rush_days as of `ItemPrices`; of many (items, 1).
    """
    on_hand, pumps_waiting, fill_rate = kept
    holding, order, per_day, rush, rush_days = map(np.asarray, prices)
    waiting = pumps_waiting * DAYS_PER_YEAR
    paid = waiting * per_day
    short = np.asarray(unplanned) * (1.0 - fill_rate)
    rushed = short * (rush + rush_days * per_day)
    cheaper = rushed < paid
    money = np.where(cheaper, rushed, paid)
    return LevelCost(
        money=np.asarray(holding * on_hand + order * orders + money),
        short=money,
        waiting=np.where(cheaper, short * rush_days, waiting),
        rushed=np.where(cheaper, short, 0.0),
    )


def orders_per_year(demand: ArrayLike, quantity: ArrayLike, review_days: float) -> FloatArray:
    """Orders placed a year [orders/year]: at most one at each look at the shelf.

    Of Q positions evenly spread over s + 1 … s + Q, a demand D between two looks takes
    min(D, Q) to s or below; D a Poisson count.

    Parameters
    ----------
    demand : float or array
        [items/year]
    quantity : int or array
        [items]
    review_days : float
        Days between two looks [days]; 0: always known.
    """
    yearly, lot = (np.asarray(values, dtype=np.float64) for values in (demand, quantity))
    if review_days <= 0:
        return np.asarray(yearly / lot)
    mean = yearly * review_days / DAYS_PER_YEAR
    taken = mean - poisson_loss(lot, mean)
    return np.asarray(DAYS_PER_YEAR / review_days * taken / lot)


def find_least_cost(
    demand: ItemDemand, least_order: int, prices: ItemPrices, review_days: float
) -> tuple[Shelf, int, float]:
    """Order quantity and reorder point of least cost: the shelf, the point, its cost a year.

    Quantities are tried from the least order up to twice the classical lot size
    √(2 · order · demand / holding), all of them where they are few.
    """
    yearly = demand.unplanned_per_year + demand.planned_per_year
    found = []
    for quantity in list_quantities(least_order, yearly, prices):
        shelf = assess_demand(demand, quantity)
        money = cost_levels(shelf, demand, prices, review_days).money
        at = int(np.argmin(money))
        found.append((float(money[at]), quantity, int(shelf.reorder_point[at]), shelf))
    cost, _, point, shelf = min(found, key=lambda one: one[:2])
    return shelf, point, cost


def list_quantities(least_order: int, yearly: float, prices: ItemPrices) -> tuple[int, ...]:
    """Order quantities to try for a demand a year, ascending [items]."""
    lot = math.sqrt(2.0 * prices.order * yearly / prices.holding)
    most = max(least_order, math.ceil(2.0 * lot))
    return _spread_quantities(least_order, most)


@cache
def _spread_quantities(least: int, most: int) -> tuple[int, ...]:
    spread = np.rint(np.geomspace(least, most, MOST_QUANTITIES)).astype(int)
    return tuple(np.unique(spread).tolist())
