"""Second opinions, the lognormal challenger and the nonparametric survival."""

from __future__ import annotations

import numpy as np
import pytest

from pumplife.errors import RecordError
from pumplife.weibull import (
    ask_second_opinions,
    compare_lognormal,
    estimate_survival,
    fit_weibull,
)
from tests.weibull.sets import PUBLISHED, SETS, arrange, read_set, simulate


def test_both_libraries_agree_on_exact_and_suspended_lives():
    opinions = ask_second_opinions(*read_set("sim_seal3"))
    fit = fit_weibull(*read_set("sim_seal3"))
    assert {one.library for one in opinions} == {"lifelines", "reliability"}
    for one in opinions:
        assert one.shape == pytest.approx(fit.shape, rel=1e-3)
        assert one.scale == pytest.approx(fit.scale, rel=1e-3)


def test_one_library_agrees_on_late_entry():
    opinions = ask_second_opinions(*read_set("sim_ltrunc"))
    fit = fit_weibull(*read_set("sim_ltrunc"))
    assert [one.library for one in opinions] == ["lifelines"]
    assert opinions[0].shape == pytest.approx(fit.shape, rel=1e-3)
    assert repr(opinions[0]).startswith("SecondOpinion(lifelines: shape=1.7")


def test_whole_weights_are_repeated_and_fractions_left_to_one_library():
    lower, upper = arrange([100.0, 200.0, 320.0, 400.0], [250.0, 450.0])
    weight = np.array([1.0, 2.0, 1.0, 3.0, 2.0, 1.0])
    repeated = np.repeat(lower, weight.astype(int)), np.repeat(upper, weight.astype(int))
    whole = {one.library: one for one in ask_second_opinions(lower, upper, None, weight)}
    single = {one.library: one for one in ask_second_opinions(*repeated)}
    assert whole["reliability"].shape == pytest.approx(single["reliability"].shape)
    half = ask_second_opinions(lower, upper, None, 0.5 * weight)
    assert [one.library for one in half] == ["lifelines"]


def test_no_opinion_on_intervals_or_without_failures():
    assert ask_second_opinions([2.0, 5.0], [4.0, 5.0]) == []
    assert ask_second_opinions([2.0, 5.0], [np.inf, np.inf]) == []


def test_nothing_is_printed(capsys):
    ask_second_opinions(*read_set("e_2fail"))
    compare_lognormal(*read_set("sim_seal3")[:2])
    estimate_survival(*read_set("e_2fail"))
    printed = capsys.readouterr()
    assert printed.out == ""
    assert printed.err == ""


def test_lognormal_challenger_by_the_handbook():
    """NIST/SEMATECH 8.4.1.3 prints AIC 154.39 (lognormal) and 154.27 (Weibull)."""
    inputs = PUBLISHED["W01"]["inputs"]
    gap = compare_lognormal(*arrange(inputs["failures"], [500.0] * 10))
    assert gap == pytest.approx(154.39 - 154.27, abs=0.011)


def test_lognormal_wins_on_lognormal_lives():
    time = np.exp(np.random.default_rng(7).normal(6.0, 0.8, 200))
    assert compare_lognormal(time, time) < -5.0
    lower, upper = simulate(np.random.default_rng(7), 300, 3.0, 900.0, watched=3.0)
    assert compare_lognormal(lower, upper) > 5.0


def test_lognormal_needs_ten_exact_failures():
    few = np.arange(1.0, 10.0)
    assert np.isnan(compare_lognormal(few, few))
    assert np.isnan(compare_lognormal(np.append(few, 3.0), np.append(few, 5.0)))


@pytest.mark.parametrize("name", ["bearings", "sim_seal3", "sim_ltrunc", "e_ties"])
def test_survival_equals_the_reference(name):
    """R survival's survfit with late entry (lives.json)."""
    wanted = SETS[name]["kaplan_meier_R"]
    steps = estimate_survival(*read_set(name), confidence=0.95)
    times = np.array(wanted["time"])
    place = np.abs(steps.time[:, None] - times).argmin(axis=0)
    assert steps.time[place] == pytest.approx(times)
    assert steps.survival[place] == pytest.approx(wanted["surv"], rel=1e-9, abs=1e-12)


def test_survival_by_hand():
    """4 lives: fail 100 (3/4), leave 200, fail 300 (3/8), leave 400."""
    steps = estimate_survival(*arrange([100.0, 300.0], [200.0, 400.0]))
    assert steps.time.tolist() == [100.0, 200.0, 300.0, 400.0]
    assert steps.survival == pytest.approx([0.75, 0.75, 0.375, 0.375])
    assert (steps.low <= steps.survival).all()
    assert (steps.high >= steps.survival).all()
    assert repr(steps) == "SurvivalSteps(4 steps)"


def test_survival_refuses_what_it_cannot_draw():
    with pytest.raises(RecordError, match="Interval lives have no Kaplan-Meier"):
        estimate_survival([2.0], [4.0])
    with pytest.raises(RecordError, match="No life was observed"):
        estimate_survival([2.0], [np.inf], [2.0])


def test_survival_with_late_entry_by_hand():
    # the second life is not yet under watch at age 2
    steps = estimate_survival([2.0, 4.0, 5.0], [2.0, 4.0, np.inf], [0.0, 3.0, 0.0])
    at = np.searchsorted(steps.time, [2.0, 4.0], side="right") - 1
    np.testing.assert_allclose(steps.survival[at], [1 / 2, 1 / 4])
