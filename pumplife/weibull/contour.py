"""Likelihood-ratio bounds: the most extreme score among all lives that are likely enough.

The lives (theta, shape) whose log-likelihood reaches a target form one region, and its rim is the
likelihood maximised along constant score, turned round: a bound is where that profile falls to the
target, which is where the score is most extreme on the rim. Along the rim, log shape runs as the
sine of an angle; so the rim is smooth at both of its ends.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy import special

from pumplife.weibull.arrays import Bools, Floats
from pumplife.weibull.batches import Peaks
from pumplife.weibull.likelihood import (
    NOTHING,
    LogLives,
    Spans,
    best_theta,
    exposures,
    interval_terms,
    log_spans,
    profile,
    profile_derivatives,
)
from pumplife.weibull.quantities import Quantity
from pumplife.weibull.roots import Curve, find_roots

GRID = 33  # angles at which an extreme is first looked for
OPEN = 12.0  # how far log shape is followed where its bound does not exist


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class Region:
    """All lives whose log-likelihood reaches a target.

    Attributes
    ----------
    lives : LogLives
    target : array (groups,)
    low, high : arrays (groups,)
        Bounds of log shape; -inf or inf where there is none.
    """

    lives: LogLives
    target: Floats
    low: Floats
    high: Floats
    middle: Floats

    def __repr__(self) -> str:
        return f"Region({len(self.target)} groups)"

    def log_shape(self, angle: Floats) -> Floats:
        """Return log shape at angles from -pi/2, at its lower bound, to pi/2."""
        low = np.where(np.isfinite(self.low), self.low, self.middle - OPEN)
        high = np.where(np.isfinite(self.high), self.high, self.middle + OPEN)
        return np.asarray(0.5 * (low + high) + 0.5 * (high - low) * np.sin(angle))


def find_region(peaks: Peaks, confidence: float) -> Region:
    """Return the lives that a likelihood ratio at this confidence does not rule out."""
    target = peaks.point.value - 0.5 * float(special.ndtri(0.5 + 0.5 * confidence)) ** 2
    sides = []
    for sign, end in zip((-1.0, 1.0), peaks.ends, strict=True):
        found = _bound_shape(peaks, target, sign)
        sides.append(np.where(end >= target, sign * np.inf, found))
    return Region(
        lives=peaks.logs, target=target, low=sides[0], high=sides[1], middle=peaks.log_shape
    )


def _bound_shape(peaks: Peaks, target: Floats, sign: float) -> Floats:
    """Return the log shape where the profile falls to the target, below or above the estimate."""

    def curve(position: Floats) -> tuple[Floats, Floats]:
        _, point = profile(peaks.logs, np.exp(sign * position))
        slope, _ = profile_derivatives(point)
        return np.nan_to_num(point.value - target, nan=-np.inf, neginf=-1e300), sign * slope

    inner = sign * peaks.log_shape
    inner, outer = _bracket(curve, inner, np.clip(2.0 * peaks.spread(), 0.05, 1.0), growth=1.6)
    return sign * find_roots(curve, 0.5 * (inner + outer), inner, outer, tolerance=1e-11)


def _bracket(
    curve: Curve, inner: Floats, reach: Floats, growth: float, furthest: float = 300.0
) -> tuple[Floats, Floats]:
    """Return positions between which a falling curve crosses zero, from one where it is above."""
    outer = inner + reach
    for _ in range(60):
        above = curve(outer)[0] > 0.0
        if not above.any():
            break
        inner = np.where(above, outer, inner)
        reach = np.where(above, growth * reach, reach)
        outer = np.where(above, np.minimum(outer + reach, furthest), outer)
    return inner, outer


def find_extremes(region: Region, quantity: Quantity) -> tuple[Floats, Floats]:
    """Return the least and largest score (groups,) in the region.

    Where the shape has no bound, a score that runs off with it comes out beyond any float's log.
    """
    angles = np.broadcast_to(
        np.linspace(-0.5 * np.pi, 0.5 * np.pi, GRID)[:, None], (GRID, len(region.target))
    )
    logs = region.log_shape(angles)
    rims = find_rims(region, logs)
    found = []
    for side, sign in ((1, -1.0), (0, 1.0)):
        scores = sign * quantity.score(rims[side], logs)
        best = np.argmax(np.where(np.isnan(scores), -np.inf, scores), axis=0)

        def height(angle: Floats, side: int = side, sign: float = sign) -> Floats:
            shapes = region.log_shape(angle)
            return sign * quantity.score(find_rims(region, shapes)[side], shapes)

        start = angles[best, np.arange(len(best))]
        top = np.maximum(scores[best, np.arange(len(best))], _climb(height, start))
        found.append(sign * top)
    return found[0], found[1]


def _climb(height: Callable[[Floats], Floats], angle: Floats) -> Floats:
    """Return the maximum near an angle, by parabolas through three points ever closer together."""
    step = np.pi / (GRID - 1)
    best = np.full_like(angle, -np.inf)
    for _ in range(4):
        angle = np.clip(angle, step - 0.5 * np.pi, 0.5 * np.pi - step)
        left, middle, right = (height(angle + way * step) for way in (-1.0, 0.0, 1.0))
        best = np.fmax(best, np.fmax(middle, np.fmax(left, right)))
        bend = left - 2.0 * middle + right
        with np.errstate(divide="ignore", invalid="ignore"):
            move = 0.5 * step * (left - right) / bend
        uphill = step * np.sign(np.nan_to_num(right) - np.nan_to_num(left))
        move = np.where((bend < 0.0) & (np.abs(move) <= step), move, uphill)
        angle = angle + move
        step = 0.15 * step
    return best


def find_rims(region: Region, log_shape: Floats) -> Floats:
    """Return the lowest and highest theta (2, ..., groups) in the region, at (..., groups)."""
    if region.lives.between is None:
        return _plain_rims(region.lives, np.exp(log_shape), region.target)
    rows = log_shape.reshape(-1, len(region.target))
    found = [find_rims_at(region.lives, np.exp(row), region.target) for row in rows]
    return np.moveaxis(np.array(found), 0, 1).reshape(2, *log_shape.shape)


def find_rims_at(lives: LogLives, shape: Floats, target: Floats) -> Floats:
    """Return the lowest and highest theta (2, groups) whose likelihood reaches the target.

    NaN where none does; the best theta where it only just fails to.
    """
    if lives.between is None:
        return _plain_rims(lives, shape, target)
    height, middle = _slice(lives, lives.between, shape, target)
    top = height(middle)[0]
    inside = top >= 0.0
    ends = [_find_rim(height, middle, inside, sign) for sign in (-1.0, 1.0)]
    return np.where(inside, np.array(ends), np.where(top > -1e-6, middle, np.nan))


def _plain_rims(lives: LogLives, shape: Floats, target: Floats) -> Floats:
    """Return the rims (2, ..., groups) without intervals, where only sums over lives matter."""
    rows = shape.reshape(-1, len(target))
    exposure = np.array([exposures(lives, row)[0] for row in rows]).reshape(shape.shape)
    middle = best_theta(lives.failures, exposure)
    failures = np.maximum(lives.failures, NOTHING)
    top = failures * (np.log(shape) + middle - 1.0) + shape * lives.moment - target
    top = np.where(top < -1e-6, np.nan, np.maximum(top, 0.0))
    return np.array([middle + _rise(top / failures, sign) for sign in (-1.0, 1.0)])


def _rise(fall: Floats, sign: float) -> Floats:
    """Return the x of one sign with exp(x) - x - 1 = fall, by Newton from beyond it."""
    root = np.sqrt(2.0 * fall)
    below = np.maximum(-(root + fall), -(1.0 + fall))
    above = np.minimum(root, np.log1p(fall + root))
    x = np.asarray(below if sign < 0.0 else above)
    for _ in range(7):
        slope = np.expm1(x)
        with np.errstate(divide="ignore", invalid="ignore"):
            step = (slope - x - fall) / slope
        x = x - np.where(slope == 0.0, 0.0, step)
    return x


def _slice(lives: LogLives, spans: Spans, shape: Floats, target: Floats) -> tuple[Curve, Floats]:
    """Return the likelihood over the target as a curve in theta, and its best theta."""
    exposure = exposures(lives, shape)[0]
    fixed = lives.failures * np.log(shape) + shape * lives.moment - target
    code, weight = spans.code, np.ones(len(spans.code)) if spans.weight is None else spans.weight
    log_span = log_spans(spans, shape[code])[0]

    def height(theta: Floats) -> tuple[Floats, Floats]:
        with np.errstate(over="ignore"):
            hazard = np.exp(theta) * exposure
        terms, share = interval_terms(theta[code] + log_span)
        value = lives.failures * theta - hazard + fixed
        value += np.bincount(code, weight * terms, len(theta))
        return value, lives.failures - hazard + np.bincount(code, weight * share, len(theta))

    return height, best_theta(lives.failures, exposure, log_span, weight, code)


def _find_rim(height: Curve, middle: Floats, inside: Bools, sign: float) -> Floats:
    """Return where the likelihood falls to the target, on one side of its best theta."""

    def curve(position: Floats) -> tuple[Floats, Floats]:
        value, slope = height(sign * position)
        return np.where(inside, value, 0.0), sign * slope

    inner, outer = _bracket(curve, sign * middle, np.ones_like(middle), growth=2.0, furthest=np.inf)
    return sign * find_roots(curve, outer, inner, outer, tolerance=1e-12)
