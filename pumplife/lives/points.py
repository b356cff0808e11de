"""The story of each position as points in time: begin, renewal, loss of sight, move, end."""

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pumplife.lives.days import Floats, Ints, distinct
from pumplife.lives.history import History
from pumplife.lives.visits import windows
from pumplife.records.duty import Duty
from pumplife.records.plant import to_days
from pumplife.records.read import Records

Flags = NDArray[np.bool_]
BEGIN, MARK, MOVE, END = 0, 1, 2, 3
MOVED_LAST = 1e12  # of a day's points
_STACKED = {"pos": np.int64, "day": float, "kind": np.int64, "order": float} | dict.fromkeys(
    ("mark", "visit"), np.int64
)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Points:
    """Points sorted by position and time; arrays of one row per point.

    Parameters
    ----------
    pos, pump, visit : int
        Position, pump and visit (-1 where none).
    day, usage : float
        When [days since 1970-01-01] and the pump's cumulated usage then [usage units].
    kind : int
        BEGIN, MARK (renewed or lost from sight), MOVE (to other duty) or END.
    mark : int
        Row in the marks frame, -1 where none.
    state : int
        Index of the latest point that set the position's age (begin, renewal or loss).
    known : bool
        Whether the age is known after this point.
    origin_usage, origin_day : float
        Usage and day at which the part then in place was new (or last seen, where not known).
    """

    pos: Ints
    pump: Ints
    visit: Ints
    day: Floats
    usage: Floats
    kind: Ints
    mark: Ints
    state: Ints
    known: Flags
    origin_usage: Floats
    origin_day: Floats


def begin_of_positions(records: Records, positions: pd.DataFrame) -> pd.DataFrame:
    """When each position comes into sight: [begin, origin, known, end] in days, by position."""
    pumps = records.pumps
    pump = positions["pump"].to_numpy(int)
    first, last_day = (bound[pump] for bound in windows(records))
    commissioned = to_days(pumps["commissioned_on"])[pump]
    renewed = np.where(
        positions["side"] == "air",
        to_days(pumps["last_air_renewal_on"])[pump],
        to_days(pumps["last_fluid_renewal_on"])[pump],
    )
    inside = commissioned >= first
    dated = ~inside & (renewed <= first) & ~(renewed < commissioned)
    retired = to_days(pumps["retired_on"])[pump]
    begin = np.where(inside, commissioned, first)
    return pd.DataFrame(
        {
            "begin": begin,
            "origin": np.where(dated, renewed, begin),
            "known": inside | dated,
            "end": np.fmin(retired, last_day),
        }
    )


def _moves(duty: Duty, positions: pd.DataFrame) -> pd.DataFrame:
    """Days on which a pump went to another service, or got another size: [pos, pump, day]."""
    stints = duty.stints
    before = stints.shift()
    sized = stints["size_mm"].eq(before["size_mm"]) | stints["size_mm"].isna()
    same = stints["service"].eq(before["service"]) & sized
    changed = stints[~same & stints["pump"].eq(before["pump"])]
    moved = changed[["pump", "from_day"]].rename(columns={"from_day": "day"})
    return positions[["pump", "pos"]].merge(moved, on="pump")


def _stack(history: History, sight: pd.DataFrame) -> dict[str, np.ndarray]:
    """Begin, marks, moves and end of every position, sorted in time: pos, day, kind, mark, visit.

    What was done on the day of a move was done before it: a pump that broke down broke down in
    its old duty.
    """
    positions, visits = history.positions, history.visits
    moves = _moves(history.duty, positions)
    marks = history.marks
    pos = positions["pos"].to_numpy()
    seen = marks[marks["renewed"] | marks["cut"]].reset_index(names="mark")
    seen = seen.merge(visits[["visit", "day", "order"]], on="visit")
    parts: list[dict[str, Any]] = [
        {"pos": pos, "day": sight["begin"], "kind": BEGIN, "order": -2.0},
        {**{name: seen[name] for name in ("pos", "day", "order", "mark", "visit")}, "kind": MARK},
        {"pos": moves["pos"], "day": moves["day"], "kind": MOVE, "order": MOVED_LAST},
        {"pos": pos, "day": sight["end"], "kind": END, "order": np.inf},
    ]
    stacked = {
        name: np.concatenate(
            [np.broadcast_to(part.get(name, -1), len(part["pos"])).astype(kind) for part in parts]
        )
        for name, kind in _STACKED.items()
    }
    day, at = stacked["day"], stacked["pos"]
    first, last = (sight[name].to_numpy(float)[at] for name in ("begin", "end"))
    inside = (day >= first) & (day <= last)
    inside &= ~((stacked["kind"] == MOVE) & (day == first))
    kept = np.flatnonzero(inside)
    kept = kept[np.lexsort([stacked[name][kept] for name in ("order", "day", "pos")])]
    return {name: told[kept] for name, told in stacked.items()}


def lay_points(history: History) -> Points:
    """Sort every position's points in time and carry its age forward."""
    positions, clock, marks = history.positions, history.clock, history.marks
    sight = begin_of_positions(history.records, positions)
    points = _stack(history, sight)
    pos, day, kind, mark = (points[name] for name in ("pos", "day", "kind", "mark"))
    pump = positions["pump"].to_numpy(np.int64)[pos]
    renewed = np.append(marks["renewed"].to_numpy(bool), False)[mark]
    sets_age = (kind == BEGIN) | (kind == MARK)
    place = np.arange(len(pos))
    state = np.maximum.accumulate(np.where(sets_age, place, 0))
    origin_day = np.where(kind == BEGIN, sight["origin"].to_numpy()[pos], day)
    known = np.where(kind == BEGIN, sight["known"].to_numpy()[pos], renewed)
    row, asked = distinct(pump, day)
    usage = clock.usage(pump[row], day[row])[asked]
    begun = kind == BEGIN
    new = usage.copy()
    new[begun] = clock.usage(pump[begun], origin_day[begun])
    return Points(
        pos=pos,
        pump=pump,
        visit=points["visit"],
        day=day,
        usage=usage,
        kind=kind,
        mark=mark,
        state=state,
        known=known[state].astype(bool),
        origin_usage=new[state],
        origin_day=origin_day[state],
    )
