"""Lives → fits: early-life screen first, then shape and scale of every group, then draws."""

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pumplife.fits.alone import draw_alone, find_borrowers
from pumplife.fits.groups import (
    GROUP_KEYS,
    WORN_SHARE,
    FitRows,
    number_groups,
    plain_rows,
    share_out,
    spend_worn,
)
from pumplife.fits.opinions import judge_forms
from pumplife.fits.priors import say_changed_priors, shape_prior
from pumplife.fits.rules import read_rules, say_changed_rules
from pumplife.fits.sharing import widen_shared
from pumplife.fits.table import Answers, build_table
from pumplife.fits.verdict import describe_fit
from pumplife.lives.build import Lives
from pumplife.records.read import Records
from pumplife.weibull.draws import LifeDraws
from pumplife.weibull.early_by_group import find_early_anywhere
from pumplife.weibull.estimate import fit_weibull
from pumplife.weibull.masked import share_masked
from pumplife.weibull.posterior import fit_posterior

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

DRAWS = 400
ENDPOINTS = ("failed", "worn or failed")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Fits:
    """Life of every part of every group, with its doubt.

    Parameters
    ----------
    table : DataFrame
        One row per group: service, size_mm (NaN where sizes are fitted together), side, part,
        position, mode, material, variant, endpoint, failures, suspensions, shape, scale, b10,
        mean_life with _low and _high (90 % bounds), early_share with bounds, early_scale, method,
        period ("" = today's; "before DATE" = before a lasting event, never used for advice),
        longest_life and usage observed [usage units]; prior_share, borrowed_share and
        b10_wider_prior (the B10 life had the prior on shape twice the spread); evidence (no
        failures, indicative, weak, usable, good), standing (what can be decided on it),
        more_failures (that would halve the band of the B10 life), verdict.
    draws : LifeDraws
        Equally likely lives, arrays (rows of table, draws).
    alone : LifeDraws
        The same, where fits of hazardous services with few failures borrow from no like group.
    rows : FitRows
        What counts as failed and suspended: lives as arrays, `rows.group` = row of table.
    taken : FitRows
        The same as the estimates take them: parts pulled as worn fail within a stated age.
    """

    table: pd.DataFrame
    draws: LifeDraws
    alone: LifeDraws
    rows: FitRows
    taken: FitRows

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
        Takes the audit rows on changed priors and rules, and on parts pulled as worn.
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
    say_changed_priors(records, groups)
    say_changed_rules(records)
    spent = read_rules(records.plant.evidence).worn_life_spent
    taken = spend_worn(rows, settled.table, spent)
    _say_pulled(records, settled.table, spent)
    fits = _fit_groups(records, groups, (rows, taken), event, seed=seed, draws=draws)
    return fits, settled


def _say_pulled(records: Records, lives: pd.DataFrame, spent: float) -> None:
    """Note what is assumed of parts that were pulled before they failed."""
    pulled = lives[lives["outcome"] == "worn"]
    for (part, service), rows in pulled.groupby(["part", "service"]):
        records.log.add(
            "note",
            f"{len(rows)} {part} lives in {service} ended because the part looked worn.",
            rule="pulled_as_worn",
            table="fits",
            consequence=f"Each is taken to fail before its age / {spent:g}: worn parts are near "
            "their end, and as plain suspensions would make lives long."
            if spent
            else "Each is a suspension, which makes lives long.",
            remedy="Write [evidence] worn_life_spent where inspections pull parts sooner or later; "
            "the lives to worn or failed stand beside these where they are many.",
        )


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
        family=groups.groupby(["side", "part"]).ngroup().to_numpy(np.int64)[plain.group],
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


def _fit_groups(
    records: Records,
    groups: pd.DataFrame,
    both: tuple[FitRows, FitRows],
    event: Ints,
    *,
    seed: int,
    draws: int,
) -> Fits:
    """Fit what the estimates take, and count what failed."""
    counted, rows = both
    keys = groups.groupby(["side", "part", "endpoint"], sort=False)
    family = keys.ngroup().to_numpy(np.int64)
    lives = (rows.lower, rows.upper, rows.entry, rows.weight)
    early = find_early_anywhere(*lives, group=rows.group, family=family[rows.group])
    median, spread = shape_prior(groups, records.plant.priors)
    posterior = fit_posterior(
        *lives,
        group=rows.group,
        shape_prior_median=median,
        shape_prior_sd=spread,
        family=family[rows.group],
        early=early,
        draws=draws,
        seed=seed,
    )
    plain = fit_weibull(*lives, group=rows.group)
    endpoint = np.asarray(groups["endpoint"] == ENDPOINTS[1], dtype=np.int64)
    likely, posterior = widen_shared(plain, posterior, rows, event, endpoint)
    answers = Answers(
        rows=rows,
        likely=likely,
        plain=plain,
        posterior=posterior,
        early=early,
        prior_shape=median,
        pooled=np.bincount(family)[family] > 1,
    )
    rules = read_rules(records.plant.evidence)
    table = build_table(groups, counted, answers, rules)
    borrowers = find_borrowers(records, table, rules.weak)
    prior = (np.asarray(median), np.asarray(spread))
    alone = draw_alone(posterior.draws, rows, borrowers, prior, early, seed=seed)
    table = judge_forms(table, rows, early, seed=seed)
    table["verdict"] = [describe_fit(row) for row in table.to_dict("records")]
    return Fits(table=table, draws=posterior.draws, alone=alone, rows=counted, taken=rows)
