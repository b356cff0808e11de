"""Kits, loose parts or both: which way of supplying the work costs least, per store and kit."""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pumplife.policy.groups import DAYS_PER_YEAR, SideGroup
from pumplife.records.plant import Plant
from pumplife.stock.assess import advise_level, price_item
from pumplife.stock.demand import ItemDemand, Key, count_takings, draw_item_leads
from pumplife.stock.future import Practice, count_replicates
from pumplife.stock.items import Item
from pumplife.stock.loose import LoosePart
from pumplife.stock.supply import count_together
from pumplife.stock.ways_of_supply import (
    BROKEN,
    KITS,
    MIX,
    PARTS,
    TODAY,
    WAYS,
    YEARS,
    Member,
    Supply,
    keeps_practice,
    run_members,
    supply,
)

KIT_OR_PARTS_COLUMNS = (
    "store",
    "kit",
    "way",
    "advised",
    "keeps_practice",
    "kits_per_year",
    "parts_per_year",
    "bought_per_year",
    "keeping_per_year",
    "waiting_per_year",
    "work_per_year",
    "money_per_year",
    "left_over_per_year",
    "to_stock",
    "why",
)
_MONEY = ("bought_per_year", "keeping_per_year", "waiting_per_year", "work_per_year")
_CELLS, _LEAST, _MOST = 500_000, 100, 400
_SWEEPS = 3
_NAMES = {
    "bought_per_year": "what is bought",
    "keeping_per_year": "keeping and ordering",
    "waiting_per_year": "waiting pumps",
    "work_per_year": "work and what failures bring",
}


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
class _Asked:
    """What one way asks of a store, by item: demand, pieces and takings a year; orders a year."""

    demand: dict[str, ItemDemand]
    rate: dict[str, float]
    times: dict[str, float]
    orders: float
    supply: Supply
    lacking: str


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Shelf:
    """One item's shelf under pooled demand [money/year], and its order-up-to level [items]."""

    keeping: float = 0.0
    waiting: float = 0.0
    up_to: int = 0


def compare_supply(
    groups: Sequence[SideGroup],
    practices: Sequence[Practice],
    loose: Sequence[tuple[LoosePart, ...]],
    terms: Terms,
    *,
    seed: int = 1,
) -> pd.DataFrame:
    """Money a year of each way of supplying each kind of kit in each store, and the cheapest.

    Ways: today's (planned ages and kits at failures as tickets show them), kits only (a kit at
    every planned renewal and every failure), parts only (the same renewals as followed, all out of
    loose stock), kits and parts (kits for whole renewals, the failed part alone at a failure) and,
    where plant.toml allows it, kits broken for the failed part, whose rest goes to a bin that
    later needs are met from. What an opening takes is ordered again in one order; pieces of one
    item that it waits for are one waiting pump. Air kits for fouled air sides are left out.

    Parts that several kits share are pooled: what a kit's way costs is what the store's shelf
    costs with it less what it costs without, the other kits being supplied as advised. Advised is
    the cheapest of the ways that treat failures as the rebuild advice does; a cheaper one that
    doesn't is told.

    Parameters
    ----------
    groups, practices, loose : sequences
        The pump groups, what is followed, and what openings take besides, in one order.
    terms : Terms
    seed : int

    Returns
    -------
    DataFrame
        `KIT_OR_PARTS_COLUMNS`, means of the next three years at today's prices; blank money where
        a price or lead time is missing, and `why` says which.
    """
    replicates = count_replicates(groups, cells=_CELLS, least=_LEAST, most=_MOST)
    families = run_members(groups, practices, loose, replicates=replicates, seed=seed)
    rows: list[dict[str, Any]] = []
    for store in sorted({key[0] for key in families}):
        mine = {key[1]: members for key, members in families.items() if key[0] == store}
        room = _open_room(store, mine, terms, replicates, seed)
        chosen = _choose(room)
        for kit in sorted(mine):
            rows += _family_rows(room, kit, chosen)
    return pd.DataFrame(rows, columns=list(KIT_OR_PARTS_COLUMNS))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Room:
    """One store: what each way of each kit asks of it."""

    store: str
    members: dict[str, list[Member]]
    asked: dict[str, dict[str, _Asked]]
    terms: Terms
    known: dict[tuple[str, ...], _Shelf] = field(default_factory=dict)


def _open_room(
    store: str, members: dict[str, list[Member]], terms: Terms, replicates: int, seed: int
) -> _Room:
    ways = [way for way in WAYS if way != BROKEN or terms.plant.break_kits]
    asked = {
        kit: {
            way: _ask(store, kit, way, mine, terms=terms, chance=(replicates, seed)) for way in ways
        }
        for kit, mine in members.items()
    }
    return _Room(store=store, members=members, asked=asked, terms=terms)


def _ask(
    store: str,
    kit: str,
    way: str,
    members: list[Member],
    *,
    terms: Terms,
    chance: tuple[int, int],
) -> _Asked:
    replicates, seed = chance
    contents = terms.contents.get(kit, {})
    taken = supply(way, kit, members, contents, terms.plant, chance=chance)
    names, row = _current_names(taken.names, terms.current)
    lacking = [_what_lacks(name, terms.items) for name in names]
    if any(lacking) or (way == PARTS and not contents):
        why = "; ".join(filter(None, lacking)) or f"what {kit} holds isn't known"
        return _Asked(demand={}, rate={}, times={}, orders=0.0, supply=taken, lacking=why)
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
    rates = np.bincount(pieces.item, minlength=len(names)) / (YEARS * replicates)
    times, orders = count_together(pieces, len(names))
    return _Asked(
        demand=dict(zip(names, demands, strict=True)),
        rate=dict(zip(names, rates.tolist(), strict=True)),
        times=dict(zip(names, (times / (YEARS * replicates)).tolist(), strict=True)),
        orders=orders / (YEARS * replicates),
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


def _choose(room: _Room) -> dict[str, str]:
    """The cheapest way of each kit that keeps the practice, each beside the others' choice."""
    chosen = {
        kit: KITS if keeps_practice(KITS, mine) else MIX for kit, mine in room.members.items()
    }
    for _ in range(_SWEEPS):
        before = dict(chosen)
        for kit, mine in room.members.items():
            costs = {
                way: sum(_costs(room, kit, way, chosen).values())
                for way in room.asked[kit]
                if keeps_practice(way, mine)
            }
            costs = {way: money for way, money in costs.items() if np.isfinite(money)}
            if costs:
                chosen[kit] = min(costs, key=lambda way: (costs[way], way != chosen[kit]))
        if chosen == before:
            break
    return chosen


def _costs(room: _Room, kit: str, way: str, chosen: dict[str, str]) -> dict[str, float]:
    """What one kit's way adds to the store's costs, by `_MONEY` [money/year]."""
    asked = room.asked[kit][way]
    if asked.lacking:
        return dict.fromkeys(_MONEY, np.nan)
    others = {name: other for name, other in chosen.items() if name != kit}
    keeping = waiting = bought = 0.0
    for item in asked.demand:
        with_it = _shelf(room, item, {**others, kit: way})
        without = _shelf(room, item, others)
        keeping += with_it.keeping - without.keeping
        waiting += with_it.waiting - without.waiting
        bought += asked.rate[item] * room.terms.items[item].unit_cost
    keeping += asked.orders * float(np.nan_to_num(room.terms.plant.cost("order")))
    left = _left_over_money(room, asked) * YEARS / 2.0
    keeping += left * room.terms.plant.cost("holding_per_year") if left else 0.0
    money = (bought, keeping, waiting, asked.supply.work)
    return dict(zip(_MONEY, money, strict=True))


def _left_over_money(room: _Room, asked: _Asked) -> float:
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


def _shelf(room: _Room, item: str, ways: dict[str, str]) -> _Shelf:
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


def _assess(demands: list[ItemDemand], together: float, terms: Terms, item: str) -> _Shelf:
    """The shelf of an item of which an opening takes so many together: they wait as one pump."""
    if not demands:
        return _Shelf()
    demand = add_demands(demands)
    quantity = terms.items[item].min_order
    prices = price_item(terms.plant, terms.items[item].unit_cost)
    shelf, point, *_ = advise_level(demand, quantity, terms.plant, prices)
    at = int(np.flatnonzero(shelf.reorder_point == point)[0])
    waiting = float(shelf.backorders[at]) / together * DAYS_PER_YEAR
    return _Shelf(
        keeping=float(prices.holding * shelf.on_hand[at]),
        waiting=waiting * prices.waiting_per_day if waiting else 0.0,
        up_to=point + quantity,
    )


def add_demands(demands: Sequence[ItemDemand]) -> ItemDemand:
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
    )


def _family_rows(room: _Room, kit: str, chosen: dict[str, str]) -> list[dict[str, Any]]:
    rows = [_row(room, kit, way, chosen) for way in room.asked[kit]]
    best = next(row for row in rows if row["way"] == chosen[kit])
    if np.isfinite(best["money_per_year"]):
        best["advised"] = "yes"
        best["why"] = _why_best(best, rows, room.terms.plant.currency)
        for row in rows:
            if row is not best and not row["why"]:
                row["why"] = _why_not(row, best, room.terms.plant.currency)
    return rows


def _row(room: _Room, kit: str, way: str, chosen: dict[str, str]) -> dict[str, Any]:
    asked, costs = room.asked[kit][way], _costs(room, kit, way, chosen)
    kept = keeps_practice(way, room.members[kit])
    kits = asked.rate.get(room.terms.current.get(kit, kit), 0.0)
    shelves = {name: _shelf(room, name, {**chosen, kit: way}).up_to for name in asked.demand}
    missing = [name for name in ("holding_per_year", "waiting_per_day") if _blank(room, name)]
    why = asked.lacking or (f"[costs] {' and '.join(missing)} not given" if missing else "")
    return {
        "store": room.store,
        "kit": kit,
        "way": way,
        "advised": "",
        "keeps_practice": "yes" if kept else "no",
        "kits_per_year": np.nan if asked.lacking else kits,
        "parts_per_year": np.nan if asked.lacking else sum(asked.rate.values()) - kits,
        **costs,
        "money_per_year": sum(costs.values()) if not missing else np.nan,
        "left_over_per_year": _left_over_money(room, asked),
        "to_stock": ", ".join(f"{name} {up_to}" for name, up_to in shelves.items()),
        "why": why,
    }


def _blank(room: _Room, name: str) -> bool:
    return not np.isfinite(room.terms.plant.cost(name))


def _why_best(best: dict[str, Any], rows: list[dict[str, Any]], currency: str) -> str:
    others = [
        row
        for row in rows
        if row is not best and row["keeps_practice"] == "yes" and np.isfinite(row["money_per_year"])
    ]
    words = []
    if others:
        next_best = min(others, key=lambda row: float(row["money_per_year"]))
        gap = float(next_best["money_per_year"] - best["money_per_year"])
        most = max(_MONEY, key=lambda name: float(next_best[name] - best[name]))
        words.append(
            f"{gap:,.0f} {currency} a year less than {next_best['way']}, most of it by "
            f"{_NAMES[most]}"
        )
    else:
        words.append("the only way that keeps to the rebuild advice and has its prices")
    if best["way"] in (PARTS, BROKEN):
        words.append("the stock table still counts kits for whole renewals, and parts loose")
    return "; ".join(words)


def _why_not(row: dict[str, Any], best: dict[str, Any], currency: str) -> str:
    gap = float(row["money_per_year"] - best["money_per_year"])
    more = f"{abs(gap):,.0f} {currency} a year {'more' if gap >= 0 else 'less'}"
    if row["way"] == TODAY:
        return more
    if row["keeps_practice"] == "no":
        treated = "the failed part alone" if row["way"] in (MIX, BROKEN) else "the whole side"
        return f"{more}, but renews {treated} at a failure, which the rebuild advice doesn't"
    return more
