"""What a pump's meter should show on a coming day."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

if TYPE_CHECKING:
    from pumplife.ticket.face import HasDueList

GAPS, LEAST_GAPS = 24, 4
SHARE = (0.05, 0.95)
DAY = pd.Timedelta(days=1)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Expected:
    """A reading, as the meter shows it.

    Attributes
    ----------
    low, high : float
        Between which it is likely to lie [the meter's own unit]; NaN where not known.
    unit : str
        hours, cycles or strokes; "" where not known.
    """

    low: float
    high: float
    unit: str

    def __repr__(self) -> str:
        return f"Expected({self.low:g} to {self.high:g} {self.unit})"


NOTHING = Expected(low=np.nan, high=np.nan, unit="")


def expect_reading(study: HasDueList, pump: int, day: pd.Timestamp) -> Expected:
    """Carry the last reading forward at the pump's own pace.

    Parameters
    ----------
    study : Study
    pump : int
        Row of pumps.
    day : Timestamp

    Returns
    -------
    Expected
        From the last reading on, at the 5 % and 95 % points of the paces between its last readings
        and its rate of today; by the rate of today alone where it has fewer than four. The rate of
        today doesn't count where the meter counts what can't be turned into usage.
    """
    readings = study.records.table("readings")
    end = study.records.plant.records_to
    mine = readings[(readings["pump"] == pump) & (readings["read_on"] <= end)]
    mine = mine.sort_values("read_on", kind="stable")
    if mine.empty or study.clock is None:
        return NOTHING
    last = mine.iloc[-1]
    unit, per_unit = _meter_unit(study, pump, last)
    pace = _paces(mine) if len(mine) > LEAST_GAPS else np.zeros(0)
    today = float(study.clock.rate[pump]) * per_unit
    pace = np.append(pace, today) if np.isfinite(today) else pace
    if not pace.size:
        return NOTHING
    shown = last["reading"] if pd.isna(last["new_meter_start"]) else last["new_meter_start"]
    low, high = np.quantile(pace, SHARE) * max(0.0, (day - last["read_on"]) / DAY)
    return Expected(low=float(shown + low), high=float(shown + high), unit=unit)


def _meter_unit(study: HasDueList, pump: int, last: pd.Series[Any]) -> tuple[str, float]:
    """What the meter counts, and how many of it one usage unit is; NaN where not known."""
    plant, register = study.records.plant, study.records.pumps.iloc[pump]
    unit = str(last["unit"] or register["meter_unit"] or plant.usage_unit)
    factor = 2.0 if unit == "strokes" else 1.0
    base = "cycles" if unit == "strokes" else unit
    per_hour = float(register["cycles_per_h"])
    if base != plant.usage_unit and "days" in {base, plant.usage_unit}:
        return unit, np.nan
    if base != plant.usage_unit:
        factor *= per_hour if plant.usage_unit == "hours" else 1.0 / per_hour
    multiplier = last["multiplier"] if last["multiplier"] > 0 else 1.0
    return unit, factor / float(multiplier)


def _paces(mine: pd.DataFrame) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    """What the meter gained a day between its last readings; exchanges and runs back left out."""
    rows = mine.tail(GAPS + 1)
    start = rows["new_meter_start"].fillna(rows["reading"]).to_numpy(float)
    gained = rows["reading"].to_numpy(float)[1:] - start[:-1]
    days = np.diff(rows["read_on"].to_numpy()) / np.timedelta64(1, "D")
    usable = (days >= 1.0) & (gained >= 0.0)
    return np.asarray(gained[usable] / days[usable], dtype=np.float64)
