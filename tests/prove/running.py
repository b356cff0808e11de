"""Invented pump sides run from visit to visit: parts fail by their lives, people renew by habit."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

PLACES = 10  # two diaphragms, four balls, four seats
LATE = 0.08  # spread of the log of planned ages about the habit


@dataclass(frozen=True, kw_only=True, eq=False)
class Sides:
    """True lives of the places of each side.

    Attributes
    ----------
    shape, scale, early_share : arrays (sides, places) [-], [h], [-]
    early_scale : array (sides,) [h]
    """

    shape: np.ndarray
    scale: np.ndarray
    early_share: np.ndarray
    early_scale: np.ndarray

    def __repr__(self) -> str:
        return f"<Sides {self.shape.shape}>"

    def draw(self, rng: np.random.Generator, side: np.ndarray) -> np.ndarray:
        """Lives of new parts at every place of the sides (len(side), places) [h]."""
        wear = self.scale[side] * rng.exponential(size=(len(side), PLACES)) ** (
            1.0 / self.shape[side]
        )
        soon = rng.random(wear.shape) < self.early_share[side]
        early = self.early_scale[side, None] * rng.exponential(size=wear.shape)
        return np.where(soon, early, wear)


@dataclass(frozen=True, kw_only=True, eq=False)
class Habits:
    """What people do: planned age [h], inf for never, and share of failures with a whole kit."""

    planned: np.ndarray
    kit_share: np.ndarray

    def __repr__(self) -> str:
        return f"<Habits of {len(self.planned)} sides>"


def run_sides(
    rng: np.random.Generator, sides: Sides, habits: Habits, until: np.ndarray
) -> pd.DataFrame:
    """Every visit of every side from new until its last hour.

    Returns
    -------
    DataFrame
        pump (number of the side), usage [h], place (that failed; -1 where planned), whole
        (whether the kit was fitted), in order of time within a side.
    """
    count = len(until)
    every = np.arange(count)
    death = sides.draw(rng, every)
    plan = habits.planned * rng.lognormal(0.0, LATE, count)
    found = []
    running = every
    while len(running):
        first = death[running].argmin(axis=1)
        fails = death[running, first]
        now = np.minimum(fails, plan[running])
        goes_on = now < until[running]
        running, first, now = running[goes_on], first[goes_on], now[goes_on]
        broken = death[running, first] <= plan[running]
        whole = ~broken | (rng.random(len(running)) < habits.kit_share[running])
        fresh = now[:, None] + sides.draw(rng, running)
        renewed = whole[:, None] | (np.arange(PLACES) == first[:, None])
        death[running] = np.where(renewed, fresh, death[running])
        again = now + habits.planned[running] * rng.lognormal(0.0, LATE, len(running))
        plan[running] = np.where(whole, again, plan[running])
        found.append((running, now, np.where(broken, first, -1), whole))
    pump, usage, place, whole = (np.concatenate(parts) for parts in zip(*found, strict=True))
    visits = pd.DataFrame({"pump": pump, "usage": usage, "place": place, "whole": whole})
    return visits.sort_values(["pump", "usage"], kind="stable").reset_index(drop=True)
