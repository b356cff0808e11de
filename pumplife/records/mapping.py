"""Propose which sheet of an export is which table, and which heading is which column."""

from collections.abc import Iterable
from dataclasses import dataclass, field, replace

import pandas as pd

from pumplife.records.grids import RawTable
from pumplife.records.likeness import SURE, score_headings, score_table_name
from pumplife.records.phrases import list_some, squeeze
from pumplife.records.schema import Table
from pumplife.records.signs import FEW, Signs, read_signs, share_known
from pumplife.records.tables import TABLES
from pumplife.records.words import Words

NAMED = 90.0
"""Likeness from which the name of a file or sheet speaks for a table [of 100]."""
_BY_CONTENT = ("rebuilds", "readings")


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One heading and the column that it is taken for.

    Attributes
    ----------
    heading, column : str
        Theirs and ours.
    sure : bool
        Name and values agree.
    why : str
        The evidence, in a few words.
    """

    heading: str
    column: str
    sure: bool
    why: str


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Guess:
    """What a sheet of the export is taken for.

    Attributes
    ----------
    raw : RawTable
        The sheet.
    table : str
        The table.
    sure : bool
        Its name says so and all that the table needs is there.
    why : str
        The evidence.
    lines : list of Line
        Its columns.
    signs : dict of Signs
        By heading.
    """

    raw: RawTable
    table: str
    sure: bool
    why: str
    lines: list[Line]
    signs: dict[str, Signs] = field(repr=False)

    def __repr__(self) -> str:
        return f"Guess({self.raw.source.label}: {self.table}, {len(self.lines)} columns)"

    def heading(self, column: str) -> str:
        """Give their heading of one of our columns, or ""."""
        return next((line.heading for line in self.lines if line.column == column), "")

    def cells(self, column: str) -> "pd.Series":
        """Give the cells of one of our columns, "" where it isn't mapped."""
        heading = self.heading(column)
        if not heading:
            return pd.Series("", index=self.raw.cells.index, dtype=object)
        found = self.raw.cells.loc[:, self.raw.cells.columns == heading]
        return found.iloc[:, 0].str.strip()


def map_sheets(raws: Iterable[RawTable], words: Words) -> tuple[list[Guess], list[RawTable]]:
    """Say which sheet is which table; the register of pumps first, as the others name its pumps.

    Returns
    -------
    tuple of list
        The sheets that are tables, and those that aren't known.
    """
    looked = [(raw, _look(raw, words)) for raw in raws if len(raw.cells)]
    first = [guess for raw, signs in looked if (guess := _guess(raw, signs)) is not None]
    register = [guess for guess in first if guess.table == "pumps"]
    pumps = {word.casefold() for guess in register for word in guess.cells("pump_id").unique()}
    guesses, strange = [], []
    for raw, signs in looked:
        guess = _guess(raw, _with_pumps(raw, signs, pumps - {""}))
        if guess is None:
            strange.append(raw)
        else:
            guesses.append(guess)
    return guesses, strange


def _look(raw: RawTable, words: Words) -> dict[str, Signs]:
    return {
        str(name): read_signs(raw.cells.iloc[:, place], words, exact=str(name) in raw.exact)
        for place, name in enumerate(raw.cells.columns)
    }


def _with_pumps(raw: RawTable, signs: dict[str, Signs], pumps: set[str]) -> dict[str, Signs]:
    """Add to each column's signs how many of its cells are numbers of known pumps."""
    return {
        str(name): replace(signs[str(name)], pumps=share_known(raw.cells.iloc[:, place], pumps))
        for place, name in enumerate(raw.cells.columns)
    }


def _guess(raw: RawTable, signs: dict[str, Signs]) -> Guess | None:
    """Take a sheet for the table that explains it best, or for none."""
    headings = [str(name) for name in raw.cells.columns]
    scores = score_headings(headings)
    named = _name_scores(raw)
    best: tuple[float, Guess] | None = None
    for table in TABLES.values():
        lines = _map_columns(headings, signs, scores[scores["table"].eq(table.name)], table)
        lines = _take_place_for_pump(lines, signs, table)
        if table.name in _BY_CONTENT:
            lines += _map_by_content(headings, signs, lines, table)
        weight, lacking = _weigh(lines, table, named.get(table.name, 0.0))
        if len(lacking) <= _may_lack(table) and (best is None or weight > best[0]):
            why = _say_why(lines, lacking, named.get(table.name, 0.0) >= NAMED)
            sure = not lacking and named.get(table.name, 0.0) >= NAMED
            best = (weight, Guess(raw=raw, table=table.name, sure=sure, why=why, lines=lines,
                                  signs=signs))  # fmt: skip
    return best[1] if best else None


def _name_scores(raw: RawTable) -> dict[str, float]:
    scores = score_table_name(raw.source.path.stem)
    if raw.source.sheet:
        own = score_table_name(raw.source.sheet)
        scores = {name: max(score, own[name]) for name, score in scores.items()}
    return scores


def _map_columns(
    headings: list[str], signs: dict[str, Signs], scores: pd.DataFrame, table: Table
) -> list[Line]:
    """Give each column the heading most like it whose values suit, each heading once."""
    lines: list[Line] = []
    for one in scores.sort_values("score", ascending=False, kind="stable").to_dict("records"):
        heading, column = headings[one["place"]], table.column(one["column"])
        used = {line.heading for line in lines} | {line.column for line in lines}
        if heading in used or column.name in used or not signs[heading].suits(column.kind):
            continue
        why = _evidence(heading, str(one["like"]), signs[heading], column.kind)
        sure = one["score"] >= SURE and bool(signs[heading].written)
        lines.append(Line(heading=heading, column=column.name, sure=sure, why=why))
    return lines


def _take_place_for_pump(lines: list[Line], signs: dict[str, Signs], table: Table) -> list[Line]:
    """Let the place be the pump's number where the plant counts its pumps by place.

    In a register where no two rows share a place, elsewhere where the register's numbers are
    places; and only where nothing else is the pump's number.
    """
    places = [line for line in lines if line.column == "location"]
    if not places or any(line.column == "pump_id" for line in lines):
        return lines
    sign = signs[places[0].heading]
    register = table.name == "pumps"
    if "pump_id" not in table.headings or not (_is_id(sign) if register else sign.pumps >= 0.8):
        return lines
    why = "no other pump number, and no place comes twice" if register else _PUMP[2]
    own = replace(places[0], column="pump_id", sure=False, why=why.format(signs=sign))
    return [own if line is places[0] else line for line in lines]


def _evidence(heading: str, like: str, signs: Signs, kind: str) -> str:
    same = squeeze(heading) == squeeze(like)
    name = "named so" if same else f'named like "{like}"'
    if not signs.written:
        return f"{name}, but empty"
    share = {"date": signs.dates, "number": signs.numbers}.get(kind)
    if share is not None:
        return f"{name}, {share:.0%} {kind}s"
    if signs.pumps > 0:
        return f"{name}, {signs.pumps:.0%} are in the register"
    return f"{name}, {signs.distinct} different"


def _map_by_content(
    headings: list[str], signs: dict[str, Signs], lines: list[Line], table: Table
) -> list[Line]:
    """Find what the table needs and no heading names, by the values alone."""
    taken = {line.heading for line in lines}
    mapped = {line.column for line in lines}
    free = [name for name in dict.fromkeys(headings) if name not in taken and signs[name].written]
    found: list[Line] = []
    for column, fits, why in _CONTENT[table.name]:
        instead = table.column(column).instead
        if column in mapped or (instead and instead in mapped):
            continue
        fitting = [name for name in free if fits(signs[name])]
        if len(fitting) == 1:
            words = why.format(signs=signs[fitting[0]])
            found.append(Line(heading=fitting[0], column=column, sure=False, why=words))
            free.remove(fitting[0])
    return found


def _is_id(signs: Signs) -> bool:
    return signs.unique > 0.95 and not signs.is_dates and 2 <= signs.letters <= 20


def _is_reason(signs: Signs) -> bool:
    return signs.reasons >= 0.5 and signs.distinct <= FEW


def _is_part(signs: Signs) -> bool:
    return signs.parts >= 0.3 and signs.letters <= 30


_PUMP = (
    "pump_id",
    lambda signs: signs.pumps >= 0.8,
    "{signs.pumps:.0%} are in the register of pumps",
)
_CONTENT = {
    "rebuilds": (
        _PUMP,
        ("opened_on", lambda signs: signs.is_dates, "the only other dates"),
        ("reason", _is_reason, "{signs.reasons:.0%} read as reasons"),
        ("rebuild_id", _is_id, "each one different"),
        ("failed_part", _is_part, "{signs.parts:.0%} name a part"),
    ),
    "readings": (
        _PUMP,
        ("read_on", lambda signs: signs.is_dates, "the only dates"),
        ("reading", lambda signs: signs.is_numbers and not signs.is_dates, "the only numbers"),
    ),
}
"""What a table needs, by what it looks like."""


def _weigh(lines: list[Line], table: Table, named: float) -> tuple[float, list[str]]:
    """Weigh how well a table explains a sheet, and name what it needs and isn't there."""
    mapped = {line.column for line in lines}
    needed = [column for column in table.columns if column.required and not column.lenient]
    lacking = [one.name for one in needed if one.name not in mapped and one.instead not in mapped]
    sure = sum(line.sure for line in lines)
    there = 1.0 - len(lacking) / len(needed)
    weight = len(lines) + sure + 3.0 * there - 2.0 * len(lacking)
    return weight + (6.0 if named >= NAMED else 0.0), lacking


def _may_lack(table: Table) -> int:
    return 1 if len(table.columns) > 5 else 0


def _say_why(lines: list[Line], lacking: list[str], named: bool) -> str:
    told = ["named so"] if named else []
    told.append(f"{len(lines)} of its columns found")
    if lacking:
        told.append(f"needed and not there: {list_some(lacking)}")
    return ", ".join(told)
