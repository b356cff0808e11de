"""Do lives change over calendar time: the trend to rule out before renewals are taken as alike."""

from collections.abc import Hashable
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import stats

from pumplife.fits.alike.holm import holm
from pumplife.fits.alike.question import NO, answer, judge, no_answers, say_ratio
from pumplife.fits.build import Fits
from pumplife.weibull.arrays import sum_by
from pumplife.weibull.scores import ClusterSums, RowTerms, free_scores, row_terms, sum_clusters

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

FEWEST_FAILURES = 10.0
FEWEST_PUMPS = 5
DAYS_PER_YEAR = 365.25
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(6)


def compare_years(fits: Fits, lives: pd.DataFrame) -> pd.DataFrame:
    """Ask per service and part whether lives grow shorter or longer over the years.

    Each failure's date is set against the dates at which its life was at risk, in units of the
    group's own cumulative hazard: Lewis and Robinson's idea (a trend beside a renewal process
    with wear, not beside a constant rate), for lives that are mostly cut short by planned work,
    pooled over pumps, each pump one witness.

    Returns
    -------
    DataFrame
        Rows of the likeness table; `ratio` = life a year later over life now (one step).
    """
    table, rows = fits.table, fits.rows
    fitted = np.isfinite(table["likely_shape"].to_numpy(float))
    chosen = fitted & table["endpoint"].eq("failed").to_numpy() & table["mode"].eq("").to_numpy()
    rows = rows.take(chosen[rows.group])
    if not len(rows.group):
        return no_answers()
    shape = table["likely_shape"].to_numpy(float)[rows.group]
    terms = row_terms(
        rows.lower, rows.upper, rows.entry, shape=shape,
        scale=table["likely_scale"].to_numpy(float)[rows.group],
    )  # fmt: skip
    about = lives.iloc[rows.life]
    date = _Dates.of(about, rows.entry, rows.lower, rows.upper)
    score, shared = _integrate(terms, date, shape, table, rows.group)
    free, known = free_scores(
        terms, rows.weight, score, shared, group=rows.group, groups=len(table)
    )
    key = table["service"] + "\x1f" + table["side"] + "\x1f" + table["part"]
    cell, names = pd.factorize(key, sort=True)
    pump = about["pump"].to_numpy(np.int64)
    found = sum_clusters(free, cell=cell[rows.group], cluster=pump, cells=len(names))
    weight = rows.weight * np.isfinite(rows.upper)
    count = sum_by(cell[rows.group], weight, len(names))
    mean_shape = sum_by(cell[rows.group], weight * shape, len(names)) / np.maximum(count, 1e-9)
    information = sum_by(cell[rows.group], known, len(names))
    return _as_rows(np.asarray(names), count, found, mean_shape * information)


class _Dates:
    """Calendar date along each life: linear from its entry to its end [years]."""

    def __init__(self, begin: Floats, slope: Floats, end: Floats) -> None:
        self.begin, self.slope, self.end = begin, slope, end

    @classmethod
    def of(cls, about: pd.DataFrame, entry: Floats, lower: Floats, upper: Floats) -> "_Dates":
        year = [
            about[name].to_numpy("datetime64[D]").astype(float) / DAYS_PER_YEAR
            for name in ("start_on", "end_on")
        ]
        middle = float(np.mean(year[1]))
        reached = np.where(np.isfinite(upper), upper, lower)
        slope = (year[1] - year[0]) / np.maximum(reached, 1e-9)
        return cls(year[0] - middle + slope * entry, slope, year[1] - middle)

    def at(self, beyond_entry: Floats) -> Floats:
        """The date so many usage units after entry."""
        return self.begin + self.slope * beyond_entry


def _integrate(
    terms: RowTerms, date: _Dates, shape: Floats, table: pd.DataFrame, group: Ints
) -> tuple[Floats, tuple[Floats, Floats, Floats]]:
    """Score of each life by its date; its information, also that shared with level and shape."""
    scale = table["likely_scale"].to_numpy(float)[group]
    width = terms.end - terms.start
    entry = scale * terms.start ** (1.0 / shape)
    own, level, bend = (np.zeros(len(width)) for _ in range(3))
    for node, weight in zip(_NODES, _WEIGHTS, strict=True):
        hazard = terms.start + width * (node + 1.0) / 2.0
        when = date.at(scale * hazard ** (1.0 / shape) - entry)
        part = weight / 2.0 * width * when
        own += part * when
        level += part
        bend += part * (1.0 + np.log(np.maximum(hazard, 1e-300)))
    failed = terms.residual + terms.expected
    last = scale * terms.end ** (1.0 / shape) - entry
    return failed * date.at(last) - level, (own, level, bend)


def _as_rows(
    names: NDArray[np.object_],
    failures: Floats,
    found: ClusterSums,
    pull: Floats,
) -> pd.DataFrame:
    """Rows of the likeness table; `pull` = information on the log life ratio over the shape."""
    enough = (failures >= FEWEST_FAILURES) & (found.clusters >= FEWEST_PUMPS)
    enough &= pull > 0
    safe = np.where(enough, pull, 1.0)
    log_life = np.where(enough, -found.total / safe, np.nan)
    reach = np.where(enough, stats.norm.isf(0.05) * np.sqrt(found.square) / safe, np.nan)
    words = [name.split("\x1f") for name in names]
    rows = pd.DataFrame(words, columns=["service", "side", "part"]).assign(
        compared="a year later against now",
        failures=failures,
        ratio=np.exp(log_life),
        ratio_low=np.exp(log_life - reach),
        ratio_high=np.exp(log_life + reach),
        p_value=np.where(enough, found.p_value, np.nan),
    )
    rows["p_adjusted"] = holm(rows["p_value"].to_numpy(float))
    rows["alike"] = judge(rows["p_adjusted"])
    rows["verdict"] = [_say(row) for row in rows.to_dict("records")]
    return answer(rows, "calendar time")


def _say(row: dict[Hashable, Any]) -> str:
    where = f"{row['service']}, {row['part']}"
    if not np.isfinite(float(row["p_value"])):
        return f"{where}: too few failures to tell a trend over the years."
    ratio = say_ratio(*(float(row[name]) for name in ("ratio", "ratio_low", "ratio_high")))
    if row["alike"] == NO:
        way = "shorter" if float(row["ratio"]) < 1 else "longer"
        return (
            f"{where}: lives grow {way}, each year {ratio} times those of the year before; a fit "
            "over all years is a mean, and the next year may differ."
        )
    return f"{where}: no trend over the years shown; a year changes lives {ratio} times."
