"""Pieces that age out on the shelf: the chance of it, and write-offs a year at every level.

Consumption, planned and unplanned, is simulated from the pumps' ages over the storage life, in
quarters of a year (as bags are labelled), first expiring first out. What was taken in one quarter
is there again, fresh from the press, when the next begins; kits ordered for planned jobs pass
through the shelf, since the job takes the oldest.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import special, stats

from pumplife.policy.ahead import UseAhead
from pumplife.policy.groups import DAYS_PER_YEAR, SideGroup
from pumplife.stock.asked import ItemDemand, Key
from pumplife.stock.cure_dates import Bags, use_first_expiring
from pumplife.stock.demand import gather_needs, number_keys
from pumplife.stock.future import Practice, count_replicates
from pumplife.stock.level import Shelf
from pumplife.stock.loose import LoosePart

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.intp]

QUARTERS = 4  # of a year
MOST_YEARS = 20.0  # a longer storage life counts as this
_NEGLIGIBLE = 1e-3  # chance of ageing out at half the expected demand, below which none is counted
_LIKELY = 0.5  # chance from which the last piece would probably age out
_SEED = 1  # of the ages at the start
_CELLS = 500_000  # position lives simulated at the start, all groups and futures
_LEAST, _MOST = 100, 400  # futures


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Ageing:
    """How long one item may lie in one store, and how it is used meanwhile.

    Attributes
    ----------
    years : float
        Storage life [years]; inf without a limit, NaN where not known.
    counts : array (quarters, replicates) or None
        Demand in each quarter from today [items]; None where it uses the shelf up long before.
    """

    years: float
    counts: IntArray | None = None

    def __repr__(self) -> str:
        return f"Ageing({self.years:g} years{'' if self.counts is None else ', at risk'})"

    @property
    def quarters(self) -> int:
        """The storage life in whole quarters, one at least."""
        return max(1, int(QUARTERS * min(self.years, MOST_YEARS)))


def chance_to_age_out(ageing: Ageing, level: int) -> float:
    """Chance that a piece which arrives as the last of `level` is not used in time [-].

    It is used when as many pieces are asked for within its storage life; for Poisson demand this
    is P(D <= level − 1).
    """
    if ageing.counts is None:
        return 0.0
    asked = ageing.counts[: ageing.quarters].sum(axis=0)
    return float(np.mean(asked < level))


def highest_point(ageing: Ageing, quantity: int) -> float:
    """Highest reorder point at which the last piece is likelier used than not [items]."""
    if ageing.counts is None:
        return float("inf")
    asked = ageing.counts[: ageing.quarters].sum(axis=0)
    return float(np.quantile(asked, _LIKELY, method="lower")) - quantity


def write_offs_a_year(ageing: Ageing, points: IntArray, quantity: int) -> FloatArray:
    """Pieces that age out in a year at each reorder point, in the mean [items/year].

    Parameters
    ----------
    ageing : Ageing
    points : array (levels,)
        Reorder points [items].
    quantity : int
        Order quantity [items].
    """
    if ageing.counts is None:
        return np.zeros(len(points))
    lost = run_shelf(ageing.counts, points, quantity, ageing.quarters)
    return np.asarray(lost.mean(axis=1) / (ageing.quarters / QUARTERS), dtype=np.float64)


def charge_write_offs(
    shelf: Shelf, cost: FloatArray, cheapest: int, ageing: Ageing, unit_cost: float
) -> int:
    """Reorder point of least cost once pieces that age out are paid for; never a higher one.

    Parameters
    ----------
    shelf : Shelf
    cost : array (levels,)
        Without them, at each reorder point of the shelf [money/year].
    cheapest : int
        The reorder point of least such cost [items].
    ageing : Ageing
    unit_cost : float
        [money]
    """
    if ageing.counts is None or not unit_cost > 0:
        return cheapest
    below = shelf.reorder_point <= cheapest
    points = shelf.reorder_point[below]
    lost = write_offs_a_year(ageing, points, shelf.quantity)
    return int(points[np.argmin(cost[below] + unit_cost * lost)])


def age_row(ageing: Ageing, point: float, quantity: int, unit_cost: float) -> dict[str, float]:
    """Columns of the stock table that tell of ageing at one reorder point; NaN where not known."""
    known = not np.isnan(point + ageing.years)
    lost = 0.0 if known else np.nan
    if known and ageing.counts is not None:
        lost = write_offs_a_year(ageing, np.array([int(point)]), quantity)[0]
    return {
        "storage_years": ageing.years,
        "expiry_risk": chance_to_age_out(ageing, int(point) + quantity) if known else np.nan,
        "write_offs_per_year": float(lost),
        "write_off_cost": float(lost) * unit_cost,
    }


def run_shelf(counts: IntArray, points: IntArray, quantity: int, life: int) -> FloatArray:
    """Pieces that age out over one storage life, shelf refilled by reorder point and quantity.

    The shelf starts with pieces of the ages that steady use leaves behind and runs for one
    storage life before it counts.

    Parameters
    ----------
    counts : array (quarters, replicates)
        Demand in each quarter of at least two storage lives [items].
    points : array (levels,)
        Reorder points [items].
    quantity : int
        Order quantity [items].
    life : int
        Storage life [quarters].

    Returns
    -------
    array (levels, replicates)
        [items].
    """
    top = np.maximum(points + quantity, 0)
    slot = np.arange(int(top.max(initial=0)))[:, None, None]
    pace = max(float(counts.mean()), 1e-9)
    ends = _start_shelf(slot, top[:, None], life, pace, counts.shape[1])
    lost = np.zeros(ends.shape[1:])
    for quarter in range(2 * life):
        old = ends <= quarter
        lost += old.sum(axis=0) if quarter >= life else 0.0
        ends[old] = np.inf
        ends.sort(axis=0)
        held = np.isfinite(ends).sum(axis=0)
        short = np.maximum(points[:, None] + 1 - held, 0)
        filled = held + quantity * np.ceil(short / quantity)
        ends[(slot >= held) & (slot < filled)] = quarter + life
        ends[np.broadcast_to(slot < counts[quarter], ends.shape)] = np.inf
        ends.sort(axis=0)
    return lost


def _start_shelf(slot: IntArray, top: IntArray, life: int, pace: float, width: int) -> FloatArray:
    """Quarter in which each piece of a full shelf expires (slots, levels, width).

    Under Poisson demand the ages of pieces have a joint density that falls exponentially with the
    oldest age alone, so this is gamma, cut off at the storage life, and the others are uniform
    below it. The draws are the same for every level and item.
    """
    rng = np.random.default_rng(_SEED)
    shape = np.maximum(top, 1)
    u = rng.random(width) * stats.gamma.cdf(life, shape, scale=1.0 / pace)
    oldest = stats.gamma.ppf(u, shape, scale=1.0 / pace)
    below = rng.random((len(slot), width))[:, None, :] * oldest
    ages = np.where(slot == 0, oldest, below)
    return np.where(slot < top, np.ceil(life - ages), np.inf)


def is_at_risk(demand: ItemDemand, years: float, quantity: int, bags: Bags | None) -> bool:
    """Whether pieces of an item might age out, on the shelf as advised or as it is today.

    Half the expected demand, as a Poisson count, would leave the last piece unused with a chance
    of over 1 in 1,000.
    """
    pace = 0.5 * (demand.unplanned_per_year + demand.planned_per_year)
    pieces = [float(demand.spans[2].highest) + 1 + quantity]
    left = [years]
    if bags is not None:
        pieces += list(np.cumsum(bags.pieces))
        left += list(bags.days_left / DAYS_PER_YEAR)
    last, time = np.array(pieces) - 1, np.array(left)
    risky = special.pdtr(last, pace * np.minimum(time, MOST_YEARS)) > _NEGLIGIBLE
    return bool((risky & np.isfinite(time)).any())


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Use:
    """What is taken of some items in the years to come.

    Attributes
    ----------
    counts : array (keys, quarters, replicates)
        In each quarter from today, planned and unplanned [items].
    asked : dict of array (bags, replicates)
        By store and item, until each of today's bags expires [items].
    """

    counts: IntArray
    asked: dict[Key, FloatArray]

    def __repr__(self) -> str:
        return f"Use({self.counts.shape[0]} items, {self.counts.shape[2]} futures)"


def simulate_use(
    groups: Sequence[SideGroup],
    practices: Sequence[Practice],
    keyed: Mapping[Key, Bags | None],
    current: dict[str, str],
    *,
    years: float,
    seed: int,
    fouling: Sequence[float],
    loose: Sequence[Sequence[LoosePart]] = (),
    ahead: Sequence[UseAhead | None] = (),
) -> Use:
    """Run the pumps forward for what they take of some items.

    Parameters
    ----------
    groups, practices, current, seed, fouling, loose, ahead
        As of `simulate_futures`.
    keyed : mapping
        The stores and items that are asked for, with today's bags.
    years : float
        How far [years].
    """
    keys, stores = list(keyed), {store for store, _ in keyed}
    drawn = [group for group in groups if stores & set(group.store)]
    replicates = count_replicates(drawn, cells=_CELLS, least=_LEAST, most=_MOST)
    shape = (len(keys), int(np.ceil(QUARTERS * years)), replicates)
    needs = gather_needs(
        groups,
        practices,
        number_keys(keys, current),
        years=shape[1] / QUARTERS,
        replicates=replicates,
        seed=seed,
        fouling=fouling,
        loose=loose,
        ahead=ahead,
    )
    quarter = np.minimum((needs.day / DAYS_PER_YEAR * QUARTERS).astype(np.intp), shape[1] - 1)
    cell = np.ravel_multi_index((needs.key, quarter, needs.replicate), shape)
    counts = np.bincount(cell, minlength=int(np.prod(shape))).reshape(shape)
    order = np.argsort(needs.key, kind="stable")
    ends = np.searchsorted(needs.key[order], np.arange(len(keys) + 1))
    asked = {
        key: _count_until(bags.days_left, needs.day[rows], needs.replicate[rows], replicates)
        for number, (key, bags) in enumerate(keyed.items())
        if bags is not None
        for rows in (order[ends[number] : ends[number + 1]],)
    }
    return Use(counts=counts, asked=asked)


def _count_until(
    until: FloatArray, day: FloatArray, replicate: IntArray, replicates: int
) -> FloatArray:
    """Demand until each of some days, by future (days, replicates)."""
    column = np.searchsorted(until, day)  # of the first day that isn't before the demand
    cell = replicate + replicates * column
    shape = (len(until) + 1, replicates)
    counted = np.bincount(cell, minlength=shape[0] * replicates).reshape(shape)
    return np.cumsum(counted, axis=0)[:-1].astype(np.float64)


def leave_unused(bags: Bags, asked: FloatArray) -> FloatArray:
    """Pieces of each bag that expire before they are used, by future (bags, replicates) [items]."""
    left = bags.pieces[:, None] - use_first_expiring(bags.pieces, asked)
    return np.where(np.isfinite(bags.days_left)[:, None], left, 0.0)


def write_off_rates(
    keyed: Mapping[Key, Bags],
    asked: Mapping[Key, FloatArray],
    prices: Mapping[str, float],
    *,
    edges: FloatArray,
) -> tuple[FloatArray, FloatArray]:
    """What is written off of today's bags in each of the next years, by future.

    Parameters
    ----------
    keyed : mapping
        Usable bags by store and item.
    asked : mapping
        Demand until each of them expires (bags, replicates) [items]; all of one number of
        replicates, or one where it is certain.
    prices : mapping
        Price by item [money].
    edges : array (years + 1,)
        Of the years, from the end of the records [years]; what has expired falls into the first.

    Returns
    -------
    pieces, money : array (years, replicates)
        [items], [money]; what has no price counts in pieces only.
    """
    replicates = max((taken.shape[1] for taken in asked.values()), default=1)
    years = len(edges) - 1
    pieces, money = np.zeros((years, replicates)), np.zeros((years, replicates))
    for key, taken in asked.items():
        bags = keyed[key]
        year = np.searchsorted(edges[1:], bags.days_left / DAYS_PER_YEAR, side="right")
        soon = year < years
        lost = np.broadcast_to(leave_unused(bags, taken)[soon], (soon.sum(), replicates))
        np.add.at(pieces, year[soon], lost)
        np.add.at(money, year[soon], np.nan_to_num(prices.get(key[1], 0.0)) * lost)
    return pieces, money
