"""Weibull lives with covariates: how service, material and duty stretch or shorten a life."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

from pumplife.errors import RecordError
from pumplife.weibull.arrays import Bools, Floats, LifeArrays, check_confidence, check_lives
from pumplife.weibull.regression_bounds import bound_terms
from pumplife.weibull.regression_climb import Summit, climb
from pumplife.weibull.regression_clusters import number_clusters, sandwich
from pumplife.weibull.regression_design import Design, build_design, check_columns
from pumplife.weibull.regression_existence import (
    refuse_flat,
    refuse_runaway,
    refuse_unsettled,
)
from pumplife.weibull.regression_likelihood import RowLives, build_row_lives

if TYPE_CHECKING:
    import pandas as pd

Bounds = Literal["wald", "likelihood"]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class RegressionFit:
    """Maximum-likelihood Weibull regression: log scale, and log shape, linear in covariates.

    Attributes
    ----------
    names : tuple of str (terms,)
        "intercept" and the covariates of log scale, then "log shape" and those of log shape.
    scale_terms : int
        How many of the terms belong to log scale.
    estimate : array (terms,) [log usage for the intercept, else per unit of the covariate]
    se, low, high : arrays (terms,)
        Standard errors and bounds; a bound that does not exist is -inf or inf.
    covariance : array (terms, terms)
        Clustered where clusters were given.
    plain_covariance : array (terms, terms)
        As if every life were independent of the others.
    log_likelihood : float
    failures, suspensions : float
        Weighted counts.
    clusters : int
        Clusters with lives; 0 where none were given.
    degrees : float
        Of Student's t behind the bounds: clusters - 1, or inf.
    confidence : float
        Two-sided confidence of the bounds.
    bounds : str
        "wald" or "likelihood".
    """

    names: tuple[str, ...]
    scale_terms: int
    estimate: Floats
    se: Floats
    low: Floats
    high: Floats
    covariance: Floats
    plain_covariance: Floats
    log_likelihood: float
    failures: float
    suspensions: float
    clusters: int
    degrees: float
    confidence: float
    bounds: str

    def __repr__(self) -> str:
        return f"RegressionFit({len(self.names)} terms, log_likelihood={self.log_likelihood:.6g})"

    def term(self, name: str) -> int:
        """Return the place of a term, or say which there are."""
        if name not in self.names:
            raise RecordError(f"There is no term {name!r}: take one of {', '.join(self.names)}.")
        return self.names.index(name)

    def log_scale(self, covariates: ArrayLike | None = None) -> Floats:
        """Return log scale [log usage] of rows of covariates (rows, columns); None for none."""
        return _predict(self.estimate[: self.scale_terms], covariates)

    def log_shape(self, covariates: ArrayLike | None = None) -> Floats:
        """Return log shape of rows of shape covariates (rows, columns); None for none."""
        return _predict(self.estimate[self.scale_terms :], covariates)

    def to_frame(self) -> pd.DataFrame:
        """Return one row per term; life_ratio is exp(estimate) for covariates of log scale."""
        import pandas as pd  # noqa: PLC0415  # arrays in, arrays out: a frame only when asked for

        place = np.arange(len(self.names))
        effect = (place > 0) & (place < self.scale_terms)
        with np.errstate(over="ignore"):
            ratios = {
                name: np.where(effect, np.exp(value), np.nan)
                for name, value in (
                    ("life_ratio", self.estimate),
                    ("ratio_low", self.low),
                    ("ratio_high", self.high),
                )
            }
        columns = {name: getattr(self, name) for name in ("estimate", "se", "low", "high")}
        return pd.DataFrame({"term": self.names, **columns, **ratios})


def _predict(terms: Floats, covariates: ArrayLike | None) -> Floats:
    rows = np.zeros((1, 0)) if covariates is None else np.asarray(covariates, dtype=np.float64)
    if rows.ndim != 2 or rows.shape[1] != len(terms) - 1:
        raise RecordError(
            f"Covariates have shape {rows.shape}: give {len(terms) - 1} columns, one for each term."
        )
    return np.asarray(terms[0] + rows @ terms[1:], dtype=np.float64)


def fit_regression(
    lower: ArrayLike,
    upper: ArrayLike,
    entry: ArrayLike | None = None,
    weight: ArrayLike | None = None,
    *,
    covariates: ArrayLike | None,
    names: Sequence[str],
    shape_covariates: ArrayLike | None = None,
    shape_names: Sequence[str] = (),
    cluster: Sequence[Any] | NDArray[Any] | None = None,
    confidence: float = 0.90,
    bounds: Bounds = "wald",
) -> RegressionFit:
    """Fit a Weibull regression by maximum likelihood (accelerated life).

    log scale = intercept + covariates · effects, so exp(effect) is the ratio of lives for one unit
    of a covariate. The shape is common, or log shape is linear in shape_covariates.

    Parameters
    ----------
    lower, upper, entry, weight : arrays (rows,)
        Lives as in `fit_weibull` [usage]; rows of weight 0 don't count.
    covariates : array (rows, columns) or None
        Columns of log scale, without the intercept, in any unit.
    names : sequence of str (columns,)
        What the columns are called in results and errors.
    shape_covariates, shape_names : optional
        The same for log shape; columns that mark groups give each group a shape of its own.
    cluster : sequence (rows,), optional
        Labels, say the pump: lives of one cluster may be alike for reasons that no column holds.
        Covariance is then the sandwich estimate [2]_ summed over clusters, times
        clusters / (clusters - 1), and bounds take Student's t with clusters - 1 degrees.
    confidence : float
        Two-sided confidence of the bounds.
    bounds : {"wald", "likelihood"}
        Normal (Student's, with clusters) bounds of each term, or likelihood-ratio ones, which know
        no clusters.

    Returns
    -------
    RegressionFit

    Raises
    ------
    RecordError
        A value that can't be true, with its row; a column that doesn't vary or that others make up.
    NoFiniteEstimate
        When the likelihood has no finite maximum, naming the columns that run away: a level without
        failures, above all.

    References
    ----------
    .. [1] W. Q. Meeker, L. A. Escobar, "Statistical Methods for Reliability Data", Wiley, 1998,
       chapter 17 (failure-time regression; from memory).
    .. [2] D. Y. Lin, L. J. Wei, "The robust inference for the Cox proportional hazards model", JASA
       84 (1989) 1074-1078, and H. White, "Maximum likelihood estimation of misspecified models",
       Econometrica 50 (1982) 1-25 (from memory).
    """
    check_confidence(confidence)
    if bounds not in ("wald", "likelihood"):
        raise RecordError(f'bounds is {bounds!r}: give "wald" or "likelihood".')
    if bounds == "likelihood" and cluster is not None:
        raise RecordError(
            'Likelihood-ratio bounds know no clusters: give bounds="wald" with cluster.'
        )
    lives = check_lives(lower, upper, entry, weight)
    count = len(lives.lower)
    columns = check_columns("covariates", covariates, names, count)
    shape_names = shape_names or _number_columns(shape_covariates)
    shapes = check_columns("shape_covariates", shape_covariates, shape_names, count)
    kept = (lives.weights() > 0.0) & _observed(lives)
    if not kept.any():
        raise RecordError("There are no lives of any weight: give at least one.")
    lives = lives.take(kept)
    design = build_design(columns[kept], shapes[kept], names, shape_names, lives.weights())
    rows, summit = _climb(lives, design)
    code = None if cluster is None else number_clusters(cluster, kept)
    return _report(lives, rows, design, summit, code=code, confidence=confidence, bounds=bounds)


def _number_columns(columns: ArrayLike | None) -> list[str]:
    many = 0 if columns is None else np.atleast_2d(np.asarray(columns)).shape[1]
    return [f"column {place}" for place in range(1, many + 1)]


def _observed(lives: LifeArrays) -> Bools:
    """Return which lives say anything: a suspension at its own entry doesn't."""
    return np.isfinite(lives.upper) | (lives.lower > lives.entries())


def _climb(lives: LifeArrays, design: Design) -> tuple[RowLives, Summit]:
    """Return the lives as the likelihood wants them and its maximum."""
    refuse_runaway(lives, design)
    rows = build_row_lives(lives)
    # with late entry there may be more than one summit
    shapes = [_guess_shape(lives)] if lives.entry is None else [1.0, 4.0]
    starts = [_guess(lives, rows, design, shape) for shape in shapes]
    summit = max((climb(rows, design, one) for one in starts), key=lambda one: one.value)
    refuse_flat(rows, design, summit)
    refuse_unsettled(summit, design)
    return rows, summit


def _guess(lives: LifeArrays, rows: RowLives, design: Design, shape: float) -> Floats:
    """Return terms of a shape, and of the one scale that fits best with it."""
    unit = np.exp(rows.log_unit)
    reached = np.where(np.isfinite(lives.upper), lives.upper, lives.lower) / unit
    exposure = float(rows.weight @ (reached**shape - (lives.entries() / unit) ** shape))
    failures = float(rows.weight @ np.isfinite(lives.upper))
    terms = np.zeros(len(design.names))
    terms[0] = np.log(max(exposure, 1e-300) / failures) / shape
    terms[design.scale.shape[1]] = np.log(shape)
    return terms


def _guess_shape(lives: LifeArrays) -> float:
    """Return the shape whose lives spread as much as the failures (in logarithms)."""
    failed = np.isfinite(lives.upper)
    log_age, weight = np.log(lives.upper[failed]), lives.weights()[failed]
    off = log_age - np.average(log_age, weights=weight)
    spread = float(np.sqrt(np.average(off**2, weights=weight)))
    return float(np.clip(np.pi / np.sqrt(6.0) / max(spread, 1e-9), 0.5, 8.0))


def _report(
    lives: LifeArrays,
    rows: RowLives,
    design: Design,
    summit: Summit,
    *,
    code: NDArray[np.intp] | None,
    confidence: float,
    bounds: str,
) -> RegressionFit:
    """Return the result in the plant's units."""
    failures = float(rows.weight @ np.isfinite(lives.upper))
    plain = summit.inverse
    covariance = plain if code is None else sandwich(summit, design, code)
    many = 0 if code is None else int(code.max()) + 1
    degrees = float(many - 1) if many else np.inf
    terms, error = _restore(design, rows, summit.terms, covariance)
    reach = _find_reach(degrees, confidence)
    low, high = terms - reach * error, terms + reach * error
    if bounds == "likelihood":
        low, high = bound_terms(rows, design, summit, reach)
        low[0], high[0] = low[0] + rows.log_unit, high[0] + rows.log_unit
    exact = rows.weight[rows.exact]
    return RegressionFit(
        names=design.names,
        scale_terms=design.scale.shape[1],
        estimate=terms,
        se=error,
        low=low,
        high=high,
        covariance=design.back @ covariance @ design.back.T,
        plain_covariance=design.back @ plain @ design.back.T,
        log_likelihood=summit.value - float(exact @ (rows.log_age + rows.log_unit)),
        failures=failures,
        suspensions=float(rows.weight.sum()) - failures,
        clusters=many,
        degrees=degrees,
        confidence=float(confidence),
        bounds=bounds,
    )


def _find_reach(degrees: float, confidence: float) -> float:
    """Return the quantile of Student's t, or the normal one, at both ends of the confidence."""
    share = 0.5 + 0.5 * confidence
    normal = np.isinf(degrees)
    return float(special.ndtri(share) if normal else special.stdtrit(degrees, share))


def _restore(
    design: Design, rows: RowLives, terms: Floats, covariance: Floats
) -> tuple[Floats, Floats]:
    """Return terms and standard errors per unit of the given columns and in usage."""
    restored = design.back @ terms
    restored[0] += rows.log_unit
    variance = np.einsum("ij,jk,ik->i", design.back, covariance, design.back)
    return restored, np.sqrt(np.maximum(variance, 0.0))
