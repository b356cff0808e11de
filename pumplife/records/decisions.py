"""Apply what the engineer decided, as edits of the clean tables; the sources stay as they are."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass

import pandas as pd

from pumplife.records import answers
from pumplife.records.answers import APPLIED, BAD, GONE, LEFT, Decision, Outcome, Tables
from pumplife.records.audit import AuditLog
from pumplife.records.questions import SKIP, question_ids, question_parts


@dataclass(frozen=True, slots=True, kw_only=True)
class Kind:
    """A kind of question that can be settled.

    Attributes
    ----------
    parts : tuple of str
        What its id names after the kind.
    asks : str
        The question in words.
    answers : str
        What may be answered, in words.
    early : bool
        Applied before rows are given their pumps, as it decides which.
    apply : callable
        From tables and a decision to what became of it.
    """

    parts: tuple[str, ...]
    asks: str
    answers: str
    early: bool = False
    apply: Callable[[Tables, Decision], Outcome]


KINDS: dict[str, Kind] = {
    "part": Kind(
        parts=("rebuild_id", "pump_id"),
        asks="Which part failed at this breakdown?",
        answers="a part of the plant, or none",
        apply=answers.name_part,
    ),
    "kit": Kind(
        parts=("rebuild_id", "pump_id"),
        asks="Which kit was fitted?",
        answers="a kit of the plant, or none",
        apply=answers.name_kit,
    ),
    "partial": Kind(
        parts=("rebuild_id", "pump_id", "kit"),
        asks="Which parts of the kit were renewed?",
        answers="all, or the parts renewed with commas between",
        apply=answers.name_renewed,
    ),
    "position": Kind(
        parts=("rebuild_id", "pump_id", "part"),
        asks="Which of several alike failed?",
        answers="a position, as in findings",
        apply=answers.name_position,
    ),
    "reason": Kind(
        parts=("rebuild_id", "pump_id"),
        asks="Why was the pump opened?",
        answers="a reason, as in rebuilds",
        apply=answers.name_reason,
    ),
    "kept": Kind(
        parts=("rebuild_id", "pump_id"),
        asks="A part was found failed and kept: which is true?",
        answers="renewed (it failed and was renewed) or sound (it was kept)",
        apply=answers.settle_kept,
    ),
    "event": Kind(
        parts=("rebuild_id", "rebuild_id before", "pump_id"),
        asks="Are these two orders one event or two?",
        answers="one or two",
        apply=answers.join_orders,
    ),
    "meter": Kind(
        parts=("pump_id", "read_on"),
        asks="Why does the meter start low again?",
        answers="rollover and the digits of the counter; exchange and what the new meter showed "
        "at the start; or wrong, which sets the reading aside",
        apply=answers.settle_meter,
    ),
    "unit": Kind(
        parts=("pump_id",),
        asks="What does the counter count?",
        answers="strokes or cycles",
        apply=answers.name_unit,
    ),
    "slot": Kind(
        parts=("location", "day"),
        asks="Which pump stood at this place that day?",
        answers="a pump_id",
        early=True,
        apply=answers.name_pump,
    ),
    "move": Kind(
        parts=("pump_id", "location", "day"),
        asks="Had the pump been moved to this place?",
        answers="moved or stayed",
        early=True,
        apply=answers.settle_move,
    ),
}
"""Every kind of question, and how its answer is applied."""


def replay(tables: Tables, log: AuditLog, *, early: bool) -> frozenset[str]:
    """Apply the decisions of the kinds that come before or after rows are given their pumps.

    Parameters
    ----------
    tables : dict of DataFrame
        Changed in place.
    log : AuditLog
        Gets a note per decision applied, a caution per answer that can't be.
    early : bool
        Which of the two.

    Returns
    -------
    frozenset of str
        The questions that are settled.
    """
    settled: set[str] = set()
    for decision in _read(tables["decisions"]):
        known = KINDS.get(decision.kind)
        if known is None or len(known.parts) != len(decision.about):
            outcome = None if early else Outcome(GONE, "No question has such an id")
        elif known.early != early:
            outcome = None
        elif decision.answer.casefold() == SKIP:
            outcome = Outcome(LEFT)
        else:
            outcome = known.apply(tables, decision)
        if outcome is not None:
            _log(decision, outcome, log)
            settled |= {decision.question} if outcome.state in (APPLIED, LEFT) else set()
    return frozenset(settled)


def _read(frame: pd.DataFrame) -> Iterable[Decision]:
    for row in frame.to_dict("records"):
        kind, *about = question_parts(str(row["question"]))
        when = row["decided_on"]
        yield Decision(
            question=question_ids(kind, *([cell] for cell in about))[0] if about else kind,
            kind=kind,
            about=tuple(about),
            answer=str(row["answer"]).strip(),
            row=int(row["row"]),
            on="an unknown day" if pd.isna(when) else f"{when:%Y-%m-%d}",
        )


def _log(decision: Decision, outcome: Outcome, log: AuditLog) -> None:
    if outcome.state in (APPLIED, LEFT):
        log.add(
            "note",
            f"{decision.question}: settled by decision of {decision.on}: {decision.answer}.",
            rule="decision_applied",
            table="decisions",
            row=decision.row,
            consequence=outcome.words or "It is left as it is and not asked again.",
            remedy="Delete the row to be asked again.",
        )
        return
    bad = outcome.state == BAD
    allowed = KINDS[decision.kind].answers if bad else ""
    log.add(
        "caution",
        f'{decision.question}: the answer "{decision.answer}" can\'t be used: {outcome.words}.'
        if bad
        else f"{decision.question}: {outcome.words}.",
        rule="decision_bad" if bad else "decision_gone",
        table="decisions",
        row=decision.row,
        consequence="The decision has no effect.",
        remedy=f"Write {allowed}; or skip."
        if bad
        else "Delete the row, or copy the question's id anew from the table questions.",
    )


def note_idle(
    decisions: pd.DataFrame, settled: frozenset[str], asked: set[str], log: AuditLog
) -> None:
    """Caution of answers that leave as it is what is no longer asked.

    Parameters
    ----------
    decisions : DataFrame
        The table.
    settled : frozenset of str
        The questions that `replay` found settled.
    asked : set of str
        The questions that the records would ask without decisions, beside those applied.
    log : AuditLog
        Gets the cautions.
    """
    for decision in _read(decisions):
        idle = decision.answer.casefold() in (SKIP, *answers.LEAVING)
        if idle and decision.question in settled - asked:
            _log(decision, Outcome(GONE, "The records no longer ask this"), log)
