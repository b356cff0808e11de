"""The plant's settings: plant.toml, or the sheet `plant` of a workbook."""

import math
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from pumplife.errors import SettingError
from pumplife.records.amounts import (
    COSTS,
    EVIDENCE,
    PRIOR,
    RISES,
    SERVICE_COSTS,
    TARGETS,
    TRIALS,
    WORK,
    check_amounts,
)
from pumplife.records.audit import AuditLog
from pumplife.records.books import open_book, sheet_grid
from pumplife.records.calendar import (
    CALENDAR,
    SITE_CALENDAR,
    Stop,
    bench_hours,
    check_calendar,
    list_stops,
)
from pumplife.records.files import read_bytes
from pumplife.records.finance import BUDGET, Finance, read_finance
from pumplife.records.moments import read_moment
from pumplife.records.phrases import find_near, squeeze
from pumplife.records.polymers import check_storage
from pumplife.records.steps import Floats
from pumplife.records.stocking import STOCK, check_stocking
from pumplife.records.stores import ROTABLES, STORES, check_stores
from pumplife.records.ticket_settings import TICKET, check_ticket

USAGE_UNITS = ("hours", "cycles", "days")
NO_NAME, NO_CURRENCY = "This plant", "money"
"""What stands in where the plant gives neither."""
_PLANT_KEYS = ("name", "currency", "usage_unit", "records_from", "records_to", "site")
_SECTIONS: dict[str, tuple[str, ...]] = {
    "plant": _PLANT_KEYS,
    "costs": (*COSTS, "service"),
    "work": ("fluid", "air", "together"),
    "inspection": ("delay_share", "detection", "labour_h"),
    "targets": tuple(TARGETS),
    "evidence": tuple(EVIDENCE),
    "prior": (),
    "trials": tuple(TRIALS),
    "calendar": CALENDAR,
    "stock": STOCK,
    "stores": STORES,
    "rotables": ROTABLES,
    "rules": ("turned",),
    "storage": ("years",),
    "budget": BUDGET,
    "ticket": TICKET,
    "dates": ("order",),
    "numbers": ("decimal",),
    "files": (),
    "columns": (),
    "codes": (),
    "text": (),
}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Plant:
    """What the plant says about itself.

    Attributes
    ----------
    name, currency : str
        As written; `NO_NAME` and `NO_CURRENCY` where not given.
    usage_unit : str
        hours, cycles or days: the unit of every usage, age and interval.
    records_from, records_to : Timestamp
        The window that the records cover; NaT = not given.
    site_windows : dict
        Site to (from, to), NaT where the plant's window stands.
    raw : dict
        Every setting as read.
    """

    name: str
    currency: str
    usage_unit: str
    records_from: pd.Timestamp
    records_to: pd.Timestamp
    site_windows: dict[str, tuple[pd.Timestamp, pd.Timestamp]] = field(default_factory=dict)
    raw: dict[str, Any] = field(default_factory=dict)

    def __repr__(self) -> str:
        return f"Plant({self.name!r}, {self.records_from:%Y-%m-%d} to {self.records_to:%Y-%m-%d})"

    def cost(self, name: str, service: str = "") -> float:
        """Give a cost or probability of [costs], the service's own where it has one.

        Returns
        -------
        float
            [money, probability or share a year]; NaN where it isn't given.
        """
        if name not in COSTS:
            raise SettingError(f"{name} is not one of the costs: {', '.join(COSTS)}.")
        costs = self.raw.get("costs", {})
        own = costs.get("service", {}).get(service, {})
        return float(own.get(name, costs.get(name, math.nan)))

    @property
    def has_costs(self) -> bool:
        """Whether any cost is given."""
        return any(name in self.raw.get("costs", {}) for name in COSTS)

    def work(self, side: str) -> dict[str, float]:
        """Give the usual hours of one rebuild of a side [h], NaN where not given."""
        given = self.raw.get("work", {}).get(side, {})
        return {name: float(given.get(name, math.nan)) for name in WORK}

    def _target(self, name: str) -> float:
        return float(self.raw.get("targets", {}).get(name, TARGETS[name]))

    @property
    def service_level(self) -> float:
        """Share of unplanned demands that the shelf should meet at once."""
        return self._target("service_level")

    @property
    def hazardous_failure_probability(self) -> float:
        """Chance of a release within one interval that is borne in hazardous duty."""
        return self._target("hazardous_failure_probability")

    @property
    def review_days(self) -> float:
        """Days between two looks at the stock [days]."""
        return self._target("review_days")

    @property
    def finance(self) -> Finance:
        """The financial year and the rise of prices."""
        return read_finance(self.raw)

    @property
    def evidence(self) -> dict[str, float]:
        """Rules on evidence that the plant gives, by name."""
        return dict(self.raw.get("evidence", {}))

    @property
    def priors(self) -> dict[str, dict[str, float]]:
        """Priors on wear's shape that the plant gives: part to shape and spread [-]."""
        return dict(self.raw.get("prior", {}))

    @property
    def trials(self) -> dict[str, float]:
        """How trials of materials are planned and judged, by name; the usual where not given."""
        return {**TRIALS, **self.raw.get("trials", {})}

    @property
    def turned_is_new(self) -> bool:
        """Whether a part that was turned over counts as new, having a new face to wear."""
        return bool(self.raw.get("rules", {}).get("turned", "new") == "new")

    def stops(self, site: str = "") -> list[Stop]:
        """Give the outages of a site by date, the plant's own where it has none."""
        return list_stops(self.raw.get("calendar", {}), site)

    def outages(self, site: str = "") -> list[float]:
        """Give the days of outages at a site, the plant's own where it has none [day]."""
        return [to_day(stop.on) for stop in self.stops(site)]

    def bench_hours_per_week(self, site: str = "") -> float:
        """Hours of work a week that the bench of a site has [h], NaN where not given."""
        return bench_hours(self.raw.get("calendar", {}), site)

    def window(self, site: str = "") -> tuple[float, float]:
        """Give the first and last day that the records of a site cover [day]."""
        own_from, own_to = self.site_windows.get(site, (pd.NaT, pd.NaT))
        start = self.records_from if pd.isna(own_from) else own_from
        end = self.records_to if pd.isna(own_to) else own_to
        return to_day(start), to_day(end)


def to_day(moment: pd.Timestamp) -> float:
    """Give the days since 1970-01-01 [day]; NaN for no date."""
    return math.nan if pd.isna(moment) else (moment - pd.Timestamp(0)) / pd.Timedelta(days=1)


def to_days(dates: "pd.Series") -> Floats:
    """Give the days since 1970-01-01 of a column of dates [day]; NaN for blanks."""
    moments = np.asarray(dates, dtype="datetime64[ns]") - np.datetime64(0, "ns")
    return np.asarray(moments / np.timedelta64(1, "D"), dtype=np.float64)


def read_settings(path: Path) -> tuple[dict[str, Any], str]:
    """Read plant.toml of a folder, or the sheet `plant` of a workbook.

    Returns
    -------
    tuple of dict and str
        The settings, and the name of what was read ("" = there is none).

    Raises
    ------
    SettingError
        When a line can't be understood.
    FolderError
        When the file can't be opened.
    """
    if path.is_file():
        sheets = open_book(path).sheets
        sheet = next((name for name in sheets if squeeze(name) == "plant"), "")
        if sheet:
            grid = sheet_grid(path, sheet).cells
            return settings_from_grid(grid, f"{path.name}#{sheet}"), f"{path.name}#{sheet}"
    file = (path.parent if path.is_file() else path) / "plant.toml"
    if not file.is_file():
        return {}, ""
    try:
        return tomllib.loads(read_bytes(file).decode("utf-8-sig")), file.name
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as problem:
        raise SettingError(
            f"plant.toml can't be understood: {problem}. Correct that line; text stands in "
            '"quotation marks", the file is saved as UTF-8.'
        ) from problem


def settings_from_grid(grid: pd.DataFrame, label: str) -> dict[str, Any]:
    """Build settings from rows of section, key and value under such a heading."""
    settings: dict[str, Any] = {}
    for number, cells in enumerate(grid.itertuples(index=False), start=1):
        section, key, value = ([str(cell).strip() for cell in cells] + ["", "", ""])[:3]
        if not (section and key) or (squeeze(section), squeeze(key)) == ("section", "key"):
            continue
        target = settings
        for name in _section_path(section, f"{label} row {number}"):
            target = target.setdefault(name, {})
        target[key] = _setting_value(value)
    return settings


def _section_path(section: str, where: str) -> list[str]:
    try:
        nested: dict[str, Any] = tomllib.loads(f"[{section}]")
    except tomllib.TOMLDecodeError as problem:
        raise SettingError(
            f"{where}: the section {section} can't be understood; write it like "
            'costs or costs.service."slip".'
        ) from problem
    path = []
    while nested:
        name, nested = next(iter(nested.items()))
        path.append(name)
    return path


def _setting_value(value: str) -> Any:
    try:
        return tomllib.loads(f"value = {value}")["value"]
    except tomllib.TOMLDecodeError:
        return value


def build_plant(raw: dict[str, Any], label: str, log: AuditLog) -> Plant:
    """Check the settings and give them a shape.

    Parameters
    ----------
    raw : dict
        As read.
    label : str
        The name of what was read.
    log : AuditLog
        Gets unknown settings and the defaults that stand in.

    Raises
    ------
    SettingError
        When a value can't be used.
    """
    check_amounts(raw)
    check_stocking(raw)
    check_stores(raw)
    check_ticket(raw)
    _warn_unknown(raw, label, log)
    general = raw.get("plant", {})
    plant = Plant(
        name=str(general.get("name", "")).strip() or NO_NAME,
        currency=str(general.get("currency", "")).strip() or NO_CURRENCY,
        usage_unit=_usage_unit(general, log),
        records_from=read_moment(general, "records_from", "plant"),
        records_to=read_moment(general, "records_to", "plant"),
        site_windows={
            site: (read_moment(own, "records_from", site), read_moment(own, "records_to", site))
            for site, own in general.get("site", {}).items()
        },
        raw=raw,
    )
    _check_window(plant)
    check_calendar(raw, plant.records_to, log)
    read_finance(raw)
    _check_rules(raw)
    check_storage(raw, label, log)
    _note_targets(raw, log)
    return plant


def _warn_unknown(raw: dict[str, Any], label: str, log: AuditLog) -> None:
    for where, name, known in _unknown_settings(raw):
        near = find_near(name, known, likeness=0.5)
        log.add(
            "caution",
            f"{label}: {where}{name} is not a setting that pumplife knows.",
            rule="unknown_setting",
            consequence="It has no effect.",
            remedy=f"Did you mean {near}?" if near else f"Known are: {', '.join(known)}.",
        )


def _unknown_settings(raw: dict[str, Any]) -> Iterator[tuple[str, str, tuple[str, ...]]]:
    for section, given in raw.items():
        if section not in _SECTIONS:
            yield "section ", section, tuple(_SECTIONS)
        elif not isinstance(given, dict):
            raise SettingError(f"plant.toml: {section} must be a section, written [{section}].")
        elif _SECTIONS[section]:
            for name in sorted(set(given) - set(_SECTIONS[section])):
                yield f"[{section}] ", name, _SECTIONS[section]
    yield from _unknown_inside(raw)


def _unknown_inside(raw: dict[str, Any]) -> Iterator[tuple[str, str, tuple[str, ...]]]:
    """Yield unknown settings of the sections within sections."""
    services = raw.get("costs", {}).get("service", {})
    inner: list[tuple[str, Any, tuple[str, ...]]] = [
        (f'[costs.service."{name}"] ', own, SERVICE_COSTS) for name, own in services.items()
    ]
    inner.append(("[budget] price_rise ", raw.get("budget", {}).get("price_rise", {}), RISES))
    sites = raw.get("calendar", {}).get("site", {})
    inner += [(f'[calendar.site."{name}"] ', own, SITE_CALENDAR) for name, own in sites.items()]
    inner += [(f"[work.{side}] ", own, WORK) for side, own in raw.get("work", {}).items()]
    inner += [(f"[prior.{part}] ", own, PRIOR) for part, own in raw.get("prior", {}).items()]
    for where, own, known in inner:
        for name in sorted(set(own) - set(known)):
            yield where, name, known


def _usage_unit(general: dict[str, Any], log: AuditLog) -> str:
    unit = str(general.get("usage_unit", ""))
    if unit in USAGE_UNITS:
        return unit
    if unit:
        raise SettingError(
            f'plant.toml: [plant] usage_unit = "{unit}" must be one of hours, cycles, days.'
        )
    log.add(
        "caution",
        "plant.toml doesn't say in which unit usage is counted.",
        rule="usage_unit",
        consequence="Every age and interval is taken to be in running hours.",
        remedy='Write [plant] usage_unit = "hours", "cycles" or "days".',
    )
    return "hours"


def _check_window(plant: Plant) -> None:
    for site in ("", *plant.site_windows):
        start, end = plant.window(site)
        if start > end:
            named = f" of {site}" if site else ""
            raise SettingError(
                f"plant.toml: records_from{named} is after records_to: correct one of the two."
            )


def _check_rules(raw: dict[str, Any]) -> None:
    turned = raw.get("rules", {}).get("turned", "new")
    if turned not in ("new", "same"):
        raise SettingError(
            f'plant.toml: [rules] turned = "{turned}" must be "new" (a turned part starts a life '
            'of its own) or "same" (its age runs on).'
        )


def _note_targets(raw: dict[str, Any], log: AuditLog) -> None:
    for name, value in TARGETS.items():
        if name not in raw.get("targets", {}):
            log.add(
                "note",
                f"[targets] {name} isn't given; {value:g} stands in.",
                rule="default_target",
                remedy=f"Write [targets] {name} in plant.toml.",
            )
