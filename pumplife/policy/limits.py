"""Limits that an interval has to keep, whatever it costs: release of fluid, maker, law."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy import optimize

from pumplife.policy.ladder import WIDEST, integrate_ladder, ladder_ends
from pumplife.policy.pump import FloatArray, Life, SideIntegrals, SideLife, integrate_to
from pumplife.weibull.draws import LifeDraws

MAKER = "maker's or legal limit"
RELEASE = "release of fluid"
WEAR_RELEASE = "release of fluid by wear"
OWN_RELEASE = "release of fluid, by its own failures alone"
OWN_WEAR_RELEASE = "release of fluid by wear, by its own failures alone"
ALONE = {RELEASE: OWN_RELEASE, WEAR_RELEASE: OWN_WEAR_RELEASE}


def release_limit(
    side: SideLife, releasing: NDArray[np.bool_], target: float, confidence: float = 0.95
) -> float:
    """Longest interval within which a releasing part fails with probability <= target [usage].

    The probability holds at the one-sided posterior bound `confidence`.  0 means that no
    interval can be held to it: where many parts fail soon after fitting, only renewing so often
    would meet the target that a longer interval would release less a year.
    """
    exposed = _only(side, np.asarray(releasing, bool))

    def excess(log_age: float) -> float:
        """Log of the bound over the target: nearly a straight line, which is soon solved."""
        failed = 1.0 - exposed.live_through(np.exp(np.array([[log_age]])))[0][0]
        return float(np.log(max(np.quantile(failed, confidence), 1e-300) / target))

    low, high = np.log(ladder_ends(exposed))
    if excess(high) <= 0.0:
        return np.inf
    if excess(low) < 0.0:
        low = optimize.brentq(excess, low, high, xtol=1e-11)
    limit = float(np.exp(low))
    return limit if _wears_out(exposed) or _releases_least(exposed, limit) else 0.0


def _wears_out(side: SideLife) -> bool:
    """Whether the hazard never falls with age: then no longer interval releases less a year."""
    lives = side.lives
    return isinstance(lives, LifeDraws) and not (
        np.any(lives.shape < 1.0) or np.any(lives.early_share > 0.0)
    )


def _releases_least(side: SideLife, limit: float) -> bool:
    """Whether no longer interval fails less a year; in plain cases wide steps say so."""
    for widest, doubt in ((4.0 * WIDEST, 1e-2), (WIDEST, 1e-9)):
        known = integrate_ladder(side, widest=widest)
        longer = _releases(known)[known.times[:, 0] > limit]
        here = _releases(integrate_to(side, known, np.array([limit])))[0]
        if here > longer.min() * (1.0 + doubt):
            return False
    return True


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
