"""The ways of supplying one kind of kit from one store: what each takes, what its work costs."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pumplife.policy.ahead import UseAhead
from pumplife.policy.groups import SideGroup
from pumplife.policy.simulate import PlannedAges, SideEvents
from pumplife.records.plant import Plant
from pumplife.stock.amounts import event_amounts
from pumplife.stock.asked import Key
from pumplife.stock.future import Practice, as_today, run_group
from pumplife.stock.loose import LoosePart, draw_pieces
from pumplife.stock.supply import (
    Takings,
    break_kits,
    join_takings,
    not_in_bin,
    select_events,
    take,
)

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.intp]

SUPPLY_YEARS = 3.0
TODAY, KITS, PARTS, MIX, BROKEN = (
    "today's",
    "kits only",
    "parts only",
    "kits and parts",
    "kits, broken for a part",
)
WAYS = (TODAY, KITS, PARTS, MIX, BROKEN)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Member:
    """One group's pumps that a store serves with a kit.

    Attributes
    ----------
    group : SideGroup
    loose : tuple of LoosePart
    kit_at_failure : bool
        Whether what is followed fits the kit at a failure, else the failed part alone.
    followed, with_kit, alone, today : SideEvents
        What happens to them within `SUPPLY_YEARS` as followed, with the kit at every failure, with
        the failed part alone at every failure, and as today.
    """

    group: SideGroup
    loose: tuple[LoosePart, ...]
    kit_at_failure: bool
    followed: SideEvents
    with_kit: SideEvents
    alone: SideEvents
    today: SideEvents

    def __repr__(self) -> str:
        return f"Member({self.group.title})"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Supply:
    """What one way takes.

    Attributes
    ----------
    names : tuple of str
        Items.
    taken : Takings
        Pieces by row in `names`.
    left_over : dict of str to float
        Pieces of broken kits that the bin gains a year, by part number [1/year].
    work : float
        Labour, downtime, call-out and clean-up [money/year].
    """

    names: tuple[str, ...]
    taken: Takings
    left_over: dict[str, float]
    work: float

    def __repr__(self) -> str:
        return f"Supply({', '.join(self.names)})"


def run_members(
    groups: Sequence[SideGroup],
    practices: Sequence[Practice],
    loose: Sequence[tuple[LoosePart, ...]],
    *,
    replicates: int,
    seed: int,
    ahead: Sequence[UseAhead] = (),
) -> dict[Key, list[Member]]:
    """Run every group forward under each treatment of failures; members by store and kit."""
    families: dict[Key, list[Member]] = {}
    for number, (group, practice) in enumerate(zip(groups, practices, strict=True)):
        runs = [
            run_group(
                group,
                way,
                years=SUPPLY_YEARS,
                replicates=replicates,
                rng=np.random.default_rng([seed, number]),
                ahead=ahead[number] if len(ahead) else None,
            )
            for way in (_at(practice.planned, 1.0), _at(practice.planned, 0.0), as_today(group))
        ]
        for store in sorted({str(place) for place in group.store}):
            served = group.store.astype(str) == store
            kit, alone, today = (select_events(run, served[run.pump]) for run in runs)
            whole = practice.kit_share > 0.0
            member = Member(
                group=group,
                loose=tuple(loose[number]),
                kit_at_failure=whole,
                followed=kit if whole else alone,
                with_kit=kit,
                alone=alone,
                today=today,
            )
            families.setdefault((store, group.kit), []).append(member)
    return families


def _at(planned: PlannedAges, kit_share: float) -> Practice:
    return Practice(planned=planned, kit_share=kit_share)


def keeps_practice(way: str, members: Sequence[Member]) -> bool:
    """Whether the way treats failures as what is followed does."""
    whole = [member.kit_at_failure for member in members]
    return way == PARTS or (way == KITS and all(whole)) or (way in (MIX, BROKEN) and not any(whole))


def supply(
    way: str,
    kit: str,
    members: Sequence[Member],
    contents: dict[str, float],
    plant: Plant,
    *,
    chance: tuple[int, int],
) -> Supply:
    """What one way takes for one kind of kit in one store.

    Parameters
    ----------
    way : str
        One of `WAYS`.
    kit : str
    members : sequence of Member
        The groups that carry it, as far as the store serves them.
    contents : dict
        Pieces of each part in the kit [items].
    plant : Plant
    chance : tuple of int
        Replicates and seed.

    Returns
    -------
    Supply
    """
    beside = {part.part_no for member in members for part in member.loose}
    worn = {name for member in members for name in member.group.part_no}
    replicates = chance[0]
    names = (kit, *sorted({*contents, *beside, *worn} - {kit}))
    place = {name: number for number, name in enumerate(names)}
    whole, alone, extra = [], [], []
    work = 0.0
    for member in members:
        events = _events(way, member)
        whole.append(_whole(way, events, contents, place))
        alone.append(_alone(member, events, place))
        extra += _extra(member, events, place, chance)
        work += _work_money(member.group, events, plant) / (SUPPLY_YEARS * replicates)
    parts = [join_takings(whole), join_takings(alone), join_takings(extra)]
    left: dict[str, float] = {}
    if way == BROKEN:
        held = np.array([int(contents.get(name, 0)) for name in names], dtype=np.intp)
        parts, pieces = _out_of_kits(parts, held)
        left = {
            name: float(count) / (SUPPLY_YEARS * replicates)
            for name, count in zip(names, pieces, strict=True)
            if count
        }
    taken = join_takings(parts)
    used = np.unique(taken.item)
    code = np.zeros(len(names), np.intp)
    code[used] = np.arange(used.size)
    return Supply(
        names=tuple(names[number] for number in used),
        taken=Takings(
            item=code[taken.item],
            replicate=taken.replicate,
            day=taken.day,
            planned=taken.planned,
        ),
        left_over=left,
        work=work,
    )


def _events(way: str, member: Member) -> SideEvents:
    if way == TODAY:
        return member.today
    if way == PARTS:
        return member.followed
    return member.with_kit if way == KITS else member.alone


def _whole(
    way: str, events: SideEvents, contents: dict[str, float], place: dict[str, int]
) -> Takings:
    """The kit at each renewal of the whole side, or all that is in it."""
    whole = select_events(events, events.kit)
    count = whole.time.size
    set_of = {0: 1} if way != PARTS else {place[name]: int(n) for name, n in contents.items()}
    return join_takings(
        [take(whole, np.full(count, item), np.full(count, n)) for item, n in set_of.items()]
    )


def _alone(member: Member, events: SideEvents, place: dict[str, int]) -> Takings:
    """The failed part where it alone is renewed."""
    failed = select_events(events, ~events.kit)
    own = np.array([place[name] for name in member.group.part_no], dtype=np.intp)
    part = member.group.part_of[failed.position]
    return take(failed, own[part], np.ones(failed.time.size, np.intp))


def _extra(
    member: Member, events: SideEvents, place: dict[str, int], chance: tuple[int, int]
) -> list[Takings]:
    """What openings take besides, on condition or always."""
    replicates, seed = chance
    taken = []
    for part in member.loose:
        if part.why:
            continue
        rng = np.random.default_rng([seed, place[part.part_no]])
        pieces = draw_pieces(part, events, replicates=replicates, seed=seed, rng=rng)
        item = np.full(events.time.size, place[part.part_no])
        taken.append(take(events, item, pieces, sure=part.share is None))
    return taken


def _work_money(group: SideGroup, events: SideEvents, plant: Plant) -> float:
    """Labour, downtime, call-out and clean-up of all events [money]."""
    costs = group.costs
    assert costs is not None, "a group without costs has its reason in `missing`"
    amounts = event_amounts(group, plant)
    parts = len(group.part)
    failed = events.position >= 0
    kind = np.where(failed, group.part_of[np.maximum(events.position, 0)] + 1, 0)
    kind += np.where(events.kit, 0, parts)
    counts = np.bincount(kind, minlength=2 * parts + 1)
    air_kits = np.concatenate([np.zeros(1), costs.fouling.cash, costs.fouling.cash])
    return float(counts @ (amounts.labour_money + amounts.other_money - air_kits))


def _out_of_kits(parts: list[Takings], held: IntArray) -> tuple[list[Takings], IntArray]:
    """Failed parts out of broken kits, other needs out of their bin; and what stays in the bin."""
    whole, alone, extra = parts
    inside = held[alone.item] > 0
    needs = alone.where(inside)
    broken = needs.where(break_kits(needs, held))
    kits = Takings(
        item=np.zeros(broken.item.size, np.intp),
        replicate=broken.replicate,
        day=broken.day,
        planned=broken.planned,
    )
    used = np.bincount(needs.item, minlength=held.size)
    rest = []
    for item in np.unique(extra.item):
        mine = extra.where(extra.item == item)
        missing = not_in_bin(mine, broken, int(held[item]))
        used[item] += np.count_nonzero(~missing)
        rest.append(mine.where(missing))
    return [whole, kits, alone.where(~inside), *rest], held * kits.item.size - used
