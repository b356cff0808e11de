"""The plant's calendar of work: its outages, and the hours that the bench has."""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import pandas as pd

from pumplife.errors import SettingError
from pumplife.records.audit import AuditLog
from pumplife.records.moments import read_moment

CALENDAR = ("outages", "bench_hours_per_week", "site")
SITE_CALENDAR = ("outages", "bench_hours_per_week")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Stop:
    """A day on which the plant stands and pumps can be opened.

    Attributes
    ----------
    on : Timestamp
    bench_hours : float
        Work that fits in [h]; NaN where it isn't given.
    """

    on: pd.Timestamp
    bench_hours: float

    def __repr__(self) -> str:
        """Say the day and the hours."""
        return f"<Stop: {self.on:%Y-%m-%d}, {self.bench_hours:g} h>"


def list_stops(calendar: dict[str, Any], site: str) -> list[Stop]:
    """Give the outages of a site by date, the plant's own where it has none.

    Parameters
    ----------
    calendar : dict
        The settings under [calendar].
    site : str
    """
    own = calendar.get("site", {}).get(site, {})
    stops = [
        Stop(
            on=read_moment({"outages": _date_of(entry)}, "outages", "[calendar]"),
            bench_hours=_usable(entry.get("bench_hours")) if isinstance(entry, dict) else math.nan,
        )
        for entry in own.get("outages", calendar.get("outages", []))
    ]
    return sorted(stops, key=lambda stop: stop.on)


def bench_hours(calendar: dict[str, Any], site: str) -> float:
    """Hours a week that the bench of a site has [h], the plant's own where it has none; or NaN."""
    own = calendar.get("site", {}).get(site, {})
    return _usable(own.get("bench_hours_per_week", calendar.get("bench_hours_per_week")))


def check_calendar(raw: dict[str, Any], today: pd.Timestamp, log: AuditLog) -> None:
    """Check dates and hours of the calendar.

    Parameters
    ----------
    raw : dict
        All settings as read.
    today : Timestamp
        End of the records; NaT where it isn't known.
    log : AuditLog
        Gets a row for an outage in the past and for hours that can't be used.

    Raises
    ------
    SettingError
        When outages are no list of dates.
    """
    for where, owner in _owners(raw):
        listed = owner.get("outages", [])
        for entry in listed if isinstance(listed, list) else [listed]:
            on = read_moment({"outages": _date_of(entry)}, "outages", "[calendar]")
            _check_past(where, on, today, log)
            if isinstance(entry, dict) and "bench_hours" in entry:
                _check_hours(f"{where} bench_hours of {on:%Y-%m-%d}", entry["bench_hours"], log)
        if not isinstance(listed, list):
            raise SettingError(
                "plant.toml: [calendar] outages must be a list, like [2026-05-04, 2026-10-12]."
            )
        if "bench_hours_per_week" in owner:
            _check_hours(f"{where} bench_hours_per_week", owner["bench_hours_per_week"], log)


def _owners(raw: dict[str, Any]) -> Iterator[tuple[str, dict[str, Any]]]:
    calendar = raw.get("calendar", {})
    yield "[calendar]", calendar
    for site, own in calendar.get("site", {}).items():
        yield f'[calendar.site."{site}"]', own


def _date_of(entry: Any) -> Any:
    return entry.get("on", entry) if isinstance(entry, dict) else entry


def _usable(hours: Any) -> float:
    """The hours as a number; NaN where there is none above 0."""
    if isinstance(hours, bool) or not isinstance(hours, int | float):
        return math.nan
    return float(hours) if math.isfinite(hours) and hours > 0 else math.nan


def _check_past(where: str, on: pd.Timestamp, today: pd.Timestamp, log: AuditLog) -> None:
    if pd.isna(today) or on >= today:
        return
    log.add(
        "note",
        f"plant.toml: {where} the outage of {on:%Y-%m-%d} lies before the end of the records.",
        rule="outage_past",
        table="plant.toml",
        consequence="No work is planned for it.",
        remedy="Write the next outages, or remove the date.",
    )


def _check_hours(name: str, hours: Any, log: AuditLog) -> None:
    if not math.isnan(_usable(hours)):
        return
    log.add(
        "caution",
        f"plant.toml: {name} = {hours!r} is no number of hours above 0.",
        rule="bench_hours",
        table="plant.toml",
        consequence="It counts as not given; the hours that the records show stand in.",
        remedy="Write the hours of work that fit in; take the date out where no work is to be "
        "done on it.",
    )
