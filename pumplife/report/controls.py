"""Sliders under which a figure is drawn anew; without ipywidgets the figure as it is."""

from __future__ import annotations

import html
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from importlib.util import find_spec
from typing import Any

from matplotlib.axes import Axes

from pumplife.errors import PumplifeError
from pumplife.report import style
from pumplife.report.notebook import Shown, draw_png


@dataclass(frozen=True, slots=True, kw_only=True)
class Control:
    """One input that can be moved.

    Attributes
    ----------
    name : str
        What the drawing function calls it.
    words : str
        What people read, with its unit.
    value, low, high, step : float
        Where it stands, and how far and how finely it moves [its unit].
    """

    name: str
    words: str
    value: float
    low: float
    high: float
    step: float


def around(name: str, words: str, value: float, *, most: float = 4.0) -> Control:
    """A price that moves from 0 to some times what it is, in steps of a twentieth.

    Parameters
    ----------
    name, words, value
        As of `Control`.
    most : float
        Upper end as a multiple of the value.
    """
    return Control(
        name=name, words=words, value=value, low=0.0, high=most * value, step=value / 20.0
    )


def offer(draw: Callable[..., Axes], controls: Sequence[Control]) -> Shown:
    """Show a figure, with controls that draw it anew where ipywidgets is installed.

    Parameters
    ----------
    draw : callable
        Takes every control by name and returns the drawing.
    controls : sequence of Control

    Returns
    -------
    Shown
    """
    axes = draw(**{one.name: one.value for one in controls})
    if not controls or find_spec("ipywidgets") is None:
        return Shown(axes=axes)
    return Shown(axes=axes, widget=_build(draw, controls, axes))


def _build(draw: Callable[..., Axes], controls: Sequence[Control], axes: Axes) -> Any:
    """Sliders, the picture and its message below."""
    import ipywidgets as widgets  # noqa: PLC0415  (an extra)

    sliders = {one.name: _slide(widgets, one) for one in controls}
    picture = widgets.Image(value=draw_png(axes), format="png")
    message = widgets.HTML(html.escape(style.read_title(axes)))

    def redraw(_: object) -> None:
        try:
            drawn = draw(**{name: slider.value for name, slider in sliders.items()})
        except PumplifeError as error:
            message.value = html.escape(str(error))
            return
        picture.value, message.value = draw_png(drawn), html.escape(style.read_title(drawn))

    for slider in sliders.values():
        slider.observe(redraw, names="value")
    return widgets.VBox([*sliders.values(), picture, message])


def _slide(widgets: Any, one: Control) -> Any:
    """One slider, which reports when it is let go."""
    return widgets.FloatSlider(
        value=one.value,
        min=one.low,
        max=one.high,
        step=one.step,
        description=one.words,
        readout_format=".3f" if one.step < 0.01 else ".2f" if one.step < 1.0 else ",.0f",
        continuous_update=False,
        style={"description_width": "initial"},
        layout={"width": "42em"},
    )
