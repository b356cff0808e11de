"""Intervals that a planner can work with: round values near the advised one."""

from __future__ import annotations

from typing import Any

import numpy as np

from pumplife.policy.cycles import expected_rate
from pumplife.policy.decide import Decision
from pumplife.policy.groups import SideGroup
from pumplife.policy.pump import FloatArray

SERIES = np.array([1.0, 2.0, 2.5, 5.0, 10.0])
FINENESS = (10, 20, 50, 100, 1000)  # steps are at most this part of the value, coarse first
ROUND_ENOUGH = 1.01  # steps are taken finer while the round value costs over 1 % more
WIDEST = 4.0  # a band without upper end is looked at up to this multiple of the interval
TOLERANCE = 1.0 + 1e-9  # a value equal to a limit keeps it


def round_values(low: float, high: float, *, fineness: int = 10) -> FloatArray:
    """Round values from `low` to `high`: multiples of steps of the series 1, 2, 2.5, 5, 10.

    Parameters
    ----------
    low, high : float
        [usage], above 0.
    fineness : int
        The step at a value is the largest of the series that is at most 1/`fineness` of it: with
        10, hundreds between 1,000 and 2,000, two hundreds up to 2,500, then two hundred and
        fifties up to 5,000 and five hundreds up to 10,000.

    Returns
    -------
    float array (values,)
        Rising; may be empty.
    """
    decades = np.arange(np.floor(np.log10(low / fineness)), np.ceil(np.log10(high / fineness)) + 1)
    scale = 10.0 ** decades[:, None, None]
    count = np.arange(fineness, 3 * fineness)  # a step reaches to at most double its start
    multiple = np.where(count * SERIES[:-1, None] < fineness * SERIES[1:, None], count, np.nan)
    values = (multiple * SERIES[:-1, None] * scale).ravel()
    kept = (values >= low / TOLERANCE) & (values <= high * TOLERANCE)
    least = 10.0 ** float(decades[0])
    return np.asarray(np.unique(np.round(values[kept] / least, 6)) * least)


def round_interval(decision: Decision) -> tuple[float, float]:
    """The cheapest round value within the near-best band and the limits, and its cost rate.

    Steps are coarse first; where they leave no value in the band, or one that costs over 1 % more,
    finer ones are tried.

    Parameters
    ----------
    decision : Decision

    Returns
    -------
    interval : float
        [usage]; NaN where the group runs to failure.
    rate : float
        [money / usage unit]
    """
    interval, advice = decision.interval, decision.advice
    if not np.isfinite(interval):
        return np.nan, np.nan
    high = min(max(advice.near_best_high, interval), decision.limit, WIDEST * interval)
    low = min(advice.near_best_low, interval)
    value, rate = interval, _rate_of(decision)
    for fineness in FINENESS:
        values = round_values(low, high, fineness=fineness)
        if not values.size:
            continue
        rates = expected_rate(decision, values)
        best = int(np.argmin(rates))
        value, rate = float(values[best]), float(rates[best])
        if rate <= ROUND_ENOUGH * _rate_of(decision):
            break
    return value, rate


def _rate_of(decision: Decision) -> float:
    """Cost rate of the interval itself [money / usage unit]."""
    return float(expected_rate(decision, np.array([decision.interval]))[0])


def rounding_row(group: SideGroup, decision: Decision) -> dict[str, Any]:
    """The round interval of one row of the intervals table, in usage and whole weeks.

    Weeks are those of the median pump, rounded down where a limit sets the interval.
    """
    interval, rate = round_interval(decision)
    if not np.isfinite(interval):
        return {}
    weeks = interval / (7.0 * float(np.median(group.rate)))
    bound = decision.advice.binding_limit != "cost"
    usage = float(group.usage_per_year.sum())
    return {
        "round_interval": interval,
        "cost_of_rounding": usage * (rate - _rate_of(decision)),
        "round_weeks": max(1.0, np.floor(weeks) if bound else np.round(weeks)),
    }
