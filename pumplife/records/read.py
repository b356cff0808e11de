"""Read a plant folder into clean tables and an audit."""

import dataclasses
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pandas as pd

from pumplife.errors import FolderError
from pumplife.records.audit import AuditLog
from pumplife.records.decisions import replay
from pumplife.records.duty import Duty, lay_out_duty
from pumplife.records.files import digest
from pumplife.records.gather import read_tables
from pumplife.records.kits import complete_kits
from pumplife.records.left import lacks_pumps, lacks_tickets
from pumplife.records.linking import (
    check_part_names,
    drop_repeats,
    keep_latest_price,
    link_locations,
    link_orders,
    mark_plans,
)
from pumplife.records.plant import Plant, build_plant, read_settings, to_day, to_days
from pumplife.records.pump_ids import link_pumps
from pumplife.records.returned import take_returned
from pumplife.records.sites import name_sites
from pumplife.records.sources import TWO_TABLES, Source, find_sources
from pumplife.records.spelling import settle_spellings
from pumplife.records.steps import Floats
from pumplife.records.storage import check_stores
from pumplife.records.superseded import follow_superseded
from pumplife.records.tables import TABLES
from pumplife.records.tickets import check_tickets
from pumplife.records.whole import check_whole
from pumplife.records.wording import check_wording
from pumplife.records.words import Words, read_words

PLAN_DATES = {
    "pumps": "commissioned_on",
    "moves": "moved_on",
    "parts": "valid_from",
    "kits": "valid_from",
}
"""The date of a row that makes it a plan where it lies after the records."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Records:
    """What the plant wrote down, cleaned.

    Attributes
    ----------
    plant : Plant
        The settings.
    tables : dict of DataFrame
        Every table of `TABLES`, empty where the plant has none. Text "" , numbers NaN and dates
        NaT mean not written. `file` and `row` name the source; `pump` is the row of pumps
        (-1 = none); `plan` marks rows dated after the window.
    log : AuditLog
        What was found on the way.
    hashes : dict of str
        SHA-256 of every file read, by its path from the folder.
    source : Path
        The folder or workbook.
    withheld : set of str
        Results that can't be given: of intervals, stock, budget.
    aside : dict of int
        Rows set aside per table.
    fatal : bool
        Whether the study can't go on at all; the audit says why.
    settled : frozenset of str
        Questions that decisions.csv has answered.
    """

    plant: Plant
    tables: dict[str, pd.DataFrame] = field(repr=False)
    log: AuditLog = field(repr=False)
    hashes: dict[str, str] = field(repr=False)
    source: Path
    withheld: set[str]
    aside: dict[str, int] = field(repr=False)
    fatal: bool
    settled: frozenset[str] = field(default=frozenset(), repr=False)

    def __repr__(self) -> str:
        counts = f"{len(self.pumps)} pumps, {len(self.table('rebuilds'))} rebuild rows"
        return f"Records({counts}{', can not go on' if self.fatal else ''})"

    def table(self, name: str) -> pd.DataFrame:
        """Give a table by name; without rows where the plant has none."""
        return self.tables[name]

    @property
    def pumps(self) -> pd.DataFrame:
        """The table of pumps; its row number is the pump's code."""
        return self.tables["pumps"]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Written:
    """What the files hold, typed, before the tables are joined.

    Attributes
    ----------
    plant : Plant
        The settings.
    tables : dict of DataFrame
        Every table of `TABLES`, rows as written.
    counts : dict of int
        Rows written of each table.
    given : frozenset of str
        Tables that the plant wrote.
    log : AuditLog
        What was found in reading.
    hashes : dict of str
        SHA-256 of every file read.
    source : Path
        The folder or workbook.
    fatal : bool
        Whether the study can't go on at all.
    """

    plant: Plant
    tables: dict[str, pd.DataFrame] = field(repr=False)
    counts: dict[str, int] = field(repr=False)
    given: frozenset[str] = field(repr=False)
    log: AuditLog = field(repr=False)
    hashes: dict[str, str] = field(repr=False)
    source: Path
    fatal: bool

    def __repr__(self) -> str:
        return f"Written({len(self.given)} tables{', can not go on' if self.fatal else ''})"


def read_records(path: Path | str) -> Records:
    """Read a plant folder or workbook.

    Parameters
    ----------
    path : Path or str
        A folder of CSV or .xlsx files, or one .xlsx with a sheet per table.

    Returns
    -------
    Records
        Clean tables; whatever is wrong with the content is in `log`.

    Raises
    ------
    FolderError
        When the path or a file named in plant.toml isn't there or can't be opened.
    SettingError
        When a line of plant.toml can't be used.
    """
    return join_records(read_written(path))


def read_written(path: Path | str, *, costs: Mapping[str, Any] | None = None) -> Written:
    """Read the files of a plant folder or workbook; errors as of `read_records`.

    Parameters
    ----------
    path : Path or str
    costs : mapping, optional
        In place of those of the same name in [costs] of plant.toml.
    """
    path = Path(path)
    _check_path(path)
    log = AuditLog()
    settings, label = read_settings(path)
    settings = _take_costs(settings, costs or {}, log)
    plant = build_plant(settings, label or "plant.toml", log)
    check_wording(settings)
    sources = find_sources(path, settings.get("files", {}), log)
    words = read_words(path, log) if settings.get("text") else None
    hashes = _hashes(path, sources, words)
    tables, counts, fatal = read_tables(sources, plant, words, log)
    fatal |= log.has_rule(TWO_TABLES)
    fatal |= _lacks_basis(path, sources, plant, log)
    fatal |= lacks_pumps(tables, counts, log)
    return Written(
        plant=plant,
        tables=tables,
        counts=counts,
        given=frozenset(sources),
        log=log,
        hashes=hashes,
        source=path,
        fatal=fatal,
    )


def _take_costs(
    settings: dict[str, Any], costs: Mapping[str, Any], log: AuditLog
) -> dict[str, Any]:
    """The settings with costs that came with the call; the audit says which."""
    if not costs:
        return settings
    log.add(
        "note",
        f"Costs given with the call: {', '.join(sorted(costs))}.",
        rule="costs_given",
        consequence="They stand in for those of plant.toml in every price of this study.",
        remedy="Write them into [costs] of plant.toml where they are to stay.",
    )
    return {**settings, "costs": {**settings.get("costs", {}), **costs}}


@pd.option_context("mode.copy_on_write", True)
def join_records(written: Written) -> Records:
    """Join what was written into clean tables; `written` keeps its own, its log gets the rest."""
    log, tables, fatal = written.log, dict(written.tables), written.fatal
    plant = _with_start(written.plant, tables, log)
    settled: frozenset[str] = frozenset()
    counts = written.counts
    if not fatal:
        counts = take_returned(tables, counts, log)
        settled = _link(tables, plant, log)
        fatal = lacks_tickets(tables, counts, plant, log)
    withheld = set() if fatal else check_whole(tables, plant, set(written.given), log)
    return Records(
        plant=plant,
        tables=tables,
        log=log,
        hashes=written.hashes,
        source=written.source,
        withheld=withheld,
        aside={name: counts[name] - len(tables[name]) for name in counts},
        fatal=fatal,
        settled=settled,
    )


def _check_path(path: Path) -> None:
    try:
        there = path.exists()
    except OSError as problem:
        raise FolderError(
            f"The path {path} can't be opened ({problem.strerror}): check that you may read it."
        ) from problem
    if not there:
        raise FolderError(f"There is no folder or workbook {path}: check the path.")
    if path.is_file() and path.suffix.lower() not in (".xlsx", ".xlsm"):
        raise FolderError(
            f"{path.name} is neither a folder nor an .xlsx workbook: give the folder that holds "
            "the tables."
        )


def _hashes(path: Path, sources: dict[str, list[Source]], words: Words | None) -> dict[str, str]:
    files = {source.path for parts in sources.values() for source in parts}
    files |= {words.file} if words and words.file else set()
    folder = path.parent if path.is_file() else path
    settings = folder / "plant.toml"
    files |= {settings} if settings.is_file() else set()
    return {_path_within(folder, file): digest(file) for file in sorted(files)}


def _path_within(folder: Path, file: Path) -> str:
    """The path of a file from the folder; its name where it lies elsewhere."""
    within = file.is_relative_to(folder) and ".." not in file.parts
    return file.relative_to(folder).as_posix() if within else file.name


def _lacks_basis(
    path: Path,
    sources: dict[str, list[Source]],
    plant: Plant,
    log: AuditLog,
) -> bool:
    """Say whether something is missing without which there is no study."""
    asked = set(log.rows_of([TWO_TABLES])["table"])
    missing = [
        name
        for name, table in TABLES.items()
        if table.required and name not in sources and name not in asked
    ]
    for name in missing:
        log.add(
            "stop",
            f"There is no table {name} in {path.name}.",
            rule="missing_table",
            table=name,
            consequence="The study can't go on.",
            remedy=f'Add {name}.csv, or name the plant\'s file: [files] {name} = "...".',
        )
    if pd.isna(plant.records_to):
        log.add(
            "stop",
            "plant.toml doesn't say until which day the records are complete.",
            rule="records_to",
            consequence="The study can't go on.",
            remedy="Write [plant] records_to = 2025-12-31 (your day).",
        )
    return bool(missing) or bool(pd.isna(plant.records_to))


def _with_start(plant: Plant, tables: dict[str, pd.DataFrame], log: AuditLog) -> Plant:
    """Take the earliest record as the start of the window where the plant doesn't say it."""
    if not pd.isna(plant.records_from):
        return plant
    dates = pd.concat([tables["rebuilds"]["opened_on"], tables["readings"]["read_on"]])
    start = dates.min()
    log.add(
        "caution",
        "plant.toml doesn't say from which day the records are complete.",
        rule="records_from",
        consequence=f"The earliest record stands in: {start:%Y-%m-%d}."
        if pd.notna(start)
        else "There is no dated record either.",
        remedy="Write [plant] records_from in plant.toml.",
    )
    return dataclasses.replace(plant, records_from=start)


def _link(tables: dict[str, pd.DataFrame], plant: Plant, log: AuditLog) -> frozenset[str]:
    """Join the tables in place; pumps and moves first, because the others lean on them.

    Gives the questions that decisions have settled.
    """
    end = to_day(plant.records_to)
    settle_spellings(tables, log)
    tables["decisions"] = drop_repeats(tables["decisions"], TABLES["decisions"], log)
    settled = replay(tables, log, early=True)
    for name, column in PLAN_DATES.items():
        tables[name] = mark_plans(tables[name], column, end)
    name_sites(tables, plant, log)
    tables["pumps"] = drop_repeats(tables["pumps"], TABLES["pumps"], log)
    tables["pumps"] = tables["pumps"].assign(pump=range(len(tables["pumps"])))
    tables["moves"] = link_pumps(tables["moves"], tables["pumps"], TABLES["moves"], log)
    tables["moves"] = drop_repeats(tables["moves"], TABLES["moves"], log)
    duty = lay_out_duty(tables["pumps"], tables["moves"])
    for name, table in TABLES.items():
        if name in ("pumps", "moves", "decisions", "returned"):  # returned: taken over already
            continue
        if "pump_id" in table.headings:
            _link_table(tables, name, duty, log)
        tables[name] = drop_repeats(tables[name], table, log)
    for name, number in (("parts", "part_no"), ("kits", "kit")):
        tables[name] = keep_latest_price(tables[name], number, name, log)
    follow_superseded(tables, log)
    complete_kits(tables, log)
    check_stores(tables, plant, log)
    link_orders(tables, log)
    check_part_names(tables, log)
    settled |= replay(tables, log, early=False)
    check_tickets(tables, log)
    return settled


def _link_table(tables: dict[str, pd.DataFrame], name: str, duty: Duty, log: AuditLog) -> None:
    pumps = tables["pumps"]
    frame = link_pumps(tables[name], pumps, TABLES[name], log)
    if "location" in frame:
        frame = link_locations(frame, pumps, duty, day=_row_day(frame), table=name, log=log)
    tables[name] = frame


def _row_day(frame: pd.DataFrame) -> Floats:
    """Give the day of each row of rebuilds, issued or readings [day]."""
    if "opened_on" in frame:
        return to_days(frame["happened_on"].fillna(frame["opened_on"]))
    return to_days(frame["read_on" if "read_on" in frame else "issued_on"])
