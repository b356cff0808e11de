"""Reorder point and quantity of least cost where the position is always known."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from pumplife.stock.level import cost_of_level, newsvendor_level


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ReorderRule:
    """A reorder point and quantity of least cost.

    Attributes
    ----------
    reorder_point, quantity : int
        Order `quantity` whenever the position falls to `reorder_point` [items].
    cost : float
        Long-run cost [money per unit of time of the demand rate].
    """

    reorder_point: int
    quantity: int
    cost: float

    def __repr__(self) -> str:
        return f"ReorderRule(at {self.reorder_point} order {self.quantity}: {self.cost:.4g})"


def best_reorder_rule(
    pmf: ArrayLike,
    *,
    rate: float,
    holding: float,
    shortage: float,
    order: float,
    smallest_quantity: int = 1,
) -> ReorderRule:
    """Least-cost reorder point and quantity, demands one by one, unmet ones waiting.

    The cost is (order · rate + Σ_{y=s+1}^{s+Q} G(y)) / Q, G(y) the rate of holding and shortage
    cost at position y. G has one valley, so the best Q positions are found by always adding the
    cheaper neighbour, until the next one costs more than the average.

    Parameters
    ----------
    pmf : array (counts,)
        Probabilities of demand over the lead time.
    rate : float
        Demand [items per unit of time].
    holding, shortage : float
        Cost of one item lying, of one demand waiting [money per item and unit of time].
    order : float
        Cost of placing one order [money].
    smallest_quantity : int
        The supplier's least quantity [items].

    References
    ----------
    A. Federgruen and Y.-S. Zheng, Operations Research 40 (1992) 808-813.
    """
    chances = np.asarray(pmf, dtype=np.float64)
    low = high = newsvendor_level(chances, holding=holding, shortage=shortage)

    def at(level: int) -> float:
        return float(cost_of_level(level, chances, holding=holding, shortage=shortage))

    total = order * rate + at(low)
    down, up = at(low - 1), at(high + 1)
    while high - low + 1 < smallest_quantity or min(down, up) < total / (high - low + 1):
        if down <= up:
            low, total, down = low - 1, total + down, at(low - 2)
        else:
            high, total, up = high + 1, total + up, at(high + 2)
    quantity = high - low + 1
    return ReorderRule(reorder_point=low - 1, quantity=quantity, cost=total / quantity)
