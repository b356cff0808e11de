"""Derivatives against differences, and the likelihood against the textbook's."""

from __future__ import annotations

import numpy as np
import pytest

from pumplife.weibull.arrays import check_lives, find_groups
from pumplife.weibull.likelihood import best_theta, build_log_lives, evaluate
from pumplife.weibull.mixture import build_mixture_lives, evaluate_mixture
from tests.weibull.sets import log_likelihood

LOWER = np.array([120.0, 300.0, 0.0, 450.0, 500.0, 900.0, 20.0, 333.0])
UPPER = np.array([120.0, np.inf, 200.0, 600.0, 500.0, np.inf, 20.0, 400.0])
ENTRY = np.array([0.0, 100.0, 0.0, 200.0, 30.0, 0.0, 0.0, 0.0])
WEIGHT = np.array([1.0, 2.0, 1.0, 1.0, 3.0, 2.0, 1.0, 2.0])
GROUP = np.array([0, 0, 0, 0, 1, 1, 1, 1])


def both():
    lives = check_lives(LOWER, UPPER, ENTRY, WEIGHT)
    return lives, find_groups(GROUP, len(LOWER))


def test_value_is_the_textbooks():
    lives, groups = both()
    logs = build_log_lives(lives, groups)
    shape, scale = np.array([1.7, 0.8]), np.array([500.0, 900.0])
    theta = -shape * (np.log(scale) - logs.log_unit)
    value = evaluate(logs, theta, shape).value - logs.moment - logs.failures * logs.log_unit
    for group in (0, 1):
        rows = tuple(column[group == GROUP] for column in (LOWER, UPPER, ENTRY, WEIGHT))
        assert value[group] == pytest.approx(log_likelihood(rows, shape[group], scale[group]))


def test_derivatives_are_the_differences():
    lives, groups = both()
    logs = build_log_lives(lives, groups)
    theta, log_shape, step = np.array([0.4, -0.7]), np.array([0.6, -0.2]), 1e-5

    def at(by_theta, by_shape):
        return evaluate(logs, theta + by_theta * step, np.exp(log_shape + by_shape * step))

    point = at(0, 0)
    for name, slope, move in (("theta", "by_theta", (1, 0)), ("shape", "by_shape", (0, 1))):
        up, down = at(*move), at(-move[0], -move[1])
        assert getattr(point, slope) == pytest.approx((up.value - down.value) / (2 * step)), name
        by_theta = (up.by_theta - down.by_theta) / (2 * step)
        by_shape = (up.by_shape - down.by_shape) / (2 * step)
        second = point.theta2 if name == "theta" else point.shape2
        assert second == pytest.approx(by_theta if name == "theta" else by_shape, rel=1e-6)
        assert point.cross == pytest.approx(by_shape if name == "theta" else by_theta, rel=1e-6)


def test_best_theta_is_the_maximum():
    """2 failures, exposure 3, intervals with E of 1e-4, 1, and 40."""
    log_span, weight = np.log([1e-4, 1.0, 40.0]), np.array([1.0, 2.0, 0.5])
    theta = best_theta(np.array([2.0]), np.array([3.0]), log_span, weight, np.zeros(3, dtype=int))
    hazard = np.exp(theta + log_span)
    slope = 2.0 - 3.0 * np.exp(theta) + (weight * hazard / np.expm1(hazard)).sum()
    assert slope == pytest.approx(0.0, abs=1e-12)


def test_best_theta_with_intervals_only_and_wide_ones():
    """One interval of E = 1e12 and one survivor: exp(-z) z / (1 - exp(-z)) = exp(theta)."""
    theta = best_theta(
        np.array([0.0]), np.array([1.0]), np.log([1e12]), np.array([1.0]), np.zeros(1, dtype=int)
    )
    hazard = np.exp(theta + np.log(1e12))
    assert hazard / np.expm1(hazard) == pytest.approx(np.exp(theta), rel=1e-8)


def mixture_of(parameters):
    lives, groups = both()
    mixture = build_mixture_lives(lives, groups, np.zeros(2, dtype=np.intp), 1)
    log_shape, log_scale = parameters[0:2], parameters[2:4]
    return evaluate_mixture(mixture, log_shape, log_scale, parameters[4:5], parameters[5:6])


def test_mixture_is_the_textbooks():
    shape, scale = np.array([1.7, 2.2]), np.array([500.0, 900.0])
    share, tau = 0.1, 60.0
    found = mixture_of(
        np.concatenate([np.log(shape), np.log(scale), [np.log(share / (1 - share)), np.log(tau)]])
    )
    wanted = 0.0
    for row, group in enumerate(GROUP):

        def survive(age, group=group):
            wear = np.exp(-((age / scale[group]) ** shape[group]))
            return (1 - share) * wear + share * np.exp(-age / tau)

        chance = survive(LOWER[row]) - (survive(UPPER[row]) if UPPER[row] < np.inf else 0.0)
        if LOWER[row] == UPPER[row]:
            step = 1e-4
            chance = (survive(LOWER[row] - step) - survive(LOWER[row] + step)) / (2 * step)
        wanted += WEIGHT[row] * np.log(chance / survive(ENTRY[row]))
    assert found.value[0] == pytest.approx(wanted, rel=1e-7)


def test_mixture_derivatives_are_the_differences():
    parameters = np.array([0.6, 0.9, 6.2, 6.6, -2.0, 4.0])
    step = 1e-5
    place = {0: (0, 0), 1: (1, 0), 2: (0, 1), 3: (1, 1)}

    def gradient(slopes):
        return np.concatenate([slopes.group[:, 0], slopes.group[:, 1], slopes.common[0]])

    middle = mixture_of(parameters)
    for one in range(6):
        move = np.zeros(6)
        move[one] = step
        up, down = mixture_of(parameters + move), mixture_of(parameters - move)
        difference = (up.value[0] - down.value[0]) / (2 * step)
        assert gradient(middle)[one] == pytest.approx(difference, rel=1e-6, abs=1e-7)
        second = (gradient(up) - gradient(down)) / (2 * step)
        for other in range(6):
            if one < 4 and other < 4:
                same = place[one][0] == place[other][0]
                wanted = middle.group2[place[one][0], place[one][1], place[other][1]] if same else 0
            elif one >= 4 and other >= 4:
                wanted = middle.common2[0, one - 4, other - 4]
            else:
                own, common = min(one, other), max(one, other) - 4
                wanted = middle.mixed[place[own][0], place[own][1], common]
            assert second[other] == pytest.approx(wanted, rel=1e-5, abs=1e-6), (one, other)
