"""Breakdowns with no part named, shared among the parts that could have failed."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pumplife.errors import RecordError
from pumplife.weibull.arrays import (
    Bools,
    Floats,
    Ints,
    LifeArrays,
    check_lives,
    find_groups,
    sum_by,
)
from pumplife.weibull.estimate import fit_weibull

CLOSE = 1e-4  # shares that move less than this have settled
PRIOR_FAILURES = 0.1  # keeps the rate of a group without a named failure above zero


def share_masked(
    lower: ArrayLike,
    upper: ArrayLike,
    entry: ArrayLike | None = None,
    weight: ArrayLike | None = None,
    *,
    group: Sequence[Any] | NDArray[Any],
    event: ArrayLike,
    other_rate: ArrayLike | None = None,
    iterations: int = 30,
) -> Floats:
    """Return the chance that each candidate was the part that failed.

    In one event exactly one candidate failed, at its age `lower` (or, where its upper is finite,
    between the two), and the others were suspended there. The chances are the candidates' failure
    rates at that age, from fits that count each candidate as failed with its chance and as
    suspended with the rest, repeated until no chance moves by more than 1e-4.

    Parameters
    ----------
    lower, upper, entry, weight : arrays (rows,)
        Lives, as for fit_weibull; a candidate of age 0 needs a finite upper.
    group : sequence (rows,)
        Labels of the groups that are fitted together.
    event : array (rows,) of int
        Number of the masked breakdown of which the row is a candidate; below 0 for named lives.
    other_rate : array (rows,) [1/usage]
        Failure rate of candidates that are not among the rows, the same for all rows of an event:
        parts whose age isn't known. 0 when left out.
    iterations : int
        Most rounds.

    Returns
    -------
    array (rows,)
        Chances that sum to 1 over each event, or to less by the chance of its other candidates;
        0 for named lives.

    Notes
    -----
    A group without an estimate takes a constant rate, its failures over its exposure.
    """
    lives = check_lives(lower, upper, entry, weight)
    events = np.asarray(event)
    if events.shape != lives.lower.shape:
        raise RecordError(f"event has shape {events.shape}: give one per life, {len(lives.lower)}.")
    shares = np.zeros(len(lives.lower))
    rows = np.flatnonzero(events >= 0)
    if len(rows):
        groups = find_groups(group, len(shares))
        code = _code_of_rows(groups.order, groups.code)
        other = np.zeros(len(shares)) if other_rate is None else np.asarray(other_rate, float)
        _, number = np.unique(events[rows], return_inverse=True)
        shares[rows] = _settle(lives, rows, code, (number, other[rows]), iterations)
    return shares


def _settle(
    lives: LifeArrays,
    rows: Ints,
    code: Ints,
    beside: tuple[NDArray[Any], Floats],
    iterations: int,
) -> Floats:
    """Return the chances of the candidates once fits and chances agree."""
    age = _failure_age(lives, rows)
    both, both_code = _double(lives, rows, code)
    named = np.ones(len(lives.lower), dtype=bool)
    named[rows] = False
    chance = _shares(np.log(_constant_rates(lives, named, code)[code[rows]]), *beside)
    for _ in range(iterations):
        counts = _count(lives, rows, chance)
        better = _shares(_log_rates(both, counts, both_code, code[rows], age), *beside)
        moved = float(np.max(np.abs(better - chance)))
        chance = better
        if moved < CLOSE:
            break
    return chance


def _code_of_rows(order: Ints | None, code: Ints) -> Ints:
    """Return the group number of each row as the caller gave them."""
    if order is None:
        return code
    back = np.empty_like(code)
    back[order] = code
    return back


def _failure_age(lives: LifeArrays, rows: Ints) -> Floats:
    low, high = lives.lower[rows], lives.upper[rows]
    age = np.where(np.isfinite(high), 0.5 * (low + np.where(np.isfinite(high), high, low)), low)
    if (age <= 0.0).any():
        row = int(rows[int(np.argmax(age <= 0.0))])
        raise RecordError(
            f"Row {row}: a breakdown with no part named has a candidate of age 0: give its upper "
            "as the age by which it had failed."
        )
    return age


def _double(lives: LifeArrays, rows: Ints, code: Ints) -> tuple[LifeArrays, Ints]:
    """Return all lives, candidates as failed, and the candidates once more as suspended."""
    fails_at = np.where(np.isfinite(lives.upper[rows]), lives.upper[rows], lives.lower[rows])
    upper = lives.upper.copy()
    upper[rows] = fails_at
    entry = lives.entries()
    both = LifeArrays(
        lower=np.concatenate([lives.lower, lives.lower[rows]]),
        upper=np.concatenate([upper, np.full(len(rows), np.inf)]),
        entry=np.concatenate([entry, entry[rows]]),
        weight=None,
    )
    return both, np.concatenate([code, code[rows]])


def _count(lives: LifeArrays, rows: Ints, chance: Floats) -> Floats:
    """Return the weights of the doubled lives for given chances."""
    weight = lives.weights()
    counted = weight.copy()
    counted[rows] *= chance
    return np.concatenate([counted, weight[rows] * (1.0 - chance)])


def _constant_rates(lives: LifeArrays, named: Bools, code: Ints) -> Floats:
    """Return named failures over exposure of each group, never quite zero."""
    count = int(code.max()) + 1
    weight = lives.weights()
    failed = named & np.isfinite(lives.upper)
    return _rates(
        sum_by(code, weight * failed, count),
        sum_by(code, weight * (lives.lower - lives.entries()), count),
    )


def _rates(failures: Floats, exposure: Floats) -> Floats:
    total = max(float(exposure.sum()), 1e-300)
    typical = max(float(failures.sum()), 1.0) / total
    return (failures + PRIOR_FAILURES) / (exposure + PRIOR_FAILURES / typical)


def _log_rates(both: LifeArrays, counts: Floats, code: Ints, wanted: Ints, age: Floats) -> Floats:
    """Return the log failure rate of each candidate at its age."""
    fit = fit_weibull(both.lower, both.upper, both.entry, counts, group=code, bounds="wald")
    exposure = sum_by(code, counts * (both.lower - both.entries()), len(fit.shape))
    constant = np.log(_rates(np.asarray(fit.failures), exposure))
    shape, scale = fit.shape[wanted], fit.scale[wanted]
    with np.errstate(invalid="ignore", divide="ignore"):
        wear = np.log(shape) - np.log(scale) + (shape - 1.0) * (np.log(age) - np.log(scale))
    return np.where(fit.reason[wanted] == "", wear, constant[wanted])


def _shares(log_rate: Floats, number: NDArray[Any], other: Floats) -> Floats:
    """Return rates as shares of their event's sum, other candidates included."""
    count = int(number.max()) + 1
    top = np.full(count, -np.inf)
    np.maximum.at(top, number, log_rate)
    rate = np.exp(log_rate - top[number])
    with np.errstate(over="ignore"):
        beside = other * np.exp(-top[number])
    return np.asarray(rate / (np.bincount(number, rate, count)[number] + beside))
