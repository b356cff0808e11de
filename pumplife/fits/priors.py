"""What is assumed about wear before the plant's own failures speak: visible, and few."""

import numpy as np
import pandas as pd
from numpy.typing import NDArray

Floats = NDArray[np.float64]

# Median shape and spread (standard deviation of log shape) per kind of part, common practice:
# wear of diaphragms, balls and seats between about 1.2 and 4 in nine cases of ten, air valves
# nearer to 1 because dirt and water in the air supply strike at any age.
SHAPE_PRIORS: tuple[tuple[str, str, float, float], ...] = (
    # side, word in the part's name, median shape [-], spread [-]
    ("air", "valve", 1.4, 0.35),
    ("air", "", 1.8, 0.35),
    ("fluid", "", 2.2, 0.37),
)


def shape_prior(groups: pd.DataFrame) -> tuple[Floats, Floats]:
    """Median shape and spread of log shape for each group [-], by side and part name."""
    rows = [
        _prior_of(side, part) for side, part in zip(groups["side"], groups["part"], strict=True)
    ]
    pairs = np.array(rows, dtype=float).reshape(-1, 2)
    return pairs[:, 0], pairs[:, 1]


def _prior_of(side: str, part: str) -> tuple[float, float]:
    for prior_side, word, median, spread in SHAPE_PRIORS:
        if side == prior_side and word in part.lower():
            return median, spread
    return 2.2, 0.37
