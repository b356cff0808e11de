"""The cash calendar: kits and parts to order, month by month.

What is to be ordered now stands in its month; later planned jobs are ordered a lead time ahead, and
what breakdowns take is bought again in the month in which they take it, once surplus is used up.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pumplife.policy.groups import DAYS_PER_YEAR, SideGroup
from pumplife.policy.simulate import PLANNED, SideEvents
from pumplife.records.read import Records
from pumplife.stock.amounts import kinds_of
from pumplife.stock.budget import Budget
from pumplife.stock.change_over import sites_of_stores
from pumplife.stock.future import Practice, run_group
from pumplife.stock.items import Item, list_items
from pumplife.stock.outcome import Setting
from pumplife.stock.prices import price_periods
from pumplife.stock.stock_plan import StockPlan

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.intp]

CASH_COLUMNS = ("month", "site", "amount", "what")
NOW, JOBS, FAILURES = "orders to place now", "planned jobs", "breakdowns"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Calendar:
    """Months of the budget and how many days from the end of the records each begins."""

    months: pd.PeriodIndex
    start: FloatArray  # (months,) [days]
    covered: dict[str, float]  # days from now that orders to place now look ahead, by item
    items: dict[str, Item]

    def month_of(self, day: FloatArray) -> IntArray:
        """Month of each day from now, today's where it lies behind."""
        place = np.searchsorted(self.start, day, side="right") - 1
        return np.asarray(np.maximum(place, 0), dtype=np.intp)

    def lead(self, item: str) -> float:
        """Usual lead time of an item, 0 where not known [days]."""
        known = self.items.get(item)
        return float(np.nan_to_num(known.lead_time_days)) if known is not None else 0.0


def plan_cash(records: Records, budget: Budget, stock: StockPlan) -> pd.DataFrame:
    """Money for kits and loose parts by the month in which they are ordered.

    Parameters
    ----------
    records : Records
        Gives lead times and the review period.
    budget : Budget
        The way that the plant follows is taken.
    stock : StockPlan
        What to order now, and what is surplus.

    Returns
    -------
    DataFrame
        `CASH_COLUMNS`: month (its first day), site (that most pumps of the store stand at),
        expected amount [money], what (orders to place now, planned jobs, breakdowns). Without
        labour, call-out and clean-up, and without orders under way.
    """
    setting = budget.setting
    if setting is None:
        return pd.DataFrame(columns=list(CASH_COLUMNS))
    calendar = _lay_out(records, setting)
    home = sites_of_stores(setting)
    taken = [
        _group_needs(setting, number, way, calendar)
        for number, way in enumerate(budget.ways[budget.follows])
    ]
    needs = _use_surplus(_add_up(taken, "store", "item", "month", "what"), stock.stock)
    rows = pd.concat([_orders_now(stock.orders, calendar), needs], ignore_index=True)
    rows["site"] = rows["store"].map(home).fillna(rows["store"])
    rows = _add_up([rows], "month", "site", "what")
    rows = rows[rows["amount"] > 0.0]
    rows["month"] = calendar.months[rows["month"].to_numpy(np.intp)].to_timestamp()
    rows = rows.sort_values(["month", "site", "what"], kind="stable")
    return rows[list(CASH_COLUMNS)].reset_index(drop=True)


def _add_up(tables: list[pd.DataFrame], *keys: str) -> pd.DataFrame:
    whole = pd.concat(tables, ignore_index=True)
    return whole.groupby(list(keys))["amount"].sum().reset_index()


def _lay_out(records: Records, setting: Setting) -> _Calendar:
    first = records.plant.records_to.normalize() + pd.Timedelta(days=1)
    months = pd.period_range(first, setting.years.to_on[-1], freq="M")
    start = (months.to_timestamp() - first) / pd.Timedelta(days=1)
    items = list_items(records)
    review = records.plant.review_days
    return _Calendar(
        months=months,
        start=np.asarray(start, dtype=np.float64),
        covered={
            name: float(np.nan_to_num(item.lead_time_days)) + review for name, item in items.items()
        },
        items=items,
    )


def _group_needs(setting: Setting, number: int, way: Practice, calendar: _Calendar) -> pd.DataFrame:
    """Expected money of kits and parts of one group by store, item, month and reason."""
    group, amounts = setting.groups[number], setting.amounts[number]
    events = run_group(
        group,
        way,
        years=float(setting.years.edges[-1]) + calendar.lead(group.kit) / DAYS_PER_YEAR,
        replicates=setting.replicates,
        rng=np.random.default_rng([setting.seed, number]),
        ahead=setting.ahead[number],
    )
    kind = kinds_of(group, events)
    priced = price_periods(amounts, setting.years.edges, setting.rise)
    place = np.searchsorted(priced.edges, events.time, side="right") - 1
    factor = priced.money[np.clip(place, 0, priced.year.size - 1), kind, 0]
    planned = events.position == PLANNED
    day = events.time * DAYS_PER_YEAR
    ahead = np.where(planned, calendar.lead(group.kit), 0.0)
    ordered = np.maximum(day - ahead, 0.0)
    later = ~planned | (day > calendar.covered.get(group.kit, 0.0))
    later &= ordered < setting.years.edges[-1] * DAYS_PER_YEAR
    return _sum_needs(
        group,
        events,
        (_item_of(group, events), calendar.month_of(ordered), planned),
        np.where(later, factor, 0.0) / setting.replicates,
    )


def _item_of(group: SideGroup, events: SideEvents) -> IntArray:
    """0 for the kit, 1 + part for a loose part."""
    part = group.part_of[np.maximum(events.position, 0)]
    return np.asarray(np.where(events.kit | (events.position < 0), 0, 1 + part), dtype=np.intp)


def _sum_needs(
    group: SideGroup,
    events: SideEvents,
    places: tuple[IntArray, IntArray, NDArray[np.bool_]],
    amount: FloatArray,
) -> pd.DataFrame:
    item, month, planned = places
    stores, store = np.unique(group.store.astype(str), return_inverse=True)
    names = np.array([group.kit, *group.part_no], dtype=object)
    shape = (stores.size, names.size, int(month.max(initial=0)) + 1, 2)
    cell = np.ravel_multi_index((store[events.pump], item, month, planned.astype(np.intp)), shape)
    sums = np.bincount(cell, amount, minlength=int(np.prod(shape)))
    some = np.flatnonzero(sums)
    where, what, when, why = np.unravel_index(some, shape)
    return pd.DataFrame(
        {
            "store": stores[where].astype(object),
            "item": names[what],
            "month": when,
            "what": np.where(why == 1, JOBS, FAILURES),
            "amount": sums[some],
        }
    )


def _use_surplus(needs: pd.DataFrame, stock: pd.DataFrame) -> pd.DataFrame:
    """Needs less what lies above the advised level, used up first."""
    spare = stock[(stock["surplus"] > 0.0) & (stock["today_on_hand"] > 0.0)]
    value = spare["surplus"] * spare["capital_today"] / spare["today_on_hand"]
    left = value.groupby([spare["store"], spare["item"]]).sum().rename("spare")
    needs = needs.sort_values(["store", "item", "month", "what"], kind="stable")
    needs = needs.join(left, on=["store", "item"])
    until = needs.groupby(["store", "item"])["amount"].cumsum()
    spare_left = needs["spare"].fillna(0.0).to_numpy(np.float64)
    bought = np.maximum(until - spare_left, 0.0)
    before = np.maximum(until - needs["amount"] - spare_left, 0.0)
    return needs.assign(amount=bought - before).drop(columns="spare")


def _orders_now(orders: pd.DataFrame, calendar: _Calendar) -> pd.DataFrame:
    months = pd.PeriodIndex(orders["order_by"], freq="M")
    place = calendar.months.get_indexer(months)
    return pd.DataFrame(
        {
            "store": orders["store"].to_numpy(object),
            "item": orders["item"].to_numpy(object),
            "month": np.maximum(place, 0),
            "what": NOW,
            "amount": orders["amount"].fillna(0.0).to_numpy(np.float64),
        }
    )
