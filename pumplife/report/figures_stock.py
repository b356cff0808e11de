"""Figures of what to keep and what it costs: stock risk and budget."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.ticker import MaxNLocator
from numpy.typing import NDArray

from pumplife.report import style
from pumplife.report.budget_words import name_years
from pumplife.report.tables import write_number, write_share
from pumplife.report.words import Units

if TYPE_CHECKING:
    from pumplife.stock.curves import RiskCurve

Floats = NDArray[np.float64]


def stock_risk_table(curves: Sequence[RiskCurve]) -> pd.DataFrame:
    """Give the points of the stock figure.

    Parameters
    ----------
    curves : sequence of RiskCurve
        One per item and store.

    Returns
    -------
    DataFrame
        store, item, level [pieces], shortage_prob [0 to 1], chosen (bool).
    """
    parts = [
        pd.DataFrame(
            {
                "store": curve.store,
                "item": curve.item,
                "level": curve.level,
                "shortage_prob": curve.shortage_prob,
                "chosen": np.asarray(curve.level) == curve.reorder_point,
            }
        )
        for curve in curves
    ]
    columns = ["store", "item", "level", "shortage_prob", "chosen"]
    return pd.concat(parts, ignore_index=True) if parts else pd.DataFrame(columns=columns)


def plot_stock_risk(
    curves: Sequence[RiskCurve], *, caption: str = "", ax: Axes | None = None, most: int = 6
) -> Axes:
    """Draw the chance of a shortage against the reorder point, the chosen level marked.

    Parameters
    ----------
    curves : sequence of RiskCurve
        One per item and store, the weightiest first; `most` of them are drawn.
    caption : str
        What stands behind it.
    ax : Axes, optional
        Where to draw; a new figure when None.
    most : int
        Lines at most.

    Returns
    -------
    Axes
    """
    shown = list(curves)[:most]
    with style.drawing(ax) as axes:
        right = max((_last_level(curve) for curve in shown), default=1.0)
        axes.set_xlim(0, right)
        axes.set_ylim(0, _highest_risk(shown, right))
        for number, curve in enumerate(shown):
            _draw_risk(axes, curve, style.SERIES[number % 6], style.DASHES[number % 6], right)
        axes.xaxis.set_major_locator(MaxNLocator(integer=True))
        style.write_percents(axes.yaxis)
        axes.set_xlabel("Reorder point [pieces]")
        axes.set_ylabel("Chance of shortage\nwithin lead time and review")
        _name_risks(axes, shown)
        style.say(axes, _risk_message(shown), caption)
    return axes


def _highest_risk(shown: Sequence[RiskCurve], right: float) -> float:
    """Top of the axis: the highest risk drawn and room for the names above it, 1 at the most."""
    drawn = [curve.shortage_prob[(curve.level >= 0) & (curve.level <= right)] for curve in shown]
    highest = max((float(risk.max()) for risk in drawn if len(risk)), default=1.0)
    return min(1.0, max(0.05, 1.7 * highest))


def _last_level(curve: RiskCurve) -> float:
    low = np.flatnonzero(np.asarray(curve.shortage_prob) < 0.004)
    end = float(curve.level[low[0]]) if low.size else float(curve.level[-1])
    return max(end, curve.reorder_point + 1, 2.0)


def _draw_risk(axes: Axes, curve: RiskCurve, colour: str, dash: Any, right: float) -> None:
    inside = np.asarray(curve.level) <= right
    level, risk = np.asarray(curve.level)[inside], np.asarray(curve.shortage_prob)[inside]
    axes.plot(level, risk, color=colour, ls=dash, marker="o", ms=3)
    at_choice = _risk_at_choice(curve)
    axes.plot(
        [curve.reorder_point], [at_choice], "o", ms=8, color=colour, mec=style.PAPER, zorder=5
    )


def _risk_at_choice(curve: RiskCurve) -> float:
    return float(np.interp(curve.reorder_point, curve.level, curve.shortage_prob))


def _name_risks(axes: Axes, shown: Sequence[RiskCurve]) -> None:
    names = []
    for number, curve in enumerate(shown):
        risk = write_share(_risk_at_choice(curve))
        words = (
            f"{curve.item} at {curve.store}: reorder at {curve.reorder_point:,.0f}, chance {risk}"
        )
        names.append((words, style.SERIES[number % 6]))
    style.list_names(axes, names)


def _risk_message(shown: Sequence[RiskCurve]) -> str:
    if not shown:
        return "Nothing is kept"
    worst = max(shown, key=_risk_at_choice)
    return (
        f"At the advised levels (dots) the chance of shortage stays at or below "
        f"{write_share(_risk_at_choice(worst))}, highest for {worst.item} at {worst.store}"
    )


SCENARIOS = {
    "today": ("as today", style.ORANGE),
    "advised": ("as advised", style.NAVY),
    "adopted": ("as adopted", style.SKY),
    "run_to_failure": ("run to failure", style.SOFT),
}


def budget_table(
    budget: pd.DataFrame, *, quantity: str = "money", site: str = "all"
) -> pd.DataFrame:
    """Pick the rows of the budget that the figure draws.

    Parameters
    ----------
    budget : DataFrame
        The output table.
    quantity, site : str
        Which rows.

    Returns
    -------
    DataFrame
        year, scenario, p50, p80, p90, mean [unit of the quantity], name of the year.
    """
    rows = budget[
        (budget["quantity"] == quantity)
        & (budget["site"] == site)
        & budget["scenario"].isin(list(SCENARIOS))
    ]
    columns = ["year", "scenario", "p50", "p80", "p90", "mean"]
    named = rows[columns].assign(name=name_years(rows))
    return named.sort_values(["year", "scenario"]).reset_index(drop=True)


def plot_budget(
    budget: pd.DataFrame,
    *,
    units: Units,
    quantity: str = "money",
    site: str = "all",
    caption: str = "",
    ax: Axes | None = None,
) -> Axes:
    """Draw P50 as a bar, P80 and P90 above it, by year and scenario.

    Parameters
    ----------
    budget : DataFrame
        The output table.
    units : Units
        Of the plant.
    quantity, site : str
        Which rows.
    caption : str
        What stands behind it.
    ax : Axes, optional
        Where to draw; a new figure when None.

    Returns
    -------
    Axes
    """
    drawn = budget_table(budget, quantity=quantity, site=site)
    years = list(dict.fromkeys(drawn["name"]))
    names = [name for name in SCENARIOS if (drawn["scenario"] == name).any()]
    with style.drawing(ax) as axes:
        width = 0.8 / max(len(names), 1)
        for step, name in enumerate(names):
            rows = drawn[drawn["scenario"] == name]
            place = np.array([years.index(name) for name in rows["name"]], dtype=float)
            _draw_bars(axes, rows, place - 0.4 + width * (step + 0.5), 0.86 * width, name)
        axes.set_xticks(range(len(years)), years)
        axes.tick_params(axis="x", length=0)
        axes.set_xlim(-0.5, max(len(years) - 0.5, 0.5))
        axes.set_ylim(0, 1.12 * max(float(drawn["p90"].max()) if len(drawn) else 1.0, 1e-9))
        style.write_thousands(axes.yaxis)
        unit = units.currency if quantity == "money" else quantity.replace("_h", " [h]")
        axes.set_ylabel(f"Cost [{unit}]" if quantity == "money" else unit.capitalize())
        _name_percentiles(axes, drawn, names)
        style.say(axes, _budget_message(drawn, units, quantity), caption)
    return axes


def _draw_bars(axes: Axes, rows: pd.DataFrame, place: Floats, width: float, name: str) -> None:
    words, colour = SCENARIOS[name]
    middle, upper, top = (rows[column].to_numpy(dtype=float) for column in ("p50", "p80", "p90"))
    axes.bar(place, middle, width=width, color=colour)
    axes.bar(place, upper - middle, bottom=middle, width=width, color=colour, alpha=0.45)
    axes.bar(place, top - upper, bottom=upper, width=width, color=colour, alpha=0.22)
    if place.size:
        axes.annotate(
            words,
            xy=(place[0], 0),
            xytext=(0, 5),
            textcoords="offset points",
            rotation=90,
            ha="center",
            va="bottom",
            color=style.PAPER,
            fontsize=8.2,
        )


def _name_percentiles(axes: Axes, drawn: pd.DataFrame, names: Sequence[str]) -> None:
    """Say at the last bar which end is P50, P80 and P90."""
    if drawn.empty:
        return
    last = drawn[drawn["scenario"] == names[-1]].iloc[-1]
    style.label_ends(axes, [(float(last[f"p{n}"]), f"P{n}", "") for n in (50, 80, 90)])


def _name_first(drawn: pd.DataFrame, first: pd.DataFrame) -> str:
    """The first whole year by name, where a part of a year goes before it."""
    name = str(first["name"].iloc[0]) if (drawn["year"] == 0).any() else "next year"
    return name[:1].upper() + name[1:]


def _budget_message(drawn: pd.DataFrame, units: Units, quantity: str) -> str:
    whole = drawn[drawn["year"] > 0]
    first = whole[whole["year"] == whole["year"].min()] if len(whole) else whole
    middle = dict(zip(first["scenario"], first["p50"], strict=True))
    if not {"today", "advised"} <= set(middle):
        return "Bars end at P50; the paler ends reach P80 and P90"
    unit = units.currency if quantity == "money" else quantity.replace("_", " ")
    told = [
        f"{write_number(float(middle[name]))} {unit} {SCENARIOS[name][0]}"
        for name in ("adopted", "advised", "today")
        if name in middle
    ]
    return f"{_name_first(drawn, first)} at P50: {', '.join(told)}"
