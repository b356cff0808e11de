"""Where the likelihood has no finite maximum: each end worked out by hand."""

from __future__ import annotations

import numpy as np
import pytest

from pumplife.errors import NoFiniteEstimate
from pumplife.weibull import fit_weibull
from pumplife.weibull.arrays import check_lives, find_groups
from pumplife.weibull.existence import limit_at_infinity, limit_at_zero
from pumplife.weibull.likelihood import build_log_lives

RUNS = np.inf


def end_of(lower, upper, entry=None, weight=None):
    with pytest.raises(NoFiniteEstimate) as caught:
        fit_weibull(lower, upper, entry, weight)
    return caught.value.end


def limits_of(lower, upper, entry=None, weight=None):
    lives = check_lives(lower, upper, entry, weight)
    logs = build_log_lives(lives, find_groups(None, len(lives.lower)))
    return float(limit_at_zero(logs)[0]), float(limit_at_infinity(logs)[0])


def test_nothing_failed():
    assert end_of([5.0, 9.0], [RUNS, RUNS]) == "scale to infinity"


def test_everything_failed_before_the_first_look():
    assert end_of([0.0, 0.0], [5.0, 9.0]) == "scale to zero"


def test_all_failures_at_the_longest_age():
    assert end_of([5.0, 9.0, 9.0], [RUNS, 9.0, 9.0]) == "shape to infinity"


def test_one_failure_before_the_longest_age_is_enough():
    assert fit_weibull([5.0, 9.0], [5.0, RUNS]).shape > 0.0


def test_a_life_seen_for_no_time_says_nothing():
    """The suspension at 12 entered at 12, so 9 is the longest age that anything was watched to."""
    lower, upper, entry = [5.0, 9.0, 12.0], [RUNS, 9.0, RUNS], [0.0, 0.0, 12.0]
    assert end_of(lower, upper, entry) == "shape to infinity"


def test_late_entry_can_end_at_shape_zero():
    """Hazard c / t: 3 failures over 3 ln 1.01 + 2 ln 100 log-years; better than any shape."""
    lower, entry = [1.01, 1.01, 1.01, 100.0, 100.0], [1.0, 1.0, 1.0, 1.0, 1.0]
    upper = [1.01, 1.01, 1.01, RUNS, RUNS]
    exposure = 3 * np.log(1.01) + 2 * np.log(100.0)
    wanted = 3 * np.log(3 / exposure) - 3
    zero, infinity = limits_of(lower, upper, entry)
    assert zero == pytest.approx(wanted)
    assert infinity == -np.inf
    assert end_of(lower, upper, entry) == "shape to zero"


def test_late_entry_with_one_life_seen_from_new_has_no_end_at_shape_zero():
    lower, entry = [1.01, 1.01, 1.01, 100.0, 100.0], [1.0, 1.0, 0.0, 1.0, 1.0]
    upper = [1.01, 1.01, 1.01, RUNS, RUNS]
    assert limits_of(lower, upper, entry)[0] == -np.inf
    assert fit_weibull(lower, upper, entry).shape < 1.0


def test_intervals_that_share_an_age_beyond_every_survivor():
    """Any age between 6 and 8 explains all three with certainty."""
    lower, upper = [4.0, 6.0, 5.0], [8.0, 9.0, RUNS]
    assert limits_of(lower, upper)[1] == 0.0
    assert end_of(lower, upper) == "shape to infinity"


def test_intervals_that_only_touch():
    """Ends at 6, starts at 6: at a jump there, 2 of 5 fail first: 2 ln(2/5) + 3 ln(3/5)."""
    lower, upper = [4.0, 4.0, 6.0, 6.0, 6.0], [6.0, 6.0, 9.0, 9.0, RUNS]
    jump = 2 * np.log(0.4) + 3 * np.log(0.6)
    assert limits_of(lower, upper)[1] == pytest.approx(jump)
    assert end_of(lower, upper) == "shape to infinity"


def test_touching_intervals_with_spread_have_an_estimate():
    lower = [2.0, 4.0, 4.0, 6.0, 6.0]
    upper = [4.0, 6.0, 6.0, 9.0, RUNS]
    assert limits_of(lower, upper)[1] == -np.inf
    assert 1.0 < fit_weibull(lower, upper).shape < 20.0


def test_exact_failures_inside_every_interval():
    lower, upper = [7.0, 7.0, 5.0, 3.0], [7.0, 7.0, 8.0, RUNS]
    assert limits_of(lower, upper)[1] == np.inf
    assert end_of(lower, upper) == "shape to infinity"


def test_exact_failures_outside_one_interval_have_an_estimate():
    lower, upper = [7.0, 7.0, 2.0, 3.0], [7.0, 7.0, 5.0, RUNS]
    assert limits_of(lower, upper)[1] == -np.inf
    assert fit_weibull(lower, upper).shape > 1.0


def test_found_failed_at_the_first_look_or_not_can_end_at_shape_zero():
    """Early looks found as many failed as late ones did: the age says nothing.

    2 of 3 failed at age 1, 1 of 3 at age 9; a share failed at once has 3 ln .5 + 3 ln .5.
    """
    lower, upper = [0.0, 0.0, 1.0, 0.0, 9.0, 9.0], [1.0, 1.0, RUNS, 9.0, RUNS, RUNS]
    assert limits_of(lower, upper)[0] == pytest.approx(6 * np.log(0.5))
    assert end_of(lower, upper) == "shape to zero"


def test_more_found_failed_at_late_looks_have_an_estimate():
    lower, upper = [0.0, 1.0, 1.0, 0.0, 0.0, 9.0], [1.0, RUNS, RUNS, 9.0, 9.0, RUNS]
    fit = fit_weibull(lower, upper)
    share = 1.0 - np.exp(-((np.array([1.0, 9.0]) / fit.scale) ** fit.shape))
    assert share == pytest.approx([1 / 3, 2 / 3], rel=1e-8)


def test_late_intervals_alone_can_end_at_shape_zero():
    """Hazard c / t over (2, 4) and 10 to 100: ln(1 - 2^-c) - c ln 10, at its best c."""
    lower, upper, entry = [2.0, 100.0], [4.0, RUNS], [2.0, 10.0]
    rates = np.linspace(1e-3, 3.0, 30_000)
    wanted = np.max(np.log1p(-(2.0**-rates)) - rates * np.log(10.0))
    assert limits_of(lower, upper, entry)[0] == pytest.approx(wanted, abs=1e-6)
    assert end_of(lower, upper, entry) == "shape to zero"


def test_a_group_without_an_estimate_never_stops_the_others():
    lower, upper = [5.0, 9.0, 5.0, 9.0, 0.0], [5.0, RUNS, RUNS, RUNS, 4.0]
    fit = fit_weibull(lower, upper, group=["b", "b", "a", "a", "c"])
    assert list(fit.reason) == ["scale to infinity", "", "scale to zero"]
    assert np.isfinite(fit.shape).tolist() == [False, True, False]
    assert fit.suspensions.tolist() == [2.0, 1.0, 0.0]


def tallest(lives, log_shapes):
    """The textbook's log-likelihood at its best scale, shape by shape, on a dense grid."""
    heights = []
    ages = np.arange(1.0, 9.0)[:, None]  # a scale far from every age by its own spread is no best
    for shape in np.exp(log_shapes):
        scales = np.exp(np.clip(np.log(ages) + np.linspace(-9, 9, 361) / shape, -600, 600)).ravel()
        with np.errstate(over="ignore", divide="ignore", invalid="ignore"):
            total = np.zeros_like(scales)
            for lower, upper, entry, weight in zip(*lives, strict=True):
                spent = [(age / scales) ** shape for age in (lower, upper, entry)]
                if lower == upper:
                    term = np.log(shape / lower) + np.log(spent[0]) - spent[0]
                elif np.isinf(upper):
                    term = -spent[0]
                else:
                    term = -spent[0] + np.log(-np.expm1(spent[0] - spent[1]))
                total += weight * (term + spent[2])
        heights.append(np.nanmax(total))
    return np.array(heights)


@pytest.mark.parametrize("seed", range(60))
def test_an_estimate_is_given_where_the_middle_beats_both_ends(seed):
    """Two to five lives of every kind at few distinct ages; ends stand at shapes 0.01 and 60.

    Sets whose best and ends differ by less than 0.01 are too close for a grid to tell.
    """
    generator = np.random.default_rng(seed)
    rows = generator.integers(2, 6)
    lower = generator.integers(1, 5, rows).astype(float)
    kind = generator.integers(0, 4, rows)
    upper = np.select(
        [kind == 0, kind == 1, kind == 2],
        [lower, np.full(rows, RUNS), lower + generator.integers(1, 4, rows)],
        lower,
    )
    lower = np.where(kind == 3, 0.0, lower)
    entry = np.where(generator.random(rows) < 0.5, np.floor(0.7 * lower), 0.0)
    lives = lower, upper, entry, np.ones(rows)
    fit = fit_weibull(*lives, group=np.zeros(rows, dtype=int))
    if fit.reason[0] in {"scale to infinity", "scale to zero"}:
        assert not (np.isfinite(upper).any() and (lower > entry).any())
        return
    heights = tallest(lives, np.log([0.01, *np.geomspace(0.05, 30.0, 60), 60.0]))
    low, middle, high = heights[0], heights[1:-1].max(), heights[-1]
    if middle > max(low, high) + 0.01:
        assert fit.reason[0] == ""
        assert fit.log_likelihood[0] >= middle - 1e-6
        assert fit.log_likelihood[0] <= middle + 0.05
    elif max(low, high) > middle + 0.01 and fit.reason[0] != "":
        assert fit.reason[0] == ("shape to infinity" if high > low else "shape to zero")
    elif max(low, high) > middle + 0.01:
        assert not 0.05 < fit.shape[0] < 30.0
