"""Find the files or sheets of every table."""

from dataclasses import dataclass
from pathlib import Path

from pumplife.errors import FolderError
from pumplife.records.audit import AuditLog
from pumplife.records.books import open_book
from pumplife.records.phrases import squeeze
from pumplife.records.tables import TABLES

BOOKS = (".xlsx", ".xlsm")
TEXTS = (".csv", ".tsv", ".txt")
TWO_TABLES = "two_tables"
"""The rule of two sheets that may both be the same table."""
OWN_FILES = ("plant", "readme", "words", "ticketwords")
"""Files and sheets that are no tables."""
IN_MANY = "returned"
"""The table that is written in as many files as tickets came back; its name begins theirs."""
Files = dict[str, str | list[str]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Source:
    """Where a table, or a part of it, is written.

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


def find_sources(path: Path, files: Files, log: AuditLog) -> dict[str, list[Source]]:
    """Find the files or sheets of every table.

    Parameters
    ----------
    path : Path
        A folder or a workbook.
    files : dict
        The [files] section of plant.toml: table = "file" or "book.xlsx#sheet", or a list of them.
    log : AuditLog
        Gets a note per file that isn't used, and a stop where two sheets may be the same table.

    Returns
    -------
    dict
        Table name to its sources, in the order in which they are listed.

    Raises
    ------
    FolderError
        When a file named in [files] isn't there, or the path can't be listed.
    """
    found = {
        name: [_named_source(path, name, one) for one in _as_list(value)]
        for name, value in files.items()
    }
    if path.is_file():
        return {**_find_sheets(path, found, log), **found}
    listed = _list_files(path)
    for file in listed:
        _take_file(file, found, log)
    books = [file for file in listed if file.suffix.lower() in BOOKS]
    if not {"pumps", "rebuilds"} & set(found) and len(books) == 1:
        return {**_find_sheets(books[0], found, log), **found}
    return found


def _as_list(value: str | list[str]) -> list[str]:
    return [value] if isinstance(value, str) else list(value)


def list_tables(folder: Path) -> list[Path]:
    """Give the text files and workbooks of a folder, by name.

    Raises
    ------
    OSError
        When the folder can't be listed.
    """
    return [
        entry
        for entry in sorted(folder.iterdir())
        if entry.suffix.lower() in (*BOOKS, *TEXTS)
        and not entry.name.startswith(("~$", "."))
        and entry.is_file()
    ]


def _list_files(folder: Path) -> list[Path]:
    try:
        return list_tables(folder)
    except OSError as problem:
        raise FolderError(
            f"The folder {folder} can't be opened ({problem.strerror}): check that you may read it."
        ) from problem


def _take_file(file: Path, found: dict[str, list[Source]], log: AuditLog) -> None:
    name = IN_MANY if squeeze(file.stem).startswith(IN_MANY) else table_named(file.stem)
    used = {source.path for sources in found.values() for source in sources}
    own = squeeze(file.stem)
    if file in used or own in OWN_FILES or (not name and own.startswith("readme")):
        return
    if not name:
        log.add(
            "note",
            f"The file {file.name} is not a table that pumplife knows; it was not read.",
            rule="unknown_file",
            remedy=f'If it is one, name it in plant.toml: [files] rebuilds = "{file.name}".',
        )
    elif name == IN_MANY:
        found.setdefault(name, []).append(_source_of(file, name))
    elif name in found:
        first = ", ".join(source.label for source in found[name])
        log.add(
            "caution",
            f"{file.name} was not read: {name} is read from {first}.",
            rule="two_files",
            table=name,
            remedy="Remove one of the two files, or name both: "
            f'[files] {name} = ["{first}", "{file.name}"].',
        )
    else:
        found[name] = [_source_of(file, name)]


def _source_of(file: Path, name: str) -> Source:
    return Source(table=name, path=file, sheet=_sheet_for(file, name))


def table_named(word: str) -> str:
    """Give the table whose name is alike, or ""."""
    return next((name for name in TABLES if squeeze(name) == squeeze(word)), "")


def _named_source(place: Path, name: str, value: str) -> Source:
    file, _, sheet = value.partition("#")
    folder = place.parent if place.is_file() else place
    path = folder / file if file else place
    if not path.is_file():
        raise FolderError(
            f'plant.toml says [files] {name} = "{value}", but there is no file {file} in '
            f"{folder}: correct the name or remove the line."
        )
    return Source(table=name, path=path, sheet=sheet or _sheet_for(path, name))


def _sheet_for(path: Path, name: str) -> str:
    if path.suffix.lower() not in BOOKS:
        return ""
    book = open_book(path)
    shown = book.shown or book.sheets
    return next((sheet for sheet in shown if squeeze(sheet) == squeeze(name)), shown[0])


def _find_sheets(
    path: Path, named: dict[str, list[Source]], log: AuditLog
) -> dict[str, list[Source]]:
    book = open_book(path)
    taken = {source.sheet for sources in named.values() for source in sources}
    sheets = [name for name in book.sheets if name not in taken and squeeze(name) not in OWN_FILES]
    shown = [name for name in sheets if name not in book.hidden]
    found: dict[str, list[Source]] = {}
    for name in (name for name in TABLES if name not in named):
        exact = [sheet for sheet in shown if squeeze(sheet) == squeeze(name)]
        alike = [sheet for sheet in shown if squeeze(sheet).startswith(squeeze(name))]
        if len(exact) == 1:
            found[name] = [Source(table=name, path=path, sheet=exact[0])]
        elif len(alike) > 1:
            _ask_which(path, name, alike, log)
            sheets = [sheet for sheet in sheets if sheet not in alike]
    used = {source.sheet for sources in found.values() for source in sources}
    _log_unread(path, [name for name in sheets if name not in used], book.hidden, log)
    return found


def _ask_which(path: Path, name: str, sheets: list[str], log: AuditLog) -> None:
    """Two sheets may be the same table: of two plants, or two parts of one."""
    quoted = [f'"{path.name}#{sheet}"' for sheet in sheets]
    log.add(
        "stop",
        f"{path.name} has {len(sheets)} sheets that may be the table {name}: {', '.join(sheets)}.",
        rule=TWO_TABLES,
        table=name,
        consequence="The study can't go on.",
        remedy=f"Say in plant.toml which one it is, [files] {name} = {quoted[0]}, or that they "
        f"are parts of one table, [files] {name} = [{', '.join(quoted)}].",
    )


def _log_unread(path: Path, sheets: list[str], hidden: set[str], log: AuditLog) -> None:
    for sheet in sheets:
        veiled = sheet in hidden
        why = "it is hidden" if veiled else "no table has that name"
        name = table_named(sheet) or "rebuilds"
        log.add(
            "note",
            f"The sheet {sheet} of {path.name} was not read: {why}.",
            rule="hidden_sheet" if veiled else "unknown_file",
            remedy=f'If it is a table, name it in plant.toml: [files] {name} = "{path.name}'
            f'#{sheet}".',
        )
