"""The likelihood of shape and scale on a grid that finds its own place, group by group.

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
    """Log-likelihood at the middles of cells in log shape and theta.

    Attributes
    ----------
    log_shape : array (shapes, groups)
        Middles of equal cells.
    low, high : arrays (shapes, groups)
        Range of theta for each shape, cut into equal cells.
    least : array (shapes, groups)
        Theta at which FEWEST_EXPECTED failures would have been expected.
    mass : array (shapes, thetas, groups)
        Log-likelihood at the middle of each cell, without a constant per group.
    """

    log_shape: Floats
    low: Floats
    high: Floats
    least: Floats
    mass: Floats

    def __repr__(self) -> str:
        return f"Grid{self.mass.shape}"

    def theta(self, shape: int) -> Floats:
        """Return the middles of the theta cells (thetas, groups) of one shape."""
        steps = (np.arange(self.mass.shape[1]) + 0.5) / self.mass.shape[1]
        width = self.high[shape] - self.low[shape]
        return np.asarray(self.low[shape] + steps[:, None] * width)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class Place:
    """What decides where the grid lies.

    Attributes
    ----------
    median, spread : arrays (groups,)
        Of the normal prior on log shape.
    longest : array (groups,) [log usage]
        Log scale up to which the grid reaches even where fewer than FEWEST_EXPECTED failures
        would have been expected: what like groups make believable. -inf where there are none.
    """

    median: Floats
    spread: Floats
    longest: Floats

    def __repr__(self) -> str:
        return f"Place({len(self.median)} groups)"


def place_grid(lives: LogLives, place: Place, shapes: int, thetas: int) -> Grid:
    """Return a grid over all that matters of each group's posterior."""
    middle, reach = _find_mode(lives, place.median, place.spread)
    steps = np.linspace(-1.0, 1.0, COARSE)[:, None]
    coarse = fill_grid(lives, middle + 6.5 * reach * steps, place, 16)
    prior = -0.5 * ((coarse.log_shape - place.median) / place.spread) ** 2
    marginal = prior + log_sum(coarse.mass, axis=1) + np.log(coarse.high - coarse.low)
    matters = marginal > marginal.max(axis=0) - 11.0
    step = coarse.log_shape[1] - coarse.log_shape[0]
    first = coarse.log_shape[np.argmax(matters, axis=0), np.arange(len(lives))] - step
    last_row = COARSE - 1 - np.argmax(matters[::-1], axis=0)
    last = coarse.log_shape[last_row, np.arange(len(lives))] + step
    middles = (np.arange(shapes)[:, None] + 0.5) / shapes
    return fill_grid(lives, first + middles * (last - first), place, thetas)


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


def fill_grid(lives: LogLives, log_shape: Floats, place: Place, thetas: int) -> Grid:
    """Return the likelihood on given log shapes (shapes, groups)."""
    low, high, least = (np.empty_like(log_shape) for _ in range(3))
    mass = np.empty((len(log_shape), thetas, len(lives)))
    grid = Grid(log_shape=log_shape, low=low, high=high, least=least, mass=mass)
    for row, position in enumerate(log_shape):
        shape = np.exp(position)
        exposure = exposures(lives, shape)[0]
        spans = lives.between
        log_span = None if spans is None else log_spans(spans, shape[spans.code])[0]
        least[row] = np.log(FEWEST_EXPECTED) - np.log(exposure)
        floor = np.minimum(least[row], shape * (lives.log_unit - place.longest))
        low[row], high[row] = _range_theta(lives, exposure, log_span, floor)
        mass[row] = _likelihood(lives, shape, exposure, log_span, grid.theta(row))
    return grid


def _range_theta(
    lives: LogLives, exposure: Floats, log_span: Floats | None, floor: Floats
) -> tuple[Floats, Floats]:
    """Return the thetas, from the floor up, that hold nearly all of the likelihood."""
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
    some = np.maximum(count, 1e-3)
    reach = 6.0 / np.sqrt(np.maximum(curvature, 1e-3)) + 12.0 / some
    low = np.maximum(floor, best - reach)
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
