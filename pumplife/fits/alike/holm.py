"""Many questions asked at once: p-values that allow for their number."""

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


def holm(p_value: Floats) -> Floats:
    """Adjust p-values for their number; NaN (not asked) stays NaN and isn't counted.

    References
    ----------
    .. [1] S. Holm, Scandinavian J. Statistics 6 (1979) 65-70 (from memory).
    """
    adjusted = np.full(len(p_value), np.nan)
    asked = np.flatnonzero(np.isfinite(p_value))
    order = asked[np.argsort(p_value[asked], kind="stable")]
    steps = p_value[order] * (len(order) - np.arange(len(order)))
    adjusted[order] = np.minimum(np.maximum.accumulate(steps), 1.0)
    return adjusted
