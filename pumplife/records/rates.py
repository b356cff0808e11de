"""How fast each pump runs at both ends of its readings, and by use_per_week."""

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from pumplife.records.duty import Duty
from pumplife.records.joining import Flags
from pumplife.records.steps import Floats, Ints, time_key

if TYPE_CHECKING:
    from pumplife.records.read import Records

YEAR = 365.0
SHORT = 28.0
"""Readings over fewer days in service don't tell a pump's rate where use_per_week does [day]."""


def weekly_rate(records: "Records", duty: Duty) -> Floats:
    """Give use_per_week at the end of the window as a daily rate [usage units/day]."""
    count = len(records.pumps)
    row = duty.at(np.arange(count), np.full(count, records.plant.window()[1]))
    rate: Floats = duty.stints["use_per_week"].to_numpy(dtype=np.float64)[row] / 7.0
    return rate


def end_rates(knots: pd.DataFrame, weekly: Floats) -> tuple[Floats, Floats, Flags]:
    """Give each pump's rate over the last and the first year of its readings, and whether own."""
    last, first, own = weekly.copy(), weekly.copy(), np.zeros(len(weekly), dtype=np.bool_)
    if knots.empty:
        return last, first, own
    grouped = knots.groupby("pump")
    ends = grouped["day"].agg(["min", "max"])
    pump = ends.index.to_numpy()
    low, high = ends["min"].to_numpy(), ends["max"].to_numpy()
    total = _mean_rate(knots, pump, low, high)
    short = _worked(knots, pump, low, high) < SHORT
    by_week = np.isfinite(weekly[pump]) & (short | np.isnan(total))
    own[pump] = ~by_week
    fallback = np.where(np.isnan(total), weekly[pump], total)
    for rate, start, end in (
        (last, np.maximum(low, high - YEAR), high),
        (first, low, np.minimum(high, low + YEAR)),
    ):
        mean = _mean_rate(knots, pump, start, end)
        mean = np.where(np.isnan(mean), fallback, mean)
        rate[pump] = np.where(by_week, weekly[pump], mean)
    return last, first, own


def _along(knots: pd.DataFrame, name: str, pump: Ints, day: Floats) -> Floats:
    """Read a column of knots off at days within each pump's knots."""
    owner, when = knots["pump"].to_numpy(), knots["day"].to_numpy()
    keys, value = time_key(owner, when), knots[name].to_numpy()
    read: Floats = np.interp(time_key(pump, day), keys, value)
    return read


def _worked(knots: pd.DataFrame, pump: Ints, start: Floats, end: Floats) -> Floats:
    return _along(knots, "service", pump, end) - _along(knots, "service", pump, start)


def _mean_rate(knots: pd.DataFrame, pump: Ints, start: Floats, end: Floats) -> Floats:
    """Give usage per day in service between two days, NaN where the pump was in store."""
    gain = _along(knots, "usage", pump, end) - _along(knots, "usage", pump, start)
    worked = _worked(knots, pump, start, end)
    return np.where(worked > 0, gain / np.where(worked > 0, worked, 1.0), np.nan)
