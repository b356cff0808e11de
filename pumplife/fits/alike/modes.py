"""Causes of failure apart: each mode a life of its own, the other causes suspensions."""

from collections.abc import Hashable
from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import special

from pumplife.fits.alike.question import answer, no_answers, say_part
from pumplife.fits.build import Fits
from pumplife.fits.groups import FitRows
from pumplife.fits.rules import Rules, failures_to_halve
from pumplife.fits.table import bound_lives
from pumplife.weibull.arrays import sum_by
from pumplife.weibull.draws import LifeDraws
from pumplife.weibull.estimate import WeibullFit, fit_weibull

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

FEWEST_FAILURES = 5.0
MANY = 100.0  # failures from which Wald bounds are as good as likelihood-ratio ones
_FARTHEST = 300.0  # logs beyond which a number stands for itself no more
TELLS = 1.64  # differences of so many standard errors of the whole's hazard are told
METHOD = "one cause, the others suspended; maximum likelihood, {} bounds"


def split_by_mode(
    fits: Fits, lives: pd.DataFrame, rules: Rules, *, seed: int
) -> tuple[Fits, pd.DataFrame]:
    """Fit every failure mode with `FEWEST_FAILURES` failures or more as a life of its own.

    Parameters
    ----------
    fits : Fits
    lives : DataFrame
        The lives table.
    rules : Rules
        What a number of failures allows in this plant.
    seed : int
        Of the draws.

    Returns
    -------
    fits : Fits
        With a row for each such mode at the end of the table, `mode` filled; advice is never
        built on them (`Fits.find`), and `rows` doesn't repeat their lives.
    likeness : DataFrame
        Rows of the likeness table: do the hazards of the causes add up to the whole's.

    Notes
    -----
    Causes are taken to strike independently of each other. A failure of another cause between
    two ages is a suspension half way.
    """
    rows, words = _rows_with_mode(fits, lives)
    pairs = _rich_pairs(rows, words)
    if pairs.empty:
        return fits, no_answers()
    stacked, pair = _stack(rows, words, pairs)
    fit = _fit(stacked, pair, pairs["failures"].to_numpy(float))
    kept = np.isfinite(np.asarray(fit.shape))
    draws = _draws(fit, len(fits.draws.shape[0]), seed)
    few = kept & (pairs["failures"].to_numpy(float) < MANY)
    added = _as_fits(fits.table, pairs, fit, _lives_of(fit, draws, stacked, pair, few))
    added = _add_worth(added, rules)[kept]
    chosen = np.flatnonzero(kept)
    both = replace(
        fits,
        table=pd.concat([fits.table, added], ignore_index=True),
        draws=LifeDraws(
            **{
                name: np.concatenate([getattr(fits.draws, name), getattr(draws, name)[chosen]])
                for name in ("early_share", "early_scale", "shape", "scale")
            }
        ),
    )
    return both, _add_up(fits.table, rows, words, added)


def _rows_with_mode(fits: Fits, lives: pd.DataFrame) -> tuple[FitRows, NDArray[np.object_]]:
    """Rows of today's lives for the endpoint "failed", and the mode of each failure."""
    table = fits.table
    plain = table["endpoint"].eq("failed") & table["mode"].eq("") & table["period"].eq("")
    rows = fits.rows.take(plain.to_numpy()[fits.rows.group])
    mode = lives["mode"].iloc[rows.life].str.strip().str.lower().to_numpy(object)
    return rows, np.where(np.isfinite(rows.upper), mode, "")


def _rich_pairs(rows: FitRows, words: NDArray[np.object_]) -> pd.DataFrame:
    """Groups and modes with enough failures: [group, mode, failures]."""
    frame = pd.DataFrame({"group": rows.group, "mode": words, "failures": rows.weight})
    counts = frame[frame["mode"] != ""].groupby(["group", "mode"], as_index=False).sum()
    return counts[counts["failures"] >= FEWEST_FAILURES].reset_index(drop=True)


def _stack(rows: FitRows, words: NDArray[np.object_], pairs: pd.DataFrame) -> tuple[FitRows, Ints]:
    """The lives of each pair's group, failures of other causes suspended; and the pair of each."""
    order = np.argsort(rows.group, kind="stable")
    first = np.searchsorted(rows.group[order], pairs["group"], side="left")
    count = np.searchsorted(rows.group[order], pairs["group"], side="right") - first
    pair = np.repeat(np.arange(len(pairs)), count)
    within = np.arange(len(pair)) - np.repeat(np.cumsum(count) - count, count)
    row = order[first[pair] + within]
    own = words[row] == pairs["mode"].to_numpy(object)[pair]
    other = np.isfinite(rows.upper[row]) & ~own
    lower, upper = rows.lower[row], rows.upper[row]
    half = (lower + np.where(other, upper, lower)) / 2.0
    stacked = FitRows(
        lower=np.where(other, np.maximum(half, rows.entry[row]), lower),
        upper=np.where(own, upper, np.inf),
        entry=rows.entry[row],
        weight=rows.weight[row],
        group=rows.group[row],
        life=rows.life[row],
    )
    return stacked, pair


def _fit(stacked: FitRows, pair: Ints, failures: Floats) -> WeibullFit:
    """Maximum likelihood with likelihood-ratio bounds; Wald bounds where failures are many."""
    rows = (stacked.lower, stacked.upper, stacked.entry, stacked.weight)
    whole = fit_weibull(*rows, group=pair, bounds="wald")
    few = np.flatnonzero(failures < MANY)
    member = np.isin(pair, few)
    if not member.any():
        return whole
    exact = fit_weibull(*(part[member] for part in rows), group=pair[member])
    bounds: dict[str, Any] = {}
    for name in ("shape_low", "shape_high", "scale_low", "scale_high"):
        bounds[name] = np.array(getattr(whole, name), float)
        bounds[name][np.asarray(exact.labels, np.int64)] = getattr(exact, name)
    return replace(whole, **bounds)


def _draws(fit: WeibullFit, draws: int, seed: int) -> LifeDraws:
    """Lives around the estimates, normal in log scale and log shape."""
    rng = np.random.default_rng([seed, 70])
    count = len(fit.labels)
    known = np.isfinite(fit.covariance).all(axis=(1, 2), keepdims=True)
    covariance = np.where(known, fit.covariance, 0.0) + 1e-12 * np.eye(2)
    root = np.linalg.cholesky(covariance)
    moved = np.einsum("gij,gjd->gid", root, rng.standard_normal((count, 2, draws)))
    moved = np.clip(moved, -_FARTHEST, _FARTHEST)
    shape = np.where(np.isfinite(fit.shape), fit.shape, 1.0)[:, None] * np.exp(moved[:, 1])
    scale = np.where(np.isfinite(fit.scale), fit.scale, 1.0)[:, None] * np.exp(moved[:, 0])
    return LifeDraws(
        early_share=np.zeros_like(shape),
        early_scale=np.ones_like(shape),
        shape=shape,
        scale=scale,
    )


def _lives_of(
    fit: WeibullFit, draws: LifeDraws, stacked: FitRows, pair: Ints, few: NDArray[np.bool_]
) -> dict[str, Any]:
    """B10 and mean life with their bounds and by which method: likelihood-ratio where few."""
    shape, scale = np.asarray(fit.shape), np.asarray(fit.scale)
    points = {
        "b10": (-np.log(0.9)) ** (1.0 / shape) * scale,
        "mean_life": scale * special.gamma(1.0 + 1.0 / shape),
    }
    drawn = {"b10": draws.scale * (-np.log(0.9)) ** (1.0 / draws.shape), "mean_life": draws.mean()}
    exact = bound_lives(replace(stacked, group=pair), few)
    found: dict[str, Any] = {}
    for name, point in points.items():
        ends = np.where(few, exact[name][1:], np.quantile(drawn[name], [0.05, 0.95], axis=1))
        found |= {name: point, f"{name}_low": ends[0], f"{name}_high": ends[1]}
    kinds = np.where(few, "likelihood-ratio", "normal").tolist()
    return found | {"method": [METHOD.format(kind) for kind in kinds]}


def _as_fits(
    table: pd.DataFrame, pairs: pd.DataFrame, fit: WeibullFit, lives: dict[str, Any]
) -> pd.DataFrame:
    """Rows in the columns of the table of fits."""
    whole = table.iloc[pairs["group"]].reset_index(drop=True)
    numbers = ("shape", "shape_low", "shape_high", "scale", "scale_low", "scale_high")
    added = whole.assign(
        mode=pairs["mode"],
        failures=pairs["failures"],
        suspensions=whole["failures"] + whole["suspensions"] - pairs["failures"],
        early_share=0.0,
        early_share_low=0.0,
        early_share_high=0.0,
        early_scale=np.nan,
        shared_failures=0.0,
        likely_shape=fit.shape,
        likely_scale=fit.scale,
        **{name: getattr(fit, name) for name in numbers},
        **lives,
    )
    added["verdict"] = [
        f"{mode}: {own:.3g} of {every:.3g} failures; the other causes are suspensions; not used "
        "for intervals"
        for mode, own, every in zip(
            added["mode"], added["failures"], whole["failures"], strict=True
        )
    ]
    return added


def _add_worth(added: pd.DataFrame, rules: Rules) -> pd.DataFrame:
    """What each cause's own failures are worth: nothing is borrowed, no prior has a say."""
    failures = added["failures"].to_numpy(float)
    band = (added["b10_high"] / added["b10_low"]).to_numpy(float)
    shape, suspensions = added["shape"].to_numpy(float), added["suspensions"].to_numpy(float)
    return added.assign(
        prior_share=0.0,
        borrowed_share=0.0,
        b10_wider_prior=added["b10"],
        evidence=rules.label(failures),
        standing=rules.judge(failures, band, np.zeros(len(added))),
        more_failures=failures_to_halve(band, shape, failures, suspensions),
        goodness_p=np.nan,
        best_life="",
        lognormal_gain=np.nan,
    )


def _add_up(
    table: pd.DataFrame, rows: FitRows, words: NDArray[np.object_], added: pd.DataFrame
) -> pd.DataFrame:
    """Whether the causes' cumulative hazards add up to the whole's, group by group."""
    keys = ["service", "side", "part", "material", "variant", "period", "size_mm"]
    place = table.reset_index(names="group").query("endpoint == 'failed' and mode == ''")
    owned = added.merge(place[[*keys, "group"]], on=keys)
    told = []
    for group, mine in owned.groupby("group", sort=True):
        member = rows.group == group
        told.append(_one_sum(rows.take(member), words[member], mine))
    return answer(pd.DataFrame(told), "causes") if told else no_answers()


def _one_sum(rows: FitRows, words: NDArray[np.object_], modes: pd.DataFrame) -> dict[str, Any]:
    """One group: hazards of its rich modes and of the rest beside the whole's, nonparametric."""
    age = _ages(rows)
    failed = np.isfinite(rows.upper)
    at = float(np.quantile(age[failed], 0.75))
    whole = nelson_aalen(age, failed, rows.entry, rows.weight, at)
    rest = failed & ~np.isin(words, modes["mode"].to_numpy(object))
    summed = nelson_aalen(age, rest, rows.entry, rows.weight, at)
    steps = modes["shape"] * np.log(at / modes["scale"])
    summed += float(np.exp(np.minimum(steps, _FARTHEST)).sum())
    first: dict[Hashable, Any] = modes.iloc[0].to_dict()
    ratio = summed / whole
    fine = abs(ratio - 1.0) <= TELLS / np.sqrt(rows.weight[failed & (age <= at)].sum())
    names = ", ".join(
        f"{m} ({n:.3g})" for m, n in zip(modes["mode"], modes["failures"], strict=True)
    )
    return {
        **{name: first[name] for name in ("service", "side", "part", "material")},
        "compared": f"{names} against the whole",
        "failures": float(rows.weight[failed].sum()),
        "ratio": ratio,
        "alike": "adds up" if fine else "doesn't add up",
        "verdict": f"{say_part(first)}: the hazards of "
        f"{names} and of the rest add up to {ratio:.3g} times the whole's at {at:,.0f}"
        + ("." if fine else ": a Weibull doesn't describe one of them."),
    }


def _ages(rows: FitRows) -> Floats:
    """Age at the end; half way for a failure between two ages."""
    return np.where(np.isfinite(rows.upper), (rows.lower + rows.upper) / 2.0, rows.lower)


def nelson_aalen(
    age: Floats, failed: NDArray[np.bool_], entry: Floats, weight: Floats, at: float
) -> float:
    """Cumulative hazard up to an age, late entry and weights allowed for [-].

    References
    ----------
    .. [1] W. Nelson, Technometrics 14 (1972) 945-966; O. Aalen, Annals of Statistics 6 (1978)
           701-726 (from memory).
    """
    points, place = np.unique(age[failed & (age <= at)], return_inverse=True)
    chosen = failed & (age <= at)
    count = sum_by(place, weight[chosen], len(points))

    def beyond(when: Floats) -> Floats:
        order = np.argsort(when)
        total = np.append(np.cumsum(weight[order][::-1])[::-1], 0.0)
        return np.asarray(total[np.searchsorted(when[order], points, side="left")])

    return float(np.sum(count / np.maximum(beyond(age) - beyond(entry), 1e-12)))
