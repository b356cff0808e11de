"""Write each name in one way throughout the tables."""

from collections.abc import Callable

import pandas as pd

from pumplife.records.audit import AuditLog
from pumplife.records.phrases import squeeze
from pumplife.records.tables import SIDE_WORDS

Tables = dict[str, pd.DataFrame]

VOCABULARIES = {
    "site or store": "pumps.site moves.site events.site spend.site pumps.store moves.store "
    "on_hand.store on_order.store issued.store",
    "service": "pumps.service moves.service compatibility.service adopted.service plan.service "
    "events.service trials.service",
    "location": "pumps.location moves.location rebuilds.location readings.location issued.location",
    "item": "kits.kit parts.part_no kit_contents.kit kit_contents.part_no pumps.fluid_kit "
    "pumps.air_kit rebuilds.kit issued.item on_hand.item on_order.item findings.part_no "
    "adopted.kit kits.superseded_by parts.superseded_by",
    "material": "parts.material kits.material findings.material compatibility.material "
    "trials.material trials.reference",
    "variant": "parts.variant kits.variant findings.variant trials.variant",
    "pair": "trial_pumps.pair",
    "part": "parts.part findings.part rebuilds.failed_part compatibility.part trials.part",
}
"""Columns that share their words, as table.column; the leading one first."""


def settle_spellings(tables: Tables, log: AuditLog) -> None:
    """Write each name in one way wherever only case or white space differs.

    The spelling used most in the leading column wins; parts are written in lower case, and
    hyphens, blanks and underscores in them don't matter.

    Parameters
    ----------
    tables : dict of DataFrame
        Changed in place.
    log : AuditLog
        Gets a note for every spelling that was changed.
    """
    for subject, listed in VOCABULARIES.items():
        listed_in = (place.split(".") for place in listed.split())
        places = [(name, column) for name, column in listed_in if len(tables[name])]
        fold = squeeze if subject == "part" else str.casefold
        chosen = _choose(tables, places, fold)
        if subject == "part":
            chosen = {key: word.lower() for key, word in chosen.items()}
        if subject in ("part", "item"):
            chosen |= {fold(word): word for word in SIDE_WORDS}
        for name, column in places:
            changed = _respell(tables, name, column, chosen, fold)
            if subject != "part":
                note_spellings(changed, name, column, log)


def _choose(
    tables: Tables, places: list[tuple[str, str]], fold: Callable[[str], str]
) -> dict[str, str]:
    """Pick the spelling of each folded word: the most frequent, in the earliest column."""
    chosen: dict[str, str] = {}
    for name, column in places:
        words = tables[name][column]
        counts = words.value_counts()
        counts = counts[counts.index != ""].sort_index()
        for word in counts.sort_values(ascending=False, kind="stable").index:
            chosen.setdefault(fold(str(word)), str(word))
    return chosen


def _respell(
    tables: Tables, name: str, column: str, chosen: dict[str, str], fold: Callable[[str], str]
) -> dict[str, str]:
    """Change the spellings of a column; give old and new of those that changed."""
    cells = tables[name][column]
    settled = {word: chosen.get(fold(word), word) for word in cells.unique()}
    changed = {old: new for old, new in settled.items() if old != new}
    if changed:
        tables[name] = tables[name].assign(**{column: cells.map(settled)})
    return changed


def note_spellings(changed: dict[str, str], name: str, column: str, log: AuditLog) -> None:
    """Say which words of a table's column are read as others, old to new."""
    for old, new in sorted(changed.items()):
        if new not in SIDE_WORDS:
            log.add(
                "note",
                f'{name}.{column}: "{old}" is read as "{new}".',
                rule="spelling",
                table=name,
                remedy="Write it in one way in the source.",
            )
