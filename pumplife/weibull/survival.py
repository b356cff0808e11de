"""Nonparametric survival: Kaplan-Meier where ages are known, self-consistent where they aren't."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from pumplife.errors import RecordError
from pumplife.weibull.adequacy import exposed, has_intervals, quietly
from pumplife.weibull.arrays import Bools, Floats, Ints, LifeArrays, check_confidence, check_lives

SETTLED = 1e-9  # change of any survival in a round at which the rounds end
MOST_ROUNDS = 20_000
NOTHING = 1e-5  # of one life's mass: a stretch that holds less holds none


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class SurvivalSteps:
    """Survival that no family of lives is assumed for.

    Attributes
    ----------
    since, time : arrays (steps,) [usage]
        Each step down lies somewhere from `since` to `time`, ascending; both are the same where
        the ages of failures are known.
    survival, low, high : arrays (steps,)
        Survival just after `time` and its pointwise bounds.
    confidence : float
    """

    since: Floats
    time: Floats
    survival: Floats
    low: Floats
    high: Floats
    confidence: float

    def __repr__(self) -> str:
        return f"SurvivalSteps({len(self.time)} steps)"


def estimate_survival(
    lower: ArrayLike,
    upper: ArrayLike,
    entry: ArrayLike | None = None,
    weight: ArrayLike | None = None,
    *,
    confidence: float = 0.90,
) -> SurvivalSteps:
    """Return the nonparametric maximum-likelihood survival, with late entry and intervals.

    Exact and suspended lives have the Kaplan-Meier estimate of lifelines. Where a life is an
    interval, the estimate puts its steps on the innermost intervals and is found by expectation
    and maximisation on the hazards of these, until no survival changes by more than 1e-9 in a
    round. Bounds are pointwise on the log-minus-log scale, from Greenwood's variance or from the
    observed information. An early age at which few late-entered lives were watched can pull the
    whole curve down: read it with its bounds.

    Parameters
    ----------
    lower, upper, entry, weight : arrays (rows,)
        Lives, as for fit_weibull.
    confidence : float
        Two-sided confidence of the bounds.

    Returns
    -------
    SurvivalSteps

    Raises
    ------
    RecordError
        Where no life was observed for any time.

    References
    ----------
    .. [1] B. W. Turnbull, "The empirical distribution function with arbitrarily grouped, censored
       and truncated data", Journal of the Royal Statistical Society B 38, 1976 (from memory).
    .. [2] H. Frydman, "A note on nonparametric estimation of the distribution function from
       interval-censored and truncated observations", the same B 56, 1994: late entries end
       innermost intervals too (from memory).
    """
    lives = exposed(check_lives(lower, upper, entry, weight))
    check_confidence(confidence)
    if len(lives.lower) == 0:
        raise RecordError("No life was observed for any time, so there is no survival to draw.")
    if has_intervals(lives):
        return _self_consistent(lives, confidence)
    return _kaplan_meier(lives, confidence)


def _kaplan_meier(lives: LifeArrays, confidence: float) -> SurvivalSteps:
    with quietly():
        from lifelines import KaplanMeierFitter  # noqa: PLC0415  # heavy

        fit = KaplanMeierFitter(alpha=1.0 - confidence).fit(
            lives.lower,
            np.isfinite(lives.upper),
            entry=lives.entry,
            weights=lives.weights(),
        )
        time = np.asarray(fit.survival_function_.index, dtype=np.float64)
        bounds = fit.confidence_interval_survival_function_.to_numpy(dtype=np.float64)
        survival = fit.survival_function_.to_numpy(dtype=np.float64)[:, 0]
    kept = time > 0.0
    return SurvivalSteps(
        since=time[kept],
        time=time[kept],
        survival=survival[kept],
        low=bounds[kept, 0],
        high=bounds[kept, 1],
        confidence=float(confidence),
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class _Stretches:
    """Innermost intervals, and which of them each life may have ended in.

    Attributes
    ----------
    since, until : arrays (stretches,) [usage]
    first, last : arrays (lives,)
        The life ended in one of the stretches first ... last - 1.
    entered : array (lives,)
        First stretch after the life's entry.
    weight : array (lives,)
    """

    since: Floats
    until: Floats
    first: Ints
    last: Ints
    entered: Ints
    weight: Floats

    def __repr__(self) -> str:
        return f"_Stretches({len(self.since)} of {len(self.first)} lives)"


def _find_stretches(lives: LifeArrays) -> _Stretches:
    """Return the innermost intervals: a left end followed at once by a right end.

    Exact ages are closed intervals, all others open on the left. Late entries count as right
    ends: mass on either side of one is told apart.
    """
    count = len(lives.lower)
    exact = lives.lower == lives.upper
    age = np.concatenate([lives.lower, lives.upper, lives.entries()])
    rank = np.concatenate([np.where(exact, 0, 2), np.ones(2 * count, dtype=int)])
    order = np.lexsort((rank, age))
    left = order < count
    start = np.flatnonzero(left[:-1] & ~left[1:])
    place = np.empty(len(age), dtype=np.intp)
    place[order] = np.arange(len(age))
    ends = np.searchsorted(start + 1, place[count:], side="right")
    return _Stretches(
        since=age[order[start]],
        until=age[order[start + 1]],
        first=np.searchsorted(start, place[:count], side="left"),
        last=ends[:count],
        entered=ends[count:],
        weight=lives.weights(),
    )


def _self_consistent(lives: LifeArrays, confidence: float) -> SurvivalSteps:
    stretches = _find_stretches(lives)
    mass = _settle_mass(stretches)
    mass = np.where(mass * stretches.weight.sum() > NOTHING, mass, 0.0)
    survival = np.clip(1.0 - np.cumsum(mass / mass.sum()), 0.0, 1.0)
    low, high = _bound_steps(survival, _deviations(stretches, mass), confidence)
    kept = np.isfinite(stretches.until) & (mass > 0.0)
    return SurvivalSteps(
        since=stretches.since[kept],
        time=stretches.until[kept],
        survival=survival[kept],
        low=low[kept],
        high=high[kept],
        confidence=float(confidence),
    )


def _settle_mass(stretches: _Stretches) -> Floats:
    """Return the mass of each stretch when the rounds no longer move it.

    Two rounds give a direction in which a longer step is tried (squared extrapolation); a round
    of its own follows, and where that doesn't reach a higher likelihood the short step stands.
    """
    count = len(stretches.since)
    mass = _renew(stretches, np.full(count, 1.0 / count))
    for _ in range(MOST_ROUNDS // 3):
        once = _renew(stretches, mass)
        twice = _renew(stretches, once)
        if float(np.max(np.abs(np.cumsum(twice - once)))) < SETTLED:
            return twice
        mass = _leap(stretches, mass, once, twice)
    return mass


def _leap(stretches: _Stretches, mass: Floats, once: Floats, twice: Floats) -> Floats:
    step, bend = once - mass, twice - 2.0 * once + mass
    reach = max(1.0, float(np.sqrt(np.sum(step**2) / max(np.sum(bend**2), 1e-300))))
    far = np.maximum(mass + 2.0 * reach * step + reach**2 * bend, 0.1 * twice)
    far = _renew(stretches, far / far.sum())
    return far if _height(stretches, far) >= _height(stretches, twice) else twice


def _renew(stretches: _Stretches, mass: Floats) -> Floats:
    """Return the masses of the hazards: expected failures over expected lives at risk."""
    size = len(mass)
    pull = stretches.weight / _chances(stretches, mass)[0]
    spread = np.bincount(stretches.first, pull, size + 1) - np.bincount(
        stretches.last, pull, size + 1
    )
    died = mass * np.maximum(np.cumsum(spread)[:size], 0.0)
    entered = np.cumsum(np.bincount(stretches.entered, stretches.weight, size + 1))[:size]
    at_risk = entered - np.concatenate([[0.0], np.cumsum(died)[:-1]])
    hazard = np.clip(died / np.maximum(at_risk, 1e-300), 0.0, 1.0)
    alive = np.concatenate([[1.0], np.cumprod(1.0 - hazard)[:-1]])
    return np.asarray(hazard * alive)


def _chances(stretches: _Stretches, mass: Floats) -> tuple[Floats, Floats]:
    """Return the chance of what was seen of each life, and of its reaching its entry."""
    total = np.concatenate([[0.0], np.cumsum(mass)])
    seen = total[stretches.last] - total[stretches.first]
    return np.maximum(seen, 1e-300), np.maximum(total[-1] - total[stretches.entered], 1e-300)


def _height(stretches: _Stretches, mass: Floats) -> float:
    seen, reached = _chances(stretches, mass)
    return float(np.sum(stretches.weight * (np.log(seen) - np.log(reached))))


def _deviations(stretches: _Stretches, mass: Floats) -> Floats:
    """Return the standard error of the survival after each stretch, by the observed information."""
    active = np.flatnonzero(mass > 0.0)
    if len(active) < 2:
        return np.zeros(len(mass))
    seen, reached = _chances(stretches, mass)
    inside = (stretches.first[:, None] <= active) & (active < stretches.last[:, None])
    beyond = stretches.entered[:, None] <= active
    information = _square_of(inside, stretches.weight / seen**2)
    information -= _square_of(beyond, stretches.weight / reached**2)
    covariance = np.linalg.pinv(information, rcond=1e-10, hermitian=True)
    below = (active[:-1] <= np.arange(len(mass))[:, None]).astype(np.float64)
    last = np.arange(len(mass)) >= active[-1]
    variance = np.einsum("si,ij,sj->s", below, covariance, below)
    return np.where(last, 0.0, np.sqrt(np.maximum(variance, 0.0)))


def _square_of(member: Bools, weight: Floats) -> Floats:
    """Return the information about the masses but the last, which is one less their sum."""
    rows = member[:, :-1].astype(np.float64) - member[:, -1:]
    return np.asarray(rows.T @ (weight[:, None] * rows))


def _bound_steps(survival: Floats, error: Floats, confidence: float) -> tuple[Floats, Floats]:
    """Return pointwise bounds of a survival on the log-minus-log scale."""
    inside = (survival > 0.0) & (survival < 1.0)
    safe = np.where(inside, survival, 0.5)
    reach = float(special.ndtri(0.5 + 0.5 * confidence)) * error / (safe * -np.log(safe))
    low, high = safe ** np.exp(reach), safe ** np.exp(-reach)
    return np.where(inside, low, survival), np.where(inside, high, survival)
