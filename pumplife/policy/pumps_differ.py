"""Pumps of one group whose downtime costs differ: whether one interval serves them all."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from pumplife.policy.near_best import NEAR_BEST
from pumplife.policy.pump import FloatArray
from pumplife.records.read import Records

if TYPE_CHECKING:
    from pumplife.policy.decide import Decision
    from pumplife.policy.groups import SideGroup

MOST_NAMES = 6  # pumps named in a sentence
SAME = 1e-9


def find_misfits(group: SideGroup, decision: Decision) -> tuple[FloatArray, FloatArray]:
    """The best interval of each pump at its own cost of downtime, and what the group's costs it.

    Parameters
    ----------
    group : SideGroup
    decision : Decision

    Returns
    -------
    best : float array (pumps,)
        [usage]; inf where planned work doesn't pay.
    excess : float array (pumps,)
        Expected cost at the group's interval over that at its own best, less 1 [-].
    """
    costs = decision.costs
    downtime = costs.pump_downtime
    if np.ptp(downtime) <= SAME * max(1.0, float(downtime.max())):
        size = downtime.size
        return np.full(size, decision.interval), np.zeros(size)
    known = decision.advice.known
    rate, hours = costs.downtime_per_h, (costs.planned.downtime_h, costs.kit_failure.downtime_h)

    def expected(planned: float, failure: FloatArray) -> FloatArray:
        cycle = np.einsum("tpd,p->td", known.incidence, failure) + planned * known.survival
        return np.asarray((cycle / known.uptime).mean(axis=1))

    idle = expected(float(hours[0][0]), hours[1])
    rest = expected(
        costs.planned_money - rate * float(hours[0][0]), costs.failure_money - rate * hours[1]
    )
    curve = rest[:, None] + downtime * idle[:, None]
    times = decision.advice.times
    curve = np.where((times <= decision.limit)[:, None], curve, np.inf)
    row = np.argmin(curve, axis=0)
    least = curve[row, np.arange(downtime.size)]
    best = np.where(row == times.size - 1, np.inf, times[row])
    return best, _value_at(times, curve, decision.interval) / least - 1.0


def _value_at(times: FloatArray, curve: FloatArray, interval: float) -> FloatArray:
    """Each pump's curve at the group's interval, by line in log time between two times."""
    kept = min(interval, float(times[-1]))
    row = int(np.clip(np.searchsorted(times, kept) - 1, 0, times.size - 2))
    share = float(np.log(kept / times[row]) / np.log(times[row + 1] / times[row]))
    after = np.where(np.isfinite(curve[row + 1]), curve[row + 1], curve[row])
    return np.asarray(curve[row] + share * (after - curve[row]))


def differ_row(records: Records, group: SideGroup, decision: Decision) -> dict[str, Any]:
    """Columns of the intervals table on pumps whose downtime costs differ; told in the audit.

    Parameters
    ----------
    records : Records
        Its audit gets a row where one interval doesn't serve all.
    group : SideGroup
    decision : Decision
    """
    downtime = decision.costs.pump_downtime
    best, excess = find_misfits(group, decision)
    apart = np.flatnonzero(excess > NEAR_BEST - 1.0)
    words = ""
    if apart.size:
        names = records.pumps["pump_id"].to_numpy(object)[group.pumps[apart]]
        words = _name(names, best[apart])
        _say_apart(records, group, words, float(excess[apart].max()))
    return {
        "downtime_per_h_low": float(downtime.min()),
        "downtime_per_h_high": float(downtime.max()),
        "pumps_apart": words,
    }


def _name(names: np.ndarray[tuple[int], np.dtype[np.object_]], best: FloatArray) -> str:
    """Name pumps by the interval that would suit them."""
    parts = []
    for age in np.unique(best)[:MOST_NAMES]:
        mine = sorted(map(str, names[best == age]))
        more = f" and {len(mine) - MOST_NAMES} more" if len(mine) > MOST_NAMES else ""
        suits = "run to failure" if np.isinf(age) else f"about {float(f'{age:.2g}'):,.0f}"
        parts.append(f"{', '.join(mine[:MOST_NAMES])}{more}: {suits}")
    return "; ".join(parts)


def _say_apart(records: Records, group: SideGroup, words: str, excess: float) -> None:
    records.log.add(
        "note",
        f"{group.title}: an hour of downtime costs so much more at some pumps than at others that "
        f"one interval doesn't serve all. Better for {words}.",
        rule="pumps_differ",
        table="pumps",
        consequence="The group's interval holds for them too; it costs them up to "
        f"{100.0 * excess:.0f} % more than their own.",
        remedy="Write a service of its own for them, or check downtime_per_h in pumps.",
    )
