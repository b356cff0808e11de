"""What only the plant can settle: the questions that its tickets and findings leave open."""

import pandas as pd

from pumplife.lives.history import Gathered, History
from pumplife.lives.marks import kit_unknown
from pumplife.records.phrases import count_of
from pumplife.records.read import Records

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


def open_questions(history: History, spans: pd.DataFrame) -> pd.DataFrame:
    """Visits that leave a question open: [visit, rule], in the order of `QUESTIONS`."""
    slots = history.actions.slots
    failed = slots[slots["found"] == "failed"]
    visits = {
        "kit_not_written": kit_unknown(history.visits, history.actions)["visit"],
        "part_not_named": spans.loc[spans["masked"] & ~spans["shared"], "visit"],
        "position_shared": spans.loc[spans["shared"], "visit"],
        "position_not_named": spans.loc[spans["unequal"], "visit"],
        "failed_and_kept": failed.loc[failed["action"] == "kept", "visit"],
        "reason_not_known": spans.loc[spans["doubtful"], "visit"],
        "found_failed_unseen_before": spans.loc[spans["blind"], "visit"],
    }
    asked = [pd.DataFrame({"visit": visits[rule].unique(), "rule": rule}) for rule in QUESTIONS]
    return pd.concat(asked, ignore_index=True)


def say_open_questions(gathered: Gathered, asked: pd.DataFrame) -> None:
    """Write one audit row per visit and question."""
    told = gathered.tickets[gathered.tickets["visit"].isin(asked["visit"])]
    first = told.drop_duplicates("visit")
    for rule, (what, consequence, remedy) in QUESTIONS.items():
        mine = asked.loc[asked["rule"] == rule, "visit"]
        gathered.records.log.add_rows(
            first[first["visit"].isin(mine)],
            rule=rule,
            severity="caution",
            what=what,
            consequence=consequence,
            remedy=remedy,
            table="rebuilds",
        )


def first_kits_assumed(history: History) -> pd.DataFrame:
    """Pump sides whose register and first ticket name different kits: [pump, side, kit, stale]."""
    first = history.first[["kit", "assumed", "stale"]]
    assumed = history.positions.assign(**first)[history.first["assumed"].to_numpy()]
    return assumed.drop_duplicates(["pump", "side"])[["pump", "side", "kit", "stale"]]


def say_first_kits(records: Records, sides: pd.DataFrame) -> None:
    """Write one audit row per pump side whose first kit is assumed."""
    records.log.add_rows(
        records.pumps.iloc[sides["pump"]],
        rule="first_kit_assumed",
        severity="note",
        what=[
            f"The {side} kit of the register, {kit}, is not that of its last ticket."
            if stale
            else f"The {side} kit of today is another than that of its first ticket, {kit}."
            for side, kit, stale in zip(sides["side"], sides["kit"], sides["stale"], strict=True)
        ],
        consequence="Until its first ticket the pump is taken to have carried that kit.",
        remedy="Write the kit that is fitted today in pumps; none needed if that is done.",
        table="pumps",
    )


def say_turned(records: Records) -> None:
    """Say by which rule turned parts count, where findings name any."""
    turned = int(records.table("findings")["action"].eq("turned").sum())
    if turned:
        new = records.plant.turned_is_new
        records.log.add(
            "note",
            f"{count_of(turned, 'finding')} of parts that were turned over.",
            rule="turned_parts",
            table="findings",
            consequence="A turned part starts a life of its own." if new else "Their ages run on.",
            remedy=f'[rules] turned = "{"same" if new else "new"}" in plant.toml says otherwise.',
        )
