"""The pairs of a trial: like pumps that stand beside each other, or one pump that holds both."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence

import pandas as pd

from pumplife.materials.trial_size import ALIKE
from pumplife.records.audit import AuditLog

BOTH = "both"
Pair = tuple[int, ...]


def find_pairs(arms: pd.DataFrame, log: AuditLog) -> tuple[Pair, ...]:
    """Find the pairs of one trial that hold both its materials.

    Parameters
    ----------
    arms : DataFrame
        Its rows of trial_pumps, with `pump` and `side` (tested, reference or both).
    log : AuditLog
        Gets a row for every pump whose pair lacks one of the materials.

    Returns
    -------
    tuple of tuple of int
        Pumps (rows of the pumps table) of each complete pair; of one pump where it holds both.
        A pair may hold several pumps of a material.
    """
    named = arms[arms["pair"].ne("")]
    held = arms.loc[arms["pair"].eq("") & arms["side"].eq(BOTH), "pump"]
    found: list[Pair] = [(int(pump),) for pump in held]
    for _, mine in named.groupby("pair", sort=True):
        if _lacks(mine) == "":
            found.append(tuple(int(pump) for pump in sorted(mine["pump"])))
        else:
            _say_incomplete(mine, log)
    return tuple(found)


def _lacks(pair: pd.DataFrame) -> str:
    """The arm that a pair has no pump of; "" where it has both."""
    held = set(pair["side"])
    lacking = [side for side in ("tested", "reference") if not held & {side, BOTH}]
    return lacking[0] if lacking else ""


def _say_incomplete(pair: pd.DataFrame, log: AuditLog) -> None:
    lacking = {"tested": "material on trial", "reference": "reference"}[_lacks(pair)]
    log.add_rows(
        pair,
        severity="caution",
        rule="trial_pair",
        what=[
            f"Pump {pump} in trial {trial}: no pump of its pair {name!r} carries the {lacking}."
            for pump, trial, name in pair[["pump_id", "trial_id", "pair"]].itertuples(index=False)
        ],
        table="trial_pumps",
        consequence="It is followed as a pump by itself.",
        remedy="Give one pump of the pair the other material, correct the name of the pair, or "
        "leave it blank.",
    )


def name_witnesses(pairs: Iterable[Pair]) -> dict[int, int]:
    """Name the witness that each paired pump belongs to: its pair's first pump."""
    return {pump: pair[0] for pair in pairs for pump in pair}


def count_witnesses(pairs: Iterable[Pair], pumps: Iterable[int]) -> int:
    """Count what tells of a trial: pairs, and pumps that are in none."""
    witness = name_witnesses(pairs)
    return len({witness.get(pump, pump) for pump in pumps})


def share_alike(pairs: Sequence[Pair], tested: Iterable[int], other: Iterable[int]) -> float:
    """Give the share of the difference between pumps that the pairs take out of the comparison.

    Returns
    -------
    float
        0 for single pumps, `ALIKE` for pairs of pumps, 1 where every pump holds both.
    """
    mine, theirs = set(tested), set(other)
    fewest = min(len(mine), len(theirs))
    if not fewest:
        return 0.0
    taken = [
        1.0 if len(pair) == 1 else ALIKE * min(len(mine & set(pair)), len(theirs & set(pair)))
        for pair in pairs
    ]
    return min(1.0, sum(taken) / fewest)


def say_followed(pairs: Sequence[Pair], pumps: Iterable[int]) -> str:
    """Say what is compared with what in a trial: "6 pairs of pumps, 2 single pumps"."""
    single = len(set(pumps) - {pump for pair in pairs for pump in pair})
    kinds = Counter("pump with both" if len(pair) == 1 else "pair of pumps" for pair in pairs)
    told = [(kinds["pair of pumps"], "pair of pumps", "pairs of pumps")]
    told += [(kinds["pump with both"], "pump with both", "pumps with both")]
    told += [(single, "single pump", "single pumps")]
    return ", ".join(f"{count} {one if count == 1 else many}" for count, one, many in told if count)
