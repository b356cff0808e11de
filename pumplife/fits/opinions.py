"""Second opinions on the fits by general libraries; a disagreement is a row in the audit."""

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pumplife.fits.groups import FitRows
from pumplife.records.read import Records
from pumplife.weibull.adequacy import ask_second_opinions, compare_lognormal

DISAGREE = 0.01  # relative difference in shape or scale worth a row
MOST_ROWS = 3000  # larger groups are left to our own fit: the libraries take minutes there


def say_second_opinions(records: Records, table: pd.DataFrame, rows: FitRows) -> None:
    """Ask the libraries about every group they can read; note where they differ by over 1 %."""
    for number in _groups_to_ask(table, rows, failures=5.0):
        member = rows.group == number
        opinions = ask_second_opinions(
            rows.lower[member], rows.upper[member], rows.entry[member], rows.weight[member]
        )
        ours = table.iloc[number]
        for opinion in opinions:
            shift = max(
                abs(opinion.shape / ours["likely_shape"] - 1.0),
                abs(opinion.scale / ours["likely_scale"] - 1.0),
            )
            if shift > DISAGREE:
                records.log.add(
                    "note",
                    f"{opinion.library} fits shape {opinion.shape:.3f}, scale {opinion.scale:.5g} "
                    f"to {ours['material']} {ours['part']} in {ours['service']}; ours are "
                    f"{ours['likely_shape']:.3f} and {ours['likely_scale']:.5g}.",
                    rule="second_opinion",
                    table="fits",
                    consequence="Our own fit is used.",
                    remedy="Look at the probability plot of this group.",
                )


def lognormal_gains(table: pd.DataFrame, rows: FitRows) -> NDArray[np.float64]:
    """AICc of the Weibull less that of the lognormal per group; NaN where not compared."""
    gains = np.full(len(table), np.nan)
    for number in _groups_to_ask(table, rows, failures=10.0):
        member = rows.group == number
        if np.any(rows.entry[member] > 0):  # the library doesn't read late entry
            continue
        gains[number] = -compare_lognormal(
            rows.lower[member], rows.upper[member], rows.weight[member]
        )
    return gains


def _groups_to_ask(table: pd.DataFrame, rows: FitRows, *, failures: float) -> NDArray[np.int64]:
    size = np.bincount(rows.group, minlength=len(table))
    asked = (table["failures"] >= failures) & np.isfinite(table["likely_shape"])
    return np.flatnonzero(asked & (size <= MOST_ROWS))
