"""A slice of the bands of past advice: `results.csv` holds the whole."""

import pandas as pd
import pytest

from tests.prove.rewind import COUNT, FAMILIES, hold_bands, judge_bands, lay_known
from tests.rewind.fleet import HOURS_A_DAY


@pytest.fixture(scope="module")
def bands() -> pd.DataFrame:
    return hold_bands(5201, 60)


def test_lives_laid_add_up_to_the_hours_that_every_place_was_watched() -> None:
    """24 pumps, new on 1 January 2016, until 1 July 2019: 1,277 days."""
    lives = lay_known(5001)
    for number in range(len(FAMILIES)):
        mine = lives[lives["part"] == number]
        watched = float((mine["lower"] * mine["weight"]).sum())
        assert watched == pytest.approx(24 * COUNT[number] * 1277 * HOURS_A_DAY)


def test_bands_hold_the_true_cost_rate(bands: pd.DataFrame) -> None:
    """A true 90 % over 60 plants varies by 3.9 %."""
    assert judge_bands(bands).value > 0.80


def test_bands_half_as_wide_would_be_noticed(bands: pd.DataFrame) -> None:
    middle = 0.5 * (bands["low"] + bands["high"])
    narrow = bands.assign(low=0.5 * (bands["low"] + middle), high=0.5 * (bands["high"] + middle))
    assert judge_bands(narrow).passes is False
