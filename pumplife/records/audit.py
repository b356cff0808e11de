"""What was found wrong, doubtful or worth knowing in the records: one row each."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from pumplife.records.questions import QUESTION_COLUMNS, blank_questions

AUDIT_COLUMNS = (
    "severity",
    "table",
    "row",
    "pump_id",
    "rule",
    "what",
    "consequence",
    "remedy",
    "file",
)
SEVERITIES = ("stop", "caution", "note")
LONGEST = 1500
"""Most letters of a sentence."""
SET_ASIDE = "The row is set aside."
"""The consequence that leaves a row out."""


@dataclass(slots=True, eq=False)
class AuditLog:
    """Collects audit rows while records are read and used; a part has one rule and severity."""

    _parts: list[pd.DataFrame] = field(default_factory=list)
    _of_files: set[str] = field(default_factory=set)
    _asked: list[pd.DataFrame] = field(default_factory=list)

    def __repr__(self) -> str:
        return f"AuditLog({sum(len(part) for part in self._parts)} rows)"

    def without_rows(self) -> "AuditLog":
        """Give a new log that names files as this one does."""
        return AuditLog(_of_files=set(self._of_files))

    def take(self, other: "AuditLog") -> None:
        """Add all that another log has, behind what this one has."""
        self._parts += other._parts
        self._of_files |= other._of_files
        self._asked += other._asked

    def name_files(self, table: str) -> None:
        """From now on name the file of every row of a table that is written in several files."""
        self._of_files.add(table)

    def add(
        self,
        severity: str,
        what: str,
        *,
        rule: str,
        table: str = "",
        row: int | None = None,
        pump_id: str = "",
        consequence: str = "",
        remedy: str = "",
    ) -> None:
        """Add one row.

        Parameters
        ----------
        severity : str
            stop, caution or note.
        what : str
            The finding, as a sentence.
        rule : str
            A short name of the check.
        table, row, pump_id : str, int, str
            Where it was found; `row` as a spreadsheet shows it.
        consequence, remedy : str
            What pumplife did about it, and what to do.
        """
        words = (_cut(what), consequence, _cut(remedy))
        cells = (_known(severity), table, row, pump_id, rule, *words, "")
        self._append({name: [cell] for name, cell in zip(AUDIT_COLUMNS, cells, strict=True)})

    def add_rows(
        self,
        frame: pd.DataFrame,
        *,
        severity: str,
        rule: str,
        what: str | Sequence[str],
        table: str = "",
        consequence: str | Sequence[str] = "",
        remedy: str | Sequence[str] = "",
    ) -> None:
        """Add one row per row of `frame`, which may carry `row`, `pump_id` and `file`.

        The file is kept, and named in the sentence, where the table is written in several.

        Parameters
        ----------
        frame : DataFrame
            The rows concerned.
        what, consequence, remedy : str or sequence of str
            One sentence for all, or one for each row.
        severity, rule, table : str
            As in `add`.
        """
        if frame.empty:
            return
        count, files = len(frame), self._files(frame, table)
        self._append(
            {
                "severity": [_known(severity)] * count,
                "table": [table] * count,
                "row": list(frame["row"]) if "row" in frame else [None] * count,
                "pump_id": list(frame["pump_id"]) if "pump_id" in frame else [""] * count,
                "rule": [rule] * count,
                "what": [
                    _with_file(*pair) for pair in zip(_spread(what, count), files, strict=True)
                ],
                "consequence": _spread(consequence, count),
                "remedy": _spread(remedy, count),
                "file": files,
            }
        )

    def _files(self, frame: pd.DataFrame, table: str) -> list[str]:
        """Name the file of each row, "" where the table is written in one."""
        if table in self._of_files and "file" in frame:
            return [str(file) for file in frame["file"]]
        return [""] * len(frame)

    def places(self, rows: pd.DataFrame, table: str) -> pd.MultiIndex:
        """Give file and row of rows of a table, as the audit names them."""
        file = pd.Series(self._files(rows, table), dtype=object)
        return pd.MultiIndex.from_arrays([file, rows["row"].astype(np.int64)])

    def rows_of(self, rules: Iterable[str]) -> pd.DataFrame:
        """Give the rows of some checks, each once, in the order in which they were added."""
        wanted = set(rules)
        parts = [part for part in self._parts if part["rule"].iloc[0] in wanted]
        if not parts:
            return _typed({name: [] for name in AUDIT_COLUMNS})
        return pd.concat(parts, ignore_index=True).drop_duplicates(ignore_index=True)

    def frame(self) -> pd.DataFrame:
        """Give all rows: stops first, then cautions, then notes, each once.

        Returns
        -------
        DataFrame
            The columns of `AUDIT_COLUMNS`; `row` is a nullable integer.
        """
        if not self._parts:
            return _typed({name: [] for name in AUDIT_COLUMNS})
        rows = pd.concat(self._parts, ignore_index=True).drop_duplicates()
        rank = rows["severity"].map({name: i for i, name in enumerate(SEVERITIES)})
        return rows.loc[rank.sort_values(kind="stable").index].reset_index(drop=True)

    def ask(self, frame: pd.DataFrame, *, consequence: str) -> None:
        """Put questions to the engineer, one per row of `frame`.

        Parameters
        ----------
        frame : DataFrame
            table, row, pump_id, what, question (its id, see `questions.question_ids`) and
            choices.
        consequence : str
            What holds until it is answered.
        """
        if len(frame):
            self._asked.append(frame.assign(consequence=consequence))

    def questions(self) -> pd.DataFrame:
        """Give every question asked, each once: `questions.QUESTION_COLUMNS`."""
        if not self._asked:
            return blank_questions()
        asked = pd.concat(self._asked, ignore_index=True).drop_duplicates("question")
        asked = asked.assign(kind=asked["question"].str.partition("|")[0])
        return asked[list(QUESTION_COLUMNS)].reset_index(drop=True)

    @property
    def has_stop(self) -> bool:
        """Whether any row is a stop."""
        return any(part["severity"].iloc[0] == "stop" for part in self._parts)

    def has_rule(self, rule: str) -> bool:
        """Say whether any row is of that check."""
        return any(part["rule"].iloc[0] == rule for part in self._parts)

    def _append(self, columns: Mapping[str, Sequence[object]]) -> None:
        self._parts.append(_typed(columns))


def _known(severity: str) -> str:
    if severity not in SEVERITIES:
        raise ValueError(f"severity is one of {', '.join(SEVERITIES)}, not {severity!r}")
    return severity


def _spread(words: str | Sequence[str], count: int) -> list[str]:
    return [_cut(words)] * count if isinstance(words, str) else [_cut(word) for word in words]


def _with_file(words: str, file: str) -> str:
    return words if words.startswith(file) else f"{file}: {words}"


def _cut(words: str) -> str:
    """Keep a sentence readable that repeats a very long cell."""
    return words if len(words) <= LONGEST else f"{words[:LONGEST]} ..."


def _typed(columns: Mapping[str, Sequence[object]]) -> pd.DataFrame:
    frame = pd.DataFrame(columns, columns=list(AUDIT_COLUMNS), dtype=object)
    frame["row"] = frame["row"].astype("Int64")
    return frame
