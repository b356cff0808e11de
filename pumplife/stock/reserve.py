"""Last pieces kept for breakdowns on critical pumps: of which items, how many, for whom."""

from collections.abc import Sequence
from dataclasses import dataclass

from pumplife.policy.groups import SideGroup
from pumplife.records.read import Records
from pumplife.records.stocking import reserve_of
from pumplife.stock.asked import Key


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Reserve:
    """What is kept of one item in one store.

    Attributes
    ----------
    pieces : int
        Last pieces that only breakdowns on critical pumps may take [items].
    classes : tuple of str
        The classes of these pumps, as the register writes them.
    """

    pieces: int = 0
    classes: tuple[str, ...] = ()

    def __repr__(self) -> str:
        return f"Reserve({self.pieces} for {', '.join(self.classes) or 'nobody'})"


NO_RESERVE = Reserve()


def find_reserves(
    records: Records, groups: Sequence[SideGroup], current: dict[str, str]
) -> dict[Key, Reserve]:
    """Reserves by store and item, by [stock] reserve and the criticality of the pumps served.

    Where pumps of several classes draw on one item, the largest reserve stands.
    """
    wanted = reserve_of(records.plant.raw)
    if not wanted:
        return {}
    criticality = records.pumps["criticality"].to_numpy(object)
    _say_unknown(records, wanted, {str(word) for word in criticality})
    found: dict[Key, dict[str, int]] = {}
    for group in groups:
        own = criticality[group.pumps]
        for store, word in sorted(
            {(str(s), str(w)) for s, w in zip(group.store, own, strict=True)}
        ):
            for item in (group.kit, *group.part_no) if wanted.get(word) else ():
                key = (store, current.get(item, item))
                found.setdefault(key, {})[word] = wanted[word]
    return {
        key: Reserve(pieces=max(classes.values()), classes=tuple(sorted(classes)))
        for key, classes in found.items()
    }


def _say_unknown(records: Records, wanted: dict[str, int], known: set[str]) -> None:
    """A class that no pump has keeps nothing for anybody."""
    for word in sorted(set(wanted) - known):
        records.log.add(
            "caution",
            f'[stock] reserve names the class "{word}", which no pump has as its criticality.',
            rule="reserve_class",
            table="plant.toml",
            consequence="Nothing is kept for it.",
            remedy="Write the class as in pumps.criticality, or fill in that column.",
        )
