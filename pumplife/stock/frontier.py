"""What money on the shelf buys: waiting and service against capital, by item and in the whole.

The frontier of the whole is found by marginal analysis: from empty shelves on, always the piece
that takes most waiting away for its money. Waiting falls by less with each piece of an item, so
that no other shelves of the same value let pumps wait less.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pumplife.stock.curves import RiskCurve

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.intp]

LEVEL_COLUMNS = (
    "store",
    "item",
    "kind",
    "reorder_point",
    "order_up_to",
    "shortage_prob",
    "fill_rate",
    "capital",
    "pump_days_waiting",
    "shortage_cost",
    "cost_per_year",
    "mark",
)
FRONTIER_COLUMNS = (
    "point",
    "pieces",
    "capital",
    "pump_days_waiting",
    "fill_rate",
    "store",
    "item",
)
ADVISED, TODAY, FRONTIER = "advised", "today", "frontier"
MOST_POINTS = 200  # of the frontier that are listed
_SURE = 1e-3  # chance of shortage below which higher levels aren't listed
_BEYOND = 2  # levels listed above the advised one at least


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Stack:
    """The levels of many items, one item after the other.

    Attributes
    ----------
    names : object array (items, 3)
        Store, item, kind.
    each : float array (items, 3)
        Order quantity, price, what is asked a year.
    table : float array (7, levels)
        As of `Levels`.
    owner, place : int array (levels,)
        The item of a level, and how many lower ones it has.
    first, last, advised, today : int array (items,)
        Where its lowest level stands; the highest, the advised one and the one nearest to what
        lies and comes today, counted from there.
    """

    names: NDArray[np.object_]
    each: FloatArray
    table: FloatArray
    owner: IntArray
    place: IntArray
    first: IntArray
    last: IntArray
    advised: IntArray
    today: IntArray

    def __repr__(self) -> str:
        return f"_Stack({len(self.first)} items, {len(self.owner)} levels)"


def _stack(curves: Sequence[RiskCurve]) -> _Stack:
    every = [curve.levels for curve in curves]
    size = np.array([levels.table.shape[1] for levels in every])
    first, owner = np.cumsum(size) - size, np.repeat(np.arange(len(size)), size)
    table = np.concatenate([levels.table for levels in every], axis=1)
    points = np.array([(c.reorder_point, c.levels.todays_point) for c in curves])
    rows = np.clip(np.trunc(points.T - table[0, first]), 0, size - 1).astype(np.intp)
    return _Stack(
        names=np.array([(c.store, c.item, c.levels.kind) for c in curves], dtype=object),
        each=np.array([(v.quantity, v.unit_cost, v.asked) for v in every], dtype=np.float64),
        table=table,
        owner=owner,
        place=np.arange(len(owner)) - first[owner],
        first=first,
        last=size - 1,
        advised=rows[0],
        today=rows[1],
    )


def list_levels(curves: Sequence[RiskCurve]) -> pd.DataFrame:
    """Every reorder point worth a look, item by item: what it holds, risks and costs.

    Parameters
    ----------
    curves : sequence of RiskCurve

    Returns
    -------
    DataFrame
        `LEVEL_COLUMNS`; mark says which level is advised and which comes nearest to what lies and
        comes today. shortage_cost is waiting and rush orders, part of cost_per_year.
    """
    if not curves:
        return pd.DataFrame(columns=list(LEVEL_COLUMNS))
    stack = _stack(curves)
    shown = _are_shown(stack)
    owner, place = stack.owner[shown], stack.place[shown]
    point, on_hand, shortage_prob, fill_rate, waiting, short, money = stack.table[:, shown]
    advised, today = stack.advised[owner] == place, stack.today[owner] == place
    words = [(advised & today, f"{ADVISED} and {TODAY}"), (advised, ADVISED), (today, TODAY)]
    columns = {
        "store": stack.names[owner, 0],
        "item": stack.names[owner, 1],
        "kind": stack.names[owner, 2],
        "reorder_point": point,
        "order_up_to": point + stack.each[owner, 0],
        "shortage_prob": shortage_prob,
        "fill_rate": fill_rate,
        "capital": on_hand * stack.each[owner, 1],
        "pump_days_waiting": waiting,
        "shortage_cost": short,
        "cost_per_year": money,
        "mark": np.select([mask for mask, _ in words], [text for _, text in words], ""),
    }
    return pd.DataFrame(columns).astype({"mark": object})


def _are_shown(stack: _Stack) -> NDArray[np.bool_]:
    """Levels that are listed: up to a sure one, some above the advised one, and today's."""
    sure = np.where(stack.table[2] < _SURE, stack.place, stack.last[stack.owner])
    most = np.maximum(stack.advised + _BEYOND, np.minimum.reduceat(sure, stack.first))
    is_today = stack.place == stack.today[stack.owner]
    return np.asarray(is_today | (stack.place <= most[stack.owner]))


def build_frontier(curves: Sequence[RiskCurve], stock: pd.DataFrame) -> pd.DataFrame:
    """The efficient frontier of the whole store, with today's shelf and the advised one on it.

    Parameters
    ----------
    curves : sequence of RiskCurve
        Items without a price are left out.
    stock : DataFrame
        The stock table; what lies there and nobody takes is in today's capital.

    Returns
    -------
    DataFrame
        `FRONTIER_COLUMNS`; each row of the frontier names the piece added last. Pieces are mean
        numbers on the shelf. Today's waiting is that of shelves always kept at what lies and
        comes today.
    """
    known = [curve for curve in curves if np.isfinite(curve.levels.unit_cost)]
    columns = list(FRONTIER_COLUMNS)
    if not known:
        return pd.DataFrame(columns=columns)
    stack = _stack(known)
    asked = stack.each[:, 2].sum()
    points = [_point(ADVISED, stack, stack.advised), _point(TODAY, stack, stack.today)]
    points[1]["capital"] = float(stock["capital_today"].sum())
    points[1]["pieces"] = float(stock["today_on_hand"].sum())
    table = pd.concat([_steps(stack), pd.DataFrame(points)], ignore_index=True)
    table["fill_rate"] = table["met"] / asked if asked else np.nan
    words = table[["store", "item"]].fillna("")
    return table.assign(store=words["store"], item=words["item"])[columns]


def _point(name: str, stack: _Stack, rows: IntArray) -> dict[str, str | float]:
    """All shelves at one level each."""
    _, on_hand, _, fill_rate, waiting, _, _ = stack.table[:, stack.first + rows]
    return {
        "point": name,
        "pieces": float(on_hand.sum()),
        "capital": float(on_hand @ stack.each[:, 1]),
        "pump_days_waiting": float(waiting.sum()),
        "met": float(stack.each[:, 2] @ fill_rate),
    }


def _steps(stack: _Stack) -> pd.DataFrame:
    """The frontier from the lowest reorder points on, one row per piece; thinned where many."""
    start = _point(FRONTIER, stack, np.zeros_like(stack.first))
    owner = stack.owner[1:][stack.place[1:] > 0]
    pieces, fill_rate, waiting = np.diff(stack.table[[1, 3, 4]])[:, stack.place[1:] > 0]
    _, price, asked = stack.each[owner].T
    money, met = pieces * price, fill_rate * asked
    worth = np.divide(-waiting, money, out=np.full(len(money), np.inf), where=money > 0)
    order = np.argsort(-pd.Series(worth).groupby(owner).cummin().to_numpy(), kind="stable")
    order = order[-waiting[order] > 0]
    sums = {
        name: float(start[name]) + np.cumsum(steps[order])
        for name, steps in (
            ("pieces", pieces), ("capital", money), ("pump_days_waiting", waiting), ("met", met)
        )
    }  # fmt: skip
    named = stack.names[owner[order]]
    table = pd.DataFrame(sums).assign(point=FRONTIER, store=named[:, 0], item=named[:, 1])
    table["pump_days_waiting"] = table["pump_days_waiting"].clip(lower=0.0)
    if len(table) > MOST_POINTS:
        kept = np.linspace(0, len(table) - 1, MOST_POINTS).round().astype(int)
        table = table.iloc[np.unique(kept)]
    return pd.concat([pd.DataFrame([start]), table], ignore_index=True)
