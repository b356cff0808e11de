"""One kind of row for every answer to "are these lives alike?"."""

from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd

LIKE_COLUMNS = [
    "question", "service", "side", "part", "material", "compared", "failures", "ratio",
    "ratio_low", "ratio_high", "p_value", "p_adjusted", "alike", "verdict",
]  # fmt: skip
BY_CHANCE = 0.05  # chance of any difference being shown per question if there is none
YES, NO, FEW = "no difference shown", "differ", "too few to tell"


def answer(rows: pd.DataFrame, question: str) -> pd.DataFrame:
    """Rows in the columns of the likeness table; what a question doesn't tell stays blank."""
    whole = rows.assign(question=question)
    for name in LIKE_COLUMNS:
        if name not in whole:
            blank = name in ("service", "side", "part", "material", "compared", "verdict")
            whole[name] = "" if blank else np.nan
    if "alike" not in rows:
        whole["alike"] = judge(whole["p_adjusted"])
    return whole[LIKE_COLUMNS].reset_index(drop=True)


def judge(p_adjusted: "pd.Series[float]") -> "np.ndarray[tuple[int], np.dtype[np.str_]]":
    """Alike or not, by the p-value that allows for the number of questions."""
    known = p_adjusted.notna().to_numpy()
    return np.where(known, np.where(p_adjusted.to_numpy(float) < BY_CHANCE, NO, YES), FEW)


def no_answers() -> pd.DataFrame:
    """A likeness table without rows."""
    words = [name for name in LIKE_COLUMNS if name not in NUMBERS]
    kinds = dict.fromkeys(words, object) | dict.fromkeys(NUMBERS, float)
    return pd.DataFrame(columns=LIKE_COLUMNS).astype(kinds)


NUMBERS = ("failures", "ratio", "ratio_low", "ratio_high", "p_value", "p_adjusted")


def put_together(parts: list[pd.DataFrame]) -> pd.DataFrame:
    """All answers in one table."""
    filled = [part for part in parts if len(part)]
    return pd.concat(filled, ignore_index=True) if filled else no_answers()


def say_ratio(ratio: float, low: float, high: float) -> str:
    """0.6 (0.5 to 0.7), with as many digits as are worth reading."""
    return f"{ratio:.2g} ({low:.2g} to {high:.2g})"


def say_part(row: Mapping[Any, Any]) -> str:
    """Service, material and part in words."""
    return f"{row['service']}, {' '.join(filter(None, (row['material'], row['part'])))}"
