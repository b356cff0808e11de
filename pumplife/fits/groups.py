"""Which lives are fitted together, and the arrays that the fits need."""

from dataclasses import dataclass, fields, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import stats

from pumplife.errors import RecordError
from pumplife.weibull.early import EarlyLives
from pumplife.weibull.early_by_group import find_early_anywhere
from pumplife.weibull.estimate import fit_weibull

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

GROUP_KEYS = ["service", "side", "part", "material", "variant", "period"]
SIZES_DIFFER_BELOW = 0.01  # likelihood-ratio p-value, over all groups tested, to fit sizes apart
FAILURES_PER_SIZE = 8.0  # fewer than this in a size, and sizes are not told apart
EARLY_OVER = 3.0  # mean early lives after which 95 % of the early lives are over
EARLY_NOTICED = 0.003  # share of early lives below which a group has hardly any
WORN_SHARE = 0.10  # share of lives ended on condition from which the second endpoint is shown


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FitRows:
    """Lives as arrays, one row per life (two for a life whose failure is shared).

    Parameters
    ----------
    lower, upper, entry : array (rows,)
        Bounds and entry age of the lives [usage units].
    weight : array (rows,)
        Weight of the row; the shares of a breakdown with no part named are below 1.
    group : array (rows,)
        Number of the fit group.
    life : array (rows,)
        Row in the lives table.
    """

    lower: Floats
    upper: Floats
    entry: Floats
    weight: Floats
    group: Ints
    life: Ints

    def take(self, chosen: NDArray[np.bool_]) -> "FitRows":
        """The chosen rows."""
        return FitRows(**{field.name: getattr(self, field.name)[chosen] for field in fields(self)})


def number_groups(lives: pd.DataFrame) -> tuple[pd.DataFrame, Ints]:
    """Fit groups and the group of every life: sizes together unless the records tell them apart.

    Returns
    -------
    groups : DataFrame
        [service, side, part, material, variant, size_mm (NaN where sizes are together)].
    group : array (lives,)
        Row of `groups` for every life.
    """
    together = np.asarray(lives.groupby(GROUP_KEYS, sort=True).ngroup(), dtype=np.int64)
    apart = np.isin(together, _groups_by_size(lives, together))
    size = lives["size_mm"].where(apart)
    keyed = lives[GROUP_KEYS].assign(size_mm=size.fillna(-1.0))
    grouped = keyed.groupby([*GROUP_KEYS, "size_mm"], sort=True)
    groups = keyed.drop_duplicates().sort_values([*GROUP_KEYS, "size_mm"]).reset_index(drop=True)
    groups["size_mm"] = groups["size_mm"].where(groups["size_mm"] >= 0)
    return groups, np.asarray(grouped.ngroup(), dtype=np.int64)


def _groups_by_size(lives: pd.DataFrame, together: Ints) -> Ints:
    """Groups whose sizes differ by a likelihood-ratio test on common shape and scale."""
    failed = lives["share_failed"].eq(1.0).to_numpy(float)
    by_size = pd.DataFrame({"together": together, "size": lives["size_mm"], "failed": failed})
    counts = by_size.groupby(["together", "size"])["failed"].sum()
    rich = counts[counts >= FAILURES_PER_SIZE].reset_index()
    several = rich.groupby("together")["size"].transform("size") >= 2
    wanted = rich[several][["together", "size"]].assign(rich=True)
    marked = by_size.merge(wanted, on=["together", "size"], how="left")["rich"].notna().to_numpy()
    if not marked.any():
        return np.array([], dtype=np.int64)
    named = lives.assign(upper=lives["upper"].where(lives["event"] < 0, np.inf))
    arrays = past_early(plain_rows(named, together), lives).take(marked)
    cell = by_size[marked].groupby(["together", "size"]).ngroup().to_numpy(np.int64)
    chosen = (arrays.lower, arrays.upper, arrays.entry, arrays.weight)
    pooled = fit_weibull(*chosen, group=arrays.group, bounds="wald")
    single = fit_weibull(*chosen, group=cell, bounds="wald")
    owner = by_size[marked].assign(cell=cell).drop_duplicates("cell").sort_values("cell")
    owner = owner.assign(log_likelihood=np.asarray(single.log_likelihood))
    summed = owner.groupby("together")["log_likelihood"].agg(["sum", "size"])
    gain = 2.0 * (summed["sum"].to_numpy() - np.asarray(pooled.log_likelihood))
    chance = np.asarray(stats.chi2.sf(gain, 2.0 * (summed["size"].to_numpy() - 1)))
    return summed.index.to_numpy(np.int64)[chance * len(chance) < SIZES_DIFFER_BELOW]


def past_early(rows: FitRows, lives: pd.DataFrame) -> FitRows:
    """Rows watched only from the age where early lives, if a part has any, are over.

    Assembly faults strike where and when they strike; left in, they make sizes look different.
    """
    family = lives.groupby(["side", "part"]).ngroup().to_numpy(np.int64)
    early = find_early_anywhere(
        rows.lower, rows.upper, rows.entry, rows.weight, group=rows.group, family=family
    )
    return skip_early(rows, early)


def skip_early(rows: FitRows, early: EarlyLives) -> FitRows:
    """Rows watched only from the age where their group's early lives, if any, are over."""
    family = early.group_family[np.searchsorted(early.groups, rows.group)]
    over = np.where(early.found, EARLY_OVER * early.early_scale, 0.0)[family]
    reached = np.where(np.isfinite(rows.upper), rows.upper, rows.lower)
    gone = (over > 0) & (reached <= over)
    entry = np.minimum(np.maximum(rows.entry, over), rows.lower)
    return replace(rows, entry=entry, weight=np.where(gone, 0.0, rows.weight))


def plain_rows(lives: pd.DataFrame, group: Ints) -> FitRows:
    """Lives as arrays for the endpoint "failed": a worn part counts as a suspension."""
    worn = (lives["outcome"] == "worn").to_numpy()
    lower = np.where(worn, lives["upper"], lives["lower"]).astype(float)
    upper = np.where(worn, np.inf, lives["upper"]).astype(float)
    return FitRows(
        lower=lower,
        upper=upper,
        entry=lives["entry"].to_numpy(float),
        weight=np.ones(len(lives)),
        group=group,
        life=np.arange(len(lives)),
    )


def spend_worn(rows: FitRows, lives: pd.DataFrame, spent: float) -> FitRows:
    """Rows as lives are estimated from them: a part pulled as worn would not have lasted for ever.

    Parts that are pulled are those near their end. Taken as suspensions they count as if they
    might have lasted as long as any other, and lives come out long: by a third in simulated plants
    whose inspections pull four in five of the parts with two thirds of their life behind them.

    Parameters
    ----------
    rows : FitRows
        Of the endpoint "failed", and of "worn or failed", which isn't touched.
    lives : DataFrame
    spent : float [-]
        Share of its life that such a part has behind it at least: it fails before its age / spent.
        0 leaves it a suspension.
    """
    if spent == 0.0:
        return rows
    pulled = (lives["outcome"] == "worn").to_numpy()[rows.life] & np.isinf(rows.upper)
    return replace(rows, upper=np.where(pulled, rows.lower / spent, rows.upper))


def share_out(arrays: FitRows, share: Floats, shared: NDArray[np.bool_]) -> FitRows:
    """Split rows whose failure is shared: `share` failed, the rest suspended at the same age."""
    if not np.all((share >= 0) & (share <= 1)):
        raise RecordError("A share of a failure lies outside 0 to 1.")
    rest = np.flatnonzero(shared)
    weight = np.where(shared, share, arrays.weight)
    return FitRows(
        lower=np.append(arrays.lower, arrays.upper[rest]),
        upper=np.append(arrays.upper, np.full(len(rest), np.inf)),
        entry=np.append(arrays.entry, arrays.entry[rest]),
        weight=np.append(weight, 1.0 - share[rest]),
        group=np.append(arrays.group, arrays.group[rest]),
        life=np.append(arrays.life, arrays.life[rest]),
    )
