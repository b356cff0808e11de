"""Read the cells of one table as text: where its heading is, which rows are records."""

import io
import re
import warnings
from collections import Counter
from collections.abc import Collection
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd

from pumplife.errors import FolderError
from pumplife.records.books import MOST_COLUMNS, open_book, sheet_grid
from pumplife.records.files import decode, read_bytes
from pumplife.records.heading import LOOK, Heading, find_heading
from pumplife.records.phrases import clip, count_of
from pumplife.records.sources import Source

MARKS = (",", ";", "\t", "|")
MOST_SPREAD = 200_000_000
"""Most cells that the longest row of a text file may spread its other rows to."""
MANY_BREAKS = 50
"""A cell with more line breaks is most often two quotation marks that don't belong together."""
MOST_LETTERS = 1_000_000
"""No cell holds more."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RawTable:
    """The cells of a table as text.

    Attributes
    ----------
    source : Source
        Where they come from.
    cells : DataFrame
        The plant's own headings; "" where nothing is written. Categorical: each spelling of a
        column is kept, and looked at, once.
    row : Series of int
        The row of each record as a spreadsheet shows it (heading = 1).
    overlong : list of int
        Rows with more cells than the heading; not part of `cells`.
    mark : str
        What stands between cells in a text file: one of `MARKS`, or "" in a workbook.
    exact : frozenset of str
        Headings of a workbook's columns in which a point is a point; the numbers of all others,
        and of a text file, are read as text.
    encoding : str
        How the text file was decoded.
    remarks : list of tuple
        Severity, rule, what, consequence and remedy of what was odd about the file.
    """

    source: Source
    cells: pd.DataFrame
    row: "pd.Series"
    overlong: list[int]
    mark: str = ""
    exact: frozenset[str] = frozenset()
    encoding: str = ""
    remarks: list[tuple[str, str, str, str, str]] = field(default_factory=list)

    def __repr__(self) -> str:
        return f"RawTable({self.source.label}: {len(self.cells)} rows)"


def read_source(source: Source, known: Collection[str] = ()) -> RawTable:
    """Read the cells of one table as text.

    Parameters
    ----------
    source : Source
        File or sheet.
    known : collection of str
        Squeezed headings that the table may have; they tell the heading from titles.

    Raises
    ------
    FolderError
        When the file or sheet can't be read.
    """
    if source.sheet:
        sheet = sheet_grid(source.path, source.sheet)
        return _frame_grid(
            _by_spelling(sheet.cells),
            source,
            known,
            remarks=[*_formula_remarks(source), *_mark_remarks(source, sheet.unsure)],
            typed=sheet.typed,
        )
    text, encoding = decode(read_bytes(source.path), source.path.name)
    return _read_text(source, text, encoding, known)


def _formula_remarks(source: Source) -> list[tuple[str, str, str, str, str]]:
    """Say which formulas have no value that could be read."""
    book = open_book(source.path)
    extent = book.extents.get(source.sheet)
    if extent is None or not extent.formulas:
        return []
    bare = extent.uncached
    if not bare and not book.uncalculated:
        return []
    which = f"without a stored value, the first in {bare[0]}" if bare else "that may be out of date"
    count = count_of(len(bare) if bare else extent.formulas, "formula")
    what = f"{source.label} has {count} {which}."
    follows = "Such a cell counts as not written." if bare else "The values stored are used."
    remedy = "Open the workbook in a spreadsheet program and save it, so that values are stored."
    return [("caution", "formula_value", what, follows, remedy)]


def _mark_remarks(source: Source, unsure: dict[int, str]) -> list[tuple[str, str, str, str, str]]:
    """Say in which columns numbers stand among texts that may be read in two ways."""
    return [
        (
            "caution",
            "decimal_mark",
            f'{source.label}: column {place + 1} has "{word}" as text among numbers.',
            'Its "." is taken to stand before decimals, its "," between thousands.',
            "Write it as a number in the workbook.",
        )
        for place, word in sorted(unsure.items())
    ]


def sniff_mark(lines: list[str]) -> str:
    """Say what stands between the cells: the mark that stands equally often in most lines."""
    bare = [re.sub(r'"[^"]*"', "", line) for line in lines if line.strip()][:LOOK]

    def weight(mark: str) -> tuple[float, int]:
        counts = Counter(line.count(mark) for line in bare if mark in line)
        usual, often = max(counts.items(), key=lambda one: (one[1], one[0]), default=(0, 0))
        return often / max(len(bare), 1), usual

    return max(MARKS, key=weight)


def _read_text(source: Source, text: str, encoding: str, known: Collection[str]) -> RawTable:
    body = text.replace("\r\n", "\n").replace("\r", "\n")
    start = body.lstrip("\n")
    skipped = len(body) - len(start)
    declared = ""
    if start[:4].lower() == "sep=":
        first, _, start = start.partition("\n")
        declared = first[4:5] or "\t"
        skipped += 1
    lines = start[:1_000_000].split("\n", 4 * LOOK)[: 4 * LOOK]
    mark = declared if declared in MARKS else sniff_mark(lines)
    grid = _by_spelling(_parse(start, mark, source, max(line.count(mark) for line in lines)))
    remarks = _break_remarks(grid, start, mark, source)
    return _frame_grid(grid, source, known, skipped, mark, encoding, remarks)


def _parse(text: str, mark: str, source: Source, most: int) -> pd.DataFrame:
    if not text.strip():
        return pd.DataFrame()
    try:
        return _parse_width(text, mark, _allowed(most, 1, source))
    except (pd.errors.ParserError, pd.errors.ParserWarning):
        lines = text.split("\n")
        width = _allowed(max(line.count(mark) for line in lines), len(lines), source)
    try:
        return _parse_width(text, mark, width)
    except (pd.errors.ParserError, pd.errors.ParserWarning, ValueError) as problem:
        raise FolderError(
            f"The file {source.label} can't be read as a table: look for a quotation mark that is "
            "opened and never closed, and export it again."
        ) from problem


def _allowed(marks: int, lines: int, source: Source) -> int:
    """Give the width to read, or refuse what can be no table."""
    if marks >= MOST_COLUMNS or marks * lines > MOST_SPREAD:
        raise FolderError(
            f"The file {source.label} can't be read as a table: one of its rows has {marks + 1} "
            f"cells, and no table has more than {MOST_COLUMNS}. Export it again."
        )
    return marks + 2


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
        )


def _break_remarks(
    grid: pd.DataFrame, text: str, mark: str, source: Source
) -> list[tuple[str, str, str, str, str]]:
    """Say where a cell swallowed many lines, as between two stray quotation marks."""
    if text.count("\n") <= len(grid):
        return []
    remarks = []
    for name in grid.columns:
        breaks = grid[name].str.count("\n")
        several = breaks[breaks > 0].index
        rows = grid.loc[several, name].str.count(re.escape(mark)) >= (len(grid.columns) - 2) // 2
        stray = several[rows & (len(grid.columns) > 4) | (breaks[several] > MANY_BREAKS)]
        remarks += [(int(row), int(breaks[row])) for row in stray]
    return [
        (
            "caution",
            "stray_quotes",
            f"{source.label} has a cell with {count} line breaks near row {row + 1}.",
            "The lines were read as one cell.",
            "Look for quotation marks that don't belong together, and export it again.",
        )
        for row, count in sorted(remarks)[:10]
    ]


def _frame_grid(  # noqa: PLR0917
    grid: pd.DataFrame,
    source: Source,
    known: Collection[str],
    skipped: int = 0,
    mark: str = "",
    encoding: str = "",
    remarks: list[tuple[str, str, str, str, str]] | None = None,
    typed: frozenset[int] = frozenset(),
) -> RawTable:
    """Split a grid into heading and records; blank rows count but aren't kept."""
    _refuse_long(grid, source)
    filled = _filled(grid)
    remarks = remarks or []
    if not filled.any():
        empty = pd.Series([], dtype="int64")
        return RawTable(
            source=source, cells=pd.DataFrame(), row=empty, overlong=[], mark=mark, remarks=remarks
        )
    heading = find_heading(grid, filled, known)
    below = heading.top + heading.depth
    used = [place for place, word in enumerate(heading.words) if word]
    body = grid.iloc[below:][filled[below:]]
    row = pd.Series(body.index.to_numpy(dtype=np.int64) + 1 + skipped)
    surplus = list(range(max(used) + 1, len(heading.words)))
    overlong = _filled(body[body.columns[surplus]])
    cells = body[body.columns[used]].set_axis([heading.words[place] for place in used], axis=1)
    return RawTable(
        source=source,
        cells=cells[~overlong].reset_index(drop=True),
        row=row[~overlong].reset_index(drop=True),
        overlong=row[overlong].to_list(),
        mark=mark,
        exact=frozenset(heading.words[place] for place in used if not mark and place not in typed),
        encoding=encoding,
        remarks=remarks + _title_remarks(grid, filled, heading, source),
    )


def _refuse_long(grid: pd.DataFrame, source: Source) -> None:
    for place, name in enumerate(grid.columns, start=1):
        longest = max(map(len, grid[name].cat.categories), default=0)
        if longest > MOST_LETTERS:
            raise FolderError(
                f"{source.label} can't be read as a table: a cell in its column {place} holds "
                f"{longest} letters. Look for a quotation mark that is never closed, and export it "
                "again."
            )


def _title_remarks(
    grid: pd.DataFrame, filled: np.ndarray, heading: Heading, source: Source
) -> list[tuple[str, str, str, str, str]]:
    """Say which rows above the heading were not read."""
    above = np.flatnonzero(filled[: heading.top])
    if not len(above):
        return []
    words = grid.iloc[above[:1]].to_numpy(object)[0]
    first = " ".join(dict.fromkeys(word for word in words if word.strip()))
    return [
        (
            "note",
            "title_rows",
            f'{source.label} has {count_of(len(above), "row")} above its heading: "{clip(first)}".',
            "They are not read.",
            "",
        )
    ]


def _by_spelling(grid: pd.DataFrame) -> pd.DataFrame:
    """Keep each spelling of a column once, with the rows that hold it; a cell not there is ""."""
    columns = {}
    for name in grid.columns:
        place: Any
        place, distinct = pd.factorize(grid[name].to_numpy(object))
        words = pd.Index(distinct, dtype=object)
        if (place < 0).any():
            words = words if "" in words else words.append(pd.Index([""], dtype=object))
            place[place < 0] = list(words).index("")
        columns[name] = pd.Categorical.from_codes(place, words)
    return pd.DataFrame(columns, index=grid.index, copy=False)


def _filled(grid: pd.DataFrame) -> np.ndarray:
    """Say which rows hold anything but blanks."""
    filled = np.zeros(len(grid), dtype=np.bool_)
    for name in grid.columns:
        cells = grid[name].cat
        written = np.array([bool(word.strip()) for word in cells.categories], dtype=np.bool_)
        filled |= written[cells.codes] if len(written) else False
    return filled
