"""Failures seen against failures expected of every life, by the fit of its group."""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pumplife.fits.build import Fits

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
MOST_HAZARD = 500.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LifeHazard:
    """Cumulative hazard at any age by the point estimates of the fits.

    Parameters
    ----------
    shape, scale, early_share, early_scale : array (fits,)
        Of the rows of the table of fits; scale inf (no hazard) where nothing failed.
    """

    shape: Floats
    scale: Floats
    early_share: Floats
    early_scale: Floats

    def __repr__(self) -> str:
        return f"LifeHazard({len(self.shape)} fits)"

    def at(self, age: Floats, group: Ints) -> Floats:
        """Cumulative hazard of lives of these fits at these ages [-]."""
        with np.errstate(divide="ignore"):
            power = self.shape[group] * (np.log(age) - np.log(self.scale[group]))
        wear = np.exp(np.minimum(power, np.log(MOST_HAZARD)))
        share = self.early_share[group]
        gone = np.where(share > 0, -np.expm1(-age / self.early_scale[group]), 0.0)
        # S = S_wear (1 - share) + share S_early, as S_wear times what it is multiplied by
        lost = np.log1p(-np.minimum(gone, 1.0 - 1e-15))
        rest = np.log1p(share * np.expm1(np.minimum(wear + lost, MOST_HAZARD)))
        return np.asarray(np.where(share > 0, wear - rest, wear))


def life_hazard(table: pd.DataFrame) -> LifeHazard:
    """Read the hazards off the table of fits; a part that never failed expects no failure."""
    known = np.isfinite(table["shape"].to_numpy(float))
    share = table["early_share"].fillna(0.0).to_numpy(float)
    return LifeHazard(
        shape=np.where(known, table["shape"].to_numpy(float), 1.0),
        scale=np.where(known, table["scale"].to_numpy(float), np.inf),
        early_share=np.where(known, share, 0.0),
        early_scale=np.where(share > 0, table["early_scale"].fillna(1.0).to_numpy(float), 1.0),
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Seen:
    """Failures seen and expected, one row per row of the fits' lives; arrays (rows,).

    Parameters
    ----------
    life, group : int
        Row of the lives table and of the table of fits.
    pump : int
    entry, lower, upper : float
        Of the life [usage units].
    weight : float
    failed : float
        Weighted failures seen.
    expected : float
        Weighted failures expected of what was watched.
    """

    life: Ints
    group: Ints
    pump: Ints
    entry: Floats
    lower: Floats
    upper: Floats
    weight: Floats
    failed: Floats
    expected: Floats

    def __repr__(self) -> str:
        return f"Seen({self.failed.sum():.4g} failures, {self.expected.sum():.4g} expected)"


def failures_seen(fits: Fits, lives: pd.DataFrame, *, entry: Floats | None = None) -> Seen:
    """Failures seen and expected of every life that is fitted for the endpoint "failed".

    Parameters
    ----------
    fits : Fits
    lives : DataFrame
        The lives table.
    entry : array (lives,), optional
        Age from which each life counts [usage units], where later than its own entry; lives
        over by then expect nothing.
    """
    table, rows = fits.table, fits.rows
    plain = (table["endpoint"].eq("failed") & table["mode"].eq("")).to_numpy()
    rows = rows.take(plain[rows.group])
    hazard = life_hazard(table)
    since = rows.entry if entry is None else np.maximum(rows.entry, entry[rows.life])
    reached = np.where(np.isfinite(rows.upper), rows.upper, rows.lower)
    watched = reached > since if entry is not None else np.ones(len(reached), bool)
    start = hazard.at(np.minimum(since, reached), rows.group)
    low = np.maximum(hazard.at(rows.lower, rows.group), start)
    failed = np.isfinite(rows.upper)
    between = failed & (rows.upper > rows.lower)
    high = hazard.at(np.where(between, rows.upper, rows.lower), rows.group)
    gap = np.maximum(high - low, 1e-300)
    with np.errstate(over="ignore"):
        late = np.where(between, 1.0 - gap / np.expm1(gap), 0.0)
    weight = rows.weight * watched
    return Seen(
        life=rows.life,
        group=rows.group,
        pump=lives["pump"].to_numpy(np.int64)[rows.life],
        entry=rows.entry,
        lower=rows.lower,
        upper=rows.upper,
        weight=rows.weight,
        failed=weight * failed,
        expected=weight * (low - start + late),
    )
