"""Cells of shape and scale by hand."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import special

from pumplife.weibull.cells import (
    Beliefs,
    Cells,
    Picks,
    believe_alone,
    draw_lives,
    find_quantiles,
    find_variance,
    normal_cells,
)


def cells_of(likelihood, failures=2.0):
    """Return one group of two shapes, 1 and e, with two cells of log scale each."""
    edges = np.array([[[3.0, 2.0, 1.0], [2.0, 1.5, 1.0]]])
    return Cells(
        log_shape=np.array([[0.0, 1.0]]),
        edges=edges,
        likelihood=np.asarray(likelihood, dtype=float)[None, None],
        failures=np.array([failures]),
        thin=np.array([[[True, False], [False, False]]]),
    )


def test_quantiles_lie_where_even_cells_put_them():
    """Half of the mass evenly over 2 to 3, half over 1 to 2: 5 % at 1.1, half at 2."""
    edges = np.array([[[3.0, 2.0, 1.0]]])
    assert find_quantiles(edges, np.array([[[0.5, 0.5]]]))[:, 0] == pytest.approx([1.1, 2.0, 2.9])


def test_quantiles_of_overlapping_cells():
    """A quarter over 1 to 3 and three over 1 to 2: below 2 lie 0.75 + 0.125; half at 1 + 4/7."""
    edges = np.array([[[3.0, 2.0, 1.0], [2.0, 1.5, 1.0]]])
    mass = np.array([[[1.0, 1.0], [3.0, 3.0]]])
    assert find_quantiles(edges, mass)[:, 0] == pytest.approx([1 + 0.4 / 7, 1 + 4 / 7, 2.6])


def test_variance_of_two_points():
    values = np.array([[[1.0, 3.0]]])
    assert find_variance(values, np.array([[[1.0, 1.0]]]))[0] == pytest.approx(1.0)


def test_normal_cells_sum_to_the_normal_between_their_ends():
    rising = np.linspace(-8.0, 8.0, 33)
    assert normal_cells(rising, np.float64(0.3), np.float64(1.1)).sum() == pytest.approx(1.0)
    falling = normal_cells(rising[::-1], np.float64(0.0), np.float64(1.0))
    assert falling == pytest.approx(normal_cells(rising, np.float64(0.0), np.float64(1.0))[::-1])


def test_far_cells_keep_their_chance():
    """Between 9 and 10 standard deviations lie 1.129e-19 on either side."""
    for edges in ([9.0, 10.0], [-10.0, -9.0], [10.0, 9.0]):
        found = normal_cells(np.array(edges), np.float64(0.0), np.float64(1.0))
        assert found[0] == pytest.approx(special.ndtr(-9.0) - special.ndtr(-10.0), rel=1e-12)
        assert found[0] == pytest.approx(1.129e-19, rel=1e-3)


def test_alone_log_scale_is_flat_but_for_what_was_hardly_seen():
    beliefs = believe_alone(cells_of(np.ones((2, 2))), np.array([0.5]), np.array([0.4]))
    assert beliefs.scale[0, 0] == pytest.approx(np.array([[0.0, 1.0], [0.5, 0.5]]))
    assert beliefs.shape[0, 0, 0] == pytest.approx(beliefs.shape[0, 0, 1])


def test_alone_without_failure_it_is_flat_in_expected_failures():
    """Width in log scale times shape: 1 and 0.5 e."""
    cells = cells_of(np.ones((2, 2)), failures=0.0)
    beliefs = believe_alone(cells, np.array([0.5]), np.array([0.4]))
    assert beliefs.scale[0, 0] == pytest.approx(np.array([[0.0, 1.0], [0.5, 0.5]])
                                                * np.exp([[0.0], [1.0]]))  # fmt: skip


def test_draws_keep_to_cells_in_proportion_to_their_mass():
    cells = cells_of([[0.0, 1.0], [2.0, 0.0]])
    beliefs = Beliefs(shape=np.full((1, 1, 2), 0.5), scale=np.ones((1, 1, 2, 2)),
                      weight=np.ones((1, 1)))  # fmt: skip
    generator, draws = np.random.default_rng(2), 9000
    nothing = np.zeros(draws, dtype=np.intp)
    picks = Picks(scale_node=nothing, shape_node=nothing, share_node=nothing[None],
                  levels=generator.random((1, 3, draws)))  # fmt: skip
    log_shape, log_scale = draw_lives(cells, beliefs, picks)
    first = log_shape[0] < 0.5
    assert first.mean() == pytest.approx(1 / 3, abs=0.015)
    assert log_shape.min() > -0.5
    assert log_shape.max() < 1.5
    lone = log_scale[0, log_shape[0] < 0.0]
    assert lone.min() >= 1.0
    assert lone.max() <= 2.0
    steep = log_scale[0, log_shape[0] > 1.0]
    assert steep.min() >= 1.5
    assert steep.max() <= 2.0
