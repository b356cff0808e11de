"""The figure of ways of working and the table behind it."""

import numpy as np
import pandas as pd
import pytest

from pumplife.report.figures_ways import plot_ways, ways_table
from pumplife.report.style import read_title
from pumplife.report.words import name_units

UNITS = name_units("hours", "EUR")
KEYS = {"service": "glaze slip", "side": "fluid"}


def policies():
    """Four ways of one group, one withheld, and another group."""
    rows = [
        ("run to failure", "", np.nan, np.nan, np.nan, np.nan, 300.0, 280.0, 320.0),
        ("planned kit", "advised", 3180.0, np.nan, np.nan, np.nan, 200.0, 180.0, 230.0),
        ("air kit", "worth a look", 3180.0, np.nan, 2.0, np.nan, 190.0, 170.0, 220.0),
        ("kit by the calendar", "", np.nan, np.nan, np.nan, 35.0, 240.0, 220.0, 260.0),
        ("failed part only", "", np.nan, 900.0, np.nan, np.nan, 900.0, 800.0, 1000.0),
        ("inspection", "", *[np.nan] * 7),
    ]
    names = ["policy", "standing", "interval", "t0", "q", "block_weeks"]
    names += ["cost_rate", "cost_rate_low", "cost_rate_high"]
    table = pd.DataFrame(rows, columns=names)
    return pd.concat([table.assign(**KEYS), table.assign(**(KEYS | {"side": "air"}))])


def test_the_cheapest_stands_first_with_its_setting():
    table = ways_table(policies(), KEYS, UNITS)
    assert table["policy"].tolist() == [
        "air kit", "planned kit", "kit by the calendar", "run to failure", "failed part only",
    ]  # fmt: skip
    assert table["setting"].tolist() == [
        "at 3,180 h, n = 2", "at 3,180 h", "every 35 weeks", "", "older than 900 h",
    ]  # fmt: skip


def test_looks_are_said_to_come_every_so_often():
    row = policies().iloc[1:2].assign(policy="inspection, worn parts renewed", interval=420.0)
    assert ways_table(row, KEYS, UNITS)["setting"].tolist() == ["looks every 420 h"]


def test_bars_bands_and_marks():
    table = ways_table(policies(), KEYS, UNITS)
    axes = plot_ways(table, title="glaze slip", units=UNITS, caption="12 failures")
    assert read_title(axes) == ("Glaze slip: planned kit is advised; air kit would cost less still")
    right = axes.get_xlim()[1]
    assert [bar.get_width() for bar in axes.patches] == [190.0, 200.0, 240.0, 300.0, right]
    assert len({bar.get_facecolor() for bar in axes.patches}) == 3
    ends = [line.get_xdata() for line in axes.lines]
    assert any(np.array_equal(end, [180.0, 230.0]) for end in ends)
    written = [text.get_text() for text in axes.texts]
    assert "200" in written
    assert "900 →" in written
    labels = [text.get_text() for text in axes.get_yticklabels()]
    assert "Planned kit (advised)\nat 3,180 h" in labels
    assert axes.get_xlabel() == "Cost rate [EUR per 1,000 h]"


@pytest.mark.parametrize(
    ("rows", "words"),
    [
        (["planned kit", "run to failure"], "Slip: planned kit is advised, and costs least"),
        (["run to failure"], "Slip: ways of working compared"),
    ],
)
def test_the_message_follows_the_numbers(rows, words):
    table = ways_table(policies(), KEYS, UNITS)
    axes = plot_ways(table[table["policy"].isin(rows)], title="slip", units=UNITS)
    assert read_title(axes) == words
