"""The files that a study read, kept in one zip beside its answers, and read again from it."""

import hashlib
import shutil
import tempfile
import zipfile
from collections.abc import Mapping
from pathlib import Path, PurePosixPath
from typing import Any

from pumplife.errors import ComparisonError
from pumplife.records.read import Written, read_written

NAME = "inputs.zip"
"""The file in the output folder."""
_LONG_AGO = (1980, 1, 1, 0, 0, 0)  # the same files make the same bytes
_BLOCK = 1 << 20


def keep_inputs(source: Path, hashes: Mapping[str, str], path: Path) -> str:
    """Copy the files that were read into a zip.

    Parameters
    ----------
    source : Path
        The plant folder or workbook.
    hashes : mapping of str
        SHA-256 of every file read, by its path from the folder.
    path : Path
        The zip to make.

    Returns
    -------
    str
        Why there is none; "" where it was made.
    """
    folder = source.parent if source.is_file() else source
    for name, digest in hashes.items():
        file = folder / name
        if not file.is_file() or _digest(file) != digest:
            return f"{name} lies outside the plant folder, or was changed while the study ran"
    with zipfile.ZipFile(path, "w") as book:
        for name in sorted(hashes):
            entry = zipfile.ZipInfo(name, _LONG_AGO)
            entry.compress_type = zipfile.ZIP_DEFLATED
            entry.external_attr = 0o644 << 16
            with (folder / name).open("rb") as read, book.open(entry, "w", force_zip64=True) as to:
                shutil.copyfileobj(read, to, _BLOCK)
    return ""


def read_inputs(
    path: Path, hashes: Mapping[str, str], book: str, costs: Mapping[str, Any] | None = None
) -> Written:
    """Read the files that a study read, with today's code.

    Parameters
    ----------
    path : Path
        The zip.
    hashes : mapping of str
        What must be in it.
    book : str
        The name of the workbook that was read; "" where it was a folder.
    costs : mapping, optional
        That came with the call.

    Raises
    ------
    ComparisonError
        When the zip isn't what the study made.
    FolderError, SettingError
        As of `read_written`.
    """
    with tempfile.TemporaryDirectory(prefix="pumplife-") as place:
        folder = Path(place) / "plant"
        folder.mkdir()
        try:
            with zipfile.ZipFile(path) as archive:
                for name in hashes:
                    _take_out(archive, name, folder)
        except (OSError, KeyError, ValueError, zipfile.BadZipFile) as problem:
            raise _spoilt(path) from problem
        if any(_digest(folder / name) != digest for name, digest in hashes.items()):
            raise _spoilt(path)
        return read_written(folder / book if book else folder, costs=costs)


def _take_out(archive: zipfile.ZipFile, name: str, folder: Path) -> None:
    parts = PurePosixPath(name)
    if parts.is_absolute() or ".." in parts.parts:
        raise ValueError(name)
    file = folder.joinpath(*parts.parts)
    file.parent.mkdir(parents=True, exist_ok=True)
    with archive.open(name) as packed, file.open("wb") as to:
        shutil.copyfileobj(packed, to, _BLOCK)


def _digest(file: Path) -> str:
    with file.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


def _spoilt(path: Path) -> ComparisonError:
    return ComparisonError(
        f"{path} doesn't hold the files that the older study read; it was changed since. Compare "
        "with another study, or leave --since away."
    )
