"""Two kinds of lives within each group side by side: how many times as long one kind lasts."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from pumplife.weibull.arrays import sum_by
from pumplife.weibull.estimate import fit_weibull
from pumplife.weibull.scores import ClusterSums, RowTerms, free_scores, row_terms, sum_clusters

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

ROUNDS = 40
CLOSE = 1e-7


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Contrast:
    """Lives marked against lives not marked, one per group; arrays (groups,).

    Attributes
    ----------
    ratio, ratio_low, ratio_high : array
        How many times as long the marked lives last, common shape within the group, with
        bounds by the spread between clusters [-]; NaN where it can't be told.
    p_value : array
        Two-sided chance of such a difference if there is none, lives of a cluster alike [-].
    shape_p_value : array
        Chance of such a difference in shape, each kind with its own scale [-].
    shape : array
        The common shape [-].
    failures : array (groups, 2)
        Of lives not marked, and of lives marked; weighted.
    clusters : array
        Clusters that say anything.
    confidence : float
        Two-sided confidence of the bounds [-].
    """

    ratio: Floats
    ratio_low: Floats
    ratio_high: Floats
    p_value: Floats
    shape_p_value: Floats
    shape: Floats
    failures: Floats
    clusters: Ints
    confidence: float

    def __repr__(self) -> str:
        return f"Contrast({len(self.ratio)} groups)"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ContrastRows:
    """Lives to be set side by side; arrays (rows,).

    Attributes
    ----------
    lower, upper, entry : array [usage]
        As for `fit_weibull`.
    weight : array
    marked : bool array
        The kind whose ratio is asked for.
    group : int array
        0 to groups - 1.
    cluster : int array
        Lives of one cluster (a pump) may be alike.
    """

    lower: Floats
    upper: Floats
    entry: Floats
    weight: Floats
    marked: NDArray[np.bool_]
    group: Ints
    cluster: Ints

    def __repr__(self) -> str:
        return f"ContrastRows({len(self.lower)} lives, {int(self.marked.sum())} marked)"

    def look(self, shape: Floats, scale: Floats) -> RowTerms:
        """The terms of every row at a Weibull of its own."""
        return row_terms(self.lower, self.upper, self.entry, shape=shape, scale=scale)


def contrast_lives(rows: ContrastRows, groups: int, *, confidence: float = 0.90) -> Contrast:
    """Compare two kinds of lives within each group.

    Parameters
    ----------
    rows : ContrastRows
    groups : int
    confidence : float

    Returns
    -------
    Contrast
        NaN where the group has no finite fit, or a kind has no failure.

    Notes
    -----
    The test is a score test at the fit without a difference; the ratio is maximum likelihood
    with a common shape, its bounds from a sandwich covariance over clusters and
    Student's t with one degree of freedom a cluster, less one.

    References
    ----------
    .. [1] J. D. Kalbfleisch, R. L. Prentice, "The Statistical Analysis of Failure Time Data",
           2nd ed., Wiley, 2002, ch. 3 (regression); D. Y. Lin, L. J. Wei, J. Am. Stat. Assoc. 84
           (1989) 1074-1078 (robust inference). From memory.
    """
    shape, scale = _plain_fits(rows, groups)
    known = np.isfinite(shape)
    chosen = known[rows.group]
    rows = ContrastRows(
        **{name: getattr(rows, name)[chosen] for name in ContrastRows.__dataclass_fields__}
    )
    shape, scale = np.where(known, shape, 1.0), np.where(known, scale, 1.0)
    failed = np.isfinite(rows.upper)
    failures = np.column_stack(
        [
            sum_by(rows.group, rows.weight * failed * (rows.marked == kind), groups)
            for kind in (False, True)
        ]
    )
    level = _test(rows, shape, scale, groups)
    found = _climb(rows, shape, scale, groups)
    both = known & (failures.min(axis=1) > 0)
    log_ratio, spread = _ratio_and_spread(rows, found, groups, level.clusters)
    log_ratio = np.where(both, log_ratio, np.nan)
    degrees = np.maximum(level.clusters - 1, 1)
    reach = stats.t.isf((1.0 - confidence) / 2.0, degrees) * spread
    return Contrast(
        ratio=np.exp(log_ratio),
        ratio_low=np.exp(log_ratio - reach),
        ratio_high=np.exp(log_ratio + reach),
        p_value=np.where(known, level.p_value, np.nan),
        shape_p_value=np.where(both, _test_shapes(rows, found, groups), np.nan),
        shape=np.where(both, np.exp(found[:, 2]), np.nan),
        failures=failures,
        clusters=level.clusters,
        confidence=confidence,
    )


def _plain_fits(rows: ContrastRows, groups: int) -> tuple[Floats, Floats]:
    """Shape and scale of each group without a difference; NaN where there is none."""
    shape, scale = np.full(groups, np.nan), np.full(groups, np.nan)
    fit = fit_weibull(
        rows.lower, rows.upper, rows.entry, rows.weight, group=rows.group, bounds="wald"
    )
    shape[fit.labels], scale[fit.labels] = fit.shape, fit.scale
    return shape, scale


def _test(rows: ContrastRows, shape: Floats, scale: Floats, groups: int) -> ClusterSums:
    """Score test of a difference in scale at the fit without one."""
    terms = rows.look(shape[rows.group], scale[rows.group])
    mark = rows.marked.astype(float)
    free, _ = free_scores(
        terms,
        rows.weight,
        mark * terms.residual,
        (mark * terms.expected, mark * terms.expected, mark * terms.first),
        group=rows.group,
        groups=groups,
    )
    return sum_clusters(free, cell=rows.group, cluster=rows.cluster, cells=groups)


def _at(rows: ContrastRows, point: Floats) -> tuple[RowTerms, Floats]:
    """Terms at (log scale, log ratio, log shape) of each group, and the mark as ∓½."""
    side = np.asarray(rows.marked - 0.5, np.float64)
    here = point[rows.group]
    shape = np.exp(here[:, 2])
    return rows.look(shape, np.exp(here[:, 0] + side * here[:, 1])), side


def _sums(rows: ContrastRows, point: Floats, groups: int) -> tuple[Floats, Floats]:
    """Scores (groups, 3) and expected information (groups, 3, 3)."""
    terms, _ = _at(rows, point)
    kind = rows.group * 2 + rows.marked
    residual, by_shape, level, bend, curve = (
        sum_by(kind, rows.weight * part, 2 * groups).reshape(groups, 2)
        for part in (terms.residual, terms.by_shape, terms.expected, terms.first, terms.second)
    )
    pull = -np.exp(point[:, 2])[:, None] * np.array([[1.0, -0.5], [1.0, 0.5]])[:, None, :]
    pull = np.moveaxis(pull, 0, 1)  # (groups, kinds, 2): of the log hazard by scale and by ratio
    score = np.empty((groups, 3))
    score[:, :2] = np.einsum("gk,gkj->gj", residual, pull)
    score[:, 2] = by_shape.sum(axis=1)
    information = np.empty((groups, 3, 3))
    information[:, :2, :2] = np.einsum("gk,gki,gkj->gij", level, pull, pull)
    information[:, :2, 2] = information[:, 2, :2] = np.einsum("gk,gkj->gj", bend, pull)
    information[:, 2, 2] = curve.sum(axis=1)
    return score, information


def _climb(rows: ContrastRows, shape: Floats, scale: Floats, groups: int) -> Floats:
    """Fisher scoring of (log scale, log ratio, log shape) from the fit without a difference."""
    point = np.stack([np.log(scale), np.zeros(groups), np.log(shape)], axis=1)
    for _ in range(ROUNDS):
        score, information = _sums(rows, point, groups)
        step = np.clip(np.einsum("gij,gj->gi", _invert(information), score), -0.5, 0.5)
        point = point + step
        point[:, 1] = np.clip(point[:, 1], -8.0, 8.0)
        point[:, 2] = np.clip(point[:, 2], -5.0, 5.0)
        if np.max(np.abs(step), initial=0.0) < CLOSE:
            break
    return point


def _invert(matrix: Floats) -> Floats:
    """Inverse of each matrix, slightly ridged so that an empty group stops nothing."""
    ridge = 1e-12 * np.maximum(np.trace(matrix, axis1=1, axis2=2), 1e-6)
    return np.asarray(np.linalg.inv(matrix + ridge[:, None, None] * np.eye(matrix.shape[1])))


def _ratio_and_spread(
    rows: ContrastRows, point: Floats, groups: int, clusters: Ints
) -> tuple[Floats, Floats]:
    """Log ratio and its standard error over clusters."""
    inverse = _invert(_sums(rows, point, groups)[1])
    terms, side = _at(rows, point)
    pull = -np.exp(point[rows.group, 2]) * terms.residual
    size = int(rows.cluster.max(initial=0)) + 1
    keys, place = np.unique(rows.group * size + rows.cluster, return_inverse=True)
    each = np.stack(
        [
            sum_by(place, rows.weight * part, len(keys))
            for part in (pull, side * pull, terms.by_shape)
        ],
        axis=1,
    )
    owner = keys // size
    middle = np.stack(
        [sum_by(owner, each[:, i] * each[:, j], groups) for i in range(3) for j in range(3)],
        axis=1,
    ).reshape(groups, 3, 3)
    covariance = np.einsum("gij,gjk,gkl->gil", inverse, middle, inverse)
    correction = clusters / np.maximum(clusters - 1, 1)
    return point[:, 1], np.sqrt(np.maximum(covariance[:, 1, 1] * correction, 0.0))


def _test_shapes(rows: ContrastRows, point: Floats, groups: int) -> Floats:
    """p-value of equal shapes, each kind with its own scale: a score test over clusters."""
    terms, _ = _at(rows, point)
    kind = rows.group * 2 + rows.marked
    # free each kind of its own level: by_shape less its projection on the residual
    level = sum_by(kind, rows.weight * terms.expected, 2 * groups)
    bend = sum_by(kind, rows.weight * terms.first, 2 * groups)
    curve = sum_by(kind, rows.weight * terms.second, 2 * groups)
    pull = bend / np.where(level > 0, level, 1.0)
    free = terms.by_shape - pull[kind] * terms.residual
    left = np.maximum(curve - pull * bend, 0.0).reshape(groups, 2)
    share = left[:, 1] / np.where(left.sum(axis=1) > 0, left.sum(axis=1), 1.0)
    score = (rows.marked - share[rows.group]) * free * rows.weight
    return sum_clusters(score, cell=rows.group, cluster=rows.cluster, cells=groups).p_value
