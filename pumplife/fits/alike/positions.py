"""Do the positions of one part last alike: suction against discharge, left against right."""

from collections.abc import Hashable
from typing import Any

import numpy as np
import pandas as pd

from pumplife.fits.alike.holm import holm
from pumplife.fits.alike.question import NO, answer, judge, no_answers, say_part, say_ratio
from pumplife.fits.build import Fits
from pumplife.fits.groups import GROUP_KEYS, FitRows
from pumplife.weibull.contrast import Contrast, ContrastRows, contrast_lives

FEWEST_FAILURES = 8.0  # of positions that are known, below which a group isn't asked
FEWEST_PUMPS = 5
SHAPES_DIFFER = 0.01  # p-value below which a difference in shape is spoken of
PAIRS = (("suction", "discharge"), ("left", "right"))


def compare_positions(fits: Fits, lives: pd.DataFrame) -> pd.DataFrame:
    """Ask every group of lives whether its positions last alike.

    Only lives whose position is known count; where nobody wrote which of n alike failed, none
    of the n does, so that no position is favoured.

    Returns
    -------
    DataFrame
        Rows of the likeness table, `ratio` = life of the first position over the second.
    """
    table = fits.table
    chosen = table["endpoint"].eq("failed") & table["mode"].eq("") & table["period"].eq("")
    keys = table[GROUP_KEYS].apply("\x1f".join, axis=1)
    code, words = pd.factorize(keys, sort=False)
    rows = fits.rows.take(chosen.to_numpy()[fits.rows.group])
    about = table.drop_duplicates(GROUP_KEYS)[[*GROUP_KEYS]].reset_index(drop=True)
    parts = [_one_pair(rows, lives, code[rows.group], about, pair) for pair in PAIRS if len(words)]
    asked = pd.concat(parts, ignore_index=True) if parts else pd.DataFrame()
    if asked.empty:
        return no_answers()
    asked["p_adjusted"] = holm(asked["p_value"].to_numpy(float))
    asked["alike"] = judge(asked["p_adjusted"])
    asked["verdict"] = [_say(row) for row in asked.to_dict("records")]
    return answer(asked, "positions")


def _one_pair(
    rows: FitRows,
    lives: pd.DataFrame,
    code: np.ndarray[tuple[int], np.dtype[np.int64]],
    about: pd.DataFrame,
    pair: tuple[str, str],
) -> pd.DataFrame:
    """The groups that have lives in both positions, with the contrast of each."""
    position = lives["position"].iloc[rows.life]
    first = position.str.contains(pair[0], regex=False).to_numpy(bool)
    second = position.str.contains(pair[1], regex=False).to_numpy(bool)
    known = first | second
    if pair == PAIRS[1]:  # a ball's left and right differ in nothing but the eye of the beholder
        known &= ~position.str.contains("_", regex=False).to_numpy(bool)
    present, group = np.unique(code[known], return_inverse=True)
    if not len(present):
        return pd.DataFrame()
    found = contrast_lives(
        ContrastRows(
            lower=rows.lower[known],
            upper=rows.upper[known],
            entry=rows.entry[known],
            weight=rows.weight[known],
            marked=first[known],
            group=group.astype(np.int64),
            cluster=lives["pump"].to_numpy(np.int64)[rows.life[known]],
        ),
        len(present),
    )
    return _as_rows(found, about.iloc[present], pair)


def _as_rows(found: Contrast, about: pd.DataFrame, pair: tuple[str, str]) -> pd.DataFrame:
    failures = found.failures.sum(axis=1)
    enough = (failures >= FEWEST_FAILURES) & (found.clusters >= FEWEST_PUMPS)
    enough &= found.failures.min(axis=1) >= 1
    bounds = {name: getattr(found, name) for name in ("ratio", "ratio_low", "ratio_high")}
    told = {name: np.where(enough, value, np.nan) for name, value in bounds.items()}
    return about.assign(
        compared=f"{pair[0]} against {pair[1]}",
        failures=failures,
        p_value=np.where(enough, found.p_value, np.nan),
        shape_p_value=np.where(enough, found.shape_p_value, np.nan),
        **told,
    )


def _say(row: dict[Hashable, Any]) -> str:
    pair = str(row["compared"]).split(" against ")
    if not np.isfinite(float(str(row["p_value"]))):
        return f"{say_part(row)}: too few failures to tell {pair[0]} from {pair[1]}."
    ratio = say_ratio(*(float(str(row[name])) for name in ("ratio", "ratio_low", "ratio_high")))
    kind = " ".join(filter(None, (str(row["material"]), str(row["part"]))))
    where = f"{row['service']}: {pair[0]} {kind}s"
    shapes = float(str(row["shape_p_value"])) < SHAPES_DIFFER
    more = " Their shapes differ too." if shapes else ""
    if row["alike"] == NO:
        return (
            f"{where} last {ratio} times as long as {pair[1]} ones; they are fitted together, so "
            f"the fit is a mean of both.{more}"
        )
    return f"{where} last {ratio} times as long as {pair[1]} ones: no difference shown.{more}"
