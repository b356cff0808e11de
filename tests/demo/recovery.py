"""How many of the true failures the lives give back."""

import numpy as np
import pandas as pd

from pumplife.lives.build import Lives
from pumplife.records.read import Records


def find_recovered(truth: pd.DataFrame, records: Records, lives: Lives) -> "pd.Series[bool]":
    """Which true failures stand in the lives with the right part and an age within 2 %.

    A day's running or 2 %, whichever is more, since records name days; a failure found later
    must lie between the bounds of its life; one shared among several parts doesn't count.
    """
    tickets = records.table("rebuilds")
    row = tickets["row"].astype(str)
    rows = row.groupby([tickets["rebuild_id"], tickets["pump_id"]]).agg("|".join).rename("rows")
    failed = lives.table[lives.table["share_failed"] == 1.0].reset_index(names="life")
    failed = failed.assign(end_row=failed["source_rows"].str.split(";"))
    failed = failed.explode("end_row")[["life", "pump_id", "part", "lower", "upper", "end_row"]]
    wanted = truth.reset_index(names="failure").merge(
        rows.reset_index(), on=["rebuild_id", "pump_id"]
    )
    wanted = wanted.assign(end_row=wanted["rows"].str.split("|")).explode("end_row")
    pairs = wanted.merge(failed, on=["pump_id", "part", "end_row"])
    slack = np.maximum(0.02 * pairs["age"], 30.0)
    near = (pairs["lower"] - slack <= pairs["age"]) & (pairs["age"] <= pairs["upper"] + slack)
    found = set(pairs.loc[near, "failure"])
    return pd.Series([number in found for number in range(len(truth))], index=truth.index)
