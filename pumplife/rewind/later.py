"""What was watched of a group's parts after a past day, and the cost rate that it tells.

Kaplan-Meier with late entry for each part, parts in series: no family of lives is assumed, and
nothing that the advice was computed from enters.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
import pandas as pd

from pumplife.fits.build import Fits
from pumplife.lives.build import Lives
from pumplife.policy.pump import FloatArray
from pumplife.policy.simulate import BoolArray, IntArray
from pumplife.records.plant import to_days
from pumplife.records.usage import UsageClock
from pumplife.weibull.draws import LifeDraws

CERTAIN = 1.0 - 1e-12  # the largest step down of a survival that still has a logarithm


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Watched:
    """Stretches of part lives that were watched after a past day, arrays (rows,).

    Attributes
    ----------
    pump, part : int array
        Number of the pump and of the part within the group.
    since, until : float array
        Age from which and to which the part was watched [usage].
    last_sound : float array
        Least age at which it may have failed, `until` but for failures found at a look [usage].
    failed : bool array
        Whether the stretch ends with a failure.
    renewed : bool array
        Whether it ends with a renewal, else it still runs at the end of the records.
    weight : float array
        1, or the share of a failure that nobody placed.
    """

    pump: IntArray
    part: IntArray
    since: FloatArray
    until: FloatArray
    last_sound: FloatArray
    failed: BoolArray
    renewed: BoolArray
    weight: FloatArray

    def __repr__(self) -> str:
        """Count stretches and failures."""
        return f"<Watched: {self.pump.size} stretches, {self.failures:.4g} failures>"

    @property
    def failures(self) -> float:
        """Failures seen."""
        return float(self.weight[self.failed].sum())


def stretches_after(
    fits: Fits, lives: Lives, clock: UsageClock, as_of: float, records_to: float
) -> pd.DataFrame:
    """Every stretch of a part's life after a day: one row per row of the fits.

    Parameters
    ----------
    fits, lives : Fits, Lives
        Of the whole records, as `fit_lives` returns them.
    clock : UsageClock
        Of the whole records.
    as_of, records_to : float
        The past day, and the last day of the records [day].

    Returns
    -------
    DataFrame
        service, side, part, material, variant, endpoint, pump, and the fields of `Watched`; only
        stretches of some length, or that end with a failure.
    """
    rows, table = fits.rows, fits.table
    about = lives.table.iloc[rows.life]
    end = to_days(about["end_on"])
    failed = np.isfinite(rows.upper)
    until = np.where(failed, rows.upper, rows.lower)
    pump = about["pump"].to_numpy(np.int64)
    passed = clock.usage(pump, end) - clock.usage(pump, np.full(pump.size, as_of))
    since = np.maximum(rows.entry, until - np.maximum(np.nan_to_num(passed), 0.0))
    names = ["service", "side", "part", "material", "variant"]
    frame = about[names].reset_index(drop=True).assign(
        endpoint=table["endpoint"].to_numpy(object)[rows.group],
        pump=pump,
        since=since,
        until=until,
        last_sound=np.maximum(np.where(failed, rows.lower, until), since),
        failed=failed,
        renewed=end < records_to,
        weight=rows.weight,
    )  # fmt: skip
    plain = (table["mode"].eq("") & table["endpoint"].ne("")).to_numpy()[rows.group]
    kept: pd.DataFrame = frame[plain & (end > as_of) & ((until > since) | failed)]
    return kept.reset_index(drop=True)


def watch_group(after: pd.DataFrame, keys: pd.DataFrame, pumps: IntArray) -> Watched:
    """The stretches of one group.

    Parameters
    ----------
    after : DataFrame
        From `stretches_after`.
    keys : DataFrame (parts,)
        service, side, part, material, variant and endpoint of the group's parts.
    pumps : int array (pumps,)
        The group's pumps, as rows of the whole records' pumps table.
    """
    names = ["service", "side", "part", "material", "variant"]
    numbered = keys[[*names, "endpoint"]].assign(part_row=np.arange(len(keys)))
    mine = after[after["pump"].isin(pumps)].merge(numbered, on=names, suffixes=("", "_asked"))
    asked = mine["endpoint"] == mine["endpoint_asked"]
    fallen_back = ~mine["part_row"].isin(mine.loc[asked, "part_row"])
    mine = mine[asked | (fallen_back & mine["endpoint"].eq("failed"))]
    return Watched(
        pump=pd.Index(pumps).get_indexer(pd.Index(mine["pump"])).astype(np.int64),
        part=mine["part_row"].to_numpy(np.int64),
        since=mine["since"].to_numpy(float),
        until=mine["until"].to_numpy(float),
        last_sound=mine["last_sound"].to_numpy(float),
        failed=mine["failed"].to_numpy(bool),
        renewed=mine["renewed"].to_numpy(bool),
        weight=mine["weight"].to_numpy(float),
    )


def expected_failures(lives: LifeDraws, seen: Watched) -> FloatArray:
    """Failures expected of what was watched, by draws of the parts' lives, (draws,).

    Each stretch expects the hazard that it lived through.  A failure found at a look expects,
    beyond the last age at which the part was sound, what it would on average have lived through
    until it failed.
    """
    mine = lives[seen.part]

    def hazard(age: FloatArray) -> FloatArray:
        return np.asarray(-np.log(np.maximum(mine.survival(age[:, None]), 1e-300)))

    start, low, high = (hazard(age) for age in (seen.since, seen.last_sound, seen.until))
    gap = np.maximum(high - low, 1e-300)
    between = seen.failed & (seen.until > seen.last_sound)
    with np.errstate(over="ignore"):
        late = np.where(between[:, None], 1.0 - gap / np.expm1(gap), 0.0)
    return np.asarray(seen.weight @ (low - start + late))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LaterSurvival:
    """Steps of a side's survival by what was watched, for each set of weights of the pumps.

    Attributes
    ----------
    age : float array (steps,)
        Ages at which a part failed [usage], rising.
    at_risk : float array (parts, steps)
        Sides watched at that age, by part, every pump counting once.
    log_step : float array (sets, parts, steps)
        Logarithm of the share of sides whose positions of that part live through the age.
    """

    age: FloatArray
    at_risk: FloatArray
    log_step: FloatArray

    def __repr__(self) -> str:
        """Say the size."""
        return f"<LaterSurvival: {self.age.size} steps, {self.log_step.shape[0]} sets>"


def middle_age(seen: Watched) -> FloatArray:
    """Age at the end of each stretch; a failure found at a look lies in the middle [usage]."""
    return np.where(seen.failed, 0.5 * (seen.last_sound + seen.until), seen.until)


def survive_later(seen: Watched, count: FloatArray, weights: FloatArray) -> LaterSurvival:
    """Kaplan-Meier steps of each part, late entry allowed, for many weights of the pumps at once.

    Parameters
    ----------
    seen : Watched
    count : float array (parts,)
        Positions of each part.
    weights : float array (sets, pumps)
        How often each pump counts; the first set counts each once.

    References
    ----------
    Kaplan & Meier, Journal of the American Statistical Association 53 (1958) 457-481; late
    entry as in Andersen, Borgan, Gill & Keiding, Statistical Models Based on Counting Processes
    (1993), from memory.
    """
    age = np.unique(middle_age(seen)[seen.failed & (seen.weight > 0.0)])
    steps, risks = [], []
    for part, positions in enumerate(count):
        at_risk, failed = _count_part(seen, part, weights, age)
        share = np.minimum(failed / np.where(at_risk > 1e-9, at_risk, np.inf), CERTAIN)
        steps.append(positions * np.log1p(-share))
        risks.append(at_risk[0] / positions)
    return LaterSurvival(age=age, at_risk=np.array(risks), log_step=np.stack(steps, axis=1))


def _count_part(
    seen: Watched, part: int, weights: FloatArray, age: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Positions of a part at risk and failing at each age, (sets, ages)."""
    mine = seen.part == part
    since, until, failed = seen.since[mine], middle_age(seen)[mine], seen.failed[mine]
    weight = weights[:, seen.pump[mine]] * seen.weight[mine]
    entered = _sum_below(since, weight, age, "left")
    left = _sum_below(until, weight, age, "left")
    dead = weight * failed
    died = _sum_below(until, dead, age, "right") - _sum_below(until, dead, age, "left")
    return np.maximum(entered - left, 0.0), np.maximum(died, 0.0)


def _sum_below(
    at: FloatArray, weight: FloatArray, age: FloatArray, side: Literal["left", "right"]
) -> FloatArray:
    """Weight of the rows that lie below each age ("left"), or up to it ("right"), (sets, ages)."""
    order = np.argsort(at, kind="stable")
    total = np.cumsum(np.pad(weight[:, order], ((0, 0), (1, 0))), axis=1)
    return total[:, np.searchsorted(at[order], age, side=side)]


def count_reaching(seen: Watched, count: FloatArray, age: float) -> FloatArray:
    """Sides, by part, that were watched at an age, (parts,)."""
    there = (seen.since < age) & (seen.until >= age)
    return np.asarray(np.bincount(seen.part[there], seen.weight[there], count.size) / count)


def realised_rate(
    later: LaterSurvival, interval: float, end_cost: float, failure_cost: FloatArray
) -> FloatArray:
    """Cost rate of a side renewed at an age and at failure, by its later lives, (sets,).

    Parameters
    ----------
    later : LaterSurvival
    interval : float
        [usage]
    end_cost : float
        Cost of a renewal at that age [money].
    failure_cost : float array (parts,)
        [money]

    Returns
    -------
    float array (sets,)
        [money / usage unit].
    """
    inside = later.age <= interval
    step = later.log_step[:, :, inside]
    down = step.sum(axis=1)
    alive = np.exp(np.pad(np.cumsum(down, axis=1), ((0, 0), (1, 0))))
    lost = -np.diff(alive, axis=1)
    share = step / np.where(down < 0.0, down, 1.0)[:, None, :]
    paid = np.einsum("spj,sj,p->s", share, lost, failure_cost)
    width = np.diff(np.concatenate([[0.0], later.age[inside], [interval]]))
    return np.asarray((paid + end_cost * alive[:, -1]) / (alive @ width))


def side_survival(later: LaterSurvival, age: float) -> float:
    """Share of sides that live to an age by what was watched, every pump counting once."""
    return float(np.exp(later.log_step[0][:, later.age <= age].sum()))
