"""The age at which each pump of a group is due: by its advice, else by figures given for it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pumplife.policy.adopted import adopted_interval
from pumplife.policy.decide import Decision
from pumplife.policy.groups import SideGroup
from pumplife.policy.limits import MAKER
from pumplife.policy.own_limits import own_intervals
from pumplife.policy.pump import FloatArray
from pumplife.records.read import Records

ADOPTED = "adopted interval"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class DueAges:
    """When the pumps of a group are due, and the work that it is.

    Attributes
    ----------
    interval : float array (pumps,)
        Age at which each is due [usage]; inf where it runs to failure, NaN where nothing tells.
    earliest : float array (pumps,)
        Age from which on the work may be done early [usage].
    limit : float array (pumps,)
        Age beyond which it may not run [usage], inf where there is none.
    hours : float
        Work of a planned renewal [h], NaN where not known.
    spared : float
        Planned downtime that an outage spares [money], NaN where what waiting costs isn't known.
    without_advice : object array (pumps,)
        Which figure sets the age where no interval is advised, and why none is; "" elsewhere.
    """

    interval: FloatArray
    earliest: FloatArray
    limit: FloatArray
    hours: float
    spared: float
    without_advice: NDArray[np.object_]

    def __repr__(self) -> str:
        """Count the pumps."""
        return f"<DueAges: {self.interval.size} pumps>"


def advised_ages(group: SideGroup, decision: Decision) -> DueAges:
    """The interval that is followed, from where the near-best band begins."""
    interval = own_intervals(group, decision.followed_interval)
    earliest = min(decision.advice.near_best_low, 0.9 * decision.followed_interval)
    work = decision.costs.planned
    return DueAges(
        interval=interval,
        earliest=np.minimum(earliest, 0.9 * interval),
        limit=own_intervals(group, decision.limit),
        hours=float(work.labour_h[0]),
        spared=decision.costs.downtime_per_h * float(work.downtime_h[0]),
        without_advice=np.full(interval.size, "", dtype=object),
    )


def given_ages(records: Records, group: SideGroup) -> DueAges:
    """The nearer of the adopted interval and each pump's own limit, where none is advised.

    A limit shorter than a day's usage can't be meant: its pump has no age until it is corrected.

    Parameters
    ----------
    records : Records
    group : SideGroup
        Its `missing` says why no interval is advised.

    Returns
    -------
    DueAges
        `interval` is NaN where neither figure tells.
    """
    adopted = adopted_interval(records, group)
    adopted = np.inf if np.isnan(adopted) else adopted
    interval = own_intervals(group, adopted)
    meant = np.isfinite(interval) & (group.own_limit > 0.0) & ~(group.own_limit < group.rate)
    by_limit = group.own_limit < adopted
    words = [
        f"the {MAKER if limited else ADOPTED}: no interval is advised. {group.missing}"
        for limited in by_limit
    ]
    return DueAges(
        interval=np.where(meant, interval, np.nan),
        earliest=0.9 * interval,
        limit=group.own_limit,
        hours=np.nan if group.costs is None else float(group.costs.planned.labour_h[0]),
        spared=np.nan,
        without_advice=np.array(words, dtype=object),
    )
