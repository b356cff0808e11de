"""Maximum likelihood: reference sets, batches, refusals."""

from __future__ import annotations

import numpy as np
import pytest

from pumplife.errors import NoFiniteEstimate, RecordError
from pumplife.weibull import fit_weibull
from tests.weibull.sets import SETS, log_likelihood, read_set

FINITE = [name for name, one in SETS.items() if "shape" in one["fit"]]
ENDLESS = {
    "e_1fail_last": "shape to infinity",
    "e_1only": "shape to infinity",
    "e_zero": "scale to infinity",
    "e_allequal": "shape to infinity",
    "e_allequal_susp": "shape to infinity",
}


def test_every_reference_set_is_checked():
    assert sorted([*FINITE, *ENDLESS]) == sorted(SETS)


@pytest.mark.parametrize("name", FINITE)
def test_estimate_equals_the_reference(name):
    """60-digit arithmetic, equal to R survreg where that applies (lives.json)."""
    fit, wanted = fit_weibull(*read_set(name), confidence=0.95), SETS[name]["fit"]
    found = [fit.shape, fit.scale, fit.log_likelihood]
    assert found == pytest.approx([wanted["shape"], wanted["scale"], wanted["loglik"]], rel=1e-8)
    assert [fit.shape_low, fit.shape_high] == pytest.approx(wanted["shape_ci_lr"], rel=1e-6)
    assert [fit.scale_low, fit.scale_high] == pytest.approx(wanted["scale_ci_lr"], rel=1e-6)


@pytest.mark.parametrize("name", FINITE)
def test_wald_bounds_and_covariance_equal_the_reference(name):
    fit = fit_weibull(*read_set(name), confidence=0.95, bounds="wald")
    wanted = SETS[name]["fit"]
    assert [fit.shape_low, fit.shape_high] == pytest.approx(wanted["shape_ci_wald"], rel=1e-6)
    assert [fit.scale_low, fit.scale_high] == pytest.approx(wanted["scale_ci_wald"], rel=1e-6)
    errors = np.sqrt(np.diag(fit.covariance))
    assert errors == pytest.approx([wanted["se_logscale"], wanted["se_logshape"]], rel=1e-8)
    assert fit.covariance[0, 1] == pytest.approx(wanted["cov_logscale_logshape"], rel=1e-6)


@pytest.mark.parametrize(("name", "end"), ENDLESS.items())
def test_endless_reference_sets_are_refused_with_their_end(name, end):
    with pytest.raises(NoFiniteEstimate, match=end) as caught:
        fit_weibull(*read_set(name))
    assert caught.value.end == end


@pytest.mark.parametrize("bounds", ["likelihood", "wald"])
def test_groups_in_one_call_equal_single_calls(bounds):
    sets = {name: read_set(name) for name in SETS}
    rows = [np.concatenate(column) for column in zip(*sets.values(), strict=True)]
    names = np.repeat(list(sets), [len(one[0]) for one in sets.values()])
    mixed = np.random.default_rng(4).permutation(len(names))
    fit = fit_weibull(*(row[mixed] for row in rows), group=names[mixed], bounds=bounds)
    assert list(fit.labels) == sorted(SETS)
    for place, name in enumerate(fit.labels):
        if name in ENDLESS:
            assert fit.reason[place] == ENDLESS[name]
            assert np.isnan(fit.shape[place])
            assert np.isnan(fit.covariance[place]).all()
            continue
        one = fit_weibull(*sets[str(name)], bounds=bounds)
        for field in ("shape", "scale", "log_likelihood", "shape_low", "shape_high", "scale_low",
                      "scale_high", "failures", "suspensions"):  # fmt: skip
            assert getattr(fit, field)[place] == pytest.approx(getattr(one, field), rel=1e-9)
        assert fit.covariance[place] == pytest.approx(one.covariance, rel=1e-7)
        assert fit.reason[place] == ""


@pytest.mark.parametrize("shape", [0.1, 0.5, 2.0, 12.0, 60.0])
@pytest.mark.parametrize("scale", [1e-9, 1.0, 1e12])
def test_any_shape_and_any_unit(shape, scale):
    """Score equations of the textbook hold at the estimate, 40 lives of which 30 failed."""
    quantile = (np.arange(40) + 0.5) / 40
    time = scale * (-np.log1p(-quantile)) ** (1.0 / shape)
    upper = np.where(np.arange(40) % 4 == 3, np.inf, time)
    fit = fit_weibull(time, upper)
    failed = np.isfinite(upper)
    power = (time / time.max()) ** fit.shape
    log_time = np.log(time)
    score = 1 / fit.shape + log_time[failed].mean() - (power * log_time).sum() / power.sum()
    assert abs(score * fit.shape) < 1e-9
    assert fit.scale == pytest.approx(
        time.max() * (power.sum() / failed.sum()) ** (1.0 / fit.shape), rel=1e-9
    )
    assert fit.scale_low < fit.scale < fit.scale_high
    assert fit.shape_low < fit.shape < fit.shape_high


def test_three_failures_in_four_hundred_lives():
    time = np.concatenate([[300.0, 900.0, 2000.0], np.linspace(50.0, 3000.0, 397)])
    upper = np.concatenate([time[:3], np.full(397, np.inf)])
    fit = fit_weibull(time, upper)
    lives = (time, upper, np.zeros(400), np.ones(400))
    assert fit.log_likelihood == pytest.approx(log_likelihood(lives, fit.shape, fit.scale))
    for nudge in ((1.001, 1.0), (0.999, 1.0), (1.0, 1.001), (1.0, 0.999)):
        assert log_likelihood(lives, fit.shape * nudge[0], fit.scale * nudge[1]) < (
            fit.log_likelihood
        )


def test_interval_lives_that_enter_late():
    """No library reads these: the textbook's likelihood has its maximum at the estimate."""
    generator = np.random.default_rng(8)
    life = 1000.0 * generator.weibull(2.5, 300)
    entry = generator.uniform(0.0, 900.0, 300) * (generator.random(300) < 0.6)
    seen = life > entry
    life, entry = life[seen], entry[seen]
    lower = np.maximum(np.floor(life / 250.0) * 250.0, entry)
    upper = np.ceil(life / 250.0) * 250.0
    exact = generator.random(len(life)) < 0.3
    lower, upper = np.where(exact, life, lower), np.where(exact, life, upper)
    running = (generator.random(len(life)) < 0.2) & (lower > 0)
    upper = np.where(running, np.inf, upper)
    lives = (lower, upper, entry, np.ones(len(life)))
    fit = fit_weibull(*lives)
    assert fit.log_likelihood == pytest.approx(log_likelihood(lives, fit.shape, fit.scale))
    for shape, scale in ((1e-3, 0), (-1e-3, 0), (0, 1e-3), (0, -1e-3)):
        near = log_likelihood(lives, fit.shape * (1 + shape), fit.scale * (1 + scale))
        assert near < fit.log_likelihood
    assert fit.shape == pytest.approx(2.5, rel=0.2)
    assert fit.scale == pytest.approx(1000.0, rel=0.2)
    target = fit.log_likelihood - 0.5 * 1.6448536269514722**2
    for low_or_high in (fit.shape_low, fit.shape_high):
        scales = fit.scale * np.exp(np.linspace(-0.5, 0.5, 2001))
        best = max(log_likelihood(lives, low_or_high, scale) for scale in scales[::10])
        assert best == pytest.approx(target, abs=2e-2)


def test_rows_without_weight_do_not_count():
    lower, upper = [100.0, 200.0, 300.0, 5000.0], [100.0, 200.0, np.inf, 5000.0]
    without = fit_weibull(lower[:3], upper[:3])
    assert fit_weibull(lower, upper, weight=[1, 1, 1, 0]).shape == without.shape
    grouped = fit_weibull(lower, upper, weight=[1, 1, 1, 0], group=["a", "a", "a", "b"])
    assert list(grouped.reason) == ["", "no lives of any weight"]


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"lower": [1.0, -2.0, 3.0]}, r"Row 1: lower is -2: an age of zero or more"),
        ({"lower": [1.0, np.nan, 3.0]}, r"Row 1: lower is nan"),
        ({"lower": [1.0, 2.0, np.inf], "upper": [1, 2, np.inf]}, r"Row 2: lower is inf"),
        ({"upper": [1.0, 1.5, 3.0]}, r"Row 1: upper is 1.5: it must not be smaller than lower"),
        ({"upper": [np.nan, 2.0, np.nan]}, r"Row 0: upper is nan \(and 1 more rows\)"),
        ({"lower": [0.0, 2, 3], "upper": [0.0, 2, 3]}, r"Row 0: .*as an interval from lower = 0"),
        ({"upper": [1.0, 2.0]}, r"upper has 2 values where lower has 3"),
        ({"entry": [0.0, 0.0, 4.0]}, r"Row 2: entry is 4: a life can't be observed from after"),
        ({"entry": [0.0, -1.0, 0.0]}, r"Row 1: entry is -1"),
        ({"weight": [1.0, 1.0, -1.0]}, r"Row 2: weight is -1: a count of zero or more"),
        ({"weight": [np.nan, 1.0, 1.0]}, r"Row 0: weight is nan"),
        ({"lower": [], "upper": []}, r"There are no lives"),
        ({"lower": ["x", 2, 3]}, r"lower holds something that isn't a number"),
        ({"group": [1, 2]}, r"group has shape \(2,\) where there are 3 lives"),
        ({"group": ["a", None, "b"]}, r"group mixes labels that can't be sorted \(NoneType, str\)"),
        ({"group": [1.0, np.nan, 2.0]}, r"Row 1: group is nan: give a label for every life"),
        ({"entry": [1.5, 0.0, 0.0]}, r"Row 0: entry is 1.5"),
        ({"weight": [1.0, np.inf, 1.0]}, r"Row 1: weight is inf"),
        ({"upper": [-np.inf, 2.0, 3.0]}, r"Row 0: upper is -inf"),
        ({"confidence": 1.0}, r"confidence is 1.0: give a share between 0 and 1"),
        ({"bounds": "exact"}, r"give one of 'likelihood', 'corrected', 'wald'"),
    ],
)
def test_impossible_input_is_named(change, words):
    given = {"lower": [1.0, 2.0, 3.0], "upper": [1.0, 2.0, 3.0]} | change
    with pytest.raises(RecordError, match=words):
        fit_weibull(**given)


def test_result_shows_itself():
    fit = fit_weibull([1.0, 2.0, 4.0], [1.0, 2.0, np.inf])
    assert repr(fit).startswith("WeibullFit(shape=")
    both = fit_weibull([1.0, 2.0, 4.0] * 2, [1.0, 2.0, np.inf] * 2, group=list("aaabbb"))
    assert repr(both) == "WeibullFit(2 groups)"
    frame = both.to_frame()
    assert list(frame["group"]) == ["a", "b"]
    assert frame["shape"].tolist() == [fit.shape, fit.shape]


def test_failure_at_its_own_entry_adds_its_hazard():
    """No time seen, one failure: the log of the hazard rate at 200."""
    lower, upper, entry = [100.0, 200.0, 300.0], [100.0, 200.0, np.inf], [0.0, 200.0, 0.0]
    fit = fit_weibull(lower, upper, entry)
    spent = sum((age / fit.scale) ** fit.shape for age in (100.0, 300.0))
    rates = [
        np.log(fit.shape / age) + fit.shape * np.log(age / fit.scale) for age in (100.0, 200.0)
    ]
    assert fit.log_likelihood == pytest.approx(sum(rates) - spent, rel=1e-12)
