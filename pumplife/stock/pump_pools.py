"""Which pumps stand in for each other, which lie in store, and how long the bench has them."""

import math
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pumplife.lives.positions import kit_parts
from pumplife.policy.groups import SideGroup
from pumplife.policy.today import duty_today
from pumplife.records.duty import Duty
from pumplife.records.plant import to_days
from pumplife.records.read import Records
from pumplife.records.stores import swaps_of
from pumplife.stock.rotables import PumpPool, RemovalTally, weigh_spares
from pumplife.stock.stock_plan import StockPlan

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.intp]

ROTABLE_COLUMNS = (
    "size_mm",
    "materials",
    "services",
    "pumps",
    "removals_per_year",
    "turnaround_days",
    "turnaround_source",
    "kit_waiting_days",
    "spares_today",
    "spares_90",
    "spares_95",
    "spares_99",
    "spares_95_no_waiting",
    "spares_advised",
    "buy",
    "waiting_today",
    "waiting_advised",
    "new_cost",
    "one_more_costs",
    "one_more_saves",
    "same_as_days",
    "why",
)
LEAST_TICKETS = 5  # closed tickets from which their turnaround is believed
_HOURS_A_DAY = 24.0


def bench_services(records: Records) -> frozenset[str]:
    """Services of which pumps are rebuilt on the bench while a spare runs.

    The plant's own word; where it says nothing, services of pumps that moved into a store.
    """
    moves = records.table("moves")
    stored = moves.loc[moves["state"].eq("in_store") & moves["pump"].ge(0), "pump"].unique()
    service = records.pumps["service"].to_numpy(object)
    seen = {str(service[int(pump)]) for pump in stored}
    words = {str(word): swaps_of(records.plant.raw, str(word)).bench for word in set(service)}
    return frozenset(w for w, bench in words.items() if (w in seen if bench is None else bench))


def list_rotables(
    records: Records, duty: Duty, groups: Sequence[SideGroup], tally: RemovalTally, *, seed: int
) -> pd.DataFrame:
    """How many spare pumps to keep of each kind.

    Parameters
    ----------
    records : Records
    duty : Duty
        Which pumps run and which lie in store.
    groups : sequence of SideGroup
        The kits that pumps carry today.
    tally : RemovalTally
        Openings of the simulated futures.
    seed : int
        Of the turnarounds drawn.

    Returns
    -------
    DataFrame
        `ROTABLE_COLUMNS`, one row per size and wetted materials.
    """
    pools = find_pools(records, duty, groups, tally.services)
    rows = [
        weigh_spares(pool, tally, records.plant, np.random.default_rng([seed, number]))
        for number, pool in enumerate(pools)
    ]
    return pd.DataFrame(rows, columns=list(ROTABLE_COLUMNS))


def weigh_store(
    records: Records, duty: Duty, groups: Sequence[SideGroup], stock: StockPlan, *, seed: int
) -> dict[str, pd.DataFrame]:
    """Tables of what the store might do otherwise: pooling, other levels, spare pumps."""
    return {
        "transfers": stock.transfers,
        "pooling": stock.pooling,
        "stock_levels": stock.levels,
        "stock_frontier": stock.frontier,
        "rotables": list_rotables(records, duty, groups, stock.removals, seed=seed),
    }


def find_pools(
    records: Records, duty: Duty, groups: Sequence[SideGroup], services: frozenset[str]
) -> list[PumpPool]:
    """Pumps by size and wetted materials, of the services that swap them."""
    today = duty_today(records, duty)
    kit = records.pumps["fluid_kit"].to_numpy(object).copy()
    for group in groups:
        if group.side == "fluid" and group.kit:
            kit[group.pumps] = group.kit
    materials = _materials(records)
    gone = duty.retired <= records_end(records)
    kinds = today.assign(
        materials=[materials.get(str(name), "not known") for name in kit],
        lying=~today["in_service"].to_numpy(bool) & ~gone,
        new_cost=records.pumps["new_cost"].to_numpy(float),
    )
    kinds = kinds[kinds["service"].isin(services)]
    days = _turnarounds(records)
    return [
        _pool(records, mine, days, (float(str(size)), str(wet)))
        for (size, wet), mine in kinds.groupby(["size_mm", "materials"], sort=True, dropna=False)
        if mine["running"].any()
    ]


def records_end(records: Records) -> float:
    """The last day of the records [day]."""
    return records.plant.window()[1]


def _materials(records: Records) -> dict[str, str]:
    """Wetted materials of each fluid kit, sorted."""
    parts = kit_parts(records)
    wet = parts[parts["side"].eq("fluid") & parts["material"].ne("")]
    return {str(kit): "/".join(sorted(set(mine))) for kit, mine in wet.groupby("kit")["material"]}


def _turnarounds(records: Records) -> pd.DataFrame:
    """Closed tickets: pump, days from opening to closing, and days waited of them.

    A rebuild ticket that came back tells one day only, and work that wasn't done took no pump out.
    """
    tickets = records.table("rebuilds")
    one_day = tickets["rebuild_id"].isin(records.table("returned")["rebuild_id"])
    idle = tickets["done"].eq("no") | tickets["reason"].eq("stoppage")
    tickets = tickets[~(one_day | idle)]
    days = to_days(tickets["closed_on"]) - to_days(tickets["opened_on"])
    known = (days >= 0) & (tickets["pump"].to_numpy(np.int64) >= 0)
    waited = tickets["waited_h"].to_numpy(float) / _HOURS_A_DAY
    told = pd.DataFrame({"pump": tickets["pump"].to_numpy(), "days": days, "waited": waited})
    return pd.DataFrame(told[known])


def _pool(
    records: Records, mine: pd.DataFrame, days: pd.DataFrame, kind: tuple[float, str]
) -> PumpPool:
    running = mine.loc[mine["running"], "pump"].to_numpy(np.intp)
    services = tuple(sorted({str(name) for name in mine["service"]}))
    told = days[days["pump"].isin(mine["pump"])]
    turnaround, source = _turnaround(records.plant.raw, services, told["days"].to_numpy(float))
    given = told["waited"].dropna().to_numpy(float)
    return PumpPool(
        size_mm=kind[0],
        materials=kind[1],
        services=services,
        running=running,
        in_store=mine.loc[mine["lying"], "pump"].to_numpy(np.intp),
        new_cost=float(np.nanmedian(mine["new_cost"]))
        if mine["new_cost"].notna().any()
        else np.nan,
        turnaround=turnaround,
        source=source,
        kit_waiting=float(given.mean()) if len(given) else float("nan"),
    )


def _turnaround(
    raw: Mapping[str, Any], services: tuple[str, ...], seen: FloatArray
) -> tuple[FloatArray, str]:
    """Turnarounds and where they come from: the setting, the longest of several, else tickets."""
    given = [swaps_of(dict(raw), name).turnaround_days for name in services]
    known = [days for days in given if not math.isnan(days)]
    if known:
        return np.array([max(known)]), "plant.toml"
    if len(seen) >= LEAST_TICKETS:
        return seen, f"{len(seen)} closed tickets"
    return np.zeros(0), "turnaround not known: write [rotables] turnaround_days"
