"""The account of every ticket: used, used with an assumption, or set aside."""

import pandas as pd

from pumplife.lives.history import History
from pumplife.lives.marks import kit_unknown

QUESTIONS = {
    # rule: what, consequence, remedy
    "kit_not_written": (
        "No kit, issue or finding says what was renewed.",
        "Ages of the parts that may have been renewed count only up to here.",
        "Write the kit, or none if nothing was fitted.",
    ),
    "part_not_named": (
        "A breakdown that names no failed part.",
        "One failure is shared among the parts renewed, by their hazards at that age.",
        "Write failed_part, or none if no part failed.",
    ),
    "position_shared": (
        "One of several alike failed, their ages differ and nobody wrote which.",
        "One failure is shared among them, by their hazards at their ages.",
        "Write a finding with the position of the failed part.",
    ),
    "position_not_named": (
        "Some of several alike failed, their ages differ and nobody wrote which.",
        "The lives of these positions that end here are set aside.",
        "Write a finding with the position of the failed part.",
    ),
    "failed_and_kept": (
        "A part was found failed and kept.",
        "Its age counts only up to here.",
        "Correct the finding: a failed part is renewed, a part that was kept is sound or worn.",
    ),
    "reason_not_known": (
        "Nobody wrote in a known word whether this was a breakdown.",
        "What was fitted counts; the lives that may have failed here are set aside.",
        "Correct the reason, or say in plant.toml what the word means.",
    ),
    "found_failed_unseen_before": (
        "Found failed with the pump running, installed before the records and never looked at.",
        "That life is set aside: nothing says that it was sound when the records began.",
        "Add a finding that shows the part sound on an earlier date.",
    ),
}


def account_for_tickets(history: History, spans: pd.DataFrame) -> None:
    """Write one audit row per ticket, and one per question that the records leave open."""
    records, clock, tickets = history.records, history.clock, history.tickets
    unknown_kit = kit_unknown(history.visits, history.actions)
    _say_open_questions(history, spans)
    _say_first_kits(history)
    ended = spans[spans["visit"] >= 0]
    counts = ended["keep"] & clock.known[ended["pump"]]
    count = counts.groupby(ended["visit"]).sum().rename("ended")
    whole = counts & ended["failed"] & ~ended["masked"]
    fails = whole.groupby(ended["visit"]).sum().rename("failed")
    story = tickets.set_index("visit").join([count, fails]).fillna({"ended": 0, "failed": 0})
    story = story.reset_index()
    doubt = set(unknown_kit["visit"]) | set(ended.loc[ended["masked"], "visit"])
    doubt |= set(ended.loc[ended["unequal"] | ended["blind"] | ended["doubtful"], "visit"])
    doubt |= set(tickets.loc[tickets["from_text"], "visit"])
    lost = ~clock.known[story["pump"]]
    assumed = story["visit"].isin(doubt).to_numpy()
    pairs = zip(story["ended"].astype(int), story["failed"].astype(int), strict=True)
    story["what"] = [
        f"{number} lives ended here, {failed} of them a failure of a named part."
        for number, failed in pairs
    ]
    for rows, consequence in (
        (story[~lost & ~assumed], "Used."),
        (story[~lost & assumed], "Used with an assumption."),
        (story[lost], "Ticket set aside."),
    ):
        records.log.add_rows(
            rows,
            rule="ticket_account",
            severity="note",
            what=list(rows["what"]),
            consequence=consequence,
            table="rebuilds",
        )


def _say_first_kits(history: History) -> None:
    """Pump sides whose register and first ticket name different kits."""
    assumed = history.positions[history.first["assumed"].to_numpy()]
    sides = assumed.assign(kit=history.first.loc[assumed["pos"], "kit"].to_numpy())
    sides = sides.drop_duplicates(["pump", "side"])
    pumps = history.records.pumps.iloc[sides["pump"]]
    history.records.log.add_rows(
        pumps,
        rule="first_kit_assumed",
        severity="note",
        what=[
            f"The {side} kit of today is another than that of its first ticket, {kit}."
            for side, kit in zip(sides["side"], sides["kit"], strict=True)
        ],
        consequence="Until its first ticket the pump is taken to have carried that ticket's kit.",
        remedy="None needed where the material was changed later.",
        table="pumps",
    )


def _say_open_questions(history: History, spans: pd.DataFrame) -> None:
    slots = history.actions.slots
    kept = (slots["found"] == "failed") & (slots["action"] == "kept")
    visits = {
        "kit_not_written": kit_unknown(history.visits, history.actions)["visit"],
        "part_not_named": spans.loc[spans["masked"] & ~spans["shared"], "visit"],
        "position_shared": spans.loc[spans["shared"], "visit"],
        "position_not_named": spans.loc[spans["unequal"], "visit"],
        "failed_and_kept": slots.loc[kept, "visit"],
        "reason_not_known": spans.loc[spans["doubtful"], "visit"],
        "found_failed_unseen_before": spans.loc[spans["blind"], "visit"],
    }
    first = history.tickets.drop_duplicates("visit")
    for rule, (what, consequence, remedy) in QUESTIONS.items():
        history.records.log.add_rows(
            first[first["visit"].isin(set(visits[rule]))],
            rule=rule,
            severity="caution",
            what=what,
            consequence=consequence,
            remedy=remedy,
            table="rebuilds",
        )
