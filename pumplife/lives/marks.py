"""From written evidence to what happened at each position: renewed, failed, lost from sight."""

import numpy as np
import pandas as pd

from pumplife.lives.actions import Actions, merge_alike
from pumplife.lives.visits import FAILING

FLAGS = ["renewed", "cut", "failed", "candidate", "masked", "kitted"]
WORDS = ["found", "mode", "part_no", "material", "variant"]


def blamed_parts(visits: pd.DataFrame, tickets: pd.DataFrame) -> pd.DataFrame:
    """Parts that a ticket blames: [visit, pump, part], for visits whose reason can fail a part."""
    failing = visits.loc[visits["reason"].isin(FAILING), "visit"]
    written = tickets[~tickets["failed_part"].isin(["", "none"])]
    written = written[written["visit"].isin(failing)]
    return (
        written[["visit", "pump", "failed_part"]]
        .rename(columns={"failed_part": "part"})
        .drop_duplicates(["visit", "part"])
    )


def make_marks(
    visits: pd.DataFrame, tickets: pd.DataFrame, positions: pd.DataFrame, actions: Actions
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Marks by visit and position, and the number of failures not placed by visit and part.

    Returns
    -------
    marks : DataFrame
        [visit, pos, renewed, cut (age unknown from here on), failed (position known),
        candidate (one of those among which an unplaced failure lies), masked (one of the
        side's positions at a breakdown with no part named), found, mode, part_no, material,
        variant, kitted].
    unplaced : DataFrame
        [visit, part, fail_count, partly] failures whose position nobody wrote; `partly` =
        only some of n alike were renewed.
    """
    visits = visits[visits["done"] != "no"]
    blamed = blamed_parts(visits, tickets)
    parts = _part_story(visits, positions, actions, blamed)
    marks = _slot_marks(positions, actions, parts)
    lost = _lost_from_sight(visits, positions, actions, blamed)
    masked = _masked(visits, tickets, positions, blamed, marks)
    everything = pd.concat([_whole(rows) for rows in (marks, lost, masked)], ignore_index=True)
    merged = merge_alike(everything, _merge_marks)
    merged["cut"] &= ~merged["renewed"]
    unplaced = parts.loc[parts["fail_count"] > 0, ["visit", "part", "fail_count", "partly"]]
    return merged, unplaced


def _whole(rows: pd.DataFrame) -> pd.DataFrame:
    """Marks with every flag and word, false and blank where they say nothing."""
    columns = {name: np.zeros(len(rows), bool) for name in FLAGS}
    columns |= {name: np.full(len(rows), "", object) for name in WORDS}
    for name in rows.columns.intersection([*columns]):
        told = rows[name].to_numpy()
        columns[name] = np.where(rows[name].notna(), told, columns[name]).astype(
            columns[name].dtype
        )
    return pd.DataFrame({"visit": rows["visit"], "pos": rows["pos"], **columns})


def _merge_marks(everything: pd.DataFrame) -> pd.DataFrame:
    """One mark of several at one visit and position: any flag, the first word on each thing."""
    written = everything[WORDS].where(everything[WORDS] != "")
    keys = [everything["visit"], everything["pos"]]
    first = written.groupby(keys)[WORDS].first().fillna("")
    return everything.groupby(["visit", "pos"])[FLAGS].max().join(first).reset_index()


def _part_story(
    visits: pd.DataFrame, positions: pd.DataFrame, actions: Actions, blamed: pd.DataFrame
) -> pd.DataFrame:
    """Per visit and part: how many renewed and failed, named or not: one row each."""
    slots = actions.slots.merge(positions[["pos", "pump", "part"]], on="pos")
    slots = slots[slots["visit"].isin(visits["visit"])]
    failing = visits.loc[visits["reason"].isin(FAILING), "visit"]
    dead = (slots["found"] == "failed") & slots["visit"].isin(failing)
    slots = slots.assign(
        named_renewed=slots["action"] == "renewed",
        named_failed=dead,
        kept=slots["action"] == "kept",
    )
    keys = ["visit", "pump", "part"]
    named = slots.groupby(keys, as_index=False)[["named_renewed", "named_failed", "kept"]].sum()
    story = named.merge(actions.counts, on=keys, how="outer")
    story = story.merge(blamed.assign(blamed=True), on=keys, how="outer")
    story["blamed"] = story["blamed"].notna()
    story = story.merge(positions.drop_duplicates(["pump", "part"])[["pump", "part", "n"]])
    numbers = ["named_renewed", "named_failed", "kept", "drawn_count", "renew_count", "fail_count"]
    story[numbers] = story[numbers].fillna(0)
    # what findings name is among what was drawn from the store
    beyond = story["drawn_count"] - story["named_renewed"]
    story["renew_count"] = np.maximum(story["renew_count"], beyond)
    story["fail_count"] = story["fail_count"].where(story["visit"].isin(failing), 0)
    return _complete_counts(story)


def _complete_counts(story: pd.DataFrame) -> pd.DataFrame:
    """Fill in what the ticket's blame implies: one failed, and at the least that one renewed."""
    nameless = story["blamed"] & (story["named_failed"] == 0) & (story["fail_count"] == 0)
    story["fail_count"] = story["fail_count"].where(~nameless, 1)
    untouched = (story["named_renewed"] == 0) & (story["renew_count"] == 0)
    bare = untouched & (story["fail_count"] > 0) & (story["kept"] < story["n"])
    story["renew_count"] = story["renew_count"].where(~bare, story["fail_count"])
    all_alike = story["named_renewed"] + story["renew_count"] >= story["n"]
    story["all_renewed"] = all_alike & (story["renew_count"] > 0)
    story["partly"] = ~all_alike & (story["renew_count"] > 0)
    return story


def _slot_marks(positions: pd.DataFrame, actions: Actions, parts: pd.DataFrame) -> pd.DataFrame:
    columns = ["visit", "pump", "part", "all_renewed", "partly", "fail_count"]
    story = parts[columns].merge(positions[["pump", "part", "pos"]], on=["pump", "part"])
    marks = story.merge(actions.slots, on=["visit", "pos"], how="left")
    marks[["action", "found"]] = marks[["action", "found"]].fillna("")
    marks["renewed"] = (marks["action"] == "renewed") | marks["all_renewed"]
    contradiction = (marks["found"] == "failed") & (marks["action"] == "kept")
    marks["cut"] = marks["partly"] & ~marks["renewed"] & (marks["action"] != "kept")
    marks["cut"] |= contradiction
    marks["failed"] = (marks["found"] == "failed") & marks["renewed"]
    open_to = marks["renewed"] | marks["cut"]
    open_to &= ~marks["failed"] & ~marks["found"].isin(["sound", "worn"])
    marks["candidate"] = open_to & (marks["fail_count"] > 0)
    columns = ["visit", "pos", "renewed", "cut", "failed", "candidate"]
    return marks[[*columns, "found", "mode", "part_no", "material", "variant", "kitted"]]


def kit_unknown(visits: pd.DataFrame, actions: Actions) -> pd.DataFrame:
    """Visits that renewed nobody wrote what: a blank kit, nothing issued, no finding."""
    told = (actions.slots, actions.kits, actions.counts)
    spoken = pd.unique(np.concatenate([rows["visit"].to_numpy(np.int64) for rows in told]))
    blank = visits["kits"].str.contains("?", regex=False) & (visits["done"] != "no")
    blank |= visits["done"] == "partly"
    silent = ~visits["visit"].isin(spoken)
    return visits[blank & silent & visits["reason"].isin(FAILING)]


def _lost_from_sight(
    visits: pd.DataFrame, positions: pd.DataFrame, actions: Actions, blamed: pd.DataFrame
) -> pd.DataFrame:
    """Positions whose age is only "at least" after a visit with an unwritten kit.

    The blamed part's side on a breakdown; both sides where no part is blamed.
    """
    unknown = kit_unknown(visits, actions)[["visit", "pump"]]
    sides = blamed.merge(positions[["pump", "part", "side"]].drop_duplicates())
    sides = sides[["visit", "side"]].drop_duplicates()
    told = unknown.merge(sides, on="visit")
    silent = unknown[~unknown["visit"].isin(told["visit"])]
    lost = pd.concat(
        [
            told.merge(positions[["pump", "side", "pos"]], on=["pump", "side"]),
            silent.merge(positions[["pump", "pos"]], on="pump"),
        ]
    )
    return lost[["visit", "pos"]].assign(cut=True)


def _masked(
    visits: pd.DataFrame,
    tickets: pd.DataFrame,
    positions: pd.DataFrame,
    blamed: pd.DataFrame,
    marks: pd.DataFrame,
) -> pd.DataFrame:
    """Positions among which the failure of a breakdown lies when no part was named.

    Those of the parts that the visit renewed, in whole or in part, or every position where
    nobody wrote what was renewed; of these the parts that agree with the fluid released.
    """
    breakdown = visits[visits["reason"] == "breakdown"]
    nothing_failed = tickets.loc[tickets["failed_part"] == "none", "visit"]
    named = set(blamed["visit"]) | set(marks.loc[marks["failed"] | marks["candidate"], "visit"])
    open_visits = breakdown[~breakdown["visit"].isin(named | set(nothing_failed))]
    touched = marks[(marks["renewed"] | marks["cut"]) & marks["visit"].isin(open_visits["visit"])]
    touched = touched[~touched["found"].isin(["sound", "worn"])]
    silent = open_visits[~open_visits["visit"].isin(touched["visit"])]
    everywhere = silent[["visit", "pump"]].merge(positions[["pump", "pos"]], on="pump")
    masked = pd.concat([touched[["visit", "pos"]], everywhere[["visit", "pos"]]])
    masked = _by_release(masked, open_visits, positions)
    return pd.concat([masked.assign(masked=True), everywhere[["visit", "pos"]].assign(cut=True)])


def _by_release(
    masked: pd.DataFrame, visits: pd.DataFrame, positions: pd.DataFrame
) -> pd.DataFrame:
    """Keep the parts that agree with what was written of the fluid, if the breakdown has any.

    Fluid that got out points to parts that can let it out, `none` to those that can't.
    """
    written = masked["visit"].map(visits.set_index("visit")["released"])
    can = masked["pos"].map(positions.set_index("pos")["releases"]).astype(bool)
    agrees = can.where(written != "none", ~can) | (written == "")
    some = agrees.groupby(masked["visit"]).transform("any")
    return masked[agrees | ~some]
