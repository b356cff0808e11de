"""Lives of hazardous services by their own records alone, where few failures make them borrow."""

from dataclasses import replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pumplife.fits.groups import FitRows
from pumplife.records.read import Records
from pumplife.weibull.draws import LifeDraws
from pumplife.weibull.early import EarlyLives
from pumplife.weibull.posterior import fit_posterior

Bools = NDArray[np.bool_]
Floats = NDArray[np.float64]


def find_borrowers(records: Records, table: pd.DataFrame, few: float) -> Bools:
    """Fits of services with hazardous pumps that have fewer failures than `few`.

    Parameters
    ----------
    records : Records
        Its pumps and moves say where fluid is hazardous.
    table : DataFrame
        The table of fits.
    few : float
        [failures]

    Returns
    -------
    bool array (fits,)
    """
    pumps, moves = records.pumps, records.table("moves")
    named = moves[moves["hazard"].eq("hazardous")]
    places = {*pumps.loc[pumps["hazard"].eq("hazardous"), "service"], *named["service"]}
    moved = pumps.set_index("pump_id")["service"].reindex(named["pump_id"])
    hazardous = table["service"].isin({*places, *moved.dropna()} - {""})
    return np.asarray(hazardous & (table["failures"] < few), dtype=np.bool_)


def draw_alone(
    pooled: LifeDraws,
    rows: FitRows,
    borrowers: Bools,
    prior: tuple[Floats, Floats],
    early: EarlyLives,
    *,
    seed: int,
) -> LifeDraws:
    """Draws in which some fits borrow nothing from like groups; the others as they are.

    A service that is harsher than all its like borrows too long a life as long as it has hardly a
    failure of its own. What its own lives alone allow is wider, and doesn't depend on whether it
    is like the others.

    Parameters
    ----------
    pooled : LifeDraws (fits, draws)
    rows : FitRows
        What was fitted.
    borrowers : bool array (fits,)
        The fits to draw anew.
    prior : (array, array) (fits,)
        Median and spread of the prior on shape.
    early : EarlyLives
        Found on `rows`.
    seed : int

    Returns
    -------
    LifeDraws (fits, draws)
    """
    if not borrowers.any():
        return pooled
    own = rows.take(borrowers[rows.group])
    kept = borrowers[early.groups]
    some = replace(
        early,
        groups=early.groups[kept],
        group_family=early.group_family[kept],
        shape=early.shape[kept],
        scale=early.scale[kept],
    )
    alone = fit_posterior(
        own.lower,
        own.upper,
        own.entry,
        own.weight,
        group=own.group,
        shape_prior_median=prior[0][borrowers],
        shape_prior_sd=prior[1][borrowers],
        early=some,
        draws=pooled.shape.shape[1],
        seed=seed,
    ).draws
    return LifeDraws(
        early_share=_put(pooled.early_share, borrowers, alone.early_share),
        early_scale=_put(pooled.early_scale, borrowers, alone.early_scale),
        shape=_put(pooled.shape, borrowers, alone.shape),
        scale=_put(pooled.scale, borrowers, alone.scale),
    )


def _put(values: Floats, rows: Bools, new: Floats) -> Floats:
    """The values with some rows in place of theirs, where the new ones are known."""
    known = np.isfinite(new).all(axis=1, keepdims=True)
    changed = values.copy()
    changed[rows] = np.where(known, new, values[rows])
    return changed
