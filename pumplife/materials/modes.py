"""How each material fails: its modes, and how often fluid got out."""

from __future__ import annotations

import pandas as pd

from pumplife.records.plant import to_days

KEYS = ["service", "side", "part", "kind"]
OUT = ("air_side", "outside")  # of a ticket's `released`


def find_modes(facts: pd.DataFrame, visits: pd.DataFrame) -> pd.DataFrame:
    """Find the main failure mode of each material in each service, and the share that released.

    Parameters
    ----------
    facts : DataFrame
        From `gather_facts`.
    visits : DataFrame
        Of the lives: what each ticket says was released.

    Returns
    -------
    DataFrame
        Index service, side, part, kind; main_mode ("" where none is written), main_mode_share (of
        the failures with a mode), released_share (of the failures whose ticket says), released_told
        (their number).
    """
    failed = facts[facts["failures"] > 0.0]
    named = failed[failed["mode"].ne("")]
    counts = named.groupby([*KEYS, "mode"])["failures"].sum().reset_index()
    counts = counts.sort_values([*KEYS, "failures", "mode"], ascending=[True] * 4 + [False, True])
    main = counts.drop_duplicates(KEYS).set_index(KEYS)
    total = counts.groupby(KEYS)["failures"].sum()
    modes = pd.DataFrame({"main_mode": main["mode"], "main_mode_share": main["failures"] / total})
    told = _join_released(failed, visits)
    index = facts.groupby(KEYS).size().index
    both = modes.reindex(index).join(told)
    return both.fillna({"main_mode": "", "released_told": 0.0})


def _join_released(failed: pd.DataFrame, visits: pd.DataFrame) -> pd.DataFrame:
    """Share of failures at whose ticket fluid got out, by what the tickets say."""
    keys = ["pump", "day", "side"]
    said = visits[visits["released"].ne("")].drop_duplicates(keys)
    days = pd.Series(to_days(failed["end"]), index=failed.index).astype("int64")
    rows = failed.assign(day=days).merge(said[[*keys, "released"]], on=keys)
    weight = rows["failures"]
    out = (weight * rows["released"].isin(OUT)).groupby([rows[key] for key in KEYS]).sum()
    told = weight.groupby([rows[key] for key in KEYS]).sum()
    return pd.DataFrame({"released_share": out / told, "released_told": told})
