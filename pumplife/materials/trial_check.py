"""The trials that the plant has written down: which can be judged, what is wrong with others."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd

from pumplife.materials.confirmed import say_unknown_codes
from pumplife.materials.trial_pairs import BOTH, Pair, find_pairs
from pumplife.materials.trial_size import ON_ONE_ROD
from pumplife.records.audit import SET_ASIDE
from pumplife.records.duty import Duty
from pumplife.records.plant import to_day
from pumplife.records.read import Records

TESTED = ("test", "tested", "new", "material")
REFERENCE = ("reference", "old", "control")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Trial:
    """A trial as written, with its pumps.

    Attributes
    ----------
    trial_id, service, part, material, variant : str
    kind, reference : str
        Labels of the two materials: material and variant.
    starts, ends : Timestamp
        ends is NaT where no end is written.
    wanted : float
        Life ratio that would pay; NaN where none is written.
    looks : int
    tested, other : tuple of int
        Pumps (rows of the pumps table) with the material on trial, with the reference; a pump
        that holds both is in each.
    pairs : tuple of tuple of int
        Those of them that are compared within pairs.
    why_not : str
        Why it can't be judged; "" where it can.
    """

    trial_id: str
    service: str
    part: str
    material: str
    variant: str
    kind: str
    reference: str
    starts: pd.Timestamp
    ends: pd.Timestamp
    wanted: float
    looks: int
    tested: tuple[int, ...]
    other: tuple[int, ...]
    pairs: tuple[Pair, ...]
    why_not: str

    def __repr__(self) -> str:
        return f"Trial({self.trial_id}: {self.kind} against {self.reference}, {self.service})"


def read_trials(records: Records, duty: Duty, parts: set[str]) -> list[Trial]:
    """Gather the trials that the plant has written down.

    Parameters
    ----------
    records : Records
        Its audit gets what is wrong with a trial or with a pump in one.
    duty : Duty
    parts : set of str
        Names of parts that have lives.

    Returns
    -------
    list of Trial
        All of them, in the order written; those that can't be judged say why.
    """
    rows, pumps = records.table("trials"), records.table("trial_pumps")
    named = rows[["material", "reference"]].to_numpy(object).ravel()
    say_unknown_codes(records, sorted({str(one) for one in named} - {""}), table="trials")
    known = pumps["trial_id"].isin(rows["trial_id"])
    _set_aside(records, pumps[~known], "names a trial that the table trials doesn't hold.")
    arms = _name_arms(records, pumps[known], rows)
    _warn_of_overlap(records, rows, arms)
    return [
        _build(records, duty, row, arms[arms["trial_id"] == row["trial_id"]], parts)
        for row in rows.to_dict("records")
    ]


def _set_aside(records: Records, rows: pd.DataFrame, what: str, remedy: str = "") -> None:
    records.log.add_rows(
        rows,
        severity="caution",
        rule="trial_pump",
        what=[
            f"Pump {pump} in trial {trial}, arm {arm!r}: {what}"
            for pump, trial, arm in rows[["pump_id", "trial_id", "arm"]].itertuples(index=False)
        ],
        table="trial_pumps",
        consequence=SET_ASIDE,
        remedy=remedy or "Correct trial_id, or add the trial.",
    )


def _name_arms(records: Records, pumps: pd.DataFrame, trials: pd.DataFrame) -> pd.DataFrame:
    """Rows of pumps with `side` tested, reference or both; others are set aside and said."""
    about = trials.drop_duplicates("trial_id").set_index("trial_id")
    label = (about["material"] + " " + about["variant"]).str.strip()
    own, other = pumps["trial_id"].map(label), pumps["trial_id"].map(about["reference"])
    arm = pumps["arm"].astype(str)
    lower = arm.str.lower()
    side = pd.Series("", index=pumps.index, dtype=object)
    side[(arm == own) | lower.isin(TESTED)] = "tested"
    side[(arm == other) | lower.isin(REFERENCE)] = "reference"
    side[lower == BOTH] = BOTH
    on_rod = pumps["trial_id"].map(about["part"]).isin(ON_ONE_ROD) & (side == BOTH)
    _set_aside(
        records,
        pumps[on_rod],
        "both materials can't be tried as diaphragms of one pump, since they share a rod.",
        "Give each pump one material; only balls and seats can share a pump.",
    )
    _set_aside(
        records,
        pumps[side == ""],
        "the arm is neither of the trial's two materials.",
        f"Write the material, or {TESTED[0]}, {REFERENCE[0]} or {BOTH}.",
    )
    return pumps.assign(side=side)[(side != "") & ~on_rod]


def _build(
    records: Records, duty: Duty, row: dict[Any, Any], arms: pd.DataFrame, parts: set[str]
) -> Trial:
    kind = f"{row['material']} {row['variant']}".strip()
    looks = float(str(row["looks"]))
    trial = Trial(
        trial_id=str(row["trial_id"]),
        service=str(row["service"]),
        part=str(row["part"]),
        material=str(row["material"]),
        variant=str(row["variant"]),
        kind=kind,
        reference=str(row["reference"]),
        starts=pd.Timestamp(row["started_on"]),
        ends=pd.Timestamp(row["ends_on"]),
        wanted=float(str(row["wanted_ratio"])),
        looks=max(1, round(looks)) if np.isfinite(looks) else 1,
        tested=_pumps(arms, "tested"),
        other=_pumps(arms, "reference"),
        pairs=find_pairs(arms, records.log),
        why_not="",
    )
    reasons = list(_doubt(trial, parts))
    _warn_of_service(records, duty, trial, arms)
    _warn_of_start(records, trial, int(str(row["row"])))
    if not reasons:
        return trial
    records.log.add(
        "caution",
        f"Trial {trial.trial_id} can't be judged: {'; '.join(reasons)}.",
        rule="trial_row",
        table="trials",
        row=int(str(row["row"])),
        consequence="It stands in the table of trials without a decision.",
        remedy="Correct the trial, or its rows of trial_pumps.",
    )
    return replace(trial, why_not="; ".join(reasons))


def _pumps(arms: pd.DataFrame, side: str) -> tuple[int, ...]:
    return tuple(int(pump) for pump in arms.loc[arms["side"].isin([side, BOTH]), "pump"])


def _doubt(trial: Trial, parts: set[str]) -> Iterator[str]:
    """What keeps a trial from being judged."""
    if trial.part not in parts:
        yield f"no part with lives is called {trial.part!r}"
    if trial.kind == trial.reference:
        yield f"{trial.kind} is compared with itself"
    if trial.ends < trial.starts:
        yield f"it ends on {trial.ends:%Y-%m-%d}, before its start on {trial.starts:%Y-%m-%d}"
    if not trial.wanted > 1.0:
        yield "wanted_ratio isn't a life ratio above 1"
    for pumps, kind in ((trial.tested, trial.kind), (trial.other, trial.reference)):
        if not pumps:
            yield f"no pump carries {kind}"


def _warn_of_overlap(records: Records, trials: pd.DataFrame, arms: pd.DataFrame) -> None:
    """Say which pumps are in two trials of one part at the same time."""
    about = trials[["trial_id", "part", "started_on", "ends_on"]].drop_duplicates("trial_id")
    told = arms.merge(about, on="trial_id")
    ends = told["ends_on"].fillna(pd.Timestamp.max)
    both = told.assign(ends=ends).merge(
        about.assign(ends=about["ends_on"].fillna(pd.Timestamp.max)).merge(
            arms[["trial_id", "pump"]], on="trial_id"
        ),
        on=["pump", "part"],
        suffixes=("", "_other"),
    )
    late = both["trial_id"].gt(both["trial_id_other"])
    late &= both["started_on"].le(both["ends_other"]) & both["started_on_other"].le(both["ends"])
    records.log.add_rows(
        both[late],
        severity="caution",
        rule="trial_overlap",
        what=[
            f"Pump {pump} is in trials {other} and {trial} of one part at the same time."
            for pump, trial, other in both.loc[
                late, ["pump_id", "trial_id", "trial_id_other"]
            ].itertuples(index=False)
        ],
        table="trial_pumps",
        consequence="Its lives count in both, so that what the two show isn't independent.",
        remedy="End the one before the other begins, or take the pump out of one.",
    )


def _warn_of_start(records: Records, trial: Trial, row: int) -> None:
    """Say where a trial began before the records do."""
    first = pd.Timestamp(records.plant.records_from)
    if trial.starts >= first:
        return
    records.log.add(
        "caution",
        f"Trial {trial.trial_id} began on {trial.starts:%Y-%m-%d}, before the records, which begin "
        f"on {first:%Y-%m-%d}.",
        rule="trial_early",
        table="trials",
        row=row,
        consequence="Failures before then are not known: only lives that began since count.",
        remedy="Add the older records, or correct started_on.",
    )


def _warn_of_service(records: Records, duty: Duty, trial: Trial, arms: pd.DataFrame) -> None:
    """Say which pumps moved something else when the trial began."""
    day = np.full(len(arms), to_day(trial.starts))
    place = duty.at(arms["pump"].to_numpy(), day)
    service = duty.stints["service"].to_numpy(object)[place]
    elsewhere = arms[service != trial.service]
    records.log.add_rows(
        elsewhere,
        severity="caution",
        rule="trial_service",
        what=[
            f"Pump {pump} of trial {trial.trial_id} wasn't in {trial.service} at its start."
            for pump in elsewhere["pump_id"]
        ],
        table="trial_pumps",
        consequence="Only its lives in that service count.",
        remedy="Correct the service of the trial or the pump, or its moves.",
    )
