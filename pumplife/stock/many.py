"""Levels of many items at once: what `level` and `least_cost` do for one, over padded arrays.

Items are taken in blocks of like demand, so that their tallies pad each other little; losses are
sums of their tails, and a mean over the positions that an order quantity brings about is the
difference of two sums. A test holds both ways of reckoning together.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pumplife.stock.asked import ItemDemand
from pumplife.stock.least_cost import (
    ItemPrices,
    LevelCost,
    list_quantities,
    orders_per_year,
    price_levels,
)
from pumplife.stock.level import SIMPSON, Shelf, leave_jobs_out
from pumplife.stock.looks import SIMPSON_TIMES
from pumplife.stock.tally import Tally

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.intp]

BLOCK = 500  # items in one set of arrays


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Sums:
    """Sums from each level up, of a block of items: arrays (items, levels).

    Attributes
    ----------
    waits, stands : array
        Of the mean number waiting at each position, and of the breakdowns among them.
    misses : array
        Of the share of demands that find nothing at each position.
    above : array
        Chance that demand over lead time and review is as high as the level [-].
    length : int array (items,)
        Reorder points of each item, from -1 up.
    mean : array (items,)
        Mean demand over lead time and half the review, pieces that lie for work to come left out.
    """

    waits: FloatArray
    stands: FloatArray
    misses: FloatArray
    above: FloatArray
    length: IntArray
    mean: FloatArray

    def __repr__(self) -> str:
        return f"Sums({len(self.mean)} items)"

    def over(self, sums: FloatArray, quantity: IntArray) -> FloatArray:
        """Mean over the positions s + 1 ... s + Q of what was summed (items, levels)."""
        last = sums.shape[1] - 1
        ends = np.minimum(np.arange(last)[None, :] + quantity[:, None], last)
        width = quantity[:, None].astype(np.float64)
        return np.asarray((sums[:, :-1] - np.take_along_axis(sums, ends, axis=1)) / width)

    def on_hand(self, quantity: IntArray, waiting: FloatArray) -> FloatArray:
        """Mean number on the shelf (items, levels) [items]."""
        points = np.arange(-1, waiting.shape[1] - 1)
        position = points[None, :] + (quantity[:, None] + 1) / 2.0
        return np.asarray(position - self.mean[:, None] + waiting)

    def kept(self, quantity: IntArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """What `price_levels` asks of the levels, each (items, levels)."""
        held = self.on_hand(quantity, self.over(self.waits, quantity))
        return held, self.over(self.stands, quantity), 1.0 - self.over(self.misses, quantity)

    def shelves(self, quantity: IntArray) -> list[Shelf]:
        """Every reorder point of each item with its order quantity."""
        waiting, misses = self.over(self.waits, quantity), self.over(self.misses, quantity)
        held, stands = self.on_hand(quantity, waiting), self.over(self.stands, quantity)
        points = np.arange(-1, waiting.shape[1] - 1)
        return [
            Shelf(
                reorder_point=points[:n],
                quantity=int(quantity[k]),
                fill_rate=1.0 - misses[k, :n],
                shortage_prob=self.above[k, 1 : n + 1],
                on_hand=held[k, :n],
                backorders=waiting[k, :n],
                pumps_waiting=stands[k, :n],
            )
            for k, n in enumerate(self.length.tolist())
        ]


def sum_block(demands: Sequence[ItemDemand]) -> Sums:
    """Sum the tails of each item's demand."""
    highest = [max(span.highest for span in one.spans) for one in demands]
    length = np.array(highest, np.intp) + 2  # levels -1 ... the highest demand
    width = int(length.max()) + 1
    spans = [_lay([one.spans[number] for one in demands], width) for number in range(3)]
    tails = np.stack([_from_above(shares) for shares, *_ in spans])
    losses = np.concatenate([_from_above(tails)[..., 1:], np.zeros((*tails.shape[:2], 1))], axis=2)
    means = np.tensordot(SIMPSON, losses[..., 0], axes=1)  # at level 0 the loss is the mean
    early = np.tensordot(SIMPSON, np.stack([below for _, below, _ in spans]), axes=1)
    misses = _misses(demands, tails, losses, width)
    waits = np.tensordot(SIMPSON, losses, axes=1)
    return Sums(
        waits=_from_above(waits),
        stands=_from_above(leave_jobs_out(waits, _late_jobs(demands, spans[2][2], width))),
        misses=_from_above(misses),
        above=tails[-1],
        length=length,
        mean=means - early,
    )


def _misses(
    demands: Sequence[ItemDemand], tails: FloatArray, losses: FloatArray, width: int
) -> FloatArray:
    """Share of demands that find nothing at each position, by what was seen before each demand."""
    asked = losses[-1, :, 0] - losses[0, :, 0]
    with np.errstate(divide="ignore", invalid="ignore"):
        unseen: FloatArray = np.where(
            asked[:, None] > 0, (losses[-1] - losses[0]) / asked[:, None], tails[0]
        )
    seen = [one.seen for one in demands]
    known = np.array([len(one.times) > 0 for one in seen])
    return np.asarray(np.where(known[:, None], _from_above(_lay(seen, width)[0]), unseen))


def _late_jobs(demands: Sequence[ItemDemand], looks: FloatArray, width: int) -> FloatArray:
    """Mean number of planned jobs that find nothing at each position [items]."""
    shares, _, times = _lay([one.late for one in demands], width)
    return _from_above(shares * (times / (sum(SIMPSON_TIMES) * looks))[:, None])


def _lay(tallies: Sequence[Tally], width: int) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Shares of 0, 1, 2 ... of each tally (items, width), its mean below 0, and how many it counts.

    What lies below 0 counts as 0, what lies beyond the width as the last.
    """
    sizes = np.array([len(one.times) for one in tallies])
    row = np.repeat(np.arange(len(tallies)), sizes)
    number = np.arange(len(row)) - np.repeat(np.cumsum(sizes) - sizes, sizes)
    number += np.repeat([one.lowest for one in tallies], sizes)
    times = np.concatenate([one.times for one in tallies]).astype(np.float64)
    inside = row * width + np.clip(number, 0, width - 1)
    cells = np.bincount(inside, weights=times, minlength=len(tallies) * width).reshape(-1, width)
    below = np.bincount(row, weights=times * np.maximum(-number, 0), minlength=len(tallies))
    of = np.maximum(cells.sum(axis=1), 1.0)
    return cells / of[:, None], below / of, of


def _from_above(values: FloatArray) -> FloatArray:
    """Sums from each place to the end of the last axis, the smallest terms first."""
    return np.asarray(np.cumsum(values[..., ::-1], axis=-1)[..., ::-1])


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Assessed:
    """What is known of one item before its level is chosen.

    Attributes
    ----------
    prices : ItemPrices
    shelf, alone : Shelf
        With the least order, and with single pieces.
    cheapest : tuple of Shelf, int, float or None
        As `find_least_cost`; None where a price is missing.
    sooner : Shelf
        With the order quantity as advised, were orders there sooner.
    shelf_cost, cheapest_cost, sooner_cost : LevelCost
        What the levels of these shelves cost.
    """

    prices: ItemPrices
    shelf: Shelf
    alone: Shelf
    cheapest: tuple[Shelf, int, float] | None
    sooner: Shelf
    shelf_cost: LevelCost
    cheapest_cost: LevelCost
    sooner_cost: LevelCost

    def __repr__(self) -> str:
        return f"Assessed({self.shelf!r})"


def assess_many(
    counted: tuple[Sequence[ItemDemand], Sequence[ItemDemand]],
    least_orders: Sequence[int],
    prices: Sequence[ItemPrices],
    review_days: float,
    *,
    by_target: bool,
) -> list[Assessed]:
    """Assess the levels of many items.

    Parameters
    ----------
    counted : tuple of two sequences of ItemDemand
        As it is, and were orders there sooner.
    least_orders : sequence of int
        [items]
    prices : sequence of ItemPrices
    review_days : float
        Days between two looks [days].
    by_target : bool
        Whether the service level decides, not cost.
    """
    found: dict[int, Assessed] = {}
    for rows in list_blocks(counted[0]):
        known = _assess_block(
            ([counted[0][k] for k in rows], [counted[1][k] for k in rows]),
            [least_orders[k] for k in rows],
            [prices[k] for k in rows],
            review_days,
            by_target,
        )
        found |= zip(rows, known, strict=True)
    return [found[k] for k in range(len(counted[0]))]


def list_blocks(demands: Sequence[ItemDemand]) -> list[list[int]]:
    """Rows of the items that are assessed together: like demand, so that they pad little."""
    by_width = np.argsort([one.spans[2].highest for one in demands], kind="stable")
    return [by_width[start : start + BLOCK].tolist() for start in range(0, len(by_width), BLOCK)]


def _assess_block(
    counted: tuple[Sequence[ItemDemand], Sequence[ItemDemand]],
    least_orders: Sequence[int],
    prices: Sequence[ItemPrices],
    review_days: float,
    by_target: bool,
) -> list[Assessed]:
    least, ones = np.array(least_orders, np.intp), np.ones(len(least_orders), np.intp)
    sums = sum_block(counted[0])
    shelves = sums.shelves(least)
    alone = shelves if (least == 1).all() else sums.shelves(ones)
    quantity, point, cost = least_costs(sums, counted[0], least, prices, review_days)
    cheapest = sums.shelves(quantity)
    known = np.array([one.complete for one in prices])
    advised = np.where(known & ~np.bool_(by_target), quantity, least)
    sooner = sum_block(counted[1])
    later = sooner.shelves(advised)
    costs = [
        price_block(block, asked, lot, prices, review_days)
        for block, asked, lot in (
            (sums, counted[0], least), (sums, counted[0], quantity), (sooner, counted[1], advised)
        )
    ]  # fmt: skip
    return [
        Assessed(
            prices=prices[k],
            shelf=shelves[k],
            alone=alone[k],
            cheapest=(cheapest[k], int(point[k]), float(cost[k])) if known[k] else None,
            sooner=later[k],
            shelf_cost=costs[0][k],
            cheapest_cost=costs[1][k],
            sooner_cost=costs[2][k],
        )
        for k in range(len(least))
    ]


def price_block(
    sums: Sums,
    demands: Sequence[ItemDemand],
    quantity: IntArray,
    prices: Sequence[ItemPrices],
    review_days: float,
) -> list[LevelCost]:
    """What every reorder point of each item costs, as `cost_levels`."""
    unplanned, yearly = _asked_a_year(demands)
    orders = orders_per_year(yearly, quantity, review_days)[:, None]
    every = price_levels(sums.kept(quantity), unplanned[:, None], orders, _terms(prices))
    return [
        LevelCost(
            money=every.money[k, :n],
            short=every.short[k, :n],
            waiting=every.waiting[k, :n],
            rushed=every.rushed[k, :n],
        )
        for k, n in enumerate(sums.length.tolist())
    ]


def _asked_a_year(demands: Sequence[ItemDemand]) -> tuple[FloatArray, FloatArray]:
    """Unplanned and all demand [items/year]."""
    unplanned = np.array([one.unplanned_per_year for one in demands])
    return unplanned, unplanned + np.array([one.planned_per_year for one in demands])


def _terms(prices: Sequence[ItemPrices]) -> list[FloatArray]:
    """Prices as `price_levels` takes them, each (items, 1)."""
    terms = np.array(
        [(p.holding, p.order, p.waiting_per_day, p.rush, p.rush_days) for p in prices]
    ).reshape(-1, 5)[..., None]
    return list(terms.swapaxes(0, 1))


def least_costs(
    sums: Sums,
    demands: Sequence[ItemDemand],
    least: IntArray,
    prices: Sequence[ItemPrices],
    review_days: float,
) -> tuple[IntArray, IntArray, FloatArray]:
    """Order quantity, reorder point and cost a year of least cost, as `find_least_cost`.

    Items with a price missing keep their least order, and have no cost.
    """
    unplanned, yearly = _asked_a_year(demands)
    terms = _terms(prices)
    tried = _pad([
        list_quantities(n, y, p) if p.complete else (n,)
        for n, y, p in zip(least.tolist(), yearly.tolist(), prices, strict=True)
    ])  # fmt: skip
    outside = np.arange(sums.waits.shape[1] - 1)[None, :] >= sums.length[:, None]
    best = np.full(len(least), np.inf)
    quantity, point = least.copy(), np.full(len(least), -1, np.intp)
    for q in tried.T:
        orders = orders_per_year(yearly, q, review_days)[:, None]
        money = price_levels(sums.kept(q), unplanned[:, None], orders, terms).money
        money[outside | np.isnan(money)] = np.inf
        at = money.argmin(axis=1)
        cost = money[np.arange(len(at)), at]
        better = cost < best
        best, quantity = np.where(better, cost, best), np.where(better, q, quantity)
        point = np.where(better, at - 1, point)
    return quantity, point, best


def _pad(rows: Sequence[tuple[int, ...]]) -> IntArray:
    """Rows of one length, the last value of each repeated."""
    most, place = max(map(len, rows)), {row: n for n, row in enumerate(dict.fromkeys(rows))}
    padded = np.array([[*row, *[row[-1]] * (most - len(row))] for row in place], np.intp)
    return np.asarray(padded[[place[row] for row in rows]])
