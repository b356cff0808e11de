"""Figures of what money on the shelf buys: the frontier, risk and shortage cost, waiting, worth."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.ticker import MaxNLocator

from pumplife.report import style
from pumplife.report.drawn import Drawn, as_drawn
from pumplife.report.face import ReadableStudy, find_table, study_units
from pumplife.report.tables import write_number

MOST_LINES = 6  # items drawn as lines, those with most cash tied up as advised
MOST_BARS = 12  # items drawn as bars
BARS = {
    # axis, message, caption, colour
    "surplus_value": (
        "Value above what is needed",
        "Surplus to run down: {} in these items",
        "What lies there and comes, above the order-up-to level and planned jobs.",
        style.ORANGE,
    ),
    "lead_time_worth": (
        "Saving a year",
        "Ten days less lead time is worth {} a year in these items",
        "Orders ten days sooner, levels and cost reckoned anew: holding, waiting, rush orders.",
        style.NAVY,
    ),
}
_FRONTIER, _ADVISED, _TODAY = "frontier", "advised", "today"


def draw_stores(study: ReadableStudy) -> Iterator[Drawn]:
    """Draw every figure of the trade-offs that the study has tables for."""
    frontier, levels = find_table(study, "stock_frontier"), find_table(study, "stock_levels")
    currency, stock = study_units(study).currency, find_table(study, "stock")
    if not frontier.empty:
        axes = plot_frontier(frontier, currency)
        yield as_drawn("stock-frontier", "stores", axes, frontier_table(frontier))
    if levels.empty:
        return
    lines = lines_table(levels)
    if len(lines):
        axes = plot_lines(lines, "shortage_prob", currency)
        yield as_drawn("stock-capital", "stores", axes, lines)
        axes = plot_lines(lines, "shortage_cost", currency)
        yield as_drawn("stock-shortage", "stores", axes, lines)
    waits = waiting_table(levels)
    if len(waits):
        yield as_drawn("stock-waiting", "stores", plot_waiting(waits), waits)
    for column, name in (("surplus_value", "stock-surplus"), ("lead_time_worth", "stock-sooner")):
        bars = bars_table(stock, column)
        if len(bars):
            yield as_drawn(name, "stores", plot_bars(bars, column, currency), bars)


def frontier_table(frontier: pd.DataFrame) -> pd.DataFrame:
    """Give the points of the frontier's figure.

    Parameters
    ----------
    frontier : DataFrame
        The output table stock_frontier.

    Returns
    -------
    DataFrame
        point, capital [money], pump_days_waiting [days/year], fill_rate [0 to 1].
    """
    return frontier[["point", "capital", "pump_days_waiting", "fill_rate"]].copy()


def plot_frontier(frontier: pd.DataFrame, currency: str, *, ax: Axes | None = None) -> Axes:
    """Draw pump days waiting a year against cash on the shelf, today's shelf and the advised one.

    Parameters
    ----------
    frontier : DataFrame
        The output table stock_frontier, not empty.
    currency : str
        The plant's currency.
    ax : Axes, optional
        Where to draw; a new figure when None.

    Returns
    -------
    Axes
    """
    drawn = frontier_table(frontier)
    line = drawn[drawn["point"] == _FRONTIER]
    marks = drawn[drawn["point"] != _FRONTIER].set_index("point")
    with style.drawing(ax) as axes:
        axes.plot(line["capital"], line["pump_days_waiting"], color=style.SOFT)
        for name, colour in ((_TODAY, style.ORANGE), (_ADVISED, style.NAVY)):
            one = marks.loc[name]
            axes.plot([one["capital"]], [one["pump_days_waiting"]], "o", ms=9, color=colour)
        right = 1.25 * max(float(marks["capital"].max()), 1.0)
        axes.set_xlim(0.0, right)
        waits = [*marks["pump_days_waiting"], _at(line, 0.25 * right)]
        top = float(np.nanmax(waits))
        far, high = marks["capital"] > 0.5 * right, marks["pump_days_waiting"] > 0.6 * top
        free = 1.6 if (far & high).any() else 1.25  # the names stand in the upper right corner
        axes.set_ylim(0.0, free * max(top, 1e-6))
        style.write_thousands(axes.xaxis, axes.yaxis)
        axes.set_xlabel(f"Cash on the shelf [{currency}]")
        axes.set_ylabel("Pump days waiting a year [days]")
        style.list_names(
            axes,
            [
                ("today's shelf, kept as it is", style.ORANGE),
                ("advised", style.NAVY),
                ("least waiting for the money", style.SOFT),
            ],
        )
        style.say(axes, _frontier_message(line, marks, currency), _FRONTIER_CAPTION)
    return axes


_FRONTIER_CAPTION = (
    "Every item with a price, all stores, unplanned demand. Along the line the piece is added that "
    "takes most waiting away for its money. The advised shelf keeps each item's own target."
)


def _at(line: pd.DataFrame, capital: float) -> float:
    """Least waiting that so much money allows [days/year]; NaN below the line's first point."""
    return float(line.loc[line["capital"] <= capital, "pump_days_waiting"].min())


def _frontier_message(line: pd.DataFrame, marks: pd.DataFrame, currency: str) -> str:
    waits = {str(name): float(marks["pump_days_waiting"][name]) for name in (_TODAY, _ADVISED)}
    money = {str(name): float(marks["capital"][name]) for name in (_TODAY, _ADVISED)}
    best = _at(line, money[_TODAY])
    same = f", {write_number(best)} were the same money placed best" if np.isfinite(best) else ""
    return (
        f"Pumps wait {write_number(waits[_TODAY])} days a year with today's shelf of "
        f"{write_number(money[_TODAY])} {currency}{same}; {write_number(waits[_ADVISED])} as "
        f"advised, for {write_number(money[_ADVISED])} {currency}"
    )


def lines_table(levels: pd.DataFrame) -> pd.DataFrame:
    """Give the levels of the items with most cash tied up as advised, from one piece down to none.

    Parameters
    ----------
    levels : DataFrame
        The output table stock_levels.

    Returns
    -------
    DataFrame
        store, item, order_up_to [pieces], capital [money], shortage_prob [0 to 1],
        shortage_cost [money/year], mark.
    """
    advised = levels[levels["mark"].str.contains(_ADVISED) & levels["capital"].notna()]
    dearest = advised.sort_values("capital", ascending=False, kind="stable").head(MOST_LINES)
    keys = dearest[["store", "item"]].assign(rank=range(len(dearest)))
    drawn = levels.merge(keys, on=["store", "item"]).sort_values(["rank", "order_up_to"])
    columns = ["store", "item", "order_up_to", "capital", "shortage_prob", "shortage_cost", "mark"]
    return drawn[drawn["order_up_to"] > 0][columns].reset_index(drop=True)


def plot_lines(lines: pd.DataFrame, column: str, currency: str, *, ax: Axes | None = None) -> Axes:
    """Draw one measure of each item's levels, the advised one marked.

    Parameters
    ----------
    lines : DataFrame
        From `lines_table`, not empty.
    column : str
        shortage_prob, against cash; shortage_cost, against the level.
    currency : str
    ax : Axes, optional
        Where to draw; a new figure when None.

    Returns
    -------
    Axes
    """
    across = "capital" if column == "shortage_prob" else "order_up_to"
    with style.drawing(ax) as axes:
        names, right = [], 0.0
        for number, ((store, item), mine) in enumerate(
            lines.groupby(["store", "item"], sort=False)
        ):
            colour = style.SERIES[number % len(style.SERIES)]
            dash = style.DASHES[number % len(style.DASHES)]
            axes.plot(mine[across], mine[column], color=colour, ls=dash, marker="o", ms=3)
            chosen = mine[mine["mark"].str.contains(_ADVISED)]
            axes.plot(chosen[across], chosen[column], "o", ms=8, color=colour, mec=style.PAPER)
            right = max(right, 1.4 * float(chosen[across].max() if len(chosen) else 1.0))
            names.append((f"{item} at {store}", colour))
        axes.set_xlim(0.0, max(right, 1e-6))
        axes.set_ylim(bottom=0.0)
        _name_axes(axes, column, currency)
        style.list_names(axes, names)
        style.say(axes, _line_message(column), "Large dots: the advised level. One dot per piece.")
    return axes


def _name_axes(axes: Axes, column: str, currency: str) -> None:
    if column == "shortage_prob":
        style.write_percents(axes.yaxis)
        axes.yaxis.set_major_locator(MaxNLocator(steps=[1, 2, 5, 10]))
        style.write_thousands(axes.xaxis)
        axes.set_xlabel(f"Cash on the shelf [{currency}]")
        axes.set_ylabel("Chance of shortage\nwithin lead time and review")
        return
    axes.xaxis.set_major_locator(MaxNLocator(integer=True))
    style.write_thousands(axes.yaxis)
    axes.set_xlabel("Order up to [pieces]")
    axes.set_ylabel(f"Waiting and rush orders a year [{currency}]")


def _line_message(column: str) -> str:
    if column == "shortage_prob":
        return "Each piece more takes away less of the risk for its money"
    return "What shortages cost falls steeply with the first pieces, then hardly"


def waiting_table(levels: pd.DataFrame) -> pd.DataFrame:
    """Give pump days waiting a year of each item, today and as advised, most today first.

    Parameters
    ----------
    levels : DataFrame
        The output table stock_levels.

    Returns
    -------
    DataFrame
        store, item, today, advised [days/year]; `MOST_BARS` rows at most.
    """
    keys = ["store", "item"]
    waits = [
        levels[levels["mark"].str.contains(name)].set_index(keys)["pump_days_waiting"].rename(name)
        for name in (_TODAY, _ADVISED)
    ]
    table = pd.concat(waits, axis=1).fillna(0.0).reset_index()
    most = table.assign(most=table[[_TODAY, _ADVISED]].max(axis=1))
    shown = most[most["most"] > 0].sort_values("most", ascending=False, kind="stable")
    return shown.drop(columns="most").head(MOST_BARS).reset_index(drop=True)


def plot_waiting(waits: pd.DataFrame, *, ax: Axes | None = None) -> Axes:
    """Draw how long pumps wait a year for each item, today and as advised.

    Parameters
    ----------
    waits : DataFrame
        From `waiting_table`, not empty.
    ax : Axes, optional
        Where to draw; a new figure when None.

    Returns
    -------
    Axes
    """
    today, advised = float(waits[_TODAY].sum()), float(waits[_ADVISED].sum())
    with style.drawing(ax, height=_height(waits)) as axes:
        places = range(len(waits))
        axes.barh([at - 0.2 for at in places], waits[_TODAY], 0.38, color=style.ORANGE)
        axes.barh([at + 0.2 for at in places], waits[_ADVISED], 0.38, color=style.NAVY)
        _name_bars(axes, waits)
        axes.set_xlim(0.0, 1.4 * float(waits[[_TODAY, _ADVISED]].to_numpy(float).max()))
        axes.set_xlabel("Pump days waiting a year [days]")
        names = [("today's shelf, kept as it is", style.ORANGE), ("advised", style.NAVY)]
        style.list_names(axes, names)
        message = (
            f"For these items pumps wait {write_number(today)} days a year with today's shelf, "
            f"{write_number(advised)} as advised"
        )
        style.say(axes, message, "Waits for planned work left out: its pumps run on.")
    return axes


def bars_table(stock: pd.DataFrame, column: str) -> pd.DataFrame:
    """Give the items with most of one value: surplus_value [money], lead_time_worth [money/year].

    Parameters
    ----------
    stock : DataFrame
        The output table stock.
    column : str
        lead_time_worth or surplus_value.
    """
    if stock.empty:
        return pd.DataFrame(columns=["store", "item", column])
    table = stock.loc[stock[column] > 0, ["store", "item", column]]
    table = table.sort_values(column, ascending=False, kind="stable")
    return table.head(MOST_BARS).reset_index(drop=True)


def plot_bars(bars: pd.DataFrame, column: str, currency: str, *, ax: Axes | None = None) -> Axes:
    """Draw one value of the items with most of it.

    Parameters
    ----------
    bars : DataFrame
        From `bars_table`, not empty.
    column : str
        As there.
    currency : str
    ax : Axes, optional
        Where to draw; a new figure when None.

    Returns
    -------
    Axes
    """
    label, message, caption, colour = BARS[column]
    money = f"{write_number(float(bars[column].sum()))} {currency}"
    with style.drawing(ax, height=_height(bars)) as axes:
        axes.barh(range(len(bars)), bars[column], 0.6, color=colour)
        _name_bars(axes, bars)
        style.write_thousands(axes.xaxis)
        axes.set_xlabel(f"{label} [{currency}]")
        style.say(axes, message.format(money), caption)
    return axes


def _height(bars: pd.DataFrame) -> float:
    """Height of a figure with a bar per item [inch]."""
    return 1.5 + 0.28 * len(bars)


def _name_bars(axes: Axes, bars: pd.DataFrame) -> None:
    """Name the bars from the top down."""
    names = [f"{item} at {store}" for store, item in zip(bars["store"], bars["item"], strict=True)]
    axes.set_yticks(range(len(bars)), names)
    axes.invert_yaxis()
    axes.grid(visible=False, axis="y")
    axes.grid(visible=True, axis="x")
