"""What a rebuild costs: planned, after a failure with the whole kit, or of the failed part alone.

Costs are kept apart as cash (kits, parts, call-out, clean-up), hours of labour and hours of lost
production, so that a saving can be told in all three.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from pumplife.policy.cost_book import CostBook
from pumplife.policy.practice import EventRates
from pumplife.policy.pump import FloatArray
from pumplife.records.read import Records


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
        [money / h]; downtime is the mean over the group's pumps, by their usage.
    pump_downtime : float array (pumps,)
        An hour of lost production at each pump [money / h].
    kit_price : float
        [money]
    part_price : float array (parts,)
        Of one piece of each [money]; the kit's where a part has none.
    air_kit : float
        Mean price of the air kits on these pumps, 0 where none is known [money].
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
    pump_downtime: FloatArray
    kit_price: float
    part_price: FloatArray
    air_kit: float
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

    def each(work: WorkCost) -> FloatArray:
        """Cash, labour and downtime of each piece, (3, pieces)."""
        return np.stack([work.cash, work.labour_h, work.downtime_h])

    total = each(costs.planned)[:, :1] * rates.planned
    total += each(costs.kit_failure) @ rates.kit_failures
    total += each(costs.part_failure) @ rates.part_failures
    cash, labour, downtime = total
    money = cash + costs.labour_per_h * labour + costs.downtime_per_h * downtime
    return CostRates(money=money, cash=cash, labour_h=labour, downtime_h=downtime)


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
    weight : float array (pumps,)
        Share of each pump in the group's usage.
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
    weight: FloatArray
    air_kits: tuple[str, ...]

    def __repr__(self) -> str:
        """Name the group."""
        return f"<SideScope: {self.service}, {self.side}, {self.kit}>"


def side_costs(records: Records, book: CostBook, scope: SideScope) -> SideCosts:
    """Costs of planned work and of a failure of each part on one side of some like pumps.

    A part that releases fluid adds the spill and the chance that it fouls the air side: an air
    kit, its labour and the downtime that this takes besides.  Every opening carries the chance of
    a fault that costs a breakdown more, as far as the fits don't carry it as early lives already.

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
    prices = book.kit_price.reindex(list(scope.air_kits)).dropna()
    air_kit = float(prices.mean()) if len(prices) else 0.0
    release = _release_cost(records, book, scope, air_kit)
    loose = book.part_price.reindex(list(scope.part_no)).fillna(kit_price)
    part_price = np.asarray(loose, dtype=np.float64)
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
        downtime_per_h=_mean_by(scope.weight, book.pump_downtime[scope.pumps]),
        pump_downtime=book.pump_downtime[scope.pumps],
        kit_price=kit_price,
        part_price=part_price,
        air_kit=air_kit,
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


def _release_cost(records: Records, book: CostBook, scope: SideScope, air_kit: float) -> WorkCost:
    """Clean-up, and the chance of a fouled air side, for the parts that release fluid."""
    plant = records.plant
    spill = _or_zero(plant.cost("spill", scope.service))
    foul = _or_zero(plant.cost("foul_air_side_probability", scope.service))
    releases = np.asarray(scope.releases, float)
    if scope.side == "air":
        foul = 0.0
    fouled = releases * foul
    return WorkCost(
        cash=releases * spill + fouled * air_kit,
        labour_h=fouled * book.work["air"]["planned_labour_h"],
        downtime_h=fouled * book.work["air"]["planned_downtime_h"],
    )


def _mean_by(weight: FloatArray, values: FloatArray) -> float:
    """Weighted mean, weights summing to 1; exactly the value where all are the same."""
    return float(values[0] + np.dot(values - values[0], weight))


def _or_zero(value: float) -> float:
    """0 for a figure that isn't given."""
    return value if np.isfinite(value) else 0.0
