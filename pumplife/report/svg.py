"""Figures as text: files that are the same every time, and drawings that live inside a page."""

import io
import re
from html import escape
from typing import Any

from matplotlib.axes import Axes
from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.figure import Figure

from pumplife.report import style

FONTS = "'DejaVu Sans', Verdana, 'Segoe UI', sans-serif"

ROLES = {
    style.INK: "ink",
    style.SOFT: "soft",
    style.RULE: "rule",
    style.PAPER: "paper",
    style.NAVY: "navy",
    style.ORANGE: "orange",
    style.SKY: "sky",
    style.OCHRE: "ochre",
    style.WINE: "wine",
}
"""Colours that the page gives a light and a dark value."""


def write_svg(axes: Axes) -> str:
    """Give a figure as an SVG document, with text kept as text and the same bytes every time.

    Parameters
    ----------
    axes : Axes
        Of the figure.

    Returns
    -------
    str
    """
    figure = axes.figure
    assert isinstance(figure, Figure)
    paper = io.StringIO()
    canvas, dpi = figure.canvas, figure.dpi
    try:
        with style.own_style():  # not by savefig, which lays out by drawing all of it once more
            svg: Any = FigureCanvasSVG(figure)  # the library says nothing of its types
            svg.print_svg(paper, metadata={"Date": None, "Creator": None})
    finally:
        figure.set_canvas(canvas)
        figure.set_dpi(dpi)
    return paper.getvalue().replace("'DejaVu Sans'", FONTS)


def embed_svg(document: str, name: str, alt: str) -> str:
    """Prepare an SVG document for the page: own ids, page colours, a name for screen readers.

    Parameters
    ----------
    document : str
        From `write_svg`.
    name : str
        Unique on the page.
    alt : str
        The message in words.

    Returns
    -------
    str
        An svg element.
    """
    body = document[document.index("<svg") :]
    body = re.sub(r"<metadata>.*?</metadata>", "", body, flags=re.DOTALL)
    body = re.sub(r'\bid="', f'id="{name}--', body)
    body = re.sub(r'href="#', f'href="#{name}--', body)
    body = body.replace("url(#", f"url(#{name}--")
    body = re.sub(r"(\d+\.\d\d)\d+", r"\1", body)
    for colour, role in ROLES.items():
        body = body.replace(colour, f"var(--{role})")
    body = re.sub(r'(<svg [^>]*?) ?width="[^"]*" height="[^"]*"', r"\1", body, count=1)
    label = escape(alt, quote=True)
    return body.replace("<svg ", f'<svg role="img" aria-label="{label}" ', 1)
