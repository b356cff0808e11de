"""Stock advice for the whole plant: levels, today's risk and orders, per store and item."""

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pumplife.lives.build import Lives
from pumplife.policy.advice import Advice
from pumplife.policy.ahead import Outlook, look_ahead
from pumplife.policy.groups import DAYS_PER_YEAR, SideGroup
from pumplife.policy.simulate import SideEvents
from pumplife.records.plant import Plant, to_day, to_days
from pumplife.records.read import Records
from pumplife.stock.asked import Futures, ItemDemand, Key, count_futures
from pumplife.stock.assess import idle_row
from pumplife.stock.coverage import OpeningTally, cover_parts
from pumplife.stock.demand import simulate_futures
from pumplife.stock.expiry import Expiry, foresee_expiry, list_shelf, open_shelves
from pumplife.stock.frontier import build_frontier, list_levels
from pumplife.stock.future import Practice, advised_groups, count_replicates, follow
from pumplife.stock.held import Held, Store
from pumplife.stock.items import list_items, stock_on_hand, stock_on_order, successors
from pumplife.stock.kit_or_parts import compare_supply
from pumplife.stock.lead_worth import count_sooner
from pumplife.stock.loose import LoosePart, find_loose_parts, kit_contents, plan_loose_jobs
from pumplife.stock.missing import (
    NO_LEAD_TIME,
    items_taken,
    note_missing,
    say_no_lead_time,
    unknown_demand,
    why_without_level,
)
from pumplife.stock.on_condition import observe_shares, share_table
from pumplife.stock.pooling import compare_pooling
from pumplife.stock.pump_pools import bench_services
from pumplife.stock.reserve import find_reserves
from pumplife.stock.rotables import RemovalTally
from pumplife.stock.rows import order_unknown, say_verdicts, state_items
from pumplife.stock.shocks import list_past_shocks, note_shocks
from pumplife.stock.stock_plan import StockPlan, no_plan, order_frame, stock_frame
from pumplife.stock.supply_costs import Terms
from pumplife.stock.transfers import move_surplus, transfer_frame

FloatArray = NDArray[np.float64]
Seen = Callable[[SideGroup, SideEvents], None]

_CELLS = 6_000_000  # position lives simulated at the start, all groups and futures
_LEAST, _MOST = 400, 4000  # futures


def plan_stock(
    records: Records,
    lives: Lives,
    advice: Advice,
    *,
    seed: int = 1,
    outlook: Outlook | None = None,
) -> StockPlan:
    """Advise stock levels and orders under the intervals that the plant follows.

    Parameters
    ----------
    records : Records
        Prices, lead times, what is on hand and on order; its audit gets what is missing.
    lives : Lives
        Its visits tell what was used in the last twelve months.
    advice : Advice
        Groups with their ages of today, followed intervals, the due list.
    seed : int
    outlook : Outlook, optional
        What is planned for the pumps, see `join_coming`; default: use as today.

    Returns
    -------
    StockPlan
        Empty where the records withhold stock.
    """
    if "stock" in records.withheld:
        return no_plan()
    groups, practices = advised_groups(advice), follow(advice)
    shares = observe_shares(records, lives)
    loose = find_loose_parts(records, shares, groups)
    store = _open_store(records, lives, advice, groups, loose)
    tally, removals = _open_tallies(records, groups)
    fouling = fouling_chances(records.plant, groups)
    ahead = [] if outlook is None else [look_ahead(outlook, group) for group in groups]
    worked = groups, practices, loose
    leads, carried = _find_lead_times(records, store, advice, worked)
    unknown = unknown_demand(advice, carried, store.current)
    futures = simulate_futures(
        groups,
        practices,
        leads,
        review_days=records.plant.review_days,
        replicates=tally.replicates,
        seed=seed,
        fouling=fouling,
        current=store.current,
        shocks=note_shocks(records, list_past_shocks(records, lives, groups)),
        loose=loose,
        seen=_tell_both(tally, removals),
        ahead=ahead,
    )
    demands = count_futures(futures, coming=store.coming)
    expiry = foresee_expiry(
        store.shelves,
        demands,
        store.items,
        groups,
        practices,
        current=store.current,
        seed=seed,
        fouling=fouling,
        loose=loose,
        ahead=ahead,
        unknown=unknown,
    )
    note_missing(records, advice)
    plan = _assemble(records, carried, store, (demands, count_sooner(futures, demands)), expiry)
    return replace(
        _weigh_stores(plan, records, store, futures, expiry),
        replicates=tally.replicates,
        coverage=cover_parts(records, lives, groups, loose, tally=tally, fouling=fouling),
        on_condition=share_table(records, shares),
        kit_or_parts=compare_supply(*worked, _terms(records, store), seed=seed, ahead=ahead),
        loose=loose,
        removals=removals,
        unknown=unknown,
    )


def _weigh_stores(
    plan: StockPlan, records: Records, store: Store, futures: Futures, expiry: Expiry
) -> StockPlan:
    """The plan with one shelf against several, what other levels would do, and what it is from."""
    return replace(
        plan,
        held=Held(futures=futures, store=store, ageing=expiry.ageing, plant=records.plant),
        pooling=compare_pooling(
            futures,
            plan.stock,
            store.items,
            records.plant,
            reserves=store.reserves,
            ageing=expiry.ageing,
        ),
        levels=list_levels(plan.curves),
        frontier=build_frontier(plan.curves, plan.stock),
    )


def _open_tallies(
    records: Records, groups: Sequence[SideGroup]
) -> tuple[OpeningTally, RemovalTally]:
    """Counts of openings and of pumps taken out, for as many futures as the groups need."""
    replicates = count_replicates(groups, cells=_CELLS, least=_LEAST, most=_MOST)
    return (
        OpeningTally(replicates=replicates),
        RemovalTally(services=bench_services(records), replicates=replicates),
    )


def _tell_both(openings: OpeningTally, removals: RemovalTally) -> Seen:
    """Show the same futures to both tallies."""

    def tell(group: SideGroup, events: SideEvents) -> None:
        openings(group, events)
        removals(group, events)

    return tell


def _terms(records: Records, store: Store) -> Terms:
    return Terms(
        items=store.items,
        current=store.current,
        contents=kit_contents(records),
        plant=records.plant,
    )


def _open_store(
    records: Records,
    lives: Lives,
    advice: Advice,
    groups: Sequence[SideGroup],
    loose: Sequence[Sequence[LoosePart]],
) -> Store:
    items = list_items(records)
    current = successors(items)
    due = advice.due[advice.due["do_on"].notna()]
    due = pd.concat([due, plan_loose_jobs(due, advice.groups, groups, loose)])
    days = to_days(due["do_on"].astype("datetime64[ns]")) - to_day(records.plant.records_to)
    jobs = pd.DataFrame({"store": due["store"], "item": due["kit"], "days": np.maximum(days, 0.0)})
    return Store(
        items=items,
        current=current,
        on_hand=stock_on_hand(records, current),
        shelves=open_shelves(records, current),
        on_order=_by_key(stock_on_order(records, current), ["quantity", "days"]),
        jobs=_by_key(
            jobs.assign(item=jobs["item"].map(lambda kit: current.get(kit, kit))), ["days"]
        ),
        used=_used_kits(records, lives, advice, current),
        reserves=find_reserves(records, advised_groups(advice), current),
        in_kits={current.get(name, name) for name in records.table("kit_contents")["part_no"]},
    )


def _used_kits(
    records: Records, lives: Lives, advice: Advice, current: dict[str, str]
) -> dict[Key, float]:
    """Kits fitted in the last twelve months, by the store that serves the pump today."""
    store = {
        int(pump): str(place)
        for group in advice.groups
        for pump, place in zip(group.pumps, group.store, strict=True)
    }
    end = to_day(records.plant.records_to)
    visits = lives.visits
    recent = visits[(visits["day"] > end - DAYS_PER_YEAR) & ~visits["kit"].isin(["", "none"])]
    pairs = zip(recent["pump"].map(store).fillna(""), recent["kit"], strict=True)
    counted = Counter((str(place), current.get(kit, kit)) for place, kit in pairs)
    return {key: float(number) for key, number in counted.items()}


def _find_lead_times(
    records: Records,
    store: Store,
    advice: Advice,
    worked: tuple[Sequence[SideGroup], Sequence[Practice], Sequence[Sequence[LoosePart]]],
) -> tuple[dict[str, tuple[float, float]], dict[Key, str]]:
    """Lead times of the items that are asked for, and items without a level and why.

    Those without a lead time are told in the audit.
    """
    asking = list(zip(*worked, strict=True))
    taken = {item for group, way, loose in asking for item in items_taken(group, way, loose)}
    asked = sorted({store.current.get(item, item) for item in taken})
    known = [store.items[item] for item in asked if item in store.items]
    for item in known:
        if np.isnan(item.lead_time_days):
            say_no_lead_time(records, item, _jobs_that_take(item.name, advice.due, store.current))
    leads = {
        item.name: (item.lead_time_days, item.lead_time_high)
        for item in known
        if np.isfinite(item.lead_time_days)
    }
    return leads, why_without_level(advice, asking, store.current, leads)


def _jobs_that_take(item: str, due: pd.DataFrame, current: dict[str, str]) -> list[str]:
    """Pump and day of each planned job that takes a kit, in the order of their days."""
    taken = due["kit"].map(lambda kit: current.get(kit, kit)).eq(item)
    mine = due[taken & due["do_on"].notna()].sort_values(["do_on", "pump_id"], kind="stable")
    return [f"{row['pump_id']} on {row['do_on']:%Y-%m-%d}" for row in mine.to_dict("records")]


def fouling_chances(plant: Plant, groups: Sequence[SideGroup]) -> list[float]:
    """Probability, per group, that a release on its side also takes an air kit [-]."""
    return [
        float(np.nan_to_num(plant.cost("foul_air_side_probability", group.service)))
        if group.side == "fluid"
        else 0.0
        for group in groups
    ]


def _assemble(
    records: Records,
    carried: dict[Key, str],
    store: Store,
    counted: tuple[list[ItemDemand], list[ItemDemand]],
    expiry: Expiry,
) -> StockPlan:
    """Levels and orders; counted: demand as it is, and with orders there sooner."""
    stated = state_items(counted, store, expiry, records.plant)
    weight = {(one.curve.store, one.curve.item): _worth(one.row) for one in stated}
    rows = [one.row for one in stated] + _idle_rows((store, expiry), carried, set(weight))
    placed = [one.order for one in stated if one.order is not None]
    unknown = [key for key, why in carried.items() if why == NO_LEAD_TIME and key not in weight]
    placed += order_unknown(store, unknown, records.plant)
    moved = move_surplus(rows, placed, store.items, records.plant)
    say_verdicts(rows, store, moved, records.plant)
    dearest = sorted(
        (one.curve for one in stated), key=lambda c: (-weight[c.store, c.item], c.store, c.item)
    )
    return replace(
        no_plan(),
        stock=stock_frame(rows),
        orders=order_frame(moved.orders),
        transfers=transfer_frame(moved.transfers),
        shelf=list_shelf(store.shelves, expiry, store.items),
        curves=tuple(dearest),
    )


def _worth(row: dict[str, Any]) -> float:
    """Money on the shelf; none where it isn't known."""
    return 0.0 if np.isnan(row["capital"]) else float(row["capital"])


def _by_key(frame: pd.DataFrame, columns: list[str]) -> dict[Key, FloatArray]:
    """Some columns of each store and item, as rows of numbers."""
    return {
        (str(store), str(item)): mine[columns].to_numpy(np.float64)
        for (store, item), mine in frame.groupby(["store", "item"], sort=False)
    }


def _idle_rows(
    kept: tuple[Store, Expiry], carried: dict[Key, str], shown: set[Key]
) -> list[dict[str, Any]]:
    """What lies in a store, or is carried by its pumps, and no work as planned takes."""
    store, expiry = kept
    lying = {key for key, quantity in store.on_hand.items() if quantity > 0}
    return [
        _idle_row(store, key, carried.get(key, ""), expiry.likely_unused(key))
        for key in sorted(lying | set(carried))
        if key not in shown and key[1] in store.items
    ]


def _idle_row(store: Store, key: Key, why: str, unused: float) -> dict[str, Any]:
    usable = store.shelves.usable.get(key)
    good = float(usable.pieces.sum()) if usable is not None else 0.0
    return idle_row(
        key[0],
        store.items[key[1]],
        good,
        why=why,
        in_kit=key[1] in store.in_kits,
        storage_years=store.shelves.years(key[1]),
        expired=store.on_hand.get(key, 0.0) - good,
        on_order=store.pieces_on_order(key),
        unused=unused,
    )
