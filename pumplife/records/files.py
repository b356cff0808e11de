"""Open files and workbooks, or say in one sentence why they can't be."""

import hashlib
import io
from datetime import date, datetime
from pathlib import Path

import pandas as pd
from python_calamine import CalamineError, CalamineWorkbook

from pumplife.errors import FolderError


def read_bytes(path: Path) -> bytes:
    """Read a file whole.

    Raises
    ------
    FolderError
        When it can't be opened.
    """
    try:
        return path.read_bytes()
    except OSError as problem:
        raise FolderError(
            f"The file {path.name} can't be opened ({problem.strerror or 'no reason given'}): "
            "close it where it is open and check that you may read it."
        ) from problem


def digest(path: Path) -> str:
    """Give the SHA-256 of a file [hexadecimal]."""
    return hashlib.sha256(read_bytes(path)).hexdigest()


def open_book(path: Path) -> CalamineWorkbook:
    """Open a workbook.

    Raises
    ------
    FolderError
        When it can't be opened, has a password or is no workbook.
    """
    data = read_bytes(path)
    try:
        return CalamineWorkbook.from_filelike(io.BytesIO(data))
    except (CalamineError, OSError, ValueError) as problem:
        raise _no_book(path) from problem


def _no_book(path: Path) -> FolderError:
    return FolderError(
        f"The file {path.name} can't be opened, as it isn't a workbook that can be read: take off "
        "its password, if it has one, and save it again as .xlsx."
    )


def sheet_grid(path: Path, sheet: str) -> pd.DataFrame:
    """Give all cells of a sheet as text, row 0 of the grid being row 1 of the sheet.

    Raises
    ------
    FolderError
        When the workbook can't be read or has no such sheet.
    """
    book = open_book(path)
    if sheet not in book.sheet_names:
        raise FolderError(
            f"The workbook {path.name} has no sheet {sheet}: its sheets are "
            f"{', '.join(book.sheet_names)}. Correct the name in [files] of plant.toml."
        )
    try:
        rows = book.get_sheet_by_name(sheet).to_python(skip_empty_area=False)
    except (CalamineError, OSError, ValueError) as problem:
        raise _no_book(path) from problem
    return pd.DataFrame([[_cell_text(cell) for cell in row] for row in rows], dtype=object)


def _cell_text(cell: object) -> str:
    if isinstance(cell, str):
        return cell
    if isinstance(cell, bool):
        return "yes" if cell else "no"
    if isinstance(cell, float):
        return str(int(cell)) if cell.is_integer() else repr(cell)
    if isinstance(cell, date | datetime):
        return cell.isoformat()[:10]
    return str(cell)


def decode(data: bytes, name: str) -> tuple[str, str]:
    """Decode a text file: UTF-8, UTF-16 by its mark, else the usual western code page.

    Returns
    -------
    tuple of str
        The text and the name of its encoding.

    Raises
    ------
    FolderError
        When it isn't text at all.
    """
    if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return data.decode("utf-16", errors="replace"), "utf-16"
    if data[:2] == b"PK":
        raise FolderError(
            f"The file {name} is a workbook with the name of a text file: rename it to .xlsx."
        )
    if b"\0" in data[:65536]:
        raise FolderError(
            f"The file {name} isn't text: export it again as CSV (UTF-8) or save it as .xlsx."
        )
    try:
        return data.decode("utf-8-sig"), "utf-8"
    except UnicodeDecodeError:
        return data.decode("cp1252", errors="replace"), "cp1252"
