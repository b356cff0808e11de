"""Prices along the coming years: today's, those that are announced, and the yearly rise."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pumplife.policy.groups import DAYS_PER_YEAR
from pumplife.stock.amounts import EventAmounts
from pumplife.stock.plans import NO_STEPS, PriceSteps

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.intp]

KITS, PARTS, LOOSE = range(3)
"""Columns of `PricedPeriods.material`."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PriceRise:
    """Rise of prices with each year of the budget; the first is bought at today's.

    Attributes
    ----------
    kits, labour : float
        Share a year [1/year].
    steps : mapping of str to PriceSteps, optional
        Prices that are announced, by item; they rise from the year after on.
    """

    kits: float = 0.0
    labour: float = 0.0
    steps: Mapping[str, PriceSteps] | None = None

    def __repr__(self) -> str:
        return f"PriceRise(kits {self.kits:.1%}, labour {self.labour:.1%} a year)"

    def of(self, item: str) -> PriceSteps:
        """The announced prices of an item."""
        return (self.steps or {}).get(item, NO_STEPS)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PricedPeriods:
    """Money of each kind of event in each stretch of time in which prices stand still.

    Attributes
    ----------
    edges : array (periods + 1,)
        From the end of the records [years].
    year : int array (periods,)
        The year of the budget that each lies in.
    money : array (periods, kinds, 4)
        Kits and parts; labour; lost production; call-out, clean-up and what else [money].
    material : array (periods, kinds, 3)
        The first of them apart: kits; failed parts; what openings take beside the kit [money].
    flat : array (kinds,)
        All of it at today's prices [money].
    """

    edges: FloatArray
    year: IntArray
    money: FloatArray
    material: FloatArray
    flat: FloatArray

    def __repr__(self) -> str:
        return f"PricedPeriods({self.year.size} periods)"


def price_periods(amounts: EventAmounts, edges: FloatArray, rise: PriceRise) -> PricedPeriods:
    """Money of each kind of event of a group, period by period.

    Parameters
    ----------
    amounts : EventAmounts
    edges : array (years + 1,)
        Of the years of the budget, from the end of the records [years].
    rise : PriceRise

    Returns
    -------
    PricedPeriods
    """
    items = (amounts.kit, *amounts.part_no)
    days = [rise.of(item).day / DAYS_PER_YEAR for item in items]
    inside = np.concatenate([edges, *days])
    inside = np.unique(inside[(inside >= edges[0]) & (inside <= edges[-1])])
    start = inside[:-1]
    year = np.searchsorted(edges, start, side="right") - 1
    kit = _factor(start, year, edges, (amounts.kit_price, rise.of(amounts.kit)), rise.kits)
    part = np.ones((start.size, len(amounts.kit_money))) * ((1.0 + rise.kits) ** year)[:, None]
    count = len(amounts.part_no)
    if amounts.part_price is not None:
        for number, item in enumerate(amounts.part_no):
            own = (float(amounts.part_price[number]), rise.of(item))
            part[:, 1 + count + number] = _factor(start, year, edges, own, rise.kits)
    labour = ((1.0 + rise.labour) ** year)[:, None]
    still = np.ones((start.size, 1))
    material = [
        kit[:, None] * amounts.kit_money,
        part * amounts.part_money,
        ((1.0 + rise.kits) ** year)[:, None] * (amounts.loose_money + np.zeros(part.shape[1])),
    ]
    money = [
        material[0] + material[1] + material[2],
        labour * amounts.labour_money,
        still * amounts.downtime_money,
        still * amounts.other_money,
    ]
    return PricedPeriods(
        edges=inside,
        year=year.astype(np.intp),
        money=np.stack(money, axis=-1),
        material=np.stack(material, axis=-1),
        flat=amounts.kit_money
        + amounts.part_money
        + amounts.loose_money
        + amounts.labour_money
        + amounts.downtime_money
        + amounts.other_money,
    )


def _factor(
    start: FloatArray,
    year: IntArray,
    edges: FloatArray,
    own: tuple[float, PriceSteps],
    rise: float,
) -> FloatArray:
    """Price of one item in each period over today's."""
    price, steps = own
    if not steps.day.size or not price > 0.0:
        return np.asarray((1.0 + rise) ** year)
    when = steps.day / DAYS_PER_YEAR
    last = np.searchsorted(when, start, side="right") - 1
    since = np.maximum(np.searchsorted(edges, when, side="right") - 1, 0)
    base = np.where(last >= 0, steps.price[np.maximum(last, 0)] / price, 1.0)
    risen = year - np.where(last >= 0, since[np.maximum(last, 0)], 0)
    return np.asarray(base * (1.0 + rise) ** risen)
