"""One shelf for several stores: what pooling saves, and what moving pieces then costs.

Pooled demand is counted from the same simulated futures as each store's own, so that what strikes
several stores at once does so in the pool too, and no percentiles are added. Three arrangements
are weighed: a shelf in each store apart; one shelf at the store that is cheapest to send from; and
the same number of pieces, or as many as there are stores, with one piece lying in each store.
Planned jobs are ordered to their own store; a piece for a breakdown elsewhere travels.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pumplife.records.plant import Plant
from pumplife.records.stores import transfers_of
from pumplife.stock.ageing import Ageing
from pumplife.stock.asked import Futures, ItemDemand, Key, count_futures
from pumplife.stock.assess import NO_AGEING
from pumplife.stock.items import Item
from pumplife.stock.journeys import Journeys, list_breakdowns, plan_journeys
from pumplife.stock.pooled import Kept, pool_futures, pooled_point, price_shelf
from pumplife.stock.reserve import NO_RESERVE, Reserve
from pumplife.stock.rows import assess_items

FloatArray = NDArray[np.float64]

POOLING_COLUMNS = (
    "item",
    "kind",
    "stores",
    "demand_per_year",
    "apart_pieces",
    "apart_capital",
    "apart_cost",
    "apart_waiting",
    "pooled_pieces",
    "pooled_capital",
    "pooled_cost",
    "pooled_fill",
    "saving_before_transfers",
    "transfers_per_year",
    "pooled_transfer_cost",
    "pooled_waiting",
    "local_pieces",
    "local_capital",
    "local_cost",
    "local_transfer_cost",
    "local_waiting",
    "advice",
    "saving_per_year",
    "capital_freed",
    "holds",
    "why",
)
APART, POOLED, LOCAL = "apart", "pooled", "one_in_each"
_SUMMED = ("order_up_to", "capital", "cost_per_year", "pump_days_waiting")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Shared:
    """One item that several stores keep: rows in the keys, and the sum of their own shelves."""

    item: Item
    rows: list[int]
    stores: list[str]
    apart: Kept
    reserve: Reserve
    ageing: Ageing
    own: list[float]


def compare_pooling(
    futures: Futures,
    stock: pd.DataFrame,
    items: Mapping[str, Item],
    plant: Plant,
    *,
    reserves: Mapping[Key, Reserve],
    ageing: Mapping[Key, Ageing],
) -> pd.DataFrame:
    """Weigh one shelf against several for every item that two or more stores keep.

    Parameters
    ----------
    futures : Futures
        That the levels come from.
    stock : DataFrame
        The stock table: what each store keeps of its own.
    items : mapping
        By name.
    plant : Plant
        Gives prices, the service level and the transfers.
    reserves, ageing : mapping
        By store and item, as of the levels.

    Returns
    -------
    DataFrame
        `POOLING_COLUMNS`, the item with most to save first.
    """
    shared = _find_shared(futures, stock, items, reserves, ageing)
    if not shared:
        return pd.DataFrame(columns=list(POOLING_COLUMNS))
    demands = count_futures(pool_futures(futures, [one.rows for one in shared]))
    transfers, breakdowns = transfers_of(plant.raw), list_breakdowns(futures)
    rows = []
    every = assess_items(demands, [one.item for one in shared], plant)
    for one, demand, known in zip(shared, demands, every, strict=True):
        shelf = price_shelf(
            demand, one.item, plant, reserve=one.reserve, ageing=one.ageing, known=known
        )
        point = pooled_point(shelf, plant, one.apart)
        kept, local = shelf.at(point), shelf.at(max(point, len(one.rows) - 1))
        journeys = plan_journeys(
            breakdowns, (one.rows, one.stores), transfers, plant.cost("waiting_per_day")
        )
        rows.append(_row(one, demand, (kept, local), journeys, plant))
    table = pd.DataFrame(rows, columns=list(POOLING_COLUMNS))
    most = table["saving_per_year"].fillna(table["saving_before_transfers"])
    order = most.sort_values(ascending=False, kind="stable", na_position="last").index
    return table.loc[order].reset_index(drop=True)


def _find_shared(
    futures: Futures,
    stock: pd.DataFrame,
    items: Mapping[str, Item],
    reserves: Mapping[Key, Reserve],
    ageing: Mapping[Key, Ageing],
) -> list[Shared]:
    place = {key: row for row, key in enumerate(futures.keys)}
    known = stock[stock["reorder_point"].notna()]
    found = []
    for name, own in known.groupby("item", sort=True):
        keys = [(str(store), str(name)) for store in own["store"]]
        if len(keys) < 2 or not all(key in place for key in keys):
            continue
        pieces, capital, cost, waiting = (float(own[c].sum(skipna=False)) for c in _SUMMED)
        found.append(
            Shared(
                item=items[str(name)],
                rows=[place[key] for key in keys],
                stores=[store for store, _ in keys],
                apart=Kept(pieces=pieces, capital=capital, cost=cost, waiting=waiting),
                reserve=_largest([reserves.get(key, NO_RESERVE) for key in keys]),
                ageing=_pool_ageing([ageing.get(key, NO_AGEING) for key in keys]),
                own=own["order_up_to"].tolist(),
            )
        )
    return found


def _largest(reserves: Sequence[Reserve]) -> Reserve:
    """The largest reserve stands, as where pumps of several classes draw on one shelf."""
    classes = {word for one in reserves for word in one.classes}
    return Reserve(pieces=max(one.pieces for one in reserves), classes=tuple(sorted(classes)))


def _pool_ageing(several: Sequence[Ageing]) -> Ageing:
    """Pieces age on one shelf, used by all; no risk where one store uses its shelf up long before.

    Futures beyond those that every store was run for are left out.
    """
    counts = [one.counts for one in several]
    if any(count is None for count in counts):
        return replace(several[0], counts=None)
    known = [count for count in counts if count is not None]
    quarters, futures = np.min([count.shape for count in known], axis=0)
    together = np.sum([count[:quarters, :futures] for count in known], axis=0)
    return replace(several[0], counts=together)


def _row(
    one: Shared,
    demand: ItemDemand,
    kept: tuple[Kept, Kept],
    journeys: Journeys,
    plant: Plant,
) -> dict[str, Any]:
    pooled, local = kept
    price = plant.cost("waiting_per_day")
    moving = journeys.carriage + journeys.waiting * price
    moving_local = journeys.carriage + journeys.waiting_local * price
    savings = {
        POOLED: one.apart.cost - pooled.cost - moving,
        LOCAL: one.apart.cost - local.cost - moving_local,
    }
    advice, saving = _choose(savings)
    chosen = {APART: one.apart, POOLED: pooled, LOCAL: local}.get(advice)
    row = {
        "item": one.item.name,
        "kind": one.item.kind,
        "stores": ", ".join(one.stores),
        "demand_per_year": demand.unplanned_per_year,
        "apart_pieces": one.apart.pieces,
        "apart_capital": one.apart.capital,
        "apart_cost": one.apart.cost,
        "apart_waiting": one.apart.waiting,
        "pooled_pieces": pooled.pieces,
        "pooled_capital": pooled.capital,
        "pooled_cost": pooled.cost,
        "pooled_fill": pooled.fill,
        "saving_before_transfers": one.apart.cost - pooled.cost,
        "transfers_per_year": journeys.moved,
        "pooled_transfer_cost": moving,
        "pooled_waiting": pooled.waiting + journeys.waiting,
        "local_pieces": local.pieces,
        "local_capital": local.capital,
        "local_cost": local.cost,
        "local_transfer_cost": moving_local,
        "local_waiting": local.waiting + journeys.waiting_local,
        "advice": advice,
        "saving_per_year": saving,
        "capital_freed": one.apart.capital - chosen.capital if chosen else float("nan"),
        "holds": _who_holds(one, advice, chosen, journeys),
    }
    return row | {"why": say_pooling(row, transfers_of(plant.raw).lacking, plant.currency)}


def _choose(savings: dict[str, float]) -> tuple[str, float]:
    """The arrangement that saves most over shelves apart; blank where that isn't known."""
    if not all(np.isfinite(saving) for saving in savings.values()):
        return "", float("nan")
    best = max(savings, key=lambda name: savings[name])
    return (best, savings[best]) if savings[best] > 0 else (APART, 0.0)


def _who_holds(one: Shared, advice: str, chosen: Kept | None, journeys: Journeys) -> str:
    """Which store holds how many when the shelf is full."""
    if chosen is None:
        return ""
    held = dict(zip(one.stores, one.own, strict=True))
    if advice != APART:
        hub = one.stores[journeys.hub]
        others = [store for store in one.stores if store != hub and advice == LOCAL]
        held = {hub: chosen.pieces - len(others)} | dict.fromkeys(others, 1.0)
    return ", ".join(f"{store}: {pieces:.0f}" for store, pieces in held.items())


def say_pooling(row: Mapping[str, Any], lacking: str, currency: str) -> str:
    """Put the advice on one item into words.

    Parameters
    ----------
    row : mapping
        Of the table pooling.
    lacking : str
        Settings of transfers that aren't given; "" where all are.
    currency : str
    """
    pieces = _say_pieces(row["pooled_pieces"] - row["apart_pieces"])
    saved = row["saving_before_transfers"]
    if not row["advice"]:
        if np.isfinite(saved):
            return f"{pieces}; no advice: [stores] {lacking} not given"
        return f"{pieces}; no advice: a price in [costs] or of the item isn't given"
    before = f"{pieces} {_say_saving(saved, currency)} before transfers"
    moving = row["local_transfer_cost" if row["advice"] == LOCAL else "pooled_transfer_cost"]
    taken = f"moving {row['transfers_per_year']:.2g} pieces a year takes {moving:,.0f} {currency}"
    if row["advice"] == APART:
        return f"{before}, {'but' if round(saved) > 0 else 'and'} {taken}"
    if row["advice"] == LOCAL:
        return f"{before}; {taken} where each store keeps one piece, more where all lie in one"
    return f"{before}; {taken}"


def _say_pieces(more: float) -> str:
    """How many pieces one shelf keeps, against the shelves apart."""
    if round(more) == 0:
        return "as many pieces on one shelf"
    number = f"{abs(more):.0f} piece{'' if round(abs(more)) == 1 else 's'}"
    return f"{number} {'fewer' if more < 0 else 'more'} on one shelf"


def _say_saving(saved: float, currency: str) -> str:
    if round(saved) == 0:
        return "costs the same"
    if saved > 0:
        return f"saves {saved:,.0f} {currency} a year"
    return f"costs {-saved:,.0f} {currency} a year more"
