"""A slice of the proof that lives from records in mid-life give back the truth, naive ones not."""

import numpy as np
import pandas as pd
import pytest

from tests.prove.lifestory import FEW, WAYS, fit_ways, judge_ways

SEEDS = range(1001, 1009)


@pytest.fixture(scope="module")
def ways() -> pd.DataFrame:
    return pd.concat([fit_ways(seed) for seed in SEEDS], ignore_index=True)


def test_records_that_begin_in_mid_life_give_back_shape_and_scale(ways: pd.DataFrame) -> None:
    """Eight plants with some 78 failures each know their mean shape to 3 % and scale to 1.5 %."""
    asked = [result for result in judge_ways(ways) if result.passes is not None]
    assert [result.of for result in asked] == [len(SEEDS)] * 2
    for result in asked:
        assert result.passes, result
    mine = ways[ways["way"] == WAYS[0]]
    assert (mine["failures"] >= FEW).all()
    assert abs(mine["log_scale"].mean()) < 0.05
    assert abs(mine["log_shape"].mean()) < 0.12


def test_naive_readings_of_the_same_tickets_are_far_off(ways: pd.DataFrame) -> None:
    """By 200 plants: shape e^-0.48 from the window's start; scale e^-0.23 of failures alone."""
    error = ways.groupby("way")[["log_shape", "log_scale"]].mean()
    assert error.loc["ages from the window's start", "log_shape"] < -0.3
    assert error.loc["failures only", "log_scale"] < -0.15
    assert error.loc["detection as failure", "log_shape"] > 0.05
    spread = ways[ways["way"] == WAYS[3]]["log_shape"].std(ddof=1) / np.sqrt(len(SEEDS))
    plain = error.loc[WAYS[0], "log_shape"]
    assert error.loc["detection as failure", "log_shape"] - plain > spread
