"""What the next years take: kits, hours, breakdowns and money, by site and practice.

Each scenario runs the same pumps forward from their ages of today. Years are added up within
each simulated future, and only then are percentiles taken: a percentile of a sum isn't the sum
of percentiles.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pumplife.lives.build import Lives
from pumplife.policy.advice import Advice
from pumplife.policy.costs import SideCosts, WorkCost
from pumplife.policy.groups import SideGroup
from pumplife.policy.simulate import SideEvents
from pumplife.records.plant import Plant
from pumplife.records.read import Records
from pumplife.stock.future import (
    Practice,
    advised,
    advised_groups,
    as_today,
    count_replicates,
    follow,
    planned_at,
    run_group,
)
from pumplife.stock.loose import LoosePart, with_loose
from pumplife.stock.spent import EVERYWHERE, last_year
from pumplife.stock.write_offs import WRITE_OFFS, forecast_write_offs

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.intp]

YEARS = 3
AMOUNTS = ("kits", "parts", "labour_h", "downtime_h", "breakdowns", "spills")
QUANTITIES = (*AMOUNTS, "money")
"""Of `simulate_budget`; write-offs of stock, `WRITE_OFFS`, are beside them."""
BUDGET_COLUMNS = ("year", "site", "scenario", "quantity", "p50", "p80", "p90", "mean")
_SHARES = (0.50, 0.80, 0.90)
_CELLS = 3_000_000  # position lives simulated at the start, all groups and futures
_LEAST, _MOST = 200, 2000  # futures


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class EventAmounts:
    """What each kind of event of one group takes.

    Kinds: 0 a planned renewal; 1 … P a failure of that part at which the kit is fitted;
    P + 1 … 2 P a failure at which the failed part alone is renewed.

    Attributes
    ----------
    takes : array (kinds, 6)
        In the columns of `AMOUNTS` [items, hours, events].
    item_money, labour_money, other_money : arrays (kinds,)
        Kits and parts; labour; call-out, clean-up, downtime and what else [money].
    """

    takes: FloatArray
    item_money: FloatArray
    labour_money: FloatArray
    other_money: FloatArray

    def __repr__(self) -> str:
        return f"EventAmounts({len(self.item_money)} kinds of event)"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PriceRise:
    """Yearly rise of prices; the first year is bought at today's.

    Attributes
    ----------
    kits, labour : float
        Share a year [1/year].
    """

    kits: float = 0.0
    labour: float = 0.0

    def __repr__(self) -> str:
        return f"PriceRise(kits {self.kits:.1%}, labour {self.labour:.1%} a year)"


def plan_budget(
    records: Records,
    lives: Lives,
    advice: Advice,
    *,
    seed: int = 1,
    loose: Sequence[Sequence[LoosePart]] = (),
) -> pd.DataFrame:
    """Budget of the next three years under each way of working, beside the last twelve months.

    Scenarios: today (the practice that the tickets show), advised, adopted (where the plant has
    adopted intervals; advice elsewhere), run_to_failure (the kit at every failure), actual (year
    0, by the tickets). The two sides of a pump live apart: a fouled air side costs its kit and
    labour, but keeps its age. Under the advice, sides past their interval are renewed at once, so
    the first year carries the backlog. Money charges kits and parts when they are fitted: what is
    written off of today's stock (write_offs [items], write_off_money) isn't in it.

    Parameters
    ----------
    records : Records
        Gives [budget] price_rise and what a release takes.
    lives : Lives
        Its visits tell the last twelve months.
    advice : Advice
    seed : int
    loose : sequence of sequences of LoosePart, optional
        What openings take beside the kit, by advised group.

    Returns
    -------
    DataFrame
        Columns of `BUDGET_COLUMNS`; empty where the records withhold the budget.
    """
    groups = advised_groups(advice)
    if "budget" in records.withheld or not groups:
        return pd.DataFrame(columns=list(BUDGET_COLUMNS))
    rise = records.plant.raw.get("budget", {}).get("price_rise", {})
    scenarios = _scenarios(advice, groups)
    simulated = simulate_budget(
        groups,
        [
            with_loose(event_amounts(group, records.plant), parts, AMOUNTS.index("parts"))
            for group, parts in zip(groups, loose or [()] * len(groups), strict=True)
        ],
        scenarios,
        replicates=count_replicates(groups, cells=_CELLS, least=_LEAST, most=_MOST),
        seed=seed,
        rise=PriceRise(kits=float(rise.get("kits", 0)), labour=float(rise.get("labour", 0))),
    )
    told = last_year(records, lives, advice)
    places = [EVERYWHERE, *sorted({str(site) for group in groups for site in group.site})]
    lost = [
        _tabulate(values, places, scenario, WRITE_OFFS)
        for scenario, values in forecast_write_offs(
            records, groups, scenarios, years=YEARS, seed=seed
        ).items()
    ]
    return pd.concat([told, simulated, *lost], ignore_index=True)[list(BUDGET_COLUMNS)]


def _scenarios(advice: Advice, groups: list[SideGroup]) -> dict[str, list[Practice]]:
    ways = {
        "today": [as_today(group) for group in groups],
        "advised": advised(advice),
        "adopted": follow(advice),
        "run_to_failure": [planned_at(np.inf)] * len(groups),
    }
    if np.isnan(advice.adopted).all():
        del ways["adopted"]
    return ways


def event_amounts(group: SideGroup, plant: Plant) -> EventAmounts:
    """What each kind of event of one group takes, from its costs.

    The chance that an opening ends in another breakdown, and that a release fouls the air side,
    are carried as expected amounts.
    """
    costs = group.costs
    assert costs is not None, "a group without costs has its reason in `missing`"
    parts = len(group.part)
    releases = group.releases.astype(np.float64)
    foul = plant.cost("foul_air_side_probability", group.service) if group.side == "fluid" else 0.0
    fouled = releases * float(np.nan_to_num(foul))
    fault = costs.opening_fault
    none = np.zeros(parts)
    works = (costs.planned, costs.kit_failure, costs.part_failure)
    columns = {
        "kits": (np.ones(1), 1.0 + fouled, fouled),
        "parts": (np.zeros(1), none, none + 1.0),
        "breakdowns": (np.zeros(1), none + 1.0, none + 1.0),
        "spills": (np.zeros(1), releases, releases),
        "labour_h": tuple(work.labour_h for work in works),
        "downtime_h": tuple(work.downtime_h for work in works),
    }
    again = {"kits": fault, "breakdowns": fault}
    takes = [np.concatenate(columns[name]) + again.get(name, 0.0) for name in AMOUNTS]
    money = np.concatenate([costs.money(work) for work in works])
    items = np.concatenate([_item_money(costs, work, n) for n, work in enumerate(works)])
    labour = costs.labour_per_h * np.concatenate(columns["labour_h"])
    return EventAmounts(
        takes=np.stack(takes, axis=1),
        item_money=items,
        labour_money=labour,
        other_money=money - items - labour,
    )


def _item_money(costs: SideCosts, work: WorkCost, kind: int) -> FloatArray:
    """Kits and parts of planned work (0), a failure with the kit (1) or of the part alone (2)."""
    again = costs.opening_fault * costs.kit_price
    if kind < 2:
        return np.full(len(work.cash), costs.kit_price + again)
    beside = costs.spill + costs.call_out * (1.0 + costs.opening_fault)
    return np.asarray(work.cash - beside, dtype=np.float64)


def simulate_budget(
    groups: Sequence[SideGroup],
    amounts: Sequence[EventAmounts],
    practices: dict[str, list[Practice]],
    *,
    replicates: int,
    seed: int,
    rise: PriceRise | None = None,
) -> pd.DataFrame:
    """Budget of every scenario, year, site and quantity.

    Parameters
    ----------
    groups, amounts : sequences
        The pump groups and what their events take, in one order.
    practices : dict of list of Practice
        Scenario to one practice per group.
    replicates : int
        Simulated futures.
    seed : int
        Scenarios share it, so that they differ by practice more than by luck.
    rise : PriceRise, optional
        Default: none.

    Returns
    -------
    DataFrame
        Columns of `BUDGET_COLUMNS`; year 1 … 3 are the twelve-month years after the records end,
        site "all" is the whole plant.
    """
    sites = sorted({str(site) for group in groups for site in group.site})
    tables = []
    for scenario, ways in practices.items():
        totals = np.zeros((len(sites), YEARS, replicates, len(QUANTITIES)))
        for number, (group, way) in enumerate(zip(groups, ways, strict=True)):
            rng = np.random.default_rng([seed, number])
            events = run_group(group, way, years=YEARS, replicates=replicates, rng=rng)
            counts = _count_events(group, events, sites, replicates)
            totals += _add_up(counts, amounts[number], rise or PriceRise())
        tables.append(_summarise(totals, sites, scenario))
    return pd.concat(tables, ignore_index=True)


def _count_events(
    group: SideGroup, events: SideEvents, sites: list[str], replicates: int
) -> FloatArray:
    """Events of one group by site, year, future and kind."""
    site = np.searchsorted(sites, group.site.astype(str))
    year = np.minimum(events.time.astype(np.intp), YEARS - 1)
    parts = len(group.part)
    failed = events.position >= 0
    part = group.part_of[np.maximum(events.position, 0)]
    kind = np.where(failed, part + 1, 0) + np.where(events.kit, 0, parts)
    shape = (len(sites), YEARS, replicates, 2 * parts + 1)
    cell = np.ravel_multi_index((site[events.pump], year, events.replicate, kind), shape)
    return np.bincount(cell, minlength=int(np.prod(shape))).reshape(shape).astype(np.float64)


def _add_up(counts: FloatArray, amounts: EventAmounts, rise: PriceRise) -> FloatArray:
    """Quantities of one group by site, year and future, money last."""
    years = np.arange(YEARS)[:, None]
    money = counts @ amounts.other_money
    money += counts @ amounts.item_money * (1.0 + rise.kits) ** years
    money += counts @ amounts.labour_money * (1.0 + rise.labour) ** years
    return np.concatenate([counts @ amounts.takes, money[..., None]], axis=-1)


def _summarise(totals: FloatArray, sites: list[str], scenario: str) -> pd.DataFrame:
    """Percentiles over the replicates, each site and all together."""
    everywhere = totals.sum(axis=0, keepdims=True)
    return _tabulate(
        np.concatenate([everywhere, totals]), [EVERYWHERE, *sites], scenario, QUANTITIES
    )


def _tabulate(
    values: FloatArray, places: list[str], scenario: str, quantities: Sequence[str]
) -> pd.DataFrame:
    """One row per place, year and quantity of values (places, years, futures, quantities)."""
    quantiles = np.quantile(values, _SHARES, axis=2)
    where, year, quantity = np.indices(quantiles.shape[1:])
    names = np.array(places, dtype=object)
    table = pd.DataFrame(
        {
            "year": year.ravel() + 1,
            "site": names[where.ravel()],
            "scenario": scenario,
            "quantity": np.array(quantities, dtype=object)[quantity.ravel()],
            "p50": quantiles[0].ravel(),
            "p80": quantiles[1].ravel(),
            "p90": quantiles[2].ravel(),
            "mean": values.mean(axis=2).ravel(),
        }
    )
    return table[list(BUDGET_COLUMNS)]
