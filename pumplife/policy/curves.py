"""What the figure of a group's cost curve shows."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from scipy.interpolate import PchipInterpolator

from pumplife.policy.decide import (
    Decision,
)
from pumplife.policy.groups import SideGroup
from pumplife.policy.interval import CostCurve, IntervalAdvice

if TYPE_CHECKING:
    pass

CURVE_POINTS = 120  # of a drawn cost curve


def draw_curve(
    group: SideGroup, decision: Decision | None, factor: float, unit: str
) -> CostCurve | None:
    """What the figure of one group shows: the part of the curve around the decision.

    Between the intervals that were computed the curve is interpolated, for the eye alone.
    """
    if decision is None:
        return None
    advice = decision.advice
    never = float(advice.expected[-1])
    shown = (advice.expected < 6.0 * never) & (advice.times < _settled(advice))
    low, high = advice.low[shown], advice.high[shown]
    times = advice.times[shown]
    t = np.union1d(times, np.geomspace(times[0], times[-1], CURVE_POINTS))
    mean, low, high = (
        factor * np.exp(PchipInterpolator(np.log(times), np.log(rates))(np.log(t)))
        for rates in (advice.expected[shown], low, high)
    )
    return CostCurve(
        title=group.title,
        t=t,
        mean=mean,
        low=low,
        high=high,
        run_to_failure=factor * never,
        today=factor * float(decision.today.money.mean()),
        interval=decision.interval,
        near_best_low=advice.near_best_low,
        near_best_high=advice.near_best_high,
        rate_unit=unit,
    )


def _settled(advice: IntervalAdvice) -> float:
    """Interval beyond which the expected cost rate no longer moves [usage]."""
    times, expected = advice.times, advice.expected
    moving = np.flatnonzero(np.abs(expected / expected[-1] - 1.0) > 0.001)
    return float(times[min(moving[-1] + 2, times.size - 1)]) if moving.size else float(times[-1])
