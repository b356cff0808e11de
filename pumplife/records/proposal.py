"""Write a plant folder from a plant's own export: the mapping is proposed, line by line."""

import json
import shutil
from collections.abc import Iterator
from dataclasses import dataclass, field
from importlib.resources import files
from pathlib import Path

import pandas as pd

from pumplife.errors import FolderError, OutputError
from pumplife.records.books import open_book
from pumplife.records.grids import RawTable, read_source
from pumplife.records.likeness import known_headings
from pumplife.records.mapping import Guess, map_sheets
from pumplife.records.meanings import MANY_CODES, propose_codes, propose_texts
from pumplife.records.period import propose_dates, propose_plant
from pumplife.records.phrases import clip, count_of, list_some, squeeze
from pumplife.records.register import derive_pumps
from pumplife.records.sources import BOOKS, TEXTS, Source, list_tables
from pumplife.records.template import describe_tables, make_folder
from pumplife.records.words import Words, read_words

_HEAD = """\
# Proposed from {export}, which was copied here and is never edited.
# Look at every line marked "please check" and fill those marked "please fill"; then run
# pumplife audit on this folder. Left theirs, right ours; "README columns.txt" explains ours.
"""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Proposal:
    """What `propose_folder` wrote.

    Attributes
    ----------
    folder : Path
        The plant folder.
    guesses : list of Guess
        The sheets that were taken for tables.
    strange : list of str
        Labels of those that weren't.
    checks, fills : int
        Lines marked "please check" and "please fill".
    """

    folder: Path
    guesses: list[Guess] = field(repr=False)
    strange: list[str]
    checks: int
    fills: int


def propose_folder(folder: Path | str, export: Path | str) -> Proposal:
    """Write a plant folder that reads a plant's own export.

    Parameters
    ----------
    folder : Path or str
        A folder that doesn't exist yet or is empty.
    export : Path or str
        One text file or workbook, or a folder of them; copied, never changed.

    Raises
    ------
    FolderError
        When the export isn't there, can't be read, or holds no table that is known.
    OutputError
        When the folder isn't empty or can't be written.
    """
    folder, export = Path(folder), Path(export)
    words = read_words()
    raws = list(_read_export(export))
    guesses, strange = map_sheets(raws, words)
    if not guesses:
        raise FolderError(
            f"Nothing in {export.name} looks like a table that pumplife knows: "
            f"{list_some([_say_sheet(raw) for raw in raws]) or 'it holds no rows'}. Make an empty "
            "folder with pumplife new FOLDER and copy the rows."
        )
    pumps, told = derive_pumps(guesses)
    lines = list(_settings(export, guesses, strange, (pumps, told), words))
    make_folder(folder)
    _write(folder, guesses, pumps, lines)
    return Proposal(
        folder=folder,
        guesses=guesses,
        strange=[raw.source.label for raw in strange],
        checks=sum("# please check" in line for line in lines[len(_HEAD.splitlines()) :]),
        fills=sum("# please fill" in line for line in lines[len(_HEAD.splitlines()) :]),
    )


def _say_sheet(raw: RawTable) -> str:
    headings = list_some([clip(str(name)) for name in raw.cells.columns])
    return f"{raw.source.label} ({headings})"


def _read_export(export: Path) -> Iterator[RawTable]:
    """Read every sheet and file that a spreadsheet would show."""
    if not export.exists():
        raise FolderError(f"There is no file or folder {export}: check the path.")
    try:
        listed = list_tables(export) if export.is_dir() else [export]
    except OSError as problem:
        raise FolderError(
            f"The folder {export} can't be opened ({problem.strerror}): check that you may read it."
        ) from problem
    if not listed or (export.is_file() and export.suffix.lower() not in (*BOOKS, *TEXTS)):
        raise FolderError(
            f"{export.name} is neither a text file nor an .xlsx workbook, nor a folder of them: "
            f"give a file that ends in {', '.join((*TEXTS, *BOOKS))}."
        )
    known = set(known_headings()["heading"].map(squeeze))
    for file in listed:
        book = file.suffix.lower() in BOOKS
        for sheet in open_book(file).shown if book else [""]:
            yield read_source(Source(table="", path=file, sheet=sheet), known)


def _settings(
    export: Path,
    guesses: list[Guess],
    strange: list[RawTable],
    register: tuple[pd.DataFrame | None, str],
    words: Words,
) -> Iterator[str]:
    yield from _HEAD.format(export=export.name).splitlines()
    yield from ("", *propose_plant(guesses))
    yield from ("", "[files]", *_file_lines(guesses, strange, register))
    parts = {
        squeeze(word)
        for guess in guesses
        if guess.table == "parts"
        for word in guess.cells("part").unique()
    }
    for table in dict.fromkeys(guess.table for guess in guesses):
        own = [guess for guess in guesses if guess.table == table]
        texts = list(_text_lines(table, own, words))
        if table != "pumps" or register[0] is None:
            yield from _column_lines(table, own)
        yield from _unused_lines(own, texts)
        yield from _code_sections(table, own, words, parts)
        yield from texts
    yield from ("", *propose_dates(guesses))
    template = files("pumplife.records").joinpath("plant_template.toml").read_text("utf-8")
    yield from ("", *template[template.index("[costs]") : template.index("[dates]")].splitlines())


def _file_lines(
    guesses: list[Guess], strange: list[RawTable], register: tuple[pd.DataFrame | None, str]
) -> Iterator[str]:
    derived, told = register
    if derived is not None:
        yield f'pumps = "pumps.csv"   # {told}'
    for table in dict.fromkeys(guess.table for guess in guesses):
        own = [guess for guess in guesses if guess.table == table]
        if table == "pumps" and derived is not None:
            continue
        labels = [_quote(guess.raw.source.label) for guess in own]
        value = labels[0] if len(labels) == 1 else f"[{', '.join(labels)}]"
        sure = all(guess.sure for guess in own)
        why = "; ".join(dict.fromkeys(guess.why for guess in own))
        yield f"{table} = {value}   # {'sure' if sure else 'please check'}: {why}"
    for raw in strange:
        yield f"# not known and not copied: {_say_sheet(raw)}"


def _quote(word: str) -> str:
    return json.dumps(word, ensure_ascii=False)


def _column_lines(table: str, own: list[Guess]) -> Iterator[str]:
    lines = {line.heading: line for guess in reversed(own) for line in guess.lines}
    renamed = [line for line in lines.values() if squeeze(line.heading) != squeeze(line.column)]
    if renamed:
        yield from ("", f"[columns.{table}]")
    for line in renamed:
        mark = "sure" if line.sure else "please check"
        yield f'{_quote(line.heading)} = "{line.column}"   # {mark}: {line.why}'


def _unused_lines(own: list[Guess], texts: list[str]) -> Iterator[str]:
    """Name the headings of sheets of one table that are neither a column nor a text to be read."""
    used = {line.heading for guess in own for line in guess.lines}
    free = dict.fromkeys(
        name
        for guess in own
        for name, signs in guess.signs.items()
        if name not in used
        and signs.written
        and not any(text.startswith(f"{_quote(name)} = ") for text in texts)
    )
    if free:
        labels = ", ".join(guess.raw.source.label for guess in own)
        yield f"# not used of {labels}: {list_some(list(free), most=40)}"


def _code_sections(table: str, own: list[Guess], words: Words, parts: set[str]) -> Iterator[str]:
    for column, lines in propose_codes(own, words, parts - {""}).items():
        yield from ("", f"[codes.{table}.{column}]")
        yield from (line.line() for line in lines[:MANY_CODES])
        if len(lines) > MANY_CODES:
            more = count_of(len(lines) - MANY_CODES, "more word")
            yield f"# and {more}; to have them read by words.csv, as text, write"
            yield f'# [text.{table}] {column} = ["{column}"]'


def _text_lines(table: str, own: list[Guess], words: Words) -> Iterator[str]:
    lines = propose_texts(own, words)
    if lines:
        yield from ("", f"[text.{table}]", "# A text fills what nobody wrote, by words.csv.")
    for line in lines:
        column = next(
            (one.column for guess in own for one in guess.lines if one.heading == line.heading),
            line.heading,
        )
        yield f"{_quote(column)} = {json.dumps(line.targets)}   # please check: {line.why}"


def _write(
    folder: Path, guesses: list[Guess], pumps: pd.DataFrame | None, lines: list[str]
) -> None:
    used = dict.fromkeys(
        guess.raw.source.path for guess in guesses if guess.table != "pumps" or pumps is None
    )
    try:
        for file in used:
            shutil.copyfile(file, folder / file.name)
        if pumps is not None:
            pumps.to_csv(folder / "pumps.csv", index=False, encoding="utf-8", lineterminator="\n")
        (folder / "plant.toml").write_text("\n".join(lines) + "\n", encoding="utf-8")
        (folder / "README columns.txt").write_text(describe_tables(), encoding="utf-8")
    except OSError as problem:
        raise OutputError(
            f"The folder {folder} can't be written ({problem.strerror}): choose another one."
        ) from problem
