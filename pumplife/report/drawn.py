"""A figure on its way into the report, and the name of its file."""

from __future__ import annotations

import re
from dataclasses import dataclass

import pandas as pd
from matplotlib.axes import Axes

from pumplife.report import style


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Drawn:
    """One figure of the report.

    Attributes
    ----------
    name : str
        File name without its ending.
    section : str
        Where on the page: group, ways, inputs, due, few, rewind, materials, trials, trial_plans,
        stock, stores, budget, fits, more_fits, records or stories.
    axes : Axes
        The drawing.
    data : DataFrame
        What is drawn.
    alt : str
        The message in words.
    row : int
        Row of intervals that the figure belongs to; -1 for none.
    """

    name: str
    section: str
    axes: Axes
    data: pd.DataFrame
    alt: str
    row: int = -1

    def __repr__(self) -> str:
        return f"Drawn({self.name}: {self.alt})"


def as_drawn(name: str, section: str, axes: Axes, data: pd.DataFrame, row: int = -1) -> Drawn:
    """Give a drawing its place; its words are its title."""
    return Drawn(
        name=name, section=section, axes=axes, data=data, alt=style.read_title(axes), row=row
    )


def slug(words: str) -> str:
    """Turn words into a file name: lower-case letters, digits and hyphens."""
    return re.sub(r"[^a-z0-9]+", "-", words.lower()).strip("-") or "figure"
