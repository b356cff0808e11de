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
    point : array (levels,)
        Reorder points [items].
    quantity : int
        Order quantity [items].
    on_hand : array (levels,)
        Mean number on the shelf [items].
    shortage_prob, fill_rate : array (levels,)
        As of `Shelf` [-].
    waiting : array (levels,)
        Days that pumps stand and wait [days/year].
    short, money : array (levels,)
        Waiting and rush orders; the same with keeping and ordering [money/year].
    unit_cost : float
        [money]; NaN where not given.
    asked : float
        Unplanned demand [items/year].
    today : float
        On the shelf and under way beyond planned jobs [items].
    """

    kind: str
    point: FloatArray
    quantity: int
    on_hand: FloatArray
    shortage_prob: FloatArray
    fill_rate: FloatArray
    waiting: FloatArray
    short: FloatArray
    money: FloatArray
    unit_cost: float
    asked: float
    today: float

    def __repr__(self) -> str:
        return f"Levels({len(self.point)} of a {self.kind}, {self.asked:.3g} asked a year)"

    @property
    def todays_point(self) -> float:
        """Reorder point whose mean position is what lies and comes today [items]."""
        return float(np.floor(self.today - (self.quantity + 1) / 2.0))

    def row_of(self, point: float) -> int:
        """Where a reorder point stands; the nearest where it lies outside."""
        return max(0, min(int(point - self.point[0]), len(self.point) - 1))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RiskCurve:
    """Shortage against the reorder point for one item in one store.

    Attributes
    ----------
    store, item : str
    level : array (levels,)
        Reorder points [items].
    shortage_prob : array (levels,)
        Probability that demand over lead time and review exceeds it [-].
    fill_rate : array (levels,)
        Share of unplanned demands met at once [-].
    reorder_point : float
        The advised one [items].
    levels : Levels or None
        What every reorder point holds and does.
    """

    store: str
    item: str
    level: FloatArray
    shortage_prob: FloatArray
    fill_rate: FloatArray
    reorder_point: float
    levels: "Levels | None" = None

    def __repr__(self) -> str:
        return f"RiskCurve({self.item} at {self.store}: {self.reorder_point:g})"


def draw_curve(
    keys: tuple[str, str, str],
    level: Level,
    cost: LevelCost,
    unit_cost: float,
    asked: tuple[float, float],
) -> RiskCurve:
    """The curve of one item: store, item and kind; unplanned demand, and what lies and comes."""
    shelf, chosen = level.shelf, level.reorder_at
    shown = slice(max(0, min(0, chosen) - int(shelf.reorder_point[0])), None)
    points = shelf.reorder_point.astype(np.float64)
    return RiskCurve(
        store=keys[0],
        item=keys[1],
        level=points[shown],
        shortage_prob=shelf.shortage_prob[shown],
        fill_rate=shelf.fill_rate[shown],
        reorder_point=float(chosen),
        levels=Levels(
            kind=keys[2],
            point=points,
            quantity=shelf.quantity,
            on_hand=shelf.on_hand,
            shortage_prob=shelf.shortage_prob,
            fill_rate=shelf.fill_rate,
            waiting=cost.waiting,
            short=cost.short,
            money=cost.money,
            unit_cost=unit_cost,
            asked=asked[0],
            today=asked[1],
        ),
    )
