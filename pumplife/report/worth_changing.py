"""Materials that the comparison finds worth changing to, one sentence each."""

import pandas as pd

from pumplife.materials.confirmed import CONFIRMED
from pumplife.materials.confounded import YES
from pumplife.materials.notes import ADVISE_FROM
from pumplife.report.tables import is_blank, write_chance, write_number
from pumplife.report.words import Units


def list_worth_changing(materials: pd.DataFrame, units: Units) -> list[str]:
    """Say which confirmed materials are cheaper than the one most used, surest first.

    Parameters
    ----------
    materials : DataFrame
        The output table.
    units : Units
        The plant's.

    Returns
    -------
    list of str
        "Diaphragm in glaze: TPV instead of NBR, 233 against 290 EUR per 1,000 h, ..."
    """
    if materials.empty:
        return []
    worth = materials[
        materials["comparable"].eq(YES)
        & materials["compatibility_confirmed"].eq(CONFIRMED)
        & materials["prob_cheaper"].ge(ADVISE_FROM)
    ]
    surest = worth.sort_values("prob_cheaper", ascending=False, kind="stable")
    return [_sentence(row, units) for _, row in surest.iterrows()]


def _sentence(row: "pd.Series[str]", units: Units) -> str:
    mine, theirs = (
        write_number(float(row[name])) for name in ("cost_per_1000", "reference_cost_per_1000")
    )
    variant = "" if is_blank(row["variant"]) else f" {row['variant']}"
    part = str(row["part"])
    return (
        f"{part[:1].upper()}{part[1:]} in {row['service']}: {row['material']}{variant} instead of "
        f"{row['reference']}, {mine} against {theirs} {units.currency} per {units.rate}, cheaper "
        f"with a chance of {write_chance(float(row['prob_cheaper']))}"
    )
