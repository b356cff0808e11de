"""Simulated futures added up: by site, year and future, and pump by pump for one year.

Years are added up within each simulated future, and only then are percentiles taken: a percentile
of a sum isn't the sum of percentiles.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pumplife.policy.ahead import UseAhead
from pumplife.policy.groups import DAYS_PER_YEAR, SideGroup
from pumplife.policy.simulate import PLANNED, SideEvents
from pumplife.policy.simulate_events import join_events
from pumplife.stock.amounts import AMOUNTS, EventAmounts, kinds_of
from pumplife.stock.bursts import GroupBurst, burst_groups
from pumplife.stock.future import Practice, overdue_until, run_group
from pumplife.stock.prices import PARTS, PricedPeriods, PriceRise, price_periods
from pumplife.stock.shocks import Shocks
from pumplife.stock.spent import EVERYWHERE
from pumplife.stock.years import BudgetYears

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.intp]

MONEY_PARTS = ("material", "labour", "downtime", "consequences")
QUANTITIES = (*AMOUNTS, *MONEY_PARTS, "money", "backlog")
SUMS = (*QUANTITIES, "flat")
"""`QUANTITIES`, and money at today's prices."""
PUMP_SUMS = ("kits", "breakdowns", "money")
SHARES = (0.50, 0.80, 0.90)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Outcome:
    """One way of working, simulated.

    Attributes
    ----------
    sites : tuple of str (sites,)
    totals : array (sites, years, futures, sums)
        In the columns of `SUMS`.
    pumps : DataFrame
        One row per pump and service that it serves: service, pump (row of the pumps table), site.
    by_pump : array (rows, futures, 3)
        The first whole year of each of them in the columns of `PUMP_SUMS`.
    """

    sites: tuple[str, ...]
    totals: FloatArray
    pumps: pd.DataFrame
    by_pump: FloatArray

    def __repr__(self) -> str:
        return f"Outcome({len(self.sites)} sites, {self.totals.shape[2]} futures)"

    def of(self, name: str, *, site: str = EVERYWHERE) -> FloatArray:
        """One sum by year and future, (years, futures)."""
        column = self.totals[..., SUMS.index(name)]
        whole = column.sum(axis=0)
        return np.asarray(whole if site == EVERYWHERE else column[self.sites.index(site)])


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Setting:
    """What all ways of working have in common.

    Attributes
    ----------
    groups : sequence of SideGroup
    amounts : sequence of EventAmounts
        Of each group.
    ahead : sequence of UseAhead or None
        Use of the pumps of each group.
    years : BudgetYears
    rise : PriceRise
    replicates, seed : int
        Futures; ways share the seed, so that they differ by practice more than by luck.
    shocks : Shocks or None
        Past shocks, which come again in the same futures under every way of working.
    """

    groups: Sequence[SideGroup]
    amounts: Sequence[EventAmounts]
    ahead: Sequence[UseAhead | None]
    years: BudgetYears
    rise: PriceRise
    replicates: int
    seed: int
    shocks: Shocks | None = None

    def __repr__(self) -> str:
        return f"Setting({len(self.groups)} groups, {self.replicates} futures)"

    @property
    def sites(self) -> tuple[str, ...]:
        """Every site, sorted."""
        return tuple(sorted({str(site) for group in self.groups for site in group.site}))

    @property
    def pumps(self) -> pd.DataFrame:
        """Every pump with its service and site, sorted."""
        rows = [
            pd.DataFrame({"service": group.service, "pump": group.pumps, "site": group.site})
            for group in self.groups
        ]
        every = pd.concat(rows).drop_duplicates(["service", "pump"])
        return every.sort_values(["service", "pump"], ignore_index=True)

    def bursts(self, ways: Sequence[Practice]) -> list[GroupBurst] | None:
        """What shocks do to each group; None where none was ever seen."""
        if self.shocks is None or not self.shocks.count:
            return None
        return burst_groups(
            self.shocks,
            self.groups,
            ways,
            years=float(self.years.edges[-1]),
            replicates=self.replicates,
            seed=self.seed,
            ahead=self.ahead,
        )


def run_way(setting: Setting, ways: Sequence[Practice], *, pumps: bool = False) -> Outcome:
    """Run all groups forward under one way of working each.

    Parameters
    ----------
    setting : Setting
    ways : sequence of Practice
        Of each group.
    pumps : bool
        Whether sums by pump are kept.

    Returns
    -------
    Outcome
    """
    sites, years = setting.sites, setting.years
    totals = np.zeros((len(sites), years.number.size, setting.replicates, len(SUMS)))
    every = setting.pumps if pumps else setting.pumps.head(0)
    by_pump = np.zeros((len(every), setting.replicates, len(PUMP_SUMS)))
    bursts = setting.bursts(ways)
    for number, (group, way) in enumerate(zip(setting.groups, ways, strict=True)):
        events = run_group(
            group,
            way,
            years=float(years.edges[-1]),
            replicates=setting.replicates,
            rng=np.random.default_rng([setting.seed, number]),
            ahead=setting.ahead[number],
        )
        if bursts is not None:
            events = join_events([events, bursts[number].breakdowns])
        amounts = setting.amounts[number]
        priced = price_periods(amounts, years.edges, setting.rise)
        place = _find_places(group, sites, priced, events)
        totals += _add_up(place, events, amounts, priced, totals.shape)
        totals[..., SUMS.index("backlog")] += _backlog(
            place,
            events,
            priced,
            overdue_until(group, way, setting.ahead[number]),
            totals.shape[:3],
        )
        if pumps:
            mine = np.flatnonzero(every["service"] == group.service)
            row = mine[np.searchsorted(every["pump"].to_numpy()[mine], group.pumps)]
            size = (group.pumps.size, setting.replicates, years.first)
            by_pump[row] += _by_pump(place, events, amounts, priced, size)
        if bursts is not None:
            pieces = bursts[number].pieces
            place = _find_places(group, sites, priced, pieces)
            totals += _add_pieces(place, pieces, amounts, priced, totals.shape)
            if pumps:
                by_pump[row, :, -1] += _pieces_by_pump(place, pieces, priced, size)
    return Outcome(sites=sites, totals=totals, pumps=every, by_pump=by_pump)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Places:
    """Site, period and kind of each event, (events,)."""

    site: IntArray
    period: IntArray
    kind: IntArray


def _find_places(
    group: SideGroup, sites: tuple[str, ...], priced: PricedPeriods, events: SideEvents
) -> _Places:
    return _Places(
        site=np.searchsorted(sites, group.site.astype(str))[events.pump],
        period=_period(priced, events),
        kind=kinds_of(group, events),
    )


def _period(priced: PricedPeriods, events: SideEvents) -> IntArray:
    place = np.searchsorted(priced.edges, events.time, side="right") - 1
    return np.asarray(np.clip(place, 0, priced.year.size - 1), dtype=np.intp)


def _count(shape: tuple[int, ...], *places: IntArray) -> FloatArray:
    cell = np.ravel_multi_index(places, shape)
    return np.bincount(cell, minlength=int(np.prod(shape))).reshape(shape).astype(np.float64)


def _add_up(
    place: _Places,
    events: SideEvents,
    amounts: EventAmounts,
    priced: PricedPeriods,
    shape: tuple[int, ...],
) -> FloatArray:
    """Sums of one group by site, year and future; the backlog is left at 0."""
    sites, _, replicates, _ = shape
    cells = (sites, priced.year.size, replicates, len(amounts.takes))
    counts = _count(cells, place.site, place.period, events.replicate, place.kind)
    money = counts @ priced.money
    whole = money.sum(axis=-1, keepdims=True)
    flat = (counts @ priced.flat)[..., None]
    values = [counts @ amounts.takes, money, whole, np.zeros_like(flat), flat]
    found = np.zeros(shape)
    each = np.concatenate(values, axis=-1)
    for period, year in enumerate(priced.year.tolist()):
        found[:, year] += each[:, period]
    return found


def _add_pieces(
    place: _Places,
    pieces: SideEvents,
    amounts: EventAmounts,
    priced: PricedPeriods,
    shape: tuple[int, ...],
) -> FloatArray:
    """Loose parts renewed at breakdowns of shocks beside the first, by site, year and future."""
    flat = np.ravel_multi_index(
        (place.site, priced.year[place.period], pieces.replicate), shape[:3]
    )
    money = priced.material[place.period, place.kind, PARTS]
    values = {
        "parts": np.ones(flat.size),
        "material": money,
        "money": money,
        "flat": amounts.part_money[place.kind],
    }
    found = np.zeros(shape)
    for name, each in values.items():
        sums = np.bincount(flat, each, minlength=int(np.prod(shape[:3])))
        found[..., SUMS.index(name)] = sums.reshape(shape[:3])
    return found


def _pieces_by_pump(
    place: _Places, pieces: SideEvents, priced: PricedPeriods, size: tuple[int, int, int]
) -> FloatArray:
    """Money of the same by pump in the first whole year, (pumps, futures) [money]."""
    pumps, replicates, first = size
    inside = priced.year[place.period] == first
    cell = pieces.pump[inside] * replicates + pieces.replicate[inside]
    money = priced.material[place.period, place.kind, PARTS][inside]
    sums = np.bincount(cell, money, minlength=pumps * replicates)
    return np.asarray(sums.reshape(pumps, replicates), dtype=np.float64)


def _backlog(
    place: _Places,
    events: SideEvents,
    priced: PricedPeriods,
    until: FloatArray,
    shape: tuple[int, ...],
) -> FloatArray:
    """Money of sides that are past their planned age today, (sites, years, futures) [money].

    `until` are the days by which they are renewed, (pumps,).
    """
    late = events.time <= until[events.pump] / DAYS_PER_YEAR + 1e-9
    late &= events.position == PLANNED
    period = place.period[late]
    cell = (place.site[late], priced.year[period], events.replicate[late])
    flat = np.ravel_multi_index(cell, shape)
    money = priced.money[period, 0].sum(axis=-1)
    sums = np.bincount(flat, money, minlength=int(np.prod(shape)))
    return np.asarray(sums.reshape(shape), dtype=np.float64)


def _by_pump(
    place: _Places,
    events: SideEvents,
    amounts: EventAmounts,
    priced: PricedPeriods,
    size: tuple[int, int, int],
) -> FloatArray:
    """Sums of each pump of one group in the first whole year, (pumps, futures, 3)."""
    pumps, replicates, first = size
    inside = priced.year[place.period] == first
    kind, period = place.kind[inside], place.period[inside]
    cell = events.pump[inside] * replicates + events.replicate[inside]
    kits, breakdowns = (amounts.takes[kind, AMOUNTS.index(name)] for name in PUMP_SUMS[:2])
    money = priced.money[period, kind].sum(axis=-1)
    sums = [
        np.bincount(cell, each, minlength=pumps * replicates).reshape(pumps, replicates)
        for each in (kits, breakdowns, money)
    ]
    return np.stack(sums, axis=-1)


def summarise(outcome: Outcome, years: BudgetYears, scenario: str) -> pd.DataFrame:
    """Percentiles over the futures, each site and all together: rows of the budget."""
    everywhere = outcome.totals.sum(axis=0, keepdims=True)
    values = np.concatenate([everywhere, outcome.totals])[..., : len(QUANTITIES)]
    quantiles = np.quantile(values, SHARES, axis=2)
    where, year, quantity = (index.ravel() for index in np.indices(quantiles.shape[1:]))
    names = np.array([EVERYWHERE, *outcome.sites], dtype=object)
    dated = bool(years.from_on)
    blank = np.full(year.size, np.datetime64("NaT"), dtype="datetime64[ns]")
    return pd.DataFrame(
        {
            "year": years.number[year],
            "site": names[where],
            "scenario": scenario,
            "quantity": np.array(QUANTITIES, dtype=object)[quantity],
            "p50": quantiles[0].ravel(),
            "p80": quantiles[1].ravel(),
            "p90": quantiles[2].ravel(),
            "mean": values.mean(axis=2).ravel(),
            "from_on": np.array(years.from_on, dtype="datetime64[ns]")[year] if dated else blank,
            "to_on": np.array(years.to_on, dtype="datetime64[ns]")[year] if dated else blank,
            "span": np.array(years.span, dtype=object)[year],
        }
    )
