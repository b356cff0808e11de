"""Predicted against realised, and the parts of a service side by side."""

from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pandas as pd

from pumplife.report.figures_calibration import calibration_table, plot_calibration
from pumplife.report.figures_records import plot_mean_cumulative, plot_record_funnel
from pumplife.report.figures_trials import plot_progress
from pumplife.report.gather_lives import draw_alive, draw_calibration
from pumplife.report.style import read_title
from tests.report.twelve import demand_check, with_two_parts


def texts(axes: Any) -> list[str]:
    return [text.get_text() for text in axes.texts]


def test_an_item_is_inside_its_band_or_not_by_hand() -> None:
    table = calibration_table(demand_check())
    assert table["item"].tolist() == ["KF-50", "KA-50"]  # of the third nothing was expected
    assert table["inside"].tolist() == ["yes", "no"]
    edge = demand_check().assign(breakdowns_12m=[21.0, 5.0, 0.0])
    assert calibration_table(edge)["inside"].tolist() == ["yes", "yes"]


def test_what_lies_outside_is_named() -> None:
    axes = plot_calibration(demand_check())
    assert "KA-50" in texts(axes)
    assert "KF-50" not in texts(axes)
    assert read_title(axes).startswith("In 1 of 2 items last year's breakdowns took")
    points = [line.get_xydata() for line in axes.lines[1:]]
    np.testing.assert_allclose(np.vstack(points), [[14.2, 12.0], [9.1, 3.0]])


def test_nothing_to_compare_says_so() -> None:
    nothing = demand_check().iloc[2:]
    assert read_title(plot_calibration(nothing)).startswith("No item can be compared")
    assert not list(draw_calibration(SimpleNamespace(tables={"demand_check": nothing})))  # type: ignore[arg-type]


def test_the_part_that_goes_first_is_named(tmp_path: Path) -> None:
    figures = list(draw_alive(with_two_parts(tmp_path)))
    assert [figure.name for figure in figures] == ["alive-glaze-slip"]  # the others have one part
    (figure,) = figures
    assert figure.data["label"].unique().tolist() == ["Diaphragm, NBR", "Ball, NBR"]
    first = figure.data[figure.data["label"] == "Diaphragm, NBR"]
    half = float(np.interp(-0.5, -first["alive"], first["age"]))
    assert f"diaphragm NBR goes first, half of them by {half:,.0f}"[:-2] in figure.alt
    assert "Diaphragm, NBR 63 and 40, Ball, NBR 9 and 40" in str(
        " ".join(figure.axes.figure.get_supxlabel().split())  # type: ignore[union-attr]
    )


def test_breakdowns_are_followed_to_the_end_of_the_records() -> None:
    one = SimpleNamespace(
        time=np.array([0.5, 1.0]),
        mcf=np.array([0.5, 1.0]),
        low=np.array([0.2, 0.5]),
        high=np.array([1.0, 2.0]),
    )
    axes = plot_mean_cumulative({"slip": one}, end=2.0)  # type: ignore[dict-item]
    assert axes.get_xlim()[1] == 2.0
    assert read_title(axes) == "Slip: 1.0 breakdowns per pump in 2.0 years"


def test_no_row_set_aside_is_said_in_words() -> None:
    account = pd.DataFrame({"kind": ["ticket"], "status": ["used"], "count": [5]})
    title = read_title(plot_record_funnel(account))
    assert title == "Of 5 ticket rows, none had to be set aside"


def test_the_bound_of_a_trial_is_named() -> None:
    look = {"trial_id": "T-1", "look": 1, "score": 1.7, "bound": 3.2, "decision": "go on"}
    trials = pd.DataFrame({"decision": ["go on"]})
    for share in (0.3, 0.9):
        axes = plot_progress(pd.DataFrame([look | {"share": share}]), trials)
        (mark,) = [text for text in axes.texts if text.get_text() == "shown from 3.20 up"]
        assert mark.xy == (share, 3.2)
        assert mark.get_ha() == ("left" if share < 0.6 else "right")
