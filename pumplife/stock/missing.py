"""What stock advice lacks, said once: items without a level and why, and prices not given."""

from collections.abc import Collection, Sequence

import numpy as np

from pumplife.policy.advice import Advice
from pumplife.policy.groups import SideGroup
from pumplife.records.phrases import MANY, count_of
from pumplife.records.read import Records
from pumplife.records.stocking import rush_days_of
from pumplife.stock.asked import Key
from pumplife.stock.assess import NO_LEVEL
from pumplife.stock.future import Practice
from pumplife.stock.items import Item
from pumplife.stock.loose import LoosePart

NO_LEAD_TIME = f"{NO_LEVEL} it has no lead time"


def say_no_lead_time(records: Records, item: Item, jobs: Sequence[str]) -> None:
    """Name the row of an item without a level, and the planned jobs that take it."""
    listed = ", ".join(jobs[:MANY]) + (" ..." if len(jobs) > MANY else "")
    told = (
        f" No day to order by for {count_of(len(jobs), 'planned job')}: {listed}." if jobs else ""
    )
    table, number = (f"{item.kind}s", "kit" if item.kind == "kit" else "part_no")
    rows = records.table(table)
    records.log.add_rows(
        rows[rows[number].eq(item.name)].tail(1),
        severity="caution",
        rule="no_lead_time",
        table=table,
        what=f"{item.kind} {item.name} has no lead time.",
        consequence="No stock level is advised for it; what of it will expire isn't foreseen."
        f"{told}",
        remedy="Write lead_time_days, the usual days from order to receipt.",
    )


def why_idle(advice: Advice, current: dict[str, str]) -> dict[Key, str]:
    """Kits that pumps carry and no level was found for, and why."""
    alone = (
        "failed parts are renewed alone there, out of loose stock: use up the kits that there are, "
        "no need to order more"
    )
    return {
        (str(place), current.get(group.kit, group.kit)): (
            f"{NO_LEVEL} {group.missing}" if group.missing else alone
        )
        for group in sorted(advice.groups, key=lambda group: bool(group.missing))
        if group.kit
        for place in set(group.store)
    }


def items_taken(group: SideGroup, way: Practice, loose: Sequence[LoosePart]) -> set[str]:
    """What a group's work takes: its kit, parts that are renewed alone, parts beside the kit."""
    alone = group.part_no if way.kit_share < 1.0 else ()
    return {group.kit, *alone, *(part.part_no for part in loose if not part.why)} - {""}


def why_no_lead_time(
    asking: Sequence[tuple[SideGroup, Practice, Sequence[LoosePart]]],
    current: dict[str, str],
    known: Collection[str],
) -> dict[Key, str]:
    """Items that work takes whose lead time isn't among those known, and why no level is found."""
    return {
        (str(place), item): NO_LEAD_TIME
        for group, way, loose in asking
        for item in sorted({current.get(name, name) for name in items_taken(group, way, loose)})
        if item not in known
        for place in set(group.store)
    }


def why_unknown(
    groups: Sequence[SideGroup], loose: Sequence[Sequence[LoosePart]], current: dict[str, str]
) -> dict[Key, str]:
    """Parts that openings take, nobody knows how often, and why."""
    return {
        (str(place), current.get(part.part_no, part.part_no)): f"{NO_LEVEL} {part.why}"
        for group, parts in zip(groups, loose, strict=True)
        for part in parts
        if part.why
        for place in set(group.store)
    }


def why_without_level(
    advice: Advice,
    asking: Sequence[tuple[SideGroup, Practice, Sequence[LoosePart]]],
    current: dict[str, str],
    known: Collection[str],
) -> dict[Key, str]:
    """Items that pumps carry or take and that have no level, and why."""
    groups, _, loose = zip(*asking, strict=True) if asking else ((), (), ())
    return (
        why_idle(advice, current)
        | why_unknown(groups, loose, current)
        | why_no_lead_time(asking, current, known)
    )


def unknown_demand(
    advice: Advice, carried: dict[Key, str], current: dict[str, str]
) -> frozenset[Key]:
    """Items of which nobody knows what all pumps will take: without a level, or of such groups."""
    without = {key for key, why in carried.items() if why.startswith(NO_LEVEL)}
    return frozenset(without) | {
        (str(place), current.get(part, part))
        for group in advice.groups
        if group.missing
        for place in set(group.store)
        for part in group.part_no
    }


def note_missing(records: Records, advice: Advice) -> None:
    """Say once what stays blank or counts as nothing."""
    for group in advice.groups:
        if group.missing and group.kit:
            records.log.add(
                "caution",
                f"{group.title}: what its {count_of(group.pumps.size, 'pump')} will take isn't "
                "known.",
                rule="no_demand",
                consequence=f"Levels and budget leave them out; the level of {group.kit} is too "
                "low for them.",
                remedy=group.missing,
            )
    consequences = {
        "holding_per_year": "cost_per_year and the level of least cost stay blank.",
        "waiting_per_day": "cost_per_year and the level of least cost stay blank.",
        "order": "Placing an order counts as free in cost_per_year.",
    }
    if np.isfinite(records.plant.cost("expedite")) and np.isnan(rush_days_of(records.plant.raw)):
        records.log.add(
            "note",
            "[costs] expedite is given, and not how soon a rush order is there.",
            rule="rush_days",
            table="plant.toml",
            consequence="Levels reckon with no rush orders: what is short waits.",
            remedy="Write [stock] rush_days in plant.toml.",
        )
    for name, consequence in consequences.items():
        if not np.isfinite(records.plant.cost(name)):
            records.log.add(
                "note",
                f"[costs] {name} is not given.",
                rule="cost_missing",
                table="plant.toml",
                consequence=f"Stock: {consequence}",
                remedy=f"Write [costs] {name} in plant.toml.",
            )
