"""An older study as its output folder holds it: answers, inputs, versions and seed."""

from __future__ import annotations

import json
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pandas as pd

from pumplife.errors import ComparisonError
from pumplife.records.inputs import NAME, read_inputs
from pumplife.records.read import Written
from pumplife.records.versions import MADE_BY
from pumplife.since.answers import ANSWERS, list_answers


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Kept:
    """An older study.

    Attributes
    ----------
    folder : Path
        Where it stands.
    seed : int
        Of its random draws.
    versions : dict of str
        Of Python, the libraries and pumplife, by name.
    written : Written
        What it read, read again.
    answers : Series
        What it answered, see `list_answers`.
    """

    folder: Path
    seed: int
    versions: dict[str, str] = field(repr=False)
    written: Written
    answers: pd.Series[str] = field(repr=False)

    def __repr__(self) -> str:
        return f"Kept({str(self.folder)!r}, {len(self.answers)} answers)"


def open_kept(folder: Path, seed: int | None = None) -> Kept:
    """Open the output folder of an older study.

    Parameters
    ----------
    folder : Path
        As `write_study` made it.
    seed : int, optional
        The seed asked for today, which must be its own.

    Raises
    ------
    ComparisonError
        When it is no such folder, its inputs weren't kept or it has no answers.
    """
    made = _read_settings(folder)
    if not (folder / NAME).is_file():
        why = made.get("inputs_not_kept") or "an older version of pumplife made it"
        raise ComparisonError(
            f"The study in {folder} holds no copy of what it read ({why}), so causes can't be told "
            "apart. Run a study on today's records without --since; the next one can be compared "
            "with it."
        )
    if seed not in (None, made["seed"]):
        raise ComparisonError(
            f"The study in {folder} was made with seed {made['seed']}, and seed {seed} is asked "
            "for today: leave the seed away, so that no answer changes by chance."
        )
    tables = {name: _read_table(folder, name) for name in ANSWERS}
    written = read_inputs(
        folder / NAME,
        made["inputs"],
        str(made.get("read_from", "")),
        costs=made["settings"].get("costs"),  # those that came with the call among them
    )
    if tables["intervals"].empty:
        raise ComparisonError(
            f"The study in {folder} gives no intervals: there is nothing to compare with. Compare "
            "with another study, or leave --since away."
        )
    return Kept(
        folder=folder,
        seed=int(made["seed"]),
        versions=made["versions"],
        written=written,
        answers=list_answers(tables),
    )


def _read_settings(folder: Path) -> dict[str, Any]:
    try:
        made = json.loads((folder / "study.json").read_text(encoding="utf-8"))
    except (OSError, ValueError):
        made = None
    if not isinstance(made, dict) or made.get("made_by") != MADE_BY:
        raise ComparisonError(
            f"{folder} is no folder that a study has written: name one that holds study.json, or "
            "leave --since away."
        )
    return made


def _read_table(folder: Path, name: str) -> pd.DataFrame:
    file = folder / "tables" / f"{name}.csv"
    try:
        return pd.read_csv(file, dtype=str, keep_default_na=False, encoding="utf-8")
    except FileNotFoundError:
        return pd.DataFrame()
    except (OSError, ValueError) as problem:
        raise ComparisonError(
            f"{file} can't be read: compare with another study, or leave --since away."
        ) from problem
