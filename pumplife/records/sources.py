"""Find the file or sheet of every table and read its cells as text."""

import io
import re
import warnings
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd

from pumplife.errors import FolderError
from pumplife.records.audit import AuditLog
from pumplife.records.files import decode, open_book, read_bytes, sheet_grid
from pumplife.records.tables import TABLES

BOOKS = (".xlsx", ".xlsm")
TEXTS = (".csv", ".tsv", ".txt")


@dataclass(frozen=True, slots=True, kw_only=True)
class Source:
    """Where a table is written.

    Attributes
    ----------
    table : str
        The table's name.
    path : Path
        A text file or a workbook.
    sheet : str
        The sheet of a workbook; "" for a text file.
    """

    table: str
    path: Path
    sheet: str = ""

    @property
    def label(self) -> str:
        """The name people know it by: file, or book#sheet."""
        return f"{self.path.name}#{self.sheet}" if self.sheet else self.path.name


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RawTable:
    """The cells of a table as text.

    Attributes
    ----------
    source : Source
        Where they come from.
    cells : DataFrame
        The plant's own headings; "" where nothing is written.
    row : Series of int
        The row of each record as a spreadsheet shows it (heading = 1).
    overlong : list of int
        Rows with more cells than the heading; not part of `cells`.
    mark : str
        What stands between cells in a text file: one of , ; tab, or "" in a workbook.
    encoding : str
        How the text file was decoded.
    """

    source: Source
    cells: pd.DataFrame
    row: "pd.Series"
    overlong: list[int]
    mark: str = ""
    encoding: str = ""

    def __repr__(self) -> str:
        return f"RawTable({self.source.label}: {len(self.cells)} rows)"


def squeeze(word: str) -> str:
    """Fold case and drop spaces, underscores and hyphens: how names are matched."""
    return re.sub(r"[\s_\-]+", "", word).casefold()


def find_sources(path: Path, files: dict[str, str], log: AuditLog) -> dict[str, Source]:
    """Find the file or sheet of every table.

    Parameters
    ----------
    path : Path
        A folder or a workbook.
    files : dict
        The [files] section of plant.toml: table = "file" or "book.xlsx#sheet".
    log : AuditLog
        Gets a note per file that isn't used.

    Returns
    -------
    dict
        Table name to source.

    Raises
    ------
    FolderError
        When a file named in [files] isn't there, or the path can't be listed.
    """
    if path.is_file():
        return _find_sheets(path, log)
    found = {name: _named_source(path, name, value) for name, value in files.items()}
    listed = _list_files(path)
    for file in listed:
        _take_file(file, found, log)
    books = [file for file in listed if file.suffix.lower() in BOOKS]
    if not {"pumps", "rebuilds"} & set(found) and len(books) == 1:
        return {**found, **_find_sheets(books[0], log)}
    return found


def _list_files(folder: Path) -> list[Path]:
    try:
        return [
            entry
            for entry in sorted(folder.iterdir())
            if entry.suffix.lower() in (*BOOKS, *TEXTS)
            and not entry.name.startswith(("~$", "."))
            and entry.is_file()
        ]
    except OSError as problem:
        raise FolderError(
            f"The folder {folder} can't be opened ({problem.strerror}): check that you may read it."
        ) from problem


def _take_file(file: Path, found: dict[str, Source], log: AuditLog) -> None:
    name = table_named(file.stem)
    used = {source.path for source in found.values()}
    if file in used or (not name and squeeze(file.stem).startswith("readme")):
        return
    if not name:
        log.add(
            "note",
            f"The file {file.name} is not a table that pumplife knows; it was not read.",
            rule="unknown_file",
            remedy=f'If it is one, name it in plant.toml: [files] rebuilds = "{file.name}".',
        )
    elif name in found:
        log.add(
            "caution",
            f"{file.name} was not read: {name} is read from {found[name].label}.",
            rule="two_files",
            table=name,
            remedy="Remove one of the two files.",
        )
    else:
        found[name] = Source(table=name, path=file, sheet=_sheet_for(file, name))


def table_named(word: str) -> str:
    """Give the table whose name is alike, or ""."""
    return next((name for name in TABLES if squeeze(name) == squeeze(word)), "")


def _named_source(folder: Path, name: str, value: str) -> Source:
    file, _, sheet = value.partition("#")
    path = folder / file
    if not path.is_file():
        raise FolderError(
            f'plant.toml says [files] {name} = "{value}", but there is no file {file} in '
            f"{folder}: correct the name or remove the line."
        )
    return Source(table=name, path=path, sheet=sheet or _sheet_for(path, name))


def _sheet_for(path: Path, name: str) -> str:
    if path.suffix.lower() not in BOOKS:
        return ""
    sheets = open_book(path).sheet_names
    return next((sheet for sheet in sheets if squeeze(sheet) == squeeze(name)), sheets[0])


def _find_sheets(path: Path, log: AuditLog) -> dict[str, Source]:
    found: dict[str, Source] = {}
    for sheet in open_book(path).sheet_names:
        name = table_named(sheet)
        if name and name not in found:
            found[name] = Source(table=name, path=path, sheet=sheet)
        elif squeeze(sheet) not in ("plant", "readme"):
            log.add(
                "note",
                f"The sheet {sheet} of {path.name} was not read: no table has that name.",
                rule="unknown_file",
                remedy="Name the sheet like its table, if it is one.",
            )
    return found


def read_source(source: Source) -> RawTable:
    """Read the cells of one table as text.

    Raises
    ------
    FolderError
        When the file or sheet can't be read.
    """
    if source.sheet:
        return _read_sheet(source)
    text, encoding = decode(read_bytes(source.path), source.path.name)
    return _read_text(source, text, encoding)


def sniff_mark(heading: str) -> str:
    """Say what stands between the cells of a heading line: comma, semicolon or tab."""
    bare = re.sub(r'"[^"]*"', "", heading)
    return max((",", ";", "\t"), key=bare.count)


def _read_text(source: Source, text: str, encoding: str) -> RawTable:
    body = text.replace("\r\n", "\n").replace("\r", "\n")
    start = body.lstrip("\n")
    skipped = len(body) - len(start)
    if start[:4].lower() == "sep=":
        start = start.partition("\n")[2]
        skipped += 1
    mark = sniff_mark(start.partition("\n")[0])
    grid = _parse(start, mark, source)
    return _frame_grid(grid, source, skipped, mark, encoding)


def _parse(text: str, mark: str, source: Source) -> pd.DataFrame:
    if not text.strip():
        return pd.DataFrame()
    width = text.partition("\n")[0].count(mark) + 2
    try:
        return _parse_width(text, mark, width)
    except (pd.errors.ParserError, pd.errors.ParserWarning):
        width = max(line.count(mark) for line in text.split("\n")) + 2
    try:
        return _parse_width(text, mark, width)
    except (pd.errors.ParserError, pd.errors.ParserWarning, ValueError) as problem:
        raise FolderError(
            f"The file {source.label} can't be read as a table: look for a quotation mark that is "
            "opened and never closed, and export it again."
        ) from problem


def _parse_width(text: str, mark: str, width: int) -> pd.DataFrame:
    with warnings.catch_warnings():
        warnings.simplefilter("error", pd.errors.ParserWarning)
        return pd.read_csv(
            io.StringIO(text),
            sep=mark,
            header=None,
            names=list(range(width)),
            index_col=False,
            dtype=str,
            keep_default_na=False,
            na_filter=False,
            skip_blank_lines=False,
        ).fillna("")


def _read_sheet(source: Source) -> RawTable:
    return _frame_grid(sheet_grid(source.path, source.sheet), source, 0, "", "")


def _frame_grid(
    grid: pd.DataFrame, source: Source, skipped: int, mark: str, encoding: str
) -> RawTable:
    """Split a grid into heading and records; blank rows count but aren't kept."""
    filled = _filled(grid)
    if not filled.any():
        empty = pd.Series([], dtype="int64")
        return RawTable(source=source, cells=pd.DataFrame(), row=empty, overlong=[], mark=mark)
    top = int(filled.to_numpy().argmax())
    heading = [str(cell).strip() for cell in grid.iloc[top]]
    used = [place for place, word in enumerate(heading) if word]
    body = grid.iloc[top + 1 :][filled.iloc[top + 1 :]]
    row = pd.Series(body.index.to_numpy(dtype=np.int64) + 1 + skipped)
    surplus = list(range(max(used) + 1, len(heading)))
    overlong = _filled(body[body.columns[surplus]]).to_numpy()
    cells = body[body.columns[used]].set_axis([heading[place] for place in used], axis=1)
    return RawTable(
        source=source,
        cells=cells[~overlong].reset_index(drop=True),
        row=row[~overlong].reset_index(drop=True),
        overlong=row[overlong].to_list(),
        mark=mark,
        encoding=encoding,
    )


def _filled(grid: pd.DataFrame) -> "pd.Series[bool]":
    """Say which rows hold anything but blanks."""
    filled = np.zeros(len(grid), dtype=np.bool_)
    for name in grid.columns:
        rest = np.flatnonzero(~filled)
        filled[rest] = grid[name].iloc[rest].str.strip().ne("")
    return pd.Series(filled, index=grid.index)
