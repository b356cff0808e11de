"""The account of every ticket: used, used with an assumption, or set aside."""

import numpy as np
import pandas as pd

from pumplife.lives.history import History
from pumplife.lives.marks import kit_unknown
from pumplife.records.read import Records


def account_for_tickets(history: History, spans: pd.DataFrame) -> None:
    """Write one audit row per ticket, and one per question that the records leave open."""
    records, clock, tickets = history.records, history.clock, history.tickets
    unknown_kit = kit_unknown(history.visits, history.actions)
    _say_open_questions(records, tickets, spans, unknown_kit)
    ended = spans[spans["visit"] >= 0]
    kept = ended["keep"] & clock.known[ended["pump"]]
    count = kept.groupby(ended["visit"]).sum().rename("ended")
    whole = kept & ended["failed"] & ~ended["masked"]
    fails = whole.groupby(ended["visit"]).sum().rename("failed")
    story = tickets.set_index("visit").join([count, fails]).fillna({"ended": 0, "failed": 0})
    story = story.reset_index()
    doubt = set(unknown_kit["visit"]) | set(ended.loc[ended["masked"], "visit"])
    doubt |= set(ended.loc[ended["unequal"] | ended["blind"] | ended["doubtful"], "visit"])
    lost = ~clock.known[story["pump"]]
    assumed = story["visit"].isin(doubt).to_numpy()
    words = np.where(assumed, "ticket used with an assumption", "ticket used")
    pairs = zip(words, story["ended"].astype(int), story["failed"].astype(int), strict=True)
    story["what"] = [
        f"{word}: {number} lives ended here, {failed} of them a failure of a named part"
        for word, number, failed in pairs
    ]
    for rows, what, consequence in (
        (story[~lost], list(story.loc[~lost, "what"]), "counts in lives"),
        (story[lost], "the pump's usage is not known", "ticket set aside"),
    ):
        records.log.add_rows(
            rows, rule="ticket_account", severity="note", what=what,
            consequence=consequence, table="rebuilds",
        )  # fmt: skip


def _say_open_questions(
    records: Records, tickets: pd.DataFrame, spans: pd.DataFrame, unknown_kit: pd.DataFrame
) -> None:
    first = tickets.drop_duplicates("visit")
    masked = spans.loc[spans["masked"], "visit"]
    unequal = spans.loc[spans["unequal"], "visit"]
    blind = spans.loc[spans["blind"], "visit"]
    doubtful = spans.loc[spans["doubtful"], "visit"]
    questions = (
        (
            "kit_not_written",
            unknown_kit["visit"],
            "no kit, issue or finding says what was renewed",
            "ages of the parts that may have been renewed count only up to here",
            "write the kit, or none if nothing was fitted",
        ),
        (
            "part_not_named",
            masked,
            "a breakdown that names no failed part",
            "one failure is shared among the parts renewed, by their hazards at that age",
            "write failed_part, or none if no part failed",
        ),
        (
            "position_not_named",
            unequal,
            "one of several alike failed, their ages differ and nobody wrote which",
            "the lives of these positions that end here are set aside",
            "write a finding with the position of the failed part",
        ),
        (
            "reason_not_known",
            doubtful,
            "nobody wrote in a known word whether this was a breakdown",
            "what was fitted counts; the lives that may have failed here are set aside",
            "correct the reason, or say in plant.toml what the word means",
        ),
        (
            "found_failed_unseen_before",
            blind,
            "found failed with the pump running, installed before the records and never looked at",
            "that life is set aside: nothing says that it was sound when the records began",
            "add a finding that shows the part sound on an earlier date",
        ),
    )
    for rule, visits, what, consequence, remedy in questions:
        rows = first[first["visit"].isin(set(visits))]
        records.log.add_rows(
            rows, rule=rule, severity="caution", what=what, consequence=consequence,
            remedy=remedy, table="rebuilds",
        )  # fmt: skip
