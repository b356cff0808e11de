"""Demand for kits and loose parts over a lead time, from the pumps' ages of today.

Demand is simulated: every pump runs on from the ages of its own parts, each replicate with another
draw of the lives and another lead time. Doubt about the lives makes demand wider than a Poisson
count, wear at like ages makes it narrower. Planned jobs are known ahead and ordered for, so that
they need no safety stock; a breakdown that comes shortly before one uses what was ordered for it.
What a look at the shelf must still guard against is therefore the demand beyond the jobs known
then.
"""

import zlib
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from pumplife.policy.groups import DAYS_PER_YEAR, SideGroup
from pumplife.policy.simulate import SideEvents
from pumplife.stock.asked import (
    QUARTER_DAYS,
    ItemDemand,
    Key,
    Known,
    Needs,
    count_demand,
    join_known,
    join_needs,
)
from pumplife.stock.future import Practice, run_group
from pumplife.stock.jobs import Jobs, list_jobs
from pumplife.stock.shocks import Burst, Shocks, draw_bursts

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.intp]


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
    shocks: Shocks | None = None,
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
    shocks : Shocks, optional
        Past shocks, which may come again and take from several pumps at once.

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
    place = number_keys(keys, latest)
    ahead = np.array([lead_times[item][0] for _, item in keys]) + review_days
    soon = float(ahead.max(initial=0.0)) + QUARTER_DAYS
    asked = _run_groups(
        (groups, practices),
        place,
        years=horizon,
        replicates=replicates,
        seed=seed,
        fouling=fouling,
        soon=soon,
    )
    taken = [needs for needs, _ in asked]
    if shocks is not None:
        rng, days = _own_rng(seed, "shocks"), horizon * DAYS_PER_YEAR
        burst = draw_bursts(shocks, practices, days=days, replicates=replicates, rng=rng)
        taken.append(_burst_needs(groups, burst, place))
    jobs = join_known([known for _, known in asked])
    return count_demand(keys, (lead, ahead), (join_needs(taken), jobs), review_days)


def number_keys(keys: Sequence[Key], latest: dict[str, str]) -> dict[Key, int]:
    """Give each key its number, and to superseded items that of the one in their place."""
    place = {key: number for number, key in enumerate(keys)}
    return place | {
        (store, old): number
        for old, new in latest.items()
        for (store, item), number in list(place.items())
        if item == new
    }


def gather_needs(
    groups: Sequence[SideGroup],
    practices: Sequence[Practice],
    place: dict[Key, int],
    *,
    years: float,
    replicates: int,
    seed: int,
    fouling: Sequence[float] = (),
) -> Needs:
    """Run the groups forward and list every numbered item that they take; shocks left out.

    Parameters
    ----------
    groups, practices, replicates, seed, fouling
        As of `simulate_demand`.
    place : dict
        Number of each store and item that is asked for; what isn't in it isn't listed, and groups
        that take nothing in it aren't run.
    years : float
        How far to run [years].
    """
    asked = _run_groups(
        (groups, practices),
        place,
        years=years,
        replicates=replicates,
        seed=seed,
        fouling=fouling,
        soon=0.0,
    )
    return join_needs([needs for needs, _ in asked])


def _run_groups(
    worked: tuple[Sequence[SideGroup], Sequence[Practice]],
    place: dict[Key, int],
    *,
    years: float,
    replicates: int,
    seed: int,
    fouling: Sequence[float],
    soon: float,
) -> list[tuple[Needs, Known]]:
    """What each group takes, and its planned jobs that are known within `soon` days."""
    air_kits = _air_kits(worked[0])
    asked = []
    for number, (group, practice) in enumerate(zip(*worked, strict=True)):
        chance = fouling[number] if len(fouling) else 0.0
        fouled_kits = [air_kits.get(int(pump), "") for pump in group.pumps if chance > 0]
        items = {group.kit, *group.part_no, *fouled_kits}
        if not any((str(store), item) in place for store in set(group.store) for item in items):
            continue
        rng = _own_rng(seed, group.stream)
        events = run_group(group, practice, years=years, replicates=replicates, rng=rng)
        taken = [_own_needs(group, events, place)]
        jobs = list_jobs(group, practice, events, replicates, soon)
        if chance > 0:
            fouled = _fouled(group, events, chance, rng)
            taken.append(_air_needs(group, events, fouled, air_kits, place))
        asked.append((join_needs(taken), _known(group, jobs, place)))
    return asked


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


def _own_needs(group: SideGroup, events: SideEvents, place: dict[Key, int]) -> Needs:
    """The kit or the loose part that each event takes from the pump's store."""
    keys = _keys_of(group, place)
    part = group.part_of[np.maximum(events.position, 0)]
    return _pick(events, keys[events.pump, np.where(events.kit, 0, part + 1)])


def _keys_of(group: SideGroup, place: dict[Key, int]) -> IntArray:
    """Kit and parts of each pump by key, (pumps, 1 + parts); -1 without a lead time."""
    items = (group.kit, *group.part_no)
    keys = [[place.get((str(store), item), -1) for item in items] for store in group.store]
    return np.array(keys, np.intp).reshape(len(group.store), len(items))


def _burst_needs(groups: Sequence[SideGroup], burst: Burst, place: dict[Key, int]) -> Needs:
    """What shocks take, all groups in one."""
    widest = max((len(group.part_no) for group in groups), default=0) + 1
    keys = [np.pad(_keys_of(g, place), ((0, 0), (0, widest - 1 - len(g.part_no)))) for g in groups]
    first = np.cumsum([0, *(len(group.pumps) for group in groups)])
    table = np.concatenate(keys or [np.zeros((0, widest), np.intp)])
    key = table[first[burst.group] + burst.pump, burst.item]
    kept = key >= 0
    return Needs(
        key=key[kept],
        replicate=burst.replicate[kept],
        day=burst.day[kept],
        planned=np.zeros(int(kept.sum()), np.bool_),
    )


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
) -> Needs:
    """The air kit that each fouled air side takes."""
    keys = np.array(
        [
            place.get((str(store), air_kits.get(int(pump), "")), -1)
            for store, pump in zip(group.store, group.pumps, strict=True)
        ],
        dtype=np.intp,
    )
    return _pick(events, np.where(fouled, keys[events.pump], -1))


def _pick(events: SideEvents, key: IntArray) -> Needs:
    """Events that take an item with a known lead time."""
    kept = key >= 0
    return Needs(
        key=key[kept],
        replicate=events.replicate[kept],
        day=events.time[kept] * DAYS_PER_YEAR,
        planned=events.position[kept] < 0,
    )


def _known(group: SideGroup, jobs: Jobs, place: dict[Key, int]) -> Known:
    """The kit that each planned job takes, where it has a known lead time."""
    key = _keys_of(group, place)[jobs.pump, 0]
    kept = key >= 0
    return Known(
        key=key[kept],
        replicate=jobs.replicate[kept],
        since=jobs.since[kept],
        due=jobs.due[kept],
        until=jobs.until[kept],
    )
