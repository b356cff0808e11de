"""The shelf of the whole plant in the years to come: what ages out, by store and item."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pumplife.policy.ahead import UseAhead
from pumplife.policy.groups import DAYS_PER_YEAR, SideGroup
from pumplife.records.polymers import StorageLife
from pumplife.records.read import Records
from pumplife.records.storage import list_bags, storage_lives
from pumplife.stock.ageing import MOST_YEARS, Ageing, Use, is_at_risk, leave_unused, simulate_use
from pumplife.stock.asked import ItemDemand, Key
from pumplife.stock.cure_dates import LIKELY, Bags, gather_bags, shelf_table
from pumplife.stock.future import Practice
from pumplife.stock.items import Item
from pumplife.stock.loose import LoosePart

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Shelves:
    """What lies in the stores by cure date, and how long it may.

    Attributes
    ----------
    bags : DataFrame
        As of `list_bags`.
    usable : dict of Bags
        Those not expired, by store and item, superseded items with the one in their place.
    lives : dict of StorageLife
        By item.
    """

    bags: pd.DataFrame
    usable: dict[Key, Bags]
    lives: dict[str, StorageLife]

    def __repr__(self) -> str:
        return f"Shelves({len(self.bags)} bags)"

    def years(self, item: str) -> float:
        """Storage life of an item [years]; inf without a limit, NaN where not known."""
        return self.lives[item].years if item in self.lives else float("nan")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Expiry:
    """What becomes of the shelf.

    Attributes
    ----------
    ageing : dict of Ageing
        By store and item that pumps take.
    unused : dict of tuple
        By store and item on the shelf, for each bag the mean pieces that expire before they are
        used [items] and the chance that any does [-]; none where demand isn't known.
    """

    ageing: dict[Key, Ageing]
    unused: dict[Key, tuple[FloatArray, FloatArray]]

    def __repr__(self) -> str:
        risky = sum(one.counts is not None for one in self.ageing.values())
        return f"Expiry({len(self.ageing)} items, {risky} may age out)"

    def likely_unused(self, key: Key) -> float:
        """Pieces in bags of one item that will likely expire before they are used [items]."""
        if key not in self.unused:
            return 0.0
        pieces, chance = self.unused[key]
        return float(pieces[chance > LIKELY].sum())


def open_shelves(records: Records, current: Mapping[str, str]) -> Shelves:
    """Gather what lies in the stores; `current` gives the item that is in another's place."""
    bags = list_bags(records.tables, records.plant)
    return Shelves(
        bags=bags,
        usable=gather_bags(bags, current, records.plant.records_to),
        lives=storage_lives(records.tables, records.plant),
    )


def foresee_expiry(
    shelves: Shelves,
    demands: Sequence[ItemDemand],
    items: Mapping[str, Item],
    groups: Sequence[SideGroup],
    practices: Sequence[Practice],
    *,
    current: dict[str, str],
    seed: int,
    fouling: Sequence[float],
    loose: Sequence[Sequence[LoosePart]] = (),
    ahead: Sequence[UseAhead] = (),
    unknown: Collection[Key] = (),
) -> Expiry:
    """Find what will age out, on the shelf as it is and as advised.

    Pumps are run forward, for two storage lives, only for items of which pieces might age out.

    Parameters
    ----------
    shelves : Shelves
    demands : sequence of ItemDemand
        Of the next year.
    items : mapping
        Gives least orders.
    groups, practices, current, seed, fouling, loose, ahead
        As of `simulate_futures`.
    unknown : collection of (store, item)
        Whose demand isn't known.
    """
    years = {(one.store, one.item): shelves.years(one.item) for one in demands}
    asked = [one for one in demands if one.unplanned_per_year > 0 or one.planned_per_year > 0]
    risky: dict[Key, Bags | None] = {}
    for one in asked:
        key = (one.store, one.item)
        bags = shelves.usable.get(key)
        if is_at_risk(one, years[key], items[one.item].min_order, bags):
            risky[key] = bags
    use = simulate_use(
        groups,
        practices,
        risky,
        current,
        years=_horizon(risky, years),
        seed=seed,
        fouling=fouling,
        loose=loose,
        ahead=ahead,
    )
    counts = dict(zip(risky, use.counts, strict=True))
    ageing = {
        key: Ageing(years=life, counts=counts.get(key) if np.isfinite(life) else None)
        for key, life in years.items()
    }
    sure = {(one.store, one.item) for one in asked} - set(risky)
    known = {key: bags for key, bags in shelves.usable.items() if key not in unknown}
    unused = {key: _unused(key, bags, use, sure) for key, bags in known.items()}
    return Expiry(ageing=ageing, unused=unused)


def _horizon(risky: Mapping[Key, Bags | None], years: Mapping[Key, float]) -> float:
    """Years to look ahead: two storage lives, and until the last bag expires."""
    lives = [2.0 * min(years[key], MOST_YEARS) for key in risky if np.isfinite(years[key])]
    left = [bags.days_left / DAYS_PER_YEAR for bags in risky.values() if bags is not None]
    ends = np.concatenate([np.zeros(1), *left])
    return float(max([1.0, *lives, ends[np.isfinite(ends)].max()]))


def _unused(key: Key, bags: Bags, use: Use, sure: Collection[Key]) -> tuple[FloatArray, FloatArray]:
    none = np.zeros(len(bags.pieces))
    if key in sure:
        return none, none
    left = leave_unused(bags, use.asked.get(key, none[:, None]))
    return left.mean(axis=1), (left > 0).mean(axis=1)


def list_shelf(shelves: Shelves, outlook: Expiry, items: Mapping[str, Item]) -> pd.DataFrame:
    """Give the table `shelf`: every bag with its state, worth and what to do."""
    prices = {name: item.unit_cost for name, item in items.items()}
    return shelf_table(shelves.bags, shelves.usable, outlook.unused, prices)
