"""Draws of lives by other routes than the posterior, so that the three can be compared."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pumplife.errors import RecordError
from pumplife.weibull.arrays import Floats, check_lives, find_groups, sort_lives
from pumplife.weibull.draws import LifeDraws
from pumplife.weibull.estimate import WeibullFit, fit_weibull

AT_ONCE = 1_000_000  # lives x resamples fitted in one call


def draw_asymptotic(fit: WeibullFit, *, draws: int = 400, seed: int = 1) -> LifeDraws:
    """Return draws from the normal approximation of maximum likelihood.

    Log scale and log shape are normal about the estimate with its covariance: what maximum
    likelihood tends to with many failures. No early lives.

    Parameters
    ----------
    fit : WeibullFit
        With or without groups.
    draws : int
    seed : int

    Returns
    -------
    LifeDraws (groups, draws)
        NaN where a group has no estimate.

    References
    ----------
    .. [1] W. Q. Meeker, L. A. Escobar, "Statistical Methods for Reliability Data", Wiley, 1998,
       chapter 8 (from memory).
    """
    shape, scale = np.atleast_1d(fit.shape), np.atleast_1d(fit.scale)
    covariance = np.asarray(fit.covariance).reshape(-1, 2, 2)
    noise = np.random.default_rng(seed).standard_normal((2, len(shape), draws))
    wide = np.sqrt(covariance[:, 0, 0])
    along = covariance[:, 0, 1] / wide
    rest = np.sqrt(np.maximum(covariance[:, 1, 1] - along**2, 0.0))
    log_scale = np.log(scale)[:, None] + wide[:, None] * noise[0]
    log_shape = np.log(shape)[:, None] + along[:, None] * noise[0] + rest[:, None] * noise[1]
    return _as_draws(np.exp(log_shape), np.exp(np.minimum(log_scale, 700.0)))


def draw_bootstrap(
    lower: ArrayLike,
    upper: ArrayLike,
    entry: ArrayLike | None = None,
    weight: ArrayLike | None = None,
    *,
    group: Sequence[Any] | NDArray[Any],
    draws: int = 400,
    seed: int = 1,
) -> LifeDraws:
    """Return maximum-likelihood lives of reweighted records, by the Bayesian bootstrap.

    In each resample every life counts with an exponential weight of mean 1. It needs no model of
    what suspends lives or lets them enter late, and no failure ever drops out altogether; with
    fewer than about ten failures its draws are too narrow and their shapes too high, as maximum
    likelihood's are. No early lives.

    Parameters
    ----------
    lower, upper, entry, weight, group
        As for fit_weibull.
    draws : int
    seed : int

    Returns
    -------
    LifeDraws (groups, draws)
        Over the sorted distinct labels; NaN where a resample has no estimate.

    References
    ----------
    .. [1] D. B. Rubin, "The Bayesian bootstrap", Annals of Statistics 9, 1981 (from memory).
    """
    if draws < 1:
        raise RecordError(f"draws is {draws}: give one or more.")
    lives = check_lives(lower, upper, entry, weight)
    lives, groups = sort_lives(lives, find_groups(group, len(lives.lower)))
    generator = np.random.default_rng(seed)
    rows, count = len(lives.lower), len(groups.labels)
    some = max(1, AT_ONCE // max(rows, 1))
    values = np.full((2, draws, count), np.nan)
    for first in range(0, draws, some):
        block = min(some, draws - first)
        weights = generator.exponential(size=(block, rows)) * lives.weights()
        number = np.arange(block)[:, None] * count + groups.code
        fit = fit_weibull(
            np.tile(lives.lower, block),
            np.tile(lives.upper, block),
            np.tile(lives.entries(), block),
            weights.ravel(),
            group=number.ravel(),
            bounds="wald",
        )
        place = np.asarray(fit.labels)
        flat = values[:, first : first + block].reshape(2, -1)
        flat[:, place] = fit.shape, fit.scale
        values[:, first : first + block] = flat.reshape(2, block, count)
    return _as_draws(values[0].T, values[1].T)


def _as_draws(shape: Floats, scale: Floats) -> LifeDraws:
    return LifeDraws(
        early_share=np.zeros_like(shape), early_scale=np.ones_like(shape), shape=shape, scale=scale
    )
