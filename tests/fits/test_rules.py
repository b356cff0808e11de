"""What a number of failures allows, and how many more would halve a band."""

import numpy as np
import pytest

from pumplife.fits.rules import failures_to_halve, read_rules
from pumplife.weibull import fit_posterior

USUAL = read_rules({})


def test_labels_step_at_the_usual_numbers():
    failures = np.array([0.0, 0.4, 1.0, 4.4, 5.0, 9.0, 10.0, 19.0, 20.0, 500.0])
    expected = ["no failures"] * 2 + ["indicative"] * 2 + ["weak"] * 2 + ["usable"] * 2
    assert USUAL.label(failures).tolist() == expected + ["good"] * 2


def test_a_plant_moves_the_steps():
    own = read_rules({"weak": 3, "usable": 4})
    assert own.label(np.array([2.0, 3.0, 4.0, 20.0])).tolist() == [
        "indicative", "weak", "usable", "good",
    ]  # fmt: skip
    assert own.narrow_band == USUAL.narrow_band


@pytest.mark.parametrize(
    ("failures", "band", "borrowed", "words"),
    [
        (0.2, np.nan, 0.9, "a bound, not an estimate"),
        (2.0, 1.8, 0.6, "borrowed mostly from other groups"),
        (12.0, 1.8, 0.4, "enough to decide"),
        (12.0, 2.3, 0.4, "decide with the band"),
        (3.0, 3.5, 0.1, "decide with the band"),
        (3.0, 4.5, 0.1, "too few to decide"),
        (3.0, np.inf, 0.0, "too few to decide"),
    ],
)
def test_what_can_be_decided(failures, band, borrowed, words):
    judged = USUAL.judge(np.array([failures]), np.array([band]), np.array([borrowed]))
    assert judged.tolist() == [words]


@pytest.mark.parametrize(("failures", "lives"), [(6, 12), (6, 30), (20, 40)])
def test_as_many_more_failures_halve_the_band(failures, lives):
    """Groups with as many failures more as were asked for, at the same share suspended."""

    def bands(count, rows):
        rng = np.random.default_rng(7)
        life = np.sort(1000.0 * rng.weibull(2.2, (200, rows)), axis=1)
        lower = np.minimum(life, life[:, [count - 1]])
        upper = np.where(np.arange(rows) < count, lower, np.inf)
        group = np.repeat(np.arange(200), rows)
        found = fit_posterior(lower.ravel(), upper.ravel(), group=group, shape_prior_median=2.2,
                              shape_prior_sd=0.37, draws=10)  # fmt: skip
        return found.b10_high / found.b10_low, found.shape

    band, shape = bands(failures, lives)
    few = np.full(200, float(failures))
    more = failures_to_halve(band, shape, few, np.full(200, float(lives - failures)))
    total = failures + int(np.median(more))
    narrower, _ = bands(total, round(total * lives / failures))
    halved = np.median(np.log(narrower)) / np.median(np.log(band))
    assert halved == pytest.approx(0.5, abs=0.06)


def test_without_a_band_nothing_is_said():
    nothing = failures_to_halve(*(np.array([x]) for x in (np.nan, np.nan, 0.0, 30.0)))
    assert np.isnan(nothing).all()
