"""The story of each position as points in time: begin, renewal, loss of sight, move, end."""

from dataclasses import dataclass

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


def _stack(history: History, sight: pd.DataFrame) -> pd.DataFrame:
    """Begin, marks, moves and end of every position, sorted in time.

    What was done on the day of a move was done before it: a pump that broke down broke down in
    its old duty.
    """
    positions, visits = history.positions, history.visits
    moves = _moves(history.duty, positions)
    marks = history.marks
    pos = positions["pos"].to_numpy()
    seen = marks[marks["renewed"] | marks["cut"]].reset_index(names="mark")
    seen = seen.merge(visits[["visit", "day", "order"]], on="visit")
    begin = pd.DataFrame({"pos": pos, "day": sight["begin"], "kind": BEGIN, "order": -2})
    end = pd.DataFrame({"pos": pos, "day": sight["end"], "kind": END, "order": np.inf})
    moved = moves[["pos", "day"]].assign(kind=MOVE, order=MOVED_LAST)
    seen = seen[["pos", "day", "order", "mark", "visit"]].assign(kind=MARK)
    points = pd.concat([begin, seen, moved, end], ignore_index=True)
    points[["mark", "visit"]] = points[["mark", "visit"]].fillna(-1).astype(int)
    day, at = points["day"].to_numpy(), points["pos"].to_numpy(np.int64)
    first, last = (sight[name].to_numpy(float)[at] for name in ("begin", "end"))
    inside = (day >= first) & (day <= last)
    inside &= ~(points["kind"].eq(MOVE).to_numpy() & (day == first))
    kept = np.flatnonzero(inside)
    keys = [points[name].to_numpy()[kept] for name in ("order", "day", "pos")]
    return points.iloc[kept[np.lexsort(keys)]]


def lay_points(history: History) -> Points:
    """Sort every position's points in time and carry its age forward."""
    positions, clock, marks = history.positions, history.clock, history.marks
    sight = begin_of_positions(history.records, positions)
    points = _stack(history, sight)
    pos = points["pos"].to_numpy(np.int64)
    pump = positions["pump"].to_numpy(np.int64)[pos]
    day = points["day"].to_numpy(float)
    kind = points["kind"].to_numpy(np.int64)
    mark = points["mark"].to_numpy(np.int64)
    renewed = np.append(marks["renewed"].to_numpy(bool), False)[mark]
    sets_age = (kind == BEGIN) | (kind == MARK)
    place = np.arange(len(points))
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
        visit=points["visit"].to_numpy(np.int64),
        day=day,
        usage=usage,
        kind=kind,
        mark=mark,
        state=state,
        known=known[state].astype(bool),
        origin_usage=new[state],
        origin_day=origin_day[state],
    )
