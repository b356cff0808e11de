"""The tornado of one pump group."""

import matplotlib.colors as mcolors
import numpy as np
import pandas as pd
import pytest

from pumplife.report.figures_doubt import MOST_INPUTS, plot_tornado, tornado_table
from pumplife.report.style import NAVY, read_title
from pumplife.report.words import name_units

UNITS = name_units("hours", "EUR")


def row(name, saving_low, saving_high, **more):
    key = {"service": "slip", "size_mm": np.nan, "side": "fluid", "kit": "FK", "hazard": "none"}
    fields = {"input_unit": "EUR", "value": 100.0, "low": 75.0, "high": 125.0, "flips": ""}
    return (
        key | fields | {"input": name, "saving_low": saving_low, "saving_high": saving_high} | more
    )


ROWS = pd.DataFrame(
    [
        row("downtime cost", 400.0, 2600.0, low=50.0, high=200.0, input_unit="EUR per h"),
        row("kit price", 1300.0, 800.0, flips="run to failure at 125 EUR"),
        row("call-out", 1050.0, 1100.0),
        row("elsewhere", 0.0, 9.0, service="glaze"),
    ]
)
GROUP = pd.Series(row("", 0.0, 0.0) | {"saving_per_year": 1000.0})


def test_table_holds_one_group_and_the_strongest_inputs():
    table = tornado_table(ROWS, GROUP)
    assert table["input"].tolist() == ["downtime cost", "kit price", "call-out"]
    many = pd.concat([ROWS.iloc[:1]] * 20)
    assert len(tornado_table(many, GROUP)) == MOST_INPUTS


def test_bars_run_from_the_saving_as_it_is_to_that_at_the_ends():
    axes = plot_tornado(ROWS, GROUP, units=UNITS)
    navy = mcolors.to_rgba(NAVY)
    high = [bar for bar in axes.patches if bar.get_facecolor() == navy]
    reached = [bar.get_x() + bar.get_width() for bar in high]
    assert reached == pytest.approx([2600.0, 800.0, 1100.0])
    assert [bar.get_x() for bar in high] == pytest.approx([1000.0] * 3)
    words = {text.get_text() for text in axes.texts}
    assert {"50 EUR per h", "200 EUR per h", "125 EUR"} <= words
    assert "75 EUR, 125 EUR" in words


def test_shares_are_written_in_percent():
    share = row("early", 500.0, 1500.0, low=0.0, high=0.0544, input_unit="share")
    axes = plot_tornado(pd.DataFrame([share]), GROUP, units=UNITS)
    assert {"0 %", "5.44 %"} <= {text.get_text() for text in axes.texts}


def test_message_says_the_strongest_input_and_what_flips():
    title = read_title(plot_tornado(ROWS, GROUP, units=UNITS))
    assert "Downtime cost moves the saving most: 400 to 2,600 EUR a year" in title
    assert "kit price: run to failure at 125 EUR" in title
    calm = read_title(plot_tornado(ROWS.iloc[[0, 2]], GROUP, units=UNITS))
    assert calm.endswith("no input here changes what to do.")


def test_a_group_that_nothing_moves_says_so():
    assert "No input" in read_title(plot_tornado(ROWS.iloc[3:], GROUP, units=UNITS))
