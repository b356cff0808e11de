"""Demand for kits and loose parts over a lead time, from the pumps' ages of today.

Unplanned demand is simulated: every pump runs on from the ages of its own parts, each replicate
with another draw of the lives and another lead time. Doubt about the lives makes demand wider
than a Poisson count, wear at like ages makes it narrower. Planned jobs are known, so they are
counted apart and need no safety stock.
"""

import zlib
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from pumplife.policy.ahead import UseAhead
from pumplife.policy.groups import DAYS_PER_YEAR, SideGroup
from pumplife.policy.simulate import SideEvents
from pumplife.stock.future import Practice, run_group

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
        Unplanned demand over the lead time, over half and over the whole of the review period
        more [items], counted from each look at the shelf within the next quarter.
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

    def __repr__(self) -> str:
        return f"ItemDemand({self.item} at {self.store}: {self.year.mean():.2g} a year unplanned)"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Needs:
    """One row per item taken: which, in which replicate, on which day, planned or not."""

    key: IntArray
    replicate: IntArray
    day: FloatArray
    planned: NDArray[np.bool_]


def draw_lead_times(
    usual: float, high: float, replicates: int, rng: np.random.Generator
) -> FloatArray:
    """Lead times with median `usual`, exceeded once in ten beyond `high` [days].

    Lognormal, one from each of `replicates` equally likely slices, in random order; constant
    where `high` is missing or not above `usual`.
    """
    if not high > usual or usual <= 0:
        return np.full(replicates, usual)
    slices = (rng.permutation(replicates) + 0.5) / replicates
    spread = np.log(high / usual) / stats.norm.ppf(0.9)
    return np.asarray(usual * np.exp(spread * stats.norm.ppf(slices)), dtype=np.float64)


def simulate_demand(
    groups: Sequence[SideGroup],
    practices: Sequence[Practice],
    lead_times: dict[str, tuple[float, float]],
    *,
    review_days: float,
    replicates: int,
    seed: int,
    fouling: Sequence[float] = (),
    current: dict[str, str] | None = None,
    ahead: Sequence[UseAhead] = (),
) -> list[ItemDemand]:
    """Demand for every item and store that some group draws on.

    Parameters
    ----------
    groups : sequence of SideGroup
        The pump groups.
    practices : sequence of Practice
        How each is looked after, in the same order.
    lead_times : dict
        (usual, once-in-ten) lead time of each item [days]; items without one get no demand row.
    review_days : float
        Days between two looks at the shelf [days].
    replicates : int
        Simulated futures.
    seed : int
        The same seed gives the same demand, whatever the order of the groups.
    fouling : sequence of float, optional
        Per group, the probability that a failure which releases fluid also takes the pump's air
        kit [-]. The air side's ages are left as they are.
    current : dict, optional
        Item to the item that has taken its place; demand goes to that one.
    ahead : sequence of UseAhead, optional
        Use of the pumps of each group; default: as today.

    Returns
    -------
    list of ItemDemand
        Sorted by store and item.
    """
    latest = current or {}
    keys = _list_keys(groups, lead_times, latest)
    lead = np.array(
        [
            draw_lead_times(*lead_times[item], replicates, _own_rng(seed, store, item))
            for store, item in keys
        ]
    ).reshape(len(keys), replicates)
    longest = float(lead.max(initial=0.0)) + review_days + QUARTER_DAYS
    horizon = max(DAYS_PER_YEAR, longest) / DAYS_PER_YEAR
    place = {key: number for number, key in enumerate(keys)}
    place |= {
        (store, old): number
        for old, new in latest.items()
        for (store, item), number in list(place.items())
        if item == new
    }
    air_kits = _air_kits(groups)
    taken = []
    for number, (group, practice) in enumerate(zip(groups, practices, strict=True)):
        rng = _own_rng(seed, group.stream)
        use = ahead[number] if len(ahead) else None
        events = run_group(
            group, practice, years=horizon, replicates=replicates, rng=rng, ahead=use
        )
        taken.append(_own_needs(group, events, place))
        if len(fouling) and fouling[number] > 0:
            fouled = _fouled(group, events, fouling[number], rng)
            taken.append(_air_needs(group, events, fouled, air_kits, place))
    return _count(keys, lead, _join(taken), review_days)


def _list_keys(
    groups: Sequence[SideGroup],
    lead_times: dict[str, tuple[float, float]],
    latest: dict[str, str],
) -> list[Key]:
    wanted = {
        (str(store), latest.get(item, item))
        for group in groups
        for store in set(group.store)
        for item in (group.kit, *group.part_no)
    }
    return sorted(key for key in wanted if key[1] in lead_times)


def _own_rng(seed: int, *words: str) -> np.random.Generator:
    """A stream of its own for each thing simulated, so that their order is irrelevant."""
    return np.random.default_rng([seed, zlib.crc32("\x1f".join(words).encode())])


def _own_needs(group: SideGroup, events: SideEvents, place: dict[Key, int]) -> _Needs:
    """The kit or the loose part that each event takes from the pump's store."""
    items = (group.kit, *group.part_no)
    keys = np.array(
        [[place.get((str(store), item), -1) for item in items] for store in group.store]
    ).reshape(len(group.store), len(items))
    part = group.part_of[np.maximum(events.position, 0)]
    return _pick(events, keys[events.pump, np.where(events.kit, 0, part + 1)])


def _air_kits(groups: Sequence[SideGroup]) -> dict[int, str]:
    """The air kit fitted on each pump."""
    return {int(pump): g.kit for g in groups if g.side == "air" for pump in g.pumps}


def _fouled(
    group: SideGroup, events: SideEvents, probability: float, rng: np.random.Generator
) -> NDArray[np.bool_]:
    """Failures that released fluid into the air side."""
    part = group.part_of[np.maximum(events.position, 0)]
    released = (events.position >= 0) & group.releases[part]
    return released & (rng.random(len(part)) < probability)


def _air_needs(
    group: SideGroup,
    events: SideEvents,
    fouled: NDArray[np.bool_],
    air_kits: dict[int, str],
    place: dict[Key, int],
) -> _Needs:
    """The air kit that each fouled air side takes."""
    keys = np.array(
        [
            place.get((str(store), air_kits.get(int(pump), "")), -1)
            for store, pump in zip(group.store, group.pumps, strict=True)
        ],
        dtype=np.intp,
    )
    return _pick(events, np.where(fouled, keys[events.pump], -1))


def _pick(events: SideEvents, key: IntArray) -> _Needs:
    """Events that take an item with a known lead time."""
    kept = key >= 0
    return _Needs(
        key=key[kept],
        replicate=events.replicate[kept],
        day=events.time[kept] * DAYS_PER_YEAR,
        planned=events.position[kept] < 0,
    )


def _join(parts: list[_Needs]) -> _Needs:
    return _Needs(
        key=np.concatenate([p.key for p in parts] or [np.zeros(0, np.intp)]),
        replicate=np.concatenate([p.replicate for p in parts] or [np.zeros(0, np.intp)]),
        day=np.concatenate([p.day for p in parts] or [np.zeros(0)]),
        planned=np.concatenate([p.planned for p in parts] or [np.zeros(0, np.bool_)]),
    )


def _count(keys: list[Key], lead: FloatArray, needs: _Needs, review: float) -> list[ItemDemand]:
    shape = lead.shape
    cell = needs.key * shape[1] + needs.replicate
    own_lead = lead.ravel()[cell]

    def count(kept: NDArray[np.bool_]) -> IntArray:
        return np.bincount(cell[kept], minlength=lead.size).reshape(shape)

    failed, within = ~needs.planned, needs.day <= DAYS_PER_YEAR
    starts = np.arange(0.0, QUARTER_DAYS, max(review, QUARTER_DAYS / MOST_STARTS))
    since = [failed & (needs.day > start) for start in starts]

    def count_spans(more: float) -> IntArray:
        ends = (own_lead + more + start for start in starts)
        rows = [count(late & (needs.day <= end)) for late, end in zip(since, ends, strict=True)]
        return np.concatenate(rows, axis=1)

    spans = [count_spans(more) for more in (0.0, review / 2.0, review)]
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
        )
        for row, (store, item) in enumerate(keys)
    ]
