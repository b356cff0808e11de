"""What a rebuild costs: planned, after a failure with the whole kit, or of the failed part alone.

Costs are kept apart as cash (kits, parts, call-out, clean-up), hours of labour and hours of lost
production, so that a saving can be told in all three.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from pumplife.lives.build import Lives
from pumplife.policy.practice import EventRates
from pumplife.policy.pump import FloatArray
from pumplife.records.read import Records

SIDES = ("fluid", "air")
HOURS = ("labour_h", "downtime_h")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class WorkCost:
    """Cost of one piece of work, by what it is made of; arrays of one shape, or numbers.

    Attributes
    ----------
    cash : float array (parts,) or (1,)
        Kits, parts, call-out, clean-up [money].
    labour_h, downtime_h : float array (parts,) or (1,)
        [h]
    """

    cash: FloatArray
    labour_h: FloatArray
    downtime_h: FloatArray

    def __repr__(self) -> str:
        """Say the means."""
        return (
            f"<WorkCost: cash {self.cash.mean():g}, labour {self.labour_h.mean():g} h, "
            f"downtime {self.downtime_h.mean():g} h>"
        )

    def plus(self, other: WorkCost, share: float = 1.0) -> WorkCost:
        """This work and a share of another."""
        return WorkCost(
            cash=self.cash + share * other.cash,
            labour_h=self.labour_h + share * other.labour_h,
            downtime_h=self.downtime_h + share * other.downtime_h,
        )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SideCosts:
    """Costs of the work on one side of the pumps of a group.

    Attributes
    ----------
    planned : WorkCost (1,)
        A planned renewal of the whole side.
    kit_failure : WorkCost (parts,)
        A failure of each part after which the whole side is renewed.
    part_failure : WorkCost (parts,)
        A failure of each part after which it alone is renewed.
    labour_per_h, downtime_per_h : float
        [money / h]; downtime is the mean over the group's pumps.
    kit_price : float
        [money]
    call_out : float
        [money]
    spill : float array (parts,)
        Clean-up after a failure of each part [money], 0 where it releases nothing.
    opening_fault : float
        Probability, beyond the early lives already in the fits, that an opening ends in another
        breakdown.
    hours : dict of str to float
        Hours of one piece of work: `planned_labour_h` and so on [h].
    foul_share : float
        Probability that a release fouls the air side.
    fouling : WorkCost (parts,)
        What that adds to a failure of each part, on average; in `spill` as far as it is cash.
    """

    planned: WorkCost
    kit_failure: WorkCost
    part_failure: WorkCost
    labour_per_h: float
    downtime_per_h: float
    kit_price: float
    call_out: float
    spill: FloatArray
    opening_fault: float
    hours: dict[str, float]
    foul_share: float
    fouling: WorkCost

    def __repr__(self) -> str:
        """Say the planned cost and the mean cost of a failure."""
        failure = self.failure_money.mean()
        return f"<SideCosts: planned {self.planned_money:.4g}, failure {failure:.4g}>"

    def money(self, work: WorkCost) -> FloatArray:
        """The work in money."""
        return np.asarray(
            work.cash + self.labour_per_h * work.labour_h + self.downtime_per_h * work.downtime_h
        )

    @property
    def planned_money(self) -> float:
        """A planned renewal of the whole side [money]."""
        return float(self.money(self.planned)[0])

    @property
    def failure_money(self) -> FloatArray:
        """A failure of each part, the whole side renewed, (parts,) [money]."""
        return self.money(self.kit_failure)

    @property
    def part_money(self) -> FloatArray:
        """A failure of each part, it alone renewed, (parts,) [money]."""
        return self.money(self.part_failure)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CostRates:
    """Cost per usage unit for each draw, (draws,): money, and what it is made of."""

    money: FloatArray
    cash: FloatArray
    labour_h: FloatArray
    downtime_h: FloatArray

    def __repr__(self) -> str:
        """Say the mean."""
        return f"<CostRates: {self.money.mean():.4g} a usage unit>"


def cost_rates(costs: SideCosts, rates: EventRates) -> CostRates:
    """What the events of a way of working cost per usage unit, for each draw."""

    def total(name: str) -> FloatArray:
        planned = rates.planned * getattr(costs.planned, name)[0]
        kit = np.einsum("pd,p->d", rates.kit_failures, getattr(costs.kit_failure, name))
        part = np.einsum("pd,p->d", rates.part_failures, getattr(costs.part_failure, name))
        return np.asarray(planned + kit + part)

    cash, labour, downtime = total("cash"), total("labour_h"), total("downtime_h")
    money = cash + costs.labour_per_h * labour + costs.downtime_per_h * downtime
    return CostRates(money=money, cash=cash, labour_h=labour, downtime_h=downtime)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CostBook:
    """Prices and hours of the whole plant, looked up once.

    Attributes
    ----------
    kit_price, part_price : Series
        Price by kit and by part number, the latest valid at the end of the records [money].
    work : dict
        Hours of planned and breakdown work by side: `planned_labour_h` and so on [h].
    labour_per_h : float
        [money / h]
    pump_downtime : float array (pumps,)
        Cost of an hour of lost production at each pump [money / h].
    """

    kit_price: pd.Series[float]
    part_price: pd.Series[float]
    work: dict[str, dict[str, float]]
    labour_per_h: float
    pump_downtime: FloatArray

    def __repr__(self) -> str:
        """Count the prices."""
        return f"<CostBook: {self.kit_price.size} kits, {self.part_price.size} parts>"


def open_cost_book(records: Records, lives: Lives, today: pd.DataFrame) -> CostBook:
    """Look up prices and hours; what stands in for a missing figure is told in the audit.

    Parameters
    ----------
    records : Records
    lives : Lives
        Its visits give the hours where plant.toml has none.
    today : DataFrame
        Duty of each pump today: service, downtime_per_h, standby, running.
    """
    _given_or_zero(records, "call_out")
    services = today.loc[today["running"], "service"].unique()
    if any(np.isnan(records.plant.cost("spill", service)) for service in services):
        _given_or_zero(records, "spill")
    return CostBook(
        kit_price=_latest_prices(records, "kits", "kit"),
        part_price=_latest_prices(records, "parts", "part_no"),
        work={side: _work_hours(records, lives, side) for side in SIDES},
        labour_per_h=_given_or_zero(records, "labour_per_h"),
        pump_downtime=_downtime_costs(records, today),
    )


def _latest_prices(records: Records, table: str, item: str) -> pd.Series[float]:
    """Price of each item by its latest row that is valid at the end of the records."""
    rows = records.table(table)
    if rows.empty:
        return pd.Series(dtype=float)
    valid = ~(rows["valid_from"] > records.plant.records_to) & rows["unit_cost"].notna()
    rows = rows[valid].sort_values("valid_from", kind="stable", na_position="first")
    return rows.drop_duplicates(item, keep="last").set_index(item)["unit_cost"].astype(float)


def _given_or_zero(records: Records, name: str) -> float:
    """A cost of plant.toml; 0 with a caution where it isn't given."""
    value = records.plant.cost(name)
    if np.isfinite(value):
        return value
    records.log.add(
        "caution",
        f"[costs] {name} is not given.",
        rule="cost_missing",
        table="plant.toml",
        consequence="It counts as 0, and makes failures or work look cheaper than they are.",
        remedy=f"Write [costs] {name} in plant.toml.",
    )
    return 0.0


def _work_hours(records: Records, lives: Lives, side: str) -> dict[str, float]:
    """Hours of planned and breakdown work on a side, medians of the tickets where not given."""
    given = records.plant.work(side)
    missing = [name for name, hours in given.items() if not np.isfinite(hours)]
    if not missing:
        return given
    told = {name: _median_hours(lives.visits, side, name) for name in missing}
    hours = {**given, **told}
    for name in ("planned_labour_h", "planned_downtime_h"):
        if not np.isfinite(hours[name]):
            hours[name] = hours[name.replace("planned", "breakdown")]
    records.log.add(
        "note" if all(np.isfinite(value) for value in hours.values()) else "caution",
        f"[work.{side}] doesn't give {', '.join(missing)}.",
        rule="work_hours",
        table="plant.toml",
        consequence="The medians of the tickets stand in: "
        + ", ".join(f"{name} {np.nan_to_num(hours[name]):.3g}" for name in missing)
        + " (0 where no ticket tells).",
        remedy=f"Write the usual hours under [work.{side}] in plant.toml.",
    )
    return {name: float(np.nan_to_num(value)) for name, value in hours.items()}


def _median_hours(visits: pd.DataFrame, side: str, name: str) -> float:
    """Median over the tickets of one side and kind of work [h]; NaN where none tells."""
    kind, _, column = name.partition("_")
    rows = visits[(visits["side"] == side) & (visits["breakdown"] == (kind == "breakdown"))]
    hours = rows.loc[rows["renewed"].astype(bool), column].dropna()
    return float(hours.median()) if len(hours) else np.nan


def _downtime_costs(records: Records, today: pd.DataFrame) -> FloatArray:
    """Cost of an hour of lost production at each pump; 0 where a standby takes over at once."""
    service = today["service"]
    by_service = {name: records.plant.cost("downtime_per_h", name) for name in service.unique()}
    cost = today["downtime_per_h"].fillna(service.map(by_service)).to_numpy(float)
    if np.isnan(cost).any():
        cost = np.where(np.isnan(cost), _given_or_zero(records, "downtime_per_h"), cost)
    spared = (today["standby"] == "installed").to_numpy()
    if (spared & today["running"]).any():
        records.log.add(
            "note",
            f"{int((spared & today['running']).sum())} pumps have an installed standby.",
            rule="standby",
            table="pumps",
            consequence="Their downtime costs nothing, planned or not: the standby takes over.",
            remedy="Leave standby blank where production stops nevertheless.",
        )
    return np.where(spared, 0.0, cost)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SideScope:
    """What the costs of a group depend on: its side, kit, parts and pumps.

    Attributes
    ----------
    service, side, kit : str
    part_no : tuple of str (parts,)
    releases : bool array (parts,)
    early_faults : float
        Expected positions that die early from assembly, by the fits, at each renewal.
    pumps : int array (pumps,)
    air_kits : tuple of str
        Air kits fitted on these pumps: what a rupture may foul.
    """

    service: str
    side: str
    kit: str
    part_no: tuple[str, ...]
    releases: np.ndarray[tuple[int], np.dtype[np.bool_]]
    early_faults: float
    pumps: np.ndarray[tuple[int], np.dtype[np.int64]]
    air_kits: tuple[str, ...]

    def __repr__(self) -> str:
        """Name the group."""
        return f"<SideScope: {self.service}, {self.side}, {self.kit}>"


def side_costs(records: Records, book: CostBook, scope: SideScope) -> SideCosts:
    """Costs of planned work and of a failure of each part on one side of some like pumps.

    A part that releases fluid adds the spill and the chance that it fouls the air side (an air
    kit and its labour).  Every opening carries the chance of a fault that costs a breakdown more,
    as far as the fits don't carry it as early lives already.

    Parameters
    ----------
    records : Records
    book : CostBook
    scope : SideScope

    Returns
    -------
    SideCosts
        `kit_price` is NaN where the kit has no price.
    """
    hours = book.work[scope.side]
    kit_price = float(book.kit_price.get(scope.kit, np.nan))
    call_out = _or_zero(records.plant.cost("call_out"))
    release = _release_cost(records, book, scope)
    prices = book.part_price.reindex(list(scope.part_no)).fillna(kit_price)
    part_price = np.asarray(prices, dtype=np.float64)
    planned = _work(kit_price, hours, "planned", 1)
    with_kit = _work(kit_price + call_out, hours, "breakdown", len(scope.part_no))
    alone = _work(np.add(part_price, call_out), hours, "breakdown", len(scope.part_no))
    fault = max(0.0, _or_zero(records.plant.cost("opening_fault_probability")) - scope.early_faults)
    again = _work(kit_price + call_out, hours, "breakdown", 1)
    return SideCosts(
        planned=planned.plus(again, fault),
        kit_failure=with_kit.plus(release).plus(again, fault),
        part_failure=alone.plus(release).plus(again, fault),
        labour_per_h=book.labour_per_h,
        downtime_per_h=float(book.pump_downtime[scope.pumps].mean()),
        kit_price=kit_price,
        call_out=call_out,
        spill=release.cash,
        opening_fault=fault,
        hours=hours,
        foul_share=_or_zero(records.plant.cost("foul_air_side_probability", scope.service)),
        fouling=replace(release, cash=release.cash - _spill(records, scope)),
    )


def _work(cash: FloatArray | float, hours: dict[str, float], kind: str, parts: int) -> WorkCost:
    """One piece of planned or breakdown work, the same hours for each part."""
    return WorkCost(
        cash=np.broadcast_to(np.asarray(cash, float), (parts,)).copy(),
        labour_h=np.full(parts, hours[f"{kind}_labour_h"]),
        downtime_h=np.full(parts, hours[f"{kind}_downtime_h"]),
    )


def _spill(records: Records, scope: SideScope) -> FloatArray:
    """Clean-up after a failure of each part, (parts,) [money]."""
    return np.asarray(scope.releases, float) * _or_zero(records.plant.cost("spill", scope.service))


def _release_cost(records: Records, book: CostBook, scope: SideScope) -> WorkCost:
    """Clean-up, and the chance of a fouled air side, for the parts that release fluid."""
    plant = records.plant
    spill = _or_zero(plant.cost("spill", scope.service))
    foul = _or_zero(plant.cost("foul_air_side_probability", scope.service))
    releases = np.asarray(scope.releases, float)
    if scope.side == "air":
        foul = 0.0
    prices = book.kit_price.reindex(list(scope.air_kits)).dropna()
    air_kit = float(prices.mean()) if len(prices) else 0.0
    return WorkCost(
        cash=releases * (spill + foul * air_kit),
        labour_h=releases * foul * book.work["air"]["planned_labour_h"],
        downtime_h=np.zeros(releases.size),
    )


def _or_zero(value: float) -> float:
    """0 for a figure that isn't given."""
    return value if np.isfinite(value) else 0.0
