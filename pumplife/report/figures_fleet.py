"""A strip for every pump: how well its parts' ages are known over time, and its breakdowns."""

from itertools import groupby
from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.lines import Line2D

from pumplife.lives.timeline import Timeline
from pumplife.report import style
from pumplife.report.face import ReadableStudy, find_table, study_window
from pumplife.report.figures_timeline import (
    STATUS_COLOURS,
    YEAR,
    date_axis,
    draw_bars,
    list_marks,
    status_handles,
    timeline_of,
    with_dates,
)

MOST_STRIPS = 100  # pumps in one figure
MONTH = YEAR / 12.0


def fleet_table(study: ReadableStudy, *, timeline: Timeline | None = None) -> pd.DataFrame:
    """Give what the strips of all pumps draw.

    Parameters
    ----------
    study : ReadableStudy
        Finished.
    timeline : Timeline, optional
        Of `pick_fleet`, and of others, where it is laid out already.

    Returns
    -------
    DataFrame
        pump_id, start_on, end_on, what: month by month, how the ages of most of a pump's parts
        are known, and breakdowns; start and end [days since 1970-01-01].
    """
    names = pick_fleet(study)
    timeline = timeline_of(study, names) if timeline is None else timeline
    runs = [
        {"pump_id": name, "start": start, "end": end, "what": what}
        for name in names
        for start, end, what in _runs(timeline, name)
    ]
    events = timeline.events
    down = events[events["what"].eq("breakdown") & events["pump_id"].isin(names)]
    points = down[["pump_id", "what"]].assign(start=down["day"], end=down["day"])
    every = with_dates(pd.concat([pd.DataFrame(runs), points], ignore_index=True))
    return every[["pump_id", "start_on", "end_on", "what", "start", "end"]]


def pick_fleet(study: ReadableStudy) -> list[str]:
    """All pumps, or those with most set aside where there are too many for one figure."""
    account = find_table(study, "account")
    names = [str(name) for name in study.records.pumps["pump_id"]]
    if len(names) > MOST_STRIPS:
        mine = account[(account["kind"] == "position") & (account["status"] == "set aside")]
        ranked = mine.groupby("pump_id")["count"].sum().sort_values(ascending=False, kind="stable")
        chosen = set(ranked.head(MOST_STRIPS).index)
        rest = [name for name in names if name not in chosen]
        chosen |= set(rest[: MOST_STRIPS - len(chosen)])
        names = [name for name in names if name in chosen]
    return names


def _runs(timeline: Timeline, pump_id: str) -> list[tuple[float, float, str]]:
    """Spells of one pump in which most of its parts are known alike, by month."""
    mine = timeline.stretches[timeline.stretches["pump_id"] == pump_id]
    edges = np.append(np.arange(*timeline.window, MONTH), timeline.window[1] + 1.0)
    middle = (edges[:-1] + edges[1:]) / 2.0
    start, end = mine["start"].to_numpy(float), mine["end"].to_numpy(float)
    within = (start[:, None] <= middle) & (middle < end[:, None])
    states = list(STATUS_COLOURS)
    alike = mine["status"].to_numpy(object) == np.array(states, dtype=object)[:, None]
    counts = alike.astype(int) @ within.astype(int)
    most = np.where(counts.sum(axis=0) > 0, np.argmax(counts, axis=0), -1)
    runs, place = [], 0
    for state, members in groupby(most.tolist()):
        size = len(list(members))
        if state >= 0:
            runs.append((float(edges[place]), float(edges[place + size]), states[state]))
        place += size
    return runs


def plot_fleet(
    study: ReadableStudy, *, drawn: pd.DataFrame | None = None, ax: Axes | None = None
) -> Axes:
    """Draw one strip per pump: how its parts' ages are known, and its breakdowns.

    Parameters
    ----------
    study : ReadableStudy
        Finished.
    drawn : DataFrame, optional
        Its `fleet_table`, where it is at hand.
    ax : Axes, optional
        Where to draw; a new figure when None.

    Returns
    -------
    Axes
    """
    drawn = fleet_table(study) if drawn is None else drawn
    names = list(drawn["pump_id"].drop_duplicates())
    row = {name: -float(place) for place, name in enumerate(names)}
    down = drawn[drawn["what"] == "breakdown"]
    with style.drawing(ax, height=1.7 + 0.105 * len(names)) as axes:
        spells = drawn.drop(index=down.index).rename(columns={"what": "status"})
        draw_bars(axes, spells, [row[name] for name in spells["pump_id"]], 0.33)
        heights = [row[name] for name in down["pump_id"]]
        mark: dict[str, Any] = {"ls": "", "marker": "x", "color": style.WINE}
        axes.plot(down["start"].tolist(), heights, ms=3.2, mew=0.9, **mark)
        axes.set_yticks(list(row.values()), names)
        axes.tick_params(axis="y", length=0, labelsize=6.2)
        axes.grid(visible=False)
        axes.set_ylim(-len(names) + 0.3, 0.7)
        date_axis(axes, study.records.plant.window())
        handles = status_handles(STATUS_COLOURS)
        list_marks(axes, [*handles, Line2D([], [], ms=6, label="breakdown", **mark)])
        style.say(axes, _fleet_message(drawn, len(study.records.pumps)), _fleet_caption(study))
    return axes


def _fleet_message(drawn: pd.DataFrame, pumps: int) -> str:
    spells = drawn[drawn["what"] != "breakdown"]
    days = (spells["end"] - spells["start"]).groupby(spells["what"]).sum()
    share = float(days.get("set aside", 0)) / max(float(days.sum()), 1.0)
    shown = drawn["pump_id"].nunique()
    whose = "all pumps" if shown == pumps else f"the {shown} pumps with most set aside"
    return f"Of {whose}, the ages of most parts are not known for {100 * share:.0f} % of the time"


def _fleet_caption(study: ReadableStudy) -> str:
    return f"By month, as most part positions of a pump are known. {study_window(study)}"
