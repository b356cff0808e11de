"""Why no interval can be advised for a pump group."""

from __future__ import annotations

import numpy as np
import pandas as pd

from pumplife.policy.pump import FloatArray
from pumplife.policy.simulate import BoolArray
from pumplife.records.phrases import with_article


def why_missing(
    key: pd.Series[str], inside: pd.DataFrame, unknown: BoolArray, price: float, rate: float
) -> str:
    """Why no interval can be advised; "" where one can."""
    if key["kit"] == "":
        return f"Which {key['side']} kit is fitted isn't known: write {key['side']}_kit in pumps."
    if inside.empty:
        return f"Kit {key['kit']} holds no wearing part: complete kit_contents and parts."
    if unknown.any():
        row = inside.iloc[int(np.flatnonzero(unknown)[0])]
        name = " ".join(word for word in (row["part"], row["material"], row["variant"]) if word)
        return f"No life of {with_article(name)} in {key['service']} is known yet."
    if not np.isfinite(price):
        return f"Kit {key['kit']} has no price: write unit_cost in kits."
    if not np.isfinite(rate) or rate <= 0.0:
        return "The usage of these pumps isn't known: give readings or use_per_week."
    return ""


def why_too_short(rows: pd.DataFrame, own_limit: FloatArray) -> str:
    """Say which limits can't be meant; "" where none is below a day's usage."""
    below = int((own_limit < rows["rate"].to_numpy(float)).sum())
    if not below:
        return ""
    column = f"max_{rows['side'].iloc[0]}_interval"
    return f"{column} of {below} of its pumps is shorter than a day's usage: correct it in pumps."
