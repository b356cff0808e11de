"""What orders that come sooner are worth: levels and their cost reckoned anew."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from pumplife.records.plant import Plant
from pumplife.stock.asked import Futures, ItemDemand, count_futures
from pumplife.stock.curves import Level
from pumplife.stock.least_cost import ItemPrices, LevelCost, assess_demand, cost_levels
from pumplife.stock.level import Shelf

SOONER_DAYS = 10.0  # by which orders come sooner, in the question asked


def count_sooner(
    futures: Futures, demands: Sequence[ItemDemand], days: float = SOONER_DAYS
) -> list[ItemDemand]:
    """Demand of each item were every order there some days sooner, at once at the earliest.

    Parameters
    ----------
    futures : Futures
    demands : sequence of ItemDemand
        The same futures with orders there as they are.
    days : float
        [days]
    """
    lead, listed = futures.lead - days, futures.listed - days
    sooner = replace(futures, lead=np.maximum(lead, 0.0), listed=np.maximum(listed, futures.review))
    return count_futures(sooner, year_of=demands)


def worth_of_sooner(
    demands: tuple[ItemDemand, ItemDemand],
    advised: tuple[Level, LevelCost],
    plant: Plant,
    prices: ItemPrices,
    *,
    anew: tuple[Shelf, LevelCost] | None = None,
) -> float:
    """What a shorter lead time saves a year, at the cheapest level that meets the target.

    The order quantity stays. Never below 0: an order may always be placed later.

    Parameters
    ----------
    demands : tuple of two ItemDemand
        As it is, and with the shorter lead time.
    advised : tuple of Level, LevelCost
        The level advised, and what every level of its shelf costs.
    plant : Plant
    prices : ItemPrices
    anew : tuple of Shelf, LevelCost, optional
        With the shorter lead time, where that is known already.

    Returns
    -------
    float
        [money/year]; NaN where a price is missing.
    """
    if not prices.complete:
        return float("nan")
    level, cost = advised
    if anew is None:
        shelf = assess_demand(demands[1], level.shelf.quantity)
        anew = shelf, cost_levels(shelf, demands[1], prices, plant.review_days)
    now, later = (_least(*one, level, plant) for one in ((level.shelf, cost), anew))
    return max(0.0, now - later)


def _least(shelf: Shelf, cost: LevelCost, level: Level, plant: Plant) -> float:
    """Cost of the cheapest level that is good enough [money/year]."""
    if level.point >= 0 and "service_level" in plant.raw.get("targets", {}):
        none = max(0, -int(shelf.reorder_point[0]))  # levels below 0
        good = cost.money[none:][shelf.fill_rate[none:] >= plant.service_level - 1e-12]
        if len(good):
            return float(good.min())
    return float(cost.money.min())
