"""Stock advice for the whole plant: levels, today's risk and orders, per store and item."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from pumplife.lives.build import Lives
from pumplife.policy.advice import Advice
from pumplife.policy.ahead import Outlook, look_ahead
from pumplife.policy.groups import DAYS_PER_YEAR, SideGroup
from pumplife.records.plant import Plant, to_day, to_days
from pumplife.records.read import Records
from pumplife.stock.assess import STOCK_COLUMNS, RiskCurve, TodaysShelf, idle_row, stock_row
from pumplife.stock.demand import ItemDemand, Key, simulate_demand
from pumplife.stock.future import Practice, advised_groups, count_replicates, follow
from pumplife.stock.items import Item, list_items, stock_on_hand, stock_on_order, successors
from pumplife.stock.orders import ORDER_COLUMNS, order_row

_CELLS = 6_000_000  # position lives simulated at the start, all groups and futures
_LEAST, _MOST = 400, 4000  # futures


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class StockPlan:
    """What to keep and what to order.

    Attributes
    ----------
    stock : DataFrame
        One row per store and item, `STOCK_COLUMNS`.
    orders : DataFrame
        One row per item to order now, `ORDER_COLUMNS`, the most urgent first.
    curves : tuple of RiskCurve
        Shortage against the reorder point, the dearest shelf first.
    replicates : int
        Simulated futures behind them.
    """

    stock: pd.DataFrame
    orders: pd.DataFrame
    curves: tuple[RiskCurve, ...]
    replicates: int

    def __repr__(self) -> str:
        return f"StockPlan({len(self.stock)} items, {len(self.orders)} orders)"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Store:
    """What lies, comes, is planned and was used, by store and item."""

    items: dict[str, Item]
    current: dict[str, str]
    on_hand: dict[Key, float]
    on_order: pd.DataFrame  # store, item, quantity, days from now
    jobs: pd.DataFrame  # store, item, days from now
    used: dict[Key, float]


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
        return StockPlan(stock=_frame([]), orders=_order_frame([]), curves=(), replicates=0)
    store = _open_store(records, lives, advice)
    groups, practices = advised_groups(advice), follow(advice)
    replicates = count_replicates(groups, cells=_CELLS, least=_LEAST, most=_MOST)
    demands = simulate_demand(
        groups,
        practices,
        _lead_times(records, store, groups, practices),
        review_days=records.plant.review_days,
        replicates=replicates,
        seed=seed,
        fouling=[_fouling(records.plant, group) for group in groups],
        current=store.current,
        ahead=[] if outlook is None else [look_ahead(outlook, group) for group in groups],
    )
    _note_missing(records, advice)
    return _assemble(records, advice, store, demands, replicates)


def _open_store(records: Records, lives: Lives, advice: Advice) -> _Store:
    items = list_items(records)
    current = successors(items)
    due = advice.due[advice.due["do_on"].notna()]
    days = to_days(due["do_on"].astype("datetime64[ns]")) - to_day(records.plant.records_to)
    jobs = pd.DataFrame({"store": due["store"], "item": due["kit"], "days": np.maximum(days, 0.0)})
    return _Store(
        items=items,
        current=current,
        on_hand=stock_on_hand(records, current),
        on_order=stock_on_order(records, current),
        jobs=jobs.assign(item=jobs["item"].map(lambda kit: current.get(kit, kit))),
        used=_used_kits(records, lives, advice, current),
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


def _lead_times(
    records: Records, store: _Store, groups: Sequence[SideGroup], practices: Sequence[Practice]
) -> dict[str, tuple[float, float]]:
    """Lead times of the items that are asked for; those without one are told in the audit."""
    pairs = list(zip(groups, practices, strict=True))
    kits = {group.kit for group, _ in pairs}
    parts = {part for group, way in pairs if way.kit_share < 1.0 for part in group.part_no}
    asked = sorted({store.current.get(item, item) for item in kits | parts})
    known = [store.items[item] for item in asked if item in store.items]
    for item in known:
        if np.isnan(item.lead_time_days):
            records.log.add(
                "caution",
                f"{item.kind} {item.name} has no lead time.",
                rule="no_lead_time",
                table=f"{item.kind}s",
                consequence="No stock level is advised for it.",
                remedy="Write lead_time_days, the usual days from order to receipt.",
            )
    return {
        item.name: (item.lead_time_days, item.lead_time_high)
        for item in known
        if np.isfinite(item.lead_time_days)
    }


def _fouling(plant: Plant, group: SideGroup) -> float:
    """Probability that a release on this side also takes an air kit."""
    if group.side != "fluid":
        return 0.0
    return float(np.nan_to_num(plant.cost("foul_air_side_probability", group.service)))


def _assemble(
    records: Records, advice: Advice, store: _Store, demands: list[ItemDemand], replicates: int
) -> StockPlan:
    rows, orders, curves = [], [], []
    for demand in demands:
        if not demand.year.any() and demand.planned_per_year == 0 and not demand.spans[2].any():
            continue
        item = store.items[demand.item]
        today = _today(store, demand, item, records.plant)
        row, curve = stock_row(demand, item, records.plant, today)
        rows.append(row)
        curves.append(curve)
        orders.append(order_row(row, item, today, records.plant.records_to))
    weight = {(row["store"], row["item"]): -np.nan_to_num(row["capital"]) for row in rows}
    rows += _idle_rows(store, advice, set(weight))
    return StockPlan(
        stock=_frame(rows),
        orders=_order_frame([order for order in orders if order is not None]),
        curves=tuple(sorted(curves, key=lambda c: (weight[c.store, c.item], c.store, c.item))),
        replicates=replicates,
    )


def _today(store: _Store, demand: ItemDemand, item: Item, plant: Plant) -> TodaysShelf:
    key: Key = (demand.store, demand.item)
    coming = _of(store.on_order, key)
    jobs = np.sort(_of(store.jobs, key)["days"].to_numpy(np.float64))
    return TodaysShelf(
        on_hand=store.on_hand.get(key, 0.0),
        on_order=float(coming["quantity"].sum()),
        arriving=float(coming.loc[coming["days"] <= item.lead_time_days, "quantity"].sum()),
        used=store.used.get(key, 0.0) if item.kind == "kit" else float("nan"),
        planned=jobs[jobs <= item.lead_time_days + plant.review_days],
    )


def _of(frame: pd.DataFrame, key: Key) -> pd.DataFrame:
    return frame[(frame["store"] == key[0]) & (frame["item"] == key[1])]


def _idle_rows(store: _Store, advice: Advice, shown: set[Key]) -> list[dict[str, Any]]:
    """What lies in a store, or is carried by its pumps, and no work as planned takes."""
    carried = _why_idle(advice)
    lying = {key for key, quantity in store.on_hand.items() if quantity > 0}
    return [
        idle_row(key[0], store.items[key[1]], store.on_hand.get(key, 0.0), why=carried.get(key, ""))
        for key in sorted(lying | set(carried))
        if key not in shown and key[1] in store.items
    ]


def _why_idle(advice: Advice) -> dict[Key, str]:
    """Kits that pumps carry and no level was found for, and why."""
    alone = (
        "failed parts are renewed alone there, and loose parts aren't planned yet: keep what there "
        "is, and some of each part"
    )
    return {
        (str(place), group.kit): f"no level: {group.missing}" if group.missing else alone
        for group in advice.groups
        if group.kit
        for place in set(group.store)
    }


def _note_missing(records: Records, advice: Advice) -> None:
    """Say once what stays blank or counts as nothing."""
    for group in advice.groups:
        if group.missing and group.kit:
            records.log.add(
                "caution",
                f"{group.title}: what its {group.pumps.size} pumps will take isn't known.",
                rule="no_demand",
                consequence=f"Stock and budget leave them out; the level of {group.kit} is too low "
                "for them.",
                remedy=group.missing,
            )
    consequences = {
        "holding_per_year": "cost_per_year and the level of least cost stay blank.",
        "waiting_per_day": "cost_per_year and the level of least cost stay blank.",
        "order": "Placing an order counts as free in cost_per_year.",
    }
    for name, consequence in consequences.items():
        if not np.isfinite(records.plant.cost(name)):
            records.log.add(
                "note",
                f"[costs] {name} is not given.",
                rule="cost_missing",
                table="plant.toml",
                consequence=f"Stock: {consequence}",
                remedy=f"Write [costs] {name} in plant.toml.",
            )


def _frame(rows: list[dict[str, Any]]) -> pd.DataFrame:
    table = pd.DataFrame(rows, columns=list(STOCK_COLUMNS))
    return table.sort_values(["store", "kind", "item"], kind="stable", ignore_index=True)


def _order_frame(rows: list[dict[str, Any]]) -> pd.DataFrame:
    table = pd.DataFrame(rows, columns=list(ORDER_COLUMNS))
    table = table.sort_values(["order_by", "needed_by", "store", "item"], kind="stable")
    return table.reset_index(drop=True)
