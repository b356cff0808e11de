"""What stands behind an interval: the fits of its parts, and the longest life that was seen."""

from typing import Any

import numpy as np
import pandas as pd

from pumplife.report.face import ReadableStudy, find_table

PART_KEYS = ["service", "side", "part", "material", "variant"]


def fits_of_group(fits: pd.DataFrame, row: "pd.Series[Any]") -> pd.DataFrame:
    """Pick the fits of the service, side and size of a pump group.

    Parameters
    ----------
    fits : DataFrame
        The output table.
    row : Series
        A row of intervals.

    Returns
    -------
    DataFrame
    """
    if fits.empty:
        return fits
    size = fits["size_mm"].astype(float)
    same = (fits["service"] == row["service"]) & (fits["side"] == row["side"])
    keep: pd.Series[bool] = same & (size.isna() | (size == row["size_mm"]))
    return fits.loc[keep]


def find_extrapolated(study: ReadableStudy) -> list[bool]:
    """Tell which intervals lie beyond the longest life seen.

    An interval does so when none of the kit's parts was ever seen to reach it, or when a part
    that never failed was not.

    Parameters
    ----------
    study : ReadableStudy
        Finished.

    Returns
    -------
    list of bool
        One per row of intervals.
    """
    intervals, fits = find_table(study, "intervals"), find_table(study, "fits")
    if fits.empty or "longest_life" not in fits.columns:
        return [False] * len(intervals)
    fits = fits[fits["endpoint"] != "worn or failed"]
    of_kits = _fits_of_kits(find_table(study, "lives"), fits)
    return [_lies_beyond(row, fits, of_kits) for _, row in intervals.iterrows()]


def _fits_of_kits(lives: pd.DataFrame, fits: pd.DataFrame) -> pd.DataFrame:
    """Join each kit, through the parts that lived under it, to the fits of these parts."""
    if "kit" not in lives.columns:
        return fits.iloc[:0].assign(kit="")
    parts = lives[[*PART_KEYS, "kit"]].drop_duplicates()
    return parts.fillna("").merge(fits.fillna(dict.fromkeys(PART_KEYS, "")), on=PART_KEYS)


def _lies_beyond(row: "pd.Series[Any]", fits: pd.DataFrame, of_kits: pd.DataFrame) -> bool:
    interval = float(row["interval"])
    mine = fits_of_group(of_kits[of_kits["kit"] == row["kit"]], row)
    mine = fits_of_group(fits, row) if mine.empty else mine
    seen = mine["longest_life"].to_numpy(dtype=float)
    if not np.isfinite(interval) or not np.isfinite(seen).any():
        return False
    whole = mine["failures"].to_numpy(dtype=float) == 0
    return bool(interval > np.nanmax(seen) or (interval > seen[whole]).any())
