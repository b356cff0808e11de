"""Words for findings: counts with their noun, near spellings, lines for plant.toml."""

import functools
import json
import re
from collections.abc import Iterable, Sequence

from rapidfuzz import fuzz, process

NEAR = 0.75
"""Likeness from which one spelling is taken for another (1 = the same letters)."""
MANY = 8
"""Most names that a sentence lists."""
LONG = 60
"""Most letters of a cell that a sentence repeats."""


@functools.lru_cache(maxsize=4096)
def squeeze(word: str) -> str:
    """Fold case and drop spaces, underscores and hyphens: how names are matched."""
    return re.sub(r"[\s_\-]+", "", word).casefold()


def clip(word: str) -> str:
    """Give the beginning of a long cell."""
    return word if len(word) <= LONG else f"{word[:LONG]}..."


def count_of(number: int, noun: str) -> str:
    """Give a number with its noun, in the plural where it isn't 1."""
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"


def with_article(noun: str) -> str:
    """Give a noun with its "a" or "an"."""
    return f"an {noun}" if noun[:1].casefold() in set("aeiou") else f"a {noun}"


def count_are(number: int, noun: str) -> str:
    """Give a number with its noun and the verb to be."""
    return f"{count_of(number, noun)} {'is' if number == 1 else 'are'}"


def find_near(word: str, known: Iterable[str], *, likeness: float = NEAR) -> str:
    """Give the known word that is spelt nearest, or "" where none is near.

    Case, blanks, hyphens and underscores don't matter.

    Parameters
    ----------
    word : str
        As the plant wrote it.
    known : iterable of str
        What it may mean.
    likeness : float
        Least share of letters in common [1].
    """
    bare = {squeeze(name): name for name in known}
    near = process.extractOne(
        squeeze(word[: 4 * LONG]), list(bare), scorer=fuzz.ratio, score_cutoff=100.0 * likeness
    )
    return bare[near[0]] if near else ""


def list_some(names: Sequence[str], first: str = "", most: int = MANY) -> str:
    """List up to `most` names, one of them first; say where there are more."""
    ordered = [*(name for name in names if name == first), *(n for n in names if n != first)]
    more = ", ..." if len(ordered) > most else ""
    return ", ".join(clip(str(name)) for name in ordered[:most]) + more


def mapping_line(column: str, word: str, choices: Sequence[str]) -> str:
    """Give the line of plant.toml that says what a word means.

    One meaning is suggested only where it is the only one or spelt nearly alike; else all are
    listed.

    Parameters
    ----------
    column : str
        Table and column, as in rebuilds.reason.
    word : str
        The plant's word.
    choices : sequence of str
        What it may mean.
    """
    line = f"[codes.{column}] {json.dumps(clip(word), ensure_ascii=False)} ="
    if len(choices) == 1:
        return f'{line} "{choices[0]}"'
    near = find_near(word, choices)
    listed = f"one of {list_some(choices, near)}"
    return f'{line} "{near}" ({listed})' if near else f"{line} {listed}"
