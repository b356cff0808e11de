"""Weibull regression: references, other libraries, existence, properties, by hand."""

from __future__ import annotations

import csv
import warnings

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import optimize, special

from pumplife.errors import NoFiniteEstimate, RecordError
from pumplife.weibull import (
    compare_regressions,
    compare_shapes,
    fit_regression,
    fit_weibull,
    judge_terms,
)
from pumplife.weibull.regression_design import build_design
from tests.reference import checks, regressions
from tests.weibull.sets import REFERENCE, SETS, read_set

GROUPED = [name for name, one in SETS.items() if "regression" in one]


def read_groups(name: str) -> tuple[np.ndarray, list[str]]:
    """Return the marks of all groups but the first, and their names."""
    with (REFERENCE / SETS[name]["about"]["file"]).open() as file:
        labels = np.array([row["group"] for row in csv.DictReader(file)])
    names = SETS[name]["regression"]["common_shape"]["names"]
    return (labels[:, None] == np.array(names[1:])).astype(float), names[1:]


@pytest.mark.parametrize("name", GROUPED)
@pytest.mark.parametrize("kind", ["common_shape", "separate_shapes"])
def test_groups_of_the_reference_sets(name, kind):
    """lives.json: 60-digit arithmetic, equal to R's survreg where that applies."""
    known = SETS[name]["regression"][kind]
    marks, names = read_groups(name)
    shapes = {"shape_covariates": marks, "shape_names": names} if "separate" in kind else {}
    fit = fit_regression(*read_set(name), covariates=marks, names=names, **shapes)
    assert fit.log_likelihood == pytest.approx(known["loglik"], rel=1e-11)
    assert fit.estimate == pytest.approx(known["theta"], rel=1e-7, abs=1e-8)
    assert fit.se == pytest.approx(known["se"], rel=1e-7)


@pytest.mark.parametrize("name", GROUPED)
def test_groups_apart_are_plain_fits(name):
    marks, names = read_groups(name)
    lives = read_set(name)
    fit = fit_regression(
        *lives, covariates=marks, names=names, shape_covariates=marks, shape_names=names
    )
    group = marks @ np.arange(1, marks.shape[1] + 1)
    plain = fit_weibull(*lives, group=group, bounds="wald")
    rows = np.eye(marks.shape[1] + 1)[:, 1:]
    assert np.exp(fit.log_scale(rows)) == pytest.approx(plain.scale, rel=1e-7)
    assert np.exp(fit.log_shape(rows)) == pytest.approx(plain.shape, rel=1e-7)
    assert fit.log_likelihood == pytest.approx(plain.log_likelihood.sum(), rel=1e-11)


@pytest.mark.parametrize("name", ["imotor", "icfail", "sim_ltrunc", "turbine"])
def test_without_covariates_it_is_the_plain_fit(name):
    lives = read_set(name)
    for bounds in ("wald", "likelihood"):
        fit = fit_regression(*lives, covariates=None, names=[], bounds=bounds)
        plain = fit_weibull(*lives, bounds=bounds)
        assert np.exp(fit.estimate) == pytest.approx([plain.scale, plain.shape], rel=1e-8)
        assert fit.covariance == pytest.approx(plain.covariance, rel=1e-6)
        for end in ("low", "high"):
            known = [getattr(plain, f"scale_{end}"), getattr(plain, f"shape_{end}")]
            assert np.exp(getattr(fit, end)) == pytest.approx(known, rel=1e-6)


def test_lifelines_agrees_with_late_entry():
    from lifelines import WeibullAFTFitter

    covariates, (lower, upper, entry) = regressions.rossi_lives(late=True)
    table = pd.DataFrame(covariates).astype(float)
    table = table.assign(week=lower, arrest=np.isfinite(upper), entry=entry)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        other = WeibullAFTFitter().fit(table, "week", "arrest", entry_col="entry")
        robust = WeibullAFTFitter().fit(table, "week", "arrest", entry_col="entry", robust=True)
    names = [*regressions.ROSSI]
    fit = fit_regression(
        lower, upper, entry, covariates=covariates, names=names, cluster=np.arange(len(lower))
    )
    known = [other.params_["lambda_"]["Intercept"], *other.params_["lambda_"][names]]
    assert fit.estimate[:-1] == pytest.approx(known, rel=2e-3, abs=2e-4)
    assert fit.log_likelihood == pytest.approx(other.log_likelihood_, abs=1e-4)
    plain = np.sqrt(np.diag(fit.plain_covariance))[1:-1]
    assert plain == pytest.approx(other.standard_errors_["lambda_"][names].to_numpy(), rel=5e-3)
    many = len(lower)  # every life its own cluster: the sandwich times n / (n - 1)
    alone = fit.se[1:-1] * np.sqrt((many - 1) / many)
    assert alone == pytest.approx(robust.standard_errors_["lambda_"][names].to_numpy(), rel=5e-3)


def test_likelihood_bounds_by_a_general_optimiser():
    inputs = checks.published("regressions")["R12"]["inputs"]
    lower, upper = regressions.ending(inputs["time"], inputs["status"])
    x = np.array(inputs["x"], dtype=float)
    fit = fit_regression(lower, upper, covariates=x[:, None], names=["x"], bounds="likelihood")

    def miss(free, place, value):
        terms = np.insert(free, place, value)
        z = np.exp(terms[2]) * (np.log(lower) - terms[0] - terms[1] * x)
        return -np.sum(np.isfinite(upper) * (terms[2] + z - np.log(lower)) - np.exp(z))

    drop = 0.5 * special.ndtri(0.95) ** 2
    for place in range(3):
        for end in (fit.low, fit.high):
            best = optimize.minimize(
                miss, np.delete(fit.estimate, place), (place, end[place]), method="Nelder-Mead",
                options={"xatol": 1e-9, "fatol": 1e-12},
            )  # fmt: skip
            assert best.fun == pytest.approx(-fit.log_likelihood + drop, abs=1e-7)


def test_remission_times_share_their_shape():
    """Freireich 1963, data from memory; the test is computed independently, not published."""
    data = checks.published("regressions")["R14"]["inputs"]
    lower, upper, treated = regressions.remissions(data)
    found = compare_shapes(lower, upper, group=treated)
    assert found.ratio.statistic == pytest.approx(0.001411, abs=5e-7)
    assert found.ratio.p_value == pytest.approx(0.9700, abs=5e-5)
    assert found.shape == pytest.approx([1.37050, 1.35373], abs=5e-6)
    effect = compare_regressions(
        fit_regression(lower, upper, covariates=None, names=[]), found.common
    )
    assert effect.statistic == pytest.approx(19.6518, abs=5e-5)
    assert found.wald.statistic == pytest.approx(found.ratio.statistic, rel=0.05)
    assert list(found.to_frame()["common_shape"]) == [found.common_shape] * 2


def test_insulating_fluid_voltages_share_their_shape():
    """Nelson's data, R survival's test output (public page): the four separate log-likelihoods."""
    inputs = checks.published("fits")["R07"]["inputs"]
    time = np.concatenate(list(inputs.values()))
    group = np.repeat(list(inputs), [len(one) for one in inputs.values()])
    found = compare_shapes(time, time, group=group)
    assert found.apart.log_likelihood == pytest.approx(
        -23.7175 - 58.5785 - 68.3860 - 6.7648, abs=3e-4
    )
    assert found.ratio.terms == 3
    assert 0.05 < found.ratio.p_value < 1.0


THREE = np.repeat([0, 1, 2], 10)
MARKS = (THREE[:, None] == [1, 2]).astype(float)
TIMES = 100.0 * np.random.default_rng(2).weibull(2.0, 30)


@pytest.mark.parametrize(
    ("lower", "upper", "end", "words"),
    [
        (TIMES, np.where(THREE == 2, np.inf, TIMES), "scale to infinity", ": C sets lives"),
        (TIMES, np.where(THREE == 0, np.inf, TIMES), "scale to infinity", "none of B, C holds"),
        (np.where(THREE == 1, 0.0, TIMES), TIMES, "scale to zero", "B .*that nothing"),
        (TIMES, np.full(30, np.inf), "scale to infinity", "nothing failed"),
        (np.zeros(30), TIMES, "scale to zero", "before it was first looked at"),
    ],
)  # fmt: skip
def test_a_level_that_runs_away_is_named(lower, upper, end, words):
    with pytest.raises(NoFiniteEstimate, match=words) as caught:
        fit_regression(lower, upper, covariates=MARKS, names=["B", "C"])
    assert caught.value.end == end


def test_failures_on_a_line_have_no_shape():
    with pytest.raises(NoFiniteEstimate, match="on a line") as caught:
        fit_regression(
            [1, 2, 4, 1], [1, 2, 4, np.inf], covariates=[[0], [1], [2], [0]], names=["x"]
        )
    assert caught.value.end == "shape to infinity"


def test_a_level_with_one_failure_has_wide_bounds_not_none():
    upper = np.where((THREE == 2) & (np.arange(30) != 25), np.inf, TIMES)
    fit = fit_regression(TIMES, upper, covariates=MARKS, names=["B", "C"], bounds="likelihood")
    assert np.isfinite([fit.low, fit.high]).all()
    assert fit.high[2] - fit.estimate[2] > 1.5 * (fit.estimate[2] - fit.low[2])


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"covariates": np.column_stack([MARKS, MARKS.sum(1)]), "names": ["B", "C", "BC"]},
         "BC always moves together with B and C"),
        ({"covariates": np.ones((30, 1)), "names": ["one"]}, "one is the same for every life"),
        ({"covariates": MARKS, "names": ["B"]}, "30 lives and 1 names"),
        ({"covariates": np.where(MARKS == 1, np.nan, 0.0), "names": ["B", "C"]}, "Row 10: B is"),
        ({"covariates": [["a", "b"]] * 30, "names": ["B", "C"]}, "isn't a number"),
        ({"covariates": MARKS, "names": ["B", "C"], "cluster": [1] * 30}, "one cluster"),
        ({"covariates": MARKS, "names": ["B", "C"], "cluster": [1] * 3}, "cluster has shape"),
        ({"covariates": MARKS, "names": ["B", "C"], "cluster": THREE, "bounds": "likelihood"},
         "know no clusters"),
        ({"covariates": MARKS, "names": ["B", "C"], "bounds": "both"}, 'give "wald"'),
        ({"covariates": MARKS, "names": ["B", "C"], "weight": np.zeros(30)}, "no lives of any"),
    ],
)  # fmt: skip
def test_what_can_not_be_fitted_is_said(changes, words):
    with pytest.raises(RecordError, match=words):
        fit_regression(TIMES, TIMES, **changes)


def test_questions_that_have_no_answer_are_refused():
    fit = fit_regression(TIMES, TIMES, covariates=MARKS, names=["B", "C"], cluster=THREE)
    with pytest.raises(RecordError, match="no term 'D': take one of intercept, B, C, log shape"):
        fit.term("D")
    with pytest.raises(RecordError, match="give 2 columns"):
        fit.log_scale([[1.0]])
    with pytest.raises(RecordError, match="3 clusters can't tell about 3 terms"):
        judge_terms(fit, ["B", "C", "log shape"])
    with pytest.raises(RecordError, match="same lives"):
        compare_regressions(fit, fit)
    with pytest.raises(RecordError, match="two groups or more"):
        compare_shapes(TIMES, TIMES, group=np.zeros(30))


def test_a_frame_with_life_ratios():
    fit = fit_regression(TIMES, TIMES, covariates=MARKS, names=["B", "C"])
    frame = fit.to_frame().set_index("term")
    assert frame.loc["B", "life_ratio"] == pytest.approx(np.exp(frame.loc["B", "estimate"]))
    assert frame.loc[["intercept", "log shape"], "life_ratio"].isna().all()
    assert (frame["low"] < frame["high"]).all()
    assert repr(fit).startswith("RegressionFit(4 terms")


def test_steep_lives_seen_late_are_found():
    """A shape of 12 watched from half the scale on: the climb must not stop at a flat place."""
    generator = np.random.default_rng(4)
    x = generator.normal(size=400)
    life = 1000.0 * np.exp(0.1 * x) * generator.weibull(12.0, 400)
    entry = 800.0 * generator.uniform(0.5, 1.0, 400)
    seen = life > entry
    fit = fit_regression(life[seen], life[seen], entry[seen], covariates=x[seen, None], names=["x"])
    off = fit.estimate - [np.log(1000.0), 0.1, np.log(12.0)]
    assert (np.abs(off) < 3.0 * fit.se).all()
    assert (fit.se < [0.05, 0.05, 0.1]).all()


def simulate(seed: int, rows: int = 60) -> tuple[tuple[np.ndarray, ...], np.ndarray]:
    """Return lives of every kind of censoring, with late entry, and two covariates."""
    generator = np.random.default_rng(seed)
    x = np.column_stack([generator.normal(size=rows), generator.random(rows) < 0.4]).astype(float)
    life = 500.0 * np.exp(x @ [0.3, -0.4]) * generator.weibull(2.2, rows)
    until = 700.0 * generator.uniform(0.2, 1.5, rows)
    lower, upper = np.minimum(life, until), np.where(life <= until, life, np.inf)
    between = (generator.random(rows) < 0.2) & (life <= until)
    lower = np.where(between, 0.7 * life, lower)
    entry = np.where(generator.random(rows) < 0.3, 0.4 * lower, 0.0)
    return (lower, upper, entry, np.ones(rows)), x


NAMES = ["x", "B"]


@given(st.integers(0, 10_000), st.floats(1e-6, 1e6))
@settings(max_examples=15, deadline=None)
def test_a_time_scale_moves_only_the_intercept(seed, unit):
    (lower, upper, entry, _), x = simulate(seed)
    plain = fit_regression(lower, upper, entry, covariates=x, names=NAMES)
    other = fit_regression(unit * lower, unit * upper, unit * entry, covariates=x, names=NAMES)
    assert other.estimate[0] - np.log(unit) == pytest.approx(plain.estimate[0], abs=1e-7)
    assert other.estimate[1:] == pytest.approx(plain.estimate[1:], abs=1e-7)
    assert other.se == pytest.approx(plain.se, rel=1e-6)


@given(st.integers(0, 10_000))
@settings(max_examples=10, deadline=None)
def test_the_other_reference_level_flips_the_sign(seed):
    lives, x = simulate(seed)
    plain = fit_regression(*lives, covariates=x, names=NAMES, bounds="likelihood")
    turned = np.column_stack([x[:, 0], 1.0 - x[:, 1]])
    other = fit_regression(*lives, covariates=turned, names=NAMES, bounds="likelihood")
    assert other.estimate[2] == pytest.approx(-plain.estimate[2], abs=1e-7)
    assert other.low[2] == pytest.approx(-plain.high[2], abs=1e-5)
    assert other.log_likelihood == pytest.approx(plain.log_likelihood, rel=1e-11)


@given(st.integers(0, 10_000), st.floats(0.01, 1000.0), st.floats(-50.0, 50.0))
@settings(max_examples=10, deadline=None)
def test_the_unit_of_a_covariate_is_its_own_affair(seed, unit, shift):
    lives, x = simulate(seed)
    plain = fit_regression(*lives, covariates=x, names=NAMES)
    other = fit_regression(*lives, covariates=x * [unit, 1.0] + [shift, 0.0], names=NAMES)
    assert other.estimate[1] * unit == pytest.approx(plain.estimate[1], rel=1e-6, abs=1e-7)
    assert other.se[1] * unit == pytest.approx(plain.se[1], rel=1e-6)
    assert other.estimate[2:] == pytest.approx(plain.estimate[2:], rel=1e-6, abs=1e-7)


@given(st.integers(0, 10_000))
@settings(max_examples=10, deadline=None)
def test_weights_are_repeats_and_order_is_nothing(seed):
    lives, x = simulate(seed)
    generator = np.random.default_rng(seed)
    many = generator.integers(0, 4, len(x))
    pump = generator.integers(0, 12, len(x))
    weighted = fit_regression(*lives[:3], weight=many, covariates=x, names=NAMES, cluster=pump)
    rows = generator.permutation(np.repeat(np.arange(len(x)), many))
    repeated = fit_regression(
        *(one[rows] for one in lives[:3]), covariates=x[rows], names=NAMES, cluster=pump[rows]
    )
    assert weighted.estimate == pytest.approx(repeated.estimate, abs=1e-7)
    assert weighted.covariance == pytest.approx(repeated.covariance, rel=1e-5, abs=1e-12)
    assert (weighted.failures, weighted.clusters) == (repeated.failures, repeated.clusters)


def end_of(fit, *lives: np.ndarray) -> tuple[str, float]:
    """Return where the likelihood runs off, or the log-likelihood at its maximum."""
    try:
        return "", fit(*lives).log_likelihood
    except NoFiniteEstimate as problem:
        return problem.end, 0.0


@pytest.mark.parametrize("kind", ["late", "found or running", "late, intervals"])
def test_existence_is_that_of_the_plain_fit(kind):
    """Three to eight lives, so that shapes of zero, infinity and scales of both come up."""
    generator = np.random.default_rng(5)
    seen = set()
    for _ in range(25):
        rows = generator.integers(3, 9)
        age = generator.weibull(1.0, rows) + 0.05
        failed = generator.random(rows) < 0.7
        lower, upper = age, np.where(failed, age, np.inf)
        entry = age * generator.uniform(0.1, 0.95, rows)
        if kind == "found or running":
            lower, entry = np.where(failed, 0.0, age), np.zeros(rows)
        elif kind == "late, intervals":
            upper = np.where(failed & (generator.random(rows) < 0.5), 1.3 * age, upper)
        known = end_of(fit_weibull, lower, upper, entry)
        found = end_of(
            lambda *lives: fit_regression(*lives, covariates=None, names=[]), lower, upper, entry
        )
        assert found[0] == known[0]
        assert found[1] == pytest.approx(known[1], abs=1e-6)
        seen.add(found[0])
    assert {"", "shape to zero"} <= seen


def test_kinds_of_rows_hold_the_columns_of_every_row():
    """Two rows whose columns add up to one sum are not taken for one kind."""
    parts = np.random.default_rng(1).random(2)  # as the sums are made
    rows = np.array([[parts[1], 0.0], [0.0, parts[0]], [parts[1], 0.0], [1.0, 1.0], [2.0, 0.0]])
    for columns, kinds in ((rows, 5), (rows[[0, 2, 3, 4]], 3)):
        many = len(columns)
        design = build_design(columns, np.zeros((many, 0)), ["a", "b"], [], np.ones(many))
        assert len(design.scale) == kinds
        own = design.scale[design.kind][:, 1:]
        assert own == pytest.approx((columns - columns.mean(axis=0)) / columns.std(axis=0))
        assert design.add_up(np.ones(many)).sum() == many
