"""Whether a finite maximum of the likelihood exists, decided before and beside the estimate."""

from __future__ import annotations

from typing import Any

import numpy as np

from pumplife.weibull.arrays import Floats, Groups, LifeArrays, sum_by
from pumplife.weibull.likelihood import LogLives, Spans, best_theta, interval_terms

NO_LIVES = "no lives of any weight"
SHAPE_UP = "shape to infinity"
SHAPE_DOWN = "shape to zero"
SCALE_UP = "scale to infinity"
SCALE_DOWN = "scale to zero"

WHY = {
    NO_LIVES: "there are no lives with a weight above zero",
    SCALE_UP: "nothing failed, so the longer the scale the better it fits; wait for a failure, or "
    "give a shape and take the zero-failure lower bound",
    SCALE_DOWN: "every life failed before it was first looked at, so the shorter the scale the "
    "better it fits; find one exact failure age or one survivor",
    SHAPE_UP: "every failure fits one single age that no life outlived, so the steeper the better; "
    "collect a failure at another age, or give a shape",
    SHAPE_DOWN: "the failures fit best with a shape of zero, which no part has; check the entry "
    "ages, or give a shape",
}


def find_plain_gaps(lives: LifeArrays, groups: Groups) -> list[str]:
    """Return, for each group, why it can't have an estimate at sight, or an empty string."""
    count = len(groups.size)
    failed = np.isfinite(lives.upper)
    seen = lives.lower > (0.0 if lives.entry is None else lives.entry)
    if groups.size.all():
        failures = np.logical_or.reduceat(failed, groups.start)
        exposed = np.logical_or.reduceat(seen, groups.start)
    else:
        failures = np.bincount(groups.code, weights=failed, minlength=count) > 0
        exposed = np.bincount(groups.code, weights=seen, minlength=count) > 0
    words = np.select([groups.size == 0, ~failures, ~exposed], [NO_LIVES, SCALE_UP, SCALE_DOWN], "")
    return [str(word) for word in words] if words.any() else [""] * count


def limit_at_infinity(lives: LogLives) -> Floats:
    """Return the limit (groups,) of the maximised log-likelihood as shape goes to infinity.

    With exact failures it is +inf where all of them, at the longest exposed age, lie within every
    interval, else -inf. With intervals only it is 0 where one age lies inside all of them and
    beyond every survivor, the best of a single jump where that age is an end of both, else -inf.
    """
    exact = lives.failures > 0
    between = lives.between
    if between is None:
        return np.where(lives.moment >= 0.0, np.inf, -np.inf)
    earliest = np.full(len(lives), np.inf)
    np.minimum.at(earliest, between.code, between.end)
    with_exact = np.where((lives.moment >= 0.0) & (earliest >= 0.0), np.inf, -np.inf)
    touching = np.where(earliest > 0.0, 0.0, _limit_of_jump(lives, between))
    without = np.where(earliest < 0.0, -np.inf, touching)
    return np.where(exact, with_exact, without)


def _limit_of_jump(lives: LogLives, between: Spans) -> Floats:
    """Return max over p of n1 log p + n0 log(1 - p), n1 ending and n0 surviving at the longest."""
    before = sum_by(between.code, (between.end == 0.0) * _weight(between), len(lives))
    after = sum_by(
        lives.exposed.code, (lives.exposed.end == 0.0) * _weight(lives.exposed), len(lives)
    )
    total = before + after
    with np.errstate(divide="ignore", invalid="ignore"):
        parts = before * np.log(before / total) + after * np.log(after / total)
    return np.where((before > 0) & (after > 0), parts, 0.0)


def limit_at_zero(lives: LogLives) -> Floats:
    """Return the limit (groups,) of the maximised log-likelihood as shape goes to zero.

    A group with a life seen from age 0 has -inf, unless all its failures were found before the
    first look (then it is a share failed at once). A group seen only from later ages has the
    likelihood of the hazard c / t, at its best c.
    """
    spans = lives.exposed
    count = len(lives)
    if spans.gap is None and lives.between is None:
        return np.full(count, -np.inf)
    fresh = np.ones(len(spans.code)) if spans.gap is None else np.isinf(spans.gap).astype(float)
    survivors = sum_by(spans.code, fresh * _weight(spans), count)
    found, later = np.zeros(count), np.zeros(count)
    if lives.between is not None:
        left = np.isinf(_gap(lives.between))
        found = sum_by(lives.between.code, left * _weight(lives.between), count)
        later = sum_by(lives.between.code, ~left * _weight(lives.between), count)
    with np.errstate(divide="ignore", invalid="ignore"):
        share = found / (found + survivors)
        at_once = found * np.log(share) + survivors * np.log1p(-share)
    at_once = np.where((lives.failures > 0) | (later > 0), -np.inf, at_once)
    pareto = np.full(count, -np.inf)
    if bool((survivors == 0.0).any()):
        pareto = _limit_of_pareto(lives)
    return np.where(survivors > 0.0, at_once, pareto)


def _limit_of_pareto(lives: LogLives) -> Floats:
    spans = lives.exposed
    count = len(lives)
    if spans.bounded is None:
        return np.full(count, -np.inf)
    exposure = sum_by(spans.code, spans.bounded * _weight(spans), count)
    exposure = np.where(exposure > 0.0, exposure, 1.0)  # 0 only where new lives decide instead
    code, log_span, weight = _pareto_intervals(lives)
    theta = best_theta(lives.failures, exposure, log_span, weight, code)
    value, _ = interval_terms(theta[code] + log_span)
    seen = sum_by(code, weight * value, count)
    return np.asarray(lives.failures * theta - np.exp(theta) * exposure + seen)


def _pareto_intervals(lives: LogLives) -> tuple[Any, Floats, Floats]:
    if lives.between is None:
        return np.zeros(0, dtype=np.intp), np.zeros(0), np.zeros(0)
    gap = _gap(lives.between)
    late = np.isfinite(gap)
    return lives.between.code[late], np.log(gap[late]), _weight(lives.between)[late]


def _weight(spans: Spans) -> Floats:
    return np.ones(len(spans.code)) if spans.weight is None else spans.weight


def _gap(spans: Spans) -> Floats:
    assert spans.gap is not None
    return spans.gap
