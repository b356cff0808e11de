"""Maximum likelihood of lognormal lives, many groups in one call."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import special

from pumplife.weibull.arrays import Bools, Floats, Groups, Ints, LifeArrays, sum_by
from pumplife.weibull.newton import climb_pairs

HALF_LOG_TWO_PI = 0.5 * float(np.log(2.0 * np.pi))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class LognormalFit:
    """Lognormal lives: the logarithm of a life is normal.

    Attributes
    ----------
    mean_log, sd_log : arrays (groups,) [log usage], [-]
        Mean and standard deviation of log life; NaN where there is no finite estimate.
    log_likelihood : array (groups,)
    """

    mean_log: Floats
    sd_log: Floats
    log_likelihood: Floats

    def __repr__(self) -> str:
        return f"LognormalFit({len(self.mean_log)} groups)"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class _Rows:
    """Log ages (less the group's unit) of the rows of each kind, their group and weight."""

    kind: str
    first: Floats
    second: Floats
    code: Ints
    weight: Floats

    def __repr__(self) -> str:
        return f"_Rows({self.kind}, {len(self.code)})"


def fit_lognormal(
    lives: LifeArrays, groups: Groups, *, shape: Floats, scale: Floats
) -> LognormalFit:
    """Fit lognormal lives to exact, suspended, interval and late-entered lives.

    With z = a log(age) + b, a = 1/sd and b = -mean/sd, the log-likelihood is concave in (a, b)
    where nothing enters late; Newton's steps climb it from the lognormal that lies nearest to the
    Weibull given, damped, with bends made upright.

    Parameters
    ----------
    lives, groups : LifeArrays, Groups
        Sorted by group.
    shape, scale : arrays (groups,) [-], [usage]
        A Weibull near by; a group with NaN has no fit.

    Returns
    -------
    LognormalFit

    References
    ----------
    .. [1] J. Burridge, "A note on maximum likelihood estimation for regression models using
       grouped data", Journal of the Royal Statistical Society B 43, 1981: concavity in (a, b)
       (from memory).
    """
    unit = np.log(np.where(np.isfinite(scale) & (scale > 0.0), scale, 1.0))
    rows = _split_rows(lives, groups, unit)
    start = np.where(np.isfinite(shape), shape, 1.0) / 1.28
    place = np.stack([start, 0.37 * start / 1.28], axis=1)
    place, value, arrived = climb_pairs(
        lambda at: _evaluate(rows, at, len(unit)), place, _largest_step
    )
    known = np.isfinite(shape) & np.isfinite(scale) & arrived
    with np.errstate(all="ignore"):
        spread, mean = 1.0 / place[:, 0], unit - place[:, 1] / place[:, 0]
    failures = sum_by(groups.code, lives.weights() * (lives.lower == lives.upper), len(unit))
    return LognormalFit(
        mean_log=np.where(known, mean, np.nan),
        sd_log=np.where(known, spread, np.nan),
        log_likelihood=np.where(known, value - failures * unit, np.nan),
    )


def _largest_step(place: Floats) -> Floats:
    """Return steps that leave a above zero."""
    return np.column_stack([0.5 * place[:, 0], np.full(len(place), 5.0)])


def _split_rows(lives: LifeArrays, groups: Groups, unit: Floats) -> list[_Rows]:
    """Return the rows by kind: exact, suspended, between two ages, and entered late."""
    with np.errstate(divide="ignore"):
        lower = np.log(lives.lower) - unit[groups.code]
        upper = np.log(lives.upper) - unit[groups.code]
        entry = np.log(lives.entries()) - unit[groups.code]
    exact, suspended = lives.lower == lives.upper, np.isinf(lives.upper)
    weight = lives.weights()
    suspended = suspended & (lives.lower > 0.0)
    between = ~exact & np.isfinite(lives.upper)

    def pick(kind: str, chosen: Bools, first: Floats, second: Floats, sign: float) -> _Rows:
        return _Rows(
            kind=kind,
            first=first[chosen],
            second=second[chosen],
            code=groups.code[chosen],
            weight=sign * weight[chosen],
        )

    return [
        pick("exact", exact, lower, lower, 1.0),
        pick("beyond", suspended, lower, lower, 1.0),
        pick("between", between, lower, upper, 1.0),
        pick("beyond", lives.entries() > 0.0, entry, entry, -1.0),
    ]


def _evaluate(rows: list[_Rows], place: Floats, count: int) -> tuple[Floats, Floats, Floats]:
    """Return the log-likelihood of each group, its slope (groups, 2) and bend (groups, 2, 2)."""
    total = np.zeros((6, count))
    for some in rows:
        if len(some.code):
            terms = _terms(some, place[some.code, 0], place[some.code, 1])
            total += np.array([sum_by(some.code, some.weight * term, count) for term in terms])
    value, by_a, by_b, aa, ab, bb = total
    slope = np.stack([by_a, by_b], axis=1)
    return (
        np.nan_to_num(value, nan=-np.inf),
        slope,
        np.moveaxis(np.array([[aa, ab], [ab, bb]]), 2, 0),
    )


def _terms(rows: _Rows, a: Floats, b: Floats) -> tuple[Floats, ...]:
    """Return value and derivatives by a, b, aa, ab, bb of each row."""
    y = rows.first
    z = a * y + b
    if rows.kind == "exact":
        value = np.log(a) - 0.5 * z**2 - HALF_LOG_TWO_PI - y
        return value, 1.0 / a - z * y, -z, -1.0 / a**2 - y**2, -y, -np.ones_like(z)
    if rows.kind == "beyond":
        value = special.log_ndtr(-z)
        rate = np.exp(_log_density(z) - value)
        bend = -rate * (rate - z)
        return value, -rate * y, -rate, bend * y**2, bend * y, bend
    return _between(y, rows.second, z, a * rows.second + b)


def _log_density(z: Floats) -> Floats:
    return np.asarray(-0.5 * z**2 - HALF_LOG_TWO_PI)


def _between(low: Floats, high: Floats, z_low: Floats, z_high: Floats) -> tuple[Floats, ...]:
    """Return the terms of log(Phi(z_high) - Phi(z_low)), z_low maybe -inf."""
    swap = z_low > 0.0
    inner, outer = np.where(swap, -z_high, z_low), np.where(swap, -z_low, z_high)
    top = special.log_ndtr(outer)
    gap = np.minimum(special.log_ndtr(inner) - top, -1e-15)
    value = top + np.log(-np.expm1(gap))
    up, down = np.exp(_log_density(z_high) - value), np.exp(_log_density(z_low) - value)
    start = np.isfinite(z_low)
    y, z = np.where(start, low, 0.0), np.where(start, z_low, 0.0)
    high2, low2, cross = -z_high * up - up**2, z * down - down**2, up * down
    return (
        value,
        high * up - y * down,
        up - down,
        high**2 * high2 + 2.0 * high * y * cross + y**2 * low2,
        high * high2 + (high + y) * cross + y * low2,
        high2 + 2.0 * cross + low2,
    )
