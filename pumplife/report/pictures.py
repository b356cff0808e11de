"""From the fits of a study to what the figures of lives draw."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pumplife.weibull.survival import estimate_survival

if TYPE_CHECKING:
    from pumplife.fits.groups import FitRows
    from pumplife.weibull.draws import LifeDraws


Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LifeCurve:
    """Share of parts alive against age, for one group.

    Attributes
    ----------
    label : str
        What the line is called.
    t : array (ages,)
        Age [usage units].
    middle, low, high : arrays (ages,)
        Median and 90 % band of the share alive [0 to 1].
    """

    label: str
    t: Floats
    middle: Floats
    low: Floats
    high: Floats

    def __repr__(self) -> str:
        return f"LifeCurve({self.label}: {self.t.size} ages)"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class WeibullPicture:
    """One fit group as a Weibull probability plot shows it.

    Attributes
    ----------
    title : str
        Name of the group.
    age, share_failed : arrays (points,)
        Points of the nonparametric estimate: age [usage units], share failed [0 to 1].
    between_low, between_high, between_share : arrays (intervals,)
        Its steps that are known only to lie between two ages [usage units], and their height.
    suspended : array (suspensions,)
        Ages reached without failure [usage units].
    curve : LifeCurve
        The fitted life.
    failures, suspensions : float
        Weighted counts [parts].
    """

    title: str
    age: Floats
    share_failed: Floats
    between_low: Floats
    between_high: Floats
    between_share: Floats
    suspended: Floats
    curve: LifeCurve
    failures: float
    suspensions: float

    def __repr__(self) -> str:
        return (
            f"WeibullPicture({self.title}: {self.failures:g} failures, "
            f"{self.suspensions:g} suspensions)"
        )


def draw_life(label: str, draws: LifeDraws, age: Floats) -> LifeCurve:
    """Take the median and the 90 % band of a life from its draws.

    Parameters
    ----------
    label : str
        Name of the line.
    draws : LifeDraws
        Of one group.
    age : array (ages,)
        Where [usage units].

    Returns
    -------
    LifeCurve
    """
    alive = np.asarray(draws.survival(age[:, None]), dtype=float).reshape(age.size, -1)
    low, middle, high = np.quantile(alive, [0.05, 0.5, 0.95], axis=1)
    return LifeCurve(label=label, t=age, middle=middle, low=low, high=high)


def draw_lives(fits: pd.DataFrame, draws: LifeDraws, *, most: int = 4) -> list[LifeCurve]:
    """Take the lives of the fits with most failures, each under its material.

    Parameters
    ----------
    fits : DataFrame
        Rows of the table of fits; its index is the row of `draws`.
    draws : LifeDraws (fits, draws)
        Of the whole table.
    most : int
        Lives at most.
    """
    shown = fits.sort_values("failures", ascending=False).head(most)
    age = np.arange(1.0, 101.0) / 60.0 * float(shown["scale"].median())
    return [
        draw_life(str(material), draws[row], age)
        for row, material in zip(shown.index, shown["material"], strict=True)
    ]


def name_group(row: Any, *, leave_out: tuple[str, ...] = ()) -> str:
    """Name a row of fits or intervals: service, size, part, material.

    Parameters
    ----------
    row : mapping
        A row of an output table.
    leave_out : tuple of str
        Columns not to say.

    Returns
    -------
    str
        "Glaze slip, 50 mm, diaphragm, NBR".
    """
    words = []
    for column in ("service", "size_mm", "part", "position", "material", "variant"):
        value = row.get(column, "")
        if column in leave_out or value == "" or pd.isna(value):
            continue
        words.append(
            f"{float(value):g} mm" if column == "size_mm" else str(value).replace("_", " ")
        )
    return capitalise(", ".join(words))


def capitalise(words: str) -> str:
    """Start a sentence: a capital first letter, the rest untouched."""
    return words[:1].upper() + words[1:]


def picture_fit(
    rows: FitRows, place: int, row: Mapping[Any, Any], draws: LifeDraws, *, most: int = 300
) -> WeibullPicture:
    """Prepare the probability plot of one fit.

    Parameters
    ----------
    rows : FitRows
        The lives that were fitted, a failure that is shared among parts as weights.
    place : int
        Row of the table of fits.
    row : mapping
        That row.
    draws : LifeDraws
        Of that row.
    most : int
        Points drawn at most; more are thinned evenly.

    Returns
    -------
    WeibullPicture
    """
    mine = (rows.group == place) & (rows.weight > 0)
    entry, lower, upper = rows.entry[mine], rows.lower[mine], rows.upper[mine]
    died = np.isfinite(upper)
    since, age, share = _failed_by(lower, upper, entry, rows.weight[mine])
    exact = since == age
    keep = np.flatnonzero(exact)[_thin(int(exact.sum()), most)]
    between = np.flatnonzero(~exact)[_thin(int((~exact).sum()), most)]
    end = np.where(died & (upper > lower), 0.5 * (lower + np.where(died, upper, lower)), lower)
    return WeibullPicture(
        title=name_group(row),
        age=age[keep],
        share_failed=share[keep],
        between_low=since[between],
        between_high=age[between],
        between_share=share[between],
        suspended=_thin_ages(lower[~died]),
        curve=draw_life("fit", draws, _ages_to_draw(end, died, row)),
        failures=float(row["failures"]),
        suspensions=float(row["suspensions"]),
    )


def _failed_by(
    lower: Floats, upper: Floats, entry: Floats, weight: Floats
) -> tuple[Floats, Floats, Floats]:
    """Where the nonparametric estimate steps down, from age to age, and the middle of each step.

    The middle is where a plot shows a failure: half of its own share counts as failed.
    """
    reached = np.where(np.isfinite(upper), upper, lower)
    if not np.any(np.isfinite(upper) & (reached > entry)):
        return np.empty(0), np.empty(0), np.empty(0)
    steps = estimate_survival(lower, upper, entry, weight)
    before = np.concatenate([[1.0], steps.survival[:-1]])
    falls = before - steps.survival > 1e-12
    share = 1.0 - 0.5 * (before + steps.survival)
    return steps.since[falls], steps.time[falls], share[falls]


def _thin(count: int, most: int) -> NDArray[np.intp]:
    return np.unique(np.linspace(0, max(count - 1, 0), min(count, most)).astype(np.intp))


def _thin_ages(age: Floats, *, bins: int = 200) -> Floats:
    """Keep one age per step of a fine logarithmic ladder, so that ticks don't pile up."""
    seen = age[age > 0]
    if seen.size == 0:
        return seen
    step = np.round(np.log(seen) * bins / 6.0)
    return np.asarray(seen[np.unique(step, return_index=True)[1]], dtype=float)


def _ages_to_draw(end: Floats, died: NDArray[np.bool_], row: Mapping[Any, Any]) -> Floats:
    """Span the failures and nearly all other lives; the earliest suspensions tell little."""
    seen, failed = end[end > 0], end[died & (end > 0)]
    scale = float(row["scale"])
    first = [scale / 10]
    first += [float(np.quantile(seen, 0.05))] if seen.size else []
    first += [float(failed.min())] if failed.size else []
    last = max([scale * 1.6, *([float(seen.max())] if seen.size else [])])
    return np.geomspace(max(0.9 * min(first), last * 1e-4), last, 120)
