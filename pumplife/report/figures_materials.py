"""Figures of materials in one service: life ratios as a forest, survival with counts at risk."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.ticker import MaxNLocator

from pumplife.report import style
from pumplife.report.pictures import capitalise
from pumplife.report.words import Units

RATIOS = ["part", "label", "life_ratio", "ratio_low", "ratio_high", "failures", "comparable"]
FARTHEST = 8.0  # ratio at which a bound without end leaves the axes
COUNTS = 6  # ages at which the counts at risk are written


def ratio_table(materials: pd.DataFrame, service: str) -> pd.DataFrame:
    """Pick the ratios of one service.

    Parameters
    ----------
    materials : DataFrame
        The output table.
    service : str

    Returns
    -------
    DataFrame
        part, label, life_ratio, ratio_low, ratio_high, failures, comparable; one row per material
        that has a ratio or a bound.
    """
    rows = materials[(materials["service"] == service) & materials["comparable"].ne("")]
    rows = rows[rows[["life_ratio", "ratio_low", "ratio_high"]].notna().any(axis=1)]
    kind = (rows["material"] + " " + rows["variant"]).str.strip()
    label = rows["part"] + ": " + kind + " against " + rows["reference"]
    return rows.assign(label=label)[RATIOS].reset_index(drop=True)


def plot_ratios(
    materials: pd.DataFrame, service: str, *, caption: str = "", ax: Axes | None = None
) -> Axes:
    """Draw the life ratios of one service with their 90 % bounds.

    Parameters
    ----------
    materials : DataFrame
        The output table.
    service : str
    caption : str
        What stands behind it.
    ax : Axes, optional
        Where to draw; a new figure when None.

    Returns
    -------
    Axes
    """
    drawn = ratio_table(materials, service)
    with style.drawing(ax, height=1.9 + 0.42 * len(drawn)) as axes:
        place = -np.arange(len(drawn), dtype=float)
        middle = drawn["life_ratio"].to_numpy(float)
        low = np.maximum(drawn["ratio_low"].fillna(0.0).to_numpy(float), 1.0 / FARTHEST)
        high = np.minimum(drawn["ratio_high"].fillna(np.inf).to_numpy(float), FARTHEST)
        axes.set_xscale("log")
        axes.set_xlim(0.8 * min(0.8, low.min(initial=0.8)), 1.5 * max(1.25, high.max(initial=1.25)))
        axes.set_ylim(-len(drawn) + 0.3, 0.7)
        axes.axvline(1.0, color=style.SOFT, lw=1.0)
        axes.hlines(place, low, high, color=style.SKY, lw=3)
        sure = drawn["comparable"].eq("yes").to_numpy()
        axes.plot(middle[sure], place[sure], "o", color=style.NAVY, ms=6)
        axes.plot(middle[~sure], place[~sure], "o", color=style.PAPER, mec=style.NAVY, ms=6)
        for at, (end, row) in enumerate(zip(high, drawn.to_dict("records"), strict=True)):
            axes.annotate(
                write_ratio(row),
                (end, place[at]),
                xytext=(6, 0),
                textcoords="offset points",
                va="center",
                fontsize=8.2,
            )
        axes.set_yticks(place, drawn["label"].tolist())
        axes.tick_params(axis="y", length=0)
        axes.grid(visible=True, axis="x")
        axes.grid(visible=False, axis="y")
        axes.set_xticks([0.125, 0.25, 0.5, 1.0, 2.0, 4.0, 8.0])
        axes.minorticks_off()
        axes.set_xlim(0.8 * min(0.8, low.min(initial=0.8)), 1.9 * max(1.25, high.max(initial=1.25)))
        axes.xaxis.set_major_formatter(lambda value, _: f"{value:g}")
        axes.set_xlabel("Life ratio (1: as long) [times]")
        style.say(axes, _say_ratios(drawn, service), _ratio_caption(drawn, caption))
    return axes


def write_ratio(row: Mapping[Any, object]) -> str:
    """Write a ratio with its bounds, or the bound there is."""
    middle, low, high = (float(str(row[f"{name}"])) for name in RATIOS[2:5])
    if np.isfinite(middle):
        return f"{_write_times(middle)} ({_write_times(low)} to {_write_times(high)})"
    return f"at least {low:.2f}" if np.isfinite(low) else f"at most {high:.2f}"


def _write_times(ratio: float) -> str:
    """Write a ratio; beyond a hundredfold its digits say nothing."""
    return "over 100" if ratio > 100.0 else f"{ratio:.2f}"


def _say_ratios(drawn: pd.DataFrame, service: str) -> str:
    sure = drawn[drawn["comparable"].eq("yes")]
    service = capitalise(service)
    apart = sure[(sure["ratio_low"] > 1.0) | (sure["ratio_high"] < 1.0)]
    if drawn.empty:
        return f"{service}: no two materials can be compared"
    if apart.empty:
        return f"{service}: the records don't tell which material lasts longer"
    return f"{service}: {len(apart)} of {len(drawn)} comparisons show a difference"


def _ratio_caption(drawn: pd.DataFrame, caption: str) -> str:
    counts = "; ".join(
        f"{row['label']}: {float(str(row['failures'])):.3g}" for row in drawn.to_dict("records")
    )
    words = f"Bars: 90 %, pumps clustered. Hollow: the records can't tell. Failures: {counts}."
    return f"{words} No statement on chemical compatibility. {caption}".strip()


def survival_table(curves: pd.DataFrame) -> pd.DataFrame:
    """Give what the survival figure draws: kind, time [usage], survival, low, high, at_risk."""
    return curves[["kind", "time", "survival", "low", "high", "at_risk"]].reset_index(drop=True)


def plot_survival(
    curves: pd.DataFrame, title: str, *, units: Units, caption: str = "", ax: Axes | None = None
) -> Axes:
    """Draw survival of the materials of one part, the counts at risk beneath.

    Parameters
    ----------
    curves : DataFrame
        From `materials.curves.survival_curves`.
    title : str
        The message.
    units : Units
        Of the plant.
    caption : str
    ax : Axes, optional
        Where to draw; a new figure when None.

    Returns
    -------
    Axes
    """
    drawn = survival_table(curves)
    kinds = list(dict.fromkeys(drawn["kind"]))
    with style.drawing(ax, height=style.HEIGHT + 0.22 * len(kinds)) as axes:
        last = float(drawn["time"].max()) if len(drawn) else 1.0
        axes.set_xlim(0.0, last)
        axes.set_ylim(0.0, 1.02)
        ends = []
        for at, kind in enumerate(kinds):
            mine = drawn[drawn["kind"] == kind]
            colour = style.SERIES[at % len(style.SERIES)]
            line = style.DASHES[at % len(style.DASHES)]
            axes.step(mine["time"], mine["survival"], where="post", color=colour, ls=line)
            axes.fill_between(
                mine["time"], mine["low"], mine["high"], step="post", color=colour, alpha=0.12, lw=0
            )
            ends.append((float(mine["survival"].iloc[-1]), kind, colour))
        style.label_ends(axes, ends)
        style.write_percents(axes.yaxis)
        ticks = np.asarray(MaxNLocator(COUNTS).tick_values(0.0, last), dtype=np.float64)
        ticks = ticks[ticks <= last]
        counts = [_at_risk(drawn[drawn["kind"] == kind], ticks) for kind in kinds]
        words = [
            "\n".join([f"{age:,.0f}", *(f"{one[place]:.0f}" for one in counts)])
            for place, age in enumerate(ticks)
        ]
        axes.set_xticks(ticks, words)
        axes.set_xlabel(f"Age [{units.usage}]; beneath each age, parts at risk: {', '.join(kinds)}")
        axes.set_ylabel("Parts still alive [%]")
        style.say(axes, title, caption)
    return axes


def _at_risk(mine: pd.DataFrame, ages: np.ndarray) -> np.ndarray:
    """Counts at risk just after some ages."""
    row = np.searchsorted(mine["time"].to_numpy(float), ages, side="right") - 1
    return np.asarray(mine["at_risk"].to_numpy(float)[np.maximum(row, 0)])
