"""What can be asked of a life, as a score that falls as theta rises, whatever the shape.

theta and shape are those of likelihood.py, all times over the group's longest life. The score of a
time is its logarithm, the score of a chance S to survive is -log(-log S): both run over all reals,
so that bounds made of scores stay in range. Age 0 is a new part; at a greater age all is asked of
the life that remains to a part that has reached it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np
from scipy import special

from pumplife.weibull.arrays import Floats
from pumplife.weibull.roots import find_roots

FRACTIONS = 60  # terms of the continued fraction
FAR = 1e5  # reach of log scores searched for a mean life


class Quantity(Protocol):
    """A function of theta and log shape (..., groups) that falls as theta rises."""

    def score(self, theta: Floats, log_shape: Floats) -> Floats:
        """Return the score."""

    def theta(self, score: Floats, log_shape: Floats) -> Floats:
        """Return the theta at which a life of this shape has the score."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Quantile:
    """The usage by which a share has failed.

    Attributes
    ----------
    log_hazard : array () or (groups,)
        log(-log(1 - share)); 0 makes the scale.
    log_age : array () or (groups,)
        log(age / longest life); -inf is a new part.
    """

    log_hazard: Floats
    log_age: Floats

    def score(self, theta: Floats, log_shape: Floats) -> Floats:
        """Return log(quantile / longest life)."""
        shape = np.exp(log_shape)
        new = np.asarray((self.log_hazard - theta) / shape)
        if bool(np.isinf(self.log_age).all()):
            return new
        age = np.where(np.isinf(self.log_age), 0.0, self.log_age)
        rise = self.log_hazard - theta - shape * age
        log_growth = np.where(rise < -30.0, rise, np.log(np.logaddexp(0.0, rise))) - log_shape
        return np.where(np.isinf(self.log_age), new, age + log_expm1(log_growth))

    def theta(self, score: Floats, log_shape: Floats) -> Floats:
        """Return the theta of a given log quantile."""
        shape = np.exp(log_shape)
        new = np.asarray(self.log_hazard - shape * score)
        if bool(np.isinf(self.log_age).all()):
            return new
        age = np.where(np.isinf(self.log_age), 0.0, self.log_age)
        over = score - age
        log_ratio = np.where(over < -30.0, over, np.log(np.logaddexp(0.0, over)))
        grown = log_expm1(log_shape + log_ratio)
        return np.where(np.isinf(self.log_age), new, self.log_hazard - shape * age - grown)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Survival:
    """The chance to survive further usage.

    Attributes
    ----------
    log_end : array () or (groups,)
        log((age + further usage) / longest life).
    log_ratio : array () or (groups,)
        log((age + further usage) / age); inf for a new part.
    """

    log_end: Floats
    log_ratio: Floats

    def _unit(self, log_shape: Floats) -> Floats:
        shape = np.exp(log_shape)
        return shape * self.log_end + np.log(-np.expm1(-shape * self.log_ratio))

    def score(self, theta: Floats, log_shape: Floats) -> Floats:
        """Return minus the log of the cumulated hazard between the two ages."""
        return np.asarray(-theta - self._unit(log_shape))

    def theta(self, score: Floats, log_shape: Floats) -> Floats:
        """Return the theta of a given score."""
        return np.asarray(-score - self._unit(log_shape))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MeanLife:
    """The mean life, or the mean of the life that remains.

    Attributes
    ----------
    log_age : array () or (groups,)
        log(age / longest life); -inf is a new part.
    """

    log_age: Floats

    def score(self, theta: Floats, log_shape: Floats) -> Floats:
        """Return log(mean / longest life)."""
        shape = np.exp(log_shape)
        log_hazard = np.where(np.isinf(self.log_age), -np.inf, theta + shape * self.log_age)
        return -theta / shape - log_shape + log_upper_gamma(1.0 / shape, log_hazard)

    def theta(self, score: Floats, log_shape: Floats) -> Floats:
        """Return the theta of a given log mean."""
        score, log_shape, age = np.broadcast_arrays(score, log_shape, self.log_age)
        shape = np.exp(log_shape)
        new = shape * (special.gammaln(1.0 + 1.0 / shape) - score)
        if bool(np.isinf(age).all()):
            return np.asarray(new)
        flat = MeanLife(log_age=age.ravel())
        target, logs = score.ravel(), log_shape.ravel()

        def curve(theta: Floats) -> tuple[Floats, Floats]:
            step = 1e-6 * (1.0 + np.abs(theta))
            ahead, behind = flat.score(theta + step, logs), flat.score(theta - step, logs)
            return 0.5 * (ahead + behind) - target, (ahead - behind) / (2.0 * step)

        reach = np.full_like(target, FAR)
        found = find_roots(curve, new.ravel(), -reach, reach, tolerance=1e-9)
        return np.where(np.isinf(age), new, found.reshape(score.shape))


SCALE = Quantile(log_hazard=np.zeros(()), log_age=np.full((), -np.inf))


def log_expm1(log_argument: Floats) -> Floats:
    """Return log(exp(y) - 1) for y = exp(log_argument)."""
    y = np.exp(np.minimum(log_argument, 700.0))
    with np.errstate(divide="ignore"):
        large = y + np.log(-np.expm1(-y))
    return np.where(y < 1e-8, log_argument + 0.5 * y, large)


def log_upper_gamma(power: Floats, log_start: Floats) -> Floats:
    """Return log(exp(z) Gamma(power, z)), the upper incomplete gamma function, z = exp(log_start).

    Far out, where the function itself is lost in zeros, by Legendre's continued fraction
    (NIST Digital Library of Mathematical Functions, 8.9.2; from memory).
    """
    start = np.exp(np.minimum(log_start, 700.0))
    with np.errstate(divide="ignore"):
        share = special.gammaincc(power, start)
        near = start + special.gammaln(power) + np.log(share)
    lost = ~(share > 1e-250)
    if not lost.any():
        return np.asarray(near)
    with np.errstate(invalid="ignore", divide="ignore", over="ignore"):
        tail = start + 2.0 * FRACTIONS + 1.0 - power
        for term in range(FRACTIONS, 0, -1):
            tail = start + 2.0 * term - 1.0 - power - term * (term - power) / tail
        far = power * log_start - np.log(tail)
    return np.where(lost, far, near)
