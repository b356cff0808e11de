"""Open workbooks without being harmed by them, or say in one sentence why they can't be opened."""

import io
import re
import struct
import zipfile
import zlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from functools import lru_cache
from html import unescape
from pathlib import Path, PurePosixPath
from typing import IO

import numpy as np
import pandas as pd
from python_calamine import CalamineError, CalamineSheet, CalamineWorkbook, SheetVisibleEnum

from pumplife.errors import FolderError
from pumplife.records.cells import decimal_mark
from pumplife.records.files import OLD_BOOK, read_bytes

MOST_UNPACKED = 2**31
"""Most bytes that a workbook may unpack to [bytes]."""
MOST_TIMES, SMALL = 200, 100 * 2**20
"""A part that unpacks to more than `SMALL` bytes may be at most so many times its packed size."""
MOST_CELLS = 60_000_000
"""Most cells of the rectangle that a sheet's cells span."""
MOST_COLUMNS = 2_000
"""No table has more columns."""

_CHUNK = 2**22
_PLACE = re.compile(rb"""\br=["']([A-Z]{1,3})(\d{1,7})["']""")
_UNCACHED = re.compile(
    rb"""<(?:\w+:)?c\b[^>]*?\br=["']([A-Z]+\d+)["'][^>]*>\s*<(?:\w+:)?f\b(?:[^>]*/>|[^>]*>[^<]*</(?:\w+:)?f>)"""
    rb"\s*(?:<(?:\w+:)?v\s*/>|<(?:\w+:)?v>\s*</(?:\w+:)?v>)?\s*</(?:\w+:)?c>"
)
_FORMULA = re.compile(rb"<(?:\w+:)?f[\s>/]")
_SHEET = re.compile(r"<(?:\w+:)?sheet\b[^>]*>")
_RELATION = re.compile(r"<(?:\w+:)?Relationship\b[^>]*>")
_BROKEN = (
    *(CalamineError, zipfile.BadZipFile, zlib.error, struct.error),
    *(OSError, ValueError, EOFError, LookupError, RuntimeError),
)


@dataclass(slots=True, eq=False)
class Extent:
    """How far a sheet's cells reach, and its formulas.

    Attributes
    ----------
    rows, columns : int
        Of the rectangle from A1.
    formulas : int
        Cells that hold a formula.
    uncached : list of str
        Cells that hold a formula and no value of it, as in B2.
    """

    rows: int = 0
    columns: int = 0
    formulas: int = 0
    uncached: list[str] = field(default_factory=list)

    def __repr__(self) -> str:
        return f"Extent({self.rows} rows, {self.columns} columns, {self.formulas} formulas)"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Book:
    """An open workbook.

    Attributes
    ----------
    cells : CalamineWorkbook
        What reads its cells.
    extents : dict of Extent
        By sheet; empty where the file is no .xlsx inside.
    uncalculated : bool
        The program that wrote it left its formulas to be worked out on opening.
    """

    cells: CalamineWorkbook
    extents: dict[str, Extent]
    uncalculated: bool

    def __repr__(self) -> str:
        return f"Book({', '.join(self.sheets)})"

    @property
    def sheets(self) -> list[str]:
        """The names of all sheets."""
        return list(self.cells.sheet_names)

    @property
    def hidden(self) -> set[str]:
        """The sheets that a spreadsheet doesn't show."""
        listed = self.cells.sheets_metadata
        return {one.name for one in listed if one.visible != SheetVisibleEnum.Visible}

    @property
    def shown(self) -> list[str]:
        """The sheets that a spreadsheet shows."""
        return [name for name in self.sheets if name not in self.hidden]


def open_book(path: Path) -> Book:
    """Open a workbook.

    Raises
    ------
    FolderError
        When it can't be opened, has a password, is no workbook or would swell beyond measure.
    """
    try:
        stamp = path.stat()
    except OSError:
        read_bytes(path)  # says why
        raise
    return _open_once(path, stamp.st_mtime_ns, stamp.st_size)


@lru_cache(maxsize=4)
def _open_once(path: Path, changed: int, size: int) -> Book:
    data = read_bytes(path)
    if data[:4] == OLD_BOOK:
        raise FolderError(
            f"The file {path.name} can't be opened: it has a password, or is in the format from "
            "before .xlsx. Take off the password, or save it again as .xlsx."
        )
    if not data:
        raise FolderError(f"The file {path.name} is empty (0 bytes): export it again.")
    try:
        extents, uncalculated = _measure(data, path) if data[:2] == b"PK" else ({}, False)
        cells = CalamineWorkbook.from_filelike(io.BytesIO(data))
        return Book(cells=cells, extents=extents, uncalculated=uncalculated)
    except _BROKEN as problem:
        raise _no_book(path) from problem


def _no_book(path: Path) -> FolderError:
    return FolderError(
        f"The file {path.name} can't be opened, as it isn't a workbook that can be read: take off "
        "its password, if it has one, and save it again as .xlsx."
    )


def _measure(data: bytes, path: Path) -> tuple[dict[str, Extent], bool]:
    """Check the sizes of everything in the package, then unpack it once in pieces."""
    with zipfile.ZipFile(io.BytesIO(data)) as package:
        entries = package.infolist()
        _refuse_swelling(entries, path)
        if any(entry.flag_bits & 1 for entry in entries):
            raise _no_book(path)
        found = {
            entry.filename: _measure_part(package, entry) for entry in entries if not entry.is_dir()
        }
        return _by_sheet(package, found)


def _refuse_swelling(entries: list[zipfile.ZipInfo], path: Path) -> None:
    size = sum(entry.file_size for entry in entries)
    swelling = any(
        entry.file_size > SMALL and entry.file_size > MOST_TIMES * entry.compress_size
        for entry in entries
    )
    if swelling or size > MOST_UNPACKED:
        raise FolderError(
            f"The file {path.name} wasn't opened, because it would unpack to {size / 2**20:.0f} MB:"
            " delete empty rows and columns that were formatted, save it again, or export the "
            "table as CSV."
        )


def _measure_part(package: zipfile.ZipFile, entry: zipfile.ZipInfo) -> Extent:
    """Unpack a part in pieces; the checksum at its end shows a size that was misstated."""
    extent = Extent()
    is_sheet = "worksheets/" in entry.filename and entry.filename.endswith(".xml")
    with package.open(entry) as part:
        for piece in _pieces(part) if is_sheet else iter(lambda: part.read(_CHUNK), b""):
            if is_sheet:
                _measure_piece(piece, extent)
    return extent


def _pieces(part: IO[bytes]) -> Iterator[bytes]:
    """Give a sheet in pieces that end with a cell."""
    rest = b""
    while chunk := part.read(_CHUNK):
        rest += chunk
        end = rest.rfind(b"<")
        cell = max(rest.rfind(b"</c>", 0, end), rest.rfind(b"</row>", 0, end))
        if cell > 0 or len(rest) > 8 * _CHUNK:
            cut = cell if cell > 0 else len(rest)
            yield rest[: cut + 6]
            rest = rest[cut + 6 :] if cell > 0 else b""
    yield rest


def _measure_piece(piece: bytes, extent: Extent) -> None:
    places = _PLACE.findall(piece)
    if places:
        letters = {column for column, _ in places}
        extent.columns = max(extent.columns, *(_column_number(word) for word in letters))
        extent.rows = max(extent.rows, *(int(row) for row in {row for _, row in places}))
    count = len(_FORMULA.findall(piece))
    if count:
        extent.formulas += count
        extent.uncached += [place.decode() for place in _UNCACHED.findall(piece)]


def _column_number(letters: bytes) -> int:
    number = 0
    for letter in letters:
        number = 26 * number + letter - 64
    return number


def _by_sheet(package: zipfile.ZipFile, found: dict[str, Extent]) -> tuple[dict[str, Extent], bool]:
    """Give each extent the name of its sheet."""
    if not {"xl/workbook.xml", "xl/_rels/workbook.xml.rels"} <= set(found):
        return {}, False
    book = package.read("xl/workbook.xml").decode("utf-8", errors="replace")
    relations = package.read("xl/_rels/workbook.xml.rels").decode("utf-8", errors="replace")
    target = {
        _attribute(tag, "Id"): _attribute(tag, "Target") for tag in _RELATION.findall(relations)
    }
    extents = {}
    for tag in _SHEET.findall(book):
        file = target.get(_attribute(tag, r"\w+:id"), "")
        part = file.lstrip("/") if file.startswith("/") else str(PurePosixPath("xl") / file)
        extents[unescape(_attribute(tag, "name"))] = found.get(part, Extent())
    return extents, bool(re.search(r'fullCalcOnLoad="(1|true)"', book))


def _attribute(tag: str, name: str) -> str:
    match = re.search(rf"""\s{name}\s*=\s*(["'])(.*?)\1""", tag)
    return match.group(2) if match else ""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SheetGrid:
    """All cells of a sheet as text.

    Attributes
    ----------
    cells : DataFrame of str
        Row 0 is row 1 of the sheet; every cell of a merged range holds what the range shows.
    typed : frozenset of int
        The places of the columns whose decimals and thousands, if any, stand in cells of text:
        there a point may be either.
    unsure : dict of int to str
        The places of the columns where numbers stand among cells of text that may be read in two
        ways, with the first of these.
    """

    cells: pd.DataFrame
    typed: frozenset[int]
    unsure: dict[int, str]

    def __repr__(self) -> str:
        return f"SheetGrid({self.cells.shape[0]} rows, {self.cells.shape[1]} columns)"


def sheet_grid(path: Path, sheet: str) -> SheetGrid:
    """Give all cells of a sheet as text.

    Raises
    ------
    FolderError
        When the workbook can't be read, has no such sheet or a sheet beyond measure.
    """
    book = open_book(path)
    if sheet not in book.sheets:
        raise FolderError(
            f"The workbook {path.name} has no sheet {sheet}: its sheets are "
            f"{', '.join(book.sheets)}. Correct the name in [files] of plant.toml."
        )
    _refuse_vast(book.extents.get(sheet, Extent()), f"{path.name}#{sheet}")
    try:
        cells = book.cells.get_sheet_by_name(sheet)
        rows = cells.to_python(skip_empty_area=False)
        typed, marks, unsure = _typed_as_text(rows)
        grid = pd.DataFrame(
            [[_cell_text(cell, marks.get(at, ".")) for at, cell in enumerate(row)] for row in rows],
            dtype=object,
        )
        return SheetGrid(cells=_fill_merged(grid, cells), typed=typed, unsure=unsure)
    except _BROKEN as problem:
        raise _no_book(path) from problem


def _refuse_vast(extent: Extent, label: str) -> None:
    if extent.columns > MOST_COLUMNS or extent.rows * extent.columns > MOST_CELLS:
        raise FolderError(
            f"{label} can't be read as a table, because its cells reach over {extent.rows} rows "
            f"and {extent.columns} columns: delete what lies outside the table, and save it again."
        )


def _cell_text(cell: object, mark: str) -> str:
    """A cell as text; a number with the mark before decimals that the column's texts show."""
    if isinstance(cell, str):
        return cell
    if isinstance(cell, bool):
        return "yes" if cell else "no"
    if isinstance(cell, float):
        return str(int(cell)) if cell.is_integer() else repr(cell).replace(".", mark)
    if isinstance(cell, date | datetime):
        return cell.isoformat()[:10]
    return str(cell)


def _typed_as_text(
    rows: Sequence[Sequence[object]],
) -> tuple[frozenset[int], dict[int, str], dict[int, str]]:
    """Columns whose decimals stand in text alone; where beside numbers, the mark they show.

    Only text can tell which mark a column is written with: a number shows none. Third are the
    columns where the texts beside numbers can't tell either, with the first of them.
    """
    words: dict[int, list[str]] = {}
    exact: set[int] = set()
    for row in rows:
        for place, cell in enumerate(row):
            if isinstance(cell, str) and ("," in cell or "." in cell):
                words.setdefault(place, []).append(re.sub(r"\s", "", cell))
            elif isinstance(cell, float) and not cell.is_integer():
                exact.add(place)
    marks: dict[int, str] = {}
    unsure: dict[int, str] = {}
    for place in exact & words.keys():
        numbers = [word for word in words[place] if re.fullmatch(r"[+-]?[\d.,]+", word)]
        mark = decimal_mark(numbers)
        if mark:
            marks[place] = mark
        elif numbers:
            unsure[place] = numbers[0]
    return frozenset(words.keys() - exact | marks.keys()), marks, unsure


def _fill_merged(grid: pd.DataFrame, sheet: CalamineSheet) -> pd.DataFrame:
    merged = sheet.merged_cell_ranges or []
    if not merged or grid.empty:
        return grid
    cells = np.array(grid, dtype=object)
    height, width = np.shape(cells)
    for (top, left), (bottom, right) in merged:
        if top < height and left < width:
            cells[top : bottom + 1, left : right + 1] = cells[top, left]
    return pd.DataFrame(cells, dtype=object)
