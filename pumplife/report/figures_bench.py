"""Figures of the work: what few intervals cost, and the hours of the bench week by week."""

from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.ticker import MaxNLocator

from pumplife.report import style


def few_table(few: pd.DataFrame) -> pd.DataFrame:
    """Give what the figure of few intervals draws.

    Parameters
    ----------
    few : DataFrame
        The output table few_intervals.

    Returns
    -------
    DataFrame
        values_count, extra_per_year [money], share [-], values, chosen.
    """
    return few[["values_count", "extra_per_year", "share", "values", "chosen"]].copy()


def plot_few(few: pd.DataFrame, currency: str, unit: str = "", *, ax: Axes | None = None) -> Axes:
    """Draw what one, two, ... intervals for the whole plant cost more than each its own.

    Parameters
    ----------
    few : DataFrame
        The output table few_intervals, not empty.
    currency : str
        The plant's currency.
    unit : str
        Of the intervals.
    ax : Axes, optional
        Where to draw; a new figure when None.

    Returns
    -------
    Axes
    """
    drawn = few_table(few)
    taken = drawn[drawn["chosen"] == "yes"].iloc[0]
    with style.drawing(ax) as axes:
        count, share = drawn["values_count"].to_numpy(int), drawn["share"].to_numpy(float)
        axes.plot(count, share, color=style.NAVY, marker="o", ms=5)
        axes.axhline(0.02, color=style.SOFT, lw=1.0, ls="--")
        axes.plot([taken["values_count"]], [taken["share"]], ls="", marker="o", ms=10,
                  mfc="none", mec=style.ORANGE, mew=2.0)  # fmt: skip
        axes.set_ylim(0.0, 1.12 * max(float(share.max()), 0.03))
        axes.xaxis.set_major_locator(MaxNLocator(integer=True))
        style.write_percents(axes.yaxis)
        axes.yaxis.set_major_locator(MaxNLocator(steps=[1, 2, 5, 10]))
        axes.set_xlabel("Intervals for the whole plant [number]")
        axes.set_ylabel("Cost more than each group its own [%]")
        names = [("cost of so few", style.NAVY), ("2 %", style.SOFT), ("taken", style.ORANGE)]
        style.list_names(axes, names)
        style.say(axes, _few_message(taken, unit), _few_caption(drawn, currency))
    return axes


def _few_message(taken: "pd.Series[Any]", unit: str) -> str:
    number = int(str(taken["values_count"]))
    words = "1 interval serves" if number == 1 else f"{number} intervals serve"
    return f"{words} the whole plant: {taken['values']} {unit}".strip()


def _few_caption(drawn: pd.DataFrame, currency: str) -> str:
    first = float(drawn["extra_per_year"].iloc[0])
    return (
        f"A single interval for all would cost {first:,.0f} {currency} a year more. Every group "
        "keeps its limits; running to failure is allowed beside the intervals."
    )


def load_table(load: pd.DataFrame, *, weeks: int = 26) -> pd.DataFrame:
    """Give what the figure of the bench draws: all sites together, week by week.

    Parameters
    ----------
    load : DataFrame
        The output table load.
    weeks : int
        How far to look [weeks].

    Returns
    -------
    DataFrame
        week, hours_planned, hours_breakdowns, limit [h]; the limit blank where one site has none.
    """
    summed = load.groupby("week", as_index=False).agg(
        hours_planned=("hours_planned", "sum"),
        hours_breakdowns=("hours_breakdowns", "sum"),
        limit=("limit", lambda hours: hours.sum(skipna=False)),
        over_by=("over_by", "sum"),
    )
    return summed.head(weeks)


def plot_load(load: pd.DataFrame, *, caption: str = "", ax: Axes | None = None) -> Axes:
    """Draw the hours of work on the bench in the next weeks, and the hours that it has.

    Parameters
    ----------
    load : DataFrame
        The output table load, not empty.
    caption : str
        What stands behind it.
    ax : Axes, optional
        Where to draw; a new figure when None.

    Returns
    -------
    Axes
    """
    drawn = load_table(load)
    place = np.arange(len(drawn))
    with style.drawing(ax) as axes:
        broken, planned = (drawn[f"hours_{kind}"].to_numpy(float) for kind in
                           ("breakdowns", "planned"))  # fmt: skip
        axes.bar(place, broken, color=style.SKY, width=0.78)
        axes.bar(place, planned, bottom=broken, color=style.NAVY, width=0.78)
        names = [("planned work", style.NAVY), ("breakdowns expected", style.SKY)]
        limit = drawn["limit"].to_numpy(float)
        if np.isfinite(limit).all():
            axes.step(place, limit, where="mid", color=style.ORANGE, lw=1.6)
            names.append(("hours of the bench", style.ORANGE))
        top = np.nanmax(np.concatenate([broken + planned, np.nan_to_num(limit), [1.0]]))
        axes.set_ylim(0.0, 1.4 * top)
        shown = place[:: max(1, len(place) // 13)]
        axes.set_xticks(shown, [f"{drawn['week'].iloc[at]:%y-%m-%d}" for at in shown])
        axes.tick_params(axis="x", labelrotation=40, length=0)
        axes.set_xlabel("Week from [year-month-day]")
        axes.set_ylabel("Work [h]")
        style.list_names(axes, names)
        style.say(axes, _load_message(drawn), caption)
    return axes


def _load_message(drawn: pd.DataFrame) -> str:
    weeks = len(drawn)
    over = int((drawn["over_by"] > 0).sum())
    hours = float(drawn["hours_planned"].sum())
    said = f"{hours:,.0f} h of planned work on the bench in the next {weeks} weeks"
    if not over:
        return f"{said}, no week beyond the hours that it has"
    return f"{said}, in {over} of them a site goes beyond the hours that it has"
