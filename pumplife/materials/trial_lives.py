"""What a running trial is judged by: its own lives, as they were known on any day."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pumplife.errors import NoFiniteEstimate
from pumplife.lives.positions import wearing_parts
from pumplife.materials.facts import merge_equal
from pumplife.materials.trial_check import Trial
from pumplife.materials.trial_looks import Looks, more_failures, plan_looks
from pumplife.materials.trial_pairs import count_witnesses, name_witnesses, share_alike
from pumplife.materials.trial_score import as_normal
from pumplife.materials.trial_size import failures_to_show
from pumplife.records.duty import Duty
from pumplife.records.plant import to_day, to_days
from pumplife.records.read import Records
from pumplife.weibull.regression import RegressionFit, fit_regression
from pumplife.weibull.regression_ratio import LifeRatio, fit_ratio

if TYPE_CHECKING:
    from pumplife.fits.build import Fits
    from pumplife.weibull.draws import LifeDraws


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Running:
    """A trial with the lives that it has had.

    `tested` marks lives of the material on trial; `life` is the reference's, None where none was
    fitted; `today` the last day of the records, `hazardous` whether a release ends it.
    """

    trial: Trial
    lives: pd.DataFrame
    tested: NDArray[np.bool_]
    life: LifeDraws | None
    shape: float
    needed: float
    looks: Looks
    risks: tuple[float, float]
    today: pd.Timestamp
    hazardous: bool

    def __repr__(self) -> str:
        return f"Running({self.trial.trial_id}, {len(self.lives)} lives)"

    @property
    def witness(self) -> dict[int, int]:
        """What each paired pump is counted as: the first pump of its pair."""
        return name_witnesses(self.trial.pairs)

    @property
    def over(self) -> bool:
        """Whether its end has come."""
        return bool(self.trial.ends <= self.today)

    @property
    def last(self) -> pd.Timestamp:
        """The last day that counts."""
        return self.trial.ends if self.over else self.today


def begin_trial(
    records: Records, duty: Duty, trial: Trial, facts: pd.DataFrame, fits: Fits
) -> Running:
    """Gather what a trial is judged by."""
    asked = records.plant.trials
    risks = (asked["power"], asked["false_alarm"])
    today = pd.Timestamp(records.plant.records_to)
    last = today if pd.isna(trial.ends) else min(trial.ends, today)
    mine = _lives_of(records, trial, facts, last)
    life = _reference_life(trial, facts, fits)
    shape = np.nan if life is None else float(np.median(life.shape))
    looks = plan_looks(np.arange(1, trial.looks + 1) / trial.looks, risks[1])
    needed = _events_needed(trial, shape, looks, risks, asked["pump_spread"])
    return Running(
        trial=trial,
        lives=mine,
        tested=mine["kind"].eq(trial.kind).to_numpy(),
        life=life,
        shape=shape,
        needed=np.nan if trial.why_not else needed,
        looks=looks,
        risks=risks,
        today=today,
        hazardous=_is_hazardous(records, duty, trial),
    )


def _lives_of(
    records: Records, trial: Trial, facts: pd.DataFrame, last: pd.Timestamp
) -> pd.DataFrame:
    """Lives that began in the trial on its pumps; those of other materials are said."""
    mine = (facts["part"] == trial.part) & (facts["service"] == trial.service) & ~facts["early"]
    mine &= (facts["start"] >= trial.starts) & (facts["start"] < last)
    tested = facts["pump"].isin(trial.tested)
    other = facts["pump"].isin(trial.other)
    right = (tested & facts["kind"].eq(trial.kind)) | (other & facts["kind"].eq(trial.reference))
    wrong = facts[mine & (tested | other) & ~right]
    _say_wrong(records, trial, wrong)
    return facts[mine & right]


def _say_wrong(records: Records, trial: Trial, wrong: pd.DataFrame) -> None:
    """Say which pumps carried another material than their arm's."""
    arms = records.table("trial_pumps")
    arms = arms[arms["trial_id"].eq(trial.trial_id)]
    held = wrong.groupby("pump")["kind"].agg(lambda kinds: ", ".join(sorted(set(kinds))))
    arms = arms[arms["pump"].isin(held.index)]
    count = wrong.groupby("pump").size()
    records.log.add_rows(
        arms,
        severity="caution",
        rule="trial_material",
        what=[
            f"Trial {trial.trial_id}: {count[pump]} lives of its part on pump {name} are of "
            f"{held[pump]}, not of the arm's material."
            for pump, name in arms[["pump", "pump_id"]].itertuples(index=False)
        ],
        table="trial_pumps",
        consequence="They don't count in the trial.",
        remedy="Fit the arm's material, or correct the arm or the part numbers.",
    )


def _reference_life(trial: Trial, facts: pd.DataFrame, fits: Fits) -> LifeDraws | None:
    """Draws of the reference's life in the service, of the size most used."""
    same = facts[
        (facts["service"] == trial.service)
        & (facts["part"] == trial.part)
        & (facts["kind"] == trial.reference)
    ]
    if same.empty:
        return None
    size = float(same.groupby("size")["usage"].sum().idxmax())
    about = same.iloc[0]
    place = (trial.service, size, trial.part, str(about["material"]), str(about["variant"]))
    row = fits.find(*place)
    if row < 0 or not np.isfinite(fits.draws.scale[row]).all():
        return None
    return fits.draws[row]


def _events_needed(
    trial: Trial,
    shape: float,
    looks: Looks,
    risks: tuple[float, float],
    spread: float,
) -> float:
    """Failures that show the wanted ratio, pumps being unlike; NaN where no number does."""
    fewest = min(len(trial.tested), len(trial.other))
    if not (trial.wanted > 1.0 and np.isfinite(shape) and fewest):
        return np.nan
    apart = 1.0 - share_alike(trial.pairs, trial.tested, trial.other)
    plain = failures_to_show(
        trial.wanted,
        shape,
        count_witnesses(trial.pairs, (*trial.tested, *trial.other)),
        2.0 * apart * spread**2 / fewest,
        power=risks[0],
        false_alarm=risks[1],
    )
    wider = more_failures(looks, *risks) if len(looks.share) > 1 else 1.0
    return float(np.ceil(wider * plain))


def _is_hazardous(records: Records, duty: Duty, trial: Trial) -> bool:
    """Whether the part's failures release fluid on a hazardous pump of the trial."""
    parts = wearing_parts(records)
    releases = bool(parts.loc[parts["part"] == trial.part, "releases"].any())
    pumps = np.array(trial.tested, dtype=np.int64)
    place = duty.at(pumps, np.full(len(pumps), to_day(trial.starts)))
    return releases and bool((duty.stints["hazard"].to_numpy(object)[place] == "hazardous").any())


def know_until(lives: pd.DataFrame, day: pd.Timestamp) -> pd.DataFrame:
    """Lives as they were known at the end of a day: what ended later was running."""
    begun = lives[lives["start"] < day]
    start, end = to_days(begun["start"]), to_days(begun["end"])
    later = end > to_day(day)
    share = np.where(later, (to_day(day) - start) / np.maximum(end - start, 1e-9), 1.0)
    reached = np.where(np.isfinite(begun["upper"]), begun["upper"], begun["lower"])
    lower = np.where(later, np.minimum(reached * share, begun["lower"]), begun["lower"])
    return begun.assign(
        lower=lower,
        upper=np.where(later, np.inf, begun["upper"]),
        entry=np.minimum(begun["entry"], lower),
        failures=np.where(later, 0.0, begun["failures"]),
        end=begun["end"].where(~later, day),
    )


def compare_until(running: Running, day: pd.Timestamp, confidence: float) -> LifeRatio:
    """The ratio of lives as known at the end of a day, as any two materials are compared."""
    rows = merge_equal(know_until(running.lives, day))
    return fit_ratio(
        *[rows[name].to_numpy(float) for name in ("lower", "upper", "entry", "weight")],
        marked=rows["kind"].eq(running.trial.kind).to_numpy(),
        stratum=rows["stratum"].to_numpy(np.int64),
        cluster=_witnesses(rows, running.witness),
        confidence=confidence,
    )


def _witnesses(rows: pd.DataFrame, witness: Mapping[int, int]) -> NDArray[np.int64]:
    """Pumps, those of a pair as one: lives of one witness may be alike."""
    return np.array([witness.get(int(pump), int(pump)) for pump in rows["pump"]], dtype=np.int64)


def score_until(
    lives: pd.DataFrame, kind: str, day: pd.Timestamp, witness: Mapping[int, int] | None = None
) -> float:
    """Give the evidence for the longer life of a material as known at the end of a day.

    Parameters
    ----------
    lives : DataFrame
        Of the trial, as `gather_facts` gives them.
    kind : str
        The material on trial.
    day : Timestamp
    witness : mapping of int to int, optional
        From `name_witnesses`: pumps that count as one, being a pair.

    Returns
    -------
    float
        Standard normal score: the likelihood ratio against equal lives over the design effect of
        the pumps or pairs, in Student's t; the bound of `fit_ratio` is at 1 with the confidence
        that this score stands for. NaN where nothing can be told.
    """
    rows = _of_both(merge_equal(know_until(lives, day)), kind)
    cluster = _witnesses(rows, witness or {})
    failed = np.isfinite(rows["upper"].to_numpy(float))
    tested = rows["kind"].eq(kind).to_numpy()
    if not failed.any() or len(np.unique(cluster)) < 2:
        return np.nan
    try:
        pooled = _fit(rows, None).log_likelihood
        if failed[tested].any() and failed[~tested].any():
            return _clustered(_fit(rows, tested, cluster), pooled)
        sure = tested if failed[tested].any() else ~tested
        gain = _fit(rows[sure], None).log_likelihood - pooled
        return float(np.sqrt(max(2.0 * gain, 0.0))) * (-1.0 if failed[tested].any() else 1.0)
    except NoFiniteEstimate:
        return np.nan


def _of_both(rows: pd.DataFrame, kind: str) -> pd.DataFrame:
    """Lives in strata that held both materials and a failure."""
    tested = rows["kind"].eq(kind)
    by = rows["stratum"]
    good = tested.groupby(by).transform("any") & (~tested).groupby(by).transform("any")
    failed = rows["upper"].lt(np.inf).groupby(by).transform("any")
    return rows[(good & failed).to_numpy(bool)]


def _fit(
    rows: pd.DataFrame,
    tested: NDArray[np.bool_] | None,
    cluster: NDArray[np.int64] | None = None,
) -> RegressionFit:
    """Fit lives with a scale per stratum, and the factor of the material on trial."""
    code = np.unique(rows["stratum"].to_numpy(np.int64), return_inverse=True)[1]
    strata = code[:, None] == np.arange(1, code.max() + 1)
    columns = strata if tested is None else np.column_stack([tested, strata])
    return fit_regression(
        *[rows[name].to_numpy(float) for name in ("lower", "upper", "entry", "weight")],
        covariates=columns.astype(float) if columns.shape[1] else None,
        names=[f"column {place}" for place in range(columns.shape[1])],
        cluster=cluster,
    )


def _clustered(fit: RegressionFit, pooled: float) -> float:
    effect = max(1.0, float(fit.covariance[1, 1] / fit.plain_covariance[1, 1]))
    root = np.sqrt(max(2.0 * (fit.log_likelihood - pooled), 0.0) / effect)
    sign = 1.0 if fit.estimate[1] > 0.0 else -1.0
    return float(as_normal(sign * root, fit.degrees))
