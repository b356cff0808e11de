"""Figures of when to rebuild: the cost curve of a pump group, and the rebuilds due."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.ticker import MaxNLocator

from pumplife.report import style
from pumplife.report.dues import count_due, is_overdue
from pumplife.report.pictures import capitalise
from pumplife.report.tables import write_number
from pumplife.report.words import Units

if TYPE_CHECKING:
    from pumplife.policy.interval import CostCurve


def cost_curve_table(curve: CostCurve) -> pd.DataFrame:
    """Give the points of the cost curve.

    Parameters
    ----------
    curve : CostCurve
        Of one pump group.

    Returns
    -------
    DataFrame
        interval [usage units], mean, low, high [money per rate unit].
    """
    return pd.DataFrame(
        {"interval": curve.t, "mean": curve.mean, "low": curve.low, "high": curve.high}
    )


def plot_cost_curve(
    curve: CostCurve, *, units: Units, caption: str = "", ax: Axes | None = None
) -> Axes:
    """Draw what an hour of running costs against the rebuild interval.

    Parameters
    ----------
    curve : CostCurve
        Of one pump group; `interval` is inf where the advice is run to failure.
    units : Units
        Of the plant.
    caption : str
        Failures, suspensions and window behind it.
    ax : Axes, optional
        Where to draw; a new figure when None.

    Returns
    -------
    Axes
    """
    with style.drawing(ax) as axes:
        right, top = _curve_limits(curve)
        axes.set_xlim(0, right)
        axes.set_ylim(0, top)
        _draw_near_best(axes, curve, right)
        axes.fill_between(curve.t, curve.low, curve.high, color=style.SKY, alpha=0.3, lw=0)
        axes.plot(curve.t, curve.mean, color=style.NAVY, lw=2.2)
        _draw_levels(axes, curve)
        axes.set_xlabel(f"Rebuild interval [{units.usage}]")
        axes.set_ylabel(f"Cost rate [{units.currency} per {units.rate}]")
        style.write_thousands(axes.xaxis, axes.yaxis)
        style.say(axes, _curve_message(curve, units), caption)
    return axes


def _curve_limits(curve: CostCurve) -> tuple[float, float]:
    ends = [curve.interval, curve.near_best_high, curve.near_best_low]
    finite = [value for value in ends if np.isfinite(value)]
    last = float(curve.t[-1])
    right = min(last, 3.0 * max(finite)) if finite else last
    levels = np.array([curve.run_to_failure, curve.today, float(np.nanmin(curve.mean))])
    return right, 1.6 * float(np.nanmax(levels[np.isfinite(levels)]))


def _draw_near_best(axes: Axes, curve: CostCurve, right: float) -> None:
    """Shade the near-best band, and mark the limit where one ends it."""
    low = curve.near_best_low
    if not np.isfinite(low):
        return
    high = min(curve.near_best_high, right)
    axes.axvspan(low, high, color=style.OCHRE, alpha=0.28, lw=0)
    if _is_held(curve):
        axes.axvline(curve.interval, color=style.WINE, ls=":", lw=1.6)
    axes.annotate(
        "limit" if _is_held(curve) else "near-best band",
        xy=(curve.interval if _is_held(curve) else 0.5 * (low + high), 0.04),
        xycoords=("data", "axes fraction"),
        ha="center",
        fontsize=8.2,
        bbox={"facecolor": style.PAPER, "alpha": 0.6, "lw": 0, "pad": 1.5},
    )


def _is_held(curve: CostCurve) -> bool:
    """Tell whether a limit holds the interval at the upper end of its band."""
    return bool(np.isfinite(curve.interval)) and curve.near_best_high <= curve.interval * 1.001


def _draw_levels(axes: Axes, curve: CostCurve) -> None:
    right = axes.get_xlim()[1]
    places = []
    for height, words, colour, dash in (
        (curve.run_to_failure, "run to failure", style.SOFT, "--"),
        (curve.today, "today", style.ORANGE, "-."),
    ):
        if np.isfinite(height):
            axes.axhline(height, color=colour, ls=dash, lw=1.6)
            places.append((height, words, colour))
    places.append((float(np.interp(right, curve.t, curve.mean)), "planned", style.NAVY))
    style.label_ends(axes, places)
    if np.isfinite(curve.interval):
        height = float(np.interp(curve.interval, curve.t, curve.mean))
        axes.plot(
            [curve.interval], [height], "o", ms=8, color=style.NAVY, mec=style.PAPER, zorder=5
        )
        held = _is_held(curve)
        axes.annotate(
            "advised",
            xy=(curve.interval, height),
            xytext=(9, 7) if held else (0, -17),
            ha="left" if held else "center",
            textcoords="offset points",
            color=style.NAVY,
            fontweight="bold",
            fontsize=8.6,
            bbox={"facecolor": style.PAPER, "alpha": 0.6, "lw": 0, "pad": 1},
        )


def _curve_message(curve: CostCurve, units: Units) -> str:
    name = capitalise(curve.title)
    if not np.isfinite(curve.interval):
        return f"{name}: run to failure; no planned interval costs clearly less"
    start = f"{name}: rebuild every {write_number(curve.interval)} {units.usage}"
    if not np.isfinite(curve.near_best_low):
        return start
    if _is_held(curve):
        return f"{start}, where a limit holds it"
    low = write_number(curve.near_best_low)
    if not np.isfinite(curve.near_best_high):
        return f"{start}; anything from {low} {units.usage} up costs within 5 % of the best"
    high = write_number(curve.near_best_high)
    return f"{start}; from {low} to {high} {units.usage} costs within 5 % of the best"


def due_table(due: pd.DataFrame, today: pd.Timestamp, *, weeks: int = 52) -> pd.DataFrame:
    """Count the rebuilds that fall due, four weeks at a time.

    Parameters
    ----------
    due : DataFrame
        The output table; rows without a date are left out.
    today : Timestamp
        End of the records.
    weeks : int
        How far to look [weeks].

    Returns
    -------
    DataFrame
        when (overdue, where something is, or the first day of four weeks), fluid, air [rebuilds].
    """
    ahead = pd.Series((pd.to_datetime(due["do_on"]) - today) / pd.Timedelta(weeks=4), dtype=float)
    slot = (ahead // 1).mask(ahead < 0, 0.0)
    overdue = is_overdue(due, today)
    slot = slot.mask(overdue, -1)
    slots = np.arange(-1 if overdue.any() else 0, weeks // 4)
    counts = {
        side: [int(((slot == place) & (due["side"] == side)).sum()) for place in slots]
        for side in ("fluid", "air")
    }
    when = [
        "overdue" if place < 0 else f"{today + pd.Timedelta(weeks=4 * int(place)):%Y-%m-%d}"
        for place in slots
    ]
    return pd.DataFrame({"when": when, **counts})


def plot_due(
    due: pd.DataFrame, today: pd.Timestamp, *, caption: str = "", ax: Axes | None = None
) -> Axes:
    """Draw how many rebuilds fall due in each of the next four-week spans.

    Parameters
    ----------
    due : DataFrame
        The output table.
    today : Timestamp
        End of the records.
    caption : str
        What stands behind it.
    ax : Axes, optional
        Where to draw; a new figure when None.

    Returns
    -------
    Axes
    """
    drawn = due_table(due, today)
    with style.drawing(ax) as axes:
        place = np.arange(len(drawn))
        bottom = np.zeros(len(drawn))
        for side, colour in (("fluid", style.NAVY), ("air", style.SKY)):
            axes.bar(place, drawn[side], bottom=bottom, color=colour, width=0.78)
            bottom = bottom + drawn[side].to_numpy(dtype=float)
        if drawn["when"].iloc[0] == "overdue":
            axes.axvspan(-0.5, 0.5, color=style.ORANGE, alpha=0.22, lw=0, zorder=0)
        axes.set_xticks(
            place, [words[2:] if words[:2] == "20" else words for words in drawn["when"]]
        )
        axes.tick_params(axis="x", labelrotation=40, length=0)
        axes.set_ylim(0, max(4.0, 1.18 * float(bottom.max())))
        axes.yaxis.set_major_locator(MaxNLocator(integer=True))
        axes.set_xlabel("Four weeks from [year-month-day]")
        axes.set_ylabel("Rebuilds [number]")
        _name_sides(axes, drawn)
        style.say(axes, _due_message(*count_due(due, today)), caption)
    return axes


def _name_sides(axes: Axes, drawn: pd.DataFrame) -> None:
    words = [("fluid side", style.NAVY, "fluid"), ("air side", style.SKY, "air")]
    style.list_names(axes, [(name, colour) for name, colour, side in words if drawn[side].sum()])


def _due_message(overdue: int, soon: int) -> str:
    if overdue == 0:
        words = "rebuild" if soon == 1 else "rebuilds"
        return f"{soon} {words} to do in the next 13 weeks, none overdue"
    words = "1 rebuild is" if overdue == 1 else f"{overdue} rebuilds are"
    return f"{words} overdue, {soon} more to do in the next 13 weeks"
