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
)
from pumplife.weibull.draws import LifeDraws
from pumplife.weibull.survival import estimate_survival


def test_draw_life_takes_median_and_band() -> None:
    scale = np.linspace(80.0, 120.0, 101)
    ones = np.ones(101)
    draws = LifeDraws(early_share=0 * ones, early_scale=ones, shape=ones, scale=scale)
    curve = draw_life("x", draws, np.array([100.0]))
    # alive rises with scale, so quantiles of one are quantiles of the other
    np.testing.assert_allclose(curve.middle, np.exp(-100 / 100))
    np.testing.assert_allclose(curve.low, np.exp(-100 / 82))
    np.testing.assert_allclose(curve.high, np.exp(-100 / 118))


def test_picture_shows_the_points_of_the_estimate(study: SimpleNamespace) -> None:
    """Six failures between 3000 and 4500 h count among the exact ages that lie there."""
    row = study.tables["fits"].to_dict("records")[0]
    rows = study.fits.taken
    picture = picture_fit(rows, 0, row, study.fits.draws[0])
    mine = rows.group == 0
    steps = estimate_survival(rows.lower[mine], rows.upper[mine], rows.entry[mine])
    exact = np.isfinite(rows.upper[mine]) & (rows.lower[mine] == rows.upper[mine])
    np.testing.assert_array_equal(picture.age, np.sort(rows.lower[mine][exact]))
    np.testing.assert_array_equal(picture.age, steps.time)
    assert picture.between_low.size == 0
    middle = 1.0 - 0.5 * (np.concatenate([[1.0], steps.survival[:-1]]) + steps.survival)
    np.testing.assert_allclose(picture.share_failed, middle)
    inside = (picture.age > 3000.0) & (picture.age <= 4500.0)
    step = np.diff(picture.share_failed)
    assert step[inside[1:]].mean() > 1.5 * step[~inside[1:]][:5].mean()
    assert picture.title == "Glaze slip, diaphragm, NBR"


def test_picture_of_looks_only_is_drawn_as_bars(study: SimpleNamespace) -> None:
    """Cracks found at yearly looks at 300, 197 and 97 tubes: 4, 5 and 2."""
    lower = np.array([0.0, 1.0, 2.0, 1.0, 2.0, 3.0])
    upper = np.array([1.0, 2.0, 3.0, np.inf, np.inf, np.inf])
    rows: Any = SimpleNamespace(
        lower=lower, upper=upper, entry=np.zeros(6), group=np.zeros(6, int),
        weight=np.array([4.0, 5.0, 2.0, 99.0, 95.0, 95.0]),
    )  # fmt: skip
    row = study.tables["fits"].to_dict("records")[0] | {"scale": 20.0}
    picture = picture_fit(rows, 0, row, study.fits.draws[0])
    assert picture.age.size == 0
    assert picture.between_low.tolist() == [0.0, 1.0, 2.0]
    assert picture.between_high.tolist() == [1.0, 2.0, 3.0]
    failed = np.array([0.0, 0.0133333, 0.0383756, 0.0582030])
    np.testing.assert_allclose(picture.between_share, 0.5 * (failed[1:] + failed[:-1]), rtol=1e-5)


def test_late_entries_lift_the_points(study: SimpleNamespace) -> None:
    """Three lives, one of them watched only from 3 on: a half and a quarter live longer."""
    rows: Any = SimpleNamespace(
        lower=np.array([2.0, 4.0, 5.0]), upper=np.array([2.0, 4.0, np.inf]),
        entry=np.array([0.0, 3.0, 0.0]), group=np.zeros(3, int), weight=np.ones(3),
    )  # fmt: skip
    row = study.tables["fits"].to_dict("records")[0] | {"scale": 4.0}
    picture = picture_fit(rows, 0, row, study.fits.draws[0])
    np.testing.assert_allclose(picture.share_failed, [0.25, 0.625])
    assert picture.suspended.tolist() == [5.0]


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
