"""Least-cost (s, S) levels where demand of a whole period comes at once. Arrays only."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pumplife.stock.level import cost_of_level, newsvendor_level

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class UpToRule:
    """Order up to `order_up_to` whenever the position is at `reorder_point` or below.

    Attributes
    ----------
    reorder_point, order_up_to : int
        [items]
    cost : float
        Long-run cost [money/period].
    """

    reorder_point: int
    order_up_to: int
    cost: float

    def __repr__(self) -> str:
        return f"UpToRule(at {self.reorder_point} up to {self.order_up_to}: {self.cost:.4g})"


def best_up_to_rule(pmf: ArrayLike, *, holding: float, shortage: float, order: float) -> UpToRule:
    """Least-cost (s, S) for demand that is the same in every period, unmet demand waiting.

    Parameters
    ----------
    pmf : array (counts,)
        Probabilities of the demand of one period [items].
    holding, shortage : float
        Cost of one item lying, of one demand waiting at the end of a period
        [money per item and period].
    order : float
        Cost of placing one order [money].

    Notes
    -----
    With m(j) the expected number of periods that the position spends j below S,
    cost(s, S) = (order + Σ_{j < S − s} m(j) G(S − j)) / Σ_{j < S − s} m(j). The search goes down
    from the least of G for s, then up for S, as long as G(S) is below the best cost.

    References
    ----------
    Y.-S. Zheng and A. Federgruen, Operations Research 39 (1991) 654-665.
    """
    chances = np.asarray(pmf, dtype=np.float64)

    def cost_at(level: int) -> float:
        return float(cost_of_level(level, chances, holding=holding, shortage=shortage))

    def cost_of(point: int, top: int) -> float:
        stays = _stays(chances, top - point)
        levels = top - np.arange(top - point)
        spent = cost_of_level(levels, chances, holding=holding, shortage=shortage)
        return float((order + stays @ spent) / stays.sum())

    least = newsvendor_level(chances, holding=holding, shortage=shortage)
    point = least - 1
    while cost_of(point, least) > cost_at(point):
        point -= 1
    best_top, best = least, cost_of(point, least)
    top = least + 1
    while cost_at(top) <= best:
        found = cost_of(point, top)
        if found < best:
            best_top = top
            while found <= cost_at(point + 1):
                point += 1
                found = cost_of(point, top)
            best = found
        top += 1
    return UpToRule(reorder_point=point, order_up_to=best_top, cost=best)


def _stays(pmf: FloatArray, count: int) -> FloatArray:
    """Expected periods spent 0, 1 … count − 1 below the top before the next order."""
    stays = np.zeros(count)
    still = 1.0 - pmf[0]
    for step in range(count):
        reach = pmf[1 : step + 1][::-1]
        stays[step] = (float(step == 0) + stays[step - len(reach) : step] @ reach) / still
    return stays
