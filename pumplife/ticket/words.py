"""The words of the ticket, in the plant's language; a plant may change any of them."""

import csv
from importlib.resources import files
from pathlib import Path

from pumplife.errors import SettingError
from pumplife.ticket.cautions import CAUTIONS, CAUTIONS_TITLE

USUAL = "en"
OWN_WORDS = "ticket_words.csv"
"""The plant's own words, in its folder: columns key and words."""


def load_words(language: str = USUAL, folder: Path | None = None) -> dict[str, str]:
    """Give every word of the ticket by its key.

    Parameters
    ----------
    language : str
        A column of words.csv, [ticket] language in plant.toml.
    folder : Path, optional
        The plant folder; its ticket_words.csv, if there is one, goes before.

    Returns
    -------
    dict
        Where a language lacks a word the English one stands.

    Raises
    ------
    SettingError
        When there is no such language, or the plant's own list has other columns or unknown keys.
    """
    text = files("pumplife.ticket").joinpath("words.csv").read_text(encoding="utf-8")
    rows = list(csv.DictReader(text.splitlines()))
    languages = [name for name in rows[0] if name != "key"]
    if language not in languages:
        raise SettingError(
            f'plant.toml: [ticket] language = "{language}" is none of {", ".join(languages)}. '
            f"Choose one, and write your own words into {OWN_WORDS}."
        )
    english = {row["key"]: row[USUAL] for row in rows} | {"cautions_title": CAUTIONS_TITLE}
    english |= {f"caution_{place}": caution for place, caution in enumerate(CAUTIONS, start=1)}
    words = english | {row["key"]: row[language] for row in rows if row[language]}
    return words | (_own_words(folder / OWN_WORDS, set(words)) if folder else {})


def _own_words(path: Path, known: set[str]) -> dict[str, str]:
    if not path.is_file():
        return {}
    rows = list(csv.DictReader(path.read_text(encoding="utf-8-sig").splitlines()))
    if not rows or set(rows[0]) != {"key", "words"}:
        raise SettingError(f"{path.name} needs two columns, key and words, separated by a comma.")
    strange = sorted({str(row["key"]) for row in rows} - known)
    if strange:
        raise SettingError(
            f"{path.name} has keys that the ticket doesn't know: {', '.join(strange[:5])}. "
            "Remove them or correct their spelling."
        )
    return {str(row["key"]): str(row["words"]) for row in rows}
