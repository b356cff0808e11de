"""Figures of few intervals and of the bench hold what their tables hold."""

import numpy as np
import pandas as pd
import pytest

from pumplife.report import style
from pumplife.report.figures_bench import few_table, load_table, plot_few, plot_load

FEW = pd.DataFrame(
    {
        "values_count": [1, 2, 3],
        "values": ["900", "900; 4,250", "900; 1,500; 4,250"],
        "cost": [1200.0, 1050.0, 1010.0],
        "extra_per_year": [200.0, 50.0, 10.0],
        "share": [0.2, 0.05, 0.01],
        "chosen": ["", "", "yes"],
    }
)


def load_rows(limit):
    weeks = pd.date_range("2025-06-30", periods=52, freq="7D")
    one = {"hours_planned": 3.0, "hours_breakdowns": 2.0, "limit": 6.0, "over_by": 0.0}
    north = pd.DataFrame({"week": weeks, "site": "north", **one})
    return pd.concat([north, north.assign(site="south", limit=limit)], ignore_index=True)


def test_few_intervals_are_drawn_as_tabled():
    axes = plot_few(FEW, "EUR")
    assert axes.lines[0].get_ydata() == pytest.approx(few_table(FEW)["share"].to_numpy())
    assert "3 intervals serve the whole plant: 900; 1,500; 4,250" in style.read_title(axes)


def test_the_bench_sums_its_sites_and_draws_its_limit():
    drawn = load_table(load_rows(4.0))
    assert len(drawn) == 26
    assert set(drawn["limit"]) == {10.0}
    axes = plot_load(load_rows(4.0))
    tops = [bar.get_y() + bar.get_height() for bar in axes.patches]
    assert max(tops) == pytest.approx(10.0)
    assert "156 h of planned work" in style.read_title(axes)
    assert "no week beyond" in style.read_title(axes)


def test_a_site_without_hours_leaves_the_line_out():
    axes = plot_load(load_rows(np.nan))
    assert not axes.lines
    crowded = load_rows(4.0)
    crowded.loc[0, "over_by"] = 1.0
    assert "in 1 of them a site goes beyond" in style.read_title(plot_load(crowded))
