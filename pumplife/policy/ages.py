"""Ages at which a side has come to a hazard, and ladders of ages between two of them."""

from __future__ import annotations

import numpy as np

from pumplife.policy.pump import LOG_TIME_SPAN, FloatArray, SideLife, count_draws
from pumplife.weibull.draws import LifeDraws

SETTLED = 1e-12  # of the log of an age that is solved for
MOST_STEPS = 60  # of Newton's, or halvings, until then
DYING = 40.0  # cumulative hazard beyond which a side is as good as dead: survival below 1e-17


def time_at_hazard(side: SideLife, target: float, draws: int) -> FloatArray:
    """Age [usage] at which the side's cumulative hazard passes `target`, per draw (draws,).

    By Newton's steps for the logarithm of the hazard against that of the age, a straight line
    where one Weibull part is alone, and by halving where a step leads astray: out of what is known
    to enclose the age, or around in circles, no shorter than half the step before.
    """
    low, log_age = _begin_search(side, target, draws)
    high, step = np.full((1, draws), LOG_TIME_SPAN), np.full((1, draws), np.inf)
    for _ in range(MOST_STEPS):
        cumulative, hazard = side.evaluate(np.exp(log_age))
        beyond = ~(cumulative < target)
        high, low = np.where(beyond, log_age, high), np.where(beyond, low, log_age)
        with np.errstate(all="ignore"):
            rise = np.exp(log_age) * hazard.sum(axis=1) / cumulative
            found = log_age - np.log(cumulative / target) / rise
        astray = ~((found >= low) & (found <= high))
        astray |= np.abs(found - log_age) > np.maximum(0.5 * step, SETTLED)
        found = np.where(astray, 0.5 * (low + high), found)
        step = np.abs(found - log_age)
        log_age = found
        if step.max() < SETTLED:
            break
    return np.asarray(np.exp(np.where(high - low > 2.0 * SETTLED, log_age, low)[0]))


def _begin_search(side: SideLife, target: float, draws: int) -> tuple[FloatArray, FloatArray]:
    """Logs of an age before that of `target`, and of one near it, (1, draws) each.

    Near it the first part alone would come to the target, by wear or by early lives alone; before
    it no part comes to its share, nor either of the two to half of that.
    """
    lives = side.lives
    if not isinstance(lives, LifeDraws):
        return np.full((1, draws), -LOG_TIME_SPAN), np.zeros((1, draws))

    def first(wear: FloatArray) -> FloatArray:
        worn = np.log(wear) / lives.shape + np.log(lives.scale)
        early = np.log(-lives.early_scale * np.log1p(np.expm1(-wear) / lives.early_share))
        ages = np.fmin(worn, early).min(axis=0)
        return np.asarray(np.clip(ages, -LOG_TIME_SPAN, LOG_TIME_SPAN)[None])

    with np.errstate(all="ignore"):
        near = target / side.count[:, None]
        before = -np.log1p(0.5 * np.expm1(-near / side.count.size))
        return first(before), first(near)


def shared_times(side: SideLife, *, panels: int = 96) -> FloatArray:
    """One ladder of ages for all draws, even in log time, (panels + 1, 1) [usage].

    It runs from where hardly a draw has a failure to where hardly a draw has a survivor.
    """
    draws = count_draws(side)
    low = float(np.quantile(time_at_hazard(side, 1e-6, draws), 0.05))
    high = float(np.max(time_at_hazard(side, 30.0, draws)))
    return np.asarray(np.geomspace(low, high, panels + 1)[:, None])


def own_times(side: SideLife, *, panels: int = 240) -> FloatArray:
    """A ladder of ages for each draw, dense where the side dies, (panels + 1, draws) [usage]."""
    draws = count_draws(side)
    low = np.log(time_at_hazard(side, 1e-8, draws))
    high = np.log(time_at_hazard(side, DYING, draws))
    coarse = low + np.linspace(0.0, 1.0, 4 * panels + 1)[:, None] * (high - low)
    wear = np.log(np.maximum(side.evaluate(np.exp(coarse))[0], 1e-9))
    effort = (coarse - low) / (high - low) + (wear - wear[0]) / (wear[-1] - wear[0])
    effort *= 0.5 * (1.0 - 1e-12)
    lane = np.arange(draws)
    wanted = np.linspace(0.0, 1.0 - 1e-12, panels + 1)[:, None] + lane
    ladder = np.interp(wanted.T.ravel(), (effort + lane).T.ravel(), coarse.T.ravel())
    ladder = np.exp(ladder.reshape(draws, panels + 1).T)
    return np.asarray(np.maximum.accumulate(ladder, axis=0))
