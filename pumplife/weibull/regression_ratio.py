"""How many times as long one kind of lives lasts as another, like strata compared with like."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import optimize, special

from pumplife.errors import NoFiniteEstimate, RecordError
from pumplife.weibull.arrays import Bools, Floats, Ints, LifeArrays, check_confidence, check_lives
from pumplife.weibull.regression import RegressionFit, fit_regression
from pumplife.weibull.regression_bounds import bound_term
from pumplife.weibull.regression_climb import Summit, climb
from pumplife.weibull.regression_design import Design, build_design, find_dependent
from pumplife.weibull.regression_likelihood import RowLives, build_row_lives

MARKED = "marked"
MANY = 200.0  # failures of either kind from which the likelihood is as good as a parabola
FARTHEST = 30.0  # log ratio beyond which a one-sided bound isn't looked for


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class LifeRatio:
    """Ratio of the lives marked to those not marked, a common shape, a scale per stratum.

    Attributes
    ----------
    estimate : float [log of a ratio]
        NaN where one kind has no failure, or nothing can be estimated.
    low, high : float [log of a ratio]
        Bounds that know the clusters: the likelihood's, its deviance divided by the design
        effect. Where one kind has no failure one of them is infinite, and the other knows no
        clusters.
    likelihood_low, likelihood_high : float [log of a ratio]
        The same as if all lives were independent.
    se : float [log of a ratio]
        Clustered; NaN where there is no estimate.
    design_effect : float
        Clustered over plain variance, at least 1.
    degrees : float
        Of Student's t behind the bounds.
    shape : float
        Common to all strata and both kinds.
    failures : float array (2,)
        In the strata used: not marked, marked.
    strata : int
        Strata that held usage of both kinds, and a failure.
    used : bool array (rows,)
        Lives in these strata.
    confidence : float
    why_not : str
        Why there is no estimate; "" where there is one.
    """

    estimate: float
    low: float
    high: float
    likelihood_low: float
    likelihood_high: float
    se: float
    design_effect: float
    degrees: float
    shape: float
    failures: Floats
    strata: int
    used: Bools
    confidence: float
    why_not: str

    def __repr__(self) -> str:
        return (
            f"LifeRatio({np.exp(self.estimate):.4g}, {np.exp(self.low):.4g} to "
            f"{np.exp(min(self.high, 700.0)):.4g})"
        )

    def draw(self, share: ArrayLike) -> Floats:
        """Return quantiles of the log ratio at these shares of its doubt, 0 to 1.

        Student's t on either side of the estimate, each side as wide as its bound: the posterior
        under a flat prior on the log ratio, to the second order of the likelihood.
        """
        at = special.stdtrit(self.degrees, np.asarray(share, dtype=np.float64))
        reach = float(special.stdtrit(self.degrees, 0.5 + 0.5 * self.confidence))
        wide = np.where(at < 0.0, self.estimate - self.low, self.high - self.estimate)
        return np.asarray(self.estimate + at / reach * wide)

    @property
    def prob_longer(self) -> float:
        """Chance that the marked lives are the longer ones."""
        if not np.isfinite(self.estimate):
            return np.nan
        wide = self.estimate - self.low if self.estimate > 0.0 else self.high - self.estimate
        reach = float(special.stdtrit(self.degrees, 0.5 + 0.5 * self.confidence))
        return float(special.stdtr(self.degrees, reach * self.estimate / wide))


def fit_ratio(
    lower: ArrayLike,
    upper: ArrayLike,
    entry: ArrayLike | None = None,
    weight: ArrayLike | None = None,
    *,
    marked: ArrayLike,
    stratum: Sequence[Any] | NDArray[Any] | None = None,
    covariates: ArrayLike | None = None,
    cluster: Sequence[Any] | NDArray[Any],
    confidence: float = 0.90,
) -> LifeRatio:
    """Compare two kinds of lives within strata by one Weibull regression.

    Parameters
    ----------
    lower, upper, entry, weight : arrays (rows,)
        Lives as in `fit_weibull` [usage].
    marked : bool array (rows,)
        The kind whose ratio to the others is asked for.
    stratum : sequence (rows,), optional
        Labels; each stratum has a scale of its own, and only those count in which both kinds were
        used and something failed.
    covariates : array (rows, columns), optional
        Further columns of log scale; those that say nothing within the strata are left out.
    cluster : sequence (rows,)
        Labels, say the pump, on which lives may be alike.
    confidence : float
        Two-sided confidence of the bounds.

    Returns
    -------
    LifeRatio
        With `why_not` where there is no estimate.

    Raises
    ------
    RecordError
        A value that can't be true.

    References
    ----------
    .. [1] R. E. Chandler, S. Bate, "Inference for clustered data using the independence
       loglikelihood", Biometrika 94 (2007) 167-183 (from memory): a likelihood of clustered lives
       is adjusted by what their sandwich variance has over the plain one.
    """
    check_confidence(confidence)
    lives = check_lives(lower, upper, entry, weight)
    mark = np.asarray(marked, dtype=bool)
    labels = np.zeros(len(mark)) if stratum is None else np.asarray(stratum)
    if not len(mark) == len(labels) == len(lives.lower) == len(np.asarray(cluster)):
        raise RecordError("marked, stratum and cluster need one entry per life.")
    code = np.unique(labels, return_inverse=True)[1].astype(np.intp)
    used, failures = _choose_strata(lives, mark, code)
    rows = None if covariates is None else np.asarray(covariates, dtype=np.float64)[used]
    arms = _Arms(
        lives=lives.take(used),
        mark=mark[used],
        code=np.unique(code[used], return_inverse=True)[1].astype(np.intp),
        covariates=rows,
        cluster=np.unique(np.asarray(cluster)[used], return_inverse=True)[1].astype(np.intp),
    )
    told = _blank(failures, int(arms.code.max(initial=-1)) + 1, used, confidence)
    return _judge(arms, told)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class _Arms:
    """Lives of the strata that count; arrays (rows,)."""

    lives: LifeArrays
    mark: Bools
    code: Ints
    covariates: Floats | None
    cluster: Ints

    def __repr__(self) -> str:
        return f"_Arms({len(self.mark)} lives)"

    def columns(self) -> tuple[Floats, list[str]]:
        """Return the columns of log scale, the mark first, and their names."""
        strata = int(self.code.max()) + 1
        blocks = [self.mark[:, None], self.code[:, None] == np.arange(1, strata)]
        names = [MARKED, *(f"stratum {place}" for place in range(1, strata))]
        table = np.column_stack(blocks).astype(np.float64)
        if self.covariates is None or not self.covariates.shape[1]:
            return table, names
        both = np.column_stack([np.ones(len(table)), table, self.covariates])
        kept = ~find_dependent(both)[len(names) + 1 :]
        more = [f"covariate {place}" for place in np.flatnonzero(kept)]
        return np.column_stack([table, self.covariates[:, kept]]), [*names, *more]


def _choose_strata(lives: LifeArrays, mark: Bools, code: Ints) -> tuple[Bools, Floats]:
    """Return the lives in strata where both kinds were used and one failed, and their failures."""
    weight = lives.weights()
    failed = np.isfinite(lives.upper)
    seen = weight * (failed | (lives.lower > lives.entries()))
    count = int(code.max(initial=-1)) + 1
    place = 2 * code + mark
    usage = np.bincount(place, seen, 2 * count).reshape(-1, 2)
    failures = np.bincount(place, weight * failed, 2 * count).reshape(-1, 2)
    good = (usage > 0.0).all(axis=1) & (failures.sum(axis=1) > 0.0)
    return good[code] & (seen > 0.0), failures[good].sum(axis=0)


def _blank(failures: Floats, strata: int, used: Bools, confidence: float) -> LifeRatio:
    return LifeRatio(
        estimate=np.nan,
        low=-np.inf,
        high=np.inf,
        likelihood_low=-np.inf,
        likelihood_high=np.inf,
        se=np.nan,
        design_effect=1.0,
        degrees=np.inf,
        shape=np.nan,
        failures=failures,
        strata=strata,
        used=used,
        confidence=confidence,
        why_not="",
    )


def _judge(arms: _Arms, told: LifeRatio) -> LifeRatio:
    """Return the ratio, a bound where one kind has no failure, or why there is neither."""
    if told.strata == 0:
        return replace(told, why_not="nowhere were both used with a failure of either")
    if int(arms.cluster.max()) == 0:
        return replace(told, why_not="all lives are of one pump")
    try:
        if (told.failures > 0.0).all():
            return _estimate(arms, told)
        return _bound_one_side(arms, told)
    except NoFiniteEstimate as problem:
        return replace(told, why_not=str(problem))


def _estimate(arms: _Arms, told: LifeRatio) -> LifeRatio:
    columns, names = arms.columns()
    own = arms.lives
    lives = (own.lower, own.upper, own.entry, own.weight)
    fit = fit_regression(
        *lives, covariates=columns, names=names, cluster=arms.cluster, confidence=told.confidence
    )
    effect = max(1.0, float(fit.covariance[1, 1] / fit.plain_covariance[1, 1]))
    reach = float(special.stdtrit(fit.degrees, 0.5 + 0.5 * told.confidence))
    plain = float(special.ndtri(0.5 + 0.5 * told.confidence))
    reaches = (reach * np.sqrt(effect), plain)
    if (told.failures >= MANY).all():
        middle, error = float(fit.estimate[1]), float(np.sqrt(fit.plain_covariance[1, 1]))
        ends = [(middle - error * one, middle + error * one) for one in reaches]
    else:
        ends = _bound(arms, fit, columns, names, reaches)
    return replace(
        told,
        estimate=float(fit.estimate[1]),
        low=ends[0][0],
        high=ends[0][1],
        likelihood_low=ends[1][0],
        likelihood_high=ends[1][1],
        se=float(np.sqrt(effect * fit.plain_covariance[1, 1])),
        design_effect=effect,
        degrees=fit.degrees,
        shape=float(np.exp(fit.estimate[fit.scale_terms])),
    )


def _bound(
    arms: _Arms,
    fit: RegressionFit,
    columns: Floats,
    names: Sequence[str],
    reaches: tuple[float, ...],
) -> list[tuple[float, float]]:
    """Return likelihood bounds of the mark's term at each reach of the root of the deviance."""
    rows, design = _standardise(arms, columns, names)
    terms = fit.estimate.copy()
    terms[0] -= rows.log_unit
    start = np.asarray(np.linalg.solve(design.back, terms), dtype=np.float64)
    summit = climb(rows, design, start)
    combination = design.back[1]
    return [
        (
            bound_term(rows, design, summit, combination, -reach),
            bound_term(rows, design, summit, combination, reach),
        )
        for reach in reaches
    ]


def _standardise(arms: _Arms, columns: Floats, names: Sequence[str]) -> tuple[RowLives, Design]:
    nothing = np.zeros((len(columns), 0))
    design = build_design(columns, nothing, names, [], arms.lives.weights())
    return build_row_lives(arms.lives), design


def _bound_one_side(arms: _Arms, told: LifeRatio) -> LifeRatio:
    """Return the one bound there is where one kind has not failed.

    As its ratio grows without end (or falls, where it is the other that hasn't failed), the
    likelihood tends to that of the lives of the kind with failures alone.
    """
    sign = 1.0 if told.failures[1] == 0.0 else -1.0
    columns, names = arms.columns()
    failing = arms.mark == (sign < 0.0)
    rows, design = _standardise(arms, columns, names)
    start, limit = _climb_alone(arms, failing, rows, design)
    reach = float(special.ndtri(0.5 + 0.5 * told.confidence))

    def short(log_ratio: float) -> float:
        held = _hold(rows, design, start, log_ratio)
        return 2.0 * (limit - held.value) - reach**2

    far = sign
    while short(far) > 0.0 and abs(far) < FARTHEST:
        far = 2.0 * far
    near = far - sign
    while short(near) < 0.0 and abs(near) < FARTHEST:
        near -= 2.0 * sign
    if short(near) * short(far) >= 0.0:
        return replace(told, why_not="its lives are too short to bound the ratio")
    end = float(optimize.brentq(short, near, far, xtol=1e-6))
    side = {"low": end, "likelihood_low": end} if sign > 0 else {}
    other = {"high": end, "likelihood_high": end} if sign < 0 else {}
    who = "these" if sign > 0 else "the others"
    ends = {**side, **other}
    return replace(told, **ends, why_not=f"none of {who} has failed: a bound, no estimate")  # type: ignore[arg-type]


def _climb_alone(
    arms: _Arms, failing: Bools, rows: RowLives, design: Design
) -> tuple[Floats, float]:
    """Return terms (standardised) and value of the maximum over the kind that failed alone."""
    alone = replace(arms, lives=arms.lives.take(failing), mark=arms.mark[failing])
    own = replace(
        alone,
        code=np.unique(arms.code[failing], return_inverse=True)[1].astype(np.intp),
        covariates=None if arms.covariates is None else arms.covariates[failing],
        cluster=arms.cluster[failing],
    )
    told = own.lives
    columns, names = own.columns()
    fit = fit_regression(
        told.lower, told.upper, told.entry, told.weight, covariates=columns[:, 1:], names=names[1:]
    )
    exact = told.weights()[told.lower == told.upper]
    logs = np.log(told.lower[told.lower == told.upper])
    value = fit.log_likelihood + float(exact @ logs)
    guess = np.zeros(len(design.names))
    guess[0] = float(fit.estimate[0]) - rows.log_unit
    guess[-1] = float(fit.estimate[fit.scale_terms])
    return np.asarray(np.linalg.solve(design.back, guess)), value


def _hold(rows: RowLives, design: Design, start: Floats, log_ratio: float) -> Summit:
    """Return the maximum with the mark's term held at a log ratio."""
    combination: Floats = design.back[1]
    off = log_ratio - float(combination @ start)
    at: Floats = start + combination * (off / float(combination @ combination))
    return climb(rows, design, at, combination)
