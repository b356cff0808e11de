"""How large a trial is: failures needed, expected, and plans without a failure."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import special

from pumplife.errors import RecordError
from pumplife.materials.trial_size import (
    INSIDE,
    TrialDesign,
    approximate_power,
    events_needed,
    expect_failures,
    failures_to_show,
    find_use,
    plan_demonstration,
    run_of_demonstration,
)
from tests.reference.checks import published

PLAIN = TrialDesign(pumps=8, use=9000.0, shape=2.5, scale=5000.0, ratio=1.5)


@pytest.mark.parametrize(
    ("ratio", "failures"),
    [
        (1.25, [(125, 172), (80, 111), (56, 77)]),
        (1.5, [(38, 53), (25, 34), (17, 24)]),
        (2.0, [(13, 18), (9, 12), (6, 8)]),
    ],
)
def test_failures_needed_are_those_of_a_table(ratio, failures):
    """Independently computed: shapes 2, 2.5, 3; power 80 and 90 %; one-sided risk 5 %.

    That table rounds to the nearest or up; the failures themselves lie within one of it.
    """
    for shape, row in zip((2.0, 2.5, 3.0), failures, strict=True):
        found = events_needed(ratio, shape, [0.8, 0.9])
        assert np.all(np.abs(np.ceil(found) - row) <= 1)
        assert np.all(found <= np.array(row) + 0.6)


def test_failures_needed_by_hand():
    reach = 1.2815515655446004 + 1.6448536269514722  # of 10 % and of 5 %
    assert events_needed(np.e, 1.0, 0.9) == pytest.approx(4.0 * reach**2)


@given(ratio=st.floats(1.05, 4.0), shape=st.floats(0.5, 5.0), power=st.floats(0.5, 0.99))
def test_swapped_materials_need_as_many(ratio, shape, power):
    there, back = events_needed([ratio, 1.0 / ratio], shape, power)
    assert there == pytest.approx(back)


def test_failures_that_show_a_ratio_are_those_of_many_alike_witnesses():
    """With many pumps that don't differ t is normal: little is left but what the score asks never
    to be called better than independent."""
    found = failures_to_show(1.5, 2.5, 100_000)
    assert found == pytest.approx(float(events_needed(1.5, 2.5)), rel=0.01)
    assert failures_to_show(1.0 / 1.5, 2.5, 100_000) == pytest.approx(found)


def test_few_or_unlike_pumps_ask_for_more_failures_or_none_is_enough():
    plain = failures_to_show(1.5, 2.5, 16)
    assert failures_to_show(1.5, 2.5, 8) > 1.1 * plain
    assert failures_to_show(1.5, 2.5, 16, 2.0 * 0.15**2 / 8) > 1.1 * plain
    assert np.isnan(failures_to_show(1.5, 2.5, 4, 2.0 * 0.35**2 / 2))
    assert np.isnan(failures_to_show(1.5, 2.5, 1))


def test_plans_without_a_failure_by_a_table():
    """Independently computed: shape 2.5, confidence 90 %."""
    for longer, run, items in ((1.5, 1.0, 7), (1.5, 1.5, 3), (2.0, 1.0, 14)):
        assert plan_demonstration(longer, run, 2.5).items == items
    passes = plan_demonstration(1.5, 1.0, 2.5).chance_to_pass([1.5, 2.0, 3.0])
    assert passes[0] <= 0.10
    assert passes[1:] == pytest.approx([0.29, 0.64], abs=0.005)


def test_a_demonstration_and_its_run_agree():
    plan = plan_demonstration(1.5, 1.0, 2.5, 0.9)
    run = run_of_demonstration(1.5, plan.items, 2.5, 0.9)
    assert run <= 1.0
    assert run_of_demonstration(1.5, plan.items - 1, 2.5, 0.9) > 1.0
    exact = replace(plan, run=run)
    assert exact.chance_to_pass(1.5) == pytest.approx(0.1)


def test_failures_expected_are_those_of_a_constant_rate():
    """At shape 1 every position fails at its rate, whatever is renewed: 2 x 9000 / 5000 a pump."""
    design = replace(PLAIN, shape=1.0, pump_spread=0.0, ratio=2.0)
    assert expect_failures(design) == pytest.approx([8 * 3.6, 8 * 1.8], rel=1e-3)
    pulled = replace(design, interval=700.0, rest_shape=2.0, rest_scale=1500.0)
    assert expect_failures(pulled) == pytest.approx([8 * 3.6, 8 * 1.8], rel=5e-3)


def test_time_scale_leaves_a_trial_as_it_is():
    other = replace(PLAIN, use=9.0, scale=5.0)
    assert expect_failures(other) == pytest.approx(expect_failures(PLAIN))
    assert approximate_power(other) == pytest.approx(approximate_power(PLAIN))


def test_use_that_is_found_has_the_power():
    use = find_use(PLAIN, 0.8)
    assert approximate_power(replace(PLAIN, use=use)) == pytest.approx(0.8, abs=1e-3)
    assert find_use(PLAIN, 0.8, longest=0.5 * use) == np.inf


def test_spread_between_pumps_costs_power_but_not_inside_them():
    wide = replace(PLAIN, pump_spread=0.35)
    assert approximate_power(wide) < approximate_power(PLAIN) - 0.05
    inside = [
        approximate_power(replace(PLAIN, layout=INSIDE, pumps=16, pump_spread=spread))
        for spread in (0.0, 0.35)
    ]
    assert inside[1] > inside[0] - 0.01


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"pumps": 1}, "tells nothing"),
        ({"shape": 0.0}, "shape of a trial is 0"),
        ({"layout": "mixed"}, "apart, pairs or inside"),
        ({"layout": INSIDE, "positions": 3}, "can't be halved"),
        ({"stagger": 9000.0}, "Starts spread"),
    ],
)
def test_designs_that_cannot_be_are_refused(change, words):
    with pytest.raises(RecordError, match=words):
        replace(PLAIN, **change)


def test_a_demonstration_that_cannot_be_is_refused():
    for arguments in ((0.0, 1.0, 2.5, 0.9), (1.5, 0.0, 2.5, 0.9), (1.5, 1.0, 2.5, 1.0)):
        with pytest.raises(RecordError):
            plan_demonstration(*arguments)


def test_normal_scores_are_those_of_scipy():
    assert special.ndtri(0.8) - special.ndtri(0.05) == pytest.approx(
        np.sqrt(events_needed(np.e, 2.0, 0.8))
    )


def test_published_plans_without_a_failure():
    """Chapter 10 to the package SMRD (seen on a public page), as in the published examples: length
    of the test as a multiple of the quantile to be shown."""
    check = published("fits")["Z01"]
    printed = {one["name"]: float(one["printed"]) for one in check["outputs"]}
    for place, plan in enumerate(check["inputs"][:3], start=1):
        shape = plan["beta"]
        longer = (-np.log1p(-plan["p"])) ** (-1.0 / shape)  # scale over the quantile
        run = run_of_demonstration(longer, plan["n"], shape, plan["C"])
        assert run == pytest.approx(printed[f"k{place}"], rel=2e-3)
        assert plan_demonstration(longer, run, shape, plan["C"]).items == plan["n"]
