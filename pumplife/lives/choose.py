"""One of a few words for each row of an array, every word held once in memory."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray


def choose(
    cases: Sequence[NDArray[np.bool_]], words: Sequence[str], otherwise: str
) -> NDArray[np.object_]:
    """The word of the first case that applies to each row, `otherwise` where none does."""
    code = np.select(cases, list(range(len(words))), len(words))
    chosen: NDArray[np.object_] = np.array([*words, otherwise], dtype=object)[code]
    return chosen
