"""The table of fits: points and bounds of each row from one method, and what they are worth."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import special

from pumplife.fits.groups import FitRows
from pumplife.fits.rules import NONE, Rules, failures_to_halve
from pumplife.weibull.arrays import check_lives, find_groups, sort_lives
from pumplife.weibull.early import EarlyLives
from pumplife.weibull.estimate import WeibullFit
from pumplife.weibull.life_bounds import Asked, bound_life
from pumplife.weibull.merge import merge_close
from pumplife.weibull.posterior import LifePosterior

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

B10 = float(np.log(-np.log(0.9)))
METHODS = {
    "none": "no failures: lower bound at the prior's shape",
    "likelihood": "maximum likelihood, likelihood-ratio bounds",
    "alone": "posterior with a prior on shape",
    "pooled": "posterior with a prior on shape, pooled with like groups",
    "early": "early lives apart, posterior with a prior on shape",
    "early_pooled": "early lives apart, posterior with a prior on shape, pooled with like groups",
}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Answers:
    """What each way of fitting says of the same groups.

    Attributes
    ----------
    rows : FitRows
        What they were fitted to.
    likely : WeibullFit
    plain : WeibullFit
        `likely` before it was widened for breakdowns that name no part.
    posterior : LifePosterior
    early : EarlyLives
    prior_shape : array (groups,) [-]
        Median shape of the prior.
    pooled : array (groups,) of bool
        Whether the group has like groups to borrow from.
    """

    rows: FitRows
    likely: WeibullFit
    plain: WeibullFit
    posterior: LifePosterior
    early: EarlyLives
    prior_shape: Floats
    pooled: Bools

    def __repr__(self) -> str:
        return f"Answers({len(self.prior_shape)} groups)"

    @property
    def with_early(self) -> Bools:
        """Groups of a part in which early lives were found."""
        return np.asarray(self.early.found[self.early.group_family])


def build_table(
    groups: pd.DataFrame, rows: FitRows, answers: Answers, rules: Rules
) -> pd.DataFrame:
    """One row per group, as `Fits.table`, but for the verdict.

    Maximum likelihood stands where there are failures enough for its bounds to hold what they say
    and no early lives; the posterior's medians and bounds elsewhere; a lower bound without any
    failure.
    """
    table = _count_lives(groups, rows)
    failures = table["failures"].to_numpy(float)
    none = failures < NONE
    rich = (failures >= rules.likelihood) & np.isfinite(np.asarray(answers.likely.shape))
    rich &= ~answers.with_early & ~none
    table = _add_bands(table, _posterior_bands(answers), _likely_bands(answers, rich), rich)
    for name in _bands():
        table[name] = table[name].mask(none)
    table["scale_low"] = np.where(
        none, bound_without_failure(rows, answers.prior_shape), table["scale_low"]
    )
    return _add_worth(table, answers, rules, _name_methods(answers, none, rich))


def _bands() -> list[str]:
    names = ("shape", "scale", "b10", "mean_life")
    return [f"{name}{end}" for name in names for end in ("", "_low", "_high")]


def _count_lives(groups: pd.DataFrame, rows: FitRows) -> pd.DataFrame:
    count = len(groups)
    failed = np.isfinite(rows.upper)
    failures = np.bincount(rows.group, rows.weight * failed, count)
    total = np.bincount(rows.group, rows.weight, count)
    reached = np.where(failed, rows.upper, rows.lower)
    longest = np.zeros(count)
    np.maximum.at(longest, rows.group, reached)
    shared = rows.weight * (failed & (rows.weight < 1.0))
    return groups.assign(
        position="",
        mode="",
        failures=failures,
        suspensions=total - failures,
        shared_failures=np.bincount(rows.group, shared, count),
        longest_life=longest,
        usage=np.bincount(rows.group, rows.weight * (reached - rows.entry), count),
    )


def _posterior_bands(answers: Answers) -> dict[str, Floats]:
    """Medians and 90 % bounds of the posterior; mean life from its draws."""
    posterior = answers.posterior
    names = [name for name in _bands() if not name.startswith("mean")]
    bands = {name: np.asarray(getattr(posterior, name)) for name in names}
    low, middle, high = quantiles_of_means(posterior.draws.mean(), [0.05, 0.5, 0.95])
    return bands | {"mean_life": middle, "mean_life_low": low, "mean_life_high": high}


def quantiles_of_means(means: Floats, shares: list[float]) -> Floats:
    """Quantiles of mean lives, some of which may be longer than any number.

    Parameters
    ----------
    means : float array (..., draws)
        [usage]; inf beyond the largest number.
    shares : list of float

    Returns
    -------
    float array (shares, ...)
        [usage]; inf where either neighbour of the quantile is.
    """
    longest = np.finfo(float).max
    found = np.quantile(np.minimum(means, longest), shares, axis=-1)
    return np.where(found > 0.01 * longest, np.inf, found)


def _likely_bands(answers: Answers, rich: Bools) -> dict[str, Floats]:
    """Maximum likelihood with likelihood-ratio bounds; B10 and mean life where it is to stand."""
    likely = answers.likely
    bands = {
        name: np.asarray(getattr(likely, name))
        for name in _bands()
        if name.startswith(("shape", "scale"))
    }
    inverse = 1.0 / np.asarray(likely.shape)
    slopes = {"b10": -B10 * inverse, "mean_life": -inverse * special.digamma(1.0 + inverse)}
    for name, band in bound_lives(answers.rows, rich).items():
        wider = np.sqrt(_variance(likely, slopes[name]) / _variance(answers.plain, slopes[name]))
        low, high = (band[0] * (end / band[0]) ** wider for end in band[1:])
        bands |= {name: band[0], f"{name}_low": low, f"{name}_high": high}
    return bands


def bound_lives(rows: FitRows, chosen: Bools) -> dict[str, Floats]:
    """B10 and mean life of some groups by maximum likelihood, with likelihood-ratio bounds.

    Lives that lie close to each other in large groups are put together, which moves neither by
    more than one part in ten thousand.

    Returns
    -------
    dict of array (3, groups) [usage units]
        Estimate, lower and upper 90 % bound of "b10" and "mean_life"; NaN where not chosen.
    """
    asked: dict[str, tuple[Asked, float | None]]
    asked = {"b10": ("quantile", 0.10), "mean_life": ("mean", None)}
    found = {name: np.full((3, len(chosen)), np.nan) for name in asked}
    if not chosen.any():
        return found
    some = rows.take(chosen[rows.group])
    whole = check_lives(some.lower, some.upper, some.entry, some.weight)
    lives, groups = merge_close(*sort_lives(whole, find_groups(some.group, len(some.group))))
    columns = (lives.lower, lives.upper, lives.entries(), lives.weights())
    for name, (quantity, at) in asked.items():
        life = bound_life(*columns, quantity=quantity, at=at, group=groups.code)
        found[name][:, groups.labels[life.labels]] = [life.estimate, life.low, life.high]
    return found


def _variance(likely: WeibullFit, slope: Floats) -> Floats:
    """Variance of something whose log has this slope by log shape, and 1 by log scale."""
    covariance = np.asarray(likely.covariance)
    crossed = 2.0 * slope * covariance[:, 0, 1] + slope**2 * covariance[:, 1, 1]
    return np.asarray(covariance[:, 0, 0] + crossed)


def _add_bands(
    table: pd.DataFrame, posterior: dict[str, Floats], likely: dict[str, Floats], rich: Bools
) -> pd.DataFrame:
    chosen = {name: np.where(rich, likely[name], posterior[name]) for name in _bands()}
    return table.assign(**chosen)


def bound_without_failure(rows: FitRows, shape: Floats) -> Floats:
    """Lower 95 % bound of the scale if nothing failed, for a given shape per group."""
    reached = np.where(np.isfinite(rows.upper), rows.upper, rows.lower)
    power = shape[rows.group]
    longest = np.ones(len(shape))
    np.maximum.at(longest, rows.group, reached)
    lived = (reached / longest[rows.group]) ** power - (rows.entry / longest[rows.group]) ** power
    total = np.bincount(rows.group, rows.weight * lived, len(shape))
    return np.asarray(longest * (total / -np.log(0.05)) ** (1.0 / shape))


def _name_methods(answers: Answers, none: Bools, rich: Bools) -> NDArray[np.object_]:
    early, pooled = answers.with_early, answers.pooled
    kinds = np.select(
        [none, rich, early & pooled, early, pooled],
        ["none", "likelihood", "early_pooled", "early", "pooled"],
        "alone",
    )
    return np.array([METHODS[kind] for kind in kinds.tolist()], dtype=object)


def _sure_of_early(early: EarlyLives) -> Bools:
    """Whether early lives are beyond doubt though one part after another was asked.

    Each part alone is wrongly said to have some in fewer than one case in twenty; here the study
    as a whole is.
    """
    asked = max(int(np.isfinite(early.evidence).sum()), 1)
    return np.asarray(early.evidence - early.needed >= 2.0 * np.log(asked))


def _add_worth(
    table: pd.DataFrame, answers: Answers, rules: Rules, method: NDArray[np.object_]
) -> pd.DataFrame:
    """Columns on early lives, on what is owed to whom, and on what it is worth."""
    posterior, early = answers.posterior, answers.early
    found = answers.with_early
    likelihood = method == METHODS["likelihood"]
    failures = table["failures"].to_numpy(float)
    band = (table["b10_high"] / table["b10_low"]).to_numpy(float)
    borrowed = np.where(likelihood, 0.0, posterior.borrowed_share)
    return table.assign(
        early_share=posterior.early_share,
        early_share_low=posterior.early_share_low,
        early_share_high=posterior.early_share_high,
        early_scale=np.where(found, early.early_scale[early.group_family], np.nan),
        early_sure=found & _sure_of_early(early)[early.group_family],
        prior_share=np.where(likelihood, 0.0, posterior.prior_share),
        borrowed_share=borrowed,
        b10_wider_prior=np.where(
            likelihood | np.isnan(band), table["b10"], posterior.b10_wider_prior
        ),
        likely_shape=answers.likely.shape,
        likely_scale=answers.likely.scale,
        method=method,
        evidence=rules.label(failures),
        standing=rules.judge(failures, band, borrowed),
        more_failures=failures_to_halve(
            band, table["shape"].to_numpy(float), failures, table["suspensions"].to_numpy(float)
        ),
    )
