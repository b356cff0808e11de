"""Weibull, lognormal or exponential: which form of life the records prefer, by AICc."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pumplife.weibull.arrays import (
    Floats,
    Groups,
    LifeArrays,
    check_lives,
    find_groups,
    keep_groups,
    sort_lives,
    sum_by,
)
from pumplife.weibull.estimate import fit_weibull
from pumplife.weibull.likelihood import build_log_lives, profile
from pumplife.weibull.lognormal import fit_lognormal
from pumplife.weibull.merge import merge_close

FORMS = ("weibull", "lognormal", "exponential")
UNDECIDED = "undecided"
CLEAR = 2.0  # AICc by which the best form must lead


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class Rivals:
    """How well three forms of life fit, per group.

    Attributes
    ----------
    labels : array (groups,)
        Sorted group labels.
    aicc : array (groups, 3)
        Corrected information criterion of "weibull", "lognormal", "exponential", less is better;
        NaN where a form has no finite estimate or there are too few failures for the correction.
    best : array (groups,) of str
        The form that leads the others by 2 or more, "undecided" where none does, "" where one could
        not be compared. The exponential, a Weibull of shape 1, only has to lead the Weibull.
    mean_log, sd_log : arrays (groups,) [log usage], [-]
        The lognormal: mean and standard deviation of log life.
    """

    labels: NDArray[Any]
    aicc: Floats
    best: NDArray[Any]
    mean_log: Floats
    sd_log: Floats

    def __repr__(self) -> str:
        return f"Rivals({len(self.labels)} groups)"


def compare_rivals(
    lower: ArrayLike,
    upper: ArrayLike,
    entry: ArrayLike | None = None,
    weight: ArrayLike | None = None,
    *,
    group: Sequence[Any] | NDArray[Any],
) -> Rivals:
    """Compare Weibull, lognormal and exponential lives, late entry and intervals included.

    Parameters
    ----------
    lower, upper, entry, weight : arrays (rows,)
        Lives, as for fit_weibull.
    group : sequence (rows,)
        Labels, in any order.

    Returns
    -------
    Rivals

    Notes
    -----
    The correction counts failures, not lives: suspensions say little of the form of a life, and
    with it n - 1 - parameters must be above zero, so three failures are not compared.

    References
    ----------
    .. [1] K. P. Burnham, D. R. Anderson, "Model Selection and Multimodel Inference", Springer,
       2002 (from memory).
    """
    lives = check_lives(lower, upper, entry, weight)
    lives, groups = sort_lives(lives, find_groups(group, len(lives.lower)))
    lives, groups = merge_close(lives, groups)
    weibull = fit_weibull(
        lives.lower, lives.upper, lives.entry, lives.weight, group=groups.code, bounds="wald"
    )
    numbers = np.asarray(weibull.labels, dtype=np.intp)
    fitted = np.zeros(len(groups.labels), dtype=bool)
    fitted[numbers[np.asarray(weibull.reason == "")]] = True
    heights = np.full((len(groups.labels), 3), np.nan)
    spread = np.full((2, len(groups.labels)), np.nan)
    if fitted.any():
        some = fitted[numbers]
        shape, scale = weibull.shape[some], weibull.scale[some]
        kept = keep_groups(lives, groups, fitted)
        lognormal = fit_lognormal(*kept, shape=shape, scale=scale)
        spread[:, fitted] = lognormal.mean_log, lognormal.sd_log
        heights[fitted] = np.column_stack(
            [weibull.log_likelihood[some], lognormal.log_likelihood, _exponential_height(*kept)]
        )
    failed = lives.weights() * np.isfinite(lives.upper)
    aicc = _correct(heights, sum_by(groups.code, failed, len(groups.labels)))
    return Rivals(
        labels=groups.labels,
        aicc=aicc,
        best=_choose(aicc),
        mean_log=spread[0],
        sd_log=spread[1],
    )


def _exponential_height(lives: LifeArrays, groups: Groups) -> Floats:
    """Return the log-likelihood of exponential lives: Weibull ones of shape 1."""
    logs = build_log_lives(lives, groups)
    _, point = profile(logs, np.ones(len(logs)))
    return np.asarray(point.value - logs.moment - logs.failures * logs.log_unit)


def _correct(heights: Floats, failures: Floats) -> Floats:
    """Return AICc from log-likelihoods (groups, 3); NaN where failures are too few."""
    count = np.array([2.0, 2.0, 1.0])
    room = failures[:, None] - count - 1.0
    correction = 2.0 * count * (count + 1.0) / np.where(room > 0.0, room, np.nan)
    return np.asarray(2.0 * count - 2.0 * heights + correction)


def _choose(aicc: Floats) -> NDArray[Any]:
    """Return the form that leads by enough, per group.

    The exponential lies within the Weibull, so that it can't lead it by more than the parameter
    it saves: against the Weibull it only has to lead.
    """
    rest = aicc.copy()
    rest[:, 0] += np.where(aicc[:, 2] < aicc[:, 0], CLEAR, 0.0)
    ordered = np.sort(rest, axis=1)
    lead = ordered[:, 1] - ordered[:, 0]
    names = np.array(FORMS, dtype=object)[np.argmin(np.nan_to_num(rest, nan=np.inf), axis=1)]
    known = np.isfinite(aicc).all(axis=1)
    return np.where(known, np.where(lead >= CLEAR, names, UNDECIDED), "")
