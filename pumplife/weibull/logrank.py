"""Log-rank test within strata, with late entry, that knows which lives share a pump."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

from pumplife.errors import RecordError
from pumplife.weibull.arrays import Floats, Ints, check_lives


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class LogRank:
    """Whether marked lives end at another rate than the others.

    Attributes
    ----------
    failed, expected : float
        Failures of the marked lives, and how many they would have had at the others' rate.
    statistic, p_value : float
        Chi-squared of one degree, lives independent; NaN where nothing can be told.
    clustered_p_value : float
        The same with the variance summed over clusters, held against F with clusters - 1 degrees.
    """

    failed: float
    expected: float
    statistic: float
    p_value: float
    clustered_p_value: float

    def __repr__(self) -> str:
        return f"LogRank({self.failed:.4g} of {self.expected:.4g} expected, p={self.p_value:.3g})"


def compare_survival(
    lower: ArrayLike,
    upper: ArrayLike,
    entry: ArrayLike | None = None,
    weight: ArrayLike | None = None,
    *,
    marked: ArrayLike,
    stratum: Sequence[Any] | NDArray[Any] | None = None,
    cluster: Sequence[Any] | NDArray[Any],
) -> LogRank:
    """Test whether marked lives end at another rate than the others, without a form of life.

    Parameters
    ----------
    lower, upper, entry, weight : arrays (rows,)
        Lives as in `fit_weibull` [usage]; an interval counts at its upper end, where it was found.
    marked : bool array (rows,)
        One of the two kinds.
    stratum : sequence (rows,), optional
        Compared only among themselves.
    cluster : sequence (rows,)
        Labels, say the pump.

    Returns
    -------
    LogRank

    References
    ----------
    .. [1] N. Mantel, Cancer Chemotherapy Reports 50 (1966) 163-170; with late entry the lives at
       risk are those entered. Clusters: D. Y. Lin, L. J. Wei, JASA 84 (1989) 1074-1078, at no
       difference (both from memory).
    """
    lives = check_lives(lower, upper, entry, weight)
    mark = np.asarray(marked, dtype=np.float64)
    labels = np.zeros(len(mark)) if stratum is None else np.asarray(stratum)
    if not len(mark) == len(labels) == len(lives.lower) == len(np.asarray(cluster)):
        raise RecordError("marked, stratum and cluster need one entry per life.")
    failed = np.isfinite(lives.upper)
    end = np.where(failed, lives.upper, lives.lower)
    told = lives.weights() * ((end > lives.entries()) | failed)
    code = np.unique(labels, return_inverse=True)[1].astype(np.intp)
    died = failed & (told > 0.0)
    ends, starts, count = _rank(code, end, lives.entries(), died)
    place = np.maximum(ends - 1, 0)
    deaths = np.bincount(place[died], told[died], count)
    risk = np.maximum(_at_risk(ends, starts, told, count), 1e-300)
    share = _at_risk(ends, starts, told * mark, count) / risk
    parts = told * _parts((ends, starts), mark, failed, deaths / risk, share)
    member = np.unique(np.asarray(cluster), return_inverse=True)[1]
    tie = np.where(risk > 1.0, (risk - deaths) / np.maximum(risk - 1.0, 1e-300), 0.0)
    return _report(
        seen=float(told @ (mark * failed)),
        expected=float(np.sum(deaths * share)),
        variance=float(np.sum(deaths * share * (1.0 - share) * np.maximum(tie, 0.0))),
        by_cluster=np.bincount(member, parts).astype(np.float64),
    )


def _rank(
    code: Ints, end: Floats, entry: Floats, failed: NDArray[np.bool_]
) -> tuple[Ints, Ints, int]:
    """Return how many failure times of its stratum's order are at or before each end, and entry.

    Failure times are numbered by stratum, then age; also returns how many there are.
    """
    ages = np.unique(end[failed])
    wide = len(ages) + 1
    by_end = code * wide + np.searchsorted(ages, end, side="right")
    times = np.unique(by_end[failed])
    by_entry = code * wide + np.searchsorted(ages, entry, side="right")
    ends = np.searchsorted(times, by_end, side="right")
    starts = np.searchsorted(times, by_entry, side="right")
    return ends.astype(np.intp), starts.astype(np.intp), len(times)


def _at_risk(ends: Ints, starts: Ints, weight: Floats, count: int) -> Floats:
    """Return the weight of the lives that had entered before and not ended by each failure time."""
    change = np.bincount(starts, weight, count + 1) - np.bincount(ends, weight, count + 1)
    return np.cumsum(change)[:count]


def _parts(
    span: tuple[Ints, Ints],
    mark: Floats,
    failed: NDArray[np.bool_],
    rate: Floats,
    share: Floats,
) -> Floats:
    """Return each life's part in observed less expected failures of the marked kind."""
    ends, starts = span
    gone = np.concatenate([[0.0], np.cumsum(rate)])
    shared = np.concatenate([[0.0], np.cumsum(rate * share)])
    lived = mark * (gone[ends] - gone[starts]) - (shared[ends] - shared[starts])
    here = np.concatenate([[0.0], share])[ends]
    return np.asarray(failed * (mark - here) - lived)


def _report(seen: float, expected: float, variance: float, by_cluster: Floats) -> LogRank:
    many = len(by_cluster)
    spread = float(by_cluster @ by_cluster) * many / max(many - 1, 1)
    score = seen - expected
    statistic = score**2 / variance if variance > 0.0 else np.nan
    robust = score**2 / spread if spread > 0.0 and many > 1 else np.nan
    return LogRank(
        failed=seen,
        expected=expected,
        statistic=statistic,
        p_value=float(special.chdtrc(1, statistic)),
        clustered_p_value=float(special.fdtrc(1, max(many - 1, 1), robust)),
    )
