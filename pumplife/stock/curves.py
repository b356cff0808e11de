"""One item's levels: the one advised, and what every other reorder point would hold and do."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pumplife.stock.least_cost import LevelCost
from pumplife.stock.level import Shelf
from pumplife.stock.reserve import Reserve

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Level:
    """The level advised for one item, and the one of least cost beside it.

    Attributes
    ----------
    shelf : Shelf
        Every reorder point with the advised order quantity.
    point : int
        Reorder point without what is kept for critical pumps [items].
    reserve : Reserve
        What is kept for them besides.
    least_up_to, least_cost : float
        Order-up-to [items] and cost [money/year] of the level of least cost; NaN where a price is
        missing.
    limited_by : str
        cost, target, min_order or shelf_life.
    """

    shelf: Shelf
    point: int
    reserve: Reserve
    least_up_to: float
    least_cost: float
    limited_by: str

    def __repr__(self) -> str:
        return f"Level(reorder at {self.reorder_at}, by {self.limited_by})"

    @property
    def reorder_at(self) -> int:
        """The advised reorder point [items]."""
        return self.point + self.reserve.pieces

    def row_of(self, point: int) -> int:
        """Where the shelf has a reorder point; its last one where that lies beyond."""
        return int(min(point - self.shelf.reorder_point[0], len(self.shelf.reorder_point) - 1))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Levels:
    """Every reorder point of one item in one store, from -1 (nothing kept) up.

    Attributes
    ----------
    kind : str
        kit or part.
    table : array (7, levels)
        One row each of what are attributes of their own too: point, the reorder point [items];
        on_hand, the mean number on the shelf [items]; shortage_prob and fill_rate as of
        `Shelf` [-]; waiting, days that pumps stand and wait [days/year]; short, waiting and rush
        orders, and money, the same with keeping and ordering [money/year].
    quantity : int
        Order quantity [items].
    unit_cost : float
        [money]; NaN where not given.
    asked : float
        Unplanned demand [items/year].
    today : float
        On the shelf and under way beyond planned jobs [items].
    """

    kind: str
    table: FloatArray
    quantity: int
    unit_cost: float
    asked: float
    today: float

    def __repr__(self) -> str:
        return f"Levels({len(self.point)} of a {self.kind}, {self.asked:.3g} asked a year)"

    @property
    def point(self) -> FloatArray:
        return np.asarray(self.table[0])

    @property
    def on_hand(self) -> FloatArray:
        return np.asarray(self.table[1])

    @property
    def shortage_prob(self) -> FloatArray:
        return np.asarray(self.table[2])

    @property
    def fill_rate(self) -> FloatArray:
        return np.asarray(self.table[3])

    @property
    def waiting(self) -> FloatArray:
        return np.asarray(self.table[4])

    @property
    def short(self) -> FloatArray:
        return np.asarray(self.table[5])

    @property
    def money(self) -> FloatArray:
        return np.asarray(self.table[6])

    @property
    def todays_point(self) -> float:
        """Reorder point whose mean position is what lies and comes today [items]."""
        return float(np.floor(self.today - (self.quantity + 1) / 2.0))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RiskCurve:
    """Shortage against the reorder point for one item in one store.

    Attributes
    ----------
    store, item : str
    reorder_point : float
        The advised one [items].
    levels : Levels
        What every reorder point holds and does.
    """

    store: str
    item: str
    reorder_point: float
    levels: Levels

    def __repr__(self) -> str:
        return f"RiskCurve({self.item} at {self.store}: {self.reorder_point:g})"

    @property
    def _shown(self) -> slice:
        """Reorder points from 0 on; -1 too where it is the advised one."""
        return slice(max(0, int(min(0.0, self.reorder_point) - self.levels.table[0, 0])), None)

    @property
    def level(self) -> FloatArray:
        """Reorder points [items]."""
        return np.asarray(self.levels.point[self._shown])

    @property
    def shortage_prob(self) -> FloatArray:
        """Probability that demand over lead time and review exceeds each [-]."""
        return np.asarray(self.levels.shortage_prob[self._shown])

    @property
    def fill_rate(self) -> FloatArray:
        """Share of unplanned demands met at once by each [-]."""
        return np.asarray(self.levels.fill_rate[self._shown])


def draw_curve(
    keys: tuple[str, str, str],
    level: Level,
    cost: LevelCost,
    unit_cost: float,
    asked: tuple[float, float],
) -> RiskCurve:
    """The curve of one item: store, item and kind; unplanned demand, and what lies and comes."""
    shelf = level.shelf
    measures = (
        shelf.reorder_point, shelf.on_hand, shelf.shortage_prob, shelf.fill_rate,
        cost.waiting, cost.short, cost.money,
    )  # fmt: skip
    return RiskCurve(
        store=keys[0],
        item=keys[1],
        reorder_point=float(level.reorder_at),
        levels=Levels(
            kind=keys[2],
            table=np.array(measures, dtype=np.float64),
            quantity=shelf.quantity,
            unit_cost=unit_cost,
            asked=asked[0],
            today=asked[1],
        ),
    )
