"""Figures of money: from last year to next, and what to order month by month."""

from __future__ import annotations

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from numpy.typing import NDArray

from pumplife.report import style
from pumplife.report.tables import write_number

Floats = NDArray[np.float64]

SHORT = ("last\n12 months", "no longer\nthere", "lives", "use and\npumps", "prices",
         "way of\nworking", "backlog", "next\nyear")  # fmt: skip
CASH = (
    ("orders to place now", style.ORANGE),
    ("planned jobs", style.NAVY),
    ("breakdowns", style.SKY),
)


def bridge_table(bridge: pd.DataFrame, *, site: str = "all") -> pd.DataFrame:
    """Pick the rows of one site from the output table bridge."""
    return bridge[bridge["site"] == site].reset_index(drop=True)


def plot_bridge(
    bridge: pd.DataFrame,
    currency: str,
    *,
    site: str = "all",
    caption: str = "",
    ax: Axes | None = None,
) -> Axes:
    """Draw the way from last year's money to next year's, one step per cause.

    Parameters
    ----------
    bridge : DataFrame
        The output table, not empty.
    currency, site, caption : str
    ax : Axes, optional
        Where to draw; a new figure when None.

    Returns
    -------
    Axes
    """
    drawn = bridge_table(bridge, site=site)
    amount, level = drawn["amount"].to_numpy(float), drawn["level"].to_numpy(float)
    last = len(drawn) - 1
    whole = np.isin(np.arange(last + 1), (0, last))
    bottom = np.where(whole, 0.0, np.minimum(level, level - amount))
    height = np.where(whole, level, np.abs(amount))
    colour = np.where(whole, style.NAVY, np.where(amount > 0.0, style.ORANGE, style.SKY))
    with style.drawing(ax) as axes:
        axes.bar(np.arange(last + 1), height, bottom=bottom, width=0.62, color=list(colour))
        for place in range(last):
            axes.plot([place, place + 1], [level[place]] * 2, color=style.SOFT, lw=0.8)
        for place, (top, value) in enumerate(zip(bottom + height, amount, strict=True)):
            sign = "" if whole[place] or value <= 0 else "+"
            axes.annotate(
                f"{sign}{write_number(value)}", xy=(place, top), xytext=(0, 4), ha="center",
                textcoords="offset points", fontsize=8.2, color=style.INK,
            )  # fmt: skip
        axes.set_xticks(range(last + 1), SHORT)
        axes.tick_params(axis="x", length=0)
        axes.set_ylim(0, 1.12 * max(float((bottom + height).max()), 1e-9))
        style.write_thousands(axes.yaxis)
        axes.set_ylabel(f"A year [{currency}]")
        style.say(axes, _bridge_message(drawn, currency), caption)
    return axes


def _bridge_message(drawn: pd.DataFrame, currency: str) -> str:
    first, last = (float(drawn["level"].iloc[place]) for place in (0, -1))
    steps = drawn.iloc[1:-1]
    most = int(steps["amount"].abs().to_numpy().argmax())
    change = float(steps["amount"].iloc[most])
    name = SHORT[most + 1].replace("\n", " ")
    more = "more" if change > 0 else "less"
    return (
        f"From {write_number(first)} to {write_number(last)} {currency}; most comes from "
        f"{name}: {write_number(abs(change))} {more}"
    )


def cash_table(cash: pd.DataFrame) -> pd.DataFrame:
    """Money to order by month and what it is for, all sites: month, and a column for each."""
    summed = cash.pivot_table(index="month", columns="what", values="amount", aggfunc="sum")
    return summed.reindex(columns=[name for name, _ in CASH]).fillna(0.0).reset_index()


def plot_cash(
    cash: pd.DataFrame, currency: str, *, caption: str = "", ax: Axes | None = None
) -> Axes:
    """Draw what is to be ordered month by month, by what it is for.

    Parameters
    ----------
    cash : DataFrame
        The output table, not empty.
    currency, caption : str
    ax : Axes, optional
        Where to draw; a new figure when None.

    Returns
    -------
    Axes
    """
    drawn = cash_table(cash)
    place = np.arange(len(drawn))
    with style.drawing(ax) as axes:
        bottom = np.zeros(place.size)
        for name, colour in CASH:
            height = drawn[name].to_numpy(float)
            axes.bar(place, height, bottom=bottom, width=0.85, color=colour)
            bottom = bottom + height
        step = max(1, round(place.size / 8))
        months = pd.to_datetime(drawn["month"]).dt.strftime("%Y-%m").to_numpy(str)
        axes.set_xticks(place[::step], months[::step])
        axes.set_xlim(-0.6, place.size - 0.4)
        axes.set_ylim(0, 1.12 * max(float(bottom.max()), 1e-9))
        style.write_thousands(axes.yaxis)
        axes.set_xlabel("Month of the order")
        axes.set_ylabel(f"Kits and parts [{currency}]")
        style.list_names(axes, list(CASH))
        dear = int(bottom.argmax())
        style.say(
            axes,
            f"Most is ordered in {months[dear]}: {write_number(float(bottom[dear]))} {currency}; "
            f"{write_number(float(bottom.mean()))} {currency} a month on average",
            caption,
        )
    return axes
