"""Day numbers back to dates, and each pump and day that is asked about only once."""

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pumplife.records.steps import time_key

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


def distinct(pump: Ints, first_day: Floats, *more: Floats) -> tuple[Ints, Ints]:
    """Find the distinct pumps with their days: the positions of a pump share most of them.

    Returns
    -------
    row : int array, (distinct,)
        The first row of each.
    code : int array, (n,)
        Which of them each row is.
    """
    code = pd.factorize(time_key(pump, first_day))[0]
    for day in more:
        here = pd.factorize(time_key(pump, day))[0]
        code = pd.factorize(code * (here.max(initial=0) + 1) + here)[0]
    row = np.zeros(code.max(initial=-1) + 1, dtype=np.int64)
    row[code[::-1]] = np.arange(len(code))[::-1]
    return row, code


def date_of(days: Floats) -> NDArray[np.datetime64]:
    """Dates of day numbers since 1970-01-01 (rounded down); NaT where NaN."""
    days = np.asarray(days, dtype=np.float64)
    known = np.isfinite(days)
    whole = np.where(known, np.floor(np.where(known, days, 0.0)), 0.0).astype(np.int64)
    dates = whole.astype("datetime64[D]").astype("datetime64[ns]")
    return np.where(known, dates, np.datetime64("NaT", "ns"))
