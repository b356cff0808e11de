"""Lives are built for some pumps at a time, so that memory stays small, and joined here."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd

from pumplife.lives.events import SHOCK_COLUMNS
from pumplife.lives.history import Gathered, Ints

SPARE = 1.02
"""How many times the rows foreseen there is room for."""
MOST_TICKETS = 40_000  # about as many of one block: its arrays stay small


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Block:
    """What was built of the lives of some pumps; visits are numbered as in the whole plant.

    Parameters
    ----------
    lives : int
        Lives of these pumps.
    now, visits, unseen, shocks, dated : DataFrame
        As in `Lives`; shocks with their `visit`.
    shared : DataFrame
        [visit, part] by the number that a failure shared among several alike has beyond those
        of the visits.
    asked, first_kits : DataFrame
        Open questions, and sides whose first kit is assumed.
    told : Series of str
        What came of each visit.
    findings, positions : DataFrame
        What became of findings, and the account of positions.
    """

    lives: int
    now: pd.DataFrame
    visits: pd.DataFrame
    unseen: pd.DataFrame
    shocks: pd.DataFrame
    dated: pd.DataFrame
    shared: pd.DataFrame
    asked: pd.DataFrame
    first_kits: pd.DataFrame
    told: "pd.Series[str]"
    findings: pd.DataFrame
    positions: pd.DataFrame

    def __repr__(self) -> str:
        return f"Block({self.lives} lives, {len(self.told)} visits)"


@dataclass(slots=True, eq=False)
class Columns:
    """Columns of one table that grow in place, block by block: joined lives exist only once.

    Parameters
    ----------
    arrays : dict of array
        The columns by name, with room behind their rows.
    rows : int
        Rows filled.
    """

    arrays: dict[str, Any] = field(default_factory=dict)
    rows: int = 0

    def __repr__(self) -> str:
        return f"Columns({self.rows} rows of {', '.join(self.arrays)})"

    def add(self, more: Mapping[str, Any], done: float) -> None:
        """Add rows; `done` is the share of all rows that is then there [-]."""
        count = len(next(iter(more.values())))
        start, self.rows = self.rows, self.rows + count
        for name, column in more.items():
            mine = self.arrays.setdefault(name, np.empty(0, column.dtype))
            if self.rows > len(mine):
                # a little too wide: room costs nothing until it is filled, widening does
                wider = np.empty(round(self.rows / min(done, 1.0) * SPARE), column.dtype)
                wider[:start] = mine[:start]
                self.arrays[name] = mine = wider
            mine[start : self.rows] = column

    def frame(self) -> pd.DataFrame:
        """The table, without copying its columns."""
        for column in self.arrays.values():
            column.resize(self.rows, refcheck=False)
        return pd.DataFrame(self.arrays, copy=False)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class WholeNumbers:
    """From the numbers that visits have in a block to those in the whole plant.

    Parameters
    ----------
    number : array (visits of the block,)
        The number of each visit among all visits.
    visits : int
        All visits of the plant.
    """

    number: Ints
    visits: int

    def __repr__(self) -> str:
        return f"WholeNumbers({len(self.number)} of {self.visits} visits)"

    def of_visits(self, rows: pd.DataFrame) -> pd.DataFrame:
        """Rows with the number of their `visit` in the whole plant, -1 staying."""
        number = np.append(self.number, -1)
        return rows.assign(visit=number[rows["visit"].to_numpy(np.int64)])

    def of_events(self, event: Ints) -> Ints:
        """Events likewise; those above the visits' numbers keep their distance to these."""
        mine = len(self.number)
        number = np.append(self.number, -1)
        alike = event >= mine
        return np.where(alike, event - mine + self.visits, number[np.where(alike, -1, event)])


def cut_pumps(gathered: Gathered, most: int) -> Iterator[Ints]:
    """Rows of the register in runs that have about so many tickets each, a run at the least."""
    pumps = len(gathered.records.pumps)
    pump = gathered.tickets["pump"].to_numpy(np.int64)
    written = np.cumsum(np.bincount(pump, minlength=pumps) + 1)
    run = (written - 1) // most
    yield from np.split(np.arange(pumps), np.flatnonzero(np.diff(run)) + 1)


def join_blocks(blocks: Sequence[Block], table: pd.DataFrame, visits: int) -> dict[str, Any]:
    """The tables of `Lives` from blocks in the order of their pumps and the table of their lives.

    `visits` is the number of visits of the plant.
    """
    counts = [block.lives for block in blocks]
    event = table["event"].to_numpy(np.int64)
    unseen = join([block.unseen for block in blocks])
    rank = _rank_shared(blocks, visits, (event, unseen["event"].to_numpy(np.int64)))
    table["event"] = rank(event, counts)
    lost = [len(block.unseen) for block in blocks]
    unseen["event"] = rank(unseen["event"].to_numpy(np.int64), lost)
    dated = pd.concat(
        [
            block.dated.assign(life=block.dated["life"] + before)
            for block, before in zip(blocks, np.cumsum([0, *counts[:-1]]), strict=True)
        ]
    )
    shocks = join([block.shocks for block in blocks])
    shocks = shocks.sort_values("visit", kind="stable", ignore_index=True)
    touched = join([block.visits for block in blocks])
    return {
        "table": table,
        "now": join([block.now for block in blocks]),
        "visits": touched.sort_values(["visit", "side"], ignore_index=True),
        "unseen": unseen,
        "shocks": shocks[SHOCK_COLUMNS],
        "dated": dated.sort_values("event", kind="stable", ignore_index=True),
    }


def join(frames: Sequence[pd.DataFrame]) -> pd.DataFrame:
    """Frames of one kind, one below the other; the empty ones don't decide about types."""
    full = [frame for frame in frames if len(frame)]
    return pd.concat(full or frames[:1], ignore_index=True)


def _rank_shared(
    blocks: Sequence[Block], visits: int, events: Sequence[Ints]
) -> Callable[[Ints, Sequence[int]], Ints]:
    """How to number failures shared among several alike along the whole plant.

    The function returned takes the events of all blocks and how many each block has.
    """
    pairs = [len(block.shared) for block in blocks]
    if len(blocks) == 1 or not any((event >= visits).any() for event in events):
        return lambda event, _: event
    place = join([block.shared for block in blocks]).groupby(["visit", "part"]).ngroup()
    ranks, before = place.to_numpy(np.int64), np.cumsum([0, *pairs[:-1]])

    def rank(event: Ints, counts: Sequence[int]) -> Ints:
        at = np.repeat(before, counts) + event - visits
        return np.where(event >= visits, visits + ranks[np.where(event >= visits, at, 0)], event)

    return rank
