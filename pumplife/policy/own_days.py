"""The day on which each side would be renewed if it weren't renewed at an outage."""

from __future__ import annotations

import numpy as np
import pandas as pd

from pumplife.policy.load import (
    WEEKS,
    Bench,
    monday_of,
    wanted_days,
    wanted_value,
    week_costs,
    week_of,
)
from pumplife.policy.pump import FloatArray
from pumplife.policy.simulate import IntArray
from pumplife.policy.spread import FULL_TO, place_work
from pumplife.policy.waiting import DAYS, Waiting
from pumplife.records.calendar import Stop
from pumplife.records.plant import to_day
from pumplife.records.read import Records


def coming_stops(records: Records, site: str) -> list[Stop]:
    """The outages of a site from the end of the records on, as far as waiting is weighed."""
    today = to_day(records.plant.records_to)
    return [
        stop for stop in records.plant.stops(site) if 0.0 <= to_day(stop.on) - today <= DAYS[-1]
    ]


def find_own_days(
    records: Records, due: pd.DataFrame, waiting: Waiting, benches: dict[str, Bench]
) -> FloatArray:
    """The day of each row on the bench, were the coming outages there for all other work.

    Weeks and outages are filled together, dear work first.  Work that finds itself at an outage is
    then asked which week would be its cheapest with the room that is left.

    Parameters
    ----------
    records : Records
    due : DataFrame
        Needs site, due_day, first_day, hard_day, kit_day, hours, spared.
    waiting : Waiting
        In the order of `due`.
    benches : dict
        By site.

    Returns
    -------
    float array (rows,)
        [day]; the due day where it lies beyond a year, NaN where there is none.
    """
    today = to_day(records.plant.records_to)
    start = monday_of(today)
    wanted = wanted_days(due)
    own = wanted.copy()
    near = wanted - start < 7.0 * WEEKS
    for site in due["site"].unique():
        rows = np.flatnonzero(near & (due["site"] == site).to_numpy())
        if not rows.size:
            continue
        stops = (today, coming_stops(records, str(site)))
        week = _free_week(due, waiting, rows, benches[str(site)], stops)
        monday = np.maximum(start + 7.0 * week, np.maximum(due["kit_day"].to_numpy()[rows], today))
        own[rows] = np.where(week == week_of(wanted[rows], start), wanted[rows], monday)
    return own


def _free_week(
    due: pd.DataFrame,
    waiting: Waiting,
    rows: IntArray,
    bench: Bench,
    stops: tuple[float, list[Stop]],
) -> IntArray:
    """Week of each row on the bench; `WEEKS` where none has room."""
    today, coming = stops
    hours = due["hours"].to_numpy(float)[rows]
    weekly, hard = week_costs(due, waiting, rows, today)
    at_stops = _stop_costs(due, waiting, rows, (today, coming))
    given = np.array([stop.bench_hours for stop in coming])
    room = np.concatenate([bench.room, np.nan_to_num(given, nan=np.inf)])
    runs_on = np.arange(room.size) < WEEKS
    cost = np.concatenate([weekly, at_stops], axis=1)
    place, _, worked = place_work(cost, hours, room, hard, runs_on)
    free = np.where((worked < FULL_TO * room)[:WEEKS], weekly, np.inf)
    week = np.where(np.isfinite(free).any(axis=1), np.argmin(free, axis=1), WEEKS)
    return np.where((place >= 0) & (place < WEEKS), place, week)


def _stop_costs(
    due: pd.DataFrame, waiting: Waiting, rows: IntArray, stops: tuple[float, list[Stop]]
) -> FloatArray:
    """What each outage costs more than the week wanted, (rows, outages) [money].

    inf where it is barred, or where what waiting costs isn't known.
    """
    today, coming = stops
    days = np.array([to_day(stop.on) for stop in coming])
    table = due.iloc[rows]
    value = waiting.at(days - today, rows) - table["spared"].to_numpy(float)[:, None]
    hard, kit = (table[name].to_numpy(float)[:, None] for name in ("hard_day", "kit_day"))
    more = value - wanted_value(due, waiting, rows, today)[:, None]
    return np.where((days <= hard) & (kit <= days), np.nan_to_num(more, nan=np.inf), np.inf)
