"""Every fitted life with its material, its stratum of like duty, its dates and its pump's pace."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pumplife.fits.duty_columns import MOSTLY_KNOWN, NUMBERS, measure_number
from pumplife.fits.duty_effects import gather_lives
from pumplife.lives.build import Lives
from pumplife.records.audit import AuditLog
from pumplife.records.duty import Duty

if TYPE_CHECKING:
    from pumplife.fits.build import Fits

Floats = NDArray[np.float64]

STRATUM = ["service", "size", "solids", "period"]
SAME_LIFE = [
    "side", "part", "pump", "kind", "stratum", *NUMBERS,
    "lower", "upper", "entry", "early", "start", "end",
]  # fmt: skip
ADDED = ["weight", "usage", "failures"]
PER_NUMBER = 10.0  # failures asked for per column of numeric duty
DAYS_PER_WEEK = 7.0


def gather_facts(fits: Fits, lives: Lives, duty: Duty) -> pd.DataFrame:
    """Gather the fitted lives of parts whose material or variant is written.

    Parameters
    ----------
    fits : Fits
        Its rows are the lives, failures that nobody placed shared out.
    lives : Lives
    duty : Duty

    Returns
    -------
    DataFrame
        What `gather_every` gives, without lives of which no material is written.
    """
    return keep_written(gather_every(fits, lives, duty))


def keep_written(every: pd.DataFrame) -> pd.DataFrame:
    """Keep the lives whose material or variant is written, strata numbered."""
    return number_strata(every[every["kind"].ne("")]).reset_index(drop=True)


def gather_every(fits: Fits, lives: Lives, duty: Duty) -> pd.DataFrame:
    """Gather the fitted lives of all parts.

    Returns
    -------
    DataFrame
        One row per life: side, part, pump, service, size [mm], solids, period, pressure,
        temperature, stroke_rate, lower, upper, entry [usage], weight, usage, failures, early,
        kind (material and variant as one label), material, variant, start, end (days), pace
        (usage a week between them), mode, share_failed, life (row of the lives table); kind is ""
        where none is written.
    """
    facts = gather_lives(fits, lives, duty)
    about = lives.table.iloc[facts["life"]]
    start, end = (pd.to_datetime(about[name]).to_numpy() for name in ("start_on", "end_on"))
    weeks = (end - start) / np.timedelta64(1, "D") / DAYS_PER_WEEK
    reached = np.where(np.isfinite(facts["upper"]), facts["upper"], facts["lower"])
    return facts.rename(columns={"material": "kind"}).assign(
        material=about["material"].to_numpy(object),
        variant=about["variant"].to_numpy(object),
        period=about["period"].to_numpy(object),
        mode=about["mode"].to_numpy(object),
        start=start,
        end=end,
        pace=np.divide(reached, weeks, out=np.full(len(weeks), np.nan), where=weeks > 0.0),
    )


def say_blank(every: pd.DataFrame, log: AuditLog) -> None:
    """Write an audit row for every part that has lives of which no material is written."""
    for (side, part), mine in every.groupby(["side", "part"], sort=True):
        blank = mine[mine["kind"].eq("")]
        if blank.empty:
            continue
        known = len(mine) - len(blank)
        log.add(
            "caution" if known else "note",
            f"{part}, {side} side: no material is written for {len(blank)} of {len(mine)} lives, "
            f"with {blank['failures'].sum():.4g} of {mine['failures'].sum():.4g} failures.",
            rule="material_blank",
            table="parts",
            consequence="These lives are in the fits, not in the comparison of materials.",
            remedy="Write the material in parts, or of the new part in findings."
            if known
            else "None needed where it is made of one material only.",
        )


def number_strata(facts: pd.DataFrame) -> pd.DataFrame:
    """Add `stratum`, the number of service, size, solids and period."""
    return facts.assign(stratum=facts.groupby(STRATUM, sort=True).ngroup().to_numpy())


def merge_equal(facts: pd.DataFrame) -> pd.DataFrame:
    """Bring lives that are alike in all that a comparison sees into one row, counts added up.

    Positions of one pump that were renewed together have one age: four balls are one row. Lives
    are told apart by a hash of 64 bits: that two of a million share one has a chance of 3e-8.
    """
    alike = pd.util.hash_pandas_object(facts[SAME_LIFE], index=False).to_numpy()
    code, distinct = pd.factorize(alike)
    first = np.unique(code, return_index=True)[1]
    sums = {name: np.bincount(code, facts[name], len(distinct)) for name in ADDED}
    return facts[[*SAME_LIFE, *STRATUM, "pace"]].iloc[first].assign(**sums).reset_index(drop=True)


def duty_numbers(facts: pd.DataFrame) -> tuple[Floats, list[str]]:
    """Columns of recorded numeric duty that failures enough allow to hold equal.

    Returns
    -------
    columns : array (rows, columns)
        Log pressure and stroke rate, temperature; the median stands for the few not known.
    told : list of str
        Their names.
    """
    failures = float(facts["weight"][np.isfinite(facts["upper"])].sum())
    columns: list[Floats] = []
    told: list[str] = []
    for name in NUMBERS:
        values = facts[name]
        known = values.notna().mean()
        if known < MOSTLY_KNOWN or values.nunique() < 2:
            continue
        if failures < PER_NUMBER * (len(told) + 2):
            continue
        filled = values.fillna(values.median()).to_numpy(float)
        columns.append(measure_number(name, filled).values)
        told.append(name)
    return np.column_stack(columns) if columns else np.zeros((len(facts), 0)), told
