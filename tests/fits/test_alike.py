"""Positions, years, causes: seen where they differ, left alone where they don't."""

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from lifelines import WeibullAFTFitter

from pumplife.fits.alike import modes
from pumplife.fits.alike.calendar import compare_years
from pumplife.fits.alike.holm import holm
from pumplife.fits.alike.positions import compare_positions
from pumplife.fits.alike.question import LIKE_COLUMNS
from pumplife.fits.rules import read_rules
from pumplife.weibull import bound_life, fit_weibull
from pumplife.weibull.contrast import ContrastRows, contrast_lives
from pumplife.weibull.scores import row_terms
from tests.fits.lives import drawn_lives, fit, table_of
from tests.prove.fleets import fit_plainly, run_fleets

REFERENCE = Path(__file__).parents[1] / "reference"
USUAL = read_rules({})
W07 = json.loads((REFERENCE / "published_fits.json").read_text())["checks"]["W07"]


def two_kinds(seed, ratio=0.7, number=40):
    """Lives of two kinds in one group, every life a cluster of its own."""
    rng = np.random.default_rng(seed)
    marked = np.arange(2 * number) % 2 == 0
    life = 4000.0 * np.where(marked, ratio, 1.0) * rng.weibull(2.2, 2 * number)
    age = np.minimum(life, 4500.0)
    entry = np.where(np.arange(2 * number) % 5 == 0, 0.3 * age, 0.0)
    return ContrastRows(
        lower=age,
        upper=np.where(life <= 4500.0, age, np.inf),
        entry=entry,
        weight=np.ones(2 * number),
        marked=marked,
        group=np.zeros(2 * number, np.int64),
        cluster=np.arange(2 * number),
    )


def test_the_ratio_is_that_of_a_general_library():
    rows = two_kinds(3)
    ours = contrast_lives(rows, 1)
    frame = pd.DataFrame(
        {"age": rows.lower, "failed": np.isfinite(rows.upper), "entry": rows.entry,
         "marked": rows.marked.astype(float)}
    )  # fmt: skip
    theirs = WeibullAFTFitter().fit(
        frame, "age", "failed", entry_col="entry", formula="marked", robust=True
    )
    assert np.log(ours.ratio[0]) == pytest.approx(theirs.params_["lambda_"]["marked"], abs=2e-4)
    error = theirs.standard_errors_["lambda_"]["marked"]
    reach = np.log(ours.ratio_high[0] / ours.ratio[0])
    clusters = len(rows.lower)
    from_library = 1.6644 * error * np.sqrt(clusters / (clusters - 1))  # t, 79 degrees
    assert reach == pytest.approx(from_library, rel=0.02)


@given(st.integers(0, 10_000), st.floats(1e-3, 1e4))
@settings(max_examples=15, deadline=None)
def test_swapped_kinds_give_the_inverse_ratio_in_any_unit(seed, unit):
    rows = two_kinds(seed)
    plain = contrast_lives(rows, 1)
    swapped = ContrastRows(
        lower=rows.lower * unit, upper=rows.upper * unit, entry=rows.entry * unit,
        weight=rows.weight, marked=~rows.marked, group=rows.group, cluster=rows.cluster,
    )  # fmt: skip
    other = contrast_lives(swapped, 1)
    assert other.ratio[0] == pytest.approx(1.0 / plain.ratio[0], rel=1e-6)
    assert other.ratio_low[0] == pytest.approx(1.0 / plain.ratio_high[0], rel=1e-6)
    assert other.p_value[0] == pytest.approx(plain.p_value[0], rel=1e-5)


def test_row_scores_are_the_slopes_of_the_log_likelihood():
    lower, upper = np.array([3.0, 0.0, 2.0, 4.0, 1.0]), np.array([3.0, 2.0, np.inf, 9.0, 1.5])
    entry = np.array([0.0, 0.0, 1.0, 0.0, 0.5])

    def log_likelihood(log_shape, log_scale):
        shape, scale = np.exp(log_shape), np.exp(log_scale)
        low, high, start = ((t / scale) ** shape for t in (lower, upper, entry))
        exact = log_shape + (shape - 1) * np.log(np.maximum(lower, 1e-9) / scale) - log_scale - low
        with np.errstate(divide="ignore"):
            between = np.log(np.exp(-low) - np.exp(-high))
        return np.where(lower == upper, exact, between) + start

    at, step = (np.log(1.7), np.log(4.0)), 1e-5
    terms = row_terms(lower, upper, entry, shape=np.full(5, 1.7), scale=np.full(5, 4.0))
    by_shape = log_likelihood(at[0] + step, at[1]) - log_likelihood(at[0] - step, at[1])
    by_scale = log_likelihood(at[0], at[1] + step) - log_likelihood(at[0], at[1] - step)
    np.testing.assert_allclose(terms.by_shape, by_shape / (2 * step), rtol=1e-6)
    np.testing.assert_allclose(-1.7 * terms.residual, by_scale / (2 * step), rtol=1e-6)


def test_holm_by_hand():
    got = holm(np.array([0.04, 0.01, np.nan, 0.03]))
    np.testing.assert_allclose(got, [0.06, 0.03, np.nan, 0.06])


def test_suction_that_lasts_less_is_said_with_bounds_and_service():
    lives = run_fleets(3, 2, 20, years=8.0, suction=0.6)
    found = compare_positions(fit_plainly(lives), lives)
    assert found.columns.tolist() == LIKE_COLUMNS
    assert found["alike"].tolist() == ["differ", "differ"]
    assert found.loc[1, "verdict"].startswith("fleet 0001: suction CR balls last 0.")
    assert "times as long as discharge ones" in found.loc[1, "verdict"]
    assert (found["ratio_low"] < found["ratio"]).all()
    assert (found["ratio_high"] < 0.9).all()


def test_balls_are_not_asked_left_against_right_and_diaphragms_are():
    lives = run_fleets(4, 1, 20, years=8.0)
    assert compare_positions(fit_plainly(lives), lives)["compared"].tolist() == [
        "suction against discharge"
    ]
    sides = lives.assign(position=lives["position"].str.split("_").str[1], part="diaphragm")
    assert compare_positions(fit_plainly(sides), sides)["compared"].tolist() == [
        "left against right"
    ]


def test_positions_that_nobody_wrote_count_on_neither_side():
    lives = run_fleets(5, 1, 20, years=8.0)
    some = lives["start_on"].to_numpy() > np.datetime64("2019-01-01")
    blank = lives.assign(position=lives["position"].where(~some, "unknown"))
    found = compare_positions(fit_plainly(blank), blank)
    assert found.loc[0, "failures"] == (lives["outcome"].eq("failed") & ~some).sum() > 0


def test_few_failures_are_too_few_to_tell():
    lives = run_fleets(6, 1, 3, years=1.0)
    found = compare_positions(fit_plainly(lives), lives)
    assert found["alike"].tolist() == ["too few to tell"]
    assert np.isnan(found.loc[0, "ratio"])


def test_no_position_at_all_gives_an_empty_answer():
    lives = run_fleets(6, 1, 5, years=4.0).assign(position="")
    assert compare_positions(fit_plainly(lives), lives).empty


def test_lives_that_grow_shorter_are_seen_with_their_direction():
    lives = run_fleets(7, 1, 30, years=8.0, life_a_year=0.92)
    found = compare_years(fit_plainly(lives), lives)
    assert found.loc[0, "alike"] == "differ"
    assert "grow shorter" in found.loc[0, "verdict"]
    assert found.loc[0, "ratio_low"] < 0.92 < found.loc[0, "ratio_high"]


def test_a_fleet_that_starts_new_is_no_trend():
    """The first failures come late because every pump is new: wear, not a change over the years."""
    lives = run_fleets(8, 200, 12, years=5.0, shape=3.0)
    found = compare_years(fit_plainly(lives), lives)
    assert len(found["p_value"].dropna()) > 150
    assert (found["p_value"] < 0.05).mean() < 0.09
    assert not (found["alike"] == "differ").mean() > 0.01


def shock_absorbers():
    """Meeker & Escobar (1998): 38 distances, two failure modes."""
    inputs = W07["inputs"]
    first, every = set(inputs["mode1_failures"]), inputs["all"]
    age = np.array([*every["failures"], *every["suspensions"]], float)
    failed = np.arange(len(age)) < len(every["failures"])
    words = [
        ("mode 1" if a in first else "mode 2") if f else ""
        for a, f in zip(age, failed, strict=True)
    ]
    return table_of(age, failed).assign(mode=words)


@pytest.mark.parametrize("mode", ["mode 1", "mode 2"])
def test_published_lives_by_cause(monkeypatch, mode):
    """W07: Meeker & Escobar (1998), ch. 15, shock absorbers; seen on a public page."""
    monkeypatch.setattr(modes, "FEWEST_FAILURES", 4.0)
    fits, lives, _ = fit(shock_absorbers())
    split, _ = modes.split_by_mode(fits, lives, USUAL, seed=1)
    row = split.table.set_index("mode").loc[mode]
    printed = {output["name"]: float(output["printed"]) for output in W07["outputs"]}
    for percent in (1, 10, 50):
        life = row["scale"] * (-np.log1p(-percent / 100)) ** (1 / row["shape"])
        assert life == pytest.approx(printed[f"{mode.replace(' ', '')}_B{percent}_t"], rel=2e-5)


def test_rows_of_causes_are_never_found_for_advice():
    fits, lives, _ = fit(shock_absorbers())
    split, _ = modes.split_by_mode(fits, lives, USUAL, seed=1)
    assert split.table["mode"].tolist() == ["", "mode 1"]  # mode 2 has four failures
    assert split.find("slip", 50.0, "diaphragm", "CR", "") == 0
    assert len(split.draws.shape) == 2
    assert split.table.loc[1, "failures"] == 7
    assert split.table.loc[1, "suspensions"] == 31
    assert "not used for intervals" in split.table.loc[1, "verdict"]


def test_a_cause_is_worth_its_own_failures_only():
    """Nothing that other groups lent to the whole stands in the row of a cause."""
    rng = np.random.default_rng(7)
    cause = np.where(np.arange(60) % 10 == 0, "cut", "worn")
    lives = drawn_lives(rng, 60, censored_at=np.inf).assign(mode=cause)
    fits, lives, _ = fit(lives, drawn_lives(rng, 20, service="glaze").assign(mode=""))
    split, _ = modes.split_by_mode(fits, lives, USUAL, seed=1)
    row = split.table.set_index("mode").loc["cut"]
    assert (row["failures"], row["evidence"]) == (6, "weak")
    assert (row["borrowed_share"], row["prior_share"]) == (0.0, 0.0)
    assert row["b10_wider_prior"] == row["b10"]
    assert np.isnan(row["goodness_p"])
    age = lives["lower"].to_numpy()[:60]
    upper = np.where(cause == "cut", age, np.inf)
    for name, asked in (
        ("b10", {"quantity": "quantile", "at": 0.1}),
        ("mean_life", {"quantity": "mean"}),
    ):
        life = bound_life(age, upper, **asked)
        found = row[[name, f"{name}_low", f"{name}_high"]].to_numpy(float)
        np.testing.assert_allclose(found, [life.estimate, life.low, life.high], rtol=1e-6)


def test_causes_add_up_to_the_whole():
    rng = np.random.default_rng(2)
    causes = {"worn": 5000 * rng.weibull(3.0, 500), "cut": 9000 * rng.weibull(1.2, 500)}
    both = np.stack(list(causes.values()))
    age, failed = np.minimum(both.min(axis=0), 5500.0), both.min(axis=0) <= 5500.0
    words = np.where(failed, np.array(list(causes))[both.argmin(axis=0)], "")
    entry = np.where(np.arange(500) % 4 == 0, 0.2 * age, 0.0)
    lives = table_of(age, failed).assign(mode=words, entry=entry)
    fits, lives, _ = fit(lives)
    split, told = modes.split_by_mode(fits, lives, USUAL, seed=1)
    row = split.table.set_index("mode")
    assert row.loc["worn", "shape"] == pytest.approx(3.0, rel=0.12)
    assert row.loc["cut", "shape"] == pytest.approx(1.2, rel=0.15)
    assert told.loc[0, "alike"] == "adds up"
    assert told.loc[0, "ratio"] == pytest.approx(1.0, abs=0.05)
    assert row.loc["worn", "b10_low"] < row.loc["worn", "b10"] < row.loc["worn", "b10_high"]


def test_a_cause_that_hardly_any_life_speaks_of_has_draws_all_the_same():
    """Six of 1e6 lives failed: the scale lies a hundred logs off, its doubt as far; a covariance
    without an end is none."""
    flat = fit_weibull(*[np.array([1.0, 2.0, 3.0, 1.0, 2.0, 3.0])] * 2, group=[0, 0, 0, 1, 1, 1])
    wide = np.stack([np.array([[1e6, 0.0], [0.0, 0.1]]), np.full((2, 2), np.inf)])
    draws = modes._draws(replace(flat, covariance=wide), 500, 1)
    assert np.isfinite(draws.scale).all()
    assert draws.scale[0].max() > 1e100
    assert draws.shape[1] == pytest.approx(float(flat.shape[1]), rel=1e-4)


def test_nelson_aalen_by_hand():
    # 1 fails among 3, late entry of the fourth before 2: 2 fails among 3
    age, entry = np.array([1.0, 2.0, 3.0, 4.0]), np.array([0.0, 0.0, 0.0, 1.5])
    failed = np.array([True, True, False, True])
    got = modes.nelson_aalen(age, failed, entry, np.ones(4), 3.5)
    assert got == pytest.approx(1 / 3 + 1 / 3)


def test_parts_pulled_worn_are_no_failure_in_any_cause():
    rng = np.random.default_rng(4)
    lives = drawn_lives(rng, 80).assign(mode="worn")
    pulled = lives["outcome"].eq("failed") & (np.arange(80) % 3 == 0)
    lives.loc[pulled, "outcome"] = "worn"
    lives.loc[pulled, "share_failed"] = 0.0
    fits, lives, _ = fit(lives)
    assert fits.table["endpoint"].tolist() == ["failed", "worn or failed"]
    split, _ = modes.split_by_mode(fits, lives, USUAL, seed=1)
    row = split.table[split.table["mode"] == "worn"]
    assert row["endpoint"].tolist() == ["failed"]
    assert row["failures"].tolist() == [lives["outcome"].eq("failed").sum()]
