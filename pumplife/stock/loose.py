"""What an opening of each pump group takes loose, beside its kit."""

import zlib
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pumplife.policy.groups import SideGroup
from pumplife.policy.simulate import PLANNED, SideEvents
from pumplife.records.prices import LOOSE
from pumplife.records.read import Records
from pumplife.stock.items import list_items, successors
from pumplife.stock.on_condition import ObservedShare, list_parts
from pumplife.stock.openings_known import EVERY_OPENING

if TYPE_CHECKING:
    from pumplife.stock.amounts import EventAmounts

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.intp]

_UNCLEAR = "several part numbers could be meant, and no kit holds one"
_UNKNOWN = "no finding and no issue tells how often an opening takes one"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LoosePart:
    """A part that openings of a group take whether or not it failed.

    Attributes
    ----------
    part_no, part : str
    pieces : int array (choices,)
        Pieces that an opening takes when it takes any, each choice as likely [items].
    held : int
        Pieces in the group's kit [items].
    share : ObservedShare or None
        How often an opening takes it; None = every opening does.
    unit_cost : float
        [money]; NaN where not given.
    why : str
        Why its demand isn't known; "" where it is.
    """

    part_no: str
    part: str
    pieces: IntArray
    held: int
    share: ObservedShare | None
    unit_cost: float = np.nan
    why: str = ""

    def __repr__(self) -> str:
        often = "every opening" if self.share is None else "on condition"
        return f"LoosePart({self.part_no}, {often})"


def find_loose_parts(
    records: Records, shares: dict[str, ObservedShare], groups: Sequence[SideGroup]
) -> list[tuple[LoosePart, ...]]:
    """Parts of each group that are renewed at every opening or on condition.

    Where the group's kit holds a part of that name, that one; else those of the group's side and
    size, of its material where several of one name differ in it.

    Parameters
    ----------
    records : Records
        Gives parts and kit_contents; its audit is told where several numbers could be meant.
    shares : dict
        By `observe_shares`.
    groups : sequence of SideGroup

    Returns
    -------
    list of tuple of LoosePart
        One entry per group, in their order.
    """
    parts = list_parts(records)
    parts = parts[parts["wears"].isin(LOOSE)]
    contents, current = kit_contents(records), successors(list_items(records))
    found = []
    unclear: dict[str, str] = {}
    for group in groups:
        held = _add_up(contents.get(group.kit, {}), current)
        mine = [
            _loose_part(row, int(held.get(row["part_no"], 0)), shares, alone)
            for row, alone in _meant(parts, group, set(held))
        ]
        unclear |= {part.part_no: part.part for part in mine if part.why == _UNCLEAR}
        found.append(tuple(mine))
    _say_unclear(records, unclear)
    return found


def kit_contents(records: Records) -> dict[str, dict[str, float]]:
    """Pieces of each part in each kit, by kit and part number [items]."""
    rows = records.table("kit_contents")
    contents: dict[str, dict[str, float]] = {}
    for row in rows.to_dict("records"):
        inside = contents.setdefault(str(row["kit"]), {})
        inside[str(row["part_no"])] = inside.get(str(row["part_no"]), 0.0) + float(row["quantity"])
    return contents


def _add_up(pieces: dict[str, float], current: dict[str, str]) -> dict[str, float]:
    """Pieces by number, each also under the number that has taken its place."""
    held = dict(pieces)
    for name, count in pieces.items():
        after = current.get(name, name)
        if after != name:
            held[after] = held.get(after, 0.0) + count
    return held


def _meant(
    parts: pd.DataFrame, group: SideGroup, held: set[str]
) -> list[tuple[dict[Any, Any], bool]]:
    """Rows of parts that the group's openings may take, and whether each is alone of its name."""
    sized = parts["size_mm"].isna() | (parts["size_mm"] == group.size_mm)
    mine = parts[(parts["side"] == group.side) & sized]
    chosen: list[tuple[dict[Any, Any], bool]] = []
    for _, alike in mine.groupby("part", sort=True):
        rows = alike[alike["part_no"].isin(held)]
        if rows.empty:
            fitting = alike[alike["material"].isin(group.material)]
            rows = fitting if len(alike) > 1 and len(fitting) == 1 else alike
        alone = len(rows) == 1 or bool(rows["part_no"].isin(held).all())
        chosen += [(row, alone) for row in rows.to_dict("records")]
    return chosen


def _loose_part(
    row: dict[Any, Any], held: int, shares: dict[str, ObservedShare], alone: bool
) -> LoosePart:
    name = str(row["part_no"])
    whole = int(np.ceil(np.fmax(1.0, row["per_pump"])))
    share = shares.get(name)
    why = ""
    if row["wears"] == EVERY_OPENING:
        share, why = None, "" if alone else _UNCLEAR
    elif share is None:
        why = _UNKNOWN
    pieces = share.pieces if share is not None and share.pieces.size else np.array([whole])
    return LoosePart(
        part_no=name,
        part=str(row["part"]),
        pieces=pieces,
        held=held,
        share=share,
        unit_cost=float(row["unit_cost"]),
        why=why,
    )


def _say_unclear(records: Records, unclear: dict[str, str]) -> None:
    for name, part in sorted(unclear.items()):
        records.log.add(
            "caution",
            f"{part} {name} is taken at every opening, and {_UNCLEAR}.",
            rule="loose_part_unclear",
            table="parts",
            consequence="No demand and no level for it.",
            remedy="Put it into kit_contents of its kit, or write size_mm and material in parts.",
        )


def openings_of(events: SideEvents) -> IntArray:
    """Kind of opening of each event: 0 planned, 1 breakdown, as `OPENINGS`."""
    return np.where(events.position == PLANNED, 0, 1)


def draw_pieces(
    part: LoosePart,
    events: SideEvents,
    *,
    replicates: int,
    seed: int,
    rng: np.random.Generator,
) -> IntArray:
    """Pieces that each event takes loose: what it needs, less what the kit holds (events,) [items].

    Parameters
    ----------
    part : LoosePart
        One whose demand is known.
    events : SideEvents
    replicates : int
    seed : int
        Gives each future its draw of the share: the same for all groups, whose doubt is one.
    rng : numpy Generator
        Which openings took it.
    """
    need = rng.choice(part.pieces, events.time.size)
    if part.share is not None:
        own = np.random.default_rng([seed, zlib.crc32(part.part_no.encode())])
        chance = part.share.draw(replicates, own)[openings_of(events), events.replicate]
        need = np.where(rng.random(events.time.size) < chance, need, 0)
    return np.asarray(np.maximum(need - np.where(events.kit, part.held, 0), 0), dtype=np.intp)


def sure_pieces(part: LoosePart) -> int:
    """Pieces that every planned job takes beside its kit; 0 where that is chance or not known."""
    if part.share is not None or part.why:
        return 0
    return max(int(part.pieces[0]) - part.held, 0)


def mean_pieces(part: LoosePart) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Mean pieces needed, taken from the kit and taken loose at an opening with and without kit.

    Returns
    -------
    three float arrays (2 kinds of opening, 2)
        Column 0 where the kit is fitted, 1 where it isn't [items].
    """
    chance = np.ones(2) if part.share is None else part.share.mean
    fitted = np.minimum(part.pieces, part.held).mean()
    need = np.outer(chance, [part.pieces.mean()] * 2)
    from_kit = np.outer(chance, [fitted, 0.0])
    return need, from_kit, need - from_kit


def pieces_by_kind(part: LoosePart, kinds: int) -> FloatArray:
    """Mean pieces of a part that each kind of event takes loose (kinds,), as `EventAmounts`."""
    loose = mean_pieces(part)[2]
    return np.concatenate([loose[0, :1], np.repeat(loose[1], (kinds - 1) // 2)])


def with_loose(amounts: "EventAmounts", parts: Sequence[LoosePart], column: int) -> "EventAmounts":
    """What events take, with the mean of what openings take beside the kit.

    Parameters
    ----------
    amounts : EventAmounts
        Of the group.
    parts : sequence of LoosePart
        Of the group; one without a price counts in pieces alone.
    column : int
        Where `takes` counts loose parts.
    """
    takes, money = amounts.takes.copy(), np.zeros(len(amounts.kit_money))
    for part in parts:
        if part.why:
            continue
        pieces = pieces_by_kind(part, money.size)
        takes[:, column] += pieces
        money += pieces * np.nan_to_num(part.unit_cost)
    return replace(amounts, takes=takes, loose_money=money)


def plan_loose_jobs(
    due: pd.DataFrame,
    everyone: Sequence[SideGroup],
    groups: Sequence[SideGroup],
    loose: Sequence[Sequence[LoosePart]],
) -> pd.DataFrame:
    """Planned jobs of the due list by the pieces that each surely takes beside its kit.

    Parameters
    ----------
    due : DataFrame
        Rows of the due list with a date; `group` counts in `everyone`.
    everyone, groups : sequences of SideGroup
        All groups of the plant, and those of `loose`, which may be parts of them.
    loose : sequence of sequences of LoosePart

    Returns
    -------
    DataFrame
        store, kit (the part number), do_on; one row per piece.
    """
    by_title = {
        group.title: [
            name
            for part in parts
            if part.share is None and not part.why
            for name in [part.part_no] * max(0, int(part.pieces[0]) - part.held)
        ]
        for group, parts in zip(groups, loose, strict=True)
    }
    taken = due["group"].map(lambda number: by_title.get(everyone[int(number)].title, []))
    jobs = due.assign(kit=taken.astype(object)).explode("kit").dropna(subset=["kit"])
    return jobs[["store", "kit", "do_on"]]
