"""Questions that only the plant's engineer can settle: how one is named and what it is about."""

from collections.abc import Iterable

import pandas as pd

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
    return str(cell).strip().replace("|", "/")


def blank_questions() -> pd.DataFrame:
    """Give the table of questions without rows."""
    return pd.DataFrame({name: pd.Series([], dtype=object) for name in QUESTION_COLUMNS})
