"""The visible dictionary by which free text is read: words.csv here, and the plant's own."""

import io
import re
import unicodedata
from dataclasses import dataclass, field
from importlib.resources import files
from pathlib import Path

import pandas as pd
from rapidfuzz.distance import OSA

from pumplife.errors import RecordError
from pumplife.records.audit import AuditLog
from pumplife.records.grids import read_source
from pumplife.records.sources import Source

KINDS = ("part", "mode", "reason", "not", "other", "code")
"""What a word may say: which part, how it failed, why the pump was opened, that nothing is the
matter, that something else is meant, or which code a whole cell is."""
GENERAL = "failed"
"""The mode that says only that something failed."""
SLIPS = ((9, 2), (6, 1))
"""Words of so many letters may have so many wrong, missing, added or exchanged letters."""
SEVERAL = "?"
"""Stands where a text says more than one thing."""
_BREAK = re.compile(r"[,;:()!?+/|\n]|\.(?=\s|$)|\s-\s")
_TOKEN = re.compile(r"[^\W\d_]+(?:['’-][^\W\d_]+)*")


@dataclass(frozen=True, slots=True, kw_only=True)
class Meaning:
    """What a text says.

    Attributes
    ----------
    part, mode, reason : str
        Ours; "" = not said, `SEVERAL` = more than one.
    beside : bool
        The part stands beside a word that says how it failed.
    by : str
        The words by which it was read.
    """

    part: str = ""
    mode: str = ""
    reason: str = ""
    beside: bool = False
    by: str = ""


@dataclass(slots=True, eq=False)
class Words:
    """A dictionary ready to read with.

    Attributes
    ----------
    file : Path or None
        The plant's own words, where it has any.
    whole, starts, ends : dict
        Word, beginning or end of a word to (kind, meaning); words of several parts are whole.
    codes : dict
        Whole cells to the codes that they may be.
    """

    file: Path | None = None
    whole: dict[str, tuple[str, str]] = field(default_factory=dict)
    starts: dict[str, tuple[str, str]] = field(default_factory=dict)
    ends: dict[str, tuple[str, str]] = field(default_factory=dict)
    codes: dict[str, str] = field(default_factory=dict)
    _known: dict[str, list[tuple[str, str]]] = field(default_factory=dict)
    _initials: dict[str, list[tuple[str, bool]]] = field(default_factory=dict)

    def __repr__(self) -> str:
        return f"Words({len(self.whole) + len(self.starts) + len(self.ends)} words)"

    def add(self, word: str, kind: str, meaning: str) -> None:
        """Add a word; a later one replaces an earlier one. Accents may be left out."""
        self._known.clear()
        bare = " ".join(word.casefold().split())
        for spelling in {bare, _plain(bare)}:
            if kind == "code":
                self.codes[spelling] = meaning
                continue
            shelf = self.whole
            if spelling.endswith("*"):
                shelf = self.starts
            elif spelling.startswith("*"):
                shelf = self.ends
            key = spelling.strip("*")
            shelf[key] = (kind, meaning)
            if shelf is not self.ends and len(key) >= SLIPS[-1][0] and " " not in key:
                self._initials.setdefault(key[0], []).append((key, shelf is self.starts))

    def holds(self, word: str, kind: str, meaning: str) -> bool:
        """Say whether a word stands in the dictionary as it is."""
        return (kind, meaning) in (self.whole.get(word), self.starts.get(word))

    def look_up(self, token: str) -> list[tuple[str, str]]:
        """Give kind and meaning of a word; two for a compound of two known words."""
        if token not in self._known:
            found = self._exact(token)
            self._known[token] = found or self._near(token)
        return self._known[token]

    def _exact(self, token: str) -> list[tuple[str, str]]:
        if token in self.whole:
            return [self.whole[token]]
        cuts = range(len(token), 2, -1)
        start = next((self.starts[token[:n]] for n in cuts if token[:n] in self.starts), None)
        end = next((self.ends[token[-n:]] for n in cuts if token[-n:] in self.ends), None)
        return list(dict.fromkeys(one for one in (start, end) if one))

    def _near(self, token: str) -> list[tuple[str, str]]:
        """Take a word with a slip of the pen for the only known word that is as near."""
        best: dict[tuple[str, str], int] = {}
        for key, begins in self._initials.get(token[:1], []):
            allowed = _slips(min(len(token), len(key)))
            if allowed:
                word = token[: len(key)] if begins else token
                far = OSA.distance(word, key, score_cutoff=allowed)
                if far <= allowed:
                    meaning = (self.starts if begins else self.whole)[key]
                    best[meaning] = min(far, best.get(meaning, far))
        nearest = [meaning for meaning, far in best.items() if far == min(best.values())]
        return nearest if len(nearest) == 1 else []

    def read(self, text: str) -> Meaning:
        """Say what a text tells.

        The text is cut into clauses at punctuation. A clause that holds a word of kind "not" or
        "other" tells nothing. A clause that only names parts belongs to the next one.
        """
        parts, beside, modes, reasons, by = [], [], [], [], []
        waiting: list[str] = []
        for clause in _BREAK.split(text.casefold().replace("n.i.o.", "nio").replace("i.o.", "io")):
            said, words, others = self._clause(clause)
            if "not" in said or "other" in said:
                waiting = []
                continue
            mine = waiting + said.get("part", [])
            bare = bool(said.get("part")) and not others and "mode" not in said
            waiting = mine if bare else []
            if "mode" in said:
                beside += mine
                modes += said["mode"] if mine else []
            parts += mine
            reasons += said.get("reason", [])
            by += words
        return Meaning(
            part=_only(beside or parts),
            mode=_only([mode for mode in modes if mode != GENERAL] or modes),
            reason=_only(reasons),
            beside=bool(beside),
            by=" ".join(dict.fromkeys(by)),
        )

    def _clause(self, clause: str) -> tuple[dict[str, list[str]], list[str], bool]:
        """Give the meanings by kind, the words that gave them, and whether it holds others."""
        tokens = _TOKEN.findall(clause)
        said: dict[str, list[str]] = {}
        words, others, place = [], False, 0
        while place < len(tokens):
            length, found = self._longest(tokens, place)
            for kind, meaning in found:
                said.setdefault(kind, []).append(meaning)
            if found:
                words.append(" ".join(tokens[place : place + length]))
            others |= not found
            place += length
        return said, words, others

    def _longest(self, tokens: list[str], place: int) -> tuple[int, list[tuple[str, str]]]:
        for length in (3, 2):
            phrase = " ".join(tokens[place : place + length])
            if len(tokens) - place >= length and phrase in self.whole:
                return length, [self.whole[phrase]]
        return 1, self.look_up(tokens[place])


def _slips(letters: int) -> int:
    return next((slips for least, slips in SLIPS if letters >= least), 0)


def _only(told: list[str]) -> str:
    different = list(dict.fromkeys(told))
    return "" if not different else different[0] if len(different) == 1 else SEVERAL


def _plain(word: str) -> str:
    """Leave out accents."""
    spread = unicodedata.normalize("NFKD", word)
    return "".join(letter for letter in spread if not unicodedata.combining(letter))


def read_words(path: Path | None = None, log: AuditLog | None = None) -> Words:
    """Read the package's words, and those of a plant over them.

    Parameters
    ----------
    path : Path or None
        A plant folder, or a workbook beside which the words lie.
    log : AuditLog or None
        Gets a note on the plant's own words.

    Raises
    ------
    RecordError
        When a row of the plant's words can't be used.
    FolderError
        When its file can't be read.
    """
    words = Words()
    data = files("pumplife.records").joinpath("words.csv").read_text(encoding="utf-8")
    built_in = pd.read_csv(io.StringIO(data), dtype=str, keep_default_na=False)
    for word, kind, meaning in built_in[["word", "kind", "meaning"]].itertuples(index=False):
        words.add(word, kind, meaning)
    folder = path.parent if path is not None and path.is_file() else path
    if folder is not None and (folder / "words.csv").is_file():
        _add_own(words, folder / "words.csv", log)
    return words


def _add_own(words: Words, file: Path, log: AuditLog | None) -> None:
    raw = read_source(Source(table="words", path=file), {"language", "word", "kind", "meaning"})
    cells = raw.cells.rename(columns=lambda name: name.strip().casefold())
    missing = [name for name in ("word", "kind", "meaning") if name not in cells]
    if missing and len(cells.columns):
        raise RecordError(
            f"{file.name} has no column {missing[0]}: its headings are language, word, kind and "
            "meaning. Add the column."
        )
    for row, cell in zip(raw.row, cells.to_dict("records"), strict=True):
        word, kind, meaning = (str(cell[name]).strip() for name in ("word", "kind", "meaning"))
        if (
            not word
            or kind not in KINDS
            or (not meaning and kind in ("part", "mode", "reason", "code"))
        ):
            raise RecordError(
                f'{file.name} row {row}: the word "{word}" of kind "{kind}" and meaning '
                f'"{meaning}" can\'t be used. A kind is one of {", ".join(KINDS)}; part, mode, '
                "reason and code need a meaning. Correct the row."
            )
        words.add(word, kind, meaning)
    words.file = file
    if log is not None:
        log.add(
            "note",
            f"{len(cells)} words of the plant's own were read from {file.name}.",
            rule="own_words",
            consequence="They stand before the words of the same spelling that pumplife has.",
        )
