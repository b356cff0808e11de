"""Second opinions of other libraries."""

from __future__ import annotations

import numpy as np
import pytest

from pumplife.weibull import ask_second_opinions, estimate_survival, fit_weibull
from tests.weibull.sets import arrange, read_set


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


@pytest.mark.parametrize("wrong", [(1.0, 1.0), (0.5, 2.0), (1.6, 0.6)])
def test_an_opinion_is_the_same_wherever_its_climb_starts(wrong):
    fit = fit_weibull(*read_set("sim_ltrunc"))
    plain = ask_second_opinions(*read_set("sim_ltrunc"))[0]
    start = (wrong[0] * fit.shape, wrong[1] * fit.scale)
    started = ask_second_opinions(*read_set("sim_ltrunc"), start=start)[0]
    assert started.shape == pytest.approx(plain.shape, rel=1e-4)
    assert started.scale == pytest.approx(plain.scale, rel=1e-4)


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
    estimate_survival(*read_set("e_2fail"))
    printed = capsys.readouterr()
    assert printed.out == ""
    assert printed.err == ""
