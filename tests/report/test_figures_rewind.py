"""Figures of past advice and of a challenge show what their tables hold."""

import types

import numpy as np
import pandas as pd
import pytest
from matplotlib import pyplot as plt

from pumplife.policy.advice import advise
from pumplife.policy.challenge import challenge
from pumplife.records.read import join_records, read_written
from pumplife.report.figures_rewind import (
    challenge_table,
    plot_challenge,
    plot_rewind,
    rewind_table,
)
from pumplife.report.words import name_units
from pumplife.rewind.rewind import build_and_fit, nothing_to_rewind, rewind_records
from tests.rewind.fleet import fleet_tables, write_fleet

UNITS = name_units("hours", "EUR")


@pytest.fixture(scope="module")
def plant(tmp_path_factory):
    written = read_written(write_fleet(tmp_path_factory.mktemp("drawn") / "plant", fleet_tables(5)))
    records = join_records(written)
    duty, known = build_and_fit(records, seed=1)
    advice = advise(records, duty, known.clock, known.lives, known.fits)
    return advice, records, rewind_records(written, known, seed=1)


@pytest.fixture(autouse=True)
def close():
    yield
    plt.close("all")


def points(axes):
    return [line.get_xydata() for line in axes.lines if line.get_marker() == "o"]


@pytest.mark.parametrize("measure", ["cost", "failures"])
def test_points_are_those_of_the_table(plant, measure):
    rewound = plant[2]
    table = rewind_table(rewound, measure)
    predicted, realised = points(plot_rewind(rewound, units=UNITS, measure=measure))
    np.testing.assert_allclose(predicted[:, 1], table["predicted"])
    np.testing.assert_allclose(realised[:, 1], table["realised"])
    assert (table["low"] <= table["predicted"]).all()


def test_a_rewind_without_rows_draws_an_empty_figure():
    axes = plot_rewind(nothing_to_rewind("too short"), units=UNITS)
    assert len(rewind_table(nothing_to_rewind("too short"))) == 0
    assert axes.get_ylabel() == "Cost of the advice [EUR a year]"


@pytest.mark.parametrize("interval", [9000.0, np.inf])
def test_both_intervals_are_marked(plant, interval):
    advice, records, _ = plant
    found = challenge(types.SimpleNamespace(records=records, advice=advice), 0, interval)
    axes = plot_challenge(advice.curves[0], found, units=UNITS)
    marked = [line for line in axes.lines if line.get_label() in ("advice", "challenged")]
    assert marked[0].get_xdata()[0] == advice.decisions[0].interval
    expected = interval if np.isfinite(interval) else axes.get_xlim()[1]
    assert marked[1].get_xdata()[0] == expected
    assert isinstance(challenge_table(found), pd.DataFrame)
    assert list(challenge_table(found)["way"]) == ["challenged", "advised"]
