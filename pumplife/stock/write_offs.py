"""Write-offs of the next years in the budget: bags of today that expire before they are used."""

from collections.abc import Collection, Mapping, Sequence

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pumplife.policy.ahead import UseAhead
from pumplife.policy.groups import DAYS_PER_YEAR, SideGroup
from pumplife.records.read import Records
from pumplife.records.storage import list_bags
from pumplife.stock.ageing import simulate_use, write_off_rates
from pumplife.stock.asked import Key
from pumplife.stock.cure_dates import Bags, gather_bags
from pumplife.stock.future import Practice
from pumplife.stock.items import list_items, successors
from pumplife.stock.loose import LoosePart
from pumplife.stock.shelf import fouling_chances

FloatArray = NDArray[np.float64]

WRITE_OFFS = ("write_offs", "write_off_money")


def forecast_write_offs(
    records: Records,
    groups: Sequence[SideGroup],
    practices: Mapping[str, Sequence[Practice]],
    *,
    edges: FloatArray,
    seed: int,
    loose: Sequence[Sequence[LoosePart]] = (),
    ahead: Sequence[UseAhead | None] = (),
    unknown: Collection[Key] = (),
) -> dict[str, FloatArray]:
    """What is written off of today's stock under each way of working; the expired in year 1.

    Parameters
    ----------
    records : Records
        Gives the bags, their storage lives and prices.
    groups : sequence of SideGroup
    practices : mapping
        Scenario to one practice per group.
    edges : array (years + 1,)
        Of the years of the budget, from the end of the records [years].
    seed : int
    loose : sequence of sequences of LoosePart, optional
        What openings of each group take beside the kit.
    ahead : sequence of UseAhead, optional
        Use of each group's pumps; default: as today.
    unknown : collection of (store, item), optional
        Whose demand isn't known: of these only what has expired is written off.

    Returns
    -------
    dict of array (places, years, replicates, 2)
        By scenario: pieces [items] and money, as named in `WRITE_OFFS`; places are the whole plant
        and its sites in the order of their names, to which a store's write-offs go by the pumps
        that it serves. Stores that serve none stand in the whole plant only.
    """
    items, years = list_items(records), float(edges[-1])
    current, prices = successors(items), {name: item.unit_cost for name, item in items.items()}
    lying = gather_bags(
        list_bags(records.tables, records.plant),
        current,
        records.plant.records_to,
        with_expired=True,
    )
    lying |= {key: _expired(lying[key]) for key in unknown if key in lying}
    soon = {
        key: bags
        for key, bags in lying.items()
        if bags.days_left.min(initial=np.inf) < years * DAYS_PER_YEAR
    }
    fouling = fouling_chances(records.plant, groups)
    stores = sorted({store for store, _ in soon})
    shares = _share_sites(groups, stores)
    found = {}
    for scenario, ways in practices.items():
        use = simulate_use(
            groups,
            ways,
            soon,
            current,
            years=years,
            seed=seed,
            fouling=fouling,
            loose=loose,
            ahead=ahead,
        )
        lost = [_of_store(store, soon, use.asked, prices, edges) for store in stores]
        blank = np.zeros((1, len(edges) - 1, use.counts.shape[2], len(WRITE_OFFS)))
        by_store = np.concatenate([blank, *lost])[1:]
        found[scenario] = np.tensordot(shares, by_store, axes=1)
    return found


def _expired(bags: Bags) -> Bags:
    gone = bags.days_left < 0.0
    return Bags(pieces=bags.pieces[gone], days_left=bags.days_left[gone], label=bags.label[gone])


def _of_store(
    store: str,
    soon: Mapping[Key, Bags],
    asked: Mapping[Key, FloatArray],
    prices: Mapping[str, float],
    edges: FloatArray,
) -> FloatArray:
    """Pieces and money of one store (1, years, replicates, 2)."""
    mine = {key: taken for key, taken in asked.items() if key[0] == store}
    return np.stack(write_off_rates(soon, mine, prices, edges=edges), axis=-1)[None]


def _share_sites(groups: Sequence[SideGroup], stores: Sequence[str]) -> FloatArray:
    """Share of each store's pumps at each site, a row of ones first (1 + sites, stores)."""
    pairs = pd.DataFrame(
        {
            "store": np.concatenate([group.store.astype(str) for group in groups]),
            "site": np.concatenate([group.site.astype(str) for group in groups]),
        }
    )
    counts = pd.crosstab(pairs["site"], pairs["store"]).reindex(columns=list(stores), fill_value=0)
    served = counts.to_numpy(np.float64)
    shares = served / np.maximum(served.sum(axis=0), 1.0)
    return np.concatenate([np.ones((1, len(stores))), shares])
