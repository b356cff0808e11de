"""Where each pump stood on which day, and what it moved."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from pumplife.records.plant import to_days
from pumplife.records.steps import Floats, Ints, row_at, sum_within, time_key
from pumplife.records.tables import DUTY_COLUMNS, TABLES

if TYPE_CHECKING:
    from pumplife.records.read import Records

NOBODY = -1
SEVERAL = -2
BEFORE = 0.5
"""Half a day: the duty of the evening before holds so long before a day begins [day]."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Duty:
    """The duty of every pump over time.

    Attributes
    ----------
    stints : DataFrame
        One row per pump and spell of unchanged duty, sorted by pump and day: pump, from_day
        and to_day [day since 1970-01-01; from the first instant of one to that of the other,
        -inf and inf at the ends], in_service, and every duty column (site, service, location,
        store, size_mm, hazard, ...).
    commissioned, retired : float array, (pumps,)
        First and last day in use [day], NaN where not known.
    """

    stints: pd.DataFrame
    commissioned: Floats
    retired: Floats

    def __repr__(self) -> str:
        return f"Duty({len(self.commissioned)} pumps, {len(self.stints)} stints)"

    def at(self, pump: ArrayLike, day: ArrayLike) -> Ints:
        """Give the row of `stints` that holds for pumps on days; -1 for an unknown pump."""
        keys = time_key(self.stints["pump"], self.stints["from_day"])
        return row_at(keys, pump, day)

    def worked_at(self, pump: ArrayLike, day: ArrayLike) -> Ints:
        """Give the row of `stints` in which work on a day counts.

        What was done on the day of a move was done before it: a pump that broke down broke down
        in its old duty.
        """
        return self.at(pump, np.asarray(day, dtype=np.float64) - BEFORE)

    def occupied(self) -> pd.DataFrame:
        """Give pump, location, from_day and to_day of the stints spent in service at a place."""
        spells = self.stints[self.stints["in_service"] & self.stints["location"].ne("")]
        pump = spells["pump"].to_numpy()
        start = np.fmax(spells["from_day"], self.commissioned[pump])
        end = np.fmin(spells["to_day"], self.retired[pump] + BEFORE)
        spells = spells.assign(from_day=start, to_day=end)
        return spells.loc[start < end, ["pump", "location", "from_day", "to_day"]]

    def resolve_location(self, location: "pd.Series", day: Floats) -> Ints:
        """Say which pump served a place on a day.

        Parameters
        ----------
        location : Series of str
            Places.
        day : float array
            [day]

        Returns
        -------
        int array
            Pump; -1 where none stood there, -2 where more than one did.
        """
        spells = self.occupied()
        places = pd.Index(spells["location"].unique())
        asked = places.get_indexer(pd.Index(location))
        code = places.get_indexer(pd.Index(spells["location"]))
        came = _count_until(code, spells["from_day"], spells["pump"], asked, day)
        left = _count_until(code, spells["to_day"], spells["pump"], asked, day)
        count = came[0] - left[0]
        return np.select(
            [(asked < 0) | np.isnan(day) | (count == 0), count == 1],
            [np.full(len(asked), NOBODY), came[1] - left[1]],
            SEVERAL,
        )

    def resolve_work(self, location: "pd.Series", day: Floats) -> Ints:
        """Say which pump work at a place on a day was for, as `resolve_location`.

        On the day on which pumps were swapped it was for the one that left.
        """
        left = self.resolve_location(location, day - BEFORE)
        return np.where(left == NOBODY, self.resolve_location(location, day), left)


def _count_until(
    place: ArrayLike, day: "pd.Series", pump: "pd.Series", asked: ArrayLike, until: Floats
) -> tuple[Ints, Ints]:
    """Count the events at each place until a day, and add up their pumps.

    Arrivals less departures tell how many pumps are there; where it is one, the difference of
    the sums is that pump.
    """
    keys = time_key(place, day)
    order = np.argsort(keys, kind="stable")
    group = np.asarray(place, dtype=np.int64)[order]
    number = sum_within(group, np.ones(len(group)))
    total = sum_within(group, pump.to_numpy(dtype=np.float64)[order])
    row = row_at(keys[order], asked, until)
    found = row >= 0
    padded = np.maximum(row, 0)
    if not len(group):
        return np.zeros(row.shape, np.int64), np.zeros(row.shape, np.int64)
    count = np.where(found, number[padded], 0).astype(np.int64)
    return count, np.where(found, total[padded], 0).astype(np.int64)


def build_duty(records: "Records") -> Duty:
    """Lay out every pump's duty over time from pumps and moves.

    A row of pumps holds until the first move; each move changes the columns it gives from its
    day on. Moves dated after the window are plans and stay out.
    """
    return lay_out_duty(records.table("pumps"), records.table("moves"))


def lay_out_duty(pumps: pd.DataFrame, moves: pd.DataFrame) -> Duty:
    """Lay out duty from cleaned tables; see `build_duty`."""
    base = pumps[list(DUTY_COLUMNS)].assign(
        pump=np.arange(len(pumps)), from_day=-np.inf, state="in_service"
    )
    real = moves[~moves["plan"].astype(bool) & moves["pump"].ge(0)]
    changes = real[["pump", "state", *DUTY_COLUMNS]].assign(from_day=to_days(real["moved_on"]))
    moved = changes["site"].ne("") | changes["service"].ne("") | changes["location"].ne("")
    returned = changes["state"].eq("") & moved
    changes.loc[returned, "state"] = "in_service"
    stints = pd.concat([base, changes], ignore_index=True) if len(changes) else base
    stints = stints.sort_values(["pump", "from_day"], kind="stable", ignore_index=True)
    stints = _carry_forward(_reset_store(stints))
    following = stints.groupby("pump")["from_day"].shift(-1)
    stints["to_day"] = following.fillna(np.inf)
    stints["in_service"] = stints["state"].eq("in_service")
    front = ["pump", "from_day", "to_day", "in_service"]
    return Duty(
        stints=stints[[*front, *DUTY_COLUMNS]],
        commissioned=to_days(pumps["commissioned_on"]),
        retired=to_days(pumps["retired_on"]),
    )


def _reset_store(stints: pd.DataFrame) -> pd.DataFrame:
    """A move to another site without a store is served by the store named like the site."""
    moved = np.isfinite(stints["from_day"]) & stints["site"].ne("") & stints["store"].eq("")
    return stints.assign(store=stints["store"].where(~moved, stints["site"]))


def _carry_forward(stints: pd.DataFrame) -> pd.DataFrame:
    """Fill what a move leaves blank with what held before it."""
    filled = stints.copy()
    if not stints["pump"].is_unique:
        names = [*DUTY_COLUMNS, "state"]
        words = [name for name in names if not _is_number(name)]
        given = stints[names].where(stints[names] != "")
        filled[names] = given.groupby(stints["pump"]).ffill()
        filled[words] = filled[words].fillna("")
    blank = filled["store"].eq("")
    return filled.assign(store=filled["store"].where(~blank, filled["site"]))


def _is_number(name: str) -> bool:
    return name in DUTY_COLUMNS and TABLES["pumps"].column(name).kind == "number"
