"""Trials of materials that are expected to pay, one sentence each."""

import numpy as np
import pandas as pd

from pumplife.report.tables import is_blank, write_chance, write_number
from pumplife.report.words import Units


def list_worth_trying(plans: pd.DataFrame, units: Units) -> list[str]:
    """Say which proposed trials pay, the one that leaves most first.

    Parameters
    ----------
    plans : DataFrame
        The output table `trial_plans`.
    units : Units
        The plant's.

    Returns
    -------
    list of str
        "Diaphragm in slip: TPV against CR, 20 pumps with each for 58 weeks shows ..."
    """
    if plans.empty:
        return []
    pays = plans[plans["pays"].eq("yes")]
    order = np.argsort(-(pays["trial_saves"] - pays["trial_costs"]).to_numpy(float), kind="stable")
    return [_sentence(row, units) for _, row in pays.iloc[order].iterrows()]


def _sentence(row: "pd.Series[str]", units: Units) -> str:
    saves, costs, use = (
        write_number(float(row[name])) for name in ("trial_saves", "trial_costs", "usage_per_pump")
    )
    variant = "" if is_blank(row["variant"]) else f" {row['variant']}"
    part, even = str(row["part"]), float(row["break_even_ratio"])
    pays = f"; the material pays from {even:.2f} times the life on" if np.isfinite(even) else ""
    return (
        f"{part[:1].upper()}{part[1:]} in {row['service']}: {row['material']}{variant} against "
        f"{row['reference']}, {int(row['pumps_each'])} pumps with each for about "
        f"{float(row['weeks']):.0f} weeks ({use} {units.usage} a pump), shows "
        f"{float(row['wanted_ratio']):g} times the life with a chance of "
        f"{write_chance(float(row['power']))}; expected to save {saves} {units.currency} for "
        f"{costs} {units.currency}{pays}"
    )
