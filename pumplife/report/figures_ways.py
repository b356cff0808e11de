"""Figure of the ways of working a pump group, side by side."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes

from pumplife.policy.ways.horizon import LOOKED
from pumplife.report import style
from pumplife.report.pictures import capitalise
from pumplife.report.tables import write_number
from pumplife.report.words import Units

COLUMNS = ("policy", "setting", "standing", "cost_rate", "cost_rate_low", "cost_rate_high")
ROOM = 1.75  # bars dearer than so many times the advice are cut
ADVISED, LOOK = "advised", "worth a look"


def ways_table(policies: pd.DataFrame, group: dict[str, Any], units: Units) -> pd.DataFrame:
    """Give what the figure of one group shows, the cheapest first.

    Parameters
    ----------
    policies : DataFrame
        Table `policies`.
    group : dict
        Values of service, size_mm, side, kit and hazard, or some of them.
    units : Units
        Of the plant.

    Returns
    -------
    DataFrame
        policy, setting (words), standing, cost_rate, cost_rate_low, cost_rate_high [money per
        rate unit].
    """
    if policies.empty:
        return pd.DataFrame(columns=list(COLUMNS))
    rows = policies
    for name, value in group.items():
        rows = rows[rows[name] == value]
    rows = rows[rows["cost_rate"].notna()].sort_values("cost_rate", kind="stable")
    settings = [_setting(row, units) for row in rows.to_dict("records")]
    table = rows.assign(setting=settings).reset_index(drop=True)
    return table[list(COLUMNS)]


def _setting(row: dict[Any, Any], units: Units) -> str:
    """The setting of one way in words."""
    words = []
    looked = row["policy"] in LOOKED
    for name, text in (
        ("interval", f"{'looks every' if looked else 'at'} {{}} {units.usage}"),
        ("t0", f"older than {{}} {units.usage}"),
        ("block_weeks", "every {} weeks"),
        ("q", "n = {}"),
    ):
        value = float(row[name])
        if np.isfinite(value):
            whole = name in ("block_weeks", "q")
            words.append(text.format(f"{value:.0f}" if whole else write_number(value)))
    return ", ".join(words)


def plot_ways(
    table: pd.DataFrame,
    *,
    title: str,
    units: Units,
    caption: str = "",
    ax: Axes | None = None,
) -> Axes:
    """Draw the cost rate of each way of working with its 90 % band, the advice marked.

    Parameters
    ----------
    table : DataFrame
        From `ways_table`, of one group.
    title : str
        The group in words.
    units : Units
        Of the plant.
    caption : str
        Failures, window and assumptions behind it.
    ax : Axes, optional
        Where to draw; a new figure when None.

    Returns
    -------
    Axes
    """
    with style.own_style():
        height = 1.5 + 0.33 * max(len(table), 1)
        axes = style.new_axes(height=height) if ax is None else ax
        place = np.arange(len(table))[::-1]
        right = _right_end(table)
        for row, at in zip(table.to_dict("records"), place, strict=True):
            _draw_bar(axes, row, float(at), right)
        axes.set_xlim(0.0, right)
        axes.set_ylim(-0.7, len(table) - 0.3)
        axes.set_yticks(place, [_name(row) for row in table.to_dict("records")])
        axes.tick_params(axis="y", length=0)
        axes.grid(visible=False, axis="y")
        axes.grid(visible=True, axis="x")
        axes.set_xlabel(f"Cost rate [{units.currency} per {units.rate}]")
        style.write_thousands(axes.xaxis)
        style.say(axes, _message(table, title), caption)
    return axes


def _right_end(table: pd.DataFrame) -> float:
    """Where the axis ends: far dearer ways are cut there, their number says so."""
    advised = table.loc[table["standing"] == ADVISED, "cost_rate"]
    base = float(advised.iloc[0]) if len(advised) else float(table["cost_rate"].median())
    return min(1.25 * float(table["cost_rate_high"].max()), ROOM * 1.25 * base)


def _draw_bar(axes: Axes, row: dict[Any, Any], at: float, right: float) -> None:
    """One way: bar, band, number."""
    rate, low, high = (float(row[name]) for name in COLUMNS[3:])
    colour = {ADVISED: style.NAVY, LOOK: style.OCHRE}.get(str(row["standing"]), style.SKY)
    axes.barh(at, min(rate, right), height=0.62, color=colour, alpha=0.9, lw=0)
    cut = high > 0.93 * right
    within = cut and rate <= right  # no room beside the band: the number stands in the bar
    if low < right:
        ends = [low, min(high, right)]
        axes.plot(ends, [at, at], color=style.PAPER, lw=3.4, alpha=0.8, solid_capstyle="butt")
        axes.plot(ends, [at, at], color=style.INK, lw=1.3, solid_capstyle="butt")
    axes.annotate(
        write_number(rate) + (" →" if rate > right else ""),
        xy=(0.0 if within else min(high, right), at),
        xytext=(-6, 0) if cut and not within else (5, 0),
        textcoords="offset points",
        ha="right" if cut and not within else "left",
        va="center",
        fontsize=8.2,
        color=style.INK,
        bbox={"facecolor": style.PAPER, "alpha": 0.8 if cut else 0.0, "lw": 0, "pad": 1},
    )


def _name(row: dict[Any, Any]) -> str:
    """The way, its setting and its standing under each other."""
    setting = f"\n{row['setting']}" if row["setting"] else ""
    standing = f" ({row['standing']})" if row["standing"] else ""
    return f"{capitalise(str(row['policy']))}{standing}{setting}"


def _message(table: pd.DataFrame, title: str) -> str:
    """What one sees."""
    advised = table[table["standing"] == ADVISED]
    looks = table[table["standing"] == LOOK]
    start = capitalise(title)
    if advised.empty:
        return f"{start}: ways of working compared"
    words = f"{start}: {advised['policy'].iloc[0]} is advised"
    if len(looks):
        return f"{words}; {looks['policy'].iloc[0]} would cost less still"
    best = table["policy"].iloc[0] == advised["policy"].iloc[0]
    return f"{words}, and costs least" if best else words
