"""Figures of trials: running ones against their bounds, the power of proposed ones by pumps."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.ticker import MaxNLocator

from pumplife.report import style
from pumplife.report.pictures import capitalise
from pumplife.report.words import Units

PROGRESS = ["trial_id", "look", "share", "score", "bound", "decision"]
POWER = ["wanted_ratio", "pumps_each", "power", "planned"]


def progress_table(looks: pd.DataFrame) -> pd.DataFrame:
    """Give what the figure of running trials draws.

    Parameters
    ----------
    looks : DataFrame
        Table `trial_looks`.

    Returns
    -------
    DataFrame
        trial_id, look, share (of the failures needed), score, bound, decision.
    """
    return looks[PROGRESS].reset_index(drop=True)


def plot_progress(
    looks: pd.DataFrame, trials: pd.DataFrame, *, caption: str = "", ax: Axes | None = None
) -> Axes:
    """Draw the looks at running trials: the score against the bound from which it is shown.

    Parameters
    ----------
    looks, trials : DataFrame
        Tables `trial_looks` and `trials`.
    caption : str
        What stands behind it.
    ax : Axes, optional
        Where to draw; a new figure when None.

    Returns
    -------
    Axes
    """
    drawn = progress_table(looks)
    with style.drawing(ax) as axes:
        ends = []
        for place, (trial, mine) in enumerate(drawn.groupby("trial_id", sort=False)):
            colour = style.SERIES[place % len(style.SERIES)]
            share, bound = mine["share"].to_numpy(float), mine["bound"].to_numpy(float)
            axes.plot(share, mine["score"].to_numpy(float), "o-", color=colour, ms=6)
            axes.plot(share, bound, "_", color=colour, ms=16, mew=2)
            last = mine.iloc[-1]
            _label_bound(axes, last, colour)
            ends.append((float(last["score"]), f"{trial}: {last['decision']}", colour))
        axes.axhline(0.0, color=style.SOFT, lw=1.0)
        axes.set_xlim(0.0, 1.0)
        style.write_percents(axes.xaxis)
        axes.set_xlabel("Of the failures needed [%]")
        axes.set_ylabel("Score for the longer life [standard errors]")
        style.label_ends(axes, [one for one in ends if one[0] == one[0]])
        words = "Points: what each look found. Bars: the score from which the longer life is shown."
        style.say(axes, _say_progress(trials), f"{words} {caption}".strip())
    return axes


def _label_bound(axes: Axes, last: pd.Series[Any], colour: str) -> None:
    """Say at the last bar what it is, on the side where there is room."""
    share, bound = float(last["share"]), float(last["bound"])
    if not np.isfinite(bound):
        return
    room = share < 0.6
    axes.annotate(
        f"shown from {bound:.2f} up",
        xy=(share, bound),
        xytext=(12 if room else -12, 0),
        textcoords="offset points",
        ha="left" if room else "right",
        va="center",
        fontsize=8.2,
        color=colour,
    )


def _say_progress(trials: pd.DataFrame) -> str:
    counts = trials["decision"].value_counts(sort=False)
    told = ", ".join(
        f"{count} {'to go on' if word == 'go on' else word}" for word, count in counts.items()
    )
    return f"Trials under way: {told}"


def trial_power_table(power: pd.DataFrame) -> pd.DataFrame:
    """Give what the figure of one proposed trial draws.

    Parameters
    ----------
    power : DataFrame
        Rows of table `trial_power` of one pair.

    Returns
    -------
    DataFrame
        wanted_ratio, pumps_each, power, planned.
    """
    return power[POWER].reset_index(drop=True)


def plot_trial_power(
    power: pd.DataFrame, *, units: Units, caption: str = "", ax: Axes | None = None
) -> Axes:
    """Draw the chance that a trial shows a ratio against its pumps, ratio by ratio.

    Parameters
    ----------
    power : DataFrame
        Rows of table `trial_power` of one pair.
    units : Units
        Of the plant.
    caption : str
        What stands behind it.
    ax : Axes, optional
        Where to draw; a new figure when None.

    Returns
    -------
    Axes
    """
    drawn = trial_power_table(power)
    first = power.iloc[0]
    with style.drawing(ax) as axes:
        ends = []
        for place, (wanted, mine) in enumerate(drawn.groupby("wanted_ratio", sort=True)):
            colour = style.SERIES[place % len(style.SERIES)]
            line = style.DASHES[place % len(style.DASHES)]
            axes.plot(mine["pumps_each"], mine["power"], color=colour, ls=line)
            ends.append((float(mine["power"].iloc[-1]), f"{wanted:g} times the life", colour))
        planned = drawn[drawn["planned"].eq("yes")]
        axes.plot(planned["pumps_each"], planned["power"], "o", color=style.NAVY, ms=8)
        axes.set_ylim(0.0, 1.02)
        style.write_percents(axes.yaxis)
        axes.xaxis.set_major_locator(MaxNLocator(integer=True))
        axes.set_xlabel("Pumps with each material [number]")
        axes.set_ylabel("Chance that it is shown [%]")
        style.label_ends(axes, ends)
        where = capitalise(f"{first['part']} in {first['service']}")
        kind = f"{first['material']} {first['variant']}".strip()
        use = f"Each pump runs {float(first['usage_per_pump']):,.0f} {units.usage}."
        dot = " Dot: the proposed trial." if len(planned) else " No trial pays here."
        words = f"{where}: what a trial of {kind} against {first['reference']} would show"
        if len(planned):
            words = _say_planned(planned.iloc[0], where, kind, str(first["reference"]))
        style.say(axes, words, f"{use}{dot} {caption}".strip())
    return axes


def _say_planned(row: pd.Series[Any], where: str, kind: str, reference: str) -> str:
    return (
        f"{where}: {row['pumps_each']:.0f} pumps with {kind} and as many with {reference} show "
        f"{row['wanted_ratio']:g} times the life with a chance of {100.0 * row['power']:.0f} %"
    )
