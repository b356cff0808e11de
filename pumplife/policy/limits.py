"""Limits that an interval has to keep, whatever it costs: release of fluid, maker, law."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy import optimize

from pumplife.policy.ages import time_at_hazard
from pumplife.policy.ladder import WIDEST, integrate_ladder
from pumplife.policy.pump import (
    LOG_TIME_SPAN,
    FloatArray,
    Life,
    SideIntegrals,
    SideLife,
    count_draws,
    integrate_to,
)
from pumplife.weibull.draws import LifeDraws

MAKER = "maker's or legal limit"
RELEASE = "release of fluid"
WEAR_RELEASE = "release of fluid by wear"
OWN_RELEASE = "release of fluid, by its own failures alone"
OWN_WEAR_RELEASE = "release of fluid by wear, by its own failures alone"
CLEARLY = 1e-3  # fewer releases a year by less than this share are as good as none fewer
LONGEST, AGES = 100.0, 12  # ages looked at first, up to so many times the limit
HARDLY = 1e-12  # of the limit: no side runs so little
ALONE = {RELEASE: OWN_RELEASE, WEAR_RELEASE: OWN_WEAR_RELEASE}


def release_limit(
    side: SideLife, releasing: NDArray[np.bool_], target: float, confidence: float = 0.95
) -> float:
    """Longest interval within which a releasing part fails with probability <= target [usage].

    The probability holds at the one-sided posterior bound `confidence`.  0 means that no
    interval can be held to it: where many parts fail soon after fitting, only renewing so often
    would meet the target that a longer interval would release less a year, by 0.1 % or more.
    """
    if not 0.0 < target < 1.0:
        return np.inf if target >= 1.0 else 0.0
    exposed = _only(side, np.asarray(releasing, bool))
    limit = _bound_reaches(exposed, target, confidence)
    if limit >= np.exp(LOG_TIME_SPAN - 1.0):
        return np.inf
    return limit if _wears_out(exposed) or _releases_least(exposed, limit) else 0.0


def _bound_reaches(side: SideLife, target: float, confidence: float) -> float:
    """Age at which the bound of the chance of a failure reaches the target [usage].

    It lies between the ages of two of the draws.
    """
    reached = np.sort(time_at_hazard(side, -np.log1p(-target), count_draws(side)))
    place = int((1.0 - confidence) * (reached.size - 1))
    low, high = np.log(reached[[place, min(place + 1, reached.size - 1)]])

    def excess(log_age: float) -> float:
        """Log of the bound over the target: nearly a straight line, which is soon solved."""
        failed = 1.0 - side.live_through(np.exp(np.array([[log_age]])))[0][0]
        return float(np.log(max(np.quantile(failed, confidence), 1e-300) / target))

    if excess(low) >= 0.0:
        return float(np.exp(low))
    if excess(high) <= 0.0:
        return float(np.exp(high))
    return float(np.exp(optimize.brentq(excess, low, high, xtol=1e-11)))


def _wears_out(side: SideLife) -> bool:
    """Whether the hazard never falls with age: then no longer interval releases less a year."""
    lives = side.lives
    return isinstance(lives, LifeDraws) and not (
        np.any(lives.shape < 1.0) or np.any(lives.early_share > 0.0)
    )


def _releases_least(side: SideLife, limit: float) -> bool:
    """Whether no longer interval fails clearly less a year; in plain cases bounds say so."""
    return not _surely_more(side, limit) and _no_longer_is_better(side, limit)


def _surely_more(side: SideLife, limit: float) -> bool:
    """Whether a side fails surely more a year at the limit than at some longer interval.

    By bounds that ask for no integral: it runs no longer than to the interval, and no shorter
    than this or a lesser interval times the chance to reach it.
    """
    ages = limit * np.geomspace(1.0, LONGEST, AGES)[:, None]
    alive = side.live_through(ages)[0]
    least = np.mean(1.0 - alive[0]) / limit
    run = np.maximum(alive * ages, np.maximum(alive[0], HARDLY) * limit)
    most = ((1.0 - alive) / run).mean(axis=1)
    return bool(most.min() * (1.0 + CLEARLY) < least)


def _no_longer_is_better(side: SideLife, limit: float) -> bool:
    """Whether no longer interval fails clearly less a year, by the integrals."""
    known = integrate_ladder(side, widest=2.0 * WIDEST)
    longer = _releases(known)[known.times[:, 0] > limit]
    here = _releases(integrate_to(side, known, np.array([limit])))[0]
    return bool(here <= longer.min() * (1.0 + CLEARLY))


def release_limits(
    side: SideLife,
    releasing: NDArray[np.bool_],
    target: float,
    confidence: float,
    *,
    alone: SideLife | None = None,
) -> dict[str, float]:
    """The limit on release, and that for wear alone where the first is out of reach [usage].

    Parameters
    ----------
    side : SideLife
    releasing : bool array (parts,)
        Parts whose failure releases fluid.
    target, confidence : float
        As for `release_limit`.
    alone : SideLife, optional
        The same side by its own failures alone, where `side` borrows from like services: limits
        by these lives stand beside, since a service harsher than all its like borrows too long a
        life.

    Returns
    -------
    dict of str to float
        Limit by its name [usage]; the strictest that can be kept is to be kept.
    """
    found = _limits_of(side, releasing, target, confidence)
    if alone is None:
        return found
    own = _limits_of(alone, releasing, target, confidence)
    return found | {ALONE[name]: value for name, value in own.items()}


def _limits_of(
    side: SideLife, releasing: NDArray[np.bool_], target: float, confidence: float
) -> dict[str, float]:
    limit = release_limit(side, releasing, target, confidence)
    if limit > 0.0:
        return {RELEASE: limit}
    worn = SideLife(lives=_without_early_lives(side), count=side.count)
    return {RELEASE: limit, WEAR_RELEASE: release_limit(worn, releasing, target, confidence)}


def _only(side: SideLife, some: NDArray[np.bool_]) -> SideLife:
    """The side with some of its parts."""
    if isinstance(side.lives, LifeDraws):
        return SideLife(lives=side.lives[some], count=side.count[some])
    return SideLife(lives=side.lives, count=side.count * some)


def _releases(at: SideIntegrals) -> FloatArray:
    """Expected failures per usage unit, mean over the draws, (times,)."""
    return np.asarray(((1.0 - at.survival) / at.uptime).mean(axis=1))


def _without_early_lives(side: SideLife) -> Life:
    """The lives with wear alone."""
    lives = side.lives
    if not isinstance(lives, LifeDraws):
        return lives
    return replace(lives, early_share=np.zeros_like(lives.early_share))


def apply_limits(cheapest: float, limits: dict[str, float]) -> tuple[float, str]:
    """The interval within the limits, and what decides it; a limit of 0 can't be kept."""
    kept = {name: value for name, value in limits.items() if 0.0 < value < cheapest}
    if not kept:
        return cheapest, "cost"
    name = min(kept, key=lambda key: kept[key])
    return kept[name], name
