"""Which pumps to open at each of the coming outages, within the hours that the outage has."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import coo_array

from pumplife.policy.own_days import coming_stops
from pumplife.policy.pump import FloatArray
from pumplife.policy.ready import date_words, one_date
from pumplife.policy.simulate import IntArray
from pumplife.policy.waiting import Waiting
from pumplife.records.plant import to_day
from pumplife.records.read import Records

GAP = 1e-4  # the gain of what is chosen is within this share of the most that can be had
MUCH = 500  # pieces of work beyond which those of most gain an hour are taken
LAST_DAYS = 91.0  # after the last outage, work due within 13 weeks is listed as left
OUTAGE_COLUMNS = (
    "outage_on", "pump_id", "side", "do", "gain", "kit", "hours", "site", "location", "service",
    "due_on", "kit_ready", "reason",
)  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class OneStop:
    """What an outage is chosen from: the sides still open at its site.

    Attributes
    ----------
    day : float
        [day]
    following : float
        The site's next outage [day], NaN where none is known.
    room : float
        Hours of work that fit in [h].
    rows : int array (rows,)
        Places in the due list.
    gain : float array (rows,)
        What renewing at this outage saves against the better of the side's own day and the next
        outage [money], NaN where what waiting costs isn't known.
    waits : bool array (rows,)
        Whether the next outage is the better of these two.
    allowed : bool array (rows,)
        Whether its kit can be there and no limit forbids to wait for the outage.
    """

    day: float
    following: float
    room: float
    rows: IntArray
    gain: FloatArray
    waits: NDArray[np.bool_]
    allowed: NDArray[np.bool_]

    def __repr__(self) -> str:
        """Say the day."""
        return f"<OneStop: day {self.day:g}, {self.rows.size} sides>"


def plan_stops(
    records: Records, due: pd.DataFrame, waiting: Waiting
) -> tuple[FloatArray, pd.DataFrame]:
    """Fill the coming outages of every site one after the other, each given the former.

    Renewing at an outage costs no planned downtime, since production stands anyhow.  Its risk until
    then is weighed with the rest: the gain is the difference of the expected costs, from the
    side's own ages, of renewing at the outage and of the better of its own day and the next outage.

    Parameters
    ----------
    records : Records
    due : DataFrame
        Needs pump, site, due_day, own_day (on which it is done without outages), hard_day,
        kit_day, hours, saved_h and spared.
    waiting : Waiting
        In the order of `due`.

    Returns
    -------
    stop_day : float array (rows,)
        Outage at which a side is renewed [day]; NaN where at none.
    table : DataFrame
        One row per outage and side that is renewed there, or due about then and left.
    """
    today = to_day(records.plant.records_to)
    stop_day = np.full(len(due), np.nan)
    frames = []
    for site in due["site"].unique():
        mine = np.flatnonzero((due["site"] == site) & due["due_day"].notna())
        stops = coming_stops(records, str(site))
        days = np.array([to_day(stop.on) for stop in stops])
        for place, day in enumerate(days):
            stop = _weigh_stop(
                due,
                waiting,
                mine[np.isnan(stop_day[mine])],
                (today, float(day), float(days[place + 1]) if place + 1 < days.size else np.nan),
                float(np.nan_to_num(stops[place].bench_hours, nan=np.inf)),
            )
            chosen = _choose(due, stop)
            stop_day[stop.rows[chosen]] = day
            rows = _stop_rows(due, stop, chosen)
            _say_boundless(records, str(site), stop, rows)
            frames.append(rows)
    if not frames:
        return stop_day, pd.DataFrame(columns=[*OUTAGE_COLUMNS, "row"])
    return stop_day, pd.concat(frames, ignore_index=True)


def _say_boundless(records: Records, site: str, stop: OneStop, rows: pd.DataFrame) -> None:
    """Say in the audit how much work stands in an outage whose hours aren't known."""
    if np.isfinite(stop.room):
        return
    hours = float(rows.loc[rows["do"] == "rebuild", "hours"].sum())
    records.log.add(
        "note",
        f"The outage of {one_date(stop.day)}{f' at {site}' if site else ''} has no bench_hours.",
        rule="stop_hours",
        table="plant.toml",
        consequence=f"All work that it makes cheaper is planned for it: {hours:.4g} h.",
        remedy=f"Write {{ on = {one_date(stop.day)}, bench_hours = ... }} under [calendar].",
    )


def _weigh_stop(
    due: pd.DataFrame,
    waiting: Waiting,
    rows: IntArray,
    days: tuple[float, float, float],
    room: float,
) -> OneStop:
    """Gains of the open rows at one outage; days are today, the outage and the next one."""
    today, day, following = days
    table = due.iloc[rows]
    hard, kit = table["hard_day"].to_numpy(float), table["kit_day"].to_numpy(float)
    spared = table["spared"].to_numpy(float)
    own = waiting.on(table["own_day"].to_numpy(float) - today, rows)
    here = waiting.on(np.full(rows.size, day - today), rows) - spared
    later = np.full(rows.size, np.inf)
    if np.isfinite(following):
        later = waiting.on(np.full(rows.size, following - today), rows) - spared
        later = np.where((following <= hard) & (kit <= following), later, np.inf)
    return OneStop(
        day=day,
        following=following,
        room=room,
        rows=rows,
        gain=np.minimum(own, later) - here,
        waits=later < own,
        allowed=(day <= hard) & (kit <= day),
    )


def _choose(due: pd.DataFrame, stop: OneStop) -> NDArray[np.bool_]:
    """The rows to renew at an outage."""
    table = due.iloc[stop.rows]
    worth = np.flatnonzero(stop.allowed & (stop.gain > 0.0))
    chosen = np.zeros(stop.rows.size, bool)
    chosen[worth] = fill_stop(
        stop.gain[worth],
        table["hours"].to_numpy(float)[worth],
        table["pump"].to_numpy(np.int64)[worth],
        table["saved_h"].to_numpy(float)[worth],
        room=stop.room,
    )
    return chosen


def fill_stop(
    gain: FloatArray, hours: FloatArray, pump: IntArray, saved: FloatArray, *, room: float
) -> NDArray[np.bool_]:
    """The work of most gain that fits into the hours of an outage: a knapsack problem.

    Parameters
    ----------
    gain : float array (rows,)
        Above 0 [money].
    hours : float array (rows,)
        [h]
    pump : int array (rows,)
        Two rows of one pump are its two sides.
    saved : float array (rows,)
        Hours that a pump saves when both of its rows are taken [h].
    room : float
        [h]; inf where nothing bounds it.

    Returns
    -------
    bool array (rows,)
        Within one part in ten thousand of the most gain; of over 500 rows those of most gain an
        hour.
    """
    if not np.isfinite(room) or hours.sum() <= room:
        return np.ones(gain.size, bool)
    if gain.size > MUCH:
        return _by_gain_an_hour(gain, hours, pump, saved, room=room)
    first, second = _pairs(pump)
    count, pairs = gain.size, first.size
    effort = np.concatenate([hours, -saved[first]])
    pair = np.arange(pairs)
    rows = np.concatenate([pair, pair, pair + pairs, pair + pairs])
    columns = np.concatenate([count + pair, first, count + pair, second])
    ones = np.ones(pairs)
    both = coo_array(
        (np.concatenate([ones, -ones, ones, -ones]), (rows, columns)),
        shape=(2 * pairs, count + pairs),
    ).tocsr()
    limits = [LinearConstraint(effort[None, :], -np.inf, room)]
    if pairs:
        limits.append(LinearConstraint(both, -np.inf, 0.0))
    found = milp(
        np.concatenate([-gain / gain.max(), np.zeros(pairs)]),
        constraints=limits,
        integrality=np.ones(count + pairs, dtype=np.int64),
        bounds=Bounds(0.0, 1.0),
        options={"mip_rel_gap": GAP},
    )
    if found.x is None:
        return _by_gain_an_hour(gain, hours, pump, saved, room=room)
    return np.asarray(found.x[:count] > 0.5)


def _by_gain_an_hour(
    gain: FloatArray, hours: FloatArray, pump: IntArray, saved: FloatArray, *, room: float
) -> NDArray[np.bool_]:
    """The rows of most gain an hour, as far as the hours go.

    Without shared openings that misses less than one piece of work of the most gain; the hours
    which these save are then filled in the same way.
    """
    order = np.argsort(-gain / hours, kind="stable")
    chosen = np.zeros(gain.size, bool)
    first, second = _pairs(pump)
    for _ in range(4):
        both = chosen[first] & chosen[second]
        left = room - hours[chosen].sum() + saved[first[both]].sum()
        rest = order[~chosen[order]]
        chosen[rest[np.cumsum(hours[rest]) <= left]] = True
    return chosen


def _pairs(pump: IntArray) -> tuple[IntArray, IntArray]:
    """Places of the two rows of each pump that has two."""
    order = np.argsort(pump, kind="stable")
    twin = np.flatnonzero(pump[order][1:] == pump[order][:-1])
    return order[twin], order[twin + 1]


def _stop_rows(due: pd.DataFrame, stop: OneStop, chosen: NDArray[np.bool_]) -> pd.DataFrame:
    """What is renewed at the outage, and what is due about then and left."""
    table = due.iloc[stop.rows]
    until = stop.following if np.isfinite(stop.following) else stop.day + LAST_DAYS
    shown = chosen | (stop.allowed & (stop.gain > 0.0))
    shown |= table["due_day"].to_numpy(float) <= until
    hours = table["hours"].to_numpy(float).copy()
    first, second = _pairs(np.where(chosen, table["pump"], -1 - np.arange(chosen.size)))
    smaller = np.where(hours[first] <= hours[second], first, second)
    hours[smaller] -= table["saved_h"].to_numpy(float)[smaller]
    rows = pd.DataFrame(
        {
            "row": stop.rows,
            "outage_day": stop.day,
            "do": np.where(chosen, "rebuild", "leave"),
            "gain": np.where(stop.allowed, stop.gain, np.nan),
            "hours": hours,
            "reason": _reasons(table, stop, chosen),
        }
    )[shown]
    return rows.sort_values(["do", "gain"], ascending=False, kind="stable", na_position="last")


def _reasons(table: pd.DataFrame, stop: OneStop, chosen: NDArray[np.bool_]) -> list[str]:
    """Why each row is renewed at the outage or left."""
    following = one_date(stop.following) if np.isfinite(stop.following) else ""
    other = np.where(stop.waits, f"at the outage of {following}", "on its own day")
    late = table["kit_day"].to_numpy(float) > stop.day
    limited = table["hard_day"].to_numpy(float) < stop.day
    kit = ("its kit can't be there before " + date_words(table["kit_day"].where(late))).to_numpy()
    limit = ("its limit is reached before, on " + date_words(table["hard_day"])).to_numpy()
    why = np.select(
        [chosen, limited, late, np.isnan(stop.gain), stop.gain <= 0.0],
        [
            [f"cheaper than {word}" for word in other],
            limit,
            kit,
            "no interval is advised: whether it would be cheaper isn't known",
            [f"cheaper {word}" for word in other],
        ],
        default="the hours of the outage go to work that gains more",
    )
    return [str(word) for word in why]
