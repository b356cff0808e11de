"""Dated events that hit many pumps: shocks are no wear, lasting changes may split lives."""

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import stats

from pumplife.lives.days import date_of
from pumplife.lives.history import Gathered, History
from pumplife.lives.points import Points
from pumplife.records.plant import to_day, to_days
from pumplife.records.read import Records

if TYPE_CHECKING:
    from pumplife.lives.build import Lives

Flags = NDArray[np.bool_]

SHOCK_DAYS = 3.0  # days from a shock without an `until` within which breakdowns are laid to it
SHOCK_PUMPS = 2  # pumps that must break down in it: one alone can be anything
SHOCK_BY_CHANCE = 0.01  # chance of so many breakdowns in the window without a shock
DAYS_PER_YEAR = 365.25
SHOCK_COLUMNS = [
    "event", "what", "happened_on", "pump", "pump_id", "rebuild_id", "service", "size_mm",
    "side", "part", "failures",
]  # fmt: skip


def dated_events(records: Records, kind: str) -> pd.DataFrame:
    """Events of a kind with the first `day` and the `last` day on which they strike."""
    events = records.table("events").reset_index(drop=True)
    events = events[events["kind"] == kind]
    day = to_days(events["happened_on"])
    until = np.nan_to_num(to_days(events["until"]), nan=0.0)
    return events.assign(day=day, last=np.maximum(until, day + SHOCK_DAYS))


def _in_scope(event: pd.Series, stint: pd.DataFrame) -> Flags:
    """Which stints an event is about: its site and service, blank meaning every one."""
    fits = np.ones(len(stint), bool)
    for name in ("site", "service"):
        if event[name] != "":
            fits &= stint[name].eq(event[name]).to_numpy()
    return fits


def find_shocks(gathered: Gathered) -> NDArray[np.int64]:
    """The row of `events` whose shock each visit's breakdown is laid to, -1 for none.

    A shock is believed where more pumps broke down in its window than chance allows; the audit
    says so either way.
    """
    visits, records = gathered.visits, gathered.records
    laid = np.full(len(visits), -1)
    shocks = dated_events(records, "shock")
    if shocks.empty or visits.empty:
        return laid
    day, pump = visits["day"].to_numpy(float), visits["pump"].to_numpy(np.int64)
    stint = gathered.duty.stints.iloc[gathered.duty.worked_at(pump, day)]
    broken = (visits["reason"] == "breakdown").to_numpy()
    window = _days_watched(records)
    for place, event in shocks.iterrows():
        mine = broken & _in_scope(event, stint)
        inside = mine & (day >= event["day"]) & (day < event["last"])
        width = event["last"] - event["day"]
        usual = (mine.sum() - inside.sum()) * width / max(window - width, 1.0)
        pumps = len(np.unique(pump[inside]))
        chance = float(stats.poisson.sf(inside.sum() - 1, usual)) if inside.any() else 1.0
        believed = pumps >= SHOCK_PUMPS and chance < SHOCK_BY_CHANCE
        _say_shock(records, event, int(inside.sum()), pumps, usual, believed=believed)
        if believed:
            laid[inside] = place
    return laid


def _days_watched(records: Records) -> float:
    return to_day(records.plant.records_to) - to_day(records.plant.records_from)


def _say_shock(
    records: Records, event: pd.Series, count: int, pumps: int, usual: float, *, believed: bool
) -> None:
    words = f"{event['what']} ({event['happened_on']:%Y-%m-%d})"
    records.log.add(
        "note" if believed else "caution",
        f"Shock, {words}: {count} breakdowns of {pumps} pumps in its days, {usual:.2g} would be "
        "usual.",
        rule="shock",
        table="events",
        row=int(event["row"]),
        consequence="Their failures are laid to the shock: the lives are suspended there, and the "
        "failures count as demand, not as wear."
        if believed
        else "That is too little to tell from chance: the failures stay in the lives as wear.",
        remedy="See that the dates, site and service of the event are those of the pumps it hit.",
    )


def suspend_at_shocks(history: History, spans: pd.DataFrame) -> pd.DataFrame:
    """Turn failures at a shock into suspensions at that moment.

    Returns
    -------
    DataFrame
        The stretches with `shock`, the row of `events` in which they ended, -1 for none.
    """
    shock = np.append(history.shock, -1)[spans["visit"].to_numpy(np.int64)]
    struck = shock >= 0
    flags = ["failed", "candidate", "masked"]
    hit = struck & spans[flags].any(axis=1).to_numpy()
    for flag in flags:
        spans[flag] &= ~struck
    spans["shock"] = np.where(hit, shock, -1)
    return spans


def list_shocks(history: History) -> pd.DataFrame:
    """What failed at shocks, [visit, *SHOCK_COLUMNS]: one row per visit and part.

    Named positions count each, one of n alike once; a breakdown that named no part counts once,
    with part "".
    """
    marks, laid = history.marks, history.shock
    about = marks[laid[marks["visit"].to_numpy(np.int64)] >= 0]
    about = about.merge(history.positions[["pos", "part", "side"]], on="pos")
    about = about[about[["failed", "candidate", "masked"]].any(axis=1)]
    if about.empty:
        return pd.DataFrame(columns=["visit", *SHOCK_COLUMNS])
    named = about["failed"] | about["candidate"]
    about = about.assign(
        part=about["part"].where(named, ""),
        side=about["side"].where(named, ""),
        one=about["failed"].astype(int),
    )
    rows = about.groupby(["visit", "side", "part"], as_index=False)["one"].sum()
    rows = rows.merge(history.unplaced[["visit", "part", "fail_count"]], how="left")
    counted = rows["one"] + rows["fail_count"].fillna(0.0)
    visits = history.visits.iloc[rows["visit"]].reset_index(drop=True)
    pump = visits["pump"].to_numpy(np.int64)
    stint = history.duty.stints.iloc[history.duty.worked_at(pump, visits["day"].to_numpy(float))]
    event = laid[rows["visit"].to_numpy(np.int64)]
    events = history.records.table("events").reset_index(drop=True).iloc[event]
    return pd.DataFrame(
        {
            "visit": rows["visit"],
            "event": event,
            "what": events["what"].to_numpy(object),
            "happened_on": events["happened_on"].to_numpy(),
            "pump": pump,
            "pump_id": history.records.pumps["pump_id"].to_numpy(object)[pump],
            "rebuild_id": visits["rebuild_id"],
            "service": stint["service"].to_numpy(object),
            "size_mm": stint["size_mm"].to_numpy(float),
            "side": rows["side"],
            "part": rows["part"],
            "failures": np.maximum(counted.to_numpy(float), 1.0),
        }
    )[["visit", *SHOCK_COLUMNS]]


def say_shocks(gathered: Gathered, listed: pd.DataFrame) -> None:
    """Write one audit row per ticket whose failure is laid to a shock."""
    tickets = gathered.tickets.merge(
        listed.drop_duplicates(["pump", "rebuild_id"])[["pump", "rebuild_id", "what"]],
        on=["pump", "rebuild_id"],
    )
    gathered.records.log.add_rows(
        tickets,
        severity="note",
        rule="shock_failure",
        what=[f"Its failure falls within the days of a shock: {what}." for what in tickets["what"]],
        table="rebuilds",
        consequence="No part failed of wear here; the breakdown counts as demand.",
    )


def shock_demand(lives: "Lives", records: Records) -> pd.DataFrame:
    """Failures at shocks a year: what the wear fits leave out and the store must still meet.

    Returns
    -------
    DataFrame
        service, side, part ("" where the breakdown named none), failures over the records,
        shocks, and per_year [failures / year].
    """
    years = _days_watched(records) / DAYS_PER_YEAR
    grouped = lives.shocks.groupby(["service", "side", "part"], as_index=False)
    rows = grouped.agg(failures=("failures", "sum"), shocks=("event", "nunique"))
    return rows.assign(per_year=rows["failures"].astype(float) / years)


def date_lives(history: History, points: Points, spans: pd.DataFrame) -> pd.DataFrame:
    """Age of each life at the lasting events of its site and service.

    Returns
    -------
    DataFrame
        [life (row of the lives table), event (row of `events`), age (usage units; below the
        entry where the life began later, beyond its end where it ended before)].
    """
    events = dated_events(history.records, "lasting")
    pump = spans["pump"].to_numpy(np.int64)
    start = points.day[spans["start"].to_numpy(np.int64)]
    stint = history.duty.stints[["site", "service"]].iloc[history.duty.at(pump, start)]
    origin = spans["origin"].to_numpy(float)
    found = []
    for place, event in events.iterrows():
        life = np.flatnonzero(_in_scope(event, stint))
        age = history.clock.usage(pump[life], np.full(len(life), event["day"])) - origin[life]
        found.append(pd.DataFrame({"life": life, "event": place, "age": age}))
    columns = {"life": np.int64, "event": np.int64, "age": np.float64}
    empty = pd.DataFrame({name: np.empty(0, kind) for name, kind in columns.items()})
    return pd.concat(found, ignore_index=True).astype(columns) if found else empty


def say_kindless(records: Records) -> None:
    """Write one audit row per event of which nobody wrote what kind it was."""
    events = records.table("events")
    kindless = events[~events["kind"].isin(["shock", "lasting"])]
    records.log.add_rows(
        kindless,
        severity="caution",
        rule="event_kind",
        what=[f"Nobody wrote whether this was a shock or lasts: {w}." for w in kindless["what"]],
        table="events",
        consequence="The event is kept and not used.",
        remedy="Write shock or lasting in kind.",
    )


def name_period(day: float) -> str:
    """Name the time before a day [day since 1970-01-01], as `period` has it."""
    return f"before {pd.Timestamp(date_of(np.array([day]))[0]):%Y-%m-%d}"


def split_lives(lives: "Lives", dated: pd.DataFrame, day: float) -> tuple["Lives", int]:
    """Split lives at the day of a lasting event: suspended there, entered anew at that age.

    Parameters
    ----------
    lives : Lives
    dated : DataFrame
        Rows of `lives.dated` to split at, all of one event.
    day : float
        Of the event [day since 1970-01-01].

    Returns
    -------
    lives : Lives
        `period` says "before DATE" for what was lived before it.
    lost : int
        Failures that may have come before or after it; nothing but "sound before" is kept.
    """
    table = lives.table
    word = name_period(day)
    at = np.full(len(table), np.nan)
    at[dated["life"].to_numpy()] = dated["age"].to_numpy(float)
    lower, upper, entry = (table[name].to_numpy(float) for name in ("lower", "upper", "entry"))
    reached = np.where(np.isfinite(upper), upper, lower)
    open_to = table["period"].eq("").to_numpy() & np.isfinite(at)
    over, across = open_to & (at >= reached), open_to & (at > entry) & (at < reached)
    astride = across & (lower < at) & np.isfinite(upper)
    first = table[across].assign(
        lower=np.where(astride, np.maximum(lower, entry), at)[across],
        upper=np.inf, outcome="suspended", share_failed=0.0, event=-1, mode="", endpoint="",
        end_on=date_of(np.full(int(across.sum()), day)), period=word,
    )  # fmt: skip
    first = first[first["lower"] > first["entry"]]
    second = table.assign(
        entry=np.where(across, at, entry), period=table["period"].mask(over, word)
    )
    row = np.append(np.arange(len(table))[~astride], first.index.to_numpy())
    whole = pd.concat([second[~astride], first], ignore_index=True)
    moved = lives.dated.merge(pd.DataFrame({"life": row, "new": np.arange(len(row))}), on="life")
    moved = moved.assign(life=moved["new"]).drop(columns="new")
    return replace(lives, table=whole, dated=moved), int(astride.sum())
