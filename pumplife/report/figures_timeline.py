"""The story of one pump as a figure: a strip per part position, its tickets above them."""

from collections.abc import Iterable, Mapping, Sequence

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.collections import PolyCollection
from matplotlib.colors import to_rgba
from matplotlib.lines import Line2D
from matplotlib.ticker import FuncFormatter, MultipleLocator

from pumplife.errors import RecordError
from pumplife.lives.timeline import Timeline, lay_timeline
from pumplife.report import style
from pumplife.report.face import ReadableStudy, study_window

STATUS_COLOURS = {
    "used": style.SKY,
    "used with an assumption": style.OCHRE,
    "set aside": style.RULE,
}
STATUS_HEIGHTS = {"used": 1.0, "used with an assumption": 0.6, "set aside": 0.3}
"""So that grey print tells them apart."""
STATUS_WORDS = {
    "used": "age known",
    "used with an assumption": "known with an assumption",
    "set aside": "set aside",
}
END_MARKS: dict[str, tuple[str, str, bool]] = {
    # what ended a stretch: marker, colour, filled
    "failed": ("X", style.WINE, True),
    "found failed": ("X", style.WINE, False),
    "may have failed": ("d", style.WINE, False),
    "worn": ("v", style.ORANGE, True),
    "renewed": ("|", style.INK, True),
    "age lost": ("x", style.INK, True),
    "failed, kept": ("D", style.ORANGE, False),
}
LOOK_MARK = ("o", style.NAVY, False)
TICKET_MARKS: dict[str, tuple[str, str, bool]] = {
    "breakdown": ("X", style.WINE, True),
    "planned": ("^", style.NAVY, True),
    "inspection": ("o", style.NAVY, False),
    "stoppage": ("s", style.SOFT, True),
    "modification": ("P", style.SOFT, True),
    "reason not known": ("D", style.ORANGE, False),
}
Lane = tuple[str, str, str]
YEAR = 365.25


def find_pump(study: ReadableStudy, pump_id: str) -> int:
    """Give the row of the register of a pump.

    Raises
    ------
    RecordError
        Where the register has no such pump.
    """
    names = study.records.pumps["pump_id"].to_numpy(dtype=object)
    rows = np.flatnonzero(names == pump_id)
    if not rows.size:
        raise RecordError(f"There is no pump {pump_id} in pumps; there is {names[0]}, for one.")
    return int(rows[0])


def timeline_of(study: ReadableStudy, pump_ids: Sequence[str]) -> Timeline:
    """Lay out the story of pumps, or say why there is none."""
    if study.lives is None or study.lives.gathered is None:
        raise RecordError("The records stop the study before lives: see the audit for the reason.")
    return lay_timeline(study.lives.gathered, [find_pump(study, name) for name in pump_ids])


def timeline_table(
    study: ReadableStudy, pump_id: str, *, timeline: Timeline | None = None
) -> pd.DataFrame:
    """Give what the timeline of a pump draws.

    Parameters
    ----------
    study : ReadableStudy
        Finished.
    pump_id : str
        The pump.
    timeline : Timeline, optional
        Its story and that of others, where it is laid out already.

    Returns
    -------
    DataFrame
        side, part, position (blank for the whole pump), start_on, end_on (equal for what
        happened at once), what, reason.

    Raises
    ------
    RecordError
        Where the register has no such pump, or the records stop the study before lives.
    """
    return _rows_drawn(_story(study, pump_id, timeline))


def _story(study: ReadableStudy, pump_id: str, timeline: Timeline | None) -> Timeline:
    return timeline_of(study, [pump_id]) if timeline is None else timeline.of(pump_id)


def _rows_drawn(timeline: Timeline) -> pd.DataFrame:
    spans = timeline.stretches.rename(columns={"status": "what"})
    points = timeline.events.assign(start=timeline.events["day"], end=timeline.events["day"])
    every = pd.concat([spans, points], ignore_index=True)
    every = with_dates(every.assign(reason=every["reason"].fillna("")))
    columns = ["pump_id", "side", "part", "position", "start_on", "end_on", "what", "reason"]
    return every.sort_values(["pump_id", "side", "part", "position", "start"], kind="stable")[
        columns
    ].reset_index(drop=True)


def with_dates(rows: pd.DataFrame) -> pd.DataFrame:
    """Add start_on and end_on, the dates of the days start and end."""
    dates = {f"{name}_on": pd.to_datetime(rows[name], unit="D") for name in ("start", "end")}
    return rows.assign(**dates)


def plot_timeline(
    study: ReadableStudy,
    pump_id: str,
    *,
    timeline: Timeline | None = None,
    ax: Axes | None = None,
) -> Axes:
    """Draw the story of one pump: a strip per part position, its tickets above them.

    Parameters
    ----------
    study : ReadableStudy
        Finished.
    pump_id : str
        The pump.
    timeline : Timeline, optional
        Its story and that of others, where it is laid out already.
    ax : Axes, optional
        Where to draw; a new figure when None.

    Returns
    -------
    Axes

    Raises
    ------
    RecordError
        Where the register has no such pump, or the records stop the study before lives.
    """
    timeline = _story(study, pump_id, timeline)
    lanes = timeline.stretches[["side", "part", "position"]].drop_duplicates()
    lanes = lanes.sort_values(["side", "part", "position"], ascending=[False, True, True])
    keys = [(str(side), str(part), str(where)) for side, part, where in lanes.to_numpy()]
    names = [_lane_name(*key) for key in keys]
    with style.drawing(ax, height=1.9 + 0.23 * len(names)) as axes:
        _draw_window(axes, timeline, len(names))
        place = {key: -1.0 - number for number, key in enumerate(keys)}
        _draw_stretches(axes, timeline.stretches, place)
        _draw_events(axes, timeline.events, place)
        axes.set_yticks([0.0, *place.values()], ["tickets", *names])
        axes.tick_params(axis="y", length=0, labelsize=8)
        axes.grid(visible=False)
        date_axis(axes, timeline.window)
        _explain(axes, timeline)
        style.say(axes, _timeline_message(timeline, pump_id), _timeline_caption(study, timeline))
    return axes


def _lane_name(side: str, part: str, position: str) -> str:
    where = position.replace("_", " ")
    return f"{part}, {where}" if position not in ("single", "unknown") else part


def _draw_window(axes: Axes, timeline: Timeline, lanes: int) -> None:
    """The records' window, and shaded where the pump wasn't in service."""
    bottom, first, last = -lanes - 0.6, *timeline.window
    away = [(first, last)]
    inside = timeline.stints[timeline.stints["in_service"].astype(bool)]
    for hole in zip(inside["start"].tolist(), inside["end"].tolist(), strict=True):
        away = [piece for span in away for piece in _without(span, hole)]
    for start, end in away:
        axes.axvspan(start, end, color=style.RULE, alpha=0.45, lw=0)
        if end - start > 0.06 * (last - first):
            axes.annotate(
                "not in\nservice",
                xy=((start + end) / 2.0, bottom + 0.15),
                ha="center",
                va="bottom",
                fontsize=7.2,
                color=style.SOFT,
            )
    axes.set_ylim(bottom, 2.1)


def _without(span: tuple[float, float], hole: tuple[float, float]) -> list[tuple[float, float]]:
    """What is left of a span beside a hole."""
    pieces = [(span[0], min(span[1], hole[0])), (max(span[0], hole[1]), span[1])]
    return [piece for piece in pieces if piece[1] - piece[0] > 0.5]


def _draw_stretches(axes: Axes, stretches: pd.DataFrame, place: Mapping[Lane, float]) -> None:
    lanes = zip(stretches["side"], stretches["part"], stretches["position"], strict=True)
    draw_bars(axes, stretches, [place[lane] for lane in lanes], 0.28)


def draw_bars(axes: Axes, spells: pd.DataFrame, heights: Sequence[float], half: float) -> None:
    """Draw how well spells are known, as bars around heights: the less, the thinner.

    Parameters
    ----------
    axes : Axes
        Where.
    spells : DataFrame
        start, end and status of each.
    heights : sequence of float
        Of each [data units of the y axis].
    half : float
        Half the thickness of what is known best [data units of the y axis].
    """
    if spells.empty:
        return
    status = spells["status"]
    thick = half * status.map(STATUS_HEIGHTS).to_numpy(float)
    x, y = spells[["start", "end"]].to_numpy(float), np.asarray(heights, float)
    low, high = y - thick, y + thick
    corners = [[x[:, 0], low], [x[:, 0], high], [x[:, 1], high], [x[:, 1], low]]
    colours = [to_rgba(STATUS_COLOURS[one], 1.0 if one == "set aside" else 0.62) for one in status]
    shapes = np.moveaxis(np.array(corners), 2, 0)
    axes.add_collection(PolyCollection(list(shapes), facecolors=colours, linewidths=0.0))


def _draw_events(axes: Axes, events: pd.DataFrame, place: Mapping[Lane, float]) -> None:
    """Marks on the strips, tickets and moves above them."""
    lanes = events[events["part"] != ""]
    keys = zip(lanes["side"], lanes["part"], lanes["position"], strict=True)
    lanes = lanes.assign(height=[place[key] for key in keys])
    for what, rows in lanes.groupby("what", sort=True):
        _mark(axes, rows["day"].tolist(), rows["height"].tolist(), _mark_of(str(what)))
    above = events[events["part"] == ""]
    ticket = above["what"].isin(list(TICKET_MARKS))
    for what, rows in above[ticket].groupby("what", sort=True):
        _mark(axes, rows["day"].tolist(), [0.0] * len(rows), TICKET_MARKS[str(what)])
    moves = above[~ticket]
    for number, (day, words) in enumerate(zip(moves["day"], moves["what"], strict=True)):
        axes.axvline(day, color=style.NAVY, lw=0.9, ls="--", ymax=0.97)
        axes.annotate(
            words,
            xy=(day, 2.05 - 0.75 * (number % 2)),  # neighbours side by side on two lines
            xytext=(3, 0),
            textcoords="offset points",
            fontsize=7.2,
            color=style.NAVY,
            va="top",
        )


def _mark_of(what: str) -> tuple[str, str, bool]:
    return END_MARKS.get(what, LOOK_MARK)


def _mark(
    axes: Axes, days: Sequence[float], heights: Sequence[float], mark: tuple[str, str, bool]
) -> None:
    marker, colour, filled = mark
    axes.plot(
        days,
        heights,
        ls="",
        marker=marker,
        ms=8 if marker == "|" else 5.5,
        color=colour,
        mfc=colour if filled else style.PAPER,
        mew=1.5 if marker in "|x" else 1.0,
        clip_on=False,
        zorder=4 if marker == "|" else 5,
    )


def date_axis(axes: Axes, window: tuple[float, float]) -> None:
    """Put dates along the axis, from the first to the last day of the records."""
    axes.set_xlim(window[0], window[1] + 1.0)
    years = (window[1] - window[0]) / YEAR
    step = next(one for one in (1 / 12, 1 / 4, 1 / 2, 1, 2, 5, 10, 100) if years / one <= 7)
    axes.xaxis.set_major_locator(MultipleLocator(step * YEAR))
    axes.xaxis.set_major_formatter(
        FuncFormatter(lambda day, _: f"{pd.Timestamp(0) + pd.Timedelta(days=day + 0.5):%Y-%m}")
    )
    axes.set_xlabel("Date [year-month]")


def _explain(axes: Axes, timeline: Timeline) -> None:
    """One line per kind of bar and mark that is drawn, beside the strips."""
    told = set(timeline.events["what"])
    known = [status for status in STATUS_COLOURS if status in set(timeline.stretches["status"])]
    handles = status_handles(known)
    handles += [_handle(f"{w} (ticket)", TICKET_MARKS[w]) for w in TICKET_MARKS if w in told]
    handles += [_handle(what, END_MARKS[what]) for what in END_MARKS if what in told]
    if told & {"sound, kept", "worn, kept"}:
        handles.append(_handle("looked at and kept", LOOK_MARK))
    list_marks(axes, handles)


def status_handles(statuses: Iterable[str]) -> list[Line2D]:
    """A coloured square and words for each status."""
    return [
        Line2D([], [], ls="", marker="s", ms=8, alpha=1.0 if status == "set aside" else 0.62,
               color=STATUS_COLOURS[status], label=STATUS_WORDS[status])
        for status in statuses
    ]  # fmt: skip


def _handle(words: str, mark: tuple[str, str, bool]) -> Line2D:
    marker, colour, filled = mark
    face = colour if filled else style.PAPER
    return Line2D([], [], ls="", marker=marker, ms=6, color=colour, label=words, mfc=face)


def list_marks(axes: Axes, handles: list[Line2D]) -> None:
    """List what the bars and marks mean, to the right of the axes."""
    axes.legend(
        handles=handles,
        loc="upper left",
        bbox_to_anchor=(1.01, 1.0),
        fontsize=7.6,
        borderaxespad=0,
        labelspacing=0.75,
    )


def _timeline_message(timeline: Timeline, pump_id: str) -> str:
    tickets = timeline.events[timeline.events["part"] == ""]
    broken = int(tickets["what"].eq("breakdown").sum())
    days = (timeline.stretches["end"] - timeline.stretches["start"]).to_numpy(float)
    lost = days[timeline.stretches["status"].eq("set aside").to_numpy()].sum()
    share = lost / days.sum() if days.sum() > 0 else 0.0
    times = "once" if broken == 1 else f"{broken} times"
    words = f"{pump_id} broke down {times}"
    if share < 0.005:
        return f"{words}; the age of every part is known throughout"
    return f"{words}; for {100 * share:.0f} % of the time the age of its parts isn't known"


def _timeline_caption(study: ReadableStudy, timeline: Timeline) -> str:
    aside = timeline.stretches[timeline.stretches["status"] == "set aside"]
    reasons = aside["reason"].value_counts().head(2).index
    why = f" Set aside: {' '.join(reasons)}" if len(reasons) else ""
    return f"A mark stands where the life before it ended. {study_window(study)}{why}"
