"""Clustered errors: by definition, against the regression, and what they are for."""

from __future__ import annotations

import numpy as np
import pytest

from pumplife.errors import RecordError
from pumplife.weibull import clustered_covariance, fit_regression, fit_weibull
from tests.weibull.sets import log_likelihood
from tests.weibull.test_regression import simulate


def test_the_sandwich_by_its_definition():
    """Scores by differences of the textbook's log-likelihood, summed over pumps."""
    (lower, upper, entry, weight), _ = simulate(3, rows=40)
    pump = np.arange(40) // 4
    fit = fit_weibull(lower, upper, entry, bounds="wald")
    at = np.log([fit.scale, fit.shape])
    meat = np.zeros((2, 2))
    for one in range(10):
        mine = tuple(column[pump == one] for column in (lower, upper, entry, weight))
        score = [
            (
                log_likelihood(mine, *np.exp((at + step)[::-1]))
                - log_likelihood(mine, *np.exp((at - step)[::-1]))
            )
            / 2e-5
            for step in 1e-5 * np.eye(2)
        ]
        meat += np.outer(score, score)
    known = fit.covariance @ meat @ fit.covariance * 10 / 9
    found = clustered_covariance(lower, upper, entry, cluster=pump)
    assert found.covariance[0] == pytest.approx(known, rel=1e-5)
    assert found.clusters.tolist() == [10]
    ratio = np.diag(known) / np.diag(fit.covariance)
    assert found.design_effect[0] == pytest.approx(ratio, rel=1e-5)


def test_groups_are_regressions_without_covariates():
    (lower, upper, entry, _), _ = simulate(5, rows=200)
    generator = np.random.default_rng(6)
    group = generator.choice(["slip", "glaze", "wash"], 200)
    weight, pump = generator.integers(0, 3, 200), generator.integers(0, 25, 200)
    found = clustered_covariance(lower, upper, entry, weight, cluster=pump, group=group)
    assert found.labels.tolist() == ["glaze", "slip", "wash"]
    for place, label in enumerate(found.labels):
        mine = group == label
        alone = fit_regression(
            lower[mine], upper[mine], entry[mine], weight[mine],
            covariates=None, names=[], cluster=pump[mine],
        )  # fmt: skip
        assert found.covariance[place] == pytest.approx(alone.covariance, rel=1e-6)
        assert found.clusters[place] == alone.clusters


def test_a_group_that_can_not_be_judged_is_nan_and_stops_nothing():
    lower = np.array([10.0, 20.0, 30.0, 5.0, 6.0, 7.0, 8.0, 9.0])
    upper = np.where(np.arange(8) < 5, lower, np.inf)
    upper[5:] = np.inf
    group = [1, 1, 1, 2, 2, 3, 3, 4]
    weight = [1, 1, 1, 1, 1, 1, 1, 0]
    pump = ["a", "b", "b", "c", "c", "d", "e", "f"]
    found = clustered_covariance(lower, upper, None, weight, cluster=pump, group=group)
    assert np.isfinite(found.covariance).all(axis=(1, 2)).tolist() == [True, False, False, False]
    assert found.clusters.tolist() == [2, 1, 2, 0]
    assert found.to_frame()["log_scale_se"].isna().tolist() == [False, True, True, True]


def test_row_order_and_time_unit_change_nothing():
    (lower, upper, entry, _), _ = simulate(8, rows=90)
    pump, group = np.arange(90) // 3, np.arange(90) % 2
    plain = clustered_covariance(lower, upper, entry, cluster=pump, group=group)
    order = np.random.default_rng(1).permutation(90)
    mixed = clustered_covariance(
        1e4 * lower[order], 1e4 * upper[order], 1e4 * entry[order],
        cluster=pump[order], group=group[order],
    )  # fmt: skip
    assert mixed.covariance == pytest.approx(plain.covariance, rel=1e-6)


def test_a_cluster_label_per_life_is_asked_for():
    with pytest.raises(RecordError, match="cluster has shape"):
        clustered_covariance([1.0, 2.0], [1.0, 2.0], cluster=[1])


def test_repeated_lives_of_a_pump_tell_no_more_than_one():
    """Four lives each a copy of the pump's own: plain errors are half of what they should be."""
    life = 1000.0 * np.random.default_rng(3).weibull(2.0, 200)
    copied, pump = np.repeat(life, 4), np.repeat(np.arange(200), 4)
    found = clustered_covariance(copied, copied, cluster=pump)
    single = clustered_covariance(life, life, cluster=np.arange(200))
    assert found.covariance == pytest.approx(single.covariance, rel=1e-9)
    assert found.design_effect[0] == pytest.approx(4.0 * single.design_effect[0], rel=1e-9)
