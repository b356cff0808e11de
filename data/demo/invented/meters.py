"""Hour meters, cycle counters and stroke counters, and what is read from them."""

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd

from .fleet import FROM, TO, Fleet, Ints
from .truth import Floats

EVERY = 16  # days between readings, more or less
STROKES_PER_CYCLE = 2.0


@dataclass(frozen=True, kw_only=True, eq=False)
class Meters:
    """One meter per pump.

    Attributes
    ----------
    unit : str array (pumps,)
        hours, cycles, strokes or "" (no meter).
    per_hour, start, multiplier, cycles_per_h : float arrays (pumps,)
        Units counted in an hour, the reading at commissioning, what one step of the counter is
        worth, and the pump's cycles in an hour.
    exchanged : float array (pumps,) [day]
        When a new meter that starts at 0 was fitted; inf = never.
    """

    fleet: Fleet
    unit: np.ndarray
    per_hour: Floats
    start: Floats
    multiplier: Floats
    cycles_per_h: Floats
    exchanged: Floats

    def value(self, pump: Any, day: Any) -> Floats:
        """What the meter shows at the start of that day; NaN where there is none."""
        new = day > self.exchanged[pump]
        since = np.where(new, self.exchanged[pump], self.fleet.commissioned[pump])
        hours = self.fleet.usage(pump, day) - self.fleet.usage(pump, since)
        counted = hours * self.per_hour[pump] + np.where(new, 0.0, self.start[pump])
        shown = np.round(counted / self.multiplier[pump])
        return np.where(self.unit[pump] == "", np.nan, shown)


def build_meters(fleet: Fleet, rng: np.random.Generator) -> Meters:
    """Two thirds hour meters, the others cycle counters and a few stroke counters."""
    n = len(fleet)
    kind = rng.choice(3, n, p=[0.66, 0.26, 0.08])
    cycles_per_h = np.round(60 * rng.uniform(25, 50, n), -1)
    per_hour = np.select([kind == 0, kind == 1], [1.0, cycles_per_h], cycles_per_h * 2)
    return Meters(
        fleet=fleet,
        unit=np.array(["hours", "cycles", "strokes"], dtype=object)[kind],
        per_hour=per_hour,
        start=np.where(kind == 0, np.round(rng.uniform(0, 4000, n)), 0.0),
        multiplier=np.where(kind == 2, 1000.0, 1.0),
        cycles_per_h=np.where(kind == 0, np.nan, cycles_per_h),
        exchanged=np.full(n, np.inf),
    )


def read_meters(meters: Meters, rng: np.random.Generator) -> tuple[Meters, pd.DataFrame]:
    """Readings about every sixteen days; one pump in ten gets a new meter at one of them."""
    pump, day = _reading_days(meters.fleet, rng)
    meters = replace(meters, exchanged=_exchanges(pump, day, len(meters.fleet), rng))
    first = day > meters.exchanged[pump]
    table = pd.DataFrame(
        {
            "pump": pump,
            "day": day,
            "reading": meters.value(pump, day),
            "new_meter_start": np.where(day == meters.exchanged[pump], 0.0, np.nan),
            "meter_id": pd.Series(pump + 1).astype(str).str.zfill(3) + np.where(first, "b", "a"),
            "unit": meters.unit[pump],
            "multiplier": np.where(meters.multiplier[pump] > 1, meters.multiplier[pump], np.nan),
        }
    )
    table["meter_id"] = "M-" + table.meter_id
    return meters, table[meters.unit[pump] != ""].reset_index(drop=True)


def _reading_days(fleet: Fleet, rng: np.random.Generator) -> tuple[Ints, Floats]:
    grid = np.arange(FROM + 5, TO - 2, EVERY)
    day = np.floor(grid + rng.uniform(-4, 4, (len(fleet), len(grid))))
    in_use = (day > fleet.commissioned[:, None]) & (day < fleet.last_day[:, None])
    in_use &= rng.random(day.shape) > 0.05
    pump, column = np.nonzero(in_use)
    return pump, day[pump, column]


def _exchanges(pump: Ints, day: Floats, n: int, rng: np.random.Generator) -> Floats:
    """One of each chosen pump's readings, neither among the first nor among the last."""
    count = np.bincount(pump, minlength=n)
    first = np.concatenate([[0], count.cumsum()[:-1]])
    which = first + np.floor(count * rng.uniform(0.2, 0.8, n)).astype(int)
    chosen = (rng.random(n) < 0.1) & (count > 20)
    return np.where(chosen, day[np.minimum(which, len(day) - 1)], np.inf)
