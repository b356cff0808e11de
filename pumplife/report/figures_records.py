"""Figures of the records: what became of the tickets, and breakdowns over time."""

from collections.abc import Mapping, Sequence

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from numpy.typing import NDArray

from pumplife.lives.trend import MeanCumulative
from pumplife.report import style
from pumplife.report.events import count_account
from pumplife.report.pictures import capitalise
from pumplife.report.tables import write_number

RECORD_NAMES = {
    "ticket": "rebuild tickets, rows",
    "finding": "findings",
    "position": "stretches of part positions",
}


def record_funnel_table(account: pd.DataFrame) -> pd.DataFrame:
    """Give the counts that the funnel draws, see `count_account`."""
    return count_account(account)


def plot_record_funnel(account: pd.DataFrame, *, caption: str = "", ax: Axes | None = None) -> Axes:
    """Draw how much of the records was used as written, with an assumption, or set aside.

    Parameters
    ----------
    account : DataFrame
        The output table.
    caption : str
        What stands behind it.
    ax : Axes, optional
        Where to draw; a new figure when None.

    Returns
    -------
    Axes
    """
    drawn = record_funnel_table(account)
    kinds = list(drawn["kind"].unique())
    with style.drawing(ax, height=1.3 + 0.62 * len(kinds)) as axes:
        place = -np.arange(len(kinds), dtype=float)
        left = np.zeros(len(kinds))
        for status, colour, _ in _FUNNEL:
            share = drawn.loc[drawn["status"] == status, "share"].to_numpy(dtype=float)
            axes.barh(place, share, left=left, color=colour, height=0.36)
            left += share
        for height, kind in zip(place, kinds, strict=True):
            _label_funnel(axes, height, drawn[drawn["kind"] == kind])
        axes.set_yticks(place, [RECORD_NAMES[kind] for kind in kinds])
        axes.tick_params(axis="y", length=0)
        axes.grid(visible=False)
        axes.set_xlim(0, 1)
        axes.set_ylim(-len(kinds) + 0.35, 0.6)
        style.write_percents(axes.xaxis)
        axes.set_xlabel("Share of what was received [%]")
        style.say(axes, _funnel_message(drawn), caption)
    return axes


_FUNNEL = (
    ("used", style.NAVY, "used as written"),
    ("used with an assumption", style.SKY, "with an assumption"),
    ("set aside", style.ORANGE, "set aside"),
)


def _label_funnel(axes: Axes, height: float, mine: pd.DataFrame) -> None:
    """Write the counts under a bar, each in its own place along the axis."""
    for (status, colour, words), left in zip(_FUNNEL, (0.0, 0.42, 0.80), strict=True):
        row = mine[mine["status"] == status].iloc[0]
        for label, shift, ink in (("■", 0, colour), (f"{row['count']:,} {words}", 11, style.INK)):
            axes.annotate(
                label,
                xy=(left, height - 0.36),
                xytext=(shift, 0),
                textcoords="offset points",
                va="center",
                fontsize=8.2,
                color=ink,
                annotation_clip=False,
            )


def _funnel_message(drawn: pd.DataFrame) -> str:
    tickets = drawn[drawn["kind"] == "ticket"]
    if tickets.empty:
        return "No record was received"
    total = int(tickets["count"].sum())
    aside = float(tickets.loc[tickets["status"] == "set aside", "share"].sum())
    if aside == 0:
        return f"Of {total:,} ticket rows, none had to be set aside"
    return f"Of {total:,} ticket rows, {100 * aside:.1f} % had to be set aside"


def mean_cumulative_table(events: Mapping[str, MeanCumulative], *, most: int = 300) -> pd.DataFrame:
    """Give the steps of the mean cumulative functions.

    Parameters
    ----------
    events : mapping of name to MeanCumulative
        One per line.
    most : int
        Steps per line at most; more are thinned evenly, the last one kept.

    Returns
    -------
    DataFrame
        label, time, mcf, low, high [events per pump].
    """
    columns = ["label", "time", "mcf", "low", "high"]
    parts = [
        pd.DataFrame(
            {"label": name, "time": one.time, "mcf": one.mcf, "low": one.low, "high": one.high}
        ).iloc[_thin(one.time.size, most)]
        for name, one in events.items()
        if one.time.size
    ]
    return pd.concat(parts, ignore_index=True) if parts else pd.DataFrame(columns=columns)


def _thin(count: int, most: int) -> NDArray[np.intp]:
    return np.unique(np.linspace(0, count - 1, min(count, most)).round().astype(np.intp))


def plot_mean_cumulative(
    events: Mapping[str, MeanCumulative],
    *,
    time_unit: str = "years",
    begin: str = "the start of the records",
    end: float = 0.0,
    caption: str = "",
    ax: Axes | None = None,
) -> Axes:
    """Draw the mean number of breakdowns per pump against time.

    Parameters
    ----------
    events : mapping of name to MeanCumulative
        One per line, at most six.
    time_unit : str
        Unit of the times.
    begin : str
        What they are counted from.
    end : float
        Until when was looked, in that unit; the last event where it is later.
    caption : str
        What stands behind it.
    ax : Axes, optional
        Where to draw; a new figure when None.

    Returns
    -------
    Axes
    """
    drawn = mean_cumulative_table(events)
    shown = [(str(name), one) for name, one in drawn.groupby("label", sort=False)]
    with style.drawing(ax) as axes:
        right = max([end, *(float(one["time"].iloc[-1]) for _, one in shown)]) or 1.0
        places = []
        for number, (name, one) in enumerate(shown):
            colour = style.SERIES[number % 6]
            axes.fill_between(
                [*one["time"], right],
                [*one["low"], one["low"].iloc[-1]],
                [*one["high"], one["high"].iloc[-1]],
                step="post",
                color=colour,
                alpha=0.14,
                lw=0,
            )
            axes.step(
                [0.0, *one["time"], right],
                [0.0, *one["mcf"], one["mcf"].iloc[-1]],
                where="post",
                color=colour,
                ls=style.DASHES[number % 6],
                lw=1.5,
            )
            places.append((float(one["mcf"].iloc[-1]), name, colour))
        axes.set_xlim(0, right)
        axes.set_ylim(0, 1.15 * max((float(one["mcf"].iloc[-1]) for _, one in shown), default=1.0))
        axes.set_xlabel(f"Since {begin} [{time_unit}]")
        axes.set_ylabel("Breakdowns per pump [number]")
        style.label_ends(axes, places)
        style.say(axes, _cumulative_message(shown, time_unit, end), caption)
    return axes


def _cumulative_message(shown: Sequence[tuple[str, pd.DataFrame]], unit: str, end: float) -> str:
    if not shown:
        return "No breakdown is on record"
    name, one = max(shown, key=lambda item: float(item[1]["mcf"].iloc[-1]))
    last = max(float(one["time"].iloc[-1]), end)
    count, time = (write_number(value, 2) for value in (float(one["mcf"].iloc[-1]), last))
    words = f"{capitalise(name)}: {count} breakdowns per pump in {time} {unit}"
    return f"{words}, the most of all services" if len(shown) > 1 else words
