"""The verdict of a fit, in words."""

import numpy as np
import pytest

from pumplife.fits.verdict import describe_fit

FACTS = {
    "failures": 30.0, "shared_failures": 0.0, "evidence": "good", "standing": "enough to decide",
    "shape_low": 2.0, "shape_high": 3.0, "b10": 1000.0, "b10_wider_prior": 1010.0,
    "borrowed_share": 0.02, "early_share": 0.0, "early_share_high": 0.0, "early_scale": np.nan,
    "early_sure": True,
    "more_failures": 90.0, "lognormal_gain": 0.0, "goodness_p": 0.4,
    "best_life": "weibull",
}  # fmt: skip
SEVEN = {"failures": 7.0, "evidence": "weak", "standing": "decide with the band",
         "more_failures": 25.0}  # fmt: skip


@pytest.mark.parametrize(
    ("facts", "words"),
    [
        ({"failures": 0.0, "evidence": "no failures"}, "no failures: a bound, not an estimate"),
        ({"failures": 0.0, "evidence": "no failures", "early_share": 0.015,
          "early_share_high": 0.031, "early_scale": 60.0},
         "no failures: a bound, not an estimate; early lives found in like groups only; here at "
         "most 3.1 % are taken to end so"),
        ({}, "good: 30 failures, enough to decide; wears out"),
        (SEVEN, "weak: 7 failures, decide with the band; wears out; 25 more failures would halve "
         "the band"),
        (SEVEN | {"borrowed_share": 0.31},
         "weak: 7 failures, decide with the band, 31 % borrowed from other groups; wears out; 25 "
         "more failures would halve the band"),
        ({"shape_low": 0.7, "shape_high": 1.1},
         "good: 30 failures, enough to decide; no sign of wear: fails at any age"),
        ({"shape_low": 0.9, "shape_high": 1.6}, "good: 30 failures, enough to decide; wear not "
         "shown"),
        ({"early_share": 0.042, "early_share_high": 0.06, "early_scale": 60.0},
         "good: 30 failures, enough to decide; early lives found: 4.2 % end soon after assembly; "
         "wears out"),
        ({"early_share": 0.001, "early_share_high": 0.008, "early_scale": 60.0},
         "good: 30 failures, enough to decide; early lives found in other services, hardly any "
         "here (at most 0.8 %); wears out"),
        ({"early_share": 0.012, "early_share_high": 0.03, "early_scale": 60.0, "early_sure": False},
         "good: 30 failures, enough to decide; early lives suspected: 1.2 % seem to end soon "
         "after assembly; wears out"),
        ({"lognormal_gain": 2.5}, "good: 30 failures, enough to decide; wears out; a lognormal "
         "life fits these records better"),
        ({"failures": 1.0, "evidence": "indicative", "borrowed_share": 0.813,
          "standing": "borrowed mostly from other groups", "more_failures": 7.0},
         "indicative: 1 failure, borrowed mostly from other groups (81 %); wears out; 7 more "
         "failures would halve the band"),
        ({"failures": 2.0, "evidence": "indicative", "standing": "too few to decide",
          "b10_wider_prior": 850.0, "more_failures": 12.0},
         "indicative: 2 failures, too few to decide; wears out; were the shape assumed less "
         "surely, B10 would move by −15 %; 12 more failures would halve the band"),
    ],
)  # fmt: skip
def test_the_verdict_says_what_the_evidence_is_worth(facts, words):
    assert describe_fit(FACTS | facts) == words


def test_the_verdict_speaks_of_failures_that_were_only_shared_out():
    assert "shared out" in describe_fit(FACTS | {"shared_failures": 10.0})
    assert "shared out" not in describe_fit(FACTS | {"shared_failures": 2.0})


def test_the_verdict_speaks_of_the_form_of_life():
    poor = describe_fit(FACTS | {"goodness_p": 0.004})
    assert "the Weibull line fits poorly (p = 0.004): look at the plot" in poor
    assert "a constant failure rate" in describe_fit(FACTS | {"best_life": "exponential"})
    assert "undecided" in describe_fit(FACTS | {"best_life": "undecided"})
    assert "undecided" not in describe_fit(FACTS | SEVEN | {"best_life": "undecided"})


def test_a_mixture_is_spoken_of_before_a_low_shape():
    mixed = describe_fit(FACTS | {"goodness_p": 0.004, "shape_low": 0.7, "shape_high": 1.1})
    assert mixed.index("two kinds of life") < mixed.index("no wear is seen")
    assert "fails at any age" not in mixed
