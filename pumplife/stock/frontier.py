"""What money on the shelf buys: waiting and service against capital, by item and in the whole.

The frontier of the whole is found by marginal analysis: from empty shelves on, always the piece
that takes most waiting away for its money. Waiting falls by less with each piece of an item, so
that no other shelves of the same value let pumps wait less.
"""

from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pumplife.stock.curves import Levels, RiskCurve

FloatArray = NDArray[np.float64]

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
    known = [(curve, curve.levels) for curve in curves]
    if not known:
        return pd.DataFrame(columns=list(LEVEL_COLUMNS))
    shown = [_rows_shown(curve, levels) for curve, levels in known]
    owner = np.repeat(np.arange(len(known)), [len(rows) for rows, _, _ in shown])
    names = np.array([(c.store, c.item, v.kind) for c, v in known], dtype=object).reshape(-1, 3)
    each = np.array([(v.quantity, v.unit_cost) for _, v in known], dtype=np.float64)[owner]

    def join(measure: str) -> FloatArray:
        pairs = zip(known, shown, strict=True)
        return np.concatenate([getattr(v, measure)[rows] for (_, v), (rows, _, _) in pairs])

    place = np.concatenate([rows for rows, _, _ in shown])
    advised, today = (np.array([one[k] for one in shown])[owner] == place for k in (1, 2))
    words = [(advised & today, f"{ADVISED} and {TODAY}"), (advised, ADVISED), (today, TODAY)]
    point = join("point")
    columns: dict[str, NDArray[Any]] = {
        "store": names[owner, 0],
        "item": names[owner, 1],
        "kind": names[owner, 2],
        "reorder_point": point,
        "order_up_to": point + each[:, 0],
        "shortage_prob": join("shortage_prob"),
        "fill_rate": join("fill_rate"),
        "capital": join("on_hand") * each[:, 1],
        "pump_days_waiting": join("waiting"),
        "shortage_cost": join("short"),
        "cost_per_year": join("money"),
        "mark": np.select([mask for mask, _ in words], [text for _, text in words], ""),
    }
    return pd.DataFrame(columns).astype({"mark": object})


def _rows_shown(curve: RiskCurve, levels: Levels) -> tuple[NDArray[np.intp], int, int]:
    """Rows of the levels that are listed; the advised one, and today's."""
    advised, today = (levels.row_of(at) for at in (curve.reorder_point, levels.todays_point))
    sure = int(np.argmax(np.append(levels.shortage_prob < _SURE, True)))
    last = min(max(advised + _BEYOND, sure), len(levels.point) - 1)
    rows = np.arange(last + 1)
    return rows if today <= last else np.append(rows, today), advised, today


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
    known = [(curve, curve.levels) for curve in curves if np.isfinite(curve.levels.unit_cost)]
    columns = list(FRONTIER_COLUMNS)
    if not known:
        return pd.DataFrame(columns=columns)
    asked = sum(levels.asked for _, levels in known)
    points = [
        _point(ADVISED, [(levels, curve.reorder_point) for curve, levels in known]),
        _point(TODAY, [(levels, levels.todays_point) for _, levels in known]),
    ]
    points[1]["capital"] = float(stock["capital_today"].sum())
    points[1]["pieces"] = float(stock["today_on_hand"].sum())
    table = pd.concat([_steps(known), pd.DataFrame(points)], ignore_index=True)
    table["fill_rate"] = table["met"] / asked if asked else np.nan
    words = table[["store", "item"]].fillna("")
    return table.assign(store=words["store"], item=words["item"])[columns]


def _point(name: str, chosen: Sequence[tuple[Levels, float]]) -> dict[str, str | float]:
    """All shelves at one reorder point each."""
    rows = [(levels, levels.row_of(at)) for levels, at in chosen]
    held = np.array([levels.on_hand[row] for levels, row in rows])
    return {
        "point": name,
        "pieces": float(held.sum()),
        "capital": float(held @ np.array([levels.unit_cost for levels, _ in rows])),
        "pump_days_waiting": float(sum(levels.waiting[row] for levels, row in rows)),
        "met": float(sum(levels.asked * levels.fill_rate[row] for levels, row in rows)),
    }


def _steps(known: Sequence[tuple[RiskCurve, Levels]]) -> pd.DataFrame:
    """The frontier from the lowest reorder points on, one row per piece; thinned where many."""
    every = [levels for _, levels in known]
    start = _point(FRONTIER, [(levels, -1.0) for levels in every])
    owner = np.repeat(np.arange(len(every)), [len(levels.point) - 1 for levels in every])
    pieces = np.concatenate([np.diff(levels.on_hand) for levels in every])
    money = np.concatenate([np.diff(levels.on_hand) * levels.unit_cost for levels in every])
    waiting = np.concatenate([np.diff(levels.waiting) for levels in every])
    met = np.concatenate([np.diff(levels.fill_rate) * levels.asked for levels in every])
    worth = np.divide(-waiting, money, out=np.full(len(money), np.inf), where=money > 0)
    first = np.flatnonzero(np.diff(owner, prepend=-1))[1:]
    falling = [np.minimum.accumulate(one) for one in np.split(worth, first)]
    order = np.argsort(-np.concatenate(falling), kind="stable")
    order = order[-waiting[order] > 0]
    sums = {
        name: float(start[name]) + np.cumsum(steps[order])
        for name, steps in (
            ("pieces", pieces), ("capital", money), ("pump_days_waiting", waiting), ("met", met)
        )
    }  # fmt: skip
    table = pd.DataFrame(sums).assign(
        point=FRONTIER,
        store=[known[k][0].store for k in owner[order]],
        item=[known[k][0].item for k in owner[order]],
    )
    table["pump_days_waiting"] = table["pump_days_waiting"].clip(lower=0.0)
    if len(table) > MOST_POINTS:
        kept = np.linspace(0, len(table) - 1, MOST_POINTS).round().astype(int)
        table = table.iloc[np.unique(kept)]
    return pd.concat([pd.DataFrame([start]), table], ignore_index=True)
