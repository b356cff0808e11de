"""Estimates against arithmetic of sixty digits (decimal), for lives of every kind.

The log-likelihood is written life by life as the textbook has it. At a maximum Newton's step is
nothing; its size, taken with derivatives by differences of 1e-20, is the estimate's error.
"""

from __future__ import annotations

from decimal import Decimal, localcontext

import numpy as np
import pytest

from pumplife.weibull import fit_weibull

STEP = Decimal("1e-20")


def likelihood(lives, log_shape, log_scale):
    """The textbook's log-likelihood in decimal arithmetic."""
    shape, total = log_shape.exp(), Decimal(0)
    for lower, upper, entry, weight in lives:

        def hazard(age):
            return (shape * (Decimal(age).ln() - log_scale)).exp() if age > 0 else Decimal(0)

        if lower == upper:
            logs = Decimal(lower).ln()
            term = log_shape - log_scale + (shape - 1) * (logs - log_scale) - hazard(lower)
        elif np.isinf(upper):
            term = -hazard(lower)
        else:
            term = ((-hazard(lower)).exp() - (-hazard(upper)).exp()).ln()
        total += Decimal(weight) * (term + hazard(entry))
    return total


def newton_step(lives, shape, scale):
    """Newton's step in (log shape, log scale) from an estimate."""
    with localcontext() as context:
        context.prec = 90
        start = (Decimal(shape).ln(), Decimal(scale).ln())

        def at(first, second):
            return likelihood(lives, start[0] + first * STEP, start[1] + second * STEP)

        middle, ahead, behind = at(0, 0), (at(1, 0), at(0, 1)), (at(-1, 0), at(0, -1))
        slope = [(ahead[i] - behind[i]) / (2 * STEP) for i in range(2)]
        bend = [(ahead[i] - 2 * middle + behind[i]) / STEP**2 for i in range(2)]
        cross = (at(1, 1) - at(1, -1) - at(-1, 1) + at(-1, -1)) / (4 * STEP**2)
        size = bend[0] * bend[1] - cross**2
        assert size > 0
        assert bend[0] < 0
        by_shape = -(bend[1] * slope[0] - cross * slope[1]) / size
        by_scale = -(bend[0] * slope[1] - cross * slope[0]) / size
        return float(by_shape), float(by_scale)


def invented(shape, scale, seed, kinds):
    """Nine lives of the given kinds, some entered late, some with weights."""
    generator = np.random.default_rng(seed)
    life = np.sort(-np.log(generator.random(9))) ** (1.0 / shape)
    kind = np.resize(kinds, 9)
    spread = np.exp(0.3 / shape)
    lower = np.select([kind == "left", kind == "between"], [0.0 * life, life / spread], life)
    upper = np.select(
        [kind == "failed", kind == "running"], [life, np.full(9, np.inf)], life * spread
    )
    entry = np.where(np.arange(9) % 3 == 1, lower * np.exp(-1.0 / shape), 0.0)
    weight = np.where(np.arange(9) % 4 == 2, 2.0, 1.0)
    return lower * scale, upper * scale, entry * scale, weight


@pytest.mark.parametrize("scale", [1e-9, 1.0, 1e12])
@pytest.mark.parametrize("shape", [0.1, 0.8, 2.5, 60.0])
@pytest.mark.parametrize(
    "kinds",
    [("failed", "running"), ("failed", "between", "running"), ("between", "left", "running")],
    ids="-".join,
)
def test_newton_has_nothing_left_to_do(kinds, shape, scale):
    lives = invented(shape, scale, seed=3, kinds=kinds)
    fit = fit_weibull(*lives)
    assert fit.shape / shape == pytest.approx(1.0, abs=0.9)
    rows = [tuple(map(float, row)) for row in zip(*lives, strict=True)]
    by_shape, by_scale = newton_step(rows, fit.shape, fit.scale)
    assert abs(by_shape) < 2e-9
    assert abs(by_scale) * shape < 2e-9


def test_three_failures_in_four_hundred_lives():
    """Late entry and weights stand for 400 pumps; the three failures at distant ages."""
    lower = np.array([300.0, 900.0, 2000.0, 500.0, 1500.0, 3000.0])
    upper = np.array([300.0, 900.0, 2000.0, np.inf, np.inf, np.inf])
    entry = np.array([0.0, 250.0, 0.0, 0.0, 700.0, 0.0])
    weight = np.array([1.0, 1.0, 1.0, 150.0, 147.0, 100.0])
    fit = fit_weibull(lower, upper, entry, weight)
    rows = [tuple(map(float, row)) for row in zip(lower, upper, entry, weight, strict=True)]
    assert newton_step(rows, fit.shape, fit.scale) == pytest.approx((0.0, 0.0), abs=2e-9)
