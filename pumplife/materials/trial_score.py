"""The score of a life ratio that knows which lives share a pump, for many trials at once."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Ints = NDArray[np.int64]

ROUNDS = 40  # of Newton's method at most
STEEPEST = 5.0  # log of the shape beyond which a set has no finite fit
CLOSE = 1e-9  # step in log shape at which the climb is over


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TrialLives:
    """Lives of many trials of one design; every arm has its units in one stretch.

    Attributes
    ----------
    age : float array (trials, units, renewals)
        Age that the positions of a unit reached together [usage]; 0 where there was no such life.
    failed : float array (trials, units, renewals)
        How many of them failed at that age.
    count : float array (units,)
        Positions of the unit that are watched.
    tested : bool array (units,)
        Units of the material on trial; the others, which come first, carry the reference.
    cluster : int array (units,)
        Number (0, 1, ...) of the pump, or of the pair of pumps, that a unit belongs to.
    """

    age: Floats
    failed: Floats
    count: Floats
    tested: Bools
    cluster: Ints

    def __repr__(self) -> str:
        return f"TrialLives({self.age.shape[0]} trials of {self.age.shape[1]} units)"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TrialScores:
    """How each of many trials came out.

    Attributes
    ----------
    score : float array (trials,)
        Evidence for the longer life, on the scale of a standard normal score; 0 where nothing can
        be told.
    independent_score : float array (trials,)
        The same as if all lives were independent.
    log_ratio : float array (trials,)
        [log of a ratio]; NaN where an arm has no failure.
    shape : float array (trials,)
    design_effect : float array (trials,)
        Clustered over plain variance, at least 1.
    failures : float array (trials, 2)
        Of the reference, of the material on trial.
    """

    score: Floats
    independent_score: Floats
    log_ratio: Floats
    shape: Floats
    design_effect: Floats
    failures: Floats

    def __repr__(self) -> str:
        return f"TrialScores({len(self.score)} trials)"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Logs:
    """Lives as the likelihood wants them; ages in logs over a common unit."""

    log_age: Floats
    weight: Floats
    deaths: Floats  # (trials, units)
    log_deaths: Floats  # (trials,), log ages of the failures added up
    first: int  # unit at which the material on trial begins

    def __repr__(self) -> str:
        return f"_Logs{self.log_age.shape}"

    def by_arm(self, values: Floats) -> Floats:
        """Sums over the units of each arm, (trials, 2)."""
        return np.stack(
            [values[:, : self.first].sum(axis=1), values[:, self.first :].sum(axis=1)], axis=1
        )


def score_trials(lives: TrialLives) -> TrialScores:
    """Test in every trial whether the material on trial lives longer than the reference.

    One Weibull regression per trial with a shape in common; the likelihood ratio against equal
    lives, divided by the design effect of the clusters and held against Student's t with
    clusters - 1 degrees: what `fit_ratio` gives for one trial without strata.

    Parameters
    ----------
    lives : TrialLives

    Returns
    -------
    TrialScores
    """
    logs = _take_logs(lives)
    deaths = logs.by_arm(logs.deaths)
    both, level, good = _climb(logs, deaths)
    _, least, told = _climb(logs, deaths.sum(axis=1, keepdims=True))
    good &= told & (deaths.sum(axis=1) > 0.0)
    root = np.sqrt(np.maximum(2.0 * (level - least), 0.0))
    estimate, effect = _look_at_clusters(lives, logs, deaths, both)
    complete = (deaths > 0.0).all(axis=1)
    sign = np.where(complete, np.sign(estimate), np.where(deaths[:, 0] > 0.0, 1.0, -1.0))
    plain = np.where(good, sign * root, 0.0)
    degrees = float(lives.cluster.max(initial=0))
    clustered = as_normal(plain / np.sqrt(effect), degrees)
    return TrialScores(
        score=np.where(complete, clustered, plain),
        independent_score=plain,
        log_ratio=np.where(complete & good, estimate, np.nan),
        shape=np.exp(both),
        design_effect=effect,
        failures=deaths,
    )


def _take_logs(lives: TrialLives) -> _Logs:
    there = lives.age > 0.0
    unit = float(lives.age[there].mean()) if there.any() else 1.0
    log_age = np.log(np.where(there, lives.age, unit) / unit)
    return _Logs(
        log_age=log_age,
        weight=there * lives.count[:, None],
        deaths=lives.failed.sum(axis=2),
        log_deaths=(lives.failed * log_age).sum(axis=(1, 2)),
        first=int(np.argmax(lives.tested)),
    )


def _hazards(logs: _Logs, shape: Floats) -> tuple[Floats, Floats, Floats]:
    """Sums over each unit of t^k, and of it times log t and its square, (trials, units)."""
    power = logs.weight * np.exp(shape[:, None, None] * logs.log_age)
    first = power * logs.log_age
    return power.sum(axis=2), first.sum(axis=2), (first * logs.log_age).sum(axis=2)


def _climb(logs: _Logs, deaths: Floats) -> tuple[Floats, Floats, Bools]:
    """Find the log shape of greatest likelihood, its level, and whether it is finite.

    deaths are of both arms (trials, 2), or of all together (trials, 1). The derivative by the
    shape falls throughout, so that Newton's method can't go astray.
    """
    total = deaths.sum(axis=1)
    log_shape = np.full(len(total), 0.7)
    for _ in range(ROUNDS):
        shape = np.exp(log_shape)
        sums = [_group(logs, one, deaths.shape[1]) for one in _hazards(logs, shape)]
        with np.errstate(divide="ignore", invalid="ignore"):
            mean, spread = sums[1] / sums[0], sums[2] / sums[0]
            slope = total / shape + logs.log_deaths - (deaths * mean).sum(axis=1)
            bend = total / shape**2 + (deaths * (spread - mean**2)).sum(axis=1)
            step = np.clip(slope / (bend * shape), -1.0, 1.0)
        step = np.where(np.isfinite(step), step, 0.0)
        log_shape = np.clip(log_shape + step, -STEEPEST, STEEPEST)
        if float(np.abs(step[np.abs(log_shape) < STEEPEST]).max(initial=0.0)) < CLOSE:
            break
    shape = np.exp(log_shape)
    reached = _group(logs, _hazards(logs, shape)[0], deaths.shape[1])
    level = total * log_shape + shape * logs.log_deaths
    level += (special.xlogy(deaths, deaths) - special.xlogy(deaths, reached)).sum(axis=1)
    return log_shape, level, np.abs(log_shape) < STEEPEST


def _group(logs: _Logs, values: Floats, groups: int) -> Floats:
    return logs.by_arm(values) if groups > 1 else values.sum(axis=1, keepdims=True)


def _look_at_clusters(
    lives: TrialLives, logs: _Logs, deaths: Floats, log_shape: Floats
) -> tuple[Floats, Floats]:
    """Log ratio, and the clustered over the plain variance of it (at least 1)."""
    shape = np.exp(log_shape)
    first = logs.first
    arms = np.where(np.arange(len(lives.count)) < first, 0, 1)
    hazard, weighted, squared = _hazards(logs, shape)
    sums = logs.by_arm(hazard)
    with np.errstate(divide="ignore", invalid="ignore"):
        log_scale = (np.log(sums) - np.log(deaths)) / shape[:, None]  # in the common unit
        centre, rate, k = log_scale[:, arms], (deaths / sums)[:, arms], shape[:, None]
        # u = k (log t - log scale): sums over each unit of w u and w u^2, and of u at failures
        by_u = k * rate * (weighted - centre * hazard)
        by_uu = k**2 * rate * (squared - 2.0 * centre * weighted + centre**2 * hazard)
        fell = k * ((lives.failed * logs.log_age).sum(axis=2) - centre * logs.deaths)
        cross = logs.by_arm(by_u)
        curve = by_uu.sum(axis=1) + deaths.sum(axis=1)
        share = cross / deaths
        lean = (share[:, 1] - share[:, 0]) / (shape * (curve - (cross * share).sum(axis=1)))
        pull = (np.array([-1.0, 1.0]) + k * cross * lean[:, None]) / (k**2 * deaths)
        own = pull[:, arms] * k * (rate * hazard - logs.deaths)
        own += lean[:, None] * (logs.deaths + fell - by_u)
        effect = _sum_squares(own, lives.cluster) / (pull[:, 1] - pull[:, 0])
        ratio = log_scale[:, 1] - log_scale[:, 0]
    told = np.isfinite(effect)
    return ratio, np.where(told, np.maximum(effect, 1.0), 1.0)


def _sum_squares(own: Floats, cluster: Ints) -> Floats:
    """Clustered variance from what each unit adds to the estimate."""
    many = int(cluster.max()) + 1
    member = (cluster[:, None] == np.arange(many)).astype(np.float64)
    summed = own @ member
    return np.asarray((summed**2).sum(axis=1) * many / max(many - 1.0, 1.0))


def as_normal(value: ArrayLike, degrees: float) -> Floats:
    """Give the standard normal score as far out as a value of Student's t."""
    size = np.abs(value)
    return np.asarray(np.sign(value) * -special.ndtri(special.stdtr(degrees, -size)))
