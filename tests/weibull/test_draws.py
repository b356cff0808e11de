"""Draws of lives as survival, density, hazard and mean."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import integrate

from pumplife.errors import RecordError
from pumplife.weibull import LifeDraws

DRAWS = LifeDraws(
    early_share=np.array([[0.0, 0.0], [0.1, 0.02]]),
    early_scale=np.array([[1.0, 1.0], [50.0, 20.0]]),
    shape=np.array([[2.0, 1.0], [2.5, 0.7]]),
    scale=np.array([[1000.0, 500.0], [2000.0, 300.0]]),
)


def test_survival_by_hand():
    """Plain: exp(-(500/1000)^2) and exp(-1); with early lives: 0.9 exp(-1/32) + 0.1 exp(-10)."""
    survival = DRAWS.survival(500.0)
    assert survival[0] == pytest.approx([np.exp(-0.25), np.exp(-1.0)])
    wear = np.exp(-((500 / 2000) ** 2.5))
    assert survival[1, 0] == pytest.approx(0.9 * wear + 0.1 * np.exp(-10.0))


def test_density_and_hazard_are_the_slopes():
    ages = np.array([3.0, 40.0, 500.0, 1800.0])[:, None, None]
    step = 1e-4
    slope = (DRAWS.survival(ages - step) - DRAWS.survival(ages + step)) / (2 * step)
    assert DRAWS.density(ages) == pytest.approx(slope, rel=1e-5)
    assert DRAWS.hazard(ages) == pytest.approx(slope / DRAWS.survival(ages), rel=1e-5)


def test_mean_is_the_area_below_survival():
    for place in np.ndindex(2, 2):
        one = DRAWS[place[0]]
        area, _ = integrate.quad(lambda t, one=one, p=place: one.survival(t)[p[1]], 0, 60_000,
                                 limit=500, points=[100.0, 1000.0])  # fmt: skip
        assert DRAWS.mean()[place] == pytest.approx(area, rel=1e-5)


def test_ends_of_age_are_quiet():
    assert DRAWS.survival(0.0) == pytest.approx(np.ones((2, 2)))
    assert np.isinf(DRAWS.density(0.0)[1, 1])
    far = DRAWS.hazard(1e9)
    assert far[0, 1] == pytest.approx(1 / 500)
    assert far[1, 0] == pytest.approx(1 / 50)


def test_index_broadcast_and_words():
    assert len(DRAWS) == 2
    assert DRAWS[np.array([1])].shape.shape == (1, 2)
    assert DRAWS.survival(np.zeros((5, 1, 1))).shape == (5, 2, 2)
    assert repr(DRAWS) == "LifeDraws(2, 2)"
    with pytest.raises(RecordError, match="differ in shape"):
        LifeDraws(early_share=np.zeros(2), early_scale=np.ones(2), shape=np.ones(2),
                  scale=np.ones(3))  # fmt: skip
