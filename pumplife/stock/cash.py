"""The cash calendar: kits and parts to order, month by month.

What is to be ordered now stands in its month; later planned jobs are ordered a lead time ahead, and
what breakdowns take is bought again in the month in which they take it, once surplus is used up.
Kits, failed parts, what openings take beside the kit and air kits of fouled sides count under their
own numbers, each with its own lead time and surplus.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pumplife.policy.groups import DAYS_PER_YEAR, SideGroup
from pumplife.policy.simulate import PLANNED, SideEvents
from pumplife.policy.simulate_events import join_events
from pumplife.records.read import Records
from pumplife.stock.amounts import EventAmounts, kinds_of
from pumplife.stock.budget import Budget
from pumplife.stock.bursts import GroupBurst
from pumplife.stock.change_over import sites_of_stores
from pumplife.stock.demand import air_kits_of
from pumplife.stock.future import Practice, run_group
from pumplife.stock.items import Item, list_items, longest_ahead, successors
from pumplife.stock.loose import LoosePart, pieces_by_kind
from pumplife.stock.outcome import Setting
from pumplife.stock.prices import KITS, LOOSE, PARTS, price_periods
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
    review: float  # [days]
    items: dict[str, Item]
    current: dict[str, str]

    def month_of(self, day: FloatArray) -> IntArray:
        """Month of each day from now, today's where it lies behind."""
        place = np.searchsorted(self.start, day, side="right") - 1
        return np.asarray(np.maximum(place, 0), dtype=np.intp)

    def lead(self, item: str) -> float:
        """How long ahead an item is ordered for planned jobs, 0 where not known [days]."""
        known = self.items.get(self.current.get(item, item))
        return float(np.nan_to_num(known.ahead_days)) if known is not None else 0.0

    def covered(self, item: str) -> float:
        """Days from now that orders to place now look ahead; 0 for what isn't in the tables."""
        known = self.items.get(self.current.get(item, item))
        if item not in self.items or known is None:
            return 0.0
        lead = known.ahead_days
        return self.review + (longest_ahead(self.items) if np.isnan(lead) else lead)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Stream:
    """What the events of a group take of items of one sort."""

    names: tuple[str, ...]
    item: IntArray  # (events,), in names
    money: FloatArray  # (events,) [money]
    known: bool = True  # whether a planned job is known to take it


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
    air = air_kits_of(setting.groups)
    ways = budget.ways[budget.follows]
    bursts = setting.bursts(ways)
    taken = [
        _group_needs(
            setting,
            number,
            way,
            calendar,
            beside=(parts, air),
            burst=None if bursts is None else bursts[number],
        )
        for number, (way, parts) in enumerate(
            zip(ways, stock.loose or [()] * len(setting.groups), strict=True)
        )
    ]
    needs = _use_surplus(_add_up(taken, "store", "item", "month", "what"), stock)
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
    return _Calendar(
        months=months,
        start=np.asarray(start, dtype=np.float64),
        review=records.plant.review_days,
        items=items,
        current=successors(items),
    )


def _group_needs(
    setting: Setting,
    number: int,
    way: Practice,
    calendar: _Calendar,
    *,
    beside: tuple[Sequence[LoosePart], dict[int, str]],
    burst: GroupBurst | None,
) -> pd.DataFrame:
    """Expected money of one group's material by store, item, month and reason.

    `beside` is what its openings take beside the kit, and the air kit on each pump; `burst` what
    shocks do to it.
    """
    group, amounts = setting.groups[number], setting.amounts[number]
    priced_parts = [part for part in beside[0] if not part.why and part.unit_cost > 0.0]
    leads = [calendar.lead(name) for name in (group.kit, *(p.part_no for p in priced_parts))]
    events = run_group(
        group,
        way,
        years=float(setting.years.edges[-1]) + max(leads) / DAYS_PER_YEAR,
        replicates=setting.replicates,
        rng=np.random.default_rng([setting.seed, number]),
        ahead=setting.ahead[number],
    )
    openings = events
    if burst is not None:
        openings = join_events([events, burst.breakdowns])
        events = join_events([openings, burst.pieces])
    kind = kinds_of(group, events)
    priced = price_periods(amounts, setting.years.edges, setting.rise)
    place = np.searchsorted(priced.edges, events.time, side="right") - 1
    paid = priced.material[np.clip(place, 0, priced.year.size - 1), kind]
    paid[openings.time.size :, [KITS, LOOSE]] = 0.0  # further pieces take nothing but themselves
    own = _own_streams(group, events, paid, _air_share(amounts)[kind], beside[1])
    streams = own + _loose_streams(priced_parts, kind, paid[:, LOOSE], len(amounts.kit_money))
    return pd.concat(
        [_stream_needs(setting, group, events, stream, calendar) for stream in streams],
        ignore_index=True,
    )


def _air_share(amounts: EventAmounts) -> FloatArray:
    """Share of the money for kits that pays the air kits of fouled sides, by kind of event [-]."""
    kits = amounts.kit_money
    return np.divide(amounts.air_money, kits, out=np.zeros(kits.shape), where=kits > 0.0)


def _own_streams(
    group: SideGroup,
    events: SideEvents,
    paid: FloatArray,
    air_share: FloatArray,
    air: dict[int, str],
) -> list[_Stream]:
    """The group's kit, the part that failed, and the air kit of a side that it fouled."""
    names, kit_of = np.unique([air.get(int(pump), "") for pump in group.pumps], return_inverse=True)
    part = group.part_of[np.maximum(events.position, 0)].astype(np.intp)
    kits = paid[:, KITS]
    return [
        _Stream(names=(group.kit,), item=np.zeros_like(part), money=kits * (1.0 - air_share)),
        _Stream(names=group.part_no, item=part, money=paid[:, PARTS]),
        _Stream(names=tuple(map(str, names)), item=kit_of[events.pump], money=kits * air_share),
    ]


def _loose_streams(
    parts: Sequence[LoosePart], kind: IntArray, paid: FloatArray, kinds: int
) -> list[_Stream]:
    """Each part that openings take beside the kit, its share of what they pay for all of them."""
    own = np.array([pieces_by_kind(part, kinds) * part.unit_cost for part in parts])
    own = own.reshape(len(parts), kinds)
    total = own.sum(axis=0)
    share = np.divide(own, total, out=np.zeros(own.shape), where=total > 0.0)
    return [
        _Stream(
            names=(part.part_no,),
            item=np.zeros_like(kind),
            money=paid * share[number, kind],
            known=part.share is None,
        )
        for number, part in enumerate(parts)
    ]


def _stream_needs(
    setting: Setting, group: SideGroup, events: SideEvents, stream: _Stream, calendar: _Calendar
) -> pd.DataFrame:
    """Money of one stream by store, item, month and reason, beyond what is to be ordered now."""
    planned = events.position == PLANNED
    ahead = planned & stream.known
    lead = np.array([calendar.lead(name) for name in stream.names])[stream.item]
    covered = np.array([calendar.covered(name) for name in stream.names])[stream.item]
    day = events.time * DAYS_PER_YEAR
    ordered = np.maximum(day - np.where(ahead, lead, 0.0), 0.0)
    later = ~ahead | (day > covered)
    later &= ordered < setting.years.edges[-1] * DAYS_PER_YEAR
    return _sum_needs(
        group,
        events,
        (stream.item, calendar.month_of(ordered), planned),
        np.where(later, stream.money, 0.0) / setting.replicates,
        [calendar.current.get(name, name) for name in stream.names],
    )


def _sum_needs(
    group: SideGroup,
    events: SideEvents,
    places: tuple[IntArray, IntArray, NDArray[np.bool_]],
    amount: FloatArray,
    items: list[str],
) -> pd.DataFrame:
    item, month, planned = places
    stores, store = np.unique(group.store.astype(str), return_inverse=True)
    names = np.array(items, dtype=object)
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


def _use_surplus(needs: pd.DataFrame, stock: StockPlan) -> pd.DataFrame:
    """Needs less what lies above the advised level, used up first; what is moved is gone."""
    spare = stock.stock[stock.stock["surplus_value"] > 0.0]
    given = stock.transfers.groupby(["from_store", "item"])["order_avoided"].sum().astype(float)
    left = spare.groupby(["store", "item"])["surplus_value"].sum()
    left = left.sub(given.rename_axis(["store", "item"]), fill_value=0.0).rename("spare")
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
