"""The Weibull log-likelihood of grouped lives, in logarithms of time.

Times are taken relative to each group's longest exposed life, so that u = log(time / longest) is
at most 0 where it matters and nothing depends on units. With shape k and theta = -k log(scale /
longest), the cumulated hazard at a time is exp(theta + k u), and the log-likelihood of a group is

    r (log k + theta) + k m - exp(theta) D(k) + sum w log(1 - exp(-exp(theta) E(k))) + constant

r and m are the exact failures and the sum of their u; D(k) is the exposure, the sum of e^(k u) less
the same at entry; E(k), one per interval row, is the same difference between its two ends. For a
given k it is concave in theta; without late entry it is concave in (theta, k) together.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pumplife.weibull.arrays import Floats, Groups, Ints, LifeArrays, sum_by

NOTHING = 1e-200  # stands for no failures where their logarithm is taken
LARGEST = 600.0  # exponents beyond this change nothing in double precision


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class Spans:
    """Stretches of life between two ages, sorted by group.

    Attributes
    ----------
    code : array (rows,)
        Group number.
    end : array (rows,)
        log(upper age / longest).
    gap : array (rows,)
        log(upper age / lower age); inf where the lower age is 0.
    bounded : array (rows,)
        gap, and 0 where it is inf.
    weight : array (rows,) or None
        Counts; None where all are 1.
    start : array (groups,)
        First row of every group; used where every group has rows.
    """

    code: Ints
    end: Floats
    gap: Floats | None
    bounded: Floats | None
    weight: Floats | None
    start: Ints

    def __repr__(self) -> str:
        return f"Spans({len(self.code)} rows)"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class LogLives:
    """Grouped lives ready for the likelihood.

    Attributes
    ----------
    size : array (groups,)
        Rows of each group (of exposed lives).
    log_unit : array (groups,)
        log of the longest exposed life [log usage].
    failures : array (groups,)
        r, weighted exact failures.
    moment : array (groups,)
        m, weighted sum of log(failure age / longest) over exact failures.
    exposed : Spans
        From entry to lower, one row per life that was observed for some time.
    between : Spans or None
        From lower to upper, one row per interval life; None where there are none.
    """

    size: Ints
    log_unit: Floats
    failures: Floats
    moment: Floats
    exposed: Spans
    between: Spans | None

    def __repr__(self) -> str:
        return f"LogLives({len(self.size)} groups, {len(self.exposed.code)} lives)"

    def __len__(self) -> int:
        return len(self.size)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class Point:
    """The log-likelihood of each group at one theta and log shape, with its derivatives.

    Attributes
    ----------
    value : array (groups,)
    by_theta, by_shape : arrays (groups,)
        First derivatives by theta and by log shape.
    theta2, cross, shape2 : arrays (groups,)
        Second derivatives.
    """

    value: Floats
    by_theta: Floats
    by_shape: Floats
    theta2: Floats
    cross: Floats
    shape2: Floats

    def __repr__(self) -> str:
        return f"Point({len(self.value)} groups)"


def build_log_lives(lives: LifeArrays, groups: Groups) -> LogLives:
    """Return lives (sorted by group; each group with an exposed life) in logarithms of time."""
    longest = _find_longest(lives, groups)
    count = len(groups.size)
    unit = np.repeat(longest, groups.size) if count > 1 else longest[0]
    with np.errstate(divide="ignore"):
        position = np.divide(lives.lower, unit)
        np.log(position, out=position)
    weight = (lives.lower == lives.upper).astype(np.float64)
    with np.errstate(invalid="ignore"):
        moments = position * weight  # many times as fast as where
    if position.min() == -np.inf:
        moments[weight == 0.0] = 0.0
    if lives.weight is not None:
        weight *= lives.weight
        moments *= lives.weight
    return LogLives(
        size=groups.size,
        log_unit=np.log(longest),
        failures=np.add.reduceat(weight, groups.start),
        moment=np.add.reduceat(moments, groups.start),
        exposed=_spans_exposed(lives, groups, position),
        between=_spans_between(lives, groups, unit),
    )


def _find_longest(lives: LifeArrays, groups: Groups) -> Floats:
    length = lives.lower
    if lives.entry is not None:
        length = np.where(lives.lower > lives.entry, lives.lower, 0.0)
    return np.asarray(np.maximum.reduceat(length, groups.start), dtype=np.float64)


def _spans_exposed(lives: LifeArrays, groups: Groups, position: Floats) -> Spans:
    if lives.entry is None and bool((lives.lower > 0.0).all()):
        return Spans(
            code=groups.code,
            end=position,
            gap=None,
            bounded=None,
            weight=lives.weight,
            start=groups.start,
        )
    kept = lives.lower > lives.entries()
    code = groups.code[kept]
    size = np.bincount(code, minlength=len(groups.size))
    gap = None
    if lives.entry is not None:
        gap = _log_ratio(lives.lower[kept], lives.entry[kept])
    return Spans(
        code=code,
        end=position[kept],
        gap=gap,
        bounded=None if gap is None else np.where(np.isinf(gap), 0.0, gap),
        weight=None if lives.weight is None else lives.weight[kept],
        start=(np.cumsum(size) - size).astype(np.intp),
    )


def _spans_between(lives: LifeArrays, groups: Groups, unit: Floats) -> Spans | None:
    rows = np.flatnonzero((lives.lower < lives.upper) & np.isfinite(lives.upper))
    if len(rows) == 0:
        return None
    units = unit[rows] if np.ndim(unit) else unit
    gap = _log_ratio(lives.upper[rows], lives.lower[rows])
    return Spans(
        code=groups.code[rows],
        end=np.log(lives.upper[rows] / units),
        gap=gap,
        bounded=np.where(np.isinf(gap), 0.0, gap),
        weight=lives.weights()[rows],
        start=groups.start,
    )


def _log_ratio(upper: Floats, lower: Floats) -> Floats:
    """Return log(upper / lower), sharp where the two are close and inf where lower is 0."""
    with np.errstate(divide="ignore", over="ignore", invalid="ignore"):
        near = np.log1p((upper - lower) / lower)
    return np.where(lower > 0.0, near, np.inf)


def _per_row(values: Floats, spans: Spans, size: Ints | None) -> Floats:
    """Spread one value per group over the rows."""
    if len(values) == 1:
        return np.broadcast_to(values, spans.code.shape)
    return np.repeat(values, size) if size is not None else values[spans.code]


def exposures(lives: LogLives, shape: Floats) -> tuple[Floats, Floats, Floats]:
    """Return D(k) of each group and its first two derivatives by k; shape is (groups,)."""
    spans = lives.exposed
    whole = len(spans.code) == int(lives.size.sum())
    shapes = _per_row(shape, spans, lives.size if whole else None)
    room = shapes if len(shape) > 1 and spans.gap is None else None  # no second array is asked for
    power = np.multiply(shapes, spans.end, out=room)
    np.exp(power, out=power)
    if spans.weight is not None:
        power *= spans.weight
    if spans.gap is not None and spans.bounded is not None:
        return _late_exposures(spans, shapes, power)
    total = np.add.reduceat(power, spans.start)
    power *= spans.end
    first = np.add.reduceat(power, spans.start)
    power *= spans.end
    return total, first, np.add.reduceat(power, spans.start)


def _late_exposures(spans: Spans, shapes: Floats, power: Floats) -> tuple[Floats, Floats, Floats]:
    assert spans.gap is not None
    assert spans.bounded is not None
    loss = -shapes * spans.gap
    total = power * -np.expm1(loss)
    at_entry = power * np.exp(loss) * spans.bounded
    first = spans.end * total + at_entry
    second = spans.end**2 * total + at_entry * (2.0 * spans.end - spans.bounded)
    return (
        np.add.reduceat(total, spans.start),
        np.add.reduceat(first, spans.start),
        np.add.reduceat(second, spans.start),
    )


def log_spans(spans: Spans, shapes: Floats) -> tuple[Floats, Floats, Floats]:
    """Return log E(k) of each row, and E'/E and E''/E; shapes is (rows,)."""
    assert spans.gap is not None
    assert spans.bounded is not None
    if np.isinf(spans.gap).all():  # every span begins at age 0
        return np.minimum(shapes * spans.end, LARGEST), spans.end, spans.end**2
    scaled = shapes * spans.gap
    with np.errstate(over="ignore", divide="ignore", invalid="ignore"):
        log_span = shapes * spans.end + np.log(-np.expm1(-scaled))
        tail = np.where(np.isinf(scaled), 0.0, spans.bounded / np.expm1(scaled))
    first = spans.end + tail
    second = spans.end**2 + (2.0 * spans.end - spans.bounded) * tail
    return np.minimum(log_span, LARGEST), first, second


def interval_terms(log_hazard: Floats) -> tuple[Floats, Floats]:
    """Return log(1 - exp(-z)) and q = z / (exp(z) - 1) for z = exp(log_hazard)."""
    hazard = np.exp(np.minimum(log_hazard, 6.6))
    with np.errstate(divide="ignore", over="ignore", invalid="ignore"):
        value = np.where(hazard > 1e-8, np.log(-np.expm1(-hazard)), log_hazard - 0.5 * hazard)
        share = np.where(hazard > 0.0, hazard / np.expm1(hazard), 1.0)
    return value, share


def evaluate(lives: LogLives, theta: Floats, shape: Floats) -> Point:
    """Return the log-likelihood (failures in units of the longest life) and its derivatives."""
    return _evaluate(lives, theta, shape, exposures(lives, shape))


def _evaluate(
    lives: LogLives, theta: Floats, shape: Floats, sums: tuple[Floats, Floats, Floats]
) -> Point:
    with np.errstate(over="ignore", invalid="ignore"):
        rate = np.exp(np.minimum(theta, LARGEST))
        total, first, second = (rate * part for part in sums)
    value = lives.failures * (np.log(shape) + theta) + shape * lives.moment - total
    point = Point(
        value=value,
        by_theta=lives.failures - total,
        by_shape=lives.failures + shape * (lives.moment - first),
        theta2=-total,
        cross=-shape * first,
        shape2=shape * lives.moment - shape * first - shape**2 * second,
    )
    return (
        point
        if lives.between is None
        else _add_intervals(lives, lives.between, theta, shape, point)
    )


def _add_intervals(
    lives: LogLives, spans: Spans, theta: Floats, shape: Floats, point: Point
) -> Point:
    shapes = shape[spans.code]
    log_span, first, second = log_spans(spans, shapes)
    log_hazard = theta[spans.code] + log_span
    value, share = interval_terms(log_hazard)
    hazard = np.exp(np.minimum(log_hazard, 6.6))
    slope, bend = shapes * first, shapes * first + shapes**2 * second
    weighted = share * (1.0 if spans.weight is None else spans.weight)
    curve = weighted * (1.0 - hazard - share)
    counted = value if spans.weight is None else value * spans.weight

    def add(rows: Floats) -> Floats:
        return sum_by(spans.code, rows, len(lives))

    return Point(
        value=point.value + add(counted),
        by_theta=point.by_theta + add(weighted),
        by_shape=point.by_shape + add(weighted * slope),
        theta2=point.theta2 + add(curve),
        cross=point.cross + add(curve * slope),
        shape2=point.shape2 + add(weighted * bend - weighted * (hazard + share) * slope**2),
    )


def best_theta(
    failures: Floats,
    exposure: Floats,
    log_span: Floats | None = None,
    weight: Floats | None = None,
    code: Ints | None = None,
    *,
    start: Floats | None = None,
) -> Floats:
    """Return the theta (groups,) that maximises the log-likelihood for given shapes.

    start (groups,) is a guess that saves steps.

    Maximises failures * theta - exp(theta) * exposure + sum weight log(1 - exp(-exp(theta) E)),
    with log_span = log E, one per interval row; nearly -inf where nothing failed, inf where nothing
    was exposed.
    """
    count = len(failures)
    if log_span is None or weight is None or code is None:
        return np.log(np.maximum(failures, NOTHING)) - np.log(exposure)
    intervals = sum_by(code, weight, count)
    with np.errstate(divide="ignore"):
        ceiling = np.log(np.maximum(failures + intervals, NOTHING)) - np.log(exposure)
    narrowest = np.full(count, LARGEST)
    np.minimum.at(narrowest, code, log_span)
    theta = np.where(failures + intervals > failures, np.minimum(ceiling, 3.4 - narrowest), ceiling)
    theta = np.where(failures > 0.0, ceiling, theta)
    if start is not None:
        theta = np.where(np.isfinite(start), np.minimum(start, ceiling), theta)
    for _ in range(100):
        step = _theta_step(theta, failures, exposure, log_span=log_span, weight=weight, code=code)
        target = np.minimum(theta + step, ceiling)
        moved = np.abs(target - theta)
        theta = target
        if not bool((moved > 1e-13 * (1.0 + np.abs(theta))).any()):
            break
    return theta


def _theta_step(
    theta: Floats,
    failures: Floats,
    exposure: Floats,
    *,
    log_span: Floats,
    weight: Floats,
    code: Ints,
) -> Floats:
    """Return the Newton step of log(failures + intervals' share) - log(exposure) - theta."""
    finite = np.where(np.isfinite(theta), theta, 0.0)
    log_hazard = finite[code] + log_span
    _, share = interval_terms(log_hazard)
    hazard = np.exp(np.minimum(log_hazard, 6.6))
    total = failures + sum_by(code, weight * share, len(failures))
    bend = sum_by(code, weight * share * (1.0 - hazard - share), len(failures))
    with np.errstate(divide="ignore", invalid="ignore"):
        step = (np.log(total) - np.log(exposure) - finite) / (1.0 - bend / total)
    step = np.where(total > 0.0, np.clip(step, -30.0, 5.0), -2.0)
    return np.where(np.isfinite(theta) & (exposure > 0.0), step, 0.0)


def profile(lives: LogLives, shape: Floats, start: Floats | None = None) -> tuple[Floats, Point]:
    """Return the best theta of each group for its shape, and the likelihood there.

    start (groups,) is a guess of theta that saves steps where intervals occur.
    """
    sums = exposures(lives, shape)
    if lives.between is None:
        theta = best_theta(lives.failures, sums[0])
    else:
        spans = lives.between
        log_span = log_spans(spans, shape[spans.code])[0]
        theta = best_theta(lives.failures, sums[0], log_span, spans.weight, spans.code, start=start)
    return theta, _evaluate(lives, theta, shape, sums)


def profile_derivatives(point: Point) -> tuple[Floats, Floats]:
    """Return the slope and curvature by log shape of the likelihood maximised over theta."""
    with np.errstate(divide="ignore", invalid="ignore"):
        return point.by_shape, point.shape2 - point.cross**2 / point.theta2
