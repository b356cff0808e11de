"""Scores of Weibull lives row by row, and tests on them in which lives of one cluster may be alike.

In units of cumulative hazard a life is a Poisson process watched from its entry to its end, so
its score against any covariate is (failed − expected), and the information has closed forms.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from pumplife.weibull.arrays import sum_by

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

SMALLEST = 1e-300
LARGEST = 500.0  # log of a cumulative hazard beyond which nothing survives


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RowTerms:
    """What each life says at a given Weibull; arrays (rows,), dimensionless.

    Attributes
    ----------
    expected : array
        Failures expected of the life: its cumulative hazard from entry to its end; for a
        failure between two ages, the mean over when it may have been.
    residual : array
        Failed less expected.
    first, second : array
        Integrals of (1 + log H) and (1 + log H)² over the cumulative hazard H that was lived
        through: the information on log shape.
    by_shape : array
        Score by log shape.
    start, end : array
        Cumulative hazard at entry and at the (mean) end.
    """

    expected: Floats
    residual: Floats
    first: Floats
    second: Floats
    by_shape: Floats
    start: Floats
    end: Floats

    def __repr__(self) -> str:
        failed = float(np.sum(self.residual + self.expected))
        return f"RowTerms({len(self.expected)} lives, {failed:.4g} failures)"


def _hazard(age: Floats, shape: Floats, scale: Floats) -> tuple[Floats, Floats]:
    """Cumulative hazard and its logarithm; 0 and a harmless 0 at age 0."""
    with np.errstate(divide="ignore"):
        log = shape * (np.log(age) - np.log(scale))
    hazard = np.exp(np.minimum(log, LARGEST))
    return hazard, np.where(hazard > SMALLEST, np.minimum(log, LARGEST), 0.0)


def row_terms(
    lower: Floats, upper: Floats, entry: Floats, *, shape: Floats, scale: Floats
) -> RowTerms:
    """Work out what each life says at a Weibull of its own.

    Parameters
    ----------
    lower, upper, entry : arrays (rows,) [usage]
        As for `fit_weibull`.
    shape [-], scale [usage] : arrays (rows,)
        The Weibull at which each row is looked at.
    """
    start, log_start = _hazard(entry, shape, scale)
    low, log_low = _hazard(lower, shape, scale)
    failed = np.isfinite(upper)
    between = failed & (upper > lower)
    high, log_high = _hazard(np.where(between, upper, lower), shape, scale)
    gap = np.where(between, np.maximum(high - low, SMALLEST), 1.0)
    with np.errstate(over="ignore"):
        share = np.where(between, gap / np.expm1(gap), failed.astype(float))
    end = np.where(between, low + (1.0 - share), low)
    log_end = np.where(between, np.log(np.maximum(end, SMALLEST)), log_low)
    count = failed.astype(float)
    expected = end - start
    first = log_end * end - log_start * start
    second = end * (1.0 + log_end**2) - start * (1.0 + log_start**2)
    lived = log_low * low - log_start * start
    with np.errstate(over="ignore", invalid="ignore"):
        jump = (log_high * high - log_low * low) / np.expm1(gap)
    by_shape = np.where(between, np.nan_to_num(jump), count * (1.0 + log_low)) - lived
    return RowTerms(
        expected=expected,
        residual=count - expected,
        first=first,
        second=second,
        by_shape=by_shape,
        start=start,
        end=end,
    )


def free_scores(
    terms: RowTerms,
    weight: Floats,
    score: Floats,
    shared: tuple[Floats, Floats, Floats],
    *,
    group: Ints,
    groups: int,
) -> tuple[Floats, Floats]:
    """Scores by a covariate and their information, freed of what each group's fit takes up.

    Parameters
    ----------
    terms : RowTerms
        At the fit of the group without the covariate.
    weight : array (rows,)
    score : array (rows,)
        Score of each row by the log hazard ratio of the covariate.
    shared : three arrays (rows,)
        Information on the covariate itself, and that shared with the level of the hazard and
        with log shape.
    group : int array (rows,)
        0 to groups - 1.
    groups : int

    Returns
    -------
    score, information : arrays (rows,)
        Weighted.
    """
    own, with_level, with_shape = shared
    level, bend, curve, mine, shaped = (
        sum_by(group, weight * rows, groups)
        for rows in (terms.expected, terms.first, terms.second, with_level, with_shape)
    )
    determinant = level * curve - bend**2
    sound = determinant > 1e-9 * np.maximum(level * curve, SMALLEST)
    safe = np.where(sound, determinant, np.inf)
    by_level = (curve * mine - bend * shaped) / safe
    by_bend = (level * shaped - bend * mine) / safe
    free = score - by_level[group] * terms.residual - by_bend[group] * terms.by_shape
    left = own - by_level[group] * with_level - by_bend[group] * with_shape
    return np.asarray(weight * free), np.asarray(weight * left)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ClusterSums:
    """Scores summed over clusters; arrays (cells,).

    Attributes
    ----------
    total, square : array
        Sum over clusters of their scores, and of the squares of those.
    clusters : int array
        Clusters that say anything.
    p_value : array
        Two-sided, standard normal total / √square; NaN with fewer than two clusters.
    """

    total: Floats
    square: Floats
    clusters: Ints
    p_value: Floats

    def __repr__(self) -> str:
        return f"ClusterSums({len(self.total)} cells)"


def sum_clusters(score: Floats, *, cell: Ints, cluster: Ints, cells: int) -> ClusterSums:
    """Add scores up over clusters, each of which is one witness.

    Notes
    -----
    The total over the root of the sum of squares is right for any likeness within clusters, and
    a little on the safe side with few of them.

    References
    ----------
    .. [1] D. D. Boos, L. A. Stefanski, "Essential Statistical Inference", Springer, 2013,
           ch. 8 (generalised score tests; from memory).
    """
    size = int(cluster.max(initial=0)) + 1
    keys, place = np.unique(cell.astype(np.int64) * size + cluster, return_inverse=True)
    each = sum_by(place, score, len(keys))
    owner = keys // size
    square = sum_by(owner, each**2, cells)
    telling = sum_by(owner, (np.abs(each) > 1e-12).astype(float), cells).astype(np.int64)
    total = sum_by(owner, each, cells)
    known = (telling >= 2) & (square > 0)
    statistic = np.abs(total) / np.sqrt(np.where(known, square, 1.0))
    return ClusterSums(
        total=total,
        square=square,
        clusters=telling,
        p_value=np.where(known, 2.0 * stats.norm.sf(statistic), np.nan),
    )
