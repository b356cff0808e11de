"""What a notebook shows: a figure as a picture that carries its message and the numbers drawn."""

from __future__ import annotations

import base64
import io
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from numpy.typing import NDArray
from PIL import Image

from pumplife.report import style

DPI = 100  # of pictures in notebooks: sharp enough to read, small enough to commit
DIGITS = 5  # to which drawn numbers are kept


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Shown:
    """A figure in a notebook.

    Attributes
    ----------
    axes : Axes
        The drawing.
    widget : object
        Controls with the figure under them, where there are any; a page that can't run them shows
        the figure as it is.
    """

    axes: Axes
    widget: Any = None

    def __repr__(self) -> str:
        return style.read_title(self.axes)

    def _repr_mimebundle_(self, **kept: object) -> tuple[dict[str, Any], dict[str, Any]]:
        """The picture, with its message for those who can't see it and what is drawn."""
        message = style.read_title(self.axes)
        picture = base64.b64encode(draw_png(self.axes, small=True)).decode("ascii")
        live = {} if self.widget is None else self.widget._repr_mimebundle_()
        return (
            {**live, "text/plain": message, "image/png": picture},
            {"image/png": {"alt": message}, "drawn": read_drawing(self.axes)},
        )


def show(axes: Axes) -> Shown:
    """Show a drawing in a notebook.

    Parameters
    ----------
    axes : Axes
        As the functions of `report.figures...` return them.

    Returns
    -------
    Shown
    """
    return Shown(axes=axes)


def draw_png(axes: Axes, *, small: bool = False) -> bytes:
    """Draw the whole figure once, as a PNG: quickly, or small where it is kept in a file."""
    figure = axes.figure
    assert isinstance(figure, Figure), "figures within figures are never drawn here"
    figure.set_dpi(DPI)
    canvas: Any = figure.canvas
    if not isinstance(canvas, FigureCanvasAgg):
        canvas = FigureCanvasAgg(figure)
    canvas.draw()
    picture = Image.fromarray(np.asarray(canvas.buffer_rgba())).convert("RGB")
    written = io.BytesIO()
    if small:
        picture.quantize(128).save(written, format="PNG")
    else:
        picture.save(written, format="PNG", compress_level=1)
    return written.getvalue()


def read_drawing(axes: Axes) -> list[list[float]]:
    """Give the numbers that a figure draws, a row per line, bar, area and mark.

    Returns
    -------
    list of list of float
        Points; least, mean and most across; least, mean and most upwards; to `DIGITS` digits, in
        the units of the axes. Shapes without a finite point are left out.
    """
    found: list[NDArray[np.float64]] = []
    for one in axes.figure.axes:
        found += [np.asarray(line.get_xydata(), dtype=float) for line in one.lines]
        found += [
            np.asarray(patch.get_patch_transform().transform(patch.get_path().vertices))
            for patch in one.patches
        ]
        for some in one.collections:
            found += [np.asarray(path.vertices, dtype=float) for path in some.get_paths()]
            found.append(np.asarray(np.ma.filled(some.get_offsets(), np.nan), dtype=float))
    return [_sum_up(points) for points in found if np.isfinite(points).all(axis=-1).any()]


def _sum_up(points: NDArray[np.float64]) -> list[float]:
    """Points, and least, mean and most of both coordinates."""
    kept = points[np.isfinite(points).all(axis=-1)]
    ends = np.stack([kept.min(axis=0), kept.mean(axis=0), kept.max(axis=0)]).T.ravel()
    return [float(len(kept)), *(float(f"{value:.{DIGITS}g}") for value in ends)]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Pages:
    """Tables one below the other, each with its words above.

    Attributes
    ----------
    parts : tuple of (words, DataFrame)
    """

    parts: tuple[tuple[str, pd.DataFrame], ...]

    def __repr__(self) -> str:
        return "\n\n".join(f"{words}\n{table.to_string()}" for words, table in self.parts)

    def _repr_markdown_(self) -> str:
        """Words and tables as Markdown, which a notebook renders."""
        return "\n\n".join(f"{words}\n\n{table.to_html()}" for words, table in self.parts)


def show_pages(parts: Iterable[tuple[str, pd.DataFrame]]) -> Pages:
    """Show tables one below the other.

    Parameters
    ----------
    parts : iterable of (words, DataFrame)
        Words as Markdown.
    """
    return Pages(parts=tuple(parts))


def read_widely() -> None:
    """Have pandas write long words in full: verdicts and reasons are sentences."""
    pd.set_option("display.max_colwidth", None)
    pd.set_option("display.max_rows", 200)
