"""Rebuild or replace: the next rebuild and the years after it, with the old pump or a new one."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pumplife.policy.groups import SideGroup
from pumplife.records.plant import Plant
from pumplife.records.stores import replace_years

Floats = NDArray[np.float64]
Words = NDArray[np.object_]

REBUILD, REPLACE = "rebuild", "replace"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class OwnCosts:
    """What each pump costs: arrays (pumps,).

    Attributes
    ----------
    new : float
        A new pump [money]; NaN where not given.
    planned : float
        Planned work of the last twelve months, without lost production [money/year].
    failures : float
        Rebuilds after failures as its peers would have them [money/year].
    ratio : float
        Its failures over its peers'.
    rebuild : float
        One planned rebuild of its sides: kits and labour [money]; NaN where not known.
    """

    new: Floats
    planned: Floats
    failures: Floats
    ratio: Floats
    rebuild: Floats

    def __repr__(self) -> str:
        return f"OwnCosts({len(self.new)} pumps)"


def price_rebuilds(groups: Sequence[SideGroup], pumps: int) -> Floats:
    """One planned rebuild of the sides that each pump has here [money]; NaN without a price."""
    money = np.zeros(pumps)
    known = np.zeros(pumps, np.bool_)
    for group in groups:
        costs = group.costs
        work = np.nan
        if costs is not None:
            work = float(costs.planned.cash[0] + costs.planned.labour_h[0] * costs.labour_per_h)
        money[group.pumps] += work
        known[group.pumps] = True
    return np.where(known, money, np.nan)


def weigh_new_pumps(
    own: OwnCosts, running: NDArray[np.bool_], follows: Words, plant: Plant
) -> tuple[Words, Words]:
    """Say of each pump whether to rebuild or to replace it when a rebuild is due next, and why.

    A new pump saves that rebuild, and in the years after it the failures that its peers don't
    have; these only where the excess was seen to go with the pump, else a new one would have it
    too.

    Parameters
    ----------
    own : OwnCosts
    running : bool array (pumps,)
    follows : object array (pumps,)
        By `what_it_follows`.
    plant : Plant
        Gives the years and the discount.

    Returns
    -------
    tuple of object arrays (pumps,)
        rebuild, replace or blank; the reason.
    """
    years = replace_years(plant.raw)
    discount = float(np.nan_to_num(plant.cost("discount_per_year")))
    worth = float(np.sum((1.0 + discount) ** -np.arange(1.0, np.floor(years) + 1.0)))
    goes_along = follows == "pump"
    excess = np.where(goes_along, own.failures * (own.ratio - 1.0), 0.0) * worth
    saved = own.rebuild + np.maximum(excess, 0.0)
    known = running & (own.new > 0) & np.isfinite(saved)
    said = np.where(known, np.where(saved >= own.new, REPLACE, REBUILD), "").astype(object)
    yearly = own.planned + own.failures * own.ratio
    why = [
        _why(
            (bool(running[n]), float(own.new[n]), float(own.rebuild[n])),
            float(max(excess[n], 0.0)),
            float(yearly[n]),
            f"{years:g} years",
            str(follows[n]),
        )
        for n in range(len(said))
    ]
    return said, np.array(why, dtype=object)


def _why(
    prices: tuple[bool, float, float], excess: float, yearly: float, years: str, follows: str
) -> str:
    running, new, rebuild = prices
    if not running:
        return "doesn't run"
    if not new > 0:
        return "new_cost isn't given"
    if not np.isfinite(rebuild):
        return "what a rebuild costs isn't known"
    words = f"a rebuild of both sides costs {100 * rebuild / new:.0f} % of a new pump"
    if excess:
        words += f", what it fails beyond its peers in {years} {100 * excess / new:.0f} %"
    if yearly >= new and not excess:
        words += f"; rebuilds of a year cost {100 * yearly / new:.0f} %"
        words += ", find out whether that follows the pump" if follows else ""
    return words
