"""Demand of several stores counted as one, and what one shelf for it keeps and costs."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pumplife.records.plant import Plant
from pumplife.stock.ageing import Ageing, write_offs_a_year
from pumplife.stock.asked import Futures, ItemDemand
from pumplife.stock.assess import NO_AGEING, advise_level, cost_of, price_item
from pumplife.stock.curves import Level
from pumplife.stock.items import Item
from pumplife.stock.least_cost import ItemPrices, LevelCost
from pumplife.stock.many import Assessed
from pumplife.stock.needs import Known, Needs, sort_needs
from pumplife.stock.reserve import NO_RESERVE, Reserve

_TINY = 1e-9  # of a cost: rounding


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Kept:
    """What one arrangement keeps and costs a year, before transfers.

    Attributes
    ----------
    pieces : float
        Order-up-to level [items].
    capital : float
        Mean value on the shelves [money].
    cost : float
        Keeping, ordering, waiting for the supplier and write-offs [money/year].
    waiting : float
        Days that pumps wait for the supplier [days/year].
    fill : float
        Share of unplanned demands met at once [-].
    """

    pieces: float
    capital: float
    cost: float
    waiting: float
    fill: float = float("nan")

    def __repr__(self) -> str:
        return f"Kept({self.pieces:g} pieces, {self.cost:.4g} a year)"


def pool_futures(futures: Futures, pools: Sequence[Sequence[int]]) -> Futures:
    """The same futures with several keys counted as one.

    Parameters
    ----------
    futures : Futures
    pools : sequence of sequence of int
        Rows in the keys, of one item each. The pool's lead times are those of its first store:
        one order serves all.
    """
    first = np.array([rows[0] for rows in pools], np.intp)
    place = np.full(len(futures.keys), -1, np.intp)
    for number, rows in enumerate(pools):
        place[list(rows)] = number
    needs, jobs = futures.needs, futures.jobs
    kept, known = place[needs.key] >= 0, place[jobs.key] >= 0
    asked = Needs(
        key=place[needs.key[kept]],
        replicate=needs.replicate[kept],
        day=needs.day[kept],
        planned=needs.planned[kept],
    )
    return Futures(
        keys=[("", futures.keys[row][1]) for row in first],
        lead=futures.lead[first],
        listed=futures.listed[first],
        needs=sort_needs(asked, futures.lead.shape[1]),
        jobs=Known(
            key=place[jobs.key[known]],
            replicate=jobs.replicate[known],
            since=jobs.since[known],
            due=jobs.due[known],
            until=jobs.until[known],
        ),
        review=futures.review,
        days=futures.days,
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PricedShelf:
    """One shelf with every reorder point priced.

    Attributes
    ----------
    level : Level
        As advised for it.
    cost : LevelCost
        Of every reorder point.
    prices : ItemPrices
    ageing : Ageing
    """

    level: Level
    cost: LevelCost
    prices: ItemPrices
    ageing: Ageing

    def __repr__(self) -> str:
        return f"PricedShelf({self.level!r})"

    def at(self, point: int) -> Kept:
        """What a reorder point keeps and costs; the reserve comes on top."""
        shelf, reserve, at = self.level.shelf, self.level.reserve, self.level.row_of(point)
        lost = write_offs_a_year(self.ageing, np.array([point]), shelf.quantity)[0]
        above = point - int(shelf.reorder_point[at]) + reserve.pieces  # always lie there
        return Kept(
            pieces=float(point + shelf.quantity + reserve.pieces),
            capital=(float(shelf.on_hand[at]) + above) * self.prices.unit_cost,
            cost=float(self.cost.money[at])
            + self.prices.holding * above
            + _paid(lost, self.prices),
            waiting=float(self.cost.waiting[at]),
            fill=float(shelf.fill_rate[at]),
        )


def _paid(pieces: float, prices: ItemPrices) -> float:
    return float(pieces) * prices.unit_cost if pieces else 0.0


def price_shelf(
    demand: ItemDemand,
    item: Item,
    plant: Plant,
    *,
    reserve: Reserve = NO_RESERVE,
    ageing: Ageing = NO_AGEING,
    known: Assessed | None = None,
) -> PricedShelf:
    """Choose the level of one shelf by the rules of the stock table, and price the others.

    `known` are its levels, where those of many were assessed at once.
    """
    prices = price_item(plant, item.unit_cost) if known is None else known.prices
    level = advise_level(
        demand, item.min_order, plant, prices, reserve=reserve, ageing=ageing, known=known
    )
    cost = cost_of(level.shelf, demand, prices, plant, known)
    return PricedShelf(level=level, cost=cost, prices=prices, ageing=ageing)


def pooled_point(shelf: PricedShelf, plant: Plant, apart: Kept) -> int:
    """Reorder point of the pool: as advised, raised while that costs more than shelves apart.

    A level that meets the service level may let more pumps wait than the many levels that it
    replaces; the least raise that makes up for it is taken, else the cheapest level. A pool is
    never raised beyond what the stores keep together.
    """
    least = shelf.level.point
    most = max(least, int(apart.pieces) - shelf.level.shelf.quantity - shelf.level.reserve.pieces)
    costs = [shelf.at(point).cost for point in range(least, most + 1)]
    if not np.isfinite(costs[0] + apart.cost):
        return least
    good = np.flatnonzero(np.array(costs) <= apart.cost * (1.0 + _TINY))
    return least + int(good[0] if len(good) else np.argmin(costs))
