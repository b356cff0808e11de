"""What is lost when a calendar stands in for usage: rebuilds every so many weeks."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.sparse import csr_matrix

from pumplife.policy.cycles import CycleCurves, cycle_curves
from pumplife.policy.decide import Decision
from pumplife.policy.groups import SideGroup
from pumplife.policy.pump import FloatArray
from pumplife.policy.rounding import TOLERANCE
from pumplife.policy.simulate import IntArray
from pumplife.records.plant import to_day
from pumplife.records.read import Records
from pumplife.records.second import in_turn
from pumplife.records.usage import UsageClock

STEP_WEEKS = 4.0  # usage is looked at in steps of so many weeks
MOST_STEPS = 39  # over at most three years
LEAST_STEPS = 6  # fewer steps than this don't tell how usage varies
MOST_DRAWS = 200
FINE = 16  # nodes between two known ages, between which cost is linear
SURE = 0.95  # share of stretches of that many weeks in which a limit is kept, at every pump


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class UsagePattern:
    """How the usage of the pumps of a group varies over time.

    Attributes
    ----------
    rate : float array (pumps,)
        Usage a week today [usage / week].
    course : float array (pumps, steps + 1)
        Usage since the first step, in mean steps [-]: at an even rate 0, 1, 2, ...
    spread : float
        Standard deviation of the usage of a quarter over its mean; NaN where it isn't known.
    """

    rate: FloatArray
    course: FloatArray
    spread: float

    def __repr__(self) -> str:
        """Say the spread."""
        return f"<UsagePattern: {self.rate.size} pumps, spread {self.spread:.3g}>"

    def usage_in(self, weeks: FloatArray) -> FloatArray:
        """Usage in stretches of some weeks from every step on, (choices, pumps, steps) [usage].

        The steps follow each other in a ring, so that a pump's mean stays its rate of today.

        Parameters
        ----------
        weeks : float array (choices, pumps)
        """
        steps = self.course.shape[1] - 1
        start = np.arange(steps)
        end = start + weeks[:, :, None] / STEP_WEEKS
        rounds, rest = np.divmod(end, steps)
        whole = np.minimum(rest.astype(np.int64), steps - 1)
        pump = np.arange(self.rate.size)[:, None]
        low, high = self.course[pump, whole], self.course[pump, whole + 1]
        gone = rounds * steps + low + (rest - whole) * (high - low) - self.course[:, :-1]
        return np.asarray(gone * STEP_WEEKS * self.rate[:, None])


def find_pattern(records: Records, clock: UsageClock, group: SideGroup) -> UsagePattern:
    """The last three years of the pumps with readings over all of them.

    Pumps without such readings borrow those of the others in turn; with none at all usage counts
    as even.
    """
    rate = 7.0 * group.rate
    today = to_day(records.plant.records_to)
    first = _first_reading(clock, group)
    steps = int(np.clip((today - first.min()) / (7.0 * STEP_WEEKS), 0, MOST_STEPS))
    told = np.flatnonzero(first <= today - 7.0 * STEP_WEEKS * steps)
    course = np.empty((0, 0))
    if steps >= LEAST_STEPS:
        grid = today - 7.0 * STEP_WEEKS * np.arange(steps, -1, -1.0)
        course = _courses(clock, group.pumps[told], grid)
        told = told[course[:, -1] > 0.0]
        course = course[course[:, -1] > 0.0]
    if not course.size:
        return UsagePattern(rate=rate, course=_even(rate.size), spread=np.nan)
    course *= steps / course[:, -1:]
    quarters = np.diff(course[:, ::3], axis=1) / 3.0
    lent = np.arange(rate.size) % told.size
    lent[told] = np.arange(told.size)
    return UsagePattern(rate=rate, course=course[lent], spread=float(quarters.std()))


def _first_reading(clock: UsageClock, group: SideGroup) -> FloatArray:
    """Day of the first reading of each pump, inf where its rate isn't from readings [day]."""
    first = np.full(group.pumps.size, np.inf)
    metered = clock.own[group.pumps] & (len(clock.knots) > 0)
    if metered.any():
        day = clock.knots["day"].to_numpy(float)
        first[metered] = day[clock.first_knot[:-1][group.pumps[metered]]]
    return first


def _courses(clock: UsageClock, pumps: IntArray, grid: FloatArray) -> FloatArray:
    """Usage of each pump since the first day of the grid, (pumps, days) [usage]."""
    run = clock.usage(np.repeat(pumps, grid.size), np.tile(grid, pumps.size))
    run = run.reshape(pumps.size, grid.size)
    return np.asarray(run - run[:, :1])


def _even(pumps: int) -> FloatArray:
    """The course of pumps that run evenly."""
    return np.tile(np.arange(LEAST_STEPS + 1.0), (pumps, 1))


def calendar_row(
    records: Records, clock: UsageClock, group: SideGroup, decision: Decision
) -> dict[str, Any]:
    """Best whole weeks for all pumps of a group, and what they cost more a year than usage."""
    if not np.isfinite(decision.interval):
        return {}
    pattern = find_pattern(records, clock, group)
    curves = cycle_curves(group, decision, most_draws=MOST_DRAWS)
    best = group.usage_per_year.sum() * float(curves.rate_at(np.array([decision.interval]))[0])
    weeks, cost = best_weeks(pattern, curves, decision)
    return {
        "calendar_weeks": weeks,
        "cost_of_calendar": cost - best,
        "usage_spread": pattern.spread,
    }


def calendar_rows(
    records: Records, clock: UsageClock, decided: list[tuple[SideGroup, Decision]]
) -> list[dict[str, Any]]:
    """`calendar_row` of each group, by two processes where pumps are many."""
    steps = MOST_STEPS * sum(group.pumps.size for group, _ in decided)
    return list(in_turn(lambda one: calendar_row(records, clock, *one), decided, steps))


def best_weeks(
    pattern: UsagePattern, curves: CycleCurves, decision: Decision
) -> tuple[float, float]:
    """The whole number of weeks that costs least for all pumps together.

    Every pump is renewed so many weeks after its last renewal, planned or not; what it has run
    by then differs from pump to pump and from time to time.  A limit must be kept at every pump
    in 95 of 100 stretches of that length.

    Returns
    -------
    weeks : float
        NaN where not even one week keeps the limit.
    cost : float
        Of all pumps [money / year].
    """
    centre = decision.interval / float(np.median(pattern.rate))
    rough = np.unique(np.maximum(np.round(centre * np.geomspace(0.3, 2.5, 18)), 1.0))
    cost = calendar_cost(pattern, curves, _for_all(rough, pattern), decision.limit)
    at = int(np.argmin(cost))
    low, high = rough[max(at - 1, 0)], rough[min(at + 1, rough.size - 1)]
    if not np.isfinite(cost[at]):
        low, high = 1.0, rough[0]
    step = max(1.0, np.ceil((high - low) / 40.0))
    fine = np.unique(np.append(np.arange(low, high + 1.0, step), rough[at]))
    cost = calendar_cost(pattern, curves, _for_all(fine, pattern), decision.limit)
    at = int(np.argmin(cost))
    return (float(fine[at]), float(cost[at])) if np.isfinite(cost[at]) else (np.nan, np.nan)


def _for_all(weeks: FloatArray, pattern: UsagePattern) -> FloatArray:
    """The same weeks for every pump, (choices, pumps)."""
    return np.broadcast_to(weeks[:, None], (weeks.size, pattern.rate.size))


def calendar_cost(
    pattern: UsagePattern, curves: CycleCurves, weeks: FloatArray, limit: float
) -> FloatArray:
    """Cost a year of all pumps, each renewed after so many weeks, (choices,) [money / year].

    Parameters
    ----------
    pattern : UsagePattern
    curves : CycleCurves
    weeks : float array (choices, pumps)
    limit : float
        [usage]

    Returns
    -------
    float array (choices,)
        inf where the limit isn't kept.
    """
    fine = np.linspace(
        curves.log_times[0], curves.log_times[-1], FINE * (curves.log_times.size - 1) + 1
    )
    basis = curves.weights(np.exp(fine))
    by_age = basis @ curves.cost, basis @ curves.uptime
    # one choice at a time, so that what is held stays near the processor
    choices = (pattern.usage_in(one[None])[0] for one in weeks)
    return np.array(
        [
            365.25 / 7.0 * float(_rates(np.log(np.maximum(usage, 1e-300)), fine, by_age) @ rate)
            if np.isinf(limit) or _keeps(usage, limit)
            else np.inf
            for usage, rate in zip(choices, np.broadcast_to(pattern.rate, weeks.shape), strict=True)
        ]
    )


def _keeps(usage: FloatArray, limit: float) -> bool:
    """Whether every pump keeps a limit in most of its stretches, usage (pumps, steps)."""
    return bool(np.all(np.quantile(usage, SURE, axis=1) <= limit * TOLERANCE))


def _rates(
    log_usage: FloatArray, nodes: FloatArray, by_age: tuple[FloatArray, FloatArray]
) -> FloatArray:
    """Mean cost rate of each pump over its stretches, (pumps,) [money / usage unit].

    By how many stretches end at each node, linear between nodes.
    """
    pumps, steps = log_usage.shape
    place = np.clip((log_usage - nodes[0]) / (nodes[1] - nodes[0]), 0.0, nodes.size - 1.0)
    low = np.minimum(place.astype(np.int64), nodes.size - 2)
    share = (place - low).ravel() / steps
    first, width = int(low.min()), int(np.ptp(low)) + 2
    cell = (low - first + width * np.arange(pumps)[:, None]).ravel()
    ends = np.bincount(cell, 1.0 / steps - share, pumps * width)
    ends += np.bincount(cell + 1, share, pumps * width)
    some = ends.reshape(pumps, width) > 0.0
    row = np.append(0, np.cumsum(some.sum(axis=1)))
    spread = csr_matrix((ends[some.ravel()], np.nonzero(some)[1], row), shape=some.shape)
    cost, uptime = (spread @ curve[first : first + width] for curve in by_age)
    return np.asarray((cost / uptime).mean(axis=1))
