"""Could these lives be Weibull at all? A test by simulated sets, many groups at once."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pumplife.weibull.arrays import (
    Floats,
    Groups,
    Ints,
    LifeArrays,
    check_lives,
    find_groups,
    keep_groups,
    sort_lives,
    sum_by,
)
from pumplife.weibull.estimate import fit_weibull
from pumplife.weibull.likelihood import build_log_lives, evaluate
from pumplife.weibull.newton import climb_pairs
from pumplife.weibull.watch import observe, plan_watch

FEWEST = 8.0  # failures below which a group is not tested
FIRST_SETS = 59  # simulated sets for every group
MORE_SETS = 240  # and for those whose fit is not clearly fine
CLEARLY_FINE = 0.25  # p-value from which the first sets are enough
MOST_LIVES = 200  # of a group that the simulated sets repeat
WILD = 4.6  # log of shapes (0.01 to 100) beyond which a simulated set has no fit
LONGEST = 1e12  # cumulated hazard beyond which nothing changes
MOST_ROWS = 400_000  # simulated at once, which bounds the memory


def check_goodness(
    lower: ArrayLike,
    upper: ArrayLike,
    entry: ArrayLike | None = None,
    weight: ArrayLike | None = None,
    *,
    group: Sequence[Any] | NDArray[Any],
    seed: int = 1,
) -> Floats:
    """Return the p-value of each group: how often a Weibull would fit its own lives as badly.

    The distance between lives and fit is Anderson-Darling's on the share of the expected failures
    that were due by each failure's age: the sum of the fitted hazards of all lives then under
    watch, over the sum at the end. It reads suspensions, late entry and weights; a life that
    failed between two ages stands where the fit halves its chance. The distance is compared with
    those of simulated sets, each fitted anew: lives of the fitted Weibull under the watch that
    `plan_watch` describes.

    Parameters
    ----------
    lower, upper, entry, weight : arrays (rows,)
        Lives, as for fit_weibull.
    group : sequence (rows,)
        Labels, in any order.
    seed : int

    Returns
    -------
    array (groups,)
        p-values over the sorted distinct labels; NaN with fewer than 8 failures or no estimate.

    Notes
    -----
    59 sets for every group, 240 more where the p-value of the first is under 0.25. Of a group with
    more than 200 lives, the sets repeat the watch of 200 drawn at random: by then the distance has
    settled. The estimated parameters, not any table, set the p-value [1]_ [2]_.

    References
    ----------
    .. [1] W. Stute, W. Gonzalez Manteiga, M. Presedo Quindimil, "Bootstrap based goodness-of-fit
       tests", Metrika 40, 1993 (from memory).
    .. [2] R. E. Barlow, R. Campo, "Total time on test processes and applications to failure data
       analysis", in Reliability and Fault Tree Analysis, SIAM, 1975 (from memory).
    """
    lives = check_lives(lower, upper, entry, weight)
    lives, groups = sort_lives(lives, find_groups(group, len(lives.lower)))
    fit = _fit(lives, groups.code, len(groups.labels))
    failures = sum_by(groups.code, lives.weights() * np.isfinite(lives.upper), len(groups.labels))
    tested = np.isfinite(fit).all(axis=0) & (fit > 0.0).all(axis=0) & (failures >= FEWEST)
    tested &= np.abs(np.log(np.where(tested, fit[0], 1.0))) < WILD
    chance = np.full(len(groups.labels), np.nan)
    if not tested.any():
        return chance
    lives, groups = keep_groups(lives, groups, tested)
    shape, scale = fit[:, tested]
    distance = _distances(lives, groups.code, shape, scale)
    generator = np.random.default_rng(seed)
    lives, groups = _thin(lives, groups, generator)
    worse, valid = _simulate(lives, groups, (shape, scale, distance), FIRST_SETS, generator)
    again = (1.0 + worse) / (1.0 + valid) < CLEARLY_FINE
    if again.any():
        some = keep_groups(lives, groups, again)
        known = shape[again], scale[again], distance[again]
        more = _simulate(*some, known, MORE_SETS, generator)
        worse[again] += more[0]
        valid[again] += more[1]
    chance[tested] = (1.0 + worse) / (1.0 + valid)
    return chance


def _fit(lives: LifeArrays, code: Ints, count: int) -> Floats:
    """Return shape and scale (2, count) of each group number; NaN without rows or estimate."""
    fit = fit_weibull(lives.lower, lives.upper, lives.entry, lives.weight, group=code,
                      bounds="wald")  # fmt: skip
    found = np.full((2, count), np.nan)
    found[:, np.asarray(fit.labels, dtype=np.intp)] = fit.shape, fit.scale
    return found


def _refit(lives: LifeArrays, code: Ints, shape: Floats, scale: Floats) -> Floats:
    """Return shape and scale (2, groups) of sets drawn from the given ones: a climb from there.

    NaN where a set has no summit near by. Rows are sorted by code; every group has rows.
    """
    size = np.bincount(code).astype(np.intp)
    start = (np.cumsum(size) - size).astype(np.intp)
    logs = build_log_lives(
        lives, Groups(labels=np.arange(len(size)), order=None, code=code, start=start, size=size)
    )

    def look(place: Floats) -> tuple[Floats, Floats, Floats]:
        with np.errstate(over="ignore", invalid="ignore"):
            point = evaluate(logs, place[:, 0], np.exp(place[:, 1]))
        bend = np.array([[point.theta2, point.cross], [point.cross, point.shape2]])
        slope = np.column_stack([point.by_theta, point.by_shape])
        return np.nan_to_num(point.value, nan=-np.inf), slope, np.moveaxis(bend, 2, 0)

    theta = shape * (logs.log_unit - np.log(scale))
    start_at = np.column_stack([theta, np.log(shape)])
    place, _, arrived = climb_pairs(look, start_at, _largest_step, settled=1e-7)
    found = np.exp(place[:, 1])
    with np.errstate(over="ignore", under="ignore", divide="ignore"):
        unit = np.exp(logs.log_unit - place[:, 0] / found)
    arrived &= (np.abs(place[:, 1]) < WILD) & (unit > 0.0) & np.isfinite(unit)
    return np.where(arrived, np.array([found, unit]), np.nan)


def _largest_step(place: Floats) -> Floats:
    return np.broadcast_to(np.array([2.0, 0.5]), place.shape)


def _thin(
    lives: LifeArrays, groups: Groups, generator: np.random.Generator
) -> tuple[LifeArrays, Groups]:
    """Return at most MOST_LIVES lives of every group, drawn at random."""
    order = np.lexsort((generator.random(len(groups.code)), groups.code))
    rank = np.empty_like(order)
    rank[order] = np.arange(len(order))
    kept = rank - groups.start[groups.code] < MOST_LIVES
    code = groups.code[kept]
    size = np.minimum(groups.size, MOST_LIVES).astype(np.intp)
    start = (np.cumsum(size) - size).astype(np.intp)
    smaller = Groups(labels=groups.labels, order=None, code=code, start=start, size=size)
    return lives.take(kept), smaller


def _simulate(
    lives: LifeArrays,
    groups: Groups,
    known: tuple[Floats, Floats, Floats],
    sets: int,
    generator: np.random.Generator,
) -> tuple[Floats, Floats]:
    """Return how many sets lie at least as far from their fit, and how many had one."""
    shape, scale, distance = known
    count = len(shape)
    watch = plan_watch(lives, groups)
    at_once = max(1, MOST_ROWS // len(groups.code))
    worse, valid = np.zeros((2, count))
    for first in range(0, sets, at_once):
        some = min(at_once, sets - first)
        drawn, code = observe(watch, shape, scale, some, generator)
        fits = _refit(drawn, code, np.tile(shape, some), np.tile(scale, some))
        far = _distances(drawn, code, *fits).reshape(some, count)
        worse += (np.isfinite(far) & (far >= distance)).sum(axis=0)
        valid += np.isfinite(far).sum(axis=0)
    return worse, valid


def _distances(lives: LifeArrays, code: Ints, shape: Floats, scale: Floats) -> Floats:
    """Return Anderson-Darling's distance of each group number from its fit; NaN without one."""
    count = len(shape)
    fitted = np.isfinite(shape)[code]
    if not fitted.all():
        lives, code = lives.take(fitted), code[fitted]
    hazard, entered = _to_hazards(lives, shape[code], scale[code])
    weight = lives.weights()
    due = _due_by(hazard, (hazard, code), weight, count)
    late = np.flatnonzero(entered > 0.0)
    if len(late):
        due -= _due_by(hazard, (entered[late], code[late]), weight[late], count, at=code)
    total = sum_by(code, weight * (hazard - entered), count)
    failed = np.flatnonzero(np.isfinite(lives.upper))
    share = due[failed] / total[code[failed]]
    distance = _anderson_darling(share, code[failed], weight[failed], count)
    return np.where(np.isfinite(shape), distance, np.nan)


def _to_hazards(lives: LifeArrays, shape: Floats, scale: Floats) -> tuple[Floats, Floats]:
    """Return the cumulated hazards of the fit at the age that each life reached, and at entry.

    A failure between two ages stands where its chance of having happened is one half.
    """
    reached, late = (_cumulate(age, shape, scale) for age in (lives.lower, lives.entries()))
    between = np.flatnonzero((lives.lower < lives.upper) & np.isfinite(lives.upper))
    if len(between):
        end = _cumulate(lives.upper[between], shape[between], scale[between])
        reached[between] -= np.log1p(0.5 * np.expm1(reached[between] - end))
    return reached, late


def _cumulate(age: Floats, shape: Floats, scale: Floats) -> Floats:
    with np.errstate(over="ignore"):
        return np.asarray(np.minimum((age / scale) ** shape, LONGEST))


def _due_by(
    wanted: Floats,
    lived: tuple[Floats, Ints],
    weight: Floats,
    count: int,
    at: Ints | None = None,
) -> Floats:
    """Return the sum over a group's lives of min(their hazard, the hazard wanted) per row wanted.

    lived holds the lives' hazards and group numbers; at the group numbers of the rows wanted,
    the lives' own when left out.
    """
    hazard, code = lived
    key = code + 0.999 * hazard / (1.0 + hazard)
    order = np.argsort(key)
    place = code if at is None else at
    found = np.searchsorted(key[order], place + 0.999 * wanted / (1.0 + wanted), side="right")
    size = np.bincount(code, minlength=count)
    end = np.cumsum(size)
    below = np.concatenate([[0.0], np.cumsum((weight * hazard)[order])])
    lives = np.concatenate([[0.0], np.cumsum(weight[order])])
    passed = below[found] - below[(end - size)[place]]
    return np.asarray(passed + wanted * (lives[end[place]] - lives[found]))


def _anderson_darling(share: Floats, code: Ints, weight: Floats, count: int) -> Floats:
    """Return the distance of weighted shares from evenly spread ones, per group number.

    The integral of (F - u)^2 / (u (1 - u)) over u from 0 to 1, times the failures, with F the
    share of the failures at or below u. A share of 1 stands half a failure below it.
    """
    order = np.argsort(code + 0.999 * share)
    share, code, weight = share[order], code[order], weight[order]
    total = sum_by(code, weight, count)
    cumulated = np.cumsum(weight)
    size = np.bincount(code, minlength=count)
    before = np.concatenate([[0.0], cumulated])[np.cumsum(size) - size]
    after = np.clip((cumulated - before[code]) / total[code], 0.0, 1.0)
    prior = np.clip(after - weight / total[code], 0.0, 1.0)
    margin = 0.5 / np.maximum(total[code], 1.0)
    inside = np.clip(share, 1e-12, 1.0 - margin)
    terms = np.log(inside) * (prior**2 - after**2)
    terms -= np.log1p(-inside) * ((1.0 - prior) ** 2 - (1.0 - after) ** 2)
    return np.asarray(total * (sum_by(code, terms, count) - 1.0))
