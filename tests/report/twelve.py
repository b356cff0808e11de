"""Twelve figures, one of each kind, as text: the words one sees and a sample of what is drawn.

``python -m tests.report.twelve`` writes them anew into tests/report/snapshots; look at the
figures and at the difference before it is committed.
"""

import re
import tempfile
from collections.abc import Iterator
from html import unescape
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pandas as pd

from pumplife.lives.build import build_lives
from pumplife.records.read import join_records, read_written
from pumplife.report.drawn import Drawn, as_drawn
from pumplife.report.figures_calibration import calibration_table, plot_calibration
from pumplife.report.figures_doubt import plot_tornado, tornado_table
from pumplife.report.figures_timeline import plot_timeline, timeline_table
from pumplife.report.gather import gather_figures
from pumplife.report.svg import write_svg
from pumplife.report.words import name_units
from pumplife.study import _read_usage
from tests.plants import small_plant
from tests.report.conftest import make_study
from tests.report.test_figures_doubt import GROUP, ROWS

FOLDER = Path(__file__).with_name("snapshots")
KINDS = (
    "timeline-p-1", "weibull-01-glaze-slip-diaphragm-nbr", "alive-glaze-slip",
    "cost-01-glaze-slip-50-mm-fluid-side", "inputs", "records", "calibration", "due",
    "stock-risk", "budget", "breakdowns", "lives-diaphragm",
)  # fmt: skip
MOST_ROWS = 12
DATA = "---- drawn"


def with_two_parts(folder: Path) -> SimpleNamespace:
    """The hand study, with a second part in its first service, so that lives can be compared."""
    fits = make_study(folder).tables["fits"]
    ball = fits.iloc[[0]].assign(part="ball", scale=12000.0, failures=9.0)
    return make_study(folder, tables={"fits": pd.concat([fits, ball], ignore_index=True)})


def demand_check() -> pd.DataFrame:
    """Three kits: as expected, far under, and one of which nothing is known."""
    return pd.DataFrame(
        {
            "store": "north",
            "item": ["KF-50", "KA-50", "KF-25"],
            "expected_12m": [14.2, 9.1, np.nan],
            "expected_low": [8.0, 5.0, np.nan],
            "expected_high": [21.0, 14.0, np.nan],
            "breakdowns_12m": [12.0, 3.0, 2.0],
        }
    )


def small_story(folder: Path) -> Any:
    """What a timeline reads of the small plant, without a fit."""
    records = join_records(read_written(small_plant(folder)))
    duty, clock = _read_usage(records)
    lives = build_lives(records, duty, clock)
    return SimpleNamespace(records=records, duty=duty, clock=clock, lives=lives, tables={})


def draw_twelve(folder: Path) -> Iterator[Drawn]:
    """Draw one figure of each kind from data made by hand."""
    found = {figure.name: figure for figure in gather_figures(with_two_parts(folder))}
    story = small_story(folder / "small")
    found["timeline-p-1"] = as_drawn(
        "timeline-p-1", "stories", plot_timeline(story, "P-1"), timeline_table(story, "P-1")
    )
    units = name_units("hours", "EUR")
    tornado = plot_tornado(ROWS, GROUP, units=units, caption="Slip.")
    found["inputs"] = as_drawn("inputs", "inputs", tornado, tornado_table(ROWS, GROUP))
    check = demand_check()
    axes = plot_calibration(check, caption="The last twelve months.")
    found["calibration"] = as_drawn("calibration", "stock", axes, calibration_table(check))
    for name in KINDS:
        yield found[name]


def tell(figure: Drawn) -> str:
    """Write the texts of a figure in the order of drawing, and rows of its data evenly chosen."""
    texts = re.findall(r"<text[^>]*>(.*?)</text>", write_svg(figure.axes), flags=re.DOTALL)
    words = [" ".join(unescape(re.sub(r"<[^>]*>", " ", text)).split()) for text in texts]
    count = len(figure.data)
    rows = np.unique(np.linspace(0, count - 1, min(count, MOST_ROWS)).round().astype(int))
    data = figure.data.iloc[rows].to_csv(index=False, float_format="%.4g", lineterminator="\n")
    return "\n".join([figure.alt, f"{count} rows", *words, DATA, data])


def renew() -> None:
    """Write every snapshot anew."""
    FOLDER.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory() as folder:
        for figure in draw_twelve(Path(folder)):
            (FOLDER / f"{figure.name}.txt").write_text(tell(figure), encoding="utf-8")


if __name__ == "__main__":
    renew()
