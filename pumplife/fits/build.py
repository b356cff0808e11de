"""Lives → fits: early-life screen first, then shape and scale of every group, then draws."""

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import special

from pumplife.fits.groups import (
    GROUP_KEYS,
    WORN_SHARE,
    FitRows,
    number_groups,
    plain_rows,
    share_out,
)
from pumplife.fits.opinions import lognormal_gains, say_second_opinions
from pumplife.fits.priors import shape_prior
from pumplife.fits.verdict import describe_fit
from pumplife.lives.build import Lives
from pumplife.records.read import Records
from pumplife.weibull.draws import LifeDraws
from pumplife.weibull.early import EarlyLives, find_early_lives
from pumplife.weibull.estimate import WeibullFit, fit_weibull
from pumplife.weibull.masked import share_masked
from pumplife.weibull.posterior import LifePosterior, fit_posterior

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

DRAWS = 400
ENOUGH_FAILURES = 5.0  # from here on maximum likelihood stands in the table, below it the posterior
ENDPOINTS = ("failed", "worn or failed")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Fits:
    """Life of every part of every group, with its doubt.

    Parameters
    ----------
    table : DataFrame
        One row per group: service, size_mm (NaN where sizes are fitted together), side, part,
        position, mode, material, variant, endpoint, failures, suspensions, shape, scale, b10,
        mean_life with _low and _high (90 % bounds), early_share, early_scale, method, verdict,
        period ("" = today's; "before DATE" = before a lasting event, never used for advice),
        longest_life and usage observed [usage units].
    draws : LifeDraws
        Equally likely lives, arrays (rows of table, draws).
    rows : FitRows
        What was fitted: lives as arrays, `rows.group` = row of table.
    """

    table: pd.DataFrame
    draws: LifeDraws
    rows: FitRows

    def __repr__(self) -> str:
        return f"Fits({len(self.table)} groups)"

    def find(
        self,
        service: str,
        size_mm: float,
        part: str,
        material: str,
        variant: str,
        *,
        endpoint: str = "failed",
    ) -> int:
        """Row of the table for a part in a service, -1 where none was fitted."""
        table = self.table
        same = (table["service"] == service) & (table["part"] == part)
        same &= (table["material"] == material) & (table["variant"] == variant)
        same &= (table["endpoint"] == endpoint) & (table["mode"] == "") & (table["period"] == "")
        sized = np.flatnonzero(same & (table["size_mm"] == size_mm))
        together = np.flatnonzero(same & table["size_mm"].isna())
        return int([*sized, *together, -1][0])


def fit_lives(
    records: Records, lives: Lives, *, seed: int, draws: int = DRAWS
) -> tuple[Fits, Lives]:
    """Fit every group of lives; also returns the lives with shares of unnamed failures settled.

    Parameters
    ----------
    records : Records
        Takes the audit rows: second opinions that differ.
    lives : Lives
        From `build_lives`.
    seed : int
        Seed of the draws.
    """
    groups, group = number_groups(lives.table)
    plain = plain_rows(lives.table, group)
    event = lives.table["event"].to_numpy(np.int64)
    share = _settle_shares(lives, groups, plain)
    settled = replace(lives, table=lives.table.assign(share_failed=share))
    rows = share_out(plain, share, event >= 0)
    groups, rows = _add_second_endpoint(settled.table, groups, group, rows)
    fits = _fit_groups(groups, rows, seed=seed, draws=draws)
    say_second_opinions(records, fits.table, rows)
    return fits, settled


def _settle_shares(lives: Lives, groups: pd.DataFrame, plain: FitRows) -> Floats:
    """Shares of breakdowns that named no part, by the hazards of their candidates."""
    share = lives.table["share_failed"].to_numpy(float)
    event = lives.table["event"].to_numpy(np.int64)
    if not np.any(event >= 0):
        return share
    settled = share_masked(
        plain.lower,
        plain.upper,
        plain.entry,
        plain.weight,
        group=plain.group,
        event=event,
        other_rate=_unseen_rates(lives, groups, plain, event),
    )
    return np.where(event >= 0, settled, share)


def _unseen_rates(lives: Lives, groups: pd.DataFrame, plain: FitRows, event: Ints) -> Floats:
    """Failure rate of candidates of unknown age beside each life of a shared breakdown.

    Their age isn't known, so they fail at the mean rate of their group [1 / usage unit].
    """
    failed = (event < 0) & np.isfinite(plain.upper)
    exposure = np.bincount(plain.group, plain.lower - plain.entry, len(groups))
    failures = np.bincount(plain.group, failed, len(groups))
    rate = np.divide(failures, exposure, out=np.zeros(len(groups)), where=exposure > 0)
    keyed = groups.assign(rate=rate)
    unseen = lives.unseen.merge(keyed, on=GROUP_KEYS, suffixes=("", "_group"))
    unseen = unseen[unseen["size_mm_group"].isna() | (unseen["size_mm_group"] == unseen["size_mm"])]
    beside = unseen.groupby("event")["rate"].sum()
    return pd.Series(event).map(beside).fillna(0.0).to_numpy(float)


def _add_second_endpoint(
    lives: pd.DataFrame, groups: pd.DataFrame, group: Ints, rows: FitRows
) -> tuple[pd.DataFrame, FitRows]:
    """Groups of the endpoint "worn or failed", where more than a tenth of lives end worn."""
    groups = groups.assign(endpoint=ENDPOINTS[0])
    worn = (lives["outcome"] == "worn").to_numpy()
    total = np.bincount(group, minlength=len(groups))
    chosen = np.flatnonzero(np.bincount(group, worn, len(groups)) > WORN_SHARE * total)
    if len(chosen) == 0:
        return groups, rows
    number = np.full(len(groups), -1)
    number[chosen] = len(groups) + np.arange(len(chosen))
    member = number[group] >= 0
    second = plain_rows(lives[member], number[group[member]])
    second = replace(
        second,
        lower=lives.loc[member, "lower"].to_numpy(float),
        upper=lives.loc[member, "upper"].to_numpy(float),
        life=np.flatnonzero(member),
    )
    share = lives.loc[member, "share_failed"].to_numpy(float)
    second = share_out(second, share, lives.loc[member, "event"].to_numpy() >= 0)
    both = groups.iloc[chosen].assign(endpoint=ENDPOINTS[1])
    names = ("lower", "upper", "entry", "weight", "group", "life")
    stacked = {name: np.append(getattr(rows, name), getattr(second, name)) for name in names}
    return pd.concat([groups, both], ignore_index=True), FitRows(**stacked)


def _fit_groups(groups: pd.DataFrame, rows: FitRows, *, seed: int, draws: int) -> Fits:
    keys = groups.groupby(["side", "part", "endpoint"], sort=False)
    family = keys.ngroup().to_numpy(np.int64)
    lives = (rows.lower, rows.upper, rows.entry, rows.weight)
    early = find_early_lives(*lives, group=rows.group, family=family[rows.group])
    median, spread = shape_prior(groups)
    posterior = fit_posterior(
        *lives,
        group=rows.group,
        shape_prior_median=median,
        shape_prior_sd=spread,
        early=early,
        draws=draws,
        seed=seed,
    )
    likely = fit_weibull(*lives, group=rows.group)
    table = _points_and_bounds(groups, rows, likely, posterior, early)
    table = _derived(table, posterior.draws)
    table["lognormal_gain"] = lognormal_gains(table, rows)
    columns = [
        "failures",
        "shared_failures",
        "shape_low",
        "shape_high",
        "early_share",
        "lognormal_gain",
    ]
    facts = table[columns].to_numpy(float)
    table["verdict"] = [
        describe_fit(**dict(zip(columns, row, strict=True))) for row in facts.tolist()
    ]
    return Fits(table=table, draws=posterior.draws, rows=rows)


def _points_and_bounds(
    groups: pd.DataFrame,
    rows: FitRows,
    likely: WeibullFit,
    posterior: LifePosterior,
    early: EarlyLives,
) -> pd.DataFrame:
    """Shape and scale with 90 % bounds, from the method that the evidence supports."""
    count = len(groups)
    failures = np.bincount(rows.group, rows.weight * np.isfinite(rows.upper), count)
    total = np.bincount(rows.group, rows.weight, count)
    found = early.found[early.group_family]
    rich = (failures >= ENOUGH_FAILURES) & np.isfinite(np.asarray(likely.shape)) & ~found
    none = failures < 0.5  # a shared breakdown or two is no failure of this part
    table = groups.assign(position="", mode="", failures=failures, suspensions=total - failures)
    for name in ("shape", "scale"):
        wear = np.where(found, getattr(early, name), getattr(posterior, name))
        point = np.where(rich, getattr(likely, name), wear)
        low = np.where(rich, getattr(likely, f"{name}_low"), getattr(posterior, f"{name}_low"))
        high = np.where(rich, getattr(likely, f"{name}_high"), getattr(posterior, f"{name}_high"))
        table[name] = np.where(none, np.nan, point)
        table[f"{name}_low"] = np.where(none, np.nan, np.minimum(low, point))
        table[f"{name}_high"] = np.where(none, np.nan, np.maximum(high, point))
    table["scale_low"] = np.where(none, _bounds_without_failure(rows, groups), table["scale_low"])
    shared = rows.weight * (np.isfinite(rows.upper) & (rows.weight < 1.0))
    table["shared_failures"] = np.bincount(rows.group, shared, count)
    table["early_share"] = np.where(found, early.share[early.group_family], 0.0)
    table["early_scale"] = np.where(found, early.early_scale[early.group_family], np.nan)
    reached = np.where(np.isfinite(rows.upper), rows.upper, rows.lower)
    longest = np.zeros(count)
    np.maximum.at(longest, rows.group, reached)
    table["longest_life"] = longest
    table["usage"] = np.bincount(rows.group, rows.weight * (reached - rows.entry), count)
    table["prior_share"] = posterior.prior_share
    table["likely_shape"] = likely.shape
    table["likely_scale"] = likely.scale
    table["method"] = np.select(
        [none, found, rich],
        ["no failures: lower bound at the prior's shape", "early lives apart, posterior bounds",
         "maximum likelihood, likelihood-ratio bounds"],
        "posterior with a prior on shape",
    )  # fmt: skip
    return table


def _bounds_without_failure(rows: FitRows, groups: pd.DataFrame) -> Floats:
    """Lower 95 % bound of the scale if nothing failed, at the prior's median shape."""
    shape = shape_prior(groups)[0]
    reached = np.where(np.isfinite(rows.upper), rows.upper, rows.lower)
    power = shape[rows.group]
    longest = np.ones(len(groups))
    np.maximum.at(longest, rows.group, reached)
    lived = (reached / longest[rows.group]) ** power - (rows.entry / longest[rows.group]) ** power
    total = np.bincount(rows.group, rows.weight * lived, len(groups))
    return np.asarray(longest * (total / -np.log(0.05)) ** (1.0 / shape))


def _derived(table: pd.DataFrame, draws: LifeDraws) -> pd.DataFrame:
    """B10 life and mean life of wear with 90 % bounds from the draws [usage units]."""
    b10 = draws.scale * (-np.log(0.9)) ** (1.0 / draws.shape)
    mean = draws.mean()
    none = table["shape"].isna().to_numpy()
    point = table["scale"] * (-np.log(0.9)) ** (1.0 / table["shape"])
    wear = table["scale"] * special.gamma(1.0 + 1.0 / table["shape"])
    early = table["early_share"] * table["early_scale"].fillna(0.0)
    values = {
        "b10": (point, b10),
        "mean_life": ((1.0 - table["early_share"]) * wear + early, mean),
    }
    for name, (centre, drawn) in values.items():
        low, high = np.quantile(drawn, [0.05, 0.95], axis=1)
        table[name] = centre
        table[f"{name}_low"] = np.where(none, np.nan, np.minimum(low, centre))
        table[f"{name}_high"] = np.where(none, np.nan, np.maximum(high, centre))
    return table
