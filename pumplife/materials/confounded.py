"""Can these records tell two materials apart: who used what, where, when and how hard."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import special

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Ints = NDArray[np.int64]

YES, CONFOUNDED, TOO_FEW = "yes", "confounded", "too few"
FEWEST = 2.0  # failures of both that some stratum must hold
APART_IN_TIME = 0.95  # chance that one of either was fitted later, from which dates tell them apart
PACE_DIFFERS = 1.5  # ratio of usage a week from which pumps count as otherwise worked
SURELY = 0.01  # chance of such a difference if there is none
SEEN = ["stratum", "pump", "start", "pace", "failures", "early"]
EXPOSURE_COLUMNS = [
    "service", "size_mm", "side", "part", "material", "variant", "pumps", "usage", "failures",
    "first_on", "last_on", "usage_per_week",
]  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Verdict:
    """Whether records can tell two materials of one part apart.

    Attributes
    ----------
    comparable : str
        yes, confounded or too few.
    reason : str
        Why, in words; "" where they can.
    mixed_pumps : int
        Pumps that held both at the same time.
    later : float
        Chance that one drawn from the marked was fitted later than one of the others, within
        strata; NaN where no stratum held both.
    pace_ratio : float
        Usage a week of the marked ones' pumps over the others', within strata.
    """

    comparable: str
    reason: str
    mixed_pumps: int
    later: float
    pace_ratio: float

    def __repr__(self) -> str:
        return f"Verdict({self.comparable}: {self.reason})"


def judge_pair(facts: pd.DataFrame, kind: str, reference: str) -> Verdict:
    """Judge whether the lives of a material can be compared with those of another.

    Parameters
    ----------
    facts : DataFrame
        Lives of both, as `gather_facts` gives them.
    kind, reference : str
        Labels of the two materials.

    Returns
    -------
    Verdict
        comparable where some stratum (service, size, solids, period) holds 2 failures of each,
        and neither the date of fitting nor the pace of the pumps sets them apart.
    """
    mark = facts["kind"].eq(kind).to_numpy()
    mixed = count_mixed(facts, mark)
    both = _strata_of_both(facts, mark)
    if not both.any():
        reason = f"{kind} and {reference} were never used at like duty: {_what_differs(facts)}"
        return _verdict(CONFOUNDED, reason, mixed)
    lives, marked = facts.loc[both, SEEN], mark[both]
    pump = _number_pumps(lives, marked)
    later, pace = _compare_dates(lives, marked, pump), _compare_pace(lives, marked, pump)
    told = {"later": later[0], "pace_ratio": pace[0]}
    reason = _say_dates(kind, reference, *later) or _say_pace(kind, reference, *pace)
    if reason:
        return _verdict(CONFOUNDED, reason, mixed, **told)
    fewest = _most_of_both(lives, marked)
    if fewest < FEWEST:
        return _verdict(TOO_FEW, _say_few(lives, marked, kind, reference), mixed, **told)
    return _verdict(YES, "", mixed, **told)


def _verdict(
    word: str, reason: str, mixed: int, *, later: float = np.nan, pace_ratio: float = np.nan
) -> Verdict:
    return Verdict(
        comparable=word, reason=reason, mixed_pumps=mixed, later=later, pace_ratio=pace_ratio
    )


def _strata_of_both(facts: pd.DataFrame, mark: Bools) -> Bools:
    """Lives in strata where both were used."""
    used = facts["usage"].to_numpy(float)
    code = facts["stratum"].to_numpy(np.int64)
    usage = np.bincount(2 * code + mark, used, 2 * int(code.max(initial=0)) + 2).reshape(-1, 2)
    return np.asarray(usage.min(axis=1)[code] > 0.0)


def _most_of_both(facts: pd.DataFrame, mark: Bools) -> float:
    """The largest number of failures that any stratum holds of both."""
    code = facts["stratum"].to_numpy(np.int64)
    failed = np.where(facts["early"], 0.0, facts["failures"])
    failures = np.bincount(2 * code + mark, failed, 2 * int(code.max()) + 2).reshape(-1, 2)
    return float(failures.min(axis=1).max())


def _what_differs(facts: pd.DataFrame) -> str:
    """What always goes with the one or the other."""
    words = {"service": "service", "size": "size", "solids": "solids", "period": "period"}
    apart = [  # no level that both were used in
        word
        for name, word in words.items()
        if facts.groupby(name, observed=True)["kind"].nunique().max() < 2
    ]
    if not apart:
        return "no service, size and solids held both"
    return f"each stands for another {' and '.join(apart)}"


def _say_few(facts: pd.DataFrame, mark: Bools, kind: str, reference: str) -> str:
    failed = np.where(facts["early"], 0.0, facts["failures"])
    counts = f"{failed[mark].sum():.3g} of {kind}, {failed[~mark].sum():.3g} of {reference}"
    return f"too few failures where both were used ({counts}): {FEWEST:g} of each are needed"


def _rank_apart(values: Floats, mark: Bools, stratum: Ints) -> tuple[float, float]:
    """Chance that a marked value is the larger within its stratum, and p of so far from a half.

    Mann and Whitney's statistic summed over strata; values that aren't known are left out.
    """
    known = ~np.isnan(values)
    mark, stratum = mark[known], stratum[known]
    rank = pd.Series(values[known]).groupby(stratum).rank().to_numpy(float)
    ranks = np.bincount(stratum, np.where(mark, rank, 0.0))
    ones = np.bincount(stratum, mark)
    many = np.bincount(stratum)
    pairs = ones * (many - ones)
    if not pairs.sum():
        return np.nan, 1.0
    larger = float((ranks - 0.5 * ones * (ones + 1.0)).sum())
    spread = float(np.sqrt((pairs * (many + 1.0) / 12.0).sum()))
    off = abs(larger - 0.5 * float(pairs.sum())) / spread
    return larger / float(pairs.sum()), float(special.erfc(off / np.sqrt(2.0)))


def _number_pumps(facts: pd.DataFrame, mark: Bools) -> Ints:
    """Number of stratum, pump and mark of each life, the same for lives that share all three."""
    pump = facts["pump"].to_numpy(np.int64)
    place = facts["stratum"].to_numpy(np.int64) * (int(pump.max(initial=0)) + 1) + pump
    return np.unique(2 * place + mark, return_inverse=True)[1]


def _compare_dates(facts: pd.DataFrame, mark: Bools, pump: Ints) -> tuple[float, float]:
    """Chance that the marked were fitted later, and p; parts fitted together count once."""
    day, days = pd.factorize(facts["start"], sort=True)  # -1 where it isn't known
    once = np.unique(pump * (len(days) + 1) + day, return_index=True)[1]
    later = np.where(day < 0, np.nan, day)[once]
    return _rank_apart(later, mark[once], facts["stratum"].to_numpy(np.int64)[once])


def _compare_pace(facts: pd.DataFrame, mark: Bools, pump: Ints) -> tuple[float, float]:
    """Usage a week of the marked ones' pumps over the others' within strata, and p."""
    first = np.unique(pump, return_index=True)[1]
    pace = facts["pace"].groupby(pump).median().to_numpy(float)
    known = pace > 0.0
    logs, mine = np.log(pace[known]), mark[first][known]
    code = facts["stratum"].to_numpy(np.int64)[first][known]
    p_value = _rank_apart(logs, mine, code)[1]
    size = int(code.max(initial=0)) + 1
    count = np.bincount(2 * code + mine, minlength=2 * size).reshape(-1, 2)
    total = np.bincount(2 * code + mine, logs, 2 * size).reshape(-1, 2)
    worth = count[:, 0] * count[:, 1] / np.maximum(count.sum(axis=1), 1)
    if not worth.sum():
        return np.nan, 1.0
    mean = total / np.maximum(count, 1)
    return float(np.exp(worth @ (mean[:, 1] - mean[:, 0]) / worth.sum())), p_value


def _say_dates(kind: str, reference: str, later: float, p_value: float) -> str:
    if not max(later, 1.0 - later) >= APART_IN_TIME or p_value >= SURELY:
        return ""
    first, second = (reference, kind) if later > 0.5 else (kind, reference)
    return (
        f"changed over at one date: {second} was fitted after {first}, so that whatever else "
        "changed then is in the ratio"
    )


def _say_pace(kind: str, reference: str, ratio: float, p_value: float) -> str:
    if not max(ratio, 1.0 / ratio) >= PACE_DIFFERS or p_value >= SURELY:
        return ""
    harder, other = (kind, reference) if ratio > 1.0 else (reference, kind)
    return (
        f"{harder} sits on the harder-worked pumps: {max(ratio, 1.0 / ratio):.2g} times the usage "
        f"a week of those with {other}"
    )


def count_mixed(facts: pd.DataFrame, mark: Bools) -> int:
    """Count pumps that held a marked and an unmarked one at the same time."""
    pump = np.tile(facts["pump"].to_numpy(np.int64), 2)
    day = np.concatenate([facts["start"].to_numpy(), facts["end"].to_numpy()])
    sign = np.repeat([1, -1], len(facts))
    order = np.lexsort((sign, day, pump))  # what ends on a day makes room for what begins on it
    marked = np.tile(mark, 2)
    here = [np.cumsum(np.where(side, sign, 0)[order]) for side in (marked, ~marked)]
    together = (here[0] > 0) & (here[1] > 0)
    return len(np.unique(pump[order][together]))


def expose(facts: pd.DataFrame) -> pd.DataFrame:
    """Tell who used what: pumps, usage, failures and dates by material, service and size.

    Returns
    -------
    DataFrame
        `EXPOSURE_COLUMNS`; usage of the parts [usage], usage_per_week of the median life.
    """
    keys = ["service", "size", "side", "part", "material", "variant"]
    told = facts.groupby(keys, sort=True, as_index=False).agg(
        pumps=("pump", "nunique"),
        usage=("usage", "sum"),
        failures=("failures", "sum"),
        first_on=("start", "min"),
        last_on=("end", "max"),
        usage_per_week=("pace", "median"),
    )
    size = told.pop("size")
    return told.assign(size_mm=size.where(size >= 0.0))[EXPOSURE_COLUMNS]


def explain_away(ratio: float, low: float, high: float) -> tuple[float, float]:
    """How much harder the shorter-lived material's pumps would have to work to explain a ratio.

    A duty that nobody recorded and that wears a part x times as fast per usage unit shortens its
    life x times. If all pumps of one material had it and none of the other's, the ratio would be
    explained by x = ratio, and in doubt from the bound nearer to 1 on.

    Returns
    -------
    explained, doubted : float
        Factors of wear per usage unit; `doubted` is 1 where the bounds hold 1. NaN without ratio.
    """
    if not np.isfinite(ratio):
        return np.nan, np.nan
    if ratio >= 1.0:
        return ratio, max(1.0, low)
    return 1.0 / ratio, max(1.0, 1.0 / high)
