"""What must hold for any lives."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pumplife.errors import NoFiniteEstimate
from pumplife.weibull import bound_life, fit_scale, fit_weibull

KINDS = ("failed", "running", "between", "left")
QUESTIONS = (
    {"quantity": "shape"},
    {"quantity": "scale"},
    {"quantity": "quantile", "at": 0.1},
    {"quantity": "quantile", "at": 0.5, "age": 300.0},
    {"quantity": "survival", "at": 500.0, "age": 100.0},
    {"quantity": "mean"},
)


@st.composite
def lives(draw, kinds=KINDS):
    """Some lives of mixed kinds with entries and whole weights."""
    rows = draw(st.integers(4, 14))
    ages = draw(st.lists(st.integers(5, 4000), min_size=rows, max_size=rows))
    kind = np.array(draw(st.lists(st.sampled_from(kinds), min_size=rows, max_size=rows)))
    width = np.array(draw(st.lists(st.integers(1, 900), min_size=rows, max_size=rows)), float)
    early = np.array(draw(st.lists(st.floats(0, 0.9), min_size=rows, max_size=rows)))
    weight = np.array(draw(st.lists(st.integers(1, 3), min_size=rows, max_size=rows)), float)
    age = np.array(ages, dtype=float)
    lower = np.where(kind == "left", 0.0, age)
    upper = np.select(
        [kind == "failed", kind == "running", kind == "between"], [age, np.inf, age + width], age
    )
    return lower, upper, np.where(early < 0.5, 0.0, early * lower), weight


def fit_or_end(*columns, **how):
    try:
        return fit_weibull(*columns, **{"bounds": "wald"} | how), ""
    except NoFiniteEstimate as refusal:
        return None, refusal.end


def same(first, second, rel=1e-6):
    assert first[1] == second[1]
    if first[0] is not None:
        assert first[0].shape == pytest.approx(second[0].shape, rel=rel)
        assert np.log(first[0].scale) == pytest.approx(np.log(second[0].scale), rel=rel, abs=rel)
        assert first[0].log_likelihood == pytest.approx(second[0].log_likelihood, rel=1e-9)


@settings(max_examples=60, deadline=None)
@given(lives())
def test_weights_equal_repeats(columns):
    lower, upper, entry, weight = columns
    times = weight.astype(int)
    repeated = (np.repeat(column, times) for column in (lower, upper, entry))
    same(fit_or_end(*columns), fit_or_end(*repeated))


@settings(max_examples=60, deadline=None)
@given(lives(), st.floats(-9, 9))
def test_scaling_time_scales_only_the_scale(columns, power):
    lower, upper, entry, weight = columns
    factor = 10.0**power
    first, end = fit_or_end(*columns)
    second, other = fit_or_end(lower * factor, upper * factor, entry * factor, weight)
    assert end == other
    if first is not None:
        assert second.shape == pytest.approx(first.shape, rel=1e-6)
        assert np.log(second.scale / factor) == pytest.approx(np.log(first.scale), rel=1e-6)


@settings(max_examples=40, deadline=None)
@given(lives(), st.randoms())
def test_order_of_rows_does_not_matter(columns, random):
    order = list(range(len(columns[0])))
    random.shuffle(order)
    same(fit_or_end(*columns), fit_or_end(*(column[order] for column in columns)))


@settings(max_examples=40, deadline=None)
@given(lives(("failed", "running")), st.sampled_from([1e-6, 1e-7]))
def test_a_narrow_interval_is_an_exact_failure(columns, width):
    """Its chance is the density times its width; the estimate is the same."""
    lower, upper, entry, weight = columns
    failed = np.isfinite(upper)
    exact, end = fit_or_end(*columns)
    if exact is None or exact.shape > 30.0:
        return
    ends = np.where(failed, lower * (1 + width), np.inf)
    between, other = fit_or_end(lower, ends, entry, weight)
    assert end == other
    assert between.shape == pytest.approx(exact.shape, rel=2e-4)
    widths = (weight * np.log(np.where(failed, lower * width, 1.0))).sum()
    assert between.log_likelihood == pytest.approx(exact.log_likelihood + widths, abs=1e-3)


@settings(max_examples=40, deadline=None)
@given(lives(), lives(), lives())
def test_a_batch_of_groups_equals_single_fits(first, second, third):
    sets = [first, second, third]
    columns = [np.concatenate(column) for column in zip(*sets, strict=True)]
    group = np.repeat(["x", "a", "m"], [len(one[0]) for one in sets])
    batch = fit_weibull(*columns, group=group, bounds="wald")
    for label, one in zip("xam", sets, strict=True):
        place = list(batch.labels).index(label)
        single, end = fit_or_end(*one)
        assert batch.reason[place] == end
        if single is not None:
            assert batch.shape[place] == pytest.approx(single.shape, rel=1e-7)
            assert batch.log_likelihood[place] == pytest.approx(single.log_likelihood, rel=1e-9)


@settings(max_examples=30, deadline=None)
@given(lives())
def test_the_estimate_lies_within_its_likelihood_bounds(columns):
    fit, _ = fit_or_end(*columns, bounds="likelihood")
    if fit is not None:
        assert 0.0 <= fit.shape_low < fit.shape < fit.shape_high <= np.inf
        assert 0.0 <= fit.scale_low < fit.scale < fit.scale_high <= np.inf


@settings(max_examples=30, deadline=None)
@given(lives())
def test_an_entry_at_the_end_of_a_running_life_adds_nothing(columns):
    """Lives watched for no time are vacuous, and so is an entry of 0."""
    lower, upper, entry, weight = columns
    none = np.array([700.0, 1200.0])
    first = fit_or_end(lower, upper, entry, weight)
    more = (
        np.append(column, added)
        for column, added in zip(columns, (none, [np.inf] * 2, none, [1, 2]), strict=True)
    )
    same(first, fit_or_end(*more))
    same(fit_or_end(lower, upper, None, weight), fit_or_end(lower, upper, 0.0 * lower, weight))


@settings(max_examples=25, deadline=None)
@given(lives(), st.sampled_from(["likelihood", "corrected", "wald"]))
def test_bounds_of_survival_are_chances_and_fall_with_usage(columns, kind):
    """At five usages in one call: within 0 and 1, around the estimate, never rising.

    Normal bounds, each taken by itself, can rise again where hardly anything failed.
    """
    if fit_or_end(*columns)[0] is None:
        return
    usages = np.array([1.0, 50.0, 400.0, 1500.0, 9000.0])
    repeated = [np.tile(column, 5) for column in columns]
    found = bound_life(
        *repeated, group=np.repeat(np.arange(5), len(columns[0])), quantity="survival", at=usages,
        bounds=kind,
    )  # fmt: skip
    for values in (found.low, found.estimate, found.high):
        assert ((values >= 0.0) & (values <= 1.0)).all()
        assert (np.diff(values) <= 1e-9).all() or (kind == "wald" and values is not found.estimate)
    assert (found.low <= found.high).all()
    if kind != "corrected":  # whose middle is not the estimate of maximum likelihood
        assert (found.low <= found.estimate + 1e-12).all()
        assert (found.estimate <= found.high + 1e-12).all()


@settings(max_examples=25, deadline=None)
@given(lives(("failed", "running", "between")), st.sampled_from(QUESTIONS))
def test_bounds_hold_the_estimate_and_widen_with_confidence(columns, asked):
    if fit_or_end(*columns)[0] is None:
        return
    for kind in ("likelihood", "wald", "corrected"):
        narrow, wide = (
            bound_life(*columns, **asked, bounds=kind, confidence=c) for c in (0.5, 0.9)
        )
        assert wide.low <= narrow.low <= narrow.high <= wide.high
        if kind == "corrected":
            assert not wide.middle < narrow.low
            assert not wide.middle > narrow.high
        else:
            assert narrow.low <= narrow.estimate <= narrow.high


@settings(max_examples=25, deadline=None)
@given(lives(("failed", "running", "between")), st.sampled_from(QUESTIONS), st.randoms())
def test_corrected_bounds_know_neither_order_nor_repeats(columns, asked, random):
    if fit_or_end(*columns)[0] is None:
        return
    first = bound_life(*columns, **asked, bounds="corrected")
    times = columns[3].astype(int)
    rows = np.repeat(np.arange(len(times)), times)
    order = list(range(len(rows)))
    random.shuffle(order)
    again = bound_life(
        *(column[rows[order]] for column in columns[:3]), **asked, bounds="corrected"
    )
    assert again.bounds_given == first.bounds_given
    assert [again.low, again.high] == pytest.approx([first.low, first.high], rel=1e-5)


@settings(max_examples=20, deadline=None)
@given(lives(), st.sampled_from([0.5, 1.0, 3.0]))
def test_scale_for_a_given_shape(columns, shape):
    """Weights equal repeats, bounds hold the estimate, a time unit moves all alike."""
    lower, _, entry, weight = columns
    if not (lower > entry).any():
        return
    fit = fit_scale(*columns, shape=shape)
    repeated = [np.repeat(column, weight.astype(int)) for column in columns[:3]]
    again = fit_scale(*(1e6 * column for column in repeated), shape=shape)
    for field in ("low", "scale", "high"):
        assert getattr(again, field) / 1e6 == pytest.approx(getattr(fit, field), rel=1e-7)
    assert fit.low < fit.scale <= fit.high
    for kind in ("likelihood", "wald"):
        other = fit_scale(*columns, shape=shape, bounds=kind)
        assert other.low < other.scale <= other.high
