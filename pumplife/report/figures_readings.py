"""The figure of how far the answer hangs on the way the records are read."""

from __future__ import annotations

import textwrap

import numpy as np
import pandas as pd
from matplotlib.axes import Axes

from pumplife.report import style

NEAR_WHOLE = 0.9  # a bar that ends from here on has its label across the line at 1


def sum_readings(sensitivity: pd.DataFrame) -> pd.DataFrame:
    """Sum the saving over all groups for each way of reading the records.

    Parameters
    ----------
    sensitivity : DataFrame
        The output table.

    Returns
    -------
    DataFrame
        change; saving, as_is [money / year] with the records read so and as the study has them,
        both with the few draws of that table; share, the first over the second [-], NaN where
        the study finds no saving.
    """
    columns = ["change", "saving", "as_is", "share"]
    if sensitivity.empty:
        return pd.DataFrame(columns=columns)
    named = sensitivity.rename(columns={"saving_per_year": "saving", "saving_as_is": "as_is"})
    summed = named.groupby("change", sort=False)[["saving", "as_is"]].sum().reset_index()
    share = summed["saving"] / summed["as_is"].where(summed["as_is"] > 0.0)
    return summed.assign(share=share)[columns]


def plot_readings(sensitivity: pd.DataFrame, *, caption: str = "", ax: Axes | None = None) -> Axes:
    """Draw the saving for each way of reading the records, as a share of that of the study.

    Parameters
    ----------
    sensitivity : DataFrame
        The output table.
    caption : str
        What stands behind it.
    ax : Axes, optional
        Where to draw; a new figure when None.

    Returns
    -------
    Axes
    """
    drawn = sum_readings(sensitivity).dropna(subset=["share"])
    with style.drawing(ax, height=1.5 + 0.5 * len(drawn)) as axes:
        place = -np.arange(len(drawn), dtype=float)
        axes.barh(place, drawn["share"], color=style.SKY, height=0.5)
        shares = drawn["share"].to_numpy(float)
        beyond = np.where((shares > NEAR_WHOLE) & (shares < 1.0), 1.0, np.maximum(shares, 0.0))
        for height, share, end in zip(place, shares, beyond, strict=True):
            axes.annotate(
                _percent(share),
                xy=(end, height),  # past the line of the study where the bar ends just before it
                xytext=(5, 0),
                textcoords="offset points",
                va="center",
                fontsize=8.2,
            )
        axes.axvline(1.0, color=style.NAVY, lw=1.8)
        axes.set_yticks(place, [textwrap.fill(words, 30) for words in drawn["change"]])
        axes.tick_params(axis="y", length=0)
        axes.grid(visible=False, axis="y")
        axes.grid(visible=True, axis="x")
        axes.margins(x=0.12)
        axes.set_xlabel("Saving against today's practice, all groups [share of the study's]")
        style.write_percents(axes.xaxis)
        style.say(axes, _readings_message(drawn), caption)
    return axes


def _percent(share: float) -> str:
    return f"{100.0 * share:.0f} %"


def _readings_message(drawn: pd.DataFrame) -> str:
    if drawn.empty:
        return "No other way of reading the records was tried, or there is no saving to compare"
    worst = drawn.loc[(drawn["share"] - 1.0).abs().idxmax()]
    return (
        f"With {worst['change']} the saving becomes {_percent(float(worst['share']))} of what "
        "the study finds; no other way of reading moves it more"
    )
