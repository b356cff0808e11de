"""Demand for kits and loose parts over a lead time, from the pumps' ages of today.

Demand is simulated: every pump runs on from the ages of its own parts, each replicate with another
draw of the lives and another lead time. Doubt about the lives makes demand wider than a Poisson
count, wear at like ages makes it narrower. Planned jobs are known ahead and ordered for, so that
they need no safety stock; a breakdown that comes shortly before one uses what was ordered for it.
What a look at the shelf must still guard against is therefore the demand beyond the jobs known
then.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pumplife.policy.ahead import UseAhead
from pumplife.policy.groups import DAYS_PER_YEAR, SideGroup
from pumplife.policy.simulate import SideEvents
from pumplife.stock.asked import Futures, Key
from pumplife.stock.future import Practice, run_group
from pumplife.stock.jobs import Jobs, list_jobs
from pumplife.stock.lead_times import draw_item_leads, order_ahead, own_rng
from pumplife.stock.looks import QUARTER_DAYS
from pumplife.stock.loose import LoosePart, draw_pieces, sure_pieces
from pumplife.stock.needs import Known, Needs, join_known, join_needs, sort_needs
from pumplife.stock.shocks import Burst, Shocks, draw_bursts

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.intp]


def simulate_futures(
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
    loose: Sequence[Sequence[LoosePart]] = (),
    seen: Callable[[SideGroup, SideEvents], None] | None = None,
    ahead: Sequence[UseAhead] = (),
) -> Futures:
    """What is asked of every item and store that some group draws on, future by future.

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
    loose : sequence of sequences of LoosePart, optional
        Per group, the parts that openings take beside the kit.
    seen : callable, optional
        Is shown each group and its events, so that others count the same futures.
    ahead : sequence of UseAhead, optional
        Use of the pumps of each group; default: as today.

    Returns
    -------
    Futures
        Keys sorted by store and item.
    """
    latest = current or {}
    keys = _list_keys(groups, lead_times, latest, loose)
    lead = draw_item_leads(keys, lead_times, replicates, seed)
    longest = float(lead.max(initial=0.0)) + review_days + QUARTER_DAYS
    horizon = max(DAYS_PER_YEAR, longest) / DAYS_PER_YEAR
    place = number_keys(keys, latest)
    listed = np.array([order_ahead(*lead_times[item]) for _, item in keys]) + review_days
    soon = float(listed.max(initial=0.0)) + QUARTER_DAYS
    run = _Run(fouling=fouling, loose=loose, seen=seen, soon=soon, ahead=ahead)
    asked = _run_groups(
        (groups, practices), place, run, years=horizon, replicates=replicates, seed=seed
    )
    taken = [needs for needs, _ in asked]
    if shocks is not None:
        rng, days = own_rng(seed, "shocks"), horizon * DAYS_PER_YEAR
        burst = draw_bursts(
            shocks, practices, days=days, replicates=replicates, rng=rng, ahead=ahead
        )
        taken.append(_burst_needs(groups, burst, place))
    jobs = join_known([known for _, known in asked])
    needs = sort_needs(join_needs(taken), replicates)
    return Futures(
        keys=keys,
        lead=lead,
        listed=listed,
        needs=needs,
        jobs=jobs,
        review=review_days,
        days=horizon * DAYS_PER_YEAR,
    )


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
    loose: Sequence[Sequence[LoosePart]] = (),
    ahead: Sequence[UseAhead | None] = (),
) -> Needs:
    """Run the groups forward and list every numbered item that they take; shocks left out.

    Parameters
    ----------
    groups, practices, replicates, seed, fouling, loose, ahead
        As of `simulate_futures`.
    place : dict
        Number of each store and item that is asked for; what isn't in it isn't listed, and groups
        that take nothing in it aren't run.
    years : float
        How far to run [years].
    """
    run = _Run(fouling=fouling, loose=loose, ahead=ahead)
    asked = _run_groups(
        (groups, practices), place, run, years=years, replicates=replicates, seed=seed
    )
    return join_needs([needs for needs, _ in asked])


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Run:
    """What is asked of groups run forward, as of `simulate_futures`; jobs known within `soon`."""

    fouling: Sequence[float] = ()
    loose: Sequence[Sequence[LoosePart]] = ()
    seen: Callable[[SideGroup, SideEvents], None] | None = None
    soon: float = 0.0
    ahead: Sequence[UseAhead | None] = ()


def _run_groups(
    worked: tuple[Sequence[SideGroup], Sequence[Practice]],
    place: dict[Key, int],
    run: _Run,
    *,
    years: float,
    replicates: int,
    seed: int,
) -> list[tuple[Needs, Known]]:
    """What each group takes, and its planned jobs that are known soon."""
    air_kits = air_kits_of(worked[0])
    asked = []
    for number, (group, practice) in enumerate(zip(*worked, strict=True)):
        chance = run.fouling[number] if len(run.fouling) else 0.0
        parts = run.loose[number] if len(run.loose) else ()
        fouled_kits = [air_kits.get(int(pump), "") for pump in group.pumps if chance > 0]
        items = {group.kit, *group.part_no, *fouled_kits, *(part.part_no for part in parts)}
        asked_for = ((str(store), item) in place for store in set(group.store) for item in items)
        if run.seen is None and not any(asked_for):
            continue
        rng = own_rng(seed, group.stream)
        use = run.ahead[number] if len(run.ahead) else None
        events = run_group(group, practice, years=years, replicates=replicates, rng=rng, ahead=use)
        taken = [_own_needs(group, events, place), _fault_needs(group, events, place, seed)]
        if parts:
            own = own_rng(seed, group.stream, "loose")
            taken += _loose_needs(group, events, parts, place, (replicates, seed, own))
        if run.seen is not None:
            run.seen(group, events)
        jobs = list_jobs(group, practice, events, replicates, run.soon, ahead=use)
        if chance > 0:
            fouled = _fouled(group, events, chance, rng)
            taken.append(_air_needs(group, events, fouled, air_kits, place))
        asked.append((join_needs(taken), _known(group, jobs, parts, place)))
    return asked


def _list_keys(
    groups: Sequence[SideGroup],
    lead_times: dict[str, tuple[float, float]],
    latest: dict[str, str],
    loose: Sequence[Sequence[LoosePart]],
) -> list[Key]:
    beside = loose or [()] * len(groups)
    wanted = {
        (str(store), latest.get(item, item))
        for group, parts in zip(groups, beside, strict=True)
        for store in set(group.store)
        for item in (group.kit, *group.part_no, *(part.part_no for part in parts if not part.why))
    }
    return sorted(key for key in wanted if key[1] in lead_times)


def _own_needs(group: SideGroup, events: SideEvents, place: dict[Key, int]) -> Needs:
    """The kit or the loose part that each event takes from the pump's store."""
    keys = _keys_of(group, place)
    part = group.part_of[np.maximum(events.position, 0)]
    return _pick(events, keys[events.pump, np.where(events.kit, 0, part + 1)])


def _fault_needs(group: SideGroup, events: SideEvents, place: dict[Key, int], seed: int) -> Needs:
    """The kit of each opening that a fault of assembly opens again, a breakdown of that day."""
    chance = 0.0 if group.costs is None else group.costs.opening_fault
    again = np.zeros(events.pump.size, np.bool_)
    if chance > 0.0:
        again = own_rng(seed, group.stream, "faults").random(again.size) < chance
    kit = _keys_of(group, place)[:, 0]
    taken = _pick(events, np.where(again, kit[events.pump], -1))
    return replace(taken, planned=np.zeros_like(taken.planned))


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


def _loose_needs(
    group: SideGroup,
    events: SideEvents,
    parts: Sequence[LoosePart],
    place: dict[Key, int],
    chance: tuple[int, int, np.random.Generator],
) -> list[Needs]:
    """Pieces that each event takes beside its kit; only what every opening takes is planned."""
    replicates, seed, rng = chance
    needs = []
    for part in parts:
        if part.why:
            continue
        pieces = draw_pieces(part, events, replicates=replicates, seed=seed, rng=rng)
        keys = np.array([place.get((str(store), part.part_no), -1) for store in group.store])
        taken = _pick(events, keys.astype(np.intp)[events.pump], pieces)
        sure = taken.planned & (part.share is None)
        needs.append(replace(taken, planned=sure))
    return needs


def air_kits_of(groups: Sequence[SideGroup]) -> dict[int, str]:
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


def _pick(events: SideEvents, key: IntArray, pieces: IntArray | None = None) -> Needs:
    """Events that take an item with a known lead time, one row per piece; one piece by default."""
    kept = np.flatnonzero(key >= 0)
    if pieces is not None:
        kept = np.repeat(kept, pieces[kept])
    return Needs(
        key=key[kept],
        replicate=events.replicate[kept],
        day=events.time[kept] * DAYS_PER_YEAR,
        planned=events.position[kept] < 0,
    )


def _known(
    group: SideGroup, jobs: Jobs, parts: Sequence[LoosePart], place: dict[Key, int]
) -> Known:
    """The kit, and the loose parts, that each planned job surely takes, with known lead times."""
    pieces = {group.kit: 1} | {part.part_no: sure_pieces(part) for part in parts}
    found = []
    for item, count in pieces.items():
        keys = np.array([place.get((str(store), item), -1) for store in group.store], np.intp)
        key = keys[jobs.pump]
        kept = np.repeat(np.flatnonzero(key >= 0), count)
        found.append(
            Known(
                key=key[kept],
                replicate=jobs.replicate[kept],
                since=jobs.since[kept],
                due=jobs.due[kept],
                until=jobs.until[kept],
            )
        )
    return join_known(found)
