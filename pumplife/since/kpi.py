"""The plant's figures month by month and site by site, each defined, with what it rests on."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pumplife.lives.positions import wearing_parts
from pumplife.policy.practice_told import KEPT_WITHIN
from pumplife.policy.tickets import RELEASED
from pumplife.records.plant import to_days
from pumplife.since.measures import LEAST_BASE, PER_USAGE, Measure, list_measures
from pumplife.stock.spent import EVERYWHERE, amounts_of_visits

if TYPE_CHECKING:
    from pumplife.lives.build import Lives
    from pumplife.policy.advice import Advice
    from pumplife.records.duty import Duty
    from pumplife.records.read import Records
    from pumplife.records.usage import UsageClock

KPI_COLUMNS = ("month", "site", "measure", "value", "base", "definition")
Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Course:
    """What the figures are counted from."""

    records: Records
    duty: Duty
    clock: UsageClock
    lives: Lives
    advice: Advice | None

    def __repr__(self) -> str:
        return f"Course({self.records.plant.name!r})"


def list_kpis(course: Course) -> pd.DataFrame:
    """Every measure of every month and site, and of the whole plant.

    Parameters
    ----------
    course : Course

    Returns
    -------
    DataFrame
        `KPI_COLUMNS`: month (its first day), site ("all" = the whole plant), measure, value,
        base and definition. Where a rate or share has a base under 5, the measure is its count
        and the definition says so. A measure is left out where nothing was ever written for it.
    """
    sums = _add_up(course)
    parts = [
        _measure_rows(sums, measure)
        for measure in list_measures(course.records.plant.usage_unit)
        if measure.under in sums and sums[measure.under].any()
    ]
    if not parts:
        return pd.DataFrame(columns=list(KPI_COLUMNS))
    rows = pd.concat(parts, ignore_index=True)
    return rows.sort_values(["month", "site"], kind="stable", ignore_index=True)


def _measure_rows(sums: pd.DataFrame, measure: Measure) -> pd.DataFrame:
    over, under = sums[measure.over], sums[measure.under]
    base, count = sums[measure.based_on or measure.under], sums[measure.counted or measure.over]
    counted = base.lt(LEAST_BASE) & bool(measure.count)
    ratio = measure.factor * over / under.where(under > 0)
    value = (ratio if measure.count else over).mask(counted, count)
    share = f"{measure.words}. Base: {measure.base}."
    few = f"{measure.words}: their number, since the base is under {LEAST_BASE:.0f}. "
    return pd.DataFrame(
        {
            "month": sums["month"],
            "site": sums["site"],
            "measure": np.where(counted, measure.count, measure.name),
            "value": value,
            "base": base,
            "definition": np.where(counted, few + f"Base: {measure.base}.", share),
        }
    )[list(KPI_COLUMNS)]


def _add_up(course: Course) -> pd.DataFrame:
    """Sums by month and site, the whole plant below: what measures are made of."""
    months = _months(course)
    parts = [_run(course, months), *_orders(course), *_visits(course), *_ended_lives(course)]
    table = pd.concat(parts).groupby(["month", "site"]).sum()
    table = table[table.index.get_level_values("month").isin(months)]
    sites = table.index.get_level_values("site").unique()
    whole = pd.MultiIndex.from_product([months, sites], names=["month", "site"])
    table = table.reindex(whole, fill_value=0.0).reset_index()
    together = table.drop(columns="site").groupby("month", as_index=False).sum()
    return pd.concat([table, together.assign(site=EVERYWHERE)], ignore_index=True)


def _months(course: Course) -> pd.DatetimeIndex:
    """The first days of the months that the records cover."""
    plant = course.records.plant
    windows = [plant.window(site) for site in ("", *plant.site_windows)]
    first, last = min(start for start, _ in windows), max(end for _, end in windows)
    start = (pd.Timestamp(0) + pd.Timedelta(days=first)).to_period("M").to_timestamp()
    end = pd.Timestamp(0) + pd.Timedelta(days=last)
    return pd.date_range(start, end, freq="MS", name="month")


def _run(course: Course, months: pd.DatetimeIndex) -> pd.DataFrame:
    """Months in service and usage of the pumps, by month and site."""
    stints = course.duty.stints[course.duty.stints["in_service"]]
    pump, site = stints["pump"].to_numpy(np.int64), stints["site"].to_numpy(object)
    windows = {name: course.records.plant.window(name) for name in pd.unique(site)}
    start = np.array([windows[name][0] for name in site])
    end = np.array([windows[name][1] for name in site]) + 1.0  # to the end of the last day
    start = np.fmax(np.fmax(start, stints["from_day"]), course.duty.commissioned[pump])
    end = np.fmin(np.fmin(end, stints["to_day"]), course.duty.retired[pump] + 1.0)
    edges = to_days(pd.Series(months.append(months[-1:] + pd.offsets.MonthBegin())))
    within = np.clip(edges, np.asarray(start)[:, None], np.fmax(start, end).to_numpy()[:, None])
    days = np.diff(within, axis=1)
    repeated = np.repeat(pump, within.shape[1])
    run = np.diff(course.clock.usage(repeated, within.ravel()).reshape(within.shape), axis=1)
    usage = np.maximum(np.nan_to_num(run), 0.0)
    return pd.DataFrame(
        {
            "month": np.tile(months, len(stints)),
            "site": np.repeat(site, len(months)),
            "pump_months": (days / np.diff(edges)).ravel(),
            "usage": usage.ravel() / PER_USAGE[course.records.plant.usage_unit][1],
            "usage_run": usage.ravel(),
        }
    )


def _month_of(day: pd.Series[float]) -> pd.Series[pd.Timestamp]:
    dates = pd.to_datetime(day, unit="D", origin="unix")
    return pd.Series(dates.dt.to_period("M").dt.start_time, day.index)


def _orders(course: Course) -> list[pd.DataFrame]:
    """What orders on pumps say: breakdowns, stoppages, ruptures, hours, tickets."""
    gathered = course.lives.gathered
    if gathered is None or gathered.visits.empty:
        return []
    orders = gathered.visits[gathered.visits["done"].ne("no")]
    pump, day = orders["pump"].to_numpy(np.int64), orders["day"].to_numpy(float)
    site = course.duty.stints["site"].to_numpy()[course.duty.worked_at(pump, day)]
    broken = orders["reason"].eq("breakdown")
    tickets = gathered.tickets
    told = tickets["failed_part"].isin(_releasing(course.records)) | tickets["released"].isin(
        RELEASED
    )
    answered = tickets.loc[tickets["ticket_id"].ne(""), "visit"]
    rows = {
        "breakdowns": broken,
        "ruptures": broken & orders["visit"].isin(tickets.loc[told, "visit"]),
        "stoppages": orders["reason"].eq("stoppage"),
        "labour_h": orders["labour_h"].fillna(0.0),
        "labour_told": orders["labour_h"].notna(),
        "downtime_h": orders["downtime_h"].fillna(0.0),
        "downtime_told": orders["downtime_h"].notna(),
        "on_tickets": orders["visit"].isin(answered),
        "orders": float(len(answered) > 0),  # a plant without tickets has no share of them
    }
    table = pd.DataFrame(rows, index=orders.index).astype(float)
    return [table.assign(month=_month_of(orders["day"]), site=site)]


def _releasing(records: Records) -> set[str]:
    """Parts whose failure lets process fluid out."""
    parts = wearing_parts(records)
    return set(parts.loc[parts["releases"], "part"])


def _visits(course: Course) -> list[pd.DataFrame]:
    """What visits did to sides: rebuilds, planned, kept to the interval, money."""
    visits = course.lives.visits
    if visits.empty:
        return []
    planned = ~visits["breakdown"].astype(bool)
    rebuilt = visits["whole"].astype(bool) | ~visits["kit"].isin(["", "none"])
    rows = {"rebuilds": rebuilt, "planned": rebuilt & planned}
    if course.advice is not None:
        interval = _intervals_of(course.advice, visits)
        due = rebuilt & planned & np.isfinite(interval) & visits["age_of_kit"].notna()
        near = (visits["age_of_kit"] / interval - 1.0).abs() <= KEPT_WITHIN
        money = amounts_of_visits(course.records, visits, course.advice)["money"]
        rows |= {
            "due": due,
            "kept": due & near,
            "money": money,
            "breakdown_money": money.where(~planned, 0.0),
            "visits": pd.Series(1.0, visits.index),
            "broken_visits": ~planned,
        }
    table = pd.DataFrame(rows).astype(float)
    return [table.assign(month=_month_of(visits["day"]), site=visits["site"])]


def _intervals_of(advice: Advice, visits: pd.DataFrame) -> Floats:
    """The followed interval of the group of each visit, NaN where it has none [usage]."""
    keys = [
        (group.service, group.side, int(pump), interval)
        for group, interval in zip(advice.groups, advice.followed, strict=True)
        for pump in group.pumps
    ]
    table = pd.DataFrame(keys, columns=["service", "side", "pump", "interval"])
    table = table.drop_duplicates(["service", "side", "pump"])
    found = visits[["service", "side", "pump"]].merge(table, how="left")["interval"]
    return found.where(np.isfinite(found)).to_numpy(float)


def _ended_lives(course: Course) -> list[pd.DataFrame]:
    """Lives that ended before the records do, and those known well."""
    lives = course.lives.table
    end = course.records.plant.records_to
    ended = lives[lives["end_on"] < end]
    if ended.empty:
        return []
    known = ended["usage_grade"].eq("measured") & ended["part_no"].ne("")
    month = _month_of(pd.Series(to_days(ended["end_on"]), ended.index))
    counts = pd.DataFrame({"lives": 1.0, "lives_known": known.astype(float)}, index=ended.index)
    return [counts.assign(month=month, site=ended["site"])]
