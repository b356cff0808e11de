"""Day numbers back to dates."""

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


def date_of(days: Floats) -> NDArray[np.datetime64]:
    """Dates of day numbers since 1970-01-01 (rounded down); NaT where NaN."""
    days = np.asarray(days, dtype=np.float64)
    known = np.isfinite(days)
    whole = np.where(known, np.floor(np.where(known, days, 0.0)), 0.0).astype(np.int64)
    dates = whole.astype("datetime64[D]").astype("datetime64[ns]")
    return np.where(known, dates, np.datetime64("NaT", "ns"))
