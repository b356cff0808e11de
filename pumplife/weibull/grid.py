"""The posterior of shape and scale on a grid that finds its own place, group by group.

For each log shape the grid runs over theta, the log of the cumulated hazard at the group's longest
life (see likelihood.py). That axis is nearly independent of shape, and the exposure needs one pass
over the lives per shape, whatever the number of thetas.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pumplife.weibull.arrays import Floats, sum_by
from pumplife.weibull.likelihood import (
    LogLives,
    best_theta,
    exposures,
    interval_terms,
    log_spans,
    profile,
    profile_derivatives,
)
from pumplife.weibull.roots import find_roots

FEWEST_EXPECTED = 0.01  # failures expected over the observed exposure, at the longest scale
COARSE = 33
BLOCK = 2_000_000  # interval rows x thetas worked on at once


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class Grid:
    """Log posterior mass of cells in log shape and theta.

    Attributes
    ----------
    log_shape : array (shapes, groups)
        Middles of equal cells.
    low, high : arrays (shapes, groups)
        Range of theta for each shape, cut into equal cells.
    mass : array (shapes, thetas, groups)
        Log of the posterior mass of each cell, without a constant per group.
    """

    log_shape: Floats
    low: Floats
    high: Floats
    mass: Floats

    def __repr__(self) -> str:
        return f"Grid{self.mass.shape}"

    def theta(self, shape: int) -> Floats:
        """Return the middles of the theta cells (thetas, groups) of one shape."""
        steps = (np.arange(self.mass.shape[1]) + 0.5) / self.mass.shape[1]
        width = self.high[shape] - self.low[shape]
        return np.asarray(self.low[shape] + steps[:, None] * width)


def place_grid(lives: LogLives, median: Floats, spread: Floats, shapes: int, thetas: int) -> Grid:
    """Return a grid over all that matters of each group's posterior.

    median and spread (groups,) are those of the normal prior on log shape.
    """
    middle, reach = _find_mode(lives, median, spread)
    steps = np.linspace(-1.0, 1.0, COARSE)[:, None]
    coarse = fill_grid(lives, middle + 6.5 * reach * steps, median, spread, 16)
    marginal = log_sum(coarse.mass, axis=1)
    matters = marginal > marginal.max(axis=0) - 11.0
    step = coarse.log_shape[1] - coarse.log_shape[0]
    first = coarse.log_shape[np.argmax(matters, axis=0), np.arange(len(lives))] - step
    last_row = COARSE - 1 - np.argmax(matters[::-1], axis=0)
    last = coarse.log_shape[last_row, np.arange(len(lives))] + step
    middles = (np.arange(shapes)[:, None] + 0.5) / shapes
    return fill_grid(lives, first + middles * (last - first), median, spread, thetas)


def _find_mode(lives: LogLives, median: Floats, spread: Floats) -> tuple[Floats, Floats]:
    """Return the mode of log shape, theta maximised out, and a standard deviation about it."""

    def curve(log_shape: Floats) -> tuple[Floats, Floats]:
        slope, bend = profile_derivatives(profile(lives, np.exp(log_shape))[1])
        off = log_shape - median
        return (
            np.nan_to_num(slope) - off / spread**2,
            np.minimum(np.nan_to_num(bend), 0.0) - 1.0 / spread**2,
        )

    wide = 8.0 * spread
    mode = find_roots(curve, median, median - wide, median + wide, tolerance=1e-4, iterations=40)
    return mode, 1.0 / np.sqrt(-curve(mode)[1])


def fill_grid(
    lives: LogLives, log_shape: Floats, median: Floats, spread: Floats, thetas: int
) -> Grid:
    """Return the posterior on given log shapes (shapes, groups)."""
    low, high = (np.empty_like(log_shape) for _ in range(2))
    mass = np.empty((len(log_shape), thetas, len(lives)))
    grid = Grid(log_shape=log_shape, low=low, high=high, mass=mass)
    for row, position in enumerate(log_shape):
        shape = np.exp(position)
        exposure = exposures(lives, shape)[0]
        spans = lives.between
        log_span = None if spans is None else log_spans(spans, shape[spans.code])[0]
        low[row], high[row] = _range_theta(lives, exposure, log_span)
        prior = -0.5 * ((position - median) / spread) ** 2
        mass[row] = _likelihood(lives, shape, exposure, log_span, grid.theta(row)) + prior
        mass[row] += np.log(high[row] - low[row])
    return grid


def _range_theta(
    lives: LogLives, exposure: Floats, log_span: Floats | None
) -> tuple[Floats, Floats]:
    """Return the thetas between which nearly all of the conditional posterior lies."""
    spans = lives.between
    count = lives.failures
    curvature = np.maximum(count, 1e-12)
    if spans is not None and log_span is not None and spans.weight is not None:
        best = best_theta(count, exposure, log_span, spans.weight, spans.code)
        count = count + sum_by(spans.code, spans.weight, len(lives))
        log_hazard = best[spans.code] + log_span
        _, share = interval_terms(log_hazard)
        bend = share * (np.exp(np.minimum(log_hazard, 6.6)) + share - 1.0)
        curvature = np.exp(best) * exposure + sum_by(spans.code, spans.weight * bend, len(lives))
    else:
        best = best_theta(count, exposure)
    nothing_left = np.log(FEWEST_EXPECTED) - np.log(exposure)
    some = np.maximum(count, 1e-3)
    reach = 6.0 / np.sqrt(np.maximum(curvature, 1e-3)) + 12.0 / some
    low = np.maximum(nothing_left, best - reach)
    high = np.log(count + 7.0 * np.sqrt(count) + 20.0) - np.log(exposure)
    return low, np.maximum(high, low + 1e-3)


def _likelihood(
    lives: LogLives, shape: Floats, exposure: Floats, log_span: Floats | None, theta: Floats
) -> Floats:
    """Return the log-likelihood (thetas, groups) for one shape per group."""
    value = lives.failures * (np.log(shape) + theta) + shape * lives.moment
    value -= np.exp(theta) * exposure
    spans = lives.between
    if spans is None or log_span is None or spans.weight is None:
        return value
    some = max(1, BLOCK // len(log_span))
    for first in range(0, len(theta), some):
        block = slice(first, first + some)
        terms, _ = interval_terms(theta[block][:, spans.code] + log_span)
        for row, term in enumerate(terms * spans.weight, start=first):
            value[row] += sum_by(spans.code, term, len(lives))
    return value


def log_sum(values: Floats, axis: int) -> Floats:
    """Return log(sum(exp(values))) along an axis."""
    top = values.max(axis=axis, keepdims=True)
    top = np.where(np.isfinite(top), top, 0.0)
    with np.errstate(divide="ignore"):
        total = np.log(np.exp(values - top).sum(axis=axis))
    return np.asarray(total + np.squeeze(top, axis=axis))


def draw_from_grid(
    grid: Grid, mass: Floats, group: int, draws: int, generator: np.random.Generator
) -> tuple[Floats, Floats]:
    """Return draws of log shape and theta of one group, continuous within cells.

    mass (shapes, thetas) is the log mass of the group's cells. Log shapes are stratified, so that
    their quantiles hardly depend on the seed.
    """
    weight = np.exp(mass - mass.max())
    column = grid.log_shape[:, group]
    cells = len(column)
    total = np.concatenate([[0.0], np.cumsum(weight.sum(axis=1))])
    level = (generator.permutation(draws) + generator.random(draws)) / draws * total[-1]
    place = np.interp(level, total, np.arange(cells + 1))
    cell = np.minimum(place.astype(np.intp), cells - 1)
    step = column[1] - column[0]
    log_shape = column[0] + (place - 0.5) * step
    within = np.cumsum(weight, axis=1)[cell]
    sought = generator.random(draws) * within[:, -1]
    last = mass.shape[1] - 1
    passed = np.minimum((within < sought[:, None]).sum(axis=1), last)
    ahead = within[np.arange(draws), passed]
    width = weight[cell, passed]
    share = (passed + 1.0 - (ahead - sought) / np.where(width > 0.0, width, 1.0)) / (last + 1)
    low = np.interp(log_shape, column, grid.low[:, group])
    high = np.interp(log_shape, column, grid.high[:, group])
    return log_shape, low + share * (high - low)
