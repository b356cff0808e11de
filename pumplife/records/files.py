"""Read and decode files, or say in one sentence why they can't be."""

import hashlib
import re
import tempfile
from pathlib import Path

from pumplife.errors import FolderError

MOST_BYTES = 2**30
"""Most bytes that a file may hold [bytes]."""
_CONTROL = re.compile(rb"[\x01-\x08\x0e-\x1f\x7f]")
OLD_BOOK = b"\xd0\xcf\x11\xe0"
"""How an encrypted workbook begins, and one of the old format."""


def read_bytes(path: Path) -> bytes:
    """Read a file whole.

    Raises
    ------
    FolderError
        When it can't be opened or is larger than any table.
    """
    try:
        size = path.stat().st_size
        if size > MOST_BYTES:
            raise FolderError(
                f"The file {path.name} wasn't read, because it holds {size / 2**20:.0f} MB: "
                'export it in parts and name them all: [files] readings = ["a.csv", "b.csv"].'
            )
        return path.read_bytes()
    except OSError as problem:
        raise FolderError(
            f"The file {path.name} can't be opened ({problem.strerror or 'no reason given'}): "
            "close it where it is open and check that you may read it."
        ) from problem


def write_whole(words: str, path: Path) -> None:
    """Write a text file that is whole or not there: a file of that name stays until it is.

    Raises
    ------
    OSError
        When it can't be written.
    """
    with tempfile.TemporaryDirectory(
        prefix=f".{path.name}-", dir=path.parent, ignore_cleanup_errors=True
    ) as beside:
        fresh = Path(beside) / "new"
        fresh.write_text(words, encoding="utf-8", newline="\n")
        fresh.replace(path)


def digest(path: Path) -> str:
    """Give the SHA-256 of a file [hexadecimal]."""
    return hashlib.sha256(read_bytes(path)).hexdigest()


def decode(data: bytes, name: str) -> tuple[str, str]:
    """Decode a text file: UTF-8, UTF-16 with or without its mark, else the western code page.

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
        return _text_only(data.decode("utf-16", errors="replace"), name), "utf-16"
    if data[:2] == b"PK" or data[:4] == OLD_BOOK:
        raise FolderError(
            f"The file {name} is a workbook with the name of a text file: rename it to .xlsx."
        )
    wide = _wide_encoding(data)
    if wide:
        return _text_only(data.decode(wide, errors="replace"), name), "utf-16"
    if b"\0" in data or len(_CONTROL.findall(data[:65536])) > 0.005 * len(data[:65536]):
        raise _no_text(name)
    try:
        return data.decode("utf-8-sig"), "utf-8"
    except UnicodeDecodeError:
        return data.decode("cp1252", errors="replace"), "cp1252"


def _wide_encoding(data: bytes) -> str:
    """Tell UTF-16 without its mark: nearly every second byte of western text is zero."""
    start = data[: 2 * (min(len(data), 8192) // 2)]
    for zeros, others, name in (
        (start[1::2], start[0::2], "utf-16-le"),
        (start[0::2], start[1::2], "utf-16-be"),
    ):
        if len(zeros) >= 8 and zeros.count(0) > 0.7 * len(zeros) and not others.count(0):
            return name
    return ""


def _text_only(text: str, name: str) -> str:
    if "\0" in text:
        raise _no_text(name)
    return text


def _no_text(name: str) -> FolderError:
    return FolderError(
        f"The file {name} isn't text: export it again as CSV (UTF-8) or save it as .xlsx."
    )
