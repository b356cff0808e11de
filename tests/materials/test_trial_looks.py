"""Looks at a trial: bounds against published ones, risks kept, futility, the stop for safety."""

import numpy as np
import pytest
from scipy import special

from pumplife.errors import RecordError
from pumplife.materials.trial_looks import (
    chance_still,
    cross_bounds,
    more_failures,
    plan_looks,
    spend_risk,
    weigh_harm,
)


def test_late_bounds_as_published():
    """README of the package SeqBounds.jl (seen on its public page): one-sided 5 %, four looks."""
    looks = plan_looks([0.25, 0.5, 0.75, 1.0], 0.05)
    assert looks.bound == pytest.approx([3.74955, 2.53993, 2.01604, 1.72014], abs=5e-5)
    assert looks.spent == pytest.approx([8.85754e-5, 0.0055746, 0.0236251, 0.05], rel=1e-4)


def test_even_bounds_as_published():
    """Output of the package rpact in D. Lakens, "Improving Your Statistical Inferences" (seen on
    its public page): two-sided 5 %, which is 2.5 % on each side; nominal levels."""
    for share, levels in (
        ([1 / 3, 2 / 3, 1.0], [0.02264162, 0.02173822, 0.02167941]),
        ([76 / 198, 2 / 3, 1.0], [0.02532710, 0.02043978, 0.02164755]),
    ):
        looks = plan_looks(share, 0.025, "even")
        assert 2.0 * special.ndtr(-looks.bound) == pytest.approx(levels, abs=2e-7)
    looks = plan_looks([0.5, 1.0], 0.025, "even")
    assert looks.bound == pytest.approx([2.157, 2.201], abs=5e-4)
    assert more_failures(looks, 0.9, 0.025) == pytest.approx(188.9 / 170.1, abs=2e-3)
    drift = np.sqrt(more_failures(looks, 0.9, 0.025)) * (special.ndtri(0.9) + special.ndtri(0.975))
    crossed = cross_bounds(looks.share, looks.bound, float(drift))
    assert crossed == pytest.approx([0.6022, 0.2978], abs=2e-3)


@pytest.mark.parametrize(
    ("spending", "bounds"),
    [
        ("late", [4.8769, 3.3569, 2.6803, 2.2898, 2.0310]),
        ("even", [2.4380, 2.4268, 2.4101, 2.3966, 2.3859]),
    ],
)
def test_five_looks_as_remembered(spending, bounds):
    """One-sided 2.5 %, five equal looks, by Lan and DeMets' spending functions; from memory."""
    looks = plan_looks(np.arange(1, 6) / 5, 0.025, spending)
    assert looks.bound == pytest.approx(bounds, abs=5e-4)


def test_chances_of_crossing_as_published():
    """Same source as the even bounds: constant bounds of Pocock, those of O'Brien and Fleming,
    and 14.2 % where five looks each take 1.96."""
    for bound, chance, within in (
        ([2.178] * 2, 0.05, 1e-4),
        ([2.289] * 3, 0.05, 1e-4),
        ([3.471, 2.454, 2.004], 0.05, 1e-4),
        ([1.959964] * 5, 0.142, 5e-4),
    ):
        share = np.arange(1, len(bound) + 1) / len(bound)
        assert 2.0 * cross_bounds(share, bound).sum() == pytest.approx(chance, abs=within)


def test_one_look_is_the_plain_test():
    assert plan_looks([1.0], 0.05).bound == pytest.approx([1.6448536], abs=1e-6)
    assert more_failures(plan_looks([1.0], 0.05), 0.8) == pytest.approx(1.0, abs=1e-6)


@pytest.mark.parametrize("spending", ["late", "even"])
def test_all_of_the_risk_is_spent_at_the_end_and_none_more(spending):
    looks = plan_looks([0.2, 0.7, 1.0], 0.05, spending)
    assert cross_bounds(looks.share, looks.bound).sum() == pytest.approx(0.05, abs=1e-9)
    assert spend_risk([0.0, 1.0], 0.05, spending) == pytest.approx([0.0, 0.05])


def test_chance_of_still_being_shown_by_hand():
    looks = plan_looks([0.5, 1.0], 0.05)
    # halfway, score 0: the second half brings a score of drift/2, spread root of a half
    found = chance_still(0.0, 0.5, looks, 2.4)
    assert found == pytest.approx(special.ndtr((1.2 - looks.bound[-1]) / np.sqrt(0.5)))


def test_harm_is_rarely_seen_where_there_is_none_however_often_one_looks():
    """A process of rate 1 looked at at each of its failures: at most 1 of 20 ever gets to 20."""
    generator = np.random.default_rng(3)
    for rate, low, high in ((1.0, 0.0, 0.05), (2.0, 0.9, 1.0)):
        due = np.cumsum(generator.exponential(1.0 / rate, (4000, 60)), axis=1)
        ever = (weigh_harm(np.arange(1, 61), due) >= 20.0).any(axis=1).mean()
        assert low <= ever <= high


def test_bad_looks_are_refused():
    for share in ([0.5, 0.4, 1.0], [0.5], [0.0, 1.0]):
        with pytest.raises(RecordError, match="rise to 1"):
            plan_looks(share)
    with pytest.raises(RecordError, match='give "late" or "even"'):
        plan_looks([1.0], spending="often")
    with pytest.raises(RecordError, match="below"):
        plan_looks([1.0], 0.6)
