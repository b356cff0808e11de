"""Lives, ages and planned ages drawn for the lanes of the fleet simulator."""

from __future__ import annotations

import numpy as np
from scipy import special

from pumplife.policy.simulate_way import BoolArray, FloatArray, PlannedAges
from pumplife.weibull.draws import LifeDraws


def draw_planned(planned: PlannedAges, clock: FloatArray, rng: np.random.Generator) -> FloatArray:
    """Planned age of each lane, given that its clock has come this far; past all of them: now."""
    if planned.ages.size == 1:
        return np.full(clock.size, planned.ages[0])
    order = np.argsort(planned.ages, kind="stable")
    ages, upto = planned.ages[order], np.cumsum(planned.weights[order])
    passed = np.searchsorted(ages, clock, side="right")
    below = np.where(passed > 0, upto[passed - 1], 0.0)
    pick = below + rng.random(clock.size) * (upto[-1] - below)
    row = np.minimum(np.searchsorted(upto, pick, side="right"), ages.size - 1)
    return np.asarray(ages[np.maximum(row, np.minimum(passed, ages.size - 1))])


def by_replicate(lives: LifeDraws) -> LifeDraws:
    """Lives (positions, replicates) turned to (replicates, positions), to take lanes from."""
    return LifeDraws(
        early_share=np.ascontiguousarray(lives.early_share.T),
        early_scale=np.ascontiguousarray(lives.early_scale.T),
        shape=np.ascontiguousarray(lives.shape.T),
        scale=np.ascontiguousarray(lives.scale.T),
    )


def draw_lives(parts: LifeDraws, rng: np.random.Generator) -> FloatArray:
    """Lives of new parts, one of each [usage]."""
    effort = rng.standard_exponential(parts.shape.shape)
    life = parts.scale * effort ** (1.0 / parts.shape)
    if not np.any(parts.early_share):
        return np.asarray(life)
    early = rng.random(life.shape) < parts.early_share
    return np.where(early, parts.early_scale * effort, life)


def draw_left(parts: LifeDraws, age: FloatArray, rng: np.random.Generator) -> FloatArray:
    """Usage left to parts that reached these ages, (lanes, positions), exactly."""
    if not np.any(age):
        return draw_lives(parts, rng)
    effort = rng.standard_exponential(age.shape)
    share = parts.early_share
    with np.errstate(over="ignore", under="ignore"):
        worn = (age / parts.scale) ** parts.shape
        left = parts.scale * (worn + effort) ** (1.0 / parts.shape) - age
        left = np.maximum(left, 0.0)
        if not np.any(share):
            return np.asarray(left)
        ratio = share / np.where(share < 1.0, 1.0 - share, 1e-300)
        odds = ratio * np.exp(np.minimum(worn - age / parts.early_scale, 700.0))
    early = rng.random(age.shape) < odds / (1.0 + odds)
    return np.where(early, parts.early_scale * effort, left)


def draw_ages(
    parts: LifeDraws,
    bounds: tuple[FloatArray, FloatArray],
    known: BoolArray,
    due: FloatArray,
    rng: np.random.Generator,
) -> FloatArray:
    """Ages of all positions, drawn from the stationary ages where they are not known.

    One uniform serves all positions of a lane: they were last renewed by the same kit.
    """
    least, most = bounds
    unsure = np.flatnonzero(~known.all(axis=1))
    top = np.where(due[unsure, None] > least[unsure], due[unsure, None], np.inf)
    top = np.maximum(np.minimum(top, most[unsure]), least[unsure])
    pick = np.broadcast_to(rng.random((2, unsure.size, 1)), (2, *top.shape))
    drawn = _stationary_age(parts[unsure], least[unsure], top, pick)
    ages = least.copy()
    ages[unsure] = np.where(known[unsure], least[unsure], drawn)
    return ages


def draw_settled_ages(parts: LifeDraws, rng: np.random.Generator) -> FloatArray:
    """Ages of positions that have been renewed one by one for ever, each by itself [usage].

    An even share of the life that is under way, which is met with a chance in proportion to its
    length: a gamma draw in the powers of a Weibull life.
    """
    share = rng.random(parts.shape.shape)
    life = parts.scale * rng.standard_gamma(1.0 + 1.0 / parts.shape) ** (1.0 / parts.shape)
    if not np.any(parts.early_share):
        return np.asarray(share * life)
    early = parts.early_share * parts.early_scale
    early_life = parts.early_scale * rng.standard_gamma(2.0, share.shape)
    met_early = rng.random(share.shape) * parts.mean() < early
    return np.asarray(share * np.where(met_early, early_life, life))


def _stationary_age(
    parts: LifeDraws, low: FloatArray, high: FloatArray, pick: FloatArray
) -> FloatArray:
    """Quantile of the age with density proportional to survival between `low` and `high`.

    The first row of `pick` chooses the age, the second between early lives and the others.
    """
    age = _truncated_age(parts.shape, parts.scale, low, high, pick[0])
    share, once = parts.early_share, np.ones_like(parts.shape)
    if not np.any(share):
        return age
    worn = (1.0 - share) * wear_area(parts.shape, parts.scale, low, high)
    early = share * wear_area(once, parts.early_scale, low, high)
    from_early = _truncated_age(once, parts.early_scale, low, high, pick[0])
    return np.where(pick[1] * (worn + early) < early, from_early, age)


def wear_area(
    shape: FloatArray, scale: FloatArray, low: FloatArray, high: FloatArray
) -> FloatArray:
    """Integral of Weibull survival from `low` to `high` [usage].

    With v = (t / scale)^shape it is a difference of incomplete gamma functions of 1 / shape.
    """
    with np.errstate(over="ignore", under="ignore"):
        upper = special.gammaincc(1.0 / shape, (low / scale) ** shape)
        lower = special.gammaincc(1.0 / shape, (high / scale) ** shape)
        return np.asarray(scale * special.gamma(1.0 + 1.0 / shape) * (upper - lower))


def _truncated_age(
    shape: FloatArray, scale: FloatArray, low: FloatArray, high: FloatArray, pick: FloatArray
) -> FloatArray:
    """Quantile `pick` of that age between `low` and `high` for one Weibull life."""
    with np.errstate(over="ignore", under="ignore", invalid="ignore"):
        upper = special.gammaincc(1.0 / shape, (low / scale) ** shape)
        lower = special.gammaincc(1.0 / shape, (high / scale) ** shape)
        wear = special.gammainccinv(1.0 / shape, upper + pick * (lower - upper))
        age = scale * wear ** (1.0 / shape)
    return np.clip(np.where(np.isfinite(age), age, low), low, high)
