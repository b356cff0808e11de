"""What each way of supplying a kit asks of a store, and what the store's shelf then costs."""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from pumplife.policy.groups import DAYS_PER_YEAR
from pumplife.records.plant import Plant
from pumplife.records.stocking import may_break_kits
from pumplife.stock.asked import ItemFutures, Key, count_takings
from pumplife.stock.assess import advise_level, price_item
from pumplife.stock.items import Item
from pumplife.stock.lead_times import draw_item_leads
from pumplife.stock.supply import count_together
from pumplife.stock.ways_of_supply import BROKEN, PARTS, SUPPLY_YEARS, WAYS, Member, Supply, supply

MONEY = ("bought_per_year", "keeping_per_year", "waiting_per_year", "work_per_year")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Terms:
    """What items cost and how they come.

    Attributes
    ----------
    items : dict of str to Item
    current : dict of str to str
        Item to the one that has taken its place.
    contents : dict of dict
        Pieces of each part in each kit [items].
    plant : Plant
        Gives prices of keeping and waiting, the service level, and whether kits may be broken.
    """

    items: dict[str, Item]
    current: dict[str, str]
    contents: dict[str, dict[str, float]]
    plant: Plant

    def __repr__(self) -> str:
        return f"Terms({len(self.items)} items)"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Asked:
    """What one way asks of a store, by item: demand, pieces and takings a year; orders a year."""

    demand: dict[str, ItemFutures]
    rate: dict[str, float]
    times: dict[str, float]
    orders: float
    supply: Supply
    lacking: str


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PooledShelf:
    """One item's shelf under pooled demand [money/year], and its order-up-to level [items]."""

    keeping: float = 0.0
    waiting: float = 0.0
    up_to: int = 0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Room:
    """One store: what each way of each kit asks of it."""

    store: str
    members: dict[str, list[Member]]
    asked: dict[str, dict[str, Asked]]
    terms: Terms
    known: dict[tuple[str, ...], PooledShelf] = field(default_factory=dict)


def open_room(
    store: str, members: dict[str, list[Member]], terms: Terms, replicates: int, seed: int
) -> Room:
    ways = [way for way in WAYS if way != BROKEN or may_break_kits(terms.plant.raw)]
    asked = {
        kit: {
            way: _ask(store, kit, way, mine, terms=terms, chance=(replicates, seed)) for way in ways
        }
        for kit, mine in members.items()
    }
    return Room(store=store, members=members, asked=asked, terms=terms)


def _ask(
    store: str,
    kit: str,
    way: str,
    members: list[Member],
    *,
    terms: Terms,
    chance: tuple[int, int],
) -> Asked:
    replicates, seed = chance
    contents = terms.contents.get(kit, {})
    taken = supply(way, kit, members, contents, terms.plant, chance=chance)
    names, row = _current_names(taken.names, terms.current)
    lacking = [_what_lacks(name, terms.items) for name in names]
    if any(lacking) or (way == PARTS and not contents):
        why = "; ".join(filter(None, lacking)) or f"what {kit} holds isn't known"
        return Asked(demand={}, rate={}, times={}, orders=0.0, supply=taken, lacking=why)
    leads = {
        name: (terms.items[name].lead_time_days, terms.items[name].lead_time_high) for name in names
    }
    keys: list[Key] = [(store, name) for name in names]
    pieces = replace(taken.taken, item=row[taken.taken.item])
    demands = count_takings(
        keys,
        draw_item_leads(keys, leads, replicates, seed),
        (pieces.item, pieces.replicate, pieces.day, pieces.planned),
        terms.plant.review_days,
    )
    rates = np.bincount(pieces.item, minlength=len(names)) / (SUPPLY_YEARS * replicates)
    times, orders = count_together(pieces, len(names))
    return Asked(
        demand=dict(zip(names, demands, strict=True)),
        rate=dict(zip(names, rates.tolist(), strict=True)),
        times=dict(zip(names, (times / (SUPPLY_YEARS * replicates)).tolist(), strict=True)),
        orders=orders / (SUPPLY_YEARS * replicates),
        supply=taken,
        lacking="",
    )


def _current_names(
    names: Sequence[str], current: dict[str, str]
) -> tuple[list[str], NDArray[np.intp]]:
    """The items as they are bought today, and the row of each name among them."""
    bought = [current.get(name, name) for name in names]
    unique = sorted(set(bought))
    return unique, np.array([unique.index(name) for name in bought], dtype=np.intp)


def _what_lacks(name: str, items: dict[str, Item]) -> str:
    item = items.get(name)
    if item is None or not np.isfinite(item.unit_cost):
        return f"{name} has no price"
    return "" if np.isfinite(item.lead_time_days) else f"{name} has no lead time"


def costs_of(room: Room, kit: str, way: str, chosen: dict[str, str]) -> dict[str, float]:
    """What one kit's way adds to the store's costs, by `MONEY` [money/year].

    Where it lifts the level of a part that other kits share, their pumps wait less: what that
    spares is set against keeping the part, so that waiting is never below 0.
    """
    asked = room.asked[kit][way]
    if asked.lacking:
        return dict.fromkeys(MONEY, np.nan)
    others = {name: other for name, other in chosen.items() if name != kit}
    keeping = waiting = bought = 0.0
    for item in asked.demand:
        with_it = shelf_of(room, item, {**others, kit: way})
        without = shelf_of(room, item, others)
        added = with_it.waiting - without.waiting
        spared = float(np.fmin(added, 0.0))
        keeping += with_it.keeping - without.keeping + spared
        waiting += added - spared
        bought += asked.rate[item] * room.terms.items[item].unit_cost
    keeping += asked.orders * float(np.nan_to_num(room.terms.plant.cost("order")))
    left = left_over_money(room, asked) * SUPPLY_YEARS / 2.0
    keeping += left * room.terms.plant.cost("holding_per_year") if left else 0.0
    money = (bought, keeping, waiting, asked.supply.work)
    return dict(zip(MONEY, money, strict=True))


def left_over_money(room: Room, asked: Asked) -> float:
    """Value that broken kits leave in the bin a year; parts without a price count as nothing."""
    items, current = room.terms.items, room.terms.current
    worth = {
        name: items[current.get(name, name)].unit_cost
        for name in asked.supply.left_over
        if current.get(name, name) in items
    }
    return float(
        sum(np.nan_to_num(worth.get(name, 0.0)) * n for name, n in asked.supply.left_over.items())
    )


def shelf_of(room: Room, item: str, ways: dict[str, str]) -> PooledShelf:
    """An item's shelf under the demand of all kits that ask for it."""
    asking = [
        (kit, way) for kit, way in sorted(ways.items()) if item in room.asked[kit][way].demand
    ]
    key = (item, *(f"{kit}\x1f{way}" for kit, way in asking))
    if key not in room.known:
        asked = [room.asked[kit][way] for kit, way in asking]
        times = sum(one.times[item] for one in asked)
        together = sum(one.rate[item] for one in asked) / times if times else 1.0
        room.known[key] = _assess([one.demand[item] for one in asked], together, room.terms, item)
    return room.known[key]


def _assess(demands: list[ItemFutures], together: float, terms: Terms, item: str) -> PooledShelf:
    """The shelf of an item of which an opening takes so many together: they wait as one pump."""
    if not demands:
        return PooledShelf()
    demand = add_demands(demands).counted()
    quantity = terms.items[item].min_order
    prices = price_item(terms.plant, terms.items[item].unit_cost)
    level = advise_level(demand, quantity, terms.plant, prices)
    shelf, at = level.shelf, level.row_of(level.point)
    waiting = float(shelf.pumps_waiting[at]) / together * DAYS_PER_YEAR
    return PooledShelf(
        keeping=float(prices.holding * shelf.on_hand[at]),
        waiting=waiting * prices.waiting_per_day if waiting else 0.0,
        up_to=level.point + shelf.quantity,
    )


def add_demands(demands: Sequence[ItemFutures]) -> ItemFutures:
    """Demand of several takers for one item, future by future: a percentile of sums is no sum."""
    first = demands[0]
    lead, half, review = (
        np.sum([demand.spans[number] for demand in demands], axis=0) for number in range(3)
    )
    return replace(
        first,
        lead=np.sum([demand.lead for demand in demands], axis=0),
        spans=(lead, half, review),
        year=np.sum([demand.year for demand in demands], axis=0),
        planned_per_year=float(sum(demand.planned_per_year for demand in demands)),
        seen=first.seen if len(demands) == 1 else np.zeros(0, np.intp),
    )
