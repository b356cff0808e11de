"""Does a pump's excess of failures go with it, or stay in its place: told where pumps moved."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pumplife.fits.alike.expected import life_hazard
from pumplife.fits.alike.likeness import Alike
from pumplife.fits.build import Fits
from pumplife.lives.build import Lives
from pumplife.records.duty import Duty
from pumplife.records.plant import to_days
from pumplife.records.usage import UsageClock

Words = NDArray[np.object_]

CLEAR = float(np.log(9.0))  # log of the odds from which pump or location is said
LEAST_RATIO = 1.3  # an excess is taken to be at least so many times the usual hazard


def what_it_follows(fits: Fits, lives: Lives, ran: tuple[Duty, UsageClock], alike: Alike) -> Words:
    """Say of each pump with an excess: pump, location or can't tell; blank for the others.

    Its failures at other places speak for the pump, other pumps' failures at its place for the
    location: one likelihood over the other, at the pump's own ratio.
    """
    ratios = alike.ratios
    words = np.full(len(ratios.ratio), "", dtype=object)
    marked = np.flatnonzero(ratios.named | ratios.watched)
    words[marked] = "can't tell"
    if not len(marked):
        return words
    cells = _by_place(fits, lives, ran, alike, marked)
    odds = _odds(cells, ratios.ratio)
    odds = odds[odds.index.isin(marked) & (odds.abs() >= CLEAR)]
    words[odds.index.to_numpy(np.int64)] = np.where(odds > 0, "pump", "location")
    return words


def _odds(cells: pd.DataFrame, ratio: NDArray[np.float64]) -> pd.Series[float]:
    """Log odds of pump against location for every pump, at the place of its largest excess."""
    numbers = ["failed", "expected"]
    excess = cells["failed"] - cells["expected"]
    worst = cells.loc[excess.groupby(cells["pump"]).idxmax()].set_index("pump")
    own = cells.groupby("pump")[numbers].sum()
    place = cells.groupby("location")[numbers].sum().loc[worst["location"]]
    away = own.loc[worst.index].to_numpy(float) - worst[numbers].to_numpy(float)
    others = place.to_numpy(float) - worst[numbers].to_numpy(float)
    times = np.maximum(ratio[worst.index.to_numpy(np.int64)], LEAST_RATIO)
    speaks = away - others
    odds = speaks[:, 0] * np.log(times) - (times - 1.0) * speaks[:, 1]
    return pd.Series(odds, index=worst.index)


def _by_place(
    fits: Fits,
    lives: Lives,
    ran: tuple[Duty, UsageClock],
    alike: Alike,
    marked: NDArray[np.int64],
) -> pd.DataFrame:
    """Failures seen and expected by pump and location, for pumps that met the marked ones."""
    duty, clock = ran
    seen = alike.seen
    spells = duty.occupied()
    places = spells.loc[spells["pump"].isin(marked), "location"]
    spells = spells[spells["location"].isin(set(places))]
    about = lives.table[["start_on", "end_on"]].iloc[seen.life].reset_index(drop=True)
    rows = pd.DataFrame(
        {
            "pump": seen.pump, "group": seen.group, "entry": seen.entry,
            "reached": np.where(np.isfinite(seen.upper), seen.upper, seen.lower),
            "weight": seen.weight, "failed": seen.failed,
            "start": to_days(about["start_on"]), "end": to_days(about["end_on"]),
        }
    )  # fmt: skip
    rows = rows[rows["pump"].isin(set(spells["pump"]))].merge(spells, on="pump")
    rows = rows[(rows["from_day"] < rows["end"]) & (rows["to_day"] >= rows["start"])]
    pump = rows["pump"].to_numpy(np.int64)
    start, stop = rows["start"].to_numpy(float), rows["end"].to_numpy(float)
    born = clock.usage(pump, start)
    ages = []
    spell = [rows[name].to_numpy(float) for name in ("from_day", "to_day")]
    for bound in (np.maximum(spell[0], start), np.minimum(spell[1], stop)):
        age = clock.usage(pump, bound) - born
        ages.append(np.clip(age, rows["entry"], np.maximum(rows["reached"], rows["entry"])))
    hazard, group = life_hazard(fits.table), rows["group"].to_numpy(np.int64)
    lived = hazard.at(np.asarray(ages[1], float), group) - hazard.at(
        np.asarray(ages[0], float), group
    )
    here = (rows["end"] >= rows["from_day"]) & (rows["end"] < rows["to_day"])
    cells = rows.assign(expected=rows["weight"] * lived, failed=rows["failed"].where(here, 0.0))
    grouped = cells.groupby(["pump", "location"], as_index=False)[["failed", "expected"]].sum()
    return pd.DataFrame(grouped)
