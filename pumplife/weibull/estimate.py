"""Maximum likelihood of Weibull lives, thousands of groups in one call."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pumplife.errors import NoFiniteEstimate
from pumplife.weibull.arrays import (
    Floats,
    Groups,
    LifeArrays,
    check_confidence,
    check_lives,
    find_groups,
    sort_lives,
    sum_by,
)
from pumplife.weibull.batches import Peaks, find_peaks
from pumplife.weibull.bounds import Bounder, Bounds, check_bounds
from pumplife.weibull.existence import WHY
from pumplife.weibull.quantities import SCALE

if TYPE_CHECKING:
    import pandas as pd

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
        The bounds that were asked for: "likelihood", "corrected" or "wald".
    bounds_given : str or array (groups,) of str
        The bounds that a group got: as asked, save "likelihood" where there are no corrected ones.
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
    bounds_given: Any
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
        Age from which the life was observed (late entry), at most lower. A suspension at its own
        entry says nothing; a failure there adds its hazard and no time seen.
    weight : array (rows,), optional
        How many such lives; rows of weight 0 don't count.
    group : sequence (rows,), optional
        Labels, in any order. Results are then arrays over the sorted distinct labels.
    confidence : float
        Two-sided confidence of the bounds.
    bounds : {"likelihood", "corrected", "wald"}
        Likelihood-ratio bounds; bounds corrected for few failures (see `bound_life`); or normal
        ones on the log scale.

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
    check_bounds(bounds)
    groups = find_groups(group, len(lives.lower))
    lives, groups = sort_lives(lives, groups)
    fit = _Results.empty(lives, groups)
    for peaks in find_peaks(lives, groups, fit.reason):
        fit.store(peaks, Bounder(peaks, bounds, float(confidence)))
    if group is None:
        refuse_endless(str(fit.reason[0]))
    return fit.finish(groups, confidence, bounds, single=group is None)


def refuse_endless(reason: str) -> None:
    """Raise NoFiniteEstimate where there is a reason for it."""
    if reason:
        raise NoFiniteEstimate(f"No finite Weibull estimate ({reason}): {WHY[reason]}.", end=reason)


@dataclass(slots=True, kw_only=True, eq=False, repr=False)
class _Results:
    """Columns of the fit while they are filled."""

    numbers: dict[str, Floats]
    covariance: Floats
    given: NDArray[Any]
    reason: NDArray[Any]

    def __repr__(self) -> str:
        return f"_Results({len(self.reason)} groups)"

    @classmethod
    def empty(cls, lives: LifeArrays, groups: Groups) -> _Results:
        count = len(groups.labels)
        numbers = {name: np.full(count, np.nan) for name in NUMBERS}
        counted, total = np.isfinite(lives.upper).astype(np.float64), groups.size.astype(float)
        if lives.weight is not None:
            counted *= lives.weight
            total = sum_by(groups.code, lives.weight, count)
        if groups.size.all():
            numbers["failures"] = np.add.reduceat(counted, groups.start)
        else:
            numbers["failures"] = sum_by(groups.code, counted, count)
        numbers["suspensions"] = total - numbers["failures"]
        given, reason = (np.full(count, "", dtype=object) for _ in range(2))
        covariance = np.full((count, 2, 2), np.nan)
        return cls(numbers=numbers, covariance=covariance, given=given, reason=reason)

    def store(self, peaks: Peaks, bounder: Bounder) -> None:
        """Fill in the groups of one batch."""
        logs, where = peaks.logs, peaks.where
        shape, scale = bounder.shape(), bounder.score(SCALE)
        moved = peaks.point.value - logs.moment - logs.failures * logs.log_unit
        with np.errstate(over="ignore"):
            values = {
                "shape": np.exp(peaks.log_shape),
                "scale": np.exp(peaks.log_scale() + logs.log_unit),
                "log_likelihood": moved,
                "shape_low": np.exp(shape.low),
                "shape_high": np.exp(shape.high),
                "scale_low": np.exp(scale.low + logs.log_unit),
                "scale_high": np.exp(scale.high + logs.log_unit),
            }
        for name, value in values.items():
            self.numbers[name][where] = value
        self.covariance[where] = peaks.covariance
        self.given[where] = bounder.kinds()

    def finish(self, groups: Groups, confidence: float, bounds: str, *, single: bool) -> WeibullFit:
        numbers: dict[str, Any] = dict(self.numbers)
        if single:
            numbers = {name: float(value[0]) for name, value in numbers.items()}
        return WeibullFit(
            labels=groups.labels,
            covariance=self.covariance[0] if single else self.covariance,
            confidence=float(confidence),
            bounds=bounds,
            bounds_given=str(self.given[0]) if single else self.given,
            reason=str(self.reason[0]) if single else self.reason,
            **numbers,
        )
