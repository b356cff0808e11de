"""Which answers changed since an older study and why: one cause after the other is swapped."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pumplife.errors import ComparisonError, PumplifeError
from pumplife.records.read import Written
from pumplife.records.versions import list_versions
from pumplife.since.answers import ANSWERS, list_answers
from pumplife.since.kept import Kept
from pumplife.since.mix import changed_causes, put_back
from pumplife.since.partition import CAUSES, VERSION

Tables = Mapping[str, pd.DataFrame]
CHANGE_COLUMNS = (
    "table", "key", "column", "before", "after", "cause", "share_of_change", "reached",
)  # fmt: skip
_DATES = ("do_on", "order_by")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Step:
    """The answers after one cause, or several that can't be told apart, was swapped.

    Attributes
    ----------
    cause : str
        "records", or "records and plan".
    answers : Series
        See `list_answers`.
    """

    cause: str
    answers: pd.Series[str]

    def __repr__(self) -> str:
        return f"Step({self.cause!r}, {len(self.answers)} answers)"


def find_changes(
    kept: Kept,
    written: Written,
    tables: Tables,
    *,
    run: Callable[[Written], Tables],
    told: Callable[[str], None] = lambda step: None,
) -> pd.DataFrame:
    """Every answer that changed since an older study, with the share of each cause.

    Causes are swapped in the order of `CAUSES`; one that is as it was costs no run, and the last
    one's answers are today's.

    Parameters
    ----------
    kept : Kept
        The older study.
    written : Written
        Today's files.
    tables : mapping of DataFrame
        Today's answers, made with the older study's seed.
    run : callable
        Gives the tables of a study on other files, with the same seed.
    told : callable
        Called with the name of each further run as it begins.

    Returns
    -------
    DataFrame
        See `share_changes`; without rows where nothing changed.

    Raises
    ------
    ComparisonError
        When the two studies count usage or money in different units.
    """
    _check_units(kept, written)
    changed = set(changed_causes(written, kept.written))
    if kept.versions != list_versions():
        changed.add(VERSION)
    order = [cause for cause in CAUSES if cause in changed]
    steps, waiting = [Step(cause="", answers=kept.answers)], list[str]()
    for place, cause in enumerate(order[:-1]):
        told(f"what changed: {cause}")
        waiting.append(cause)
        answers = _try_run(run, _after(kept, written, cause, order[place + 1 :]))
        if answers is not None:
            steps.append(Step(cause=" and ".join(waiting), answers=answers))
            waiting = []
    last = " and ".join([*waiting, *order[-1:]])
    if last:
        steps.append(Step(cause=last, answers=list_answers(tables)))
    return share_changes(steps)


def _check_units(kept: Kept, written: Written) -> None:
    old, new = kept.written.plant, written.plant
    for what, before, after in (
        ("usage in", old.usage_unit, new.usage_unit),
        ("money in", old.currency, new.currency),
    ):
        if before != after:
            raise ComparisonError(
                f"The study in {kept.folder} counts {what} {before}, today's in {after}: their "
                "answers can't be compared. Run this one without --since."
            )


def _after(kept: Kept, written: Written, cause: str, later: list[str]) -> Written:
    """The files with this cause and those before it of today, the later ones as they were."""
    if cause == VERSION:
        return kept.written
    return put_back(written, kept.written, later)


def _try_run(run: Callable[[Written], Tables], files: Written) -> pd.Series[str] | None:
    """The answers of a study on mixed files; None where these don't go together."""
    try:
        tables = run(files)
    except PumplifeError:
        return None
    return list_answers(tables) if "intervals" in tables else None


def share_changes(steps: list[Step]) -> pd.DataFrame:
    """Share each changed answer among the causes that moved it.

    Of a number or date a cause has the share that it moved it by; causes that work against each
    other have shares below 0 and over 1. Of a word, and where a blank is among the values (run to
    failure, a row that came or went), the causes that changed it have equal shares.

    Parameters
    ----------
    steps : list of Step
        The first is the older study.

    Returns
    -------
    DataFrame
        `CHANGE_COLUMNS`, one row per changed answer and cause that moved it: what it was and is,
        the share [-], adding up to 1, and what was reached with that cause swapped.
    """
    index = pd.concat([pd.DataFrame(index=step.answers.index) for step in steps]).index
    index = index[~index.duplicated()]
    values = np.column_stack(
        [step.answers.reindex(index, fill_value="").to_numpy(dtype=str) for step in steps]
    )
    differs = values[:, 0] != values[:, -1]
    values, index = values[differs], index[differs]
    if not len(index):
        return pd.DataFrame(columns=list(CHANGE_COLUMNS)).astype({"share_of_change": float})
    moved = values[:, 1:] != values[:, :-1]
    shares = _share_steps(_as_numbers(values, index), moved)
    answer, step = np.nonzero(moved)
    rows = index[answer].to_frame(index=False)
    causes = np.array([one.cause for one in steps[1:]], dtype=object)
    rows = rows.assign(
        before=values[answer, 0].astype(object),
        after=values[answer, -1].astype(object),
        cause=causes[step],
        share_of_change=shares[answer, step],
        reached=values[answer, step + 1].astype(object),
    )
    rank = {name: place for place, name in enumerate(ANSWERS)}
    ordered = rows.sort_values("table", key=lambda names: names.map(rank), kind="stable")
    table: pd.DataFrame = ordered[list(CHANGE_COLUMNS)].reset_index(drop=True)
    return table


def _as_numbers(values: NDArray[np.str_], index: pd.MultiIndex) -> NDArray[np.float64]:
    """The values as numbers, dates as days; NaN where one is neither."""
    column = index.get_level_values("column")
    flat = pd.Series(values.ravel())
    dated = np.repeat(column.isin(_DATES), values.shape[1])
    dates = pd.to_datetime(flat.where(dated), errors="coerce", format="%Y-%m-%d")
    days = (dates - pd.Timestamp(0)) / pd.Timedelta(days=1)
    numbers = pd.to_numeric(flat.where(~dated), errors="coerce")
    return np.asarray(days.where(dated, numbers), dtype=np.float64).reshape(values.shape)


def _share_steps(numbers: NDArray[np.float64], moved: NDArray[np.bool_]) -> NDArray[np.float64]:
    """Shares of the steps in each change, (answers, steps), adding up to 1."""
    total = numbers[:, -1] - numbers[:, 0]
    counted = np.isfinite(numbers).all(axis=1) & (total != 0.0)
    by_number = np.diff(numbers, axis=1) / np.where(counted, total, 1.0)[:, None]
    equal = moved / moved.sum(axis=1, keepdims=True)
    shares: NDArray[np.float64] = np.where(counted[:, None], by_number, equal)
    return shares
