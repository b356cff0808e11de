"""What is asked of each item, counted from every look at the shelf beyond the jobs known then."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from pumplife.errors import RecordError
from pumplife.policy.groups import DAYS_PER_YEAR
from pumplife.records.second import in_turn
from pumplife.stock.coming import NOTHING_COMING, Coming, count_early
from pumplife.stock.looks import (
    QUARTER_DAYS,
    SIMPSON_TIMES,
    Counts,
    count_lead,
    count_looks,
    count_year,
)
from pumplife.stock.needs import Known, Needs, join_known, sort_needs, take_known, take_rows
from pumplife.stock.tally import Tallies, Tally, tally

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.intp]

Key = tuple[str, str]  # store and item

_NEEDS_A_ROW = 50  # pieces counted in the time of one row of `second.WORTH`
_BLOCK_CELLS = 60_000  # items x futures counted at once: small enough to stay in fast memory


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Asked:
    """What is asked of one item from one store, whatever the look at the shelf.

    Attributes
    ----------
    store, item : str
    lead : int array (replicates,)
        Unplanned demand over the lead time from today [items].
    year : int array (replicates,)
        Unplanned demand over the next twelve months [items].
    planned_per_year : float
        Mean planned demand over the next twelve months [items].
    lead_days : array (replicates,)
        The lead time of each replicate [days].
    unplanned_per_year : float
        Mean of `year` [items].
    """

    store: str
    item: str
    lead: Counts
    year: Counts
    planned_per_year: float
    lead_days: FloatArray
    unplanned_per_year: float

    def __repr__(self) -> str:
        kind, yearly = type(self).__name__, self.unplanned_per_year
        return f"{kind}({self.item} at {self.store}: {yearly:.2g} a year unplanned)"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class ItemDemand(Asked):
    """Simulated demand for one item from one store.

    Attributes
    ----------
    spans : tuple of three Tally
        Demand beyond the planned jobs known at the look, over the lead time, over half and over
        the whole of the review period more [items], from each look at the shelf within the next
        quarter; below 0 where a piece lies for a job that is still to come.
    seen : Tally
        The same up to each unplanned demand that what is ordered at these looks must meet, that
        demand itself left out [items]; empty where the shelf is looked at all the time.
    late : Tally
        The same up to each planned job that is beyond those known at a look and asks for its
        piece by the end of a span: where that finds nothing, the job waits and its pump runs on.
        A span counts as often as `SIMPSON_TIMES` has it; empty where there are no such jobs.
    early : int array (arrivals, replicates)
        Unplanned demand before each arrival of pieces under way, within the lead time [items].
    """

    spans: tuple[Tally, Tally, Tally]
    seen: Tally = field(default_factory=lambda: tally([]))
    late: Tally = field(default_factory=lambda: tally([]))
    early: Counts = field(default_factory=lambda: np.zeros((0, 0), np.int32))

    @property
    def late_jobs(self) -> FloatArray:
        """Mean number of such jobs before which 0, 1, 2 ... items were asked [items]."""
        return np.asarray(self.late.times / (sum(SIMPSON_TIMES) * max(1, self.spans[2].of)))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class ItemFutures(Asked):
    """What takers ask of one item, future by future, so that several may be added up.

    Attributes
    ----------
    spans : tuple of three int arrays (looks x replicates,)
        What `ItemDemand` counts [items].
    seen : int array (demands,)
        What `ItemDemand` counts [items].
    """

    spans: tuple[IntArray, IntArray, IntArray]
    seen: IntArray

    def counted(self) -> ItemDemand:
        """The same, counted."""
        lead, half, review = (tally(span) for span in self.spans)
        return ItemDemand(
            store=self.store,
            item=self.item,
            lead=self.lead,
            spans=(lead, half, review),
            year=self.year,
            planned_per_year=self.planned_per_year,
            lead_days=self.lead_days,
            unplanned_per_year=self.unplanned_per_year,
            seen=tally(self.seen),
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
            needs=take_rows(self.needs, mine, row),
            jobs=take_known(self.jobs, own, row),
        )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Counted:
    """What is asked of some items, as `ItemDemand` has it of one, in few arrays."""

    lead: Counts
    year: tuple[Counts, FloatArray, FloatArray] | None
    spans: tuple[Tallies, Tallies, Tallies]
    seen: Tallies
    late: Tallies
    early: list[Counts]


def count_futures(
    futures: Futures,
    *,
    year_of: Sequence[ItemDemand] | None = None,
    coming: Mapping[Key, Coming] | None = None,
) -> list[ItemDemand]:
    """Demand of each item, in the order of the keys, by two processes where there is much.

    Parameters
    ----------
    futures : Futures
    year_of : sequence of ItemDemand, optional
        The same futures counted with other lead times: what is asked in a year is theirs.
    coming : mapping of (store, item) to Coming, optional
        Pieces under way, before whose arrival demand is counted too.
    """
    arrivals = coming or {}
    blocks = list(split_futures(futures))
    rows = len(futures.needs.day) // _NEEDS_A_ROW
    counted = in_turn(lambda block: _count_block(block, year_of is None, arrivals), blocks, rows)
    found: list[ItemDemand] = []
    for block, one in zip(blocks, counted, strict=True):
        known = None if year_of is None else year_of[len(found) : len(found) + len(block.keys)]
        found += _list_demands(block, one, known)
    return found


def split_futures(futures: Futures) -> Iterator[Futures]:
    """The same futures, some items at a time."""
    items, replicates = futures.lead.shape
    step = max(1, _BLOCK_CELLS // max(1, replicates))
    bounds = [*range(0, items, step), items]
    by_key = np.argsort(futures.jobs.key, kind="stable")
    jobs = take_known(futures.jobs, by_key)
    need, job = (np.searchsorted(rows.key, bounds) for rows in (futures.needs, jobs))
    for number, (start, end) in enumerate(pairwise(bounds)):
        yield replace(
            futures,
            keys=futures.keys[start:end],
            lead=futures.lead[start:end],
            listed=futures.listed[start:end],
            needs=take_rows(futures.needs, slice(need[number], need[number + 1]), start),
            jobs=take_known(jobs, slice(job[number], job[number + 1]), start),
        )


def _count_block(futures: Futures, with_year: bool, coming: Mapping[Key, Coming]) -> _Counted:
    """Demand of each item of a block."""
    needs, lead = futures.needs, futures.lead
    looks = count_looks(needs, futures.jobs, (lead, futures.listed, futures.review))
    return _Counted(
        lead=count_lead(needs, lead),
        year=count_year(needs, lead) if with_year else None,
        spans=looks.tallies(),
        seen=looks.tally_seen(),
        late=looks.tally_late(),
        early=count_early(
            needs, lead, [coming.get(key, NOTHING_COMING).days for key in futures.keys]
        ),
    )


def _list_demands(
    futures: Futures, counted: _Counted, known: Sequence[ItemDemand] | None
) -> list[ItemDemand]:
    """Demand of each item of a block; what is asked in a year may be known already."""
    if counted.year is None:
        assert known is not None, "a year that wasn't counted is known"
        years = [(one.year, one.unplanned_per_year, one.planned_per_year) for one in known]
    else:
        year, *means = counted.year
        years = list(zip(year, *(mean.tolist() for mean in means), strict=True))
    spans = [span.each() for span in counted.spans]
    seen, late = counted.seen.each(), counted.late.each()
    return [
        ItemDemand(
            store=store,
            item=item,
            lead=counted.lead[row],
            spans=(spans[0][row], spans[1][row], spans[2][row]),
            year=years[row][0],
            unplanned_per_year=years[row][1],
            planned_per_year=years[row][2],
            lead_days=futures.lead[row],
            seen=seen[row],
            late=late[row],
            early=counted.early[row],
        )
        for row, (store, item) in enumerate(futures.keys)
    ]


def count_takings(
    keys: list[Key],
    lead: FloatArray,
    taken: tuple[IntArray, IntArray, FloatArray, NDArray[np.bool_]],
    review_days: float,
) -> list[ItemFutures]:
    """What is asked of items by every piece taken, future by future; planned ones are known ahead.

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
    needs = sort_needs(
        Needs(
            key=key[failed], replicate=replicate[failed], day=day[failed], planned=planned[failed]
        ),
        lead.shape[1],
    )
    looks = count_looks(needs, join_known([]), (lead, lead.mean(axis=1) + review_days, review_days))
    over_lead, (year, unplanned, _) = count_lead(needs, lead), count_year(needs, lead)
    per_year = np.bincount(key[soon], minlength=len(keys)) / lead.shape[1]
    spans = looks.whole()
    return [
        ItemFutures(
            store=store,
            item=item,
            lead=over_lead[row],
            spans=(spans[0][row], spans[1][row], spans[2][row]),
            year=year[row],
            unplanned_per_year=float(unplanned[row]),
            planned_per_year=float(per_year[row]),
            lead_days=lead[row],
            seen=looks.seen[looks.served == row],
        )
        for row, (store, item) in enumerate(keys)
    ]
