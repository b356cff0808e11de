"""Early failures by lot and by crew: does one fitting in so many fail sooner than elsewhere."""

from collections.abc import Hashable
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import stats

from pumplife.fits.alike.expected import life_hazard
from pumplife.fits.alike.holm import holm
from pumplife.fits.alike.question import NO, answer, judge, no_answers
from pumplife.fits.build import Fits

Floats = NDArray[np.float64]

EARLY = 0.10  # share of the typical (median) life of its group within which a failure is early
FEWEST_FITTINGS = 3  # watched long enough, below which a lot or crew isn't asked about
FEWEST_EARLY = 2  # early fittings, below which nothing is said of a lot or crew
FEWEST_PUMPS = 2  # with early failures: one pump alone may have its own reason
FIT_WEIGHS = 20.0  # fittings that the fits' own word on early failures is worth
LOOK = {
    "lot": "look at the batch: cure date, storage, what else it was fitted to",
    "crew": "look at the work instruction, the torque values and the tools",
}
WHOSE = {"lot": "lots", "crew": "crews"}


def compare_fittings(fits: Fits, lives: pd.DataFrame, by: str) -> pd.DataFrame:
    """Ask every lot, or crew, whether its fittings fail early more often than the rest.

    A fitting is one side of one pump on one day. It counts once it failed early or was watched
    past the early age. The chance of so many early ones is beta-binomial: the share among the
    other fittings, with its doubt, and a little weight on what the fits expect.

    Parameters
    ----------
    fits : Fits
    lives : DataFrame
        The lives table.
    by : str
        lot or crew: the column of the lives table.
    """
    fittings = list_fittings(fits, lives, by)
    if fittings.empty:
        return no_answers()
    grouped = fittings.groupby(["side", by])
    counts = grouped.agg(
        fittings=("early", "size"), early=("early", "sum"), expected=("expected", "mean"),
        usage=("early_age", "median"),
    )  # fmt: skip
    struck = fittings[fittings["early"]].groupby(["side", by])["pump"].nunique()
    counts = counts.join(struck.rename("pumps")).fillna({"pumps": 0}).reset_index()
    counts = counts.rename(columns={by: "compared"})
    counts["p_value"] = early_p_values(counts)
    counts["p_adjusted"] = holm(counts["p_value"].to_numpy(float))
    counts["alike"] = judge(counts["p_adjusted"])
    alone = (counts["pumps"] < FEWEST_PUMPS) & counts["alike"].eq(NO)
    counts.loc[alone, "alike"] = "one pump alone"
    counts["failures"] = counts["early"].astype(float)
    whole = counts.groupby("side")[["fittings", "early"]].transform("sum")
    counts["rest"] = (whole["early"] - counts["early"]) / np.maximum(
        whole["fittings"] - counts["fittings"], 1
    )
    counts["verdict"] = [_say(row, by) for row in counts.to_dict("records")]
    return answer(counts, WHOSE[by])


def early_p_values(counts: pd.DataFrame) -> Floats:
    """Chance of so many early fittings or more in each row, if it is like the rest of its side.

    Parameters
    ----------
    counts : DataFrame
        side, fittings, early (number of them), expected (mean share by the fits).
    """
    number, early = counts["fittings"].to_numpy(float), counts["early"].to_numpy(float)
    whole = counts.groupby("side")[["fittings", "early"]].transform("sum").to_numpy(float)
    rest, rest_early = whole[:, 0] - number, whole[:, 1] - early
    weight = rest + FIT_WEIGHS
    share = (rest_early + FIT_WEIGHS * counts["expected"].to_numpy(float)) / weight
    share = np.clip(share, 1e-9, 1.0 - 1e-9)
    chance = stats.betabinom.sf(early - 1.0, number, share * weight, (1.0 - share) * weight)
    chance = np.where(early < FEWEST_EARLY, 1.0, chance)
    asked = (number >= FEWEST_FITTINGS) & (rest >= FEWEST_FITTINGS)
    return np.where(asked, np.minimum(chance, 1.0), np.nan)


def list_fittings(fits: Fits, lives: pd.DataFrame, by: str) -> pd.DataFrame:
    """Fittings that say whether they failed early: one row per pump, side, day and lot or crew.

    Returns
    -------
    DataFrame
        [pump, side, start_on, lot or crew, early, expected (by the fits), early_age].
    """
    table, rows = fits.table, fits.rows
    plain = (table["endpoint"].eq("failed") & table["mode"].eq("")).to_numpy()
    typical = table["scale"].to_numpy(float) * np.log(2.0) ** (1.0 / table["shape"].to_numpy(float))
    rows = rows.take((plain & np.isfinite(typical))[rows.group])
    named = (lives[by].iloc[rows.life] != "").to_numpy() & (rows.entry <= 0)
    rows = rows.take(named)
    limit = EARLY * typical
    share = -np.expm1(-life_hazard(table).at(np.where(np.isfinite(limit), limit, 0.0),
                                             np.arange(len(table))))  # fmt: skip
    failed = np.isfinite(rows.upper) & (rows.weight >= 0.5)
    early = failed & (rows.upper <= limit[rows.group])
    reached = np.where(np.isfinite(rows.upper), rows.upper, rows.lower)
    about = lives[["pump", "side", "start_on", by]].iloc[rows.life].reset_index(drop=True)
    about = about.assign(
        early=early, log_spared=np.log1p(-share[rows.group]), early_age=limit[rows.group]
    )
    about = about[early | (reached >= limit[rows.group])]
    grouped = about.groupby(["pump", "side", "start_on", by], sort=True, as_index=False)
    fittings = grouped.agg(
        early=("early", "max"), log_spared=("log_spared", "sum"), early_age=("early_age", "min")
    )
    fittings["expected"] = -np.expm1(fittings["log_spared"])
    return pd.DataFrame(fittings)


def _say(row: dict[Hashable, Any], by: str) -> str:
    who = f"{by} {row['compared']}, {row['side']} side"
    seen = f"{row['early']:.0f} of {row['fittings']:.0f} fittings failed early"
    if row["alike"] == NO:
        return f"{who}: {seen}, {100 * row['rest']:.2g} % elsewhere; {LOOK[by]}."
    if not np.isfinite(row["p_value"]):
        return f"{who}: {seen}; too few fittings to tell."
    if row["alike"] == "one pump alone":
        return f"{who}: {seen}, all on one pump: look at that pump."
    return f"{who}: {seen}, {100 * row['rest']:.2g} % elsewhere: no difference shown."
