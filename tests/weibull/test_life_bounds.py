"""Bounds of whatever is asked of a life: by their definition, by quadrature, by hand."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import integrate, optimize, special

from pumplife.errors import NoFiniteEstimate, RecordError
from pumplife.weibull import bound_life, fit_weibull
from tests.weibull.sets import PUBLISHED, arrange, log_likelihood

ASKED = {
    "shape": {"quantity": "shape"},
    "scale": {"quantity": "scale"},
    "B10": {"quantity": "quantile", "at": 0.10},
    "B90": {"quantity": "quantile", "at": 0.90},
    "B10 from 300": {"quantity": "quantile", "at": 0.10, "age": 300.0},
    "survival of 250": {"quantity": "survival", "at": 250.0},
    "survival of 250 from 300": {"quantity": "survival", "at": 250.0, "age": 300.0},
    "mean": {"quantity": "mean"},
    "mean from 300": {"quantity": "mean", "age": 300.0},
}
KINDS = ("likelihood", "corrected", "wald")


def mixed_lives():
    """Invented: exact, suspended, interval and left-censored lives, late entry, weights."""
    lower = np.array([120.0, 300.0, 410.0, 500.0, 640.0, 700.0, 0.0, 200.0])
    upper = np.array([120.0, 300.0, 410.0, np.inf, 640.0, np.inf, 350.0, 450.0])
    entry = np.array([0.0, 100.0, 0.0, 0.0, 350.0, 0.0, 0.0, 50.0])
    return lower, upper, entry, np.array([1.0, 2.0, 1.0, 3.0, 1.0, 1.0, 1.0, 2.0])


def few_lives():
    """Invented: four failures, five lives cut off at ages of their own."""
    lower, upper = arrange([310.0, 420.0, 560.0, 610.0], [150.0, 330.0, 480.0, 600.0, 650.0])
    return lower, upper, np.zeros(9), np.ones(9)


def value_of(shape, scale, quantity, at=None, age=0.0):
    """The quantity as the textbook writes it, integrals by quadrature."""

    def survives(time):
        return np.exp((age / scale) ** shape - (time / scale) ** shape)

    if quantity in ("shape", "scale"):
        return shape if quantity == "shape" else scale
    if quantity == "quantile":
        return scale * ((age / scale) ** shape - np.log1p(-at)) ** (1.0 / shape) - age
    if quantity == "survival":
        return survives(age + at)
    top = scale * 40.0 ** (1.0 / shape) + age
    return integrate.quad(survives, age, top, epsabs=1e-11, limit=200)[0]


def best_along(lives, wanted, asked):
    """The largest likelihood among lives whose quantity has the wanted value."""
    if asked["quantity"] == "shape":
        line = lambda other: (wanted, np.exp(other))  # noqa: E731
        span = (4.0, 14.0)
    else:

        def line(other):
            shape = np.exp(other)
            off = lambda log: value_of(shape, np.exp(log), **asked) - wanted  # noqa: E731
            return shape, np.exp(optimize.brentq(off, 1.0, 30.0, xtol=1e-13))

        span = (-1.8, 2.5)
    found = optimize.minimize_scalar(
        lambda other: -log_likelihood(lives, *line(other)),
        bounds=span,
        method="bounded",
        options={"xatol": 1e-7},
    )
    return -found.fun


@pytest.mark.parametrize("name", ASKED)
def test_likelihood_along_a_bound_is_lower_by_half_chi_squared(name):
    """The profile along constant quantity, by brute force, for lives of every kind at once."""
    lives = mixed_lives()
    found = bound_life(*lives, **ASKED[name])
    fit = fit_weibull(*lives)
    target = fit.log_likelihood - 0.5 * special.ndtri(0.95) ** 2
    assert found.estimate == pytest.approx(value_of(fit.shape, fit.scale, **ASKED[name]), rel=1e-9)
    for bound in (found.low, found.high):
        assert best_along(lives, bound, ASKED[name]) == pytest.approx(target, abs=2e-7)


def density_above(lives, bounds, asked, extra, power):
    """The share of the corrected density above each bound, on a dense plain grid."""
    fit = fit_weibull(*lives)
    log_shape = np.log(fit.shape) + np.linspace(-5.0, 2.2, 700)
    log_scale = np.log(fit.scale) + np.linspace(-3.0, 14.0, 3400)[:, None]
    shape, hazard = np.exp(log_shape), 0.0
    value = np.zeros((len(log_scale), len(log_shape)))
    for lower, upper, entry, weight in zip(*lives, strict=True):
        spent = [np.exp(shape * (np.log(max(age, 1e-300)) - log_scale)) for age in (lower, entry)]
        hazard = hazard + weight * (spent[0] - spent[1])
        if np.isfinite(upper):
            value += weight * (log_shape + np.log(spent[0]))
    log_density = value - hazard + (1.0 - power) * log_shape + extra * np.log(hazard)
    mass = np.exp(log_density - log_density.max())
    mass /= mass.sum()
    if asked["quantity"] == "shape":
        quantity = log_shape + 0 * log_scale
    elif asked["quantity"] == "survival":
        quantity = -np.exp(shape * (np.log(asked["at"]) - log_scale))
    else:
        quantity = np.log(-np.log1p(-asked.get("at", 1 - np.exp(-1)))) / shape + log_scale
    return [float(mass[quantity > np.log(bound)].sum()) for bound in bounds]


@pytest.mark.parametrize("name", ["shape", "scale", "B10", "survival of 250"])
def test_corrected_bounds_cut_off_equal_tails_of_the_density(name):
    """5 of 9 lives were not ended by a failure: shape^-(4/9), expected failures^(5/18)."""
    lives = few_lives()
    found = bound_life(*lives, **ASKED[name], bounds="corrected")
    assert found.bounds_given == "corrected"
    tails = density_above(
        lives, [found.low, found.middle, found.high], ASKED[name], extra=5 / 18, power=4 / 9
    )
    # the density in (log scale, log shape) is shape times that in (theta, log shape)
    assert tails == pytest.approx([0.95, 0.5, 0.05], abs=3e-3)


def test_corrected_bounds_of_two_complete_lives_are_the_exact_ones():
    """n = 2, ages a < b: the density of the shape is that of (b/a)^(shape/2), by hand.

    With u = shape log(b / a) / 2 the modified profile likelihood k / (a^k + b^k)^2 (ab)^k is
    proportional to u sech^2 u per log u, so that chance(shape < k) = tanh u.
    """
    found = bound_life([100.0, 300.0], [100.0, 300.0], quantity="shape", bounds="corrected")
    by_hand = 2.0 * np.arctanh([0.05, 0.5, 0.95]) / np.log(3.0)
    assert [found.low, found.middle, found.high] == pytest.approx(by_hand, rel=2e-5)


def test_corrected_scale_of_nearly_one_shape_is_gamma():
    """Where the shape is all but known, the hazard's sum is a gamma variable of r failures."""
    generator = np.random.default_rng(5)
    time = 1000.0 * generator.weibull(3.0, 4000)
    found = bound_life(time, time, quantity="scale", bounds="corrected")
    wald = bound_life(time, time, quantity="scale", bounds="wald")
    assert np.log([found.low, found.high]) == pytest.approx(np.log([wald.low, wald.high]), abs=2e-4)
    assert found.middle == pytest.approx(found.estimate, rel=1e-3)


def test_groups_without_a_corrected_density_say_so():
    """Looked at once: a share that failed at once fits as well, whatever the shape near zero."""
    lower, upper = [0.0, 1.0, 1.0, 0.0, 0.0, 9.0], [1.0, np.inf, np.inf, 9.0, 9.0, np.inf]
    both = bound_life(
        [*lower, 5.0, 7.0, 9.0], [*upper, 5.0, 7.0, np.inf], group=list("aaaaaabbb"),
        quantity="quantile", at=0.1, bounds="corrected",
    )  # fmt: skip
    assert list(both.bounds_given) == ["likelihood", "corrected"]
    alone = bound_life(lower, upper, quantity="quantile", at=0.1)
    assert both.low[0] == pytest.approx(alone.low, rel=1e-9)
    assert np.isnan(both.middle[0])
    assert np.isfinite(both.middle[1])
    fit = fit_weibull(lower, upper, bounds="corrected")
    assert (fit.bounds, fit.bounds_given) == ("corrected", "likelihood")


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("name", ASKED)
def test_groups_at_once_equal_groups_alone(name, kind):
    sets = [mixed_lives(), few_lives(), mixed_lives()]
    columns = [np.concatenate(column) for column in zip(*sets, strict=True)]
    group = np.repeat(["c", "a", "b"], [len(one[0]) for one in sets])
    batch = bound_life(*columns, group=group, **ASKED[name], bounds=kind)
    for label, lives in zip("cab", sets, strict=True):
        place = list(batch.labels).index(label)
        alone = bound_life(*lives, **ASKED[name], bounds=kind)
        for field in ("estimate", "low", "high", "middle"):
            assert getattr(batch, field)[place] == pytest.approx(
                getattr(alone, field), rel=1e-7, nan_ok=True
            )


def test_shape_and_scale_are_those_of_the_fit():
    for kind in KINDS:
        fit = fit_weibull(*few_lives(), bounds=kind, confidence=0.8)
        for name in ("shape", "scale"):
            one = bound_life(*few_lives(), quantity=name, bounds=kind, confidence=0.8)
            fields = [getattr(fit, name + end) for end in ("", "_low", "_high")]
            assert [one.estimate, one.low, one.high] == pytest.approx(fields, rel=1e-9)


def test_at_and_age_go_by_group():
    lower, upper, _, _ = few_lives()
    both = bound_life(
        np.tile(lower, 2), np.tile(upper, 2), group=np.repeat([1, 2], 9),
        quantity="survival", at=[100.0, 200.0], age=[0.0, 300.0],
    )  # fmt: skip
    for place, (at, age) in enumerate([(100.0, 0.0), (200.0, 300.0)]):
        one = bound_life(lower, upper, quantity="survival", at=at, age=age)
        assert [both.low[place], both.high[place]] == pytest.approx([one.low, one.high], rel=1e-9)


@pytest.mark.parametrize("kind", KINDS)
def test_time_may_be_in_any_unit(kind):
    lower, upper, entry, weight = mixed_lives()
    for name, asked in ASKED.items():
        base = bound_life(lower, upper, entry, weight, **asked, bounds=kind)
        for unit in (1e-9, 1e12):
            moved = {
                key: value * unit
                for key, value in asked.items()
                if key == "age" or (key == "at" and asked["quantity"] == "survival")
            }
            one = bound_life(
                lower * unit, upper * unit, entry * unit, weight, **{**asked, **moved}, bounds=kind
            )
            by = 1.0 if asked["quantity"] in ("shape", "survival") else unit
            assert [one.low / by, one.high / by] == pytest.approx(
                [base.low, base.high], rel=1e-6
            ), name


def test_remaining_life_far_beyond_all_lives():
    """Shape 3, age 30 scales: the mean that remains is all but 1 / the hazard rate there."""
    quantile = (np.arange(200) + 0.5) / 200
    time = 100.0 * (-np.log1p(-quantile)) ** (1.0 / 3.0)
    fit = fit_weibull(time, time)
    found = bound_life(time, time, quantity="mean", age=3000.0)
    start = (3000.0 / fit.scale) ** fit.shape
    rate = fit.shape * start / 3000.0
    second = (1.0 / fit.shape - 1.0) / start
    assert found.estimate == pytest.approx((1.0 + second) / rate, rel=1e-7)
    assert 0.0 < found.low < found.estimate < found.high


def test_remaining_life_of_constant_hazard_is_the_mean():
    """With a shape of 1 a life that was reached says nothing: forced by weights in theta."""
    from pumplife.weibull.quantities import MeanLife, Quantile

    theta, log_shape = np.array([0.3]), np.array([0.0])
    for age in (-np.inf, -2.0, 0.0, 3.0, 6.0):
        mean = MeanLife(log_age=np.array([age])).score(theta, log_shape)
        median = Quantile(
            log_hazard=np.array([np.log(np.log(2.0))]), log_age=np.array([age])
        ).score(theta, log_shape)
        assert mean == pytest.approx([-0.3], abs=1e-10)
        assert median == pytest.approx([np.log(np.log(2.0)) - 0.3], abs=1e-10)


@pytest.mark.parametrize("age", [-np.inf, -3.0, -0.1, 0.5])
@pytest.mark.parametrize("shape", [0.1, 0.7, 2.0, 12.0, 60.0])
def test_scores_and_thetas_are_inverse(age, shape):
    from pumplife.weibull.quantities import MeanLife, Quantile, Survival

    theta = np.array([-3.0, -0.5, 0.0, 1.2])
    ages = np.full(4, age)
    log_shape = np.full(4, np.log(shape))
    for asked in (
        Quantile(log_hazard=np.full(4, -2.25), log_age=ages),
        Survival(log_end=np.logaddexp(ages, -0.4), log_ratio=np.logaddexp(0.0, -0.4 - ages)),
        MeanLife(log_age=ages),
    ):
        back = asked.theta(asked.score(theta, log_shape), log_shape)
        assert back == pytest.approx(theta, abs=2e-6), type(asked).__name__


def test_mean_life_of_the_shock_absorbers():
    """Meeker & Escobar 1998, chapter 8 (public page): mean with 95 % log-normal bounds."""
    inputs = PUBLISHED["W02"]["inputs"]
    lives = arrange(inputs["failures"], inputs["suspensions"])
    found = bound_life(*lives, quantity="mean", bounds="wald", confidence=0.95)
    assert [found.estimate, found.low, found.high] == pytest.approx([24812, 20202, 30472], abs=0.5)


@pytest.mark.parametrize(
    ("how", "words"),
    [
        ({"quantity": "median"}, "quantity is 'median': give one of 'shape', 'scale'"),
        ({"quantity": "quantile"}, "needs at: the share failed, say 0.10 for the B10 life"),
        ({"quantity": "survival"}, "needs at: a usage"),
        ({"quantity": "mean", "at": 5.0}, "quantity='mean' takes no at"),
        ({"quantity": "quantile", "at": 1.0}, "at is 1: give a share between 0 and 1"),
        ({"quantity": "quantile", "at": [0.1, 0.2]}, r"at needs one number, or one per group \(1"),
        ({"quantity": "quantile", "at": "x"}, "at needs one number"),
        ({"quantity": "survival", "at": 0.0}, "at is 0: give a usage above zero"),
        ({"quantity": "survival", "at": np.nan}, "at is nan: give a usage above zero"),
        ({"quantity": "mean", "age": -1.0}, "age is -1: give a usage of zero or more"),
        ({"quantity": "mean", "age": np.inf}, "age is inf: give a usage of zero or more"),
        ({"quantity": "scale", "age": 5.0}, "scale is the same at every age, leave it out"),
        ({"quantity": "mean", "bounds": "exact"}, "give one of 'likelihood', 'corrected', 'wald'"),
        ({"quantity": "mean", "confidence": 90}, "confidence is 90"),
    ],
)
def test_impossible_questions_are_named(how, words):
    with pytest.raises(RecordError, match=words):
        bound_life([1.0, 2.0, 3.0], [1.0, 2.0, np.inf], **how)


def test_lives_without_an_estimate():
    with pytest.raises(NoFiniteEstimate, match="scale to infinity"):
        bound_life([5.0, 9.0], [np.inf, np.inf], quantity="mean")
    both = bound_life(
        [5.0, 9.0, 5.0, 9.0], [np.inf, np.inf, 5.0, np.inf], group=list("aabb"), quantity="mean"
    )
    assert list(both.reason) == ["scale to infinity", ""]
    assert np.isnan([both.estimate[0], both.low[0], both.high[0]]).all()
    assert both.bounds_given[0] == ""
    assert both.low[1] < both.estimate[1] < both.high[1]


def test_result_shows_itself():
    one = bound_life(*few_lives(), quantity="quantile", at=0.1)
    assert repr(one).startswith("LifeBounds(quantile=")
    both = bound_life([5.0, 9.0] * 2, [5.0, np.inf] * 2, group=list("aabb"), quantity="mean")
    assert repr(both) == "LifeBounds(mean, 2 groups)"
    assert list(both.to_frame()["group"]) == ["a", "b"]
