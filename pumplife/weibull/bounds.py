"""Bounds of shape and scale: by the likelihood ratio and by Wald."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import special

from pumplife.weibull.arrays import Bools, Floats
from pumplife.weibull.likelihood import (
    LogLives,
    best_theta,
    evaluate,
    exposures,
    interval_terms,
    log_spans,
    profile,
    profile_derivatives,
)
from pumplife.weibull.roots import Curve, find_roots

GRID = 33  # shapes on which the scale's bound is first looked for


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class Limits:
    """Bounds in logarithms.

    Attributes
    ----------
    shape_low, shape_high : arrays (groups,)
        Log of the bounds of the shape.
    scale_low, scale_high : arrays (groups,)
        Log of the bounds of the scale [log usage].
    """

    shape_low: Floats
    shape_high: Floats
    scale_low: Floats
    scale_high: Floats

    def __repr__(self) -> str:
        return f"Limits({len(self.shape_low)} groups)"


def bound_by_wald(
    log_shape: Floats, log_scale: Floats, covariance: Floats, confidence: float
) -> Limits:
    """Return normal bounds on the log scale; covariance is (groups, 2, 2) of log scale, shape."""
    reach = float(special.ndtri(0.5 + 0.5 * confidence))
    by_scale = reach * np.sqrt(covariance[:, 0, 0])
    by_shape = reach * np.sqrt(covariance[:, 1, 1])
    return Limits(
        shape_low=log_shape - by_shape,
        shape_high=log_shape + by_shape,
        scale_low=log_scale - by_scale,
        scale_high=log_scale + by_scale,
    )


def bound_by_likelihood(
    lives: LogLives,
    log_shape: Floats,
    peak: Floats,
    spread: Floats,
    *,
    confidence: float,
    ends: tuple[Floats, Floats],
) -> Limits:
    """Return likelihood-ratio bounds; one that does not exist is -inf or inf.

    Parameters
    ----------
    lives : LogLives
    log_shape, peak, spread : arrays (groups,)
        Estimate of log shape, the log-likelihood there, the standard error of log shape.
    confidence : float
    ends : pair of arrays (groups,)
        Limits of the maximised log-likelihood as shape goes to zero and to infinity.
    """
    target = peak - 0.5 * float(special.ndtri(0.5 + 0.5 * confidence)) ** 2
    sides = []
    for sign, end in zip((-1.0, 1.0), ends, strict=True):
        found = _bound_shape(lives, log_shape, spread, target, sign)
        sides.append(np.where(end >= target, sign * np.inf, found))
    low, high = sides
    scale_low, scale_high = _bound_scale(lives, log_shape, low, high, target)
    return Limits(shape_low=low, shape_high=high, scale_low=scale_low, scale_high=scale_high)


def _bound_shape(
    lives: LogLives, log_shape: Floats, spread: Floats, target: Floats, sign: float
) -> Floats:
    """Return the log shape where the profile falls to the target, below or above the estimate."""

    def curve(position: Floats) -> tuple[Floats, Floats]:
        _, point = profile(lives, np.exp(sign * position))
        slope, _ = profile_derivatives(point)
        return np.nan_to_num(point.value - target, nan=-np.inf, neginf=-1e300), sign * slope

    inner = sign * log_shape
    reach = np.clip(2.0 * spread, 0.05, 1.0)
    outer = inner + reach
    for _ in range(40):
        above = curve(outer)[0] > 0.0
        if not above.any():
            break
        inner = np.where(above, outer, inner)
        reach = np.where(above, 1.6 * reach, reach)
        outer = np.where(above, np.minimum(outer + reach, 300.0), outer)
    return sign * find_roots(curve, 0.5 * (inner + outer), inner, outer, tolerance=1e-11)


def _bound_scale(
    lives: LogLives, log_shape: Floats, low: Floats, high: Floats, target: Floats
) -> tuple[Floats, Floats]:
    """Return the extremes of log scale among all (scale, shape) whose likelihood is above target.

    For each shape in its own bounds the region is one stretch of theta. The stretch's ends are
    taken on a grid of shapes and the best of them is polished.
    """
    from_shape = np.where(np.isfinite(low), low, log_shape - 12.0)
    to_shape = np.where(np.isfinite(high), high, log_shape + 12.0)
    grid = _spread_grid(from_shape, log_shape, to_shape)
    thetas = np.array([_theta_ends(lives, np.exp(shapes), target) for shapes in grid])
    scales = -thetas / np.exp(grid)[:, None, :]
    with np.errstate(invalid="ignore"):
        longest = np.nanargmax(np.where(np.isnan(scales[:, 0]), -np.inf, scales[:, 0]), axis=0)
        shortest = np.nanargmin(np.where(np.isnan(scales[:, 1]), np.inf, scales[:, 1]), axis=0)
    below = _Extreme(grid=grid, theta=thetas[:, 1], scale=scales[:, 1], best=shortest)
    above = _Extreme(grid=grid, theta=thetas[:, 0], scale=scales[:, 0], best=longest)
    return (
        _settle(lives, below, target, np.isinf(low), -np.inf),
        _settle(lives, above, target, np.isinf(low), np.inf),
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class _Extreme:
    """One edge of the region above the target, on a grid of log shapes, and its best point.

    Attributes
    ----------
    grid, theta, scale : arrays (shapes, groups)
        Log shapes, and the edge's theta and log scale (over the longest life) there.
    best : array (groups,)
        Row of the most extreme scale.
    """

    grid: Floats
    theta: Floats
    scale: Floats
    best: NDArray[np.intp]

    def __repr__(self) -> str:
        return f"_Extreme{self.grid.shape}"

    def at_best(self, values: Floats) -> Floats:
        """Return one value per group."""
        return np.asarray(values[self.best, np.arange(values.shape[1])])


def _spread_grid(low: Floats, middle: Floats, high: Floats) -> Floats:
    """Return log shapes (GRID, groups) from low over middle to high, denser near both ends."""
    share = np.sin(np.linspace(0.0, np.pi / 2, GRID // 2 + 1))[:, None]
    below = middle + (low - middle) * share[::-1]
    above = middle + (high - middle) * share
    return np.concatenate([below, above[1:]])


def _theta_ends(lives: LogLives, shape: Floats, target: Floats) -> Floats:
    """Return the lowest and highest theta (2, groups) whose likelihood reaches the target."""
    exposure = exposures(lives, shape)[0]
    fixed = lives.failures * np.log(shape) + shape * lives.moment - target
    spans = lives.between
    code = None if spans is None else spans.code
    weight = None if spans is None else spans.weight
    log_span = None if spans is None else log_spans(spans, shape[spans.code])[0]
    middle = best_theta(lives.failures, exposure, log_span, weight, code)

    def height(theta: Floats) -> tuple[Floats, Floats]:
        with np.errstate(over="ignore"):
            hazard = np.exp(theta) * exposure
        value, slope = lives.failures * theta - hazard + fixed, lives.failures - hazard
        if log_span is not None and code is not None and weight is not None:
            terms, share = interval_terms(theta[code] + log_span)
            value += np.bincount(code, weight * terms, len(theta))
            slope += np.bincount(code, weight * share, len(theta))
        return value, slope

    ends = [_theta_end(height, middle, sign) for sign in (-1.0, 1.0)]
    inside = height(middle)[0] >= 0.0
    return np.where(inside, np.array(ends), np.where(height(middle)[0] > -1e-6, middle, np.nan))


def _theta_end(height: Curve, middle: Floats, sign: float) -> Floats:
    """Return where the likelihood falls to the target, on one side of its best theta."""

    def curve(position: Floats) -> tuple[Floats, Floats]:
        value, slope = height(sign * position)
        return value, sign * slope

    inner = sign * middle
    reach = np.ones_like(inner)
    outer = inner + reach
    for _ in range(60):
        above = curve(outer)[0] > 0.0
        if not above.any():
            break
        inner = np.where(above, outer, inner)
        reach = np.where(above, 2.0 * reach, reach)
        outer = np.where(above, outer + reach, outer)
    return sign * find_roots(curve, outer, inner, outer, tolerance=1e-10)


def _settle(
    lives: LogLives, edge: _Extreme, target: Floats, open_below: Bools, missing: float
) -> Floats:
    """Return the polished log scale; missing where it runs off with a shape going to zero."""
    start = edge.at_best(edge.scale)
    theta, log_shape = _polish(lives, edge.at_best(edge.theta), edge.at_best(edge.grid), target)
    polished = -theta / np.exp(log_shape)
    close = np.abs(polished - start) <= 0.2 * (1.0 + np.abs(start))
    further = np.sign(missing) * (polished - start) >= -1e-9 * (1.0 + np.abs(start))
    found = np.where(close & further, polished, start)
    return np.where(open_below & (edge.best == 0), missing, found + lives.log_unit)


def _polish(
    lives: LogLives, theta: Floats, log_shape: Floats, target: Floats
) -> tuple[Floats, Floats]:
    """Newton's steps to the point of the target's contour where the scale is extreme."""
    for _ in range(25):
        point = evaluate(lives, theta, np.exp(log_shape))
        off = point.value - target
        tilt = theta * point.by_theta + point.by_shape
        down = point.by_theta + theta * point.theta2 + point.cross
        across = theta * point.cross + point.shape2
        with np.errstate(all="ignore"):
            size = point.by_theta * across - point.by_shape * down
            by_theta = (off * across - point.by_shape * tilt) / size
            by_shape = (point.by_theta * tilt - off * down) / size
            shrink = np.minimum(1.0, 0.5 / np.maximum(np.abs(by_shape), np.abs(by_theta) / 10.0))
        moves = np.isfinite(by_theta) & np.isfinite(by_shape) & np.isfinite(shrink)
        theta = np.where(moves, theta - shrink * by_theta, theta)
        log_shape = np.where(moves, log_shape - shrink * by_shape, log_shape)
        if bool((np.abs(np.where(moves, by_shape, 0.0)) < 1e-13).all()):
            break
    return theta, log_shape
