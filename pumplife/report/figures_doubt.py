"""Figure of what is not sure: how the saving of a pump group moves with each input."""

from __future__ import annotations

import numpy as np
import pandas as pd
from matplotlib.axes import Axes

from pumplife.policy.groups import KEYS
from pumplife.report import style
from pumplife.report.tables import write_number
from pumplife.report.words import USAGE_WORDS, Units

MOST_INPUTS = 12  # bars of one figure, the strongest
LABEL_ROOM = 0.24  # of the width, left free at either end for the values


def tornado_table(tornado: pd.DataFrame, group: pd.Series) -> pd.DataFrame:
    """Give the bars of one group, the strongest first.

    Parameters
    ----------
    tornado : DataFrame
        The table of that name.
    group : Series
        Row of the intervals table.

    Returns
    -------
    DataFrame
        input, input_unit, value, low, high, saving_low, saving_high [money a year], flips.
    """
    same = np.ones(len(tornado), bool)
    for key in KEYS:
        blank = pd.isna(group[key])
        same &= tornado[key].isna().to_numpy() if blank else (tornado[key] == group[key]).to_numpy()
    rows = tornado[same].head(MOST_INPUTS)
    columns = ["input", "input_unit", "value", "low", "high", "saving_low", "saving_high", "flips"]
    return rows[columns].reset_index(drop=True)


def plot_tornado(
    tornado: pd.DataFrame,
    group: pd.Series,
    *,
    units: Units,
    caption: str = "",
    ax: Axes | None = None,
) -> Axes:
    """Draw how the saving a year of one group moves with each input.

    Parameters
    ----------
    tornado : DataFrame
        The table of that name.
    group : Series
        Row of the intervals table.
    units : Units
        Of the plant.
    caption : str
        What is behind it.
    ax : Axes, optional
        Where to draw; a new figure when None.

    Returns
    -------
    Axes
    """
    table = tornado_table(tornado, group)
    saving = float(group["saving_per_year"])
    with style.drawing(ax, height=1.5 + 0.32 * len(table)) as axes:
        place = np.arange(len(table))
        for name, colour in (("low", style.SKY), ("high", style.NAVY)):
            ends = table[f"saving_{name}"].to_numpy(float)
            axes.barh(place, ends - saving, left=saving, height=0.62, color=colour)
        _set_limits(axes, table, saving)
        _label_bars(axes, table, saving, units)
        axes.axvline(saving, color=style.INK, lw=1.0)
        axes.set_yticks(place, [str(name) for name in table["input"]])
        axes.set_ylim(len(table) - 0.4, -0.6)
        axes.grid(visible=False, axis="y")
        axes.set_xlabel(f"Saving a year against today's practice [{units.currency}]")
        style.write_thousands(axes.xaxis)
        style.say(axes, _message(table, saving, units), caption)
    return axes


def _set_limits(axes: Axes, table: pd.DataFrame, saving: float) -> None:
    """Leave room for the values at the ends of the bars."""
    ends = np.append(table[["saving_low", "saving_high"]].to_numpy(float).ravel(), saving)
    low, high = float(ends.min()), float(ends.max())
    room = LABEL_ROOM / (1.0 - 2.0 * LABEL_ROOM) * max(high - low, 1e-9 + 0.01 * abs(saving))
    axes.set_xlim(low - room, high + room)


def _label_bars(axes: Axes, table: pd.DataFrame, saving: float, units: Units) -> None:
    """Write the value of the input at each end of its bar; both where they lie on one side."""
    for row, bar in enumerate(table.to_dict("records")):
        ends = [(float(bar[f"saving_{name}"]), float(bar[name])) for name in ("low", "high")]
        ends.sort(key=lambda end: end[0])
        words = [_write_value(value, str(bar["input_unit"]), units) for _, value in ends]
        left, right = ends[0][0] <= saving, ends[1][0] >= saving
        if left and right:
            places = [(ends[0][0], -4, "right", words[0]), (ends[1][0], 4, "left", words[1])]
        elif left:
            places = [(ends[0][0], -4, "right", f"{words[0]}, {words[1]}")]
        else:
            places = [(ends[1][0], 4, "left", f"{words[0]}, {words[1]}")]
        for x, shift, side, text in places:
            axes.annotate(
                text,
                xy=(x, row),
                xytext=(shift, 0),
                textcoords="offset points",
                ha=side,
                va="center",
                fontsize=7.8,
            )


def _write_value(value: float, unit: str, units: Units) -> str:
    """A value of an input with its unit; three digits say enough, and 50.0 no more than 50."""
    if unit == "share":
        return f"{100.0 * value:.3g} %"
    number = write_number(value)
    number = number.rstrip("0").rstrip(".") if "." in number else number
    return f"{number} {units.usage if unit in USAGE_WORDS else unit}".strip()


def _message(table: pd.DataFrame, saving: float, units: Units) -> str:
    """The strongest input, and where the policy changes."""
    if table.empty:
        return "No input moves the advice."
    first = table.iloc[0]
    low, high = sorted((float(first["saving_low"]), float(first["saving_high"])))
    words = (
        f"{str(first['input']).capitalize()} moves the saving most: "
        f"{write_number(low)} to {write_number(high)} {units.currency} a year, "
        f"{write_number(saving)} as it is"
    )
    flips = table[table["flips"] != ""]
    if flips.empty:
        return f"{words}; no input here changes what to do."
    one = flips.iloc[0]
    return f"{words}. What to do changes with {one['input']}: {one['flips']}."
