"""Maximum likelihood of Weibull lives, thousands of groups in one call."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

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
from pumplife.weibull.bounds import bound_by_likelihood, bound_by_wald
from pumplife.weibull.existence import (
    SHAPE_UP,
    WHY,
    find_plain_gaps,
    limit_at_infinity,
    limit_at_zero,
)
from pumplife.weibull.likelihood import LogLives, build_log_lives
from pumplife.weibull.peak import find_covariance, find_peak, name_runaway

if TYPE_CHECKING:
    import pandas as pd

Bounds = Literal["likelihood", "wald"]
NUMBERS = (
    "shape", "scale", "log_likelihood", "shape_low", "shape_high", "scale_low", "scale_high",
    "failures", "suspensions",
)  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class WeibullFit:
    """Maximum-likelihood Weibull, one per group (floats where no groups were given).

    Attributes
    ----------
    labels : array (groups,)
        Sorted group labels.
    shape, shape_low, shape_high : float or array (groups,) [-]
        Weibull shape, also β, and its bounds; a bound that does not exist is 0 or inf.
    scale, scale_low, scale_high : float or array (groups,) [usage]
        Weibull scale, also η, and its bounds.
    log_likelihood : float or array (groups,)
    failures, suspensions : float or array (groups,)
        Weighted counts; a failure between two ages is a failure.
    covariance : array (2, 2) or (groups, 2, 2)
        Of (log scale, log shape).
    confidence : float
        Two-sided confidence of the bounds.
    bounds : str
        "likelihood" or "wald".
    reason : str or array (groups,) of str
        Why a group has no estimate; "" where it has one.
    """

    labels: NDArray[Any]
    shape: Any
    scale: Any
    log_likelihood: Any
    shape_low: Any
    shape_high: Any
    scale_low: Any
    scale_high: Any
    failures: Any
    suspensions: Any
    covariance: Floats
    confidence: float
    bounds: str
    reason: Any

    def __repr__(self) -> str:
        if np.ndim(self.shape):
            return f"WeibullFit({len(self.labels)} groups)"
        return f"WeibullFit(shape={self.shape:.4g}, scale={self.scale:.4g})"

    def to_frame(self) -> pd.DataFrame:
        """Return one row per group."""
        import pandas as pd  # noqa: PLC0415  # arrays in, arrays out: a frame only when asked for

        columns = {name: np.atleast_1d(getattr(self, name)) for name in NUMBERS}
        return pd.DataFrame({"group": self.labels, **columns, "reason": np.atleast_1d(self.reason)})


def fit_weibull(
    lower: ArrayLike,
    upper: ArrayLike,
    entry: ArrayLike | None = None,
    weight: ArrayLike | None = None,
    *,
    group: Sequence[Any] | NDArray[Any] | None = None,
    confidence: float = 0.90,
    bounds: Bounds = "likelihood",
) -> WeibullFit:
    """Fit Weibull lives by maximum likelihood.

    Parameters
    ----------
    lower, upper : arrays (rows,) [usage]
        lower == upper: failed at that age. upper = inf: still running at lower. lower < upper:
        failed between the two; lower = 0: failed before upper.
    entry : array (rows,) [usage], optional
        Age from which the life was observed (late entry), at most lower.
    weight : array (rows,), optional
        How many such lives; rows of weight 0 don't count.
    group : sequence (rows,), optional
        Labels, in any order. Results are then arrays over the sorted distinct labels.
    confidence : float
        Two-sided confidence of the bounds.
    bounds : {"likelihood", "wald"}
        Likelihood-ratio bounds, or normal ones on the log scale. With fewer than about ten
        failures likelihood-ratio bounds cover a little less than they say.

    Returns
    -------
    WeibullFit

    Raises
    ------
    RecordError
        A value that can't be true, with its row.
    NoFiniteEstimate
        Without `group`, when the likelihood has no finite maximum. With `group`, such a group has
        NaN and a reason.

    References
    ----------
    .. [1] W. Q. Meeker, L. A. Escobar, "Statistical Methods for Reliability Data", Wiley, 1998,
       chapters 8 (exact and censored lives) and 11 (truncated lives).
    """
    lives = check_lives(lower, upper, entry, weight)
    check_confidence(confidence)
    if bounds not in ("likelihood", "wald"):
        raise RecordError(f'bounds is {bounds!r}: give "likelihood" or "wald".')
    groups = find_groups(group, len(lives.lower))
    lives, groups = sort_lives(lives, groups)
    fit = _Results.empty(lives, groups)
    _fit_groups(fit, lives, groups, _BoundRule(kind=bounds, confidence=float(confidence)))
    if group is None and fit.reason[0]:
        end = str(fit.reason[0])
        raise NoFiniteEstimate(f"No finite Weibull estimate ({end}): {WHY[end]}.", end=end)
    return fit.finish(groups, confidence, bounds, single=group is None)


@dataclass(frozen=True, slots=True, kw_only=True)
class _BoundRule:
    """Which bounds are wanted, at what confidence."""

    kind: str
    confidence: float


@dataclass(slots=True, kw_only=True, eq=False, repr=False)
class _Results:
    """Columns of the fit while they are filled."""

    numbers: dict[str, Floats]
    covariance: Floats
    reason: NDArray[Any]

    def __repr__(self) -> str:
        return f"_Results({len(self.reason)} groups)"

    @classmethod
    def empty(cls, lives: LifeArrays, groups: Groups) -> _Results:
        count = len(groups.labels)
        numbers = {name: np.full(count, np.nan) for name in NUMBERS}
        failed = np.isfinite(lives.upper)
        weight = None if lives.weight is None else lives.weight * failed
        counted = failed if weight is None else weight
        total = groups.size.astype(float)
        if lives.weight is not None:
            total = np.bincount(groups.code, lives.weight, count)
        numbers["failures"] = np.bincount(groups.code, counted, count).astype(float)
        numbers["suspensions"] = total - numbers["failures"]
        reason = np.full(count, "", dtype=object)
        return cls(numbers=numbers, covariance=np.full((count, 2, 2), np.nan), reason=reason)

    def store(self, where: NDArray[Any], values: dict[str, Floats], covariance: Floats) -> None:
        for name, value in values.items():
            self.numbers[name][where] = value
        self.covariance[where] = covariance

    def finish(self, groups: Groups, confidence: float, bounds: str, *, single: bool) -> WeibullFit:
        numbers: dict[str, Any] = dict(self.numbers)
        if single:
            numbers = {name: float(value[0]) for name, value in numbers.items()}
        return WeibullFit(
            labels=groups.labels,
            covariance=self.covariance[0] if single else self.covariance,
            confidence=float(confidence),
            bounds=bounds,
            reason=str(self.reason[0]) if single else self.reason,
            **numbers,
        )


def _fit_groups(fit: _Results, lives: LifeArrays, groups: Groups, rule: _BoundRule) -> None:
    """Fit the groups that can have an estimate, plain ones apart from the others."""
    fit.reason[:] = find_plain_gaps(lives, groups)
    special_rows = (lives.lower < lives.upper) & np.isfinite(lives.upper)
    if lives.entry is not None:
        special_rows |= lives.entry > 0.0
    hard = np.zeros(len(groups.labels), dtype=bool)
    hard[groups.code[special_rows]] = True
    ready = fit.reason == ""
    for kept in (ready & ~hard, ready & hard):
        if kept.any():
            where = np.flatnonzero(kept)
            _fit_batch(fit, where, *keep_groups(lives, groups, kept), rule)


def _fit_batch(
    fit: _Results, where: NDArray[Any], lives: LifeArrays, groups: Groups, rule: _BoundRule
) -> None:
    """Fit groups of one kind and store the numbers of those that have an estimate."""
    logs = build_log_lives(lives, groups)
    steep = limit_at_infinity(logs) == np.inf
    if steep.any():
        fit.reason[where[steep]] = SHAPE_UP
        where = where[~steep]
        if not len(where):
            return
        lives, groups = keep_groups(lives, groups, ~steep)
        logs = build_log_lives(lives, groups)
    log_shape, theta, point = find_peak(logs)
    ends = limit_at_zero(logs), limit_at_infinity(logs)
    covariance = find_covariance(theta, log_shape, point)
    runaway = name_runaway(point, log_shape, covariance, ends)
    fit.reason[where] = runaway
    good = runaway == ""
    log_scale = logs.log_unit - theta / np.exp(log_shape)
    values = {
        "shape": np.exp(log_shape),
        "scale": np.exp(np.minimum(log_scale, 709.0)),
        "log_likelihood": point.value - logs.moment - logs.failures * logs.log_unit,
        **_find_bounds(
            logs, log_shape, log_scale, rule, peak=point.value, covariance=covariance, ends=ends
        ),
    }
    fit.store(where[good], {name: value[good] for name, value in values.items()}, covariance[good])


def _find_bounds(
    lives: LogLives,
    log_shape: Floats,
    log_scale: Floats,
    rule: _BoundRule,
    *,
    peak: Floats,
    covariance: Floats,
    ends: tuple[Floats, Floats],
) -> dict[str, Floats]:
    """Return the bounds of shape and scale by name."""
    with np.errstate(invalid="ignore"):
        limits = bound_by_wald(log_shape, log_scale, covariance, rule.confidence)
        if rule.kind == "likelihood":
            spread = np.nan_to_num(np.sqrt(covariance[:, 1, 1]), nan=1.0, posinf=1.0)
            limits = bound_by_likelihood(
                lives, log_shape, peak, spread, confidence=rule.confidence, ends=ends
            )
    names = ("shape_low", "shape_high", "scale_low", "scale_high")
    with np.errstate(over="ignore"):
        return {name: np.exp(getattr(limits, name)) for name in names}


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
    longest = float(ages.max())
    total = float(np.sum(counts * (ages / longest) ** shape))
    return float(longest * (total / -np.log1p(-check_confidence(confidence))) ** (1.0 / shape))
