"""Make a register of pumps where the export has none that says all that is needed."""

import pandas as pd

from pumplife.records.likeness import score_headings
from pumplife.records.mapping import Guess
from pumplife.records.phrases import count_of
from pumplife.records.tables import TABLES

NEEDED = ("pump_id", "service")
WANTED = (*NEEDED, "site", "location", "size_mm", "fluid_kit", "commissioned_on", "use_per_week")
"""Columns of the register that is made."""


def derive_pumps(guesses: list[Guess]) -> tuple[pd.DataFrame | None, str]:
    """Give a register of the pumps that the export names, with blanks where it is silent.

    Returns
    -------
    tuple of DataFrame or None, and str
        None where the export has a register that says all that is needed; the words that mark
        the line of plant.toml.
    """
    registers = [guess for guess in guesses if guess.table == "pumps"]
    if registers and all(any(guess.heading(name) for guess in registers) for name in NEEDED):
        return None, ""
    owners = registers or [
        guess for guess in guesses if guess.table in ("rebuilds", "readings", "findings")
    ]
    told = [_said_of_pumps(guess) for guess in owners if guess.heading("pump_id")]
    if not told:
        return None, ""
    rows = pd.concat(told, ignore_index=True)
    rows = rows[rows["pump_id"].ne("")]
    pumps = rows.groupby("pump_id", sort=True).agg(_only_word).reset_index()
    pumps = pumps.reindex(columns=[*WANTED, *(c for c in pumps.columns if c not in WANTED)])
    pumps = pumps.fillna("")
    blank = [name for name in NEEDED if pumps[name].eq("").any()]
    labels = ", ".join(guess.raw.source.label for guess in owners if guess.heading("pump_id"))
    mark = f"please fill {' and '.join(blank)} in it" if blank else "please check"
    return pumps, f"{mark}: made from the {count_of(len(pumps), 'pump')} in {labels}"


def _said_of_pumps(guess: Guess) -> pd.DataFrame:
    """Give what a sheet says of its pumps: the columns of pumps, one row per row."""
    if guess.table == "pumps":
        return pd.DataFrame({line.column: guess.cells(line.column) for line in guess.lines})
    cells = guess.raw.cells
    scores = score_headings([str(name) for name in cells.columns])
    taken = {line.heading for line in guess.lines if line.column not in ("pump_id", "location")}
    own = scores[scores["table"].eq("pumps") & scores["column"].isin(WANTED[1:])]
    said = {"pump_id": guess.cells("pump_id")}
    for one in own.to_dict("records"):
        kind = TABLES["pumps"].column(one["column"]).kind
        heading = str(cells.columns[one["place"]])
        if heading not in taken and one["column"] not in said and guess.signs[heading].suits(kind):
            said[one["column"]] = cells.iloc[:, one["place"]].str.strip()
    return pd.DataFrame(said)


def _only_word(cells: "pd.Series") -> str:
    """Give the word that all cells share, or "" where they differ or nobody wrote one."""
    written = cells[cells.notna() & cells.ne("")].unique()
    return str(written[0]) if len(written) == 1 else ""
