"""The table `costs`: every figure of a rebuild's cost, its source, and what tickets say of it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from pumplife.policy.cost_book import CostBook
from pumplife.policy.costs import SideCosts
from pumplife.policy.groups import SideGroup
from pumplife.policy.pump import FloatArray
from pumplife.policy.tickets import RELEASED, Tickets, of_group, price_breakdowns
from pumplife.records.read import Records

COST_COLUMNS = (
    "service", "size_mm", "side", "kit", "hazard", "item", "value", "value_low", "value_high",
    "unit", "source", "valid_from", "tickets", "ticket_median", "ticket_mean", "ticket_low",
    "ticket_high", "note",
)  # fmt: skip
THIRD = 4.0 / 3.0  # assumed and actual, either way, from which a word is said
FEWEST = 3  # tickets
TWICE = 2.0  # standard errors, beyond which a difference is no chance
SHARE = "share of spills"
NOTHING: pd.Series[float] = pd.Series(dtype=float)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Figure:
    """One figure of a group's costs.

    Attributes
    ----------
    item : str
        What it is.
    value : float
    unit, source : str
    seen : Series
        The same by each ticket that tells it.
    low, high : float
        Least and largest among the group's pumps, NaN where it is one for all.
    valid_from : Timestamp
        NaT where the source has no date.
    """

    item: str
    value: float
    unit: str
    source: str
    seen: pd.Series[float]
    low: float = np.nan
    high: float = np.nan
    valid_from: Any = pd.NaT

    def __repr__(self) -> str:
        """Name it."""
        return f"<Figure: {self.item} {self.value:g} {self.unit}>"


def build_costs(
    records: Records, book: CostBook, tickets: Tickets, groups: tuple[SideGroup, ...]
) -> pd.DataFrame:
    """Every figure of every group.

    Parameters
    ----------
    records : Records
    book : CostBook
        Prices and hours with their sources.
    tickets : Tickets
        Stand beside.
    groups : tuple of SideGroup

    Returns
    -------
    DataFrame
        `COST_COLUMNS`, one row per group and figure.  value [unit]; value_low and value_high
        where pumps differ; ticket_low and ticket_high are the 10 and 90 % points of the tickets.
    """
    rows = [
        _keys(group) | _row(figure)
        for group in groups
        if group.costs is not None
        for figure in _figures(_open_desk(records, book, tickets, group, group.costs))
    ]
    table = pd.DataFrame(rows, columns=list(COST_COLUMNS))
    return table.astype({"valid_from": "datetime64[ns]"})


def _keys(group: SideGroup) -> dict[str, Any]:
    names = ("service", "size_mm", "side", "kit", "hazard")
    return {name: getattr(group, name) for name in names}


def _row(figure: Figure) -> dict[str, Any]:
    """A figure as a row, with its tickets."""
    seen = np.asarray(figure.seen.dropna(), dtype=np.float64)
    if seen.size:
        low, median, high = np.quantile(seen, [0.1, 0.5, 0.9])
    else:
        low = median = high = np.nan
    return {
        "item": figure.item,
        "value": figure.value,
        "value_low": figure.low,
        "value_high": figure.high,
        "unit": figure.unit,
        "source": figure.source,
        "valid_from": figure.valid_from,
        "tickets": seen.size,
        "ticket_median": float(median),
        "ticket_mean": float(seen.mean()) if seen.size else np.nan,
        "ticket_low": float(low),
        "ticket_high": float(high),
        "note": _differs(figure, seen),
    }


def _differs(figure: Figure, seen: FloatArray) -> str:
    """Say that tickets differ by more than a third, and by more than chance; "" where not."""
    value = figure.value
    if seen.size < FEWEST or not np.isfinite(value):
        return ""
    mean, spread = float(seen.mean()), float(seen.std(ddof=1))
    if figure.unit == SHARE:
        spread = max(spread, float(np.sqrt(value * (1.0 - value))))
    if abs(mean - value) <= TWICE * spread / np.sqrt(seen.size):
        return ""
    if value <= 0.0:
        return f"tickets say {mean:.3g}, nothing is assumed"
    if max(value, mean) <= THIRD * min(value, mean):
        return ""
    return (
        f"tickets say {100.0 * abs(mean / value - 1.0):.0f} % {'more' if mean > value else 'less'}"
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Desk:
    """What the figures of one group are looked up in."""

    records: Records
    book: CostBook
    group: SideGroup
    costs: SideCosts
    broken: pd.DataFrame  # breakdowns by their tickets
    planned: pd.DataFrame
    money: pd.Series[float]  # of each breakdown that has its labour

    @property
    def currency(self) -> str:
        return self.records.plant.currency

    def given(self, name: str, service: str = "") -> tuple[float, str]:
        """A figure of [costs], 0 where it isn't given, and its source."""
        plant = self.records.plant
        own = plant.raw.get("costs", {}).get("service", {}).get(service, {})
        value = plant.cost(name, service)
        if not np.isfinite(value):
            return 0.0, "assumed 0"
        section = f'[costs.service."{service}"]' if name in own else "[costs]"
        return value, f"plant.toml {section} {name}"


def _open_desk(
    records: Records, book: CostBook, tickets: Tickets, group: SideGroup, costs: SideCosts
) -> _Desk:
    return _Desk(
        records=records,
        book=book,
        group=group,
        costs=costs,
        broken=of_group(tickets, group, breakdown=True),
        planned=of_group(tickets, group, breakdown=False),
        money=price_breakdowns(records, tickets, group, costs),
    )


def _figures(desk: _Desk) -> Iterator[Figure]:
    """All figures of one group, in the order in which a rebuild is reckoned up."""
    yield from _prices(desk)
    yield from _hours(desk)
    yield _downtime(desk)
    if desk.group.releases.any():
        yield from _release(desk)
    call_out, source = desk.given("call_out")
    yield Figure(item="call-out", value=call_out, unit=desk.currency, source=source, seen=NOTHING)
    yield _fault(desk)
    discount, source = desk.given("discount_per_year")
    unit = "a year, finite horizon only"
    yield Figure(item="discount", value=discount, unit=unit, source=source, seen=NOTHING)
    yield from _totals(desk)


def _prices(desk: _Desk) -> Iterator[Figure]:
    """Kit, loose parts, and the rate of labour."""
    group, costs, money = desk.group, desk.costs, desk.currency
    yield _price(desk, f"kit {group.kit}", group.kit, costs.kit_price)
    for part, number, price in zip(group.part, group.part_no, costs.part_price, strict=True):
        yield _price(desk, f"{part} {number}", number, float(price))
    labour, source = desk.given("labour_per_h")
    yield Figure(item="labour", value=labour, unit=f"{money}/h", source=source, seen=NOTHING)


def _price(desk: _Desk, item: str, number: str, price: float) -> Figure:
    """The price of a kit or part."""
    known = desk.book.price_source
    if number in known.index:
        row = known.loc[number]
        source, since = str(row["source"]), row["valid_from"]
    else:
        source = "not known" if np.isnan(price) else f"that of the kit: {number} has no price"
        since = pd.NaT
    return Figure(
        item=item, value=price, unit=desk.currency, source=source, seen=NOTHING, valid_from=since
    )


def _hours(desk: _Desk) -> Iterator[Figure]:
    """Hours of planned and breakdown work, beside tickets of this side alone.

    Downtime that costs nothing isn't compared.
    """
    side, idle = desk.group.side, desk.costs.downtime_per_h == 0.0
    for name, value in desk.book.work[side].items():
        kind, _, column = name.partition("_")
        broken = kind == "breakdown"
        rows = desk.broken if broken else desk.planned
        whole = rows["renewed" if broken else "fitted"].astype(bool)
        rows = rows[rows["alone"].astype(bool) & whole]
        yield Figure(
            item=f"{kind} {column.removesuffix('_h')}",
            value=value,
            unit="h",
            source=desk.book.work_source[side][name],
            seen=NOTHING if idle and column == "downtime_h" else rows[column],
        )


def _downtime(desk: _Desk) -> Figure:
    """An hour of lost production, with its spread among the pumps."""
    group, costs = desk.group, desk.costs
    words, count = np.unique(desk.book.downtime_source[group.pumps].astype(str), return_counts=True)
    source = "; ".join(
        word if number == group.pumps.size else f"{word} ({number} pumps)"
        for word, number in zip(words, count, strict=True)
    )
    return Figure(
        item="lost production",
        value=costs.downtime_per_h,
        unit=f"{desk.currency}/h",
        source=source,
        seen=NOTHING,
        low=float(costs.pump_downtime.min()),
        high=float(costs.pump_downtime.max()),
    )


def _release(desk: _Desk) -> Iterator[Figure]:
    """Spill and fouled air side, beside tickets on which fluid got out.

    An air side that was worked on then counts as fouled.
    """
    group, book = desk.group, desk.book
    out = desk.broken[desk.broken["released"].isin(RELEASED)]
    spill, source = desk.given("spill", group.service)
    yield Figure(
        item="spill", value=spill, unit=desk.currency, source=source, seen=out["other_cost"]
    )
    if group.side == "air":
        return
    foul, source = desk.given("foul_air_side_probability", group.service)
    fouled = (~out["alone"].astype(bool)).astype(float)
    yield Figure(item="air side fouled", value=foul, unit=SHARE, source=source, seen=fouled)
    hours, told = book.work["air"], book.work_source["air"]
    yield Figure(
        item="fouled air side, kit",
        value=desk.costs.air_kit,
        unit=desk.currency,
        source="mean price of the air kits fitted on these pumps",
        seen=NOTHING,
    )
    for name in ("planned_labour_h", "planned_downtime_h"):
        word = name.removeprefix("planned_").removesuffix("_h")
        yield Figure(
            item=f"fouled air side, {word}",
            value=hours[name],
            unit="h",
            source=f"planned {word} of the air side: {told[name]}",
            seen=NOTHING,
        )


def _fault(desk: _Desk) -> Figure:
    """The chance of a fault at each opening, beyond early lives that the fits hold already."""
    given, source = desk.given("opening_fault_probability")
    charged = desk.costs.opening_fault
    if charged < given:
        source += f", less the {given - charged:.3g} that the fits hold as early lives"
    return Figure(
        item="opening fault", value=charged, unit="chance at each opening", source=source,
        seen=NOTHING,
    )  # fmt: skip


def _totals(desk: _Desk) -> Iterator[Figure]:
    """What planned work and a breakdown cost in all."""
    costs, group = desk.costs, desk.group
    sums, money = "the sum of the above", desk.currency
    yield Figure(
        item="planned rebuild", value=costs.planned_money, unit=money, source=sums, seen=NOTHING
    )
    for place, part in enumerate(group.part):
        yield Figure(
            item=f"breakdown by {part} {group.part_no[place]}, whole kit",
            value=float(costs.failure_money[place]),
            unit=money,
            source=sums,
            seen=_seen_of(desk, part),
        )


def _seen_of(desk: _Desk, part: str) -> pd.Series[float]:
    """Money of the breakdowns that blame a part and took a kit."""
    rows = desk.broken.loc[desk.money.index]
    return desk.money[rows["failed_part"].eq(part) & rows["fitted"].astype(bool)]
