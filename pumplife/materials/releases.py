"""How much more or less often a material's failures let fluid out than the reference's."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import replace

import numpy as np
import pandas as pd

from pumplife.materials.compare import find_reference
from pumplife.materials.modes import KEYS
from pumplife.policy.costs import SideCosts, WorkCost
from pumplife.policy.pump import FloatArray

FEWEST = 5.0  # failures of both whose tickets say what was released
LENT = 2.0  # failures of both together that each one's share borrows


def compare_releases(
    facts: pd.DataFrame, modes: pd.DataFrame, parts: Collection[str]
) -> dict[tuple[str, ...], float]:
    """Compare the shares of failures that let fluid out.

    Parameters
    ----------
    facts : DataFrame
        From `gather_facts`.
    modes : DataFrame
        From `find_modes`.
    parts : collection of str
        Whose failures release fluid.

    Returns
    -------
    dict of (service, side, part, kind) to float
        Share of the material's failures that let fluid out over that of the reference's, both
        drawn towards what they share; only where tickets of at least 5 failures of both say.
    """
    found: dict[tuple[str, ...], float] = {}
    names = ["released_told", "released_share"]
    told = {
        tuple(str(name) for name in np.atleast_1d(key)): (float(row[0]), float(row[1]))
        for key, row in zip(modes.index, modes[names].to_numpy(float), strict=True)
        if row[0] >= FEWEST
    }
    for key, lives in facts.groupby(KEYS[:3], sort=True):
        place = tuple(str(name) for name in key)
        base = told.get((*place, find_reference(lives)))
        if place[-1] not in parts or base is None:
            continue
        for kind in sorted(set(lives["kind"]) - {find_reference(lives)}):
            if (*place, kind) in told:
                found[*place, kind] = _over(told[*place, kind], base)
    return found


def _over(own: tuple[float, float], base: tuple[float, float]) -> float:
    """Ratio of two shares, each drawn towards the share of both."""
    count = np.array([own[0], base[0]])
    out = count * np.array([own[1], base[1]])
    if not out.sum() > 0.0:
        return 1.0
    share = (out + LENT * out.sum() / count.sum()) / (count + LENT)
    return float(share[0] / share[1])


def release_as_often(costs: SideCosts, times: FloatArray) -> SideCosts:
    """Costs with the releases at each part's failures so many times as often, (parts,)."""
    if (times == 1.0).all():
        return costs
    release = WorkCost(
        cash=costs.spill,
        labour_h=np.broadcast_to(costs.fouling.labour_h, costs.spill.shape),
        downtime_h=np.broadcast_to(costs.fouling.downtime_h, costs.spill.shape),
    )

    def moved(work: WorkCost) -> WorkCost:
        more = times - 1.0
        return WorkCost(
            cash=work.cash + more * release.cash,
            labour_h=work.labour_h + more * release.labour_h,
            downtime_h=work.downtime_h + more * release.downtime_h,
        )

    return replace(
        costs, kit_failure=moved(costs.kit_failure), part_failure=moved(costs.part_failure)
    )


def times_released(
    released: Mapping[tuple[str, ...], float], place: tuple[str, str], parts: tuple[str, ...],
    kinds: tuple[str, ...],
) -> FloatArray:  # fmt: skip
    """How often the failures of each part release, over the reference's, (parts,)."""
    return np.array(
        [released.get((*place, *one), 1.0) for one in zip(parts, kinds, strict=True)],
        dtype=np.float64,
    )
