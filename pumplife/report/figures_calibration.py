"""Predicted against realised: what last year's breakdowns were expected to take, and took."""

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.ticker import MaxNLocator

from pumplife.report import style

CALIBRATION = ["store", "item", "expected_12m", "expected_low", "expected_high", "breakdowns_12m"]
MOST_NAMED = 5  # items outside their band that are named


def calibration_table(demand_check: pd.DataFrame) -> pd.DataFrame:
    """Give what the figure draws.

    Parameters
    ----------
    demand_check : DataFrame
        The output table.

    Returns
    -------
    DataFrame
        store, item, expected_12m, expected_low, expected_high, breakdowns_12m [pieces], inside
        (yes, no); items of which nothing was expected and nothing taken are left out, and those
        that can't be expected.
    """
    rows = demand_check[CALIBRATION]
    told = rows[CALIBRATION[2:]].notna().all(axis=1)
    rows = rows[told & (rows[["expected_high", "breakdowns_12m"]].max(axis=1) > 0)]
    inside = rows["breakdowns_12m"].between(rows["expected_low"], rows["expected_high"])
    return rows.assign(inside=np.where(inside, "yes", "no")).reset_index(drop=True)


def plot_calibration(
    demand_check: pd.DataFrame, *, caption: str = "", ax: Axes | None = None
) -> Axes:
    """Draw what breakdowns took in the last twelve months against what was expected of the lives.

    Parameters
    ----------
    demand_check : DataFrame
        The output table.
    caption : str
        What stands behind it.
    ax : Axes, optional
        Where to draw; a new figure when None.

    Returns
    -------
    Axes
    """
    drawn = calibration_table(demand_check)
    expected, low, high, taken = (drawn[name].to_numpy(float) for name in CALIBRATION[2:])
    outside = drawn["inside"].eq("no").to_numpy()
    with style.drawing(ax) as axes:
        right = 1.1 * float(max([1.0, *expected]))
        top = 1.35 * float(max([1.0, *high, *taken]))
        axes.plot([0, min(right, top)], [0, min(right, top)], color=style.SOFT, ls="--", lw=1.2)
        axes.vlines(expected, low, high, color=style.SKY, lw=3, alpha=0.55)
        for chosen, colour in ((~outside, style.NAVY), (outside, style.ORANGE)):
            axes.plot(
                expected[chosen], taken[chosen], "o", color=colour, ms=6, mec=style.PAPER, mew=0.6
            )
        _name_outside(axes, drawn[outside])
        axes.set_xlim(0, right)
        axes.set_ylim(0, top)
        for axis in (axes.xaxis, axes.yaxis):
            axis.set_major_locator(MaxNLocator(integer=True))
        axes.set_xlabel("Expected of the lives [pieces in 12 months]")
        axes.set_ylabel("Taken by breakdowns [pieces in 12 months]")
        names = [("inside 90 %", style.NAVY), ("outside", style.ORANGE), ("90 %", style.SKY)]
        style.list_names(axes, [name for name in names if name[0] != "outside" or outside.any()])
        style.say(axes, _message(drawn), f"Dashed: as many as expected. {caption}".strip())
    return axes


def _name_outside(axes: Axes, rows: pd.DataFrame) -> None:
    """Name the items farthest outside their band, those with most pieces first."""
    named = rows.sort_values("breakdowns_12m", ascending=False, kind="stable").head(MOST_NAMED)
    for row in named.to_dict("records"):
        axes.annotate(
            str(row["item"]),
            xy=(float(row["expected_12m"]), float(row["breakdowns_12m"])),
            xytext=(7, 0),
            textcoords="offset points",
            va="center",
            fontsize=8.2,
        )


def _message(drawn: pd.DataFrame) -> str:
    if drawn.empty:
        return "No item can be compared with what the lives expect"
    inside = int(drawn["inside"].eq("yes").sum())
    items = f"{inside} of {len(drawn)} {'item' if len(drawn) == 1 else 'items'}"
    return f"In {items} last year's breakdowns took what the lives expect, within 90 % of chance"
