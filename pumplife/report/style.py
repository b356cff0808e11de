"""How a figure looks: one palette, one frame, a sentence above and the data behind it below."""

import textwrap
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import Any, Literal

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.axis import Axis
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.ticker import FuncFormatter
from numpy.typing import NDArray

INK = "#1d2935"  # text and axes
SOFT = "#66727f"  # captions, run to failure
RULE = "#d5dbe1"  # grid
PAPER = "#ffffff"
NAVY = "#17406d"  # the advice, the fitted life
ORANGE = "#d9702a"  # today's practice, what is overdue
SKY = "#58a6d6"  # bands, what is planned
OCHRE = "#e3b540"
WINE = "#86264c"

SERIES = (NAVY, ORANGE, SKY, WINE, OCHRE, SOFT)
"""Told apart by lightness as well as by hue, so that grey print and colour-blind eyes can."""

DASHES = ("-", "--", "-.", ":", (0, (5, 1, 1, 1, 1, 1)), (0, (1, 1)))

SETTINGS: Any = {
    "font.family": ["DejaVu Sans"],
    "font.size": 9.0,
    "svg.fonttype": "none",
    "svg.hashsalt": "pumplife",
    "text.color": INK,
    "text.parse_math": False,
    "figure.facecolor": PAPER,
    "axes.facecolor": PAPER,
    "axes.edgecolor": SOFT,
    "axes.labelcolor": INK,
    "axes.linewidth": 0.8,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.axisbelow": True,
    "axes.grid": True,
    "axes.grid.axis": "y",
    "grid.color": RULE,
    "grid.linewidth": 0.7,
    "xtick.color": SOFT,
    "ytick.color": SOFT,
    "xtick.labelcolor": INK,
    "ytick.labelcolor": INK,
    "lines.linewidth": 1.8,
    "lines.solid_capstyle": "round",
    "legend.frameon": False,
}

WIDTH, HEIGHT = 7.2, 4.0  # inches
CAPTION_LINE = 112  # characters that fit across the width
TITLE_LINE = 78
OWN = "pumplife"  # label of a figure that holds one of ours alone


@contextmanager
def own_style() -> Iterator[None]:
    """Draw in the project's style and leave the settings of the session as they were."""
    with mpl.rc_context(SETTINGS):
        yield


def new_axes(*, width: float = WIDTH, height: float = HEIGHT) -> Axes:
    """Open a figure of its own, outside any window manager.

    Parameters
    ----------
    width, height : float
        Size of the figure [inch].

    Returns
    -------
    Axes
        Empty axes; ``.figure`` is the figure.
    """
    figure = Figure(figsize=(width, height), layout="constrained")
    figure.set_label(OWN)
    FigureCanvasAgg(figure)
    return figure.add_subplot()


@contextmanager
def drawing(ax: Axes | None, *, height: float = HEIGHT) -> Iterator[Axes]:
    """Draw in the project's style on given axes, or on those of a new figure.

    Parameters
    ----------
    ax : Axes or None
        Where to draw; a new figure when None.
    height : float
        Of the new figure [inch].
    """
    with own_style():
        yield new_axes(height=height) if ax is None else ax


def say(axes: Axes, title: str, caption: str = "") -> None:
    """Write the message above the axes and the data behind it below them.

    Parameters
    ----------
    axes : Axes
        Where; in a figure of its own both span its whole width.
    title : str
        One sentence.
    caption : str
        Failures, suspensions, window, assumptions.
    """
    figure = axes.figure
    heading, below = _wrap(title, TITLE_LINE), _wrap(caption, CAPTION_LINE)
    if isinstance(figure, Figure) and figure.get_label() == OWN:
        figure.suptitle(heading, x=0.012, ha="left", fontsize=10.5, fontweight="bold")
        if below:
            figure.supxlabel(below, x=0.012, ha="left", fontsize=7.8, color=SOFT)
        return
    axes.set_title(heading, loc="left", fontsize=10.5, fontweight="bold", pad=10)
    if below:
        axes.annotate(
            below,
            xy=(0, 0),
            xycoords="axes fraction",
            xytext=(0, -44),
            textcoords="offset points",
            ha="left",
            va="top",
            fontsize=7.8,
            color=SOFT,
            annotation_clip=False,
        )


def _wrap(words: str, width: int) -> str:
    """Break words into lines, never between a number and its percent sign."""
    return textwrap.fill(words.replace(" %", "\u00a0%"), width).replace("\u00a0%", " %")


def label_ends(axes: Axes, places: Sequence[tuple[float, str, str]], *, gap: float = 0.065) -> None:
    """Name lines at the right edge of the axes, moved apart where they would collide.

    Parameters
    ----------
    axes : Axes
        With its limits already set.
    places : sequence of (height, words, colour)
        Height of each line at the right edge [data units of the y axis]; no mark where the
        colour is blank.
    gap : float
        Least distance between two names [share of the height of the axes].
    """
    if not places:
        return
    to_share = axes.transLimits.transform
    heights = [float(to_share(axes.transScale.transform((1.0, place[0])))[1]) for place in places]
    for share, place in zip(spread_apart(heights, gap), places, strict=True):
        _name(axes, (1.0, share), place[1], place[2], mark=(6, 0), text=(16, 0), ha="left")


def list_names(axes: Axes, names: Sequence[tuple[str, str]]) -> None:
    """List what is drawn in the upper right corner, each with a mark in its colour.

    Parameters
    ----------
    axes : Axes
        Where.
    names : sequence of (words, colour)
        From top to bottom.
    """
    for step, (words, colour) in enumerate(names):
        down = -8 - 14 * step
        _name(axes, (1.0, 1.0), words, colour, mark=(0, down), text=(-11, down), ha="right")


def _name(
    axes: Axes,
    xy: tuple[float, float],
    words: str,
    colour: str,
    *,
    mark: tuple[float, float],
    text: tuple[float, float],
    ha: Literal["left", "right"],
) -> None:
    """Write words in ink, which can be read, beside a mark in the colour of the line."""
    marked = [("■", mark, colour)] if colour else []
    for label, at, ink in (*marked, (words, text, INK)):
        axes.annotate(
            label,
            xy=xy,
            xycoords="axes fraction",
            xytext=at,
            textcoords="offset points",
            ha=ha,
            va="center",
            fontsize=8.2,
            color=ink,
            annotation_clip=False,
            bbox={"facecolor": PAPER, "alpha": 0.8, "lw": 0, "pad": 1},
        )


def spread_apart(heights: Sequence[float], gap: float) -> NDArray[np.float64]:
    """Move heights apart to at least `gap`, keeping their order and their middle.

    Parameters
    ----------
    heights : sequence of float
        Wanted heights [share of the axes].
    gap : float
        Least distance [share of the axes].

    Returns
    -------
    array (heights,)
        Heights within 0 to 1 where there is room for them.
    """
    wanted = np.clip(np.asarray(heights, dtype=float), 0.0, 1.0)
    order = np.argsort(wanted, kind="stable")
    steps = gap * np.arange(wanted.size)
    free = wanted[order] - steps
    up, down = np.maximum.accumulate(free), np.minimum.accumulate(free[::-1])[::-1]
    lifted = np.clip(0.5 * (up + down), 0.0, max(1.0 - float(steps[-1]), 0.0)) + steps
    placed = np.empty_like(wanted)
    placed[order] = lifted
    return np.asarray(placed, dtype=float)


def write_thousands(*axis: Axis) -> None:
    """Write the numbers along an axis with thousands apart and a true minus."""
    for one in axis:
        one.set_major_formatter(FuncFormatter(lambda value, _: f"{value:,.10g}".replace("-", "−")))


def write_percents(*axis: Axis) -> None:
    """Write shares along an axis in percent."""
    for one in axis:
        one.set_major_formatter(FuncFormatter(lambda value, _: f"{100 * value:.10g} %"))


def read_title(axes: Axes) -> str:
    """Give the message of a drawing in one line."""
    figure = axes.figure
    own = isinstance(figure, Figure) and figure.get_label() == OWN
    words = figure.get_suptitle() if isinstance(figure, Figure) and own else axes.get_title("left")
    return " ".join(words.split())


def read_caption(axes: Axes) -> str:
    """Give what a drawing of its own says below the axes, in one line."""
    figure = axes.figure
    own = isinstance(figure, Figure) and figure.get_label() == OWN
    return " ".join(figure.get_supxlabel().split()) if isinstance(figure, Figure) and own else ""
