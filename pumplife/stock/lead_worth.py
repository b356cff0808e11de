"""What orders that come sooner are worth: levels and their cost reckoned anew."""

from dataclasses import replace

import numpy as np

from pumplife.records.plant import Plant
from pumplife.stock.asked import Futures, ItemDemand, count_futures
from pumplife.stock.curves import Level
from pumplife.stock.least_cost import ItemPrices, assess_demand, cost_levels
from pumplife.stock.level import Shelf

SOONER_DAYS = 10.0  # by which orders come sooner, in the question asked


def count_sooner(futures: Futures, days: float = SOONER_DAYS) -> list[ItemDemand]:
    """Demand of each item were every order there some days sooner, at once at the earliest."""
    lead, listed = futures.lead - days, futures.listed - days
    return count_futures(
        replace(futures, lead=np.maximum(lead, 0.0), listed=np.maximum(listed, futures.review))
    )


def worth_of_sooner(
    demands: tuple[ItemDemand, ItemDemand],
    level: Level,
    plant: Plant,
    prices: ItemPrices,
    *,
    anew: Shelf | None = None,
) -> float:
    """What a shorter lead time saves a year, at the cheapest level that meets the target.

    The order quantity stays. Never below 0: an order may always be placed later.

    Parameters
    ----------
    demands : tuple of two ItemDemand
        As it is, and with the shorter lead time.
    level : Level
        The one advised.
    plant : Plant
    prices : ItemPrices
    anew : Shelf, optional
        With the shorter lead time, where it is known already.

    Returns
    -------
    float
        [money/year]; NaN where a price is missing.
    """
    if not prices.complete:
        return float("nan")
    shelves = (level.shelf, anew or assess_demand(demands[1], level.shelf.quantity))
    costs = [
        _least(shelf, asked, level, plant, prices)
        for shelf, asked in zip(shelves, demands, strict=True)
    ]
    return max(0.0, costs[0] - costs[1])


def _least(
    shelf: Shelf, demand: ItemDemand, level: Level, plant: Plant, prices: ItemPrices
) -> float:
    """Cost of the cheapest level that is good enough [money/year]."""
    money = cost_levels(shelf, demand, prices, plant.review_days).money
    bound = level.point >= 0 and "service_level" in plant.raw.get("targets", {})
    enough = (shelf.fill_rate >= plant.service_level - 1e-12) & (shelf.reorder_point >= 0)
    return float(money[enough].min() if bound and enough.any() else money.min())
