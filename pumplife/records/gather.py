"""Read every table from its files and join the parts of those that are written in several."""

import pandas as pd

from pumplife.errors import FolderError
from pumplife.records.audit import AuditLog
from pumplife.records.blanks import blank_table
from pumplife.records.columns import type_table
from pumplife.records.grids import RawTable, read_source
from pumplife.records.phrases import list_some, squeeze
from pumplife.records.plant import Plant
from pumplife.records.second import in_turn
from pumplife.records.sources import Source
from pumplife.records.tables import TABLES
from pumplife.records.words import Words

BYTES_A_ROW = 50
"""About so many in a text file."""


def read_tables(
    sources: dict[str, list[Source]], plant: Plant, words: Words | None, log: AuditLog
) -> tuple[dict[str, pd.DataFrame], dict[str, int], bool]:
    """Read and type every table that has a source.

    Parameters
    ----------
    sources : dict
        Table name to its files or sheets.
    plant : Plant
        The settings.
    words : Words or None
        The words by which text is read, where plant.toml declares any.
    log : AuditLog
        Gets what was found.

    Returns
    -------
    tuple of dict, dict and bool
        The tables, empty where the plant has none; the rows written of each; and whether one
        can't be used at all.
    """
    tables = {name: blank_table(table) for name, table in TABLES.items()}
    counts: dict[str, int] = {}
    fatal = False

    def read(parts: list[Source]) -> tuple[pd.DataFrame | None, int, AuditLog]:
        mine = AuditLog()
        if len(parts) > 1:
            mine.name_files(parts[0].table)
        with pd.option_context("mode.copy_on_write", True):
            return *_read_parts(parts, plant, words, mine), mine

    every = in_turn(read, list(sources.values()), _text_size(sources) // BYTES_A_ROW)
    for name, (frame, rows, found) in zip(sources, every, strict=True):
        log.take(found)
        if frame is None:
            fatal = True
        else:
            tables[name], counts[name] = frame, rows
    return tables, counts, fatal


def _text_size(sources: dict[str, list[Source]]) -> int:
    """Size of the text files [byte]; a workbook's sheets are best read by who has it open."""
    return sum(
        source.path.stat().st_size
        for parts in sources.values()
        for source in parts
        if not source.sheet
    )


def _read_parts(
    parts: list[Source], plant: Plant, words: Words | None, log: AuditLog
) -> tuple[pd.DataFrame | None, int]:
    """Read the files of a table and set them below each other; None where one can't be used."""
    table = TABLES[parts[0].table]
    read = [_read_raw(source, plant, log) for source in parts]
    if any(raw is None for raw in read):
        return None, 0
    raws = [raw for raw in read if raw is not None]
    written = [raw for raw in raws if len(raw.cells) or raw.overlong]
    if not written:
        if not table.required:
            return blank_table(table), 0
        _log_empty(raws[0], log)
        return None, 0
    frames = [type_table(raw, table, plant.raw, words, log) for raw in written]
    if any(frame is None for frame in frames):
        return None, 0
    return _join([frame for frame in frames if frame is not None]), sum(
        len(raw.cells) + len(raw.overlong) for raw in written
    )


def _join(frames: list[pd.DataFrame]) -> pd.DataFrame:
    """Set frames below each other; a column of the plant's own that one lacks is blank there."""
    if len(frames) == 1:
        return frames[0]
    own = dict.fromkeys(name for frame in frames for name in frame.columns)
    whole = [
        frame.assign(**{name: "" for name in own if name not in frame.columns}) for frame in frames
    ]
    return pd.concat([frame[list(own)] for frame in whole], ignore_index=True)


def _read_raw(source: Source, plant: Plant, log: AuditLog) -> RawTable | None:
    table = TABLES[source.table]
    mapping = plant.raw.get("columns", {}).get(source.table, {})
    known = {squeeze(word) for word in (*table.headings, *mapping)}
    try:
        return read_source(source, known)
    except FolderError as problem:
        log.add(
            "stop",
            str(problem),
            rule="unreadable_file",
            table=source.table,
            consequence="The study can't go on.",
            remedy="Mend the file, or take it out of the folder.",
        )
        return None


def _log_empty(raw: RawTable, log: AuditLog) -> None:
    headings = list_some([str(name) for name in raw.cells.columns], most=40)
    seen = f"only its headings: {headings}" if headings else "nothing in it"
    log.add(
        "stop",
        f"{raw.source.label} has no rows; there is {seen}.",
        rule="empty_file",
        table=raw.source.table,
        consequence="The study can't go on.",
        remedy="Fill the table or export it again.",
    )
