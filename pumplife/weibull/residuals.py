"""Residuals of a Weibull regression: lives as they would be if the model were true."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from pumplife.errors import RecordError
from pumplife.weibull.arrays import Floats, check_confidence, check_lives
from pumplife.weibull.regression import RegressionFit

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class Residuals:
    """Residuals, one per life, in the order of the lives.

    Attributes
    ----------
    cox_snell : array (rows,)
        Cumulated hazard at the age of failure or suspension; its mean given the interval for an
        interval life. If the model is true they are exponential lives of mean 1, censored alike.
    entry : array (rows,)
        Cumulated hazard at entry.
    failed : array (rows,)
        1 for a failure, 0 for a suspension.
    weight : array (rows,)
        Counts.
    log_residual : array (rows,)
        Logarithm of cox_snell: standard smallest extreme values, (log age - log scale) times shape.
    deviance : array (rows,)
        Signed root of each life's share of the deviance; far below 0 lived long, above 0 short.
    """

    cox_snell: Floats
    entry: Floats
    failed: Floats
    weight: Floats
    log_residual: Floats
    deviance: Floats

    def __repr__(self) -> str:
        return f"Residuals({len(self.cox_snell)} lives)"

    def to_frame(self) -> pd.DataFrame:
        """Return one row per life."""
        import pandas as pd  # noqa: PLC0415  # arrays in, arrays out: a frame only when asked for

        names = ("cox_snell", "entry", "failed", "weight", "log_residual", "deviance")
        return pd.DataFrame({name: getattr(self, name) for name in names})


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class HazardSteps:
    """Nelson-Aalen hazard of Cox-Snell residuals; near the diagonal where the model is true.

    Attributes
    ----------
    cox_snell : array (steps,)
        Residuals at which failures occur, ascending.
    hazard, low, high : arrays (steps,)
        Cumulated hazard just after each and its pointwise bounds.
    at_risk : array (steps,)
        Weighted lives still watched there.
    confidence : float
    """

    cox_snell: Floats
    hazard: Floats
    low: Floats
    high: Floats
    at_risk: Floats
    confidence: float

    def __repr__(self) -> str:
        return f"HazardSteps({len(self.cox_snell)} steps)"

    def to_frame(self) -> pd.DataFrame:
        """Return one row per step."""
        import pandas as pd  # noqa: PLC0415  # arrays in, arrays out: a frame only when asked for

        names = ("cox_snell", "hazard", "low", "high", "at_risk")
        return pd.DataFrame({name: getattr(self, name) for name in names})


def find_residuals(
    fit: RegressionFit,
    lower: ArrayLike,
    upper: ArrayLike,
    entry: ArrayLike | None = None,
    weight: ArrayLike | None = None,
    *,
    covariates: ArrayLike | None,
    shape_covariates: ArrayLike | None = None,
) -> Residuals:
    """Return the residuals of lives under a regression.

    Parameters
    ----------
    fit : RegressionFit
    lower, upper, entry, weight : arrays (rows,)
        Lives as in `fit_weibull` [usage].
    covariates, shape_covariates : arrays (rows, columns) or None
        As given to `fit_regression`.

    Returns
    -------
    Residuals

    References
    ----------
    .. [1] D. R. Cox, E. J. Snell, "A general definition of residuals", JRSS B 30 (1968) 248-275;
       deviance: T. M. Therneau, P. M. Grambsch, T. R. Fleming, "Martingale-based residuals for
       survival models", Biometrika 77 (1990) 147-160 (both from memory).
    """
    lives = check_lives(lower, upper, entry, weight)
    log_scale, shape = fit.log_scale(covariates), np.exp(fit.log_shape(shape_covariates))
    if len(log_scale) not in (1, len(lives.lower)):
        raise RecordError(
            f"There are {len(log_scale)} rows of covariates for {len(lives.lower)} lives."
        )

    def hazard(age: Floats) -> Floats:
        with np.errstate(divide="ignore", over="ignore"):
            return np.asarray(np.exp(shape * (np.log(age) - log_scale)))

    start, low = hazard(lives.entries()), hazard(lives.lower)
    failed = np.isfinite(lives.upper)
    middle = np.where(failed, _mean_between(low, hazard(np.where(failed, lives.upper, 1.0))), low)
    with np.errstate(divide="ignore"):
        logs = np.log(middle)
    return Residuals(
        cox_snell=middle,
        entry=start,
        failed=failed.astype(np.float64),
        weight=lives.weights(),
        log_residual=logs,
        deviance=_deviance(middle - start, failed.astype(np.float64)),
    )


def _mean_between(low: Floats, high: Floats) -> Floats:
    """Return the mean of an exponential life of mean 1 that ended between two ages."""
    width = np.maximum(high - low, 0.0)
    narrow = width < 1e-5
    wide = np.where(narrow, 1.0, width)
    with np.errstate(over="ignore"):
        beyond = 1.0 - wide / np.expm1(wide)
    return np.asarray(low + np.where(narrow, 0.5 * width, beyond))


def _deviance(hazard: Floats, failed: Floats) -> Floats:
    """Return the signed root of 2 (hazard - failed - failed log hazard)."""
    martingale = failed - hazard
    inside = -martingale - special.xlogy(failed, np.maximum(hazard, 1e-300))
    return np.asarray(np.sign(martingale) * np.sqrt(2.0 * np.maximum(inside, 0.0)))


def check_residuals(residuals: Residuals, *, confidence: float = 0.90) -> HazardSteps:
    """Return the Nelson-Aalen hazard of Cox-Snell residuals, late entry and weights included.

    Interval lives stand at their mean given the interval, so that a check of many of them flatters
    the model a little.

    Returns
    -------
    HazardSteps
        Bounds are normal on the log of the hazard.
    """
    seen = (residuals.cox_snell > residuals.entry) & (residuals.weight > 0.0)
    age, entry = residuals.cox_snell[seen], residuals.entry[seen]
    weight = residuals.weight[seen]
    failures = weight * residuals.failed[seen]
    steps, member = np.unique(age, return_inverse=True)
    deaths = np.bincount(member, failures, len(steps))
    at_risk = _sum_at_least(age, weight, steps) - _sum_at_least(entry, weight, steps)
    kept = deaths > 0.0
    share = deaths[kept] / at_risk[kept]
    total = np.cumsum(share)
    error = np.sqrt(np.cumsum(share / at_risk[kept])) / total
    reach = np.exp(special.ndtri(0.5 + 0.5 * check_confidence(confidence)) * error)
    return HazardSteps(
        cox_snell=steps[kept],
        hazard=total,
        low=total / reach,
        high=total * reach,
        at_risk=at_risk[kept],
        confidence=float(confidence),
    )


def _sum_at_least(position: Floats, weight: Floats, steps: Floats) -> Floats:
    """Return the weight at or beyond each step."""
    order = np.argsort(position, kind="stable")
    total = np.append(0.0, np.cumsum(weight[order]))
    return np.asarray(total[-1] - total[np.searchsorted(position[order], steps, side="left")])
