"""What the figures of lives draw."""

from types import SimpleNamespace
from typing import Any

import numpy as np
import pandas as pd
import pytest

from pumplife.report.events import breakdowns_by_service, count_account
from pumplife.report.pictures import (
    draw_life,
    name_group,
    picture_fit,
    rank_longest,
)
from pumplife.weibull.draws import LifeDraws


def test_draw_life_takes_median_and_band() -> None:
    scale = np.linspace(80.0, 120.0, 101)
    ones = np.ones(101)
    draws = LifeDraws(early_share=0 * ones, early_scale=ones, shape=ones, scale=scale)
    curve = draw_life("x", draws, np.array([100.0]))
    # alive rises with scale, so quantiles of one are quantiles of the other
    np.testing.assert_allclose(curve.middle, np.exp(-100 / 100))
    np.testing.assert_allclose(curve.low, np.exp(-100 / 82))
    np.testing.assert_allclose(curve.high, np.exp(-100 / 118))


def test_longest_mean_life_by_hand() -> None:
    scale = np.array([[100.0, 100.0, 100.0, 100.0], [90.0, 110.0, 120.0, 130.0]])
    ones = np.ones_like(scale)
    draws = LifeDraws(early_share=0 * ones, early_scale=ones, shape=2 * ones, scale=scale)
    assert rank_longest(draws) == (1, 0.75)


def test_picture_keeps_intervals_and_suspensions_apart(study: SimpleNamespace) -> None:
    row = study.tables["fits"].to_dict("records")[0]
    picture = picture_fit(study.fits.rows, 0, row, study.fits.draws[0])
    lives = study.tables["lives"]
    np.testing.assert_array_equal(picture.between_low, np.full(6, 3000.0))
    np.testing.assert_array_equal(picture.between_high, np.full(6, 4500.0))
    failed = lives[lives["outcome"] != "suspended"]
    assert picture.age.size == len(failed) - 5  # six share the middle of one interval
    assert np.all(np.diff(picture.share_failed) > 0)
    assert picture.title == "Glaze slip, diaphragm, NBR"


def test_picture_thins_many_points(study: SimpleNamespace) -> None:
    many = 5000
    age = np.linspace(10, 9000, many)
    rows: Any = SimpleNamespace(
        lower=age, upper=age, entry=np.zeros(many), weight=np.ones(many), group=np.zeros(many, int)
    )
    row = study.tables["fits"].to_dict("records")[0]
    picture = picture_fit(rows, 0, row, study.fits.draws[0], most=100)
    assert picture.age.size == 100
    assert picture.age[0] == 10
    assert picture.age[-1] == 9000


@pytest.mark.parametrize(
    ("row", "words"),
    [
        ({"service": "caustic", "size_mm": 50.0, "part": "ball"}, "Caustic, 50 mm, ball"),
        ({"service": "caustic", "size_mm": np.nan, "material": "PTFE"}, "Caustic, PTFE"),
    ],
)
def test_groups_are_named_by_what_is_known(row: dict[str, Any], words: str) -> None:
    assert name_group(row) == words


def test_records_are_counted_by_their_account(study: SimpleNamespace) -> None:
    counts = count_account(study.tables["account"])
    assert list(counts["kind"].unique()) == ["ticket", "finding", "position"]
    assert counts["count"].tolist() == [109, 11, 7, 38, 0, 2, 250, 30, 20]
    np.testing.assert_allclose(counts.groupby("kind")["share"].sum(), 1.0)


def test_a_pump_counts_in_a_service_while_it_stands_there(study: SimpleNamespace) -> None:
    events = breakdowns_by_service(study.records.plant, study.duty, study.lives.visits)
    assert list(events) == ["glaze slip", "caustic"]
    glaze, caustic = events["glaze slip"], events["caustic"]
    assert glaze.systems == 12
    assert caustic.systems == 1
    # eleven of twelve break down in the first year (one visit was planned), all in the next two,
    # then eleven are left and each breaks down every year
    np.testing.assert_allclose(glaze.mcf[-1], 11 / 12 + 5)
    np.testing.assert_allclose(caustic.mcf, [1, 2, 3])
    np.testing.assert_allclose(caustic.time, [3.5, 4.5, 5.5])


def test_no_breakdown_no_curve(study: SimpleNamespace) -> None:
    calm = study.lives.visits.assign(breakdown=False)
    assert breakdowns_by_service(study.records.plant, study.duty, calm) == {}
    assert count_account(pd.DataFrame()).empty
