"""Whether terms of a regression are needed, and whether groups share one shape."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

from pumplife.errors import RecordError
from pumplife.weibull.arrays import Floats, check_lives
from pumplife.weibull.regression import RegressionFit, fit_regression
from pumplife.weibull.regression_design import check_columns

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class TermsTest:
    """One test that some terms are zero.

    Attributes
    ----------
    statistic : float
        Likelihood ratio (chi-squared), or Wald's divided by the terms (F).
    terms : int
        Terms tested.
    degrees : float
        Of the denominator; inf for the likelihood ratio.
    p_value : float
        Chance of so large a statistic where the terms are zero.
    """

    statistic: float
    terms: int
    degrees: float
    p_value: float

    def __repr__(self) -> str:
        return f"TermsTest(statistic={self.statistic:.4g}, p={self.p_value:.3g})"


def compare_regressions(smaller: RegressionFit, larger: RegressionFit) -> TermsTest:
    """Return the likelihood-ratio test of the terms that the larger fit has beyond the smaller.

    Both are of the same lives, and the smaller is the larger with terms left out. It takes lives as
    independent; with clusters see `judge_terms`.

    Raises
    ------
    RecordError
        Where the second fit has no more terms than the first, or other lives.
    """
    terms = len(larger.names) - len(smaller.names)
    lives = [(one.failures, one.suspensions) for one in (smaller, larger)]
    if terms <= 0 or not np.allclose(lives[0], lives[1]):
        raise RecordError(
            "A likelihood ratio needs two fits of the same lives, the second with more terms: "
            f"these have {len(smaller.names)} and {len(larger.names)} terms."
        )
    statistic = max(0.0, 2.0 * (larger.log_likelihood - smaller.log_likelihood))
    chance = float(special.chdtrc(terms, statistic))
    return TermsTest(statistic=statistic, terms=terms, degrees=np.inf, p_value=chance)


def judge_terms(fit: RegressionFit, names: Sequence[str]) -> TermsTest:
    """Return Wald's test that the named terms are all zero, with the fit's own covariance.

    With clusters the statistic is held against F with clusters - 1 degrees.
    """
    places = [fit.term(name) for name in names]
    if fit.clusters and fit.clusters <= len(places):
        raise RecordError(
            f"{fit.clusters} clusters can't tell about {len(places)} terms at once: test fewer."
        )
    values = fit.estimate[places]
    own = fit.covariance[np.ix_(places, places)]
    statistic = float(values @ np.linalg.solve(own, values)) / len(places)
    if np.isfinite(fit.degrees):
        chance = float(special.fdtrc(len(places), fit.degrees, statistic))
    else:
        chance = float(special.chdtrc(len(places), statistic * len(places)))
    return TermsTest(statistic=statistic, terms=len(places), degrees=fit.degrees, p_value=chance)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class ShapeTest:
    """Whether groups share one shape.

    Attributes
    ----------
    labels : array (groups,)
        Sorted group labels.
    shape : array (groups,) [-]
        Each group's own shape.
    common_shape : float [-]
    common, apart : RegressionFit
        The fits with one shape and with a shape per group.
    ratio : TermsTest
        Likelihood ratio, lives taken as independent.
    wald : TermsTest
        Wald's test, clustered where clusters were given.
    """

    labels: NDArray[Any]
    shape: Floats
    common_shape: float
    common: RegressionFit
    apart: RegressionFit
    ratio: TermsTest
    wald: TermsTest

    def __repr__(self) -> str:
        return f"ShapeTest({len(self.labels)} groups, p={self.ratio.p_value:.3g})"

    def to_frame(self) -> pd.DataFrame:
        """Return one row per group, the tests beside."""
        import pandas as pd  # noqa: PLC0415  # arrays in, arrays out: a frame only when asked for

        return pd.DataFrame(
            {
                "group": self.labels,
                "shape": self.shape,
                "common_shape": self.common_shape,
                "p_likelihood_ratio": self.ratio.p_value,
                "p_wald": self.wald.p_value,
            }
        )


def compare_shapes(
    lower: ArrayLike,
    upper: ArrayLike,
    entry: ArrayLike | None = None,
    weight: ArrayLike | None = None,
    *,
    group: Sequence[Any] | NDArray[Any],
    covariates: ArrayLike | None = None,
    names: Sequence[str] = (),
    cluster: Sequence[Any] | NDArray[Any] | None = None,
) -> ShapeTest:
    """Test whether groups of lives, each with a scale of its own, share one Weibull shape.

    Parameters
    ----------
    lower, upper, entry, weight : arrays (rows,)
        Lives as in `fit_weibull` [usage].
    group : sequence (rows,)
        Labels of two groups or more.
    covariates, names : optional
        Further columns of log scale, as in `fit_regression`.
    cluster : sequence (rows,), optional
        Labels, say the pump, for Wald's test.

    Returns
    -------
    ShapeTest

    Raises
    ------
    RecordError, NoFiniteEstimate
        As `fit_regression`; a group without failures has no shape to compare.

    References
    ----------
    .. [1] J. F. Lawless, "Statistical Models and Methods for Lifetime Data", 2nd ed., Wiley, 2003,
       section 5.4 (from memory).
    """
    lives = check_lives(lower, upper, entry, weight)
    labels, code = np.unique(np.asarray(group), return_inverse=True)
    if code.shape != lives.lower.shape or len(labels) < 2:
        raise RecordError(
            "A test of shapes needs one group label per life, and two groups or more."
        )
    marks = (code[:, None] == np.arange(1, len(labels))).astype(np.float64)
    levels = [str(label) for label in labels[1:]]
    others = check_columns("covariates", covariates, names, len(code))
    told = (lives.lower, lives.upper, lives.entry, lives.weight)
    columns, called = np.column_stack([marks, others]), [*levels, *names]
    common = fit_regression(*told, covariates=columns, names=called, cluster=cluster)
    apart = fit_regression(
        *told,
        covariates=columns,
        names=called,
        shape_covariates=marks,
        shape_names=levels,
        cluster=cluster,
    )
    return ShapeTest(
        labels=labels,
        shape=np.exp(apart.log_shape(np.eye(len(labels))[:, 1:])),
        common_shape=float(np.exp(common.log_shape()[0])),
        common=common,
        apart=apart,
        ratio=compare_regressions(common, apart),
        wald=judge_terms(apart, [f"log shape, {level}" for level in levels]),
    )
