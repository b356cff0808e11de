"""Fill cells that nobody wrote from a text that plant.toml declares, by the visible dictionary."""

from collections.abc import Mapping

import pandas as pd

from pumplife.records.audit import AuditLog
from pumplife.records.phrases import clip, count_of, squeeze
from pumplife.records.schema import Table
from pumplife.records.words import SEVERAL, Words

FROM_TEXT = "from_text"
"""The column of rebuilds that says whether a row was read from a text."""
TARGETS = {
    "reason": "reason",
    "failed_part": "part",
    "part": "part",
    "failure_mode": "mode",
    "mode": "mode",
}
"""Columns that may be read from a text, and the kind of word that fills them."""
SOFT = "worn"
"""The mode that is no failure where the work was planned."""


def read_texts(
    cells: pd.DataFrame,
    texts: Mapping[str, list[str]],
    table: Table,
    words: Words,
    log: AuditLog,
) -> "pd.Series[bool]":
    """Fill the blank cells of columns from the texts that plant.toml declares, in place.

    A part is taken from a text only beside a word that says how it failed, and worn parts only on
    breakdowns. A text that names several parts fills nothing. A column declared as its own text
    is read word by word where it isn't ours already.

    Parameters
    ----------
    cells : DataFrame
        Tidied cells under our headings.
    texts : mapping
        Column of text to the columns that it fills: [text.rebuilds] of plant.toml.
    table : Table
        The table.
    words : Words
        The dictionary.
    log : AuditLog
        Gets one row per wording and meaning, with its count.

    Returns
    -------
    Series of bool
        The rows in which a cell was filled.
    """
    told = pd.Series(False, index=cells.index)
    for source, targets in texts.items():
        if source not in cells:
            _log_missing(source, table, log)
            continue
        said = _say(cells[source], words)
        for target in sorted(targets, key=list(TARGETS).index):
            if target not in cells:
                cells[target] = ""
            filled = _fitting(cells, said, target, own=target == source)
            new = said[TARGETS[target]]
            _log_filled(cells, said[filled].assign(new=new[filled]), (source, target), table, log)
            cells[target] = cells[target].mask(filled, new)
            told |= filled
        _log_several(cells[source], said, source, table, log)
    return told


def _say(texts: "pd.Series", words: Words) -> pd.DataFrame:
    """Give what each text tells: part, mode, reason, beside, by."""
    place, spellings = pd.factorize(texts)
    meanings = [words.read(str(text)) for text in spellings]
    names = ("part", "mode", "reason", "beside", "by")
    told = pd.DataFrame({name: [getattr(one, name) for one in meanings] for name in names})
    return told.iloc[place].set_axis(texts.index)


def _fitting(
    cells: pd.DataFrame, said: pd.DataFrame, target: str, *, own: bool
) -> "pd.Series[bool]":
    """Say which cells of a column are filled from the text."""
    new = said[TARGETS[target]]
    fits = new.ne("") & new.ne(SEVERAL)
    if own:
        return fits & cells[target].ne("") & cells[target].map(squeeze).ne(new.map(squeeze))
    fits &= cells[target].eq("")
    if TARGETS[target] == "part":
        broke = _written(cells, "reason").map(squeeze).eq("breakdown")
        fits &= said["beside"] & (said["mode"].ne(SOFT) | broke)
    if TARGETS[target] == "mode":
        blamed = _written(cells, "failed_part" if "failed_part" in cells else "part")
        fits &= blamed.map(squeeze).eq(said["part"].map(squeeze))
    return fits


def _written(cells: pd.DataFrame, name: str) -> "pd.Series":
    return cells[name] if name in cells else pd.Series("", index=cells.index, dtype=object)


def _log_missing(source: str, table: Table, log: AuditLog) -> None:
    log.add(
        "caution",
        f'plant.toml: [text.{table.name}] names the column "{source}", which the file lacks.',
        rule="text_column",
        table=table.name,
        consequence="No text is read.",
        remedy="Correct the heading in [text], or take the line out.",
    )


def _log_filled(
    cells: pd.DataFrame, said: pd.DataFrame, names: tuple[str, str], table: Table, log: AuditLog
) -> None:
    """Add one row per wording and meaning, with its count and an example."""
    source, target = names
    examples = cells.loc[said.index, source]
    grouped = said.assign(text=examples, rows=1).groupby(["by", "new"], as_index=False)
    for one in grouped.agg(rows=("rows", "sum"), text=("text", "first")).to_dict("records"):
        log.add(
            "caution",
            f'{target} "{one["new"]}" was read from the words "{one["by"]}" in {source} in '
            f'{count_of(one["rows"], "row")}, as in "{clip(one["text"])}".',
            rule="read_from_text",
            table=table.name,
            consequence="Used with an assumption.",
            remedy=f"Write {target} in the source, or correct the word in words.csv of the plant.",
        )


def _log_several(
    texts: "pd.Series", said: pd.DataFrame, source: str, table: Table, log: AuditLog
) -> None:
    doubtful = said["part"].eq(SEVERAL) & said["beside"]
    if not bool(doubtful.any()):
        return
    log.add(
        "note",
        f"{source} names several parts in {count_of(int(doubtful.sum()), 'row')}, as in "
        f'"{clip(texts[doubtful].iloc[0])}".',
        rule="text_of_several",
        table=table.name,
        consequence="Nothing is read from these texts.",
        remedy="Write failed_part in the source where one part failed.",
    )
