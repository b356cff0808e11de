"""Visits that say the same about pumps built alike: one of them is read for all."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pumplife.lives.actions import Actions, read_actions
from pumplife.lives.marks import make_marks
from pumplife.records.read import Records

Ints = NDArray[np.int64]

SAID = {
    "visits": ["done", "reason", "released", "kits"],
    "tickets": ["kit", "done", "failed_part"],
    "issued": ["item", "quantity"],
    "findings": [
        "part", "position", "action", "found", "mode", "part_no", "material", "variant", "count",
    ],
    "positions": ["part", "side", "n", "position", "releases"],
}  # fmt: skip
"""All that is read of a visit; nothing else is handed on to those who read it."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Kinds:
    """Which visit is read for which.

    Parameters
    ----------
    stands : array (visits,)
        The visit that is read for each: the first that says the same.
    shift : array (visits,)
        From the positions of the pump of that visit to those of the own pump.
    pump : array (visits,)
        Pump of each visit.
    """

    stands: Ints
    shift: Ints
    pump: Ints

    def __repr__(self) -> str:
        return f"Kinds({len(np.unique(self.stands))} of {len(self.stands)} visits)"

    def read(self, rows: pd.DataFrame, said: Sequence[str]) -> pd.DataFrame:
        """Rows of the visits that are read for others, with what is read of them."""
        visit = rows["visit"].to_numpy(np.int64)
        return rows.loc[self.stands[visit] == visit, ["visit", "pump", *said]]

    def spread(self, rows: pd.DataFrame) -> pd.DataFrame:
        """Rows [visit, pump, pos ...] of the visits that were read, given to each visit."""
        order = np.argsort(rows["visit"].to_numpy(np.int64), kind="stable")
        first, count = _runs(rows["visit"].to_numpy(np.int64), len(self.stands))
        mine = count[self.stands]
        visit = np.repeat(np.arange(len(mine)), mine)
        place = np.arange(len(visit)) - np.repeat(np.cumsum(mine) - mine, mine)
        spread = rows.take(order[first[self.stands[visit]] + place]).reset_index(drop=True)
        own = {"visit": visit}
        if "pump" in rows:
            own["pump"] = self.pump[visit]
        if "pos" in rows:
            own["pos"] = spread["pos"].to_numpy(np.int64) + self.shift[visit]
        return spread.assign(**own)


def read_visits(
    records: Records,
    visits: pd.DataFrame,
    tickets: pd.DataFrame,
    placed: tuple[pd.DataFrame, pd.DataFrame],
    positions: pd.DataFrame,
) -> tuple[Actions, pd.DataFrame, pd.DataFrame]:
    """Actions, marks and unplaced failures of visits, see `read_actions` and `make_marks`."""
    kinds = find_kinds(visits, tickets, placed, positions)
    issued, findings = placed
    told = kinds.read(tickets, SAID["tickets"])
    few = kinds.read(issued, SAID["issued"]), kinds.read(findings, ["origin", *SAID["findings"]])
    actions = read_actions(records, told, few, positions)
    marks, unplaced = make_marks(kinds.read(visits, SAID["visits"]), told, positions, actions)
    looked = kinds.spread(actions.findings)
    looked.index = pd.Index(findings.sort_values("visit", kind="stable")["origin"])
    every = Actions(
        slots=kinds.spread(actions.slots),
        counts=kinds.spread(actions.counts),
        kits=kinds.spread(actions.kits),
        findings=looked,
    )
    return every, kinds.spread(marks), kinds.spread(unplaced)


def find_kinds(
    visits: pd.DataFrame,
    tickets: pd.DataFrame,
    placed: tuple[pd.DataFrame, pd.DataFrame],
    positions: pd.DataFrame,
) -> Kinds:
    """Find the visits whose tickets, issues and findings say the same of pumps built alike."""
    pump, count = visits["pump"].to_numpy(np.int64), len(visits)
    built = positions["pump"].to_numpy(np.int64)
    pumps = max(built.max(initial=-1), pump.max(initial=-1)) + 1
    layout = number_runs(built, number_rows(positions, SAID["positions"]), pumps)
    codes = [layout[pump], number_rows(visits, SAID["visits"])]
    for rows, said in zip((tickets, *placed), ("tickets", "issued", "findings"), strict=True):
        visit = rows["visit"].to_numpy(np.int64)
        codes.append(number_runs(visit, number_rows(rows, SAID[said]), count))
    kind = _number(codes, count)
    first = np.zeros(kind.max(initial=-1) + 1, dtype=np.int64)
    first[kind[::-1]] = np.arange(count)[::-1]
    stands = first[kind]
    begin = np.searchsorted(built, pump)
    return Kinds(stands=stands, shift=begin - begin[stands], pump=pump)


def number_rows(rows: pd.DataFrame, names: Sequence[str]) -> Ints:
    """Number of each row among the distinct ones; what isn't written is a word of its own."""
    return _number([pd.factorize(rows[name])[0] + 1 for name in names], len(rows))


def _number(codes: Sequence[Ints], count: int) -> Ints:
    """Number of each row among the distinct rows of several codes from 0 up."""
    number = np.zeros(count, dtype=np.int64)
    for code in codes:
        number = pd.factorize(number * (code.max(initial=0) + 1) + code)[0]
    return number


def number_runs(group: Ints, code: Ints, groups: int) -> Ints:
    """Number of each group among those with the same codes in the same order, 0 for none."""
    order = np.argsort(group, kind="stable")
    first, count = _runs(group, groups)
    number = np.zeros(groups, dtype=np.int64)
    going, place = np.flatnonzero(count), 0
    while len(going):
        said = code[order[first[going] + place]]
        pair = number[going] * (code.max() + 1) + said
        number[going] = number.max() + 1 + pd.factorize(pair)[0]
        place += 1
        going = going[count[going] > place]
    return number


def _runs(group: Ints, groups: int) -> tuple[Ints, Ints]:
    """First row of each group and its number of rows, once rows are sorted by group."""
    count = np.bincount(group, minlength=groups)
    return np.cumsum(count) - count, count
