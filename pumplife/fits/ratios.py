"""How shape and scale differ between two readings of the same records, group by group."""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pumplife.fits.groups import GROUP_KEYS, FitRows, plain_rows, share_out
from pumplife.weibull.estimate import fit_weibull
from pumplife.weibull.masked import share_masked

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

ROUNDS = 5  # of sharing out breakdowns that name no part
FEW_FAILURES = 5.0  # below this the shape stays as the study has it and only the scale moves


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Likely:
    """Maximum likelihood estimates of the study's groups from one reading.

    Attributes
    ----------
    shape, scale : float array, (groups,)
        NaN where there is none [-], [usage units].
    lives : int array, (groups,)
        How many lives each rests on.
    failures : float array, (groups,)
    exposure : float array, (groups,)
        Sum of (age / unit)^shape over what was observed of each life, at the study's shape, with
        the unit below [-].
    unit : float
        [usage units]
    """

    shape: FloatArray
    scale: FloatArray
    lives: IntArray
    failures: FloatArray
    exposure: FloatArray
    unit: float

    def __repr__(self) -> str:
        return f"Likely({len(self.shape)} groups, {int(self.lives.sum())} lives)"


def _group_of(table: pd.DataFrame, keys: pd.DataFrame) -> IntArray:
    """Row of the study's fits that each life belongs to, -1 for none."""
    plain = keys[(keys["endpoint"] == "failed") & (keys["mode"] == "")].reset_index(names="fit")
    together = plain[plain["size_mm"].isna()].drop(columns="size_mm")
    sized = table[[*GROUP_KEYS, "size_mm"]].merge(
        plain[[*GROUP_KEYS, "size_mm", "fit"]], on=[*GROUP_KEYS, "size_mm"], how="left"
    )["fit"]
    joined = table[GROUP_KEYS].merge(together[[*GROUP_KEYS, "fit"]], on=GROUP_KEYS, how="left")
    return sized.fillna(joined["fit"]).fillna(-1).to_numpy(np.int64)


def fit_reading(lives: pd.DataFrame, keys: pd.DataFrame) -> Likely:
    """Maximum likelihood in the study's groups, breakdowns without a name shared out anew.

    Parameters
    ----------
    lives : DataFrame
        Of one reading.
    keys : DataFrame
        The study's fits, with the shape to hold where failures are few.
    """
    group = _group_of(lives, keys)
    table, group = lives[group >= 0], group[group >= 0]
    plain = plain_rows(table, group)
    event = table["event"].to_numpy(np.int64)
    shared = share_masked(
        plain.lower, plain.upper, plain.entry, plain.weight,
        group=group, event=event, iterations=ROUNDS,
    )  # fmt: skip
    share = np.where(event >= 0, shared, table["share_failed"].to_numpy(float))
    rows = share_out(plain, share, event >= 0)
    fit = fit_weibull(
        rows.lower, rows.upper, rows.entry, rows.weight, group=rows.group, bounds="wald"
    )
    count, present = len(keys), np.unique(rows.group)
    shape, scale = np.full(count, np.nan), np.full(count, np.nan)
    shape[present], scale[present] = fit.shape, fit.scale
    counts = np.asarray(np.bincount(group, minlength=count), dtype=np.float64)
    unit = float(np.median(rows.lower[rows.lower > 0])) if (rows.lower > 0).any() else 1.0
    return Likely(
        shape=shape,
        scale=scale,
        lives=_endpoints_alike(counts, keys).astype(np.int64),
        failures=np.bincount(rows.group, rows.weight * np.isfinite(rows.upper), count).astype(
            float
        ),
        exposure=_exposure(rows, keys["shape"].to_numpy(float), unit),
        unit=unit,
    )


def _exposure(rows: FitRows, shape: FloatArray, unit: float) -> FloatArray:
    """Sum over a group's lives of (age / unit)^shape, less what passed before entry."""
    reached = np.where(np.isfinite(rows.upper), rows.upper, rows.lower) / unit
    power = shape[rows.group]
    lived = reached**power - (rows.entry / unit) ** power
    return np.asarray(np.bincount(rows.group, rows.weight * lived, len(shape)), dtype=float)


def ratios_between(
    as_is: Likely, found: Likely, keys: pd.DataFrame
) -> tuple[FloatArray, FloatArray]:
    """Shape and scale of one reading over those of the study, (groups,); 1 without evidence.

    With few failures the shape stays and the scale follows the exposure per failure.
    """
    fixed = keys["shape"].to_numpy(float)
    rich = np.minimum(as_is.failures, found.failures) >= FEW_FAILURES
    rich &= np.isfinite(as_is.scale) & np.isfinite(found.scale)
    some = (as_is.exposure > 0) & (found.exposure > 0)
    worth = [np.maximum(one.failures, 0.5) for one in (as_is, found)]
    with np.errstate(invalid="ignore", divide="ignore"):
        gain = (found.exposure / worth[1]) / (as_is.exposure / worth[0])
        thin = (found.unit / as_is.unit) * gain ** (1.0 / fixed)
        shape = np.where(rich, found.shape / as_is.shape, 1.0)
        scale = np.where(rich, found.scale / as_is.scale, np.where(some, thin, 1.0))
    return _endpoints_alike(shape, keys), _endpoints_alike(scale, keys)


def _endpoints_alike(ratio: FloatArray, keys: pd.DataFrame) -> FloatArray:
    """Give rows of another endpoint or of one failure mode the ratio of their part."""
    names = [*GROUP_KEYS, "size_mm"]
    plain = (keys["endpoint"] == "failed") & (keys["mode"] == "")
    group = keys[names].fillna({"size_mm": -1.0}).groupby(names, sort=False).ngroup()
    known = pd.Series(ratio).where(plain.to_numpy())
    return known.groupby(group.to_numpy()).transform("first").fillna(1.0).to_numpy(float)
