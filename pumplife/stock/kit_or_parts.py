"""Kits, loose parts or both: which way of supplying the work costs least, per store and kit."""

from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd

from pumplife.policy.groups import SideGroup
from pumplife.stock.future import Practice, count_replicates
from pumplife.stock.loose import LoosePart
from pumplife.stock.supply_costs import (
    MONEY,
    Room,
    Terms,
    costs_of,
    left_over_money,
    open_room,
    shelf_of,
)
from pumplife.stock.ways_of_supply import (
    BROKEN,
    KITS,
    MIX,
    PARTS,
    TODAY,
    keeps_practice,
    run_members,
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
_CELLS, _LEAST, _MOST = 500_000, 100, 400
_SWEEPS = 3
_NAMES = {
    "bought_per_year": "what is bought",
    "keeping_per_year": "keeping and ordering",
    "waiting_per_year": "waiting pumps",
    "work_per_year": "work and what failures bring",
}


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
    costs with it less what it costs without, the other kits being supplied as advised (where more
    demand lifts the level of a shared part so that others wait less, that is credited to the
    keeping of its shelf: waiting is never below 0). Advised is the cheapest
    of the ways that treat failures as the rebuild advice does; a cheaper one that doesn't is told.

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
        room = open_room(store, mine, terms, replicates, seed)
        chosen = _choose(room)
        for kit in sorted(mine):
            rows += _family_rows(room, kit, chosen)
    return pd.DataFrame(rows, columns=list(KIT_OR_PARTS_COLUMNS))


def _choose(room: Room) -> dict[str, str]:
    """The cheapest way of each kit that keeps the practice, each beside the others' choice."""
    chosen = {
        kit: KITS if keeps_practice(KITS, mine) else MIX for kit, mine in room.members.items()
    }
    for _ in range(_SWEEPS):
        before = dict(chosen)
        for kit, mine in room.members.items():
            costs = {
                way: sum(costs_of(room, kit, way, chosen).values())
                for way in room.asked[kit]
                if keeps_practice(way, mine)
            }
            costs = {way: money for way, money in costs.items() if np.isfinite(money)}
            if costs:
                chosen[kit] = min(costs, key=lambda way: (costs[way], way != chosen[kit]))
        if chosen == before:
            break
    return chosen


def _family_rows(room: Room, kit: str, chosen: dict[str, str]) -> list[dict[str, Any]]:
    rows = [_row(room, kit, way, chosen) for way in room.asked[kit]]
    best = next(row for row in rows if row["way"] == chosen[kit])
    if np.isfinite(best["money_per_year"]):
        best["advised"] = "yes"
        best["why"] = _why_best(best, rows, room.terms.plant.currency)
        for row in rows:
            if row is not best and not row["why"]:
                row["why"] = _why_not(row, best, room.terms.plant.currency)
    return rows


def _row(room: Room, kit: str, way: str, chosen: dict[str, str]) -> dict[str, Any]:
    asked, costs = room.asked[kit][way], costs_of(room, kit, way, chosen)
    kept = keeps_practice(way, room.members[kit])
    kits = asked.rate.get(room.terms.current.get(kit, kit), 0.0)
    shelves = {name: shelf_of(room, name, {**chosen, kit: way}).up_to for name in asked.demand}
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
        "left_over_per_year": left_over_money(room, asked),
        "to_stock": ", ".join(f"{name} {up_to}" for name, up_to in shelves.items()),
        "why": why,
    }


def _blank(room: Room, name: str) -> bool:
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
        most = max(MONEY, key=lambda name: float(next_best[name] - best[name]))
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
