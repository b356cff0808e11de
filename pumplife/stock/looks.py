"""What each look at the shelf must guard against, counted for a block of items at once.

Most cells, one future of one item, ask for nothing while looks are counted: only those that ask
for something are laid out. What is asked is sorted by cell and day, so that each piece is laid
once at the first look that knows it, and running sums over the looks do the rest.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pumplife.policy.groups import DAYS_PER_YEAR
from pumplife.stock.needs import Known, Needs
from pumplife.stock.tally import Tallies, tally_rows

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.intp]
Counts = NDArray[np.int32]

QUARTER_DAYS = 91.0  # demand is counted from every look at the shelf within so many days
MOST_STARTS = 8  # looks counted at the most
SIMPSON_TIMES = (1, 4, 1)
"""How often the spans' starts, middles and ends count in six times their mean."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Looks:
    """What every look at the shelves of some items must guard against.

    Attributes
    ----------
    shape : tuple of int
        Items, looks, futures.
    cells : int array (cells,)
        Item x futures + future, of those that ask for anything; ascending.
    spans : tuple of three int arrays (looks, cells)
        Demand beyond the jobs known at the look, over the lead time, over half and over the whole
        of the review period more [items].
    served, seen : int arrays (demands,)
        Item of each demand that what is ordered at these looks must meet, and what was asked
        before it since the look, beyond the jobs known [items].
    late : tuple of three int arrays (jobs,)
        Of each planned job that asks for a piece by the end of a span and after the look, beyond
        the jobs known: its item, what was asked before it since the look, beyond the jobs known
        [items], and how much of six times the mean over the spans it makes up.
    """

    shape: tuple[int, int, int]
    cells: IntArray
    spans: tuple[IntArray, IntArray, IntArray]
    served: IntArray
    seen: IntArray
    late: tuple[IntArray, IntArray, IntArray]

    def __repr__(self) -> str:
        return f"Looks({len(self.cells)} cells of {self.shape[0] * self.shape[2]})"

    def whole(self) -> tuple[IntArray, IntArray, IntArray]:
        """The spans laid out for every future (items, looks x futures)."""
        items, looks, futures = self.shape
        item, future = np.divmod(self.cells, futures)
        spread = []
        for span in self.spans:
            out = np.zeros(self.shape, np.intp)
            out[item, :, future] = span.T
            spread.append(out.reshape(items, looks * futures))
        return spread[0], spread[1], spread[2]

    def tallies(self) -> tuple[Tallies, Tallies, Tallies]:
        """How often each demand came up, over each of the spans."""
        items, looks, futures = self.shape
        item = self.cells // futures
        zeros = (futures - np.bincount(item, minlength=items)) * looks
        lead, half, review = (tally_rows(item, span, items, zeros) for span in self.spans)
        return lead, half, review

    def tally_seen(self) -> Tallies:
        """How often each number was seen before a demand."""
        items = self.shape[0]
        return tally_rows(self.served, self.seen, items, np.zeros(items, np.intp))

    def tally_late(self) -> Tallies:
        """How often, of `SIMPSON_TIMES` looks each, each number was asked before a job."""
        items = self.shape[0]
        item, asked, times = self.late
        return tally_rows(item, asked, items, np.zeros(items, np.intp), times)


def list_starts(review: float) -> FloatArray:
    """Days of the looks that are counted [days]."""
    return np.arange(0.0, QUARTER_DAYS, _step(review))


def count_looks(needs: Needs, jobs: Known, times: tuple[FloatArray, FloatArray, float]) -> Looks:
    """Count what each look must guard against.

    Parameters
    ----------
    needs : Needs
        Sorted by key, future and day; keys from 0.
    jobs : Known
    times : tuple
        Lead times (items, futures) [days]; how far ahead of a look planned jobs of each item count
        as known (items,) [days]; days between two looks [days].
    """
    lead, ahead, review = times
    step, looks = _step(review), len(list_starts(review))
    cell = needs.key * lead.shape[1] + needs.replicate
    own = lead.ravel()[cell]
    near = np.flatnonzero((needs.day > 0.0) & (needs.day <= own + (review + step * (looks - 1))))
    cell, day, late = cell[near], needs.day[near], needs.day[near] - own[near]
    listed, first, stop = _list_jobs(jobs, lead.shape[1], ahead, step, looks)
    cells, slot, known = _lay_out(cell, listed, lead.size)

    def lay(at: IntArray, where: IntArray) -> IntArray:
        """How many are first known to each look (looks, cells)."""
        laid = np.bincount(at * len(cells) + where, minlength=(looks + 1) * len(cells))
        return laid.reshape(looks + 1, -1)[:looks]

    begins = lay(_first_look(day, step, looks), slot)
    if len(known):
        begins += lay(first, known) - lay(stop, known)
    met = [_first_look(late - more, step, looks) for more in (0.0, review / 2.0, review)]
    lead_end, half_end, review_end = (_run_up(lay(at, slot) - begins) for at in met)
    begun = _run_up(begins)
    served = np.flatnonzero((met[2] < met[0]) & ~needs.planned[near])
    look, mine = met[2][served], slot[served]
    opens = np.searchsorted(slot, np.arange(len(cells)))
    jobs_near = np.flatnonzero(needs.planned[near])
    asked = jobs_near - opens[slot[jobs_near]]
    beyond, before, often = _ask_late(
        (_first_look(day[jobs_near], step, looks), [one[jobs_near] for one in met]),
        (slot[jobs_near], asked),
        begun,
    )
    return Looks(
        shape=(lead.shape[0], looks, lead.shape[1]),
        cells=cells,
        spans=(lead_end, half_end, review_end),
        served=needs.key[near[served]],
        seen=served - opens[mine] - begun[look, mine],
        late=(needs.key[near[jobs_near[beyond]]], before, often),
    )


def _ask_late(
    on: tuple[IntArray, list[IntArray]], at: tuple[IntArray, IntArray], begun: IntArray
) -> tuple[IntArray, IntArray, IntArray]:
    """Planned jobs beyond those known, look by look: which, what was asked before, how often.

    Parameters
    ----------
    on : tuple
        The first look on each job's day or after it, and the first from which each span holds it.
    at : tuple of int arrays (jobs,)
        Where its cell stands, and how many pieces that cell takes before it.
    begun : int array (looks, cells)
        Pieces taken up to each look, and jobs known then.
    """
    (after, (lead, half, review)), (slot, asked) = on, at
    once, middle, last = SIMPSON_TIMES
    found = []
    for look, known in enumerate(begun):
        mine = np.flatnonzero((review <= look) & (look < after))
        before = asked[mine] - known[slot[mine]]
        beyond = before >= 0
        mine, before = mine[beyond], before[beyond]
        times = last + middle * (half[mine] <= look) + once * (lead[mine] <= look)
        found.append((mine, before, times))
    which, before, times = (np.concatenate(each) for each in zip(*found, strict=True))
    return which, before, times


def _run_up(laid: IntArray) -> IntArray:
    """Sums from the first look on, in place (looks, cells)."""
    for look in range(1, len(laid)):  # a few rows: much quicker than a running sum down columns
        laid[look] += laid[look - 1]
    return laid


def _step(review: float) -> float:
    """Days between two looks that are counted."""
    return max(review, QUARTER_DAYS / MOST_STARTS)


def _first_look(day: FloatArray, step: float, looks: int) -> IntArray:
    """The first look on a day or after it; the number of looks where that is after all."""
    return np.asarray(np.clip(np.ceil(day / step), 0, looks).astype(np.intp))


def _list_jobs(
    jobs: Known, futures: int, ahead: FloatArray, step: float, looks: int
) -> tuple[IntArray, IntArray, IntArray]:
    """Cell of each job that some look knows, the first that does, the first that no more does."""
    first = _first_look(np.maximum(jobs.since, jobs.due - ahead[jobs.key]), step, looks)
    stop = _first_look(np.minimum(jobs.until, step * looks), step, looks)
    kept = np.flatnonzero(first < stop)
    return jobs.key[kept] * futures + jobs.replicate[kept], first[kept], stop[kept]


def _lay_out(cell: IntArray, listed: IntArray, size: int) -> tuple[IntArray, IntArray, IntArray]:
    """Cells that ask for anything, and where each need and each job stands among them."""
    used = np.zeros(size, np.bool_)
    used[cell] = used[listed] = True
    cells = np.flatnonzero(used)
    place = np.cumsum(used) - 1
    return cells, place[cell], place[listed]


def count_lead(needs: Needs, lead: FloatArray) -> Counts:
    """Unplanned demand over the lead time (items, futures) [days] from today."""
    cell = needs.key * lead.shape[1] + needs.replicate
    return _count(cell[~needs.planned & (needs.day <= lead.ravel()[cell])], lead)


def count_year(needs: Needs, lead: FloatArray) -> tuple[Counts, FloatArray, FloatArray]:
    """Unplanned demand over a year (items, futures), its mean and that of planned (items,)."""
    within = needs.day <= DAYS_PER_YEAR
    failed = within & ~needs.planned
    year = _count(needs.key[failed] * lead.shape[1] + needs.replicate[failed], lead)
    means = (
        np.bincount(needs.key[rows], minlength=len(lead)) / lead.shape[1]
        for rows in (failed, within & needs.planned)
    )
    return year, *means


def _count(cell: IntArray, laid: FloatArray) -> Counts:
    """How often each cell came up; small numbers, kept and sent in little room."""
    return np.bincount(cell, minlength=laid.size).reshape(laid.shape).astype(np.int32)
