"""What is asked of each item, counted from every look at the shelf beyond the jobs known then."""

from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from pumplife.errors import RecordError
from pumplife.policy.groups import DAYS_PER_YEAR

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.intp]

Key = tuple[str, str]  # store and item


QUARTER_DAYS = 91.0  # demand is counted from every look at the shelf within so many days
MOST_STARTS = 8  # looks counted at the most


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ItemDemand:
    """Simulated demand for one item from one store.

    Attributes
    ----------
    store, item : str
    lead : array (replicates,)
        Unplanned demand over the lead time from today [items].
    spans : tuple of three arrays (starts × replicates,)
        Demand beyond the planned jobs known at the look, over the lead time, over half and over
        the whole of the review period more [items], from each look at the shelf within the next
        quarter; below 0 where a piece lies for a job that is still to come.
    seen : array (demands,)
        The same up to each unplanned demand that what is ordered at these looks must meet, that
        demand itself left out [items]; empty where the shelf is looked at all the time.
    year : array (replicates,)
        Unplanned demand over the next twelve months [items].
    planned_per_year : float
        Mean planned demand over the next twelve months [items].
    lead_days : array (replicates,)
        The lead time of each replicate [days].
    """

    store: str
    item: str
    lead: IntArray
    spans: tuple[IntArray, IntArray, IntArray]
    year: IntArray
    planned_per_year: float
    lead_days: FloatArray
    seen: IntArray = field(default_factory=lambda: np.zeros(0, np.intp))

    def __repr__(self) -> str:
        return f"ItemDemand({self.item} at {self.store}: {self.year.mean():.2g} a year unplanned)"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Needs:
    """One row per item taken: which, in which replicate, on which day, planned or not."""

    key: IntArray
    replicate: IntArray
    day: FloatArray
    planned: NDArray[np.bool_]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Known:
    """One row per planned job: which item it takes, in which replicate, and when it is known."""

    key: IntArray
    replicate: IntArray
    since: FloatArray
    due: FloatArray
    until: FloatArray


def join_needs(parts: list[Needs]) -> Needs:
    return Needs(
        key=np.concatenate([p.key for p in parts] or [np.zeros(0, np.intp)]),
        replicate=np.concatenate([p.replicate for p in parts] or [np.zeros(0, np.intp)]),
        day=np.concatenate([p.day for p in parts] or [np.zeros(0)]),
        planned=np.concatenate([p.planned for p in parts] or [np.zeros(0, np.bool_)]),
    )


def sort_needs(needs: Needs, replicates: int) -> Needs:
    """By key, future and day."""
    order = np.lexsort((needs.day, needs.key * replicates + needs.replicate))
    return Needs(
        key=needs.key[order],
        replicate=needs.replicate[order],
        day=needs.day[order],
        planned=needs.planned[order],
    )


def join_known(parts: list[Known]) -> Known:
    return Known(
        key=np.concatenate([p.key for p in parts] or [np.zeros(0, np.intp)]),
        replicate=np.concatenate([p.replicate for p in parts] or [np.zeros(0, np.intp)]),
        since=np.concatenate([p.since for p in parts] or [np.zeros(0)]),
        due=np.concatenate([p.due for p in parts] or [np.zeros(0)]),
        until=np.concatenate([p.until for p in parts] or [np.zeros(0)]),
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Futures:
    """What pumps ask of the stores in simulated futures, before it is counted.

    Attributes
    ----------
    keys : list of (store, item)
    lead : array (keys, replicates)
        Lead times [days].
    listed : array (keys,)
        How far ahead of a look planned jobs count as known [days].
    needs : Needs
        Sorted as by `sort_needs`.
    jobs : Known
    review : float
        Days between two looks at the shelf [days].
    days : float
        How far the futures run [days].
    """

    keys: list[Key]
    lead: FloatArray
    listed: FloatArray
    needs: Needs
    jobs: Known
    review: float
    days: float

    def __repr__(self) -> str:
        return f"Futures({len(self.keys)} items, {self.lead.shape[1]} futures)"

    @property
    def longest_lead(self) -> float:
        """The longest lead time that the futures are long enough to count [days]."""
        return self.days - self.review - QUARTER_DAYS

    def of_one(self, key: Key, *, lead_factor: float = 1.0) -> "Futures":
        """The same futures of one item alone, its lead times times a factor.

        Raises
        ------
        RecordError
            If a lead time becomes longer than `longest_lead`: then demand would be cut off.
        """
        row = self.keys.index(key)
        lead = lead_factor * self.lead[row : row + 1]
        if lead.max() > max(self.longest_lead, float(self.lead[row].max())):
            raise RecordError(
                f"{key[1]} at {key[0]}: lead times of up to {lead.max():.0f} days need futures of "
                f"{lead.max() + self.review + QUARTER_DAYS:.0f} days; they run for {self.days:.0f}."
            )
        mine, own = self.needs.key == row, self.jobs.key == row
        return replace(
            self,
            keys=[key],
            lead=lead,
            listed=self.review + lead_factor * (self.listed[row : row + 1] - self.review),
            needs=Needs(
                key=self.needs.key[mine] - row,
                replicate=self.needs.replicate[mine],
                day=self.needs.day[mine],
                planned=self.needs.planned[mine],
            ),
            jobs=Known(
                key=self.jobs.key[own] - row,
                replicate=self.jobs.replicate[own],
                since=self.jobs.since[own],
                due=self.jobs.due[own],
                until=self.jobs.until[own],
            ),
        )


def count_futures(futures: Futures) -> list[ItemDemand]:
    """Demand of each item, in the order of the keys."""
    times = (futures.lead, futures.listed)
    return count_demand(futures.keys, times, (futures.needs, futures.jobs), futures.review)


def count_demand(
    keys: list[Key],
    times: tuple[FloatArray, FloatArray],
    asked: tuple[Needs, Known],
    review: float,
) -> list[ItemDemand]:
    """Demand of each item counted from every look; times: lead times, and how far jobs count.

    What is asked is sorted as by `sort_needs`.
    """
    (lead, ahead), (needs, jobs) = times, asked
    shape = lead.shape
    cell = needs.key * shape[1] + needs.replicate
    own_lead = lead.ravel()[cell]
    failed, within = ~needs.planned, needs.day <= DAYS_PER_YEAR

    def count(kept: NDArray[np.bool_]) -> IntArray:
        return np.bincount(cell[kept], minlength=lead.size).reshape(shape)

    starts = np.arange(0.0, QUARTER_DAYS, max(review, QUARTER_DAYS / MOST_STARTS))
    listed = [_count_jobs(jobs, ahead, start, shape) for start in starts]

    def count_span(more: float) -> IntArray:
        rows = [
            count((needs.day > start) & (needs.day <= own_lead + more + start)) - known
            for start, known in zip(starts, listed, strict=True)
        ]
        return np.concatenate(rows, axis=1)

    spans = [count_span(more) for more in (0.0, review / 2.0, review)]
    seen = _count_before(cell, needs, own_lead, (starts, listed, review))
    lead_count = count(failed & (needs.day <= own_lead))
    year, planned = count(failed & within), count(needs.planned & within)
    return [
        ItemDemand(
            store=store,
            item=item,
            lead=lead_count[row],
            spans=(spans[0][row], spans[1][row], spans[2][row]),
            year=year[row],
            planned_per_year=float(planned[row].mean()),
            lead_days=lead[row],
            seen=seen[row],
        )
        for row, (store, item) in enumerate(keys)
    ]


def count_takings(
    keys: list[Key],
    lead: FloatArray,
    taken: tuple[IntArray, IntArray, FloatArray, NDArray[np.bool_]],
    review_days: float,
) -> list[ItemDemand]:
    """Demand by item from every piece taken, whoever found out about it; planned ones known ahead.

    Parameters
    ----------
    keys : list of (store, item)
    lead : float array (keys, replicates)
        Lead times [days].
    taken : tuple of arrays (pieces,)
        Row in `keys`, replicate, day from today, and whether it was planned.
    review_days : float
        [days]
    """
    key, replicate, day, planned = taken
    failed, soon = ~planned, planned & (day <= DAYS_PER_YEAR)
    needs = Needs(
        key=key[failed], replicate=replicate[failed], day=day[failed], planned=planned[failed]
    )
    ahead = lead.mean(axis=1) + review_days
    needs = sort_needs(needs, lead.shape[1])
    demands = count_demand(keys, (lead, ahead), (needs, join_known([])), review_days)
    per_year = np.bincount(key[soon], minlength=len(keys)) / lead.shape[1]
    return [
        replace(demand, planned_per_year=float(pace))
        for demand, pace in zip(demands, per_year, strict=True)
    ]


def _count_jobs(jobs: Known, ahead: FloatArray, start: float, shape: tuple[int, ...]) -> IntArray:
    """Jobs known at a look that are due within lead time and review (keys, replicates)."""
    listed = (jobs.since <= start) & (start < jobs.until)
    listed &= jobs.due <= start + ahead[jobs.key]
    cell = jobs.key[listed] * shape[1] + jobs.replicate[listed]
    return np.bincount(cell, minlength=shape[0] * shape[1]).reshape(shape)


def _count_before(
    cell: IntArray,
    needs: Needs,
    lead: FloatArray,
    looks: tuple[FloatArray, list[IntArray], float],
) -> list[IntArray]:
    """Beyond the jobs known, what was asked between a look and each demand that it serves.

    A look serves the demands of one review period, from a lead time after it on. By key; what is
    asked is sorted by cell and day.
    """
    starts, listed, review = looks
    day, failed, key = needs.day, ~needs.planned, needs.key
    place, opens = np.arange(len(cell)), np.searchsorted(cell, np.arange(listed[0].size))
    found, owner = [], []
    for start, known in zip(starts, listed, strict=True):
        before = np.bincount(cell[day <= start], minlength=known.size)
        first = opens + before
        served = failed & (day > start + lead) & (day <= start + lead + review)
        mine = cell[served]
        found.append(place[served] - first[mine] - known.ravel()[mine])
        owner.append(key[served])
    counts, owners = np.concatenate(found), np.concatenate(owner)
    by_key = np.argsort(owners, kind="stable")
    ends = np.searchsorted(owners[by_key], np.arange(1, len(listed[0])))
    return np.split(counts[by_key], ends)
