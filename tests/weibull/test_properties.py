"""What must hold for any lives."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pumplife.errors import NoFiniteEstimate
from pumplife.weibull import fit_weibull

KINDS = ("failed", "running", "between", "left")


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
