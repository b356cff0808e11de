"""Scale and its bounds where the shape is given, down to no failure at all."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

from pumplife.errors import NoFiniteEstimate, RecordError
from pumplife.weibull.arrays import (
    Floats,
    Groups,
    LifeArrays,
    check_confidence,
    check_lives,
    find_groups,
    keep_groups,
    sort_lives,
)
from pumplife.weibull.bounds import Bounds, check_bounds
from pumplife.weibull.contour import find_rims_at
from pumplife.weibull.corrected import share_ended
from pumplife.weibull.existence import NO_LIVES, SCALE_DOWN, WHY, find_plain_gaps
from pumplife.weibull.likelihood import LogLives, Point, build_log_lives, exposures, profile


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class ScaleFit:
    """The Weibull scale for a given shape, one per group (floats where no groups were given).

    Attributes
    ----------
    labels : array (groups,)
        Sorted group labels.
    shape : float or array (groups,) [-]
        As given.
    scale, low, high : float or array (groups,) [usage]
        Maximum likelihood and its bounds. Where nothing failed scale and high are inf and low is
        the zero-failure bound.
    error : float or array (groups,) [-]
        Standard error of log scale; inf where nothing failed.
    log_likelihood : float or array (groups,)
    failures : float or array (groups,)
        Weighted count; a failure between two ages is a failure.
    confidence : float
        Two-sided confidence of the bounds; one-sided of `low` where nothing failed.
    bounds : str
        "likelihood", "corrected" or "wald".
    reason : str or array (groups,) of str
        Why a group has no scale; "" where it has one.
    """

    labels: NDArray[Any]
    shape: Any
    scale: Any
    low: Any
    high: Any
    error: Any
    log_likelihood: Any
    failures: Any
    confidence: float
    bounds: str
    reason: Any

    def __repr__(self) -> str:
        if np.ndim(self.scale):
            return f"ScaleFit({len(self.labels)} groups)"
        return f"ScaleFit({self.scale:.4g}, {self.low:.4g} to {self.high:.4g})"


NUMBERS = ("shape", "scale", "low", "high", "error", "log_likelihood", "failures")


def fit_scale(
    lower: ArrayLike,
    upper: ArrayLike,
    entry: ArrayLike | None = None,
    weight: ArrayLike | None = None,
    *,
    shape: ArrayLike,
    group: Sequence[Any] | NDArray[Any] | None = None,
    confidence: float = 0.90,
    bounds: Bounds = "corrected",
) -> ScaleFit:
    """Fit the scale of Weibull lives whose shape is given (1 makes the exponential).

    Parameters
    ----------
    lower, upper, entry, weight, group
        Lives, as for `fit_weibull`.
    shape : float or array (groups,) [-]
        The given shape, above zero.
    confidence : float
        Two-sided confidence of the bounds. Where nothing failed there is a lower bound alone, and
        this is its one-sided confidence.
    bounds : {"corrected", "likelihood", "wald"}
        "corrected": chi-squared bounds of the summed hazard, exact where a failure ended every
        life; where time ended some, the count is raised by up to half a failure, between the two
        classical chi-squared bounds of 2 r and 2 r + 2 degrees of freedom. Where intervals occur
        the count is what the likelihood's curvature is worth. "likelihood": likelihood ratio.
        "wald": normal on the log scale.

    Returns
    -------
    ScaleFit

    Raises
    ------
    RecordError
        A value that can't be true, with its row.
    NoFiniteEstimate
        Without `group`, where no life was seen for some time.

    References
    ----------
    .. [1] W. Q. Meeker, L. A. Escobar, "Statistical Methods for Reliability Data", Wiley, 1998,
       chapter 7 (exponential), sections 8.6 (given shape) and 10.6 (zero failures).
    """
    lives = check_lives(lower, upper, entry, weight)
    check_confidence(confidence)
    check_bounds(bounds)
    groups = find_groups(group, len(lives.lower))
    lives, groups = sort_lives(lives, groups)
    shapes = _check_shape(shape, len(groups.labels))
    reason = np.array(find_plain_gaps(lives, groups), dtype=object)
    usable = (reason != NO_LIVES) & (reason != SCALE_DOWN)
    reason[usable] = ""
    found = {name: np.full(len(shapes), np.nan) for name in NUMBERS}
    found["shape"] = shapes
    if usable.any():
        part = _Part.of(*keep_groups(lives, groups, usable), shapes[usable])
        for name, value in part.answer(bounds, float(confidence)).items():
            found[name][usable] = value
    single = group is None
    if single and reason[0]:
        end = str(reason[0])
        raise NoFiniteEstimate(f"No scale ({end}): {WHY[end]}.", end=end)
    numbers: dict[str, Any] = dict(found)
    if single:
        numbers = {name: float(value[0]) for name, value in found.items()}
    return ScaleFit(
        labels=groups.labels,
        confidence=float(confidence),
        bounds=bounds,
        reason=str(reason[0]) if single else reason,
        **numbers,
    )


def scale_lower_bound(
    time: ArrayLike, weight: ArrayLike | None, shape: float, confidence: float = 0.90
) -> float:
    """Return the lower bound of the scale [usage] when nothing failed and the shape is given.

    Parameters
    ----------
    time : array (lives,) [usage]
        Usage each life has reached without failing.
    weight : array (lives,) or None
        Counts; None counts each life once.
    shape : float [-]
        The given Weibull shape.
    confidence : float
        One-sided confidence of the bound.

    Returns
    -------
    float [usage]
        (sum weight time^shape / -ln(1 - confidence))^(1 / shape).

    References
    ----------
    .. [1] W. Q. Meeker, L. A. Escobar, "Statistical Methods for Reliability Data", Wiley, 1998,
       section 8.6 (given shape) and 10.6 (zero-failure tests).
    """
    ages = np.asarray(time, dtype=np.float64)
    counts = np.ones_like(ages) if weight is None else np.asarray(weight, dtype=np.float64)
    if not shape > 0.0:
        raise RecordError(f"shape is {shape!r}: give a number above zero.")
    if ages.size == 0 or not ((ages >= 0.0) & np.isfinite(ages)).all() or not (ages > 0.0).any():
        raise RecordError("The zero-failure bound needs ages of zero or more, one above zero.")
    if counts.shape != ages.shape or not (counts >= 0.0).all() or not counts.sum() > 0.0:
        raise RecordError("The zero-failure bound needs one weight of zero or more per age.")
    check_confidence(confidence)
    endless = np.full_like(ages, np.inf)
    return float(fit_scale(ages, endless, weight=counts, shape=shape, confidence=confidence).low)


def _check_shape(shape: ArrayLike, groups: int) -> Floats:
    try:
        shapes = np.array(np.broadcast_to(np.asarray(shape, dtype=np.float64), (groups,)))
    except (TypeError, ValueError):
        raise RecordError(
            f"shape needs one number, or one per group ({groups} of them, in the labels' order)."
        ) from None
    bad = ~((shapes > 0.0) & np.isfinite(shapes))
    if bad.any():
        raise RecordError(f"shape is {shapes[np.argmax(bad)]:g}: give a number above zero.")
    return shapes


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Part:
    """Groups that have a scale or at least a lower bound, at their best theta."""

    lives: LifeArrays
    groups: Groups
    logs: LogLives
    shape: Floats
    theta: Floats
    point: Point

    @classmethod
    def of(cls, lives: LifeArrays, groups: Groups, shape: Floats) -> _Part:
        """Return the groups with their best theta; it is far below where nothing failed."""
        logs = build_log_lives(lives, groups)
        theta, point = profile(logs, shape)
        return cls(lives=lives, groups=groups, logs=logs, shape=shape, theta=theta, point=point)

    def answer(self, bounds: str, confidence: float) -> dict[str, Floats]:
        """Return the numbers of the groups by name."""
        failures = np.bincount(
            self.groups.code,
            self.lives.weights() * np.isfinite(self.lives.upper),
            len(self.shape),
        )
        some = failures > 0.0
        count = np.where(some, np.maximum(-self.point.theta2, 1e-300), 1.0)
        ends = {
            "likelihood": self._by_likelihood, "corrected": self._by_chi_squared,
            "wald": self._by_wald,
        }[bounds](count, confidence)  # fmt: skip
        none_low = self._without_failure(confidence)
        value = self.point.value - self.logs.moment - self.logs.failures * self.logs.log_unit
        return {
            "scale": np.where(some, self._scale(self.theta), np.inf),
            "low": np.where(some, self._scale(ends[1]), self._scale(none_low)),
            "high": np.where(some, self._scale(ends[0]), np.inf),
            "error": np.where(some, 1.0 / (np.sqrt(count) * self.shape), np.inf),
            "log_likelihood": np.where(some, value, 0.0),
            "failures": failures,
        }

    def _scale(self, theta: Floats) -> Floats:
        with np.errstate(over="ignore"):
            return np.asarray(np.exp(self.logs.log_unit - theta / self.shape))

    def _by_likelihood(self, count: Floats, confidence: float) -> tuple[Floats, Floats]:
        target = self.point.value - 0.5 * float(special.ndtri(0.5 + 0.5 * confidence)) ** 2
        low, high = find_rims_at(self.logs, self.shape, target)
        return low, high

    def _by_chi_squared(self, count: Floats, confidence: float) -> tuple[Floats, Floats]:
        raised = count + 0.5 * (1.0 - share_ended(self.lives, self.groups))
        tails = (0.5 - 0.5 * confidence, 0.5 + 0.5 * confidence)
        low, high = (np.log(special.gammaincinv(raised, tail) / count) for tail in tails)
        return self.theta + low, self.theta + high

    def _by_wald(self, count: Floats, confidence: float) -> tuple[Floats, Floats]:
        reach = float(special.ndtri(0.5 + 0.5 * confidence)) / np.sqrt(count)
        return self.theta - reach, self.theta + reach

    def _without_failure(self, confidence: float) -> Floats:
        """Return the theta at which seeing no failure has a chance of 1 - confidence."""
        exposure = exposures(self.logs, self.shape)[0]
        return np.asarray(np.log(-np.log1p(-confidence)) - np.log(exposure))
