"""Questions that only the plant's engineer can settle: how one is named and what it is about."""

from collections.abc import Iterable

import pandas as pd

from pumplife.records.schema import Table, date, text

SKIP = "skip"
"""The answer that leaves things as they are and asks no more."""
QUESTION_COLUMNS = (
    "question",
    "kind",
    "pump_id",
    "table",
    "row",
    "what",
    "choices",
    "consequence",
)

DECISIONS = Table(
    name="decisions",
    meaning="one row per question of the study that you have settled; it is applied on every run "
    "and the other files stay as they are",
    key=("question",),
    columns=(
        text("question", "copied from the table questions", required=True),
        text("answer", "one of its choices; skip = leave it as it is, ask no more", required=True),
        text("decided_by", "who settled it"),
        date("decided_on", "when"),
        text("note", "why"),
    ),
)


def question_ids(kind: str, *parts: Iterable[object]) -> list[str]:
    """Name questions by their content: kind and what it is about, with | between.

    Parameters
    ----------
    kind : str
        See `decisions.KINDS`.
    *parts : iterable
        One column of words for each thing that tells one question from another.
    """
    return ["|".join((kind, *map(_bare, cells))) for cells in zip(*parts, strict=True)]


def _bare(cell: object) -> str:
    return str(cell).strip().replace("%", "%25").replace("|", "%7C")


def question_parts(question: str) -> list[str]:
    """Give kind and what a question is about from its id."""
    cells = question.strip().split("|")
    return [cell.strip().replace("%7C", "|").replace("%25", "%") for cell in cells]


def blank_questions() -> pd.DataFrame:
    """Give the table of questions without rows."""
    return pd.DataFrame({name: pd.Series([], dtype=object) for name in QUESTION_COLUMNS})
