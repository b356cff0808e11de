"""Standard errors that know which lives belong together: the sandwich over clusters."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import sparse

from pumplife.errors import RecordError
from pumplife.weibull.arrays import (
    Bools,
    Floats,
    Ints,
    LifeArrays,
    check_lives,
    find_groups,
)
from pumplife.weibull.estimate import fit_weibull
from pumplife.weibull.regression_climb import Summit
from pumplife.weibull.regression_design import Design
from pumplife.weibull.regression_likelihood import build_row_lives, look

if TYPE_CHECKING:
    import pandas as pd


def number_clusters(cluster: Sequence[Any] | NDArray[Any], kept: Bools) -> Ints:
    """Return the cluster number (0, 1, ...) of the rows kept."""
    labels = np.asarray(cluster)
    if labels.shape != kept.shape:
        raise RecordError(f"cluster has shape {labels.shape} where there are {len(kept)} lives.")
    distinct, code = np.unique(labels[kept], return_inverse=True)
    if len(distinct) < 2:
        raise RecordError("All lives are of one cluster: nothing can be told about differences.")
    return np.asarray(code, dtype=np.intp)


def sandwich(summit: Summit, design: Design, code: Ints) -> Floats:
    """Return the clustered covariance (terms, terms) of the standardised terms."""
    many = int(code.max()) + 1
    place = code, design.kind
    shape = many, len(design.scale)
    by_eta = sparse.csr_array((summit.rows.by_eta, place), shape=shape)
    by_kappa = sparse.csr_array((summit.rows.by_kappa, place), shape=shape)
    sums = np.asarray(by_eta @ design.scale), np.asarray(by_kappa @ design.shape)
    scores = np.column_stack(sums)
    spread = summit.inverse @ scores.T
    return np.asarray(spread @ spread.T * (many / (many - 1.0)))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class ClusteredErrors:
    """Clustered errors of plain group fits.

    Attributes
    ----------
    labels : array (groups,)
        Sorted group labels.
    covariance : array (groups, 2, 2)
        Of (log scale, log shape); NaN for a group without an estimate or of a single cluster.
    design_effect : array (groups, 2)
        Clustered over plain variance of log scale and of log shape: 2 means that the lives tell
        half of what as many independent ones would.
    clusters : array (groups,)
        Clusters with lives in each group.
    """

    labels: NDArray[Any]
    covariance: Floats
    design_effect: Floats
    clusters: Ints

    def __repr__(self) -> str:
        return f"ClusteredErrors({len(self.labels)} groups)"

    def to_frame(self) -> pd.DataFrame:
        """Return one row per group."""
        import pandas as pd  # noqa: PLC0415  # arrays in, arrays out: a frame only when asked for

        return pd.DataFrame(
            {
                "group": self.labels,
                "clusters": self.clusters,
                "log_scale_se": np.sqrt(self.covariance[:, 0, 0]),
                "log_shape_se": np.sqrt(self.covariance[:, 1, 1]),
                "design_effect_scale": self.design_effect[:, 0],
                "design_effect_shape": self.design_effect[:, 1],
            }
        )


def clustered_covariance(
    lower: ArrayLike,
    upper: ArrayLike,
    entry: ArrayLike | None = None,
    weight: ArrayLike | None = None,
    *,
    cluster: Sequence[Any] | NDArray[Any],
    group: Sequence[Any] | NDArray[Any] | None = None,
) -> ClusteredErrors:
    """Return errors of (log scale, log shape) per group that know which lives share a pump.

    Parameters
    ----------
    lower, upper, entry, weight : arrays (rows,)
        Lives as in `fit_weibull` [usage].
    cluster : sequence (rows,)
        Labels, say the pump; the same label in two groups counts in each.
    group : sequence (rows,), optional
        Labels of the groups; one group of all where None.

    Returns
    -------
    ClusteredErrors
        Sandwich estimate over clusters times clusters / (clusters - 1). Bounds of so few clusters
        take Student's t with clusters - 1 degrees.

    References
    ----------
    .. [1] H. White, "Maximum likelihood estimation of misspecified models", Econometrica 50 (1982)
       1-25 (from memory); clusters as in K.-Y. Liang, S. L. Zeger, Biometrika 73 (1986) 13-22.
    """
    lives = check_lives(lower, upper, entry, weight)
    owner = np.asarray(cluster)
    if owner.shape != lives.lower.shape:
        raise RecordError(
            f"cluster has shape {owner.shape} where there are {len(lives.lower)} lives."
        )
    groups = find_groups(group, len(lives.lower))
    code = groups.code.copy()
    code[slice(None) if groups.order is None else groups.order] = groups.code
    kept = lives.weights() > 0.0
    lives, code = lives.take(kept), code[kept]
    plain, scores = _score_groups(lives, code, len(groups.labels))
    member = np.unique(owner[kept], return_inverse=True)[1].astype(np.intp)
    meat, clusters = _sum_outer(scores, code, member, len(groups.labels))
    return _combine(groups.labels, plain, meat, clusters)


def _score_groups(lives: LifeArrays, code: Ints, count: int) -> tuple[Floats, Floats]:
    """Return each group's plain covariance (count, 2, 2) and each life's scores (rows, 2)."""
    told = (lives.lower, lives.upper, lives.entry, lives.weight)
    fit = fit_weibull(*told, group=code, bounds="wald")
    plain = np.full((count, 2, 2), np.nan)
    plain[fit.labels] = fit.covariance
    log_scale, log_shape = np.zeros(count), np.zeros(count)
    log_scale[fit.labels], log_shape[fit.labels] = np.log(fit.scale), np.log(fit.shape)
    good = np.isfinite(log_scale)[code]
    rows = build_row_lives(lives)
    eta = np.where(good, log_scale[code], rows.log_unit) - rows.log_unit
    point = look(rows, eta, np.where(good, log_shape[code], 0.0))
    return plain, np.column_stack([point.by_eta, point.by_kappa])


def _sum_outer(scores: Floats, code: Ints, member: Ints, count: int) -> tuple[Floats, Ints]:
    """Return per group the sum over clusters of the scores' outer products, and the clusters."""
    many = int(member.max(initial=0)) + 1
    distinct, pair = np.unique(code * many + member, return_inverse=True)
    summed = np.column_stack(
        [np.bincount(pair, scores[:, axis], len(distinct)) for axis in range(2)]
    )
    group = distinct // many
    meat = np.zeros((count, 2, 2))
    np.add.at(meat, group, summed[:, :, None] * summed[:, None, :])
    return meat, np.bincount(group, minlength=count).astype(np.intp)


def _combine(labels: NDArray[Any], plain: Floats, meat: Floats, clusters: Ints) -> ClusteredErrors:
    with np.errstate(divide="ignore", invalid="ignore"):
        factor = np.where(clusters > 1, clusters / (clusters - 1.0), np.nan)
        covariance = plain @ meat @ plain * factor[:, None, None]
        ends = [covariance[:, axis, axis] / plain[:, axis, axis] for axis in range(2)]
    return ClusteredErrors(
        labels=labels,
        covariance=covariance,
        design_effect=np.column_stack(ends),
        clusters=clusters,
    )
