"""Failures that nobody placed, shared among the parts that could have failed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
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
from pumplife.weibull.draws import LifeDraws
from pumplife.weibull.early import EarlyLives, find_early_lives
from pumplife.weibull.estimate import fit_weibull

CLOSE = 1e-4  # shares that move less than this have settled
PRIOR_FAILURES = 0.1  # keeps the rate of a group without a named failure above zero
EARLY_ROUNDS = 4  # most rounds in which early lives and shares settle with each other
EARLY_CLOSE = 5e-3  # shares that move less than this have settled with them


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class Candidates:
    """Lives of which one per event failed.

    Attributes
    ----------
    lower, upper : arrays (candidates,) [usage]
        The same where the candidate would have failed at that age, else between the two.
    event : array (candidates,)
        Number of the event, from 0 on.
    dated : array (candidates,) of bool
        Whether some candidate of the event has a known age, so that the failure has a known date
        and a candidate between two ages stands for a short time around it.
    """

    lower: Floats
    upper: Floats
    event: Ints
    dated: Bools

    def __repr__(self) -> str:
        return f"Candidates({len(self.lower)})"


def arrange_candidates(lower: Floats, upper: Floats, event: NDArray[Any]) -> Candidates:
    """Return candidates from their ages; an upper of inf is an exact age."""
    end = np.where(np.isfinite(upper), upper, lower)
    _, number = np.unique(event, return_inverse=True)
    exact = np.bincount(number, lower == end)[number] > 0
    return Candidates(
        lower=lower,
        upper=end,
        event=number.astype(np.intp),
        dated=exact,
    )


def log_odds(candidates: Candidates, life: LifeDraws) -> Floats:
    """Return the log of each candidate's chance of having failed over that of having survived.

    At a known age that is the failure rate f / S, between two ages (S(lower) - S(upper)) /
    S(upper), or the mean rate where the event is dated; life holds one value per candidate.
    """
    low, high = candidates.lower, candidates.upper
    end = _log_survival(high, life)
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        rate = _log_density(high, life) - end
        gap = np.maximum(_log_survival(low, life) - end, 1e-300)
        chance = np.where(gap > 30.0, gap, np.log(np.expm1(np.minimum(gap, 30.0))))
        mean = np.log(gap) - np.log(high - low)
    return np.where(low < high, np.where(candidates.dated, mean, chance), rate)


def _log_survival(age: Floats, life: LifeDraws) -> Floats:
    with np.errstate(divide="ignore"):
        wear = np.log1p(-life.early_share) - (age / life.scale) ** life.shape
        early = np.log(life.early_share) - age / life.early_scale
        return np.asarray(np.logaddexp(wear, early))


def _log_density(age: Floats, life: LifeDraws) -> Floats:
    with np.errstate(divide="ignore"):
        position = np.log(age) - np.log(life.scale)
        wear = np.log(life.shape) + life.shape * position - np.log(age)
        wear = wear - np.exp(life.shape * position) + np.log1p(-life.early_share)
        early = np.log(life.early_share) - np.log(life.early_scale) - age / life.early_scale
        return np.asarray(np.logaddexp(wear, early))


def share_masked(
    lower: ArrayLike,
    upper: ArrayLike,
    entry: ArrayLike | None = None,
    weight: ArrayLike | None = None,
    *,
    group: Sequence[Any] | NDArray[Any],
    event: ArrayLike,
    other_rate: ArrayLike | None = None,
    family: Sequence[Any] | NDArray[Any] | None = None,
    iterations: int = 30,
) -> Floats:
    """Return the chance that each candidate was the part that failed.

    In one event exactly one candidate failed, at its age `lower` (or, where its upper is finite,
    between the two), and the others survived it. The likelihood of an event is the sum over its
    candidates of f / S, times the survival of all [1]_. The chances are the terms of that sum,
    from fits that count each candidate as failed with its chance and as suspended with the rest,
    repeated until no chance moves by more than 1e-4: expectation and maximisation.

    Parameters
    ----------
    lower, upper, entry, weight : arrays (rows,)
        Lives, as for fit_weibull; a candidate of age 0 needs a finite upper.
    group : sequence (rows,)
        Labels of the groups that are fitted together.
    event : array (rows,) of int
        Number of the failure of which the row is a candidate; below 0 for named lives.
    other_rate : array (rows,) [1/usage]
        Failure rate of candidates that are not among the rows, the same for all rows of an event:
        parts whose age isn't known. 0 when left out.
    family : sequence (rows,), optional
        Families over whose groups early lives are looked for. Where they are found, the rates are
        those of wear and early lives together.
    iterations : int
        Most rounds.

    Returns
    -------
    array (rows,)
        Chances that sum to 1 over each event, or to less by the chance of its other candidates;
        0 for named lives.

    Notes
    -----
    A group without an estimate takes a constant rate, its failures over its exposure. Two
    candidates of one group and equal age share evenly; the likelihood is then that of one failure
    and one suspension, up to a constant.

    References
    ----------
    .. [1] J. S. Usher, T. J. Hodgson, "Maximum likelihood analysis of component reliability using
       masked system life-test data", IEEE Transactions on Reliability 37, 1988 (from memory).
    """
    lives = check_lives(lower, upper, entry, weight)
    events = np.asarray(event)
    if events.shape != lives.lower.shape:
        raise RecordError(f"event has shape {events.shape}: give one per life, {len(lives.lower)}.")
    shares = np.zeros(len(lives.lower))
    rows = np.flatnonzero(events >= 0)
    if len(rows):
        _refuse_age_zero(lives, rows)
        groups = find_groups(group, len(shares))
        other = np.zeros(len(shares)) if other_rate is None else np.asarray(other_rate, float)
        shared = _Shared(
            lives=lives,
            rows=rows,
            code=_code_of_rows(groups.order, groups.code),
            candidates=arrange_candidates(lives.lower[rows], lives.upper[rows], events[rows]),
            other=other[rows],
        )
        shares[rows] = _settle(shared, iterations)
        if family is not None:
            shares[rows] = _settle_early(shared, shares[rows], np.asarray(family))
    return shares


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class _Shared:
    """Lives, the rows that are candidates, every row's group number, other candidates' rates."""

    lives: LifeArrays
    rows: Ints
    code: Ints
    candidates: Candidates
    other: Floats

    def __repr__(self) -> str:
        return f"_Shared({len(self.rows)} of {len(self.code)} lives)"

    def doubled(self) -> tuple[LifeArrays, Ints]:
        """Return all lives, candidates as failed, then candidates as suspended; and their row."""
        lives, rows = self.lives, self.rows
        upper = lives.upper.copy()
        upper[rows] = self.candidates.upper
        both = LifeArrays(
            lower=np.concatenate([lives.lower, self.candidates.upper]),
            upper=np.concatenate([upper, np.full(len(rows), np.inf)]),
            entry=np.concatenate([lives.entries(), lives.entries()[rows]]),
            weight=None,
        )
        return both, np.concatenate([np.arange(len(self.code)), rows])

    def counts(self, chance: Floats) -> Floats:
        """Return the weights of the doubled lives for given chances."""
        weight = self.lives.weights()
        counted = weight.copy()
        counted[self.rows] *= chance
        return np.concatenate([counted, weight[self.rows] * (1.0 - chance)])

    def chances(self, life: LifeDraws) -> Floats:
        """Return odds as shares of their event's sum, other candidates included."""
        event = self.candidates.event
        odds = log_odds(self.candidates, life)
        count = int(event.max()) + 1
        top = np.full(count, -np.inf)
        np.maximum.at(top, event, odds)
        part = np.exp(odds - top[event])
        with np.errstate(over="ignore"):
            beside = self.other * np.exp(-top[event])
        return np.asarray(part / (np.bincount(event, part, count)[event] + beside))


def _refuse_age_zero(lives: LifeArrays, rows: Ints) -> None:
    bad = (lives.lower[rows] <= 0.0) & ~np.isfinite(lives.upper[rows])
    if bad.any():
        raise RecordError(
            f"Row {int(rows[int(np.argmax(bad))])}: a breakdown with no part named has a candidate "
            "of age 0: give its upper as the age by which it had failed."
        )


def _code_of_rows(order: Ints | None, code: Ints) -> Ints:
    """Return the group number of each row as the caller gave them."""
    if order is None:
        return code
    back = np.empty_like(code)
    back[order] = code
    return back


def _settle(shared: _Shared, iterations: int) -> Floats:
    """Return the chances of the candidates once fits and chances agree."""
    named = np.ones(len(shared.code), dtype=bool)
    named[shared.rows] = False
    rate = _constant_rates(shared.lives, named, shared.code)[shared.code[shared.rows]]
    chance = shared.chances(_wear_only(np.ones(len(rate)), 1.0 / rate))
    both, row = shared.doubled()
    for _ in range(iterations):
        life = _fit_wear(both, shared.counts(chance), shared.code[row])
        better = shared.chances(life[shared.code[shared.rows]])
        moved = float(np.max(np.abs(better - chance)))
        chance = better
        if moved < CLOSE:
            break
    return chance


def _settle_early(shared: _Shared, chance: Floats, family: NDArray[Any]) -> Floats:
    """Return the chances with the rates of early lives in families that have them."""
    both, row = shared.doubled()
    code, kind = shared.code[row], family[row]
    some = np.isin(kind, family[shared.rows])
    for _ in range(EARLY_ROUNDS):
        counts = shared.counts(chance)
        lives = both.take(some)
        early = find_early_lives(
            lives.lower, lives.upper, lives.entry, counts[some], group=code[some], family=kind[some]
        )
        if not early.found.any():
            break
        some = np.isin(kind, early.families[early.found])  # the others wear only
        life = _with_early(_fit_wear(both, counts, code), early)
        better = shared.chances(life[shared.code[shared.rows]])
        moved = float(np.max(np.abs(better - chance)))
        chance = better
        if moved < EARLY_CLOSE:
            break
    return chance


def _with_early(wear: LifeDraws, early: EarlyLives) -> LifeDraws:
    """Return the lives of all groups with the early ones that were found in some."""
    found = early.found[early.group_family] & np.isfinite(early.shape)
    where, of = early.groups[found], early.group_family[found]
    values = {name: getattr(wear, name).copy() for name in ("early_share", "early_scale",
                                                            "shape", "scale")}  # fmt: skip
    values["early_share"][where] = early.share[of]
    values["early_scale"][where] = early.early_scale[of]
    values["shape"][where], values["scale"][where] = early.shape[found], early.scale[found]
    return LifeDraws(**values)


def _wear_only(shape: Floats, scale: Floats) -> LifeDraws:
    return LifeDraws(
        early_share=np.zeros_like(shape), early_scale=np.ones_like(shape), shape=shape, scale=scale
    )


def _fit_wear(both: LifeArrays, counts: Floats, code: Ints) -> LifeDraws:
    """Return the wear of each group; a constant rate where it has no estimate."""
    fit = fit_weibull(both.lower, both.upper, both.entry, counts, group=code, bounds="wald")
    exposure = sum_by(code, counts * (both.lower - both.entries()), len(fit.shape))
    constant = 1.0 / _rates(np.asarray(fit.failures), exposure)
    known = fit.reason == ""
    return _wear_only(np.where(known, fit.shape, 1.0), np.where(known, fit.scale, constant))


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
