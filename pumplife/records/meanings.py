"""Propose what the codes and free texts of an export mean, with counts."""

import json
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import pandas as pd

from pumplife.records.cells import tidy_text
from pumplife.records.mapping import Guess
from pumplife.records.phrases import clip, count_of, find_near, squeeze
from pumplife.records.schema import Column
from pumplife.records.tables import SIDE_WORDS, TABLES
from pumplife.records.words import SEVERAL, Words

MANY_CODES = 60
"""So many different words of a column are listed, the most frequent first."""
NAMES = ("failed_part", "part", "kit")
"""Columns of names; of kits only a word for none is translated."""
CODE = re.compile(r"[^\W\d_]{1,4}\d{1,4}")
"""A code of an order type, as PM01: what its letters mean doesn't tell what its number does."""
WORTH = 0.02
"""Share of the rows from which a text is worth reading [1]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CodeLine:
    """What one word of a column is proposed to mean.

    Attributes
    ----------
    word, meaning : str
        Theirs and ours; meaning "" = nothing is proposed.
    sure : bool
        It stands in the dictionary as it is.
    why : str
        Count and evidence.
    """

    word: str
    meaning: str
    sure: bool
    why: str

    def line(self) -> str:
        """Give the line of plant.toml; a comment where nothing is proposed."""
        word = json.dumps(self.word, ensure_ascii=False)
        if not self.meaning:
            return f'# {word} = ""   # please fill: {self.why}'
        mark = "sure" if self.sure else "please check"
        return f'{word} = "{self.meaning}"   # {mark}: {self.why}'


@dataclass(frozen=True, slots=True, kw_only=True)
class TextLine:
    """A column of free text that may fill others."""

    heading: str
    targets: list[str]
    why: str


def propose_codes(own: Sequence[Guess], words: Words, parts: set[str]) -> dict[str, list[CodeLine]]:
    """Give the lines of [codes.TABLE.COLUMN] for every column of codes, parts or kits.

    Parameters
    ----------
    own : sequence of Guess
        The sheets that are one table.
    words : Words
        The dictionary.
    parts : set of str
        The plant's own names of parts, squeezed; empty where it lists none.
    """
    table = TABLES[own[0].table]
    found: dict[str, list[CodeLine]] = {}
    if table.name == "parts":
        return found  # its names are the plant's own
    mapped = {line.column for guess in own for line in guess.lines}
    for column in table.columns:
        if column.name in mapped and (column.codes or column.name in NAMES):
            cells = pd.concat([guess.cells(column.name) for guess in own], ignore_index=True)
            lines = list(_code_lines(tidy_text(cells), column, words, parts))
            if lines:
                found[column.name] = lines
    return found


def _code_lines(
    cells: "pd.Series", column: Column, words: Words, parts: set[str]
) -> Iterator[CodeLine]:
    counts = cells[cells.ne("")].str.casefold().value_counts()
    written = dict(zip(cells.str.casefold()[::-1], cells[::-1], strict=True))
    for folded, count in counts.sort_index().sort_values(ascending=False, kind="stable").items():
        word = str(written[str(folded)])
        if _is_ours(word, column, parts):
            continue
        meaning, sure, by = _meaning(word, column, words)
        if column.name == "kit" and not meaning:
            continue
        if not column.codes and parts and squeeze(meaning) not in {*parts, "none"}:
            meaning = ""
        if meaning and squeeze(meaning) == squeeze(word):
            continue
        rows = count_of(int(count), "row")
        choices = " / ".join(column.codes) if column.codes else "a part, or none"
        why = f"{rows}, {by}" if meaning else f"{rows}; {choices}"
        yield CodeLine(word=word, meaning=meaning, sure=sure, why=why)


def _is_ours(word: str, column: Column, parts: set[str]) -> bool:
    known = {squeeze(code) for code in column.codes or SIDE_WORDS}
    return squeeze(word) in (known if column.codes else known | parts)


def _meaning(word: str, column: Column, words: Words) -> tuple[str, bool, str]:
    """Give the meaning of a cell, whether it is sure, and by what."""
    folded = word.casefold()
    if column.codes and column.name != "reason":
        if words.codes.get(folded) in column.codes:
            return words.codes[folded], True, "in words.csv"
        near = find_near(word, column.codes)
        return near, False, "spelt nearly so" if near else ""
    if column.name in ("failed_part", "kit") and words.look_up(folded) == [("not", "")]:
        return "none", False, f'"{word}" says none'
    if column.name == "kit":
        return "", False, ""
    read = words.read(word)
    told = read.reason if column.name == "reason" else read.part
    kind = "reason" if column.name == "reason" else "part"
    if told in ("", SEVERAL) or (kind == "reason" and CODE.fullmatch(word)):
        return "", False, ""
    whole = words.holds(folded, kind, told)
    return told, whole, "in words.csv" if whole else f'by "{read.by}"'


def propose_texts(own: Sequence[Guess], words: Words) -> list[TextLine]:
    """Say which columns of free text of the orders may fill what the orders don't say."""
    if own[0].table != "rebuilds":
        return []
    taken = {line.heading for guess in own for line in guess.lines if line.column != "note"}
    lines = []
    for heading in dict.fromkeys(name for guess in own for name in guess.signs):
        told = [guess for guess in own if heading in guess.signs]
        signs = [guess.signs[heading] for guess in told]
        if heading in taken or any(one.is_dates or one.is_numbers for one in signs):
            continue
        cells = pd.concat([_cells(guess, heading) for guess in told], ignore_index=True)
        line = _text_line(heading, tidy_text(cells), told, words)
        if line is not None:
            lines.append(line)
    return lines


def _cells(guess: Guess, heading: str) -> "pd.Series":
    return guess.raw.cells.loc[:, guess.raw.cells.columns == heading].iloc[:, 0].astype(object)


def _text_line(
    heading: str, cells: "pd.Series", told: Sequence[Guess], words: Words
) -> TextLine | None:
    counts = cells[cells.ne("")].value_counts()
    read = {str(text): words.read(str(text)) for text in counts.index}
    parts: dict[str, int] = {}
    reasons = 0
    for text, count in counts.items():
        one = read[str(text)]
        if one.beside and one.part not in ("", SEVERAL):
            parts[one.part] = parts.get(one.part, 0) + int(count)
        reasons += int(count) if one.reason not in ("", SEVERAL) else 0
    targets = []
    if sum(parts.values()) >= WORTH * len(cells):
        targets = [
            name
            for name in ("failed_part", "failure_mode")
            if pd.concat([guess.cells(name) for guess in told]).eq("").mean() > WORTH
        ]
    if not all(guess.heading("reason") for guess in told) and reasons >= WORTH * len(cells):
        targets.append("reason")
    if not targets:
        return None
    named = ", ".join(f"{part} in {count_of(count, 'row')}" for part, count in parts.items())
    example = next((text for text, one in read.items() if one.beside), "")
    like = f', as in "{clip(example)}"' if example else ""
    by = named or f"reasons in {count_of(reasons, 'row')}"
    return TextLine(heading=heading, targets=targets, why=f"{by}{like}")
