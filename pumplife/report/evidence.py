"""What stands behind an interval: the fits of its parts, and the longest life that was seen."""

import numpy as np
import pandas as pd

from pumplife.report.face import ReadableStudy, find_table


def fits_behind(study: ReadableStudy, place: int) -> pd.DataFrame:
    """Pick the fits that one row of intervals was computed from.

    Parameters
    ----------
    study : ReadableStudy
        Finished.
    place : int
        Row of intervals.

    Returns
    -------
    DataFrame
        Rows of the table of fits, empty where the row has no advice.
    """
    fits = find_table(study, "fits")
    groups = [] if study.advice is None else study.advice.groups
    if place >= len(groups):
        return fits.iloc[:0]
    rows = np.asarray(groups[place].fit_rows)
    return fits.iloc[np.unique(rows[rows >= 0])]


def say_counts(fits: pd.DataFrame) -> str:
    """Say how many failures and suspensions rows of the table of fits hold; "" for none.

    Parameters
    ----------
    fits : DataFrame
        Rows of the table; those of single causes, past periods and the second endpoint tell of
        the same lives once more and don't count.
    """
    if fits.empty:
        return ""
    once = (fits["mode"] == "") & (fits["endpoint"] != "worn or failed")
    if "period" in fits.columns:
        once &= fits["period"] == ""
    failures, suspensions = fits.loc[once, ["failures", "suspensions"]].sum()
    return f"Lives behind it: {failures:,.0f} failures and {suspensions:,.0f} suspensions of parts."


def find_weakest(fits: pd.DataFrame) -> int | None:
    """Find the life with the smallest scale among rows of the table of fits, None of none."""
    if fits.empty or fits["scale"].isna().all():
        return None
    scale = fits["scale"].to_numpy(dtype=float)
    return int(fits.index.to_numpy()[np.nanargmin(scale)])


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
    intervals = find_table(study, "intervals")
    if intervals.empty or "longest_life" not in find_table(study, "fits").columns:
        return [False] * len(intervals)
    return [
        _lies_beyond(float(interval), fits_behind(study, place))
        for place, interval in enumerate(intervals["interval"])
    ]


def _lies_beyond(interval: float, fits: pd.DataFrame) -> bool:
    seen = fits["longest_life"].to_numpy(dtype=float)
    if not np.isfinite(interval) or not np.isfinite(seen).any():
        return False
    whole = fits["failures"].to_numpy(dtype=float) == 0
    return bool(interval > np.nanmax(seen) or (interval > seen[whole]).any())


def order_by_stake(intervals: pd.DataFrame) -> list[int]:
    """Order the rows of intervals by the money at stake, most first.

    Parameters
    ----------
    intervals : DataFrame
        The output table.

    Returns
    -------
    list of int
        Positions of rows; withheld rows come last.
    """
    if intervals.empty:
        return []
    stake = intervals["saving_per_year"].abs().fillna(-1.0).to_numpy(dtype=float)
    return [int(place) for place in np.argsort(-stake, kind="stable")]


def find_group(study: ReadableStudy, service: str, part: str) -> int | None:
    """Find the row of intervals in a service that wears a part and is worked most dearly.

    Parameters
    ----------
    study : ReadableStudy
        Finished.
    service, part : str
        Where none wears that part there, the service counts alone; then any group.

    Returns
    -------
    int or None
        A row of intervals; None where there is none.
    """
    intervals = find_table(study, "intervals")
    if intervals.empty:
        return None
    wears = [(fits_behind(study, row)["part"] == part).any() for row in range(len(intervals))]
    here = (intervals["service"] == service).to_numpy(dtype=int)
    score = 2 * here + np.array(wears, dtype=int)
    cost = (intervals["cost_rate"] * intervals["usage_per_year"]).fillna(-1.0).to_numpy(float)
    return int(np.lexsort((cost, score))[-1])
