"""How alike a plant's headings and file names are to ours, by headings.csv in several languages."""

import io
import re
import unicodedata
from functools import lru_cache
from importlib.resources import files

import numpy as np
import pandas as pd
from rapidfuzz import fuzz, process

from pumplife.records.tables import TABLES

SURE, NEAR = 95.0, 84.0
"""Likeness from which a heading is ours, and from which it may be [of 100]."""
SHORT = 4
"""Headings of so few letters are ours only when spelt alike."""


def fold(word: str) -> str:
    """Leave out accents, units in brackets, case and all but letters and digits."""
    bare = re.sub(r"[\[(].*?[\])]", " ", word)
    spread = unicodedata.normalize("NFKD", bare.replace("ß", "ss"))
    plain = "".join(letter for letter in spread if not unicodedata.combining(letter))
    return " ".join(re.findall(r"[a-z0-9]+", plain.casefold().replace("_", " ")))


@lru_cache(maxsize=1)
def known_headings() -> pd.DataFrame:
    """Give every heading that is known: table ("" = any), column ("" = the table's name), heading
    as written, folded."""
    data = files("pumplife.records").joinpath("headings.csv").read_text(encoding="utf-8")
    listed = pd.read_csv(io.StringIO(data), dtype=str, keep_default_na=False)
    own = [
        ("ours", table.name, column.name, column.name)
        for table in TABLES.values()
        for column in table.columns
    ]
    names = [("ours", name, "", name) for name in TABLES]
    ours = pd.DataFrame([*own, *names], columns=["language", "table", "column", "heading"])
    known = pd.concat([ours, listed], ignore_index=True)
    return known.assign(folded=known["heading"].map(fold))


def score_headings(words: list[str]) -> pd.DataFrame:
    """Say how alike headings are to each column of each table.

    Parameters
    ----------
    words : list of str
        The plant's headings.

    Returns
    -------
    DataFrame
        place (in `words`), table, column, score [of 100] and like (the heading it is like): the
        best likeness of each heading to each column, from `NEAR` up.
    """
    known = known_headings()
    known = known[known["column"].ne("")].reset_index(drop=True)
    alike = _likeness(words, known["folded"].to_list())
    same = alike.max(axis=1, keepdims=True) == 100.0
    alike = np.where(same & (alike < 100.0), 0.0, alike)
    place, row = np.nonzero(alike >= NEAR)
    found = known.iloc[row][["table", "column", "heading"]].assign(
        place=place, score=alike[place, row]
    )
    general = found[found["table"].eq("")].drop(columns="table")
    owners = pd.DataFrame(
        [(table.name, column) for table in TABLES.values() for column in table.headings],
        columns=["table", "column"],
    )
    whole = pd.concat([found[found["table"].ne("")], general.merge(owners, on="column")])
    best = whole.sort_values("score", ascending=False, kind="stable")
    best = best.drop_duplicates(["place", "table", "column"])
    return best.rename(columns={"heading": "like"}).reset_index(drop=True)


def score_table_name(word: str) -> dict[str, float]:
    """Say how alike a file's or sheet's name is to each table [of 100]."""
    known = known_headings()
    known = known[known["column"].eq("")]
    alike = np.array([fuzz.token_set_ratio(_no_digits(word), folded) for folded in known["folded"]])
    best = pd.Series(alike).groupby(known["table"].to_numpy()).max()
    return {str(name): float(score) for name, score in best.items()}


def _no_digits(word: str) -> str:
    return " ".join(re.findall(r"[a-z]+", fold(word)))


def _likeness(words: list[str], known: list[str]) -> np.ndarray:
    folded = [fold(word) for word in words]
    spelt = process.cdist(folded, known, scorer=fuzz.ratio)
    joined = process.cdist(
        [word.replace(" ", "") for word in folded],
        [word.replace(" ", "") for word in known],
        scorer=fuzz.ratio,
    )
    shuffled = process.cdist(folded, known, scorer=fuzz.token_sort_ratio)
    alike = np.maximum(np.maximum(spelt, joined), shuffled).astype(float)
    short = np.array([len(word) <= SHORT for word in known])
    return np.where(short[None, :] & (alike < 100.0), 0.0, alike)
