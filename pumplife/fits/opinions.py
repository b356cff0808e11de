"""Second opinions on the fits by general libraries; a disagreement is a row in the audit."""

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pumplife.fits.groups import FitRows, skip_early
from pumplife.records.read import Records
from pumplife.weibull.adequacy import ask_second_opinions
from pumplife.weibull.early import EarlyLives
from pumplife.weibull.goodness import FEWEST, check_goodness
from pumplife.weibull.rivals import compare_rivals

DISAGREE = 0.01  # relative difference in shape or scale worth a row
FEWEST_TO_ASK = 5.0  # failures
MOST_ROWS = 3000  # larger groups are left to our own fit: the libraries take minutes there


def say_second_opinions(records: Records, table: pd.DataFrame, rows: FitRows) -> None:
    """Ask the libraries about every group they can read; note where they differ by over 1 %."""
    for number in _groups_to_ask(table, rows):
        member = rows.group == number
        ours = table.iloc[number]
        opinions = ask_second_opinions(
            rows.lower[member],
            rows.upper[member],
            rows.entry[member],
            rows.weight[member],
            start=(ours["likely_shape"], ours["likely_scale"]),
        )
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


def judge_forms(
    table: pd.DataFrame, rows: FitRows, early: EarlyLives, *, seed: int
) -> pd.DataFrame:
    """Add to the table of fits whether its lives are Weibull, and what else they may be.

    Where a part has early lives, its lives count from the age where these are over.

    Returns
    -------
    DataFrame
        The table with goodness_p (p-value, NaN under 8 failures), best_life (weibull, lognormal,
        exponential, undecided; blank under 8 failures) and lognormal_gain (AICc of the Weibull
        less that of the lognormal).
    """
    wear = skip_early(rows, early)
    lives = (wear.lower, wear.upper, wear.entry, wear.weight)
    rivals = compare_rivals(*lives, group=wear.group)
    failed = wear.weight * np.isfinite(wear.upper)
    enough = np.bincount(wear.group, failed, len(table)) >= FEWEST
    gain = rivals.aicc[:, 0] - rivals.aicc[:, 1]
    return table.assign(
        goodness_p=check_goodness(*lives, group=wear.group, seed=seed),
        best_life=np.where(enough, rivals.best, ""),
        lognormal_gain=np.where(enough, gain, np.nan),
    )


def _groups_to_ask(table: pd.DataFrame, rows: FitRows) -> NDArray[np.int64]:
    size = np.bincount(rows.group, minlength=len(table))
    asked = (table["failures"] >= FEWEST_TO_ASK) & np.isfinite(table["likely_shape"])
    return np.flatnonzero(asked & (size <= MOST_ROWS))
