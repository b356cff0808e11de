"""Follow superseded kit and part numbers, so that old and new number mean one thing."""

import numpy as np
import pandas as pd

from pumplife.records.audit import AuditLog
from pumplife.records.phrases import count_of

Tables = dict[str, pd.DataFrame]

FOLLOWED = {
    "kits": "pumps.fluid_kit pumps.air_kit rebuilds.kit issued.item adopted.kit",
    "parts": "findings.part_no issued.item kit_contents.part_no",
}
"""Columns in which an old number is read as the new one; stock counts them together later."""
SHELVES = ("on_hand", "on_order")
ALIKE = {
    "kits": ("side", "size_mm", "material", "variant"),
    "parts": ("part", "side", "size_mm", "material", "variant"),
}
"""What a number and its successor must have in common to be one thing under two numbers."""


def follow_superseded(tables: Tables, log: AuditLog) -> None:
    """Read old numbers as the ones that took their place, in place.

    A number is followed where its successor is listed, can be bought today, and is of the same
    side, size, material and variant. A kit whose contents nobody wrote takes those of its
    successor or predecessor, a blank price that of its successor.

    Parameters
    ----------
    tables : dict of DataFrame
        Linked tables; kits and parts with one row per number beside the planned ones.
    log : AuditLog
        Gets a note per number followed, a caution for loops, unknown and unlike successors.
    """
    for name, number in (("kits", "kit"), ("parts", "part_no")):
        listed = tables[name]
        if not bool((listed["superseded_by"].ne("") & ~listed["plan"]).any()):
            continue
        _break_loops(tables, name, number, log)
        latest = _latest(tables[name], name, number, log)
        if name == "kits":
            _share_contents(tables, latest, log)
        _share_prices(tables, name, number, latest)
        _rename(tables, name, _alike(tables[name], name, number, latest, log), log)


def _current(listed: pd.DataFrame, number: str) -> pd.DataFrame:
    return listed[~listed["plan"]].drop_duplicates(number).set_index(number)


def _break_loops(tables: Tables, name: str, number: str, log: AuditLog) -> None:
    """Blank superseded_by where the chain comes back to its start."""
    listed = tables[name]
    after = _current(listed, number)["superseded_by"]
    at = pd.Series(after.index, index=after.index, dtype=object)
    loops = pd.Series(False, index=after.index)
    for _ in range(len(after[after.ne("")])):  # no chain is longer
        at = at.map(after).fillna("")
        loops |= at.eq(pd.Series(after.index, index=after.index)) & at.ne("")
        if not bool(at.ne("").any()) or bool(loops[at.ne("")].all()):
            break
    rows = listed[listed[number].isin(loops.index[loops])]
    log.add_rows(
        rows,
        severity="caution",
        rule="superseded_loop",
        table=name,
        what=[f"{word} is superseded by a number that leads back to it." for word in rows[number]],
        consequence="Each of these numbers stands for itself.",
        remedy="Correct superseded_by.",
    )
    blank = listed["superseded_by"].mask(listed[number].isin(rows[number]), "")
    tables[name] = listed.assign(superseded_by=blank)


def _latest(listed: pd.DataFrame, name: str, number: str, log: AuditLog) -> dict[str, str]:
    """Give the number at the end of each chain, for the numbers that have been superseded."""
    current = _current(listed, number)
    after = current.loc[current["superseded_by"].ne(""), "superseded_by"]
    strange = listed[listed["superseded_by"].ne("") & ~listed["superseded_by"].isin(listed[number])]
    log.add_rows(
        strange,
        severity="caution",
        rule="superseded_unknown",
        table=name,
        what=[
            f"{old} is superseded by {new}, which {name} doesn't list."
            for old, new in zip(strange[number], strange["superseded_by"], strict=True)
        ],
        consequence="The old number stands for itself.",
        remedy=f"Add the new number to {name}, or correct superseded_by.",
    )
    step = after[after.isin(current.index)].to_dict()
    latest: dict[str, str] = {}
    for old in step:
        new = step[old]
        while new in step:
            new = step[new]
        latest[str(old)] = str(new)
    return latest


def _share_contents(tables: Tables, latest: dict[str, str], log: AuditLog) -> None:
    """Let a kit without contents take those of the number at the other end of its chain."""
    contents = tables["kit_contents"]
    filled = set(contents["kit"])
    if not filled:
        return  # the contents will be assumed from parts
    for old, new in latest.items():
        pair = (old, new) if new not in filled else (new, old)
        if pair[0] in filled and pair[1] not in filled:
            added = contents[contents["kit"].eq(pair[0])].assign(kit=pair[1])
            contents = pd.concat([contents, added], ignore_index=True)
            filled.add(pair[1])
            log.add(
                "note",
                f"kit_contents says nothing of {pair[1]}; it is taken to hold what {pair[0]} "
                "holds, as one supersedes the other.",
                rule="superseded",
                table="kit_contents",
                remedy="Add its contents if they differ.",
            )
    tables["kit_contents"] = contents


def _share_prices(tables: Tables, name: str, number: str, latest: dict[str, str]) -> None:
    listed = tables[name]
    price = _current(listed, number)["unit_cost"]
    instead = listed[number].map(latest).map(price)
    tables[name] = listed.assign(unit_cost=listed["unit_cost"].fillna(instead))


def _alike(
    listed: pd.DataFrame, name: str, number: str, latest: dict[str, str], log: AuditLog
) -> dict[str, str]:
    """Keep the numbers whose successor is the same thing; caution about the others."""
    about = _current(listed, number)[list(ALIKE[name])]
    old, new = about.loc[list(latest)], about.loc[list(latest.values())]
    blank = old.isin(["", np.nan]).to_numpy() | new.isin(["", np.nan]).to_numpy()
    unlike = (old.to_numpy() != new.to_numpy()) & ~blank
    differs = pd.Series(unlike.any(axis=1), index=list(latest), dtype=bool)
    rows = listed[listed[number].isin(differs.index[differs]) & ~listed["plan"]]
    log.add_rows(
        rows,
        severity="caution",
        rule="superseded_unlike",
        table=name,
        what=[
            f"{word} is superseded by {latest[word]}, which differs in side, size or material."
            for word in rows[number]
        ],
        consequence="Orders keep the number that they name; stock counts for the new number.",
        remedy="Correct the rows if it is the same thing under a new number.",
    )
    return {word: latest[word] for word in latest if not differs[word]}


def _rename(tables: Tables, name: str, latest: dict[str, str], log: AuditLog) -> None:
    counts = dict.fromkeys(latest, 0)
    for place in FOLLOWED[name].split():
        table, _, column = place.partition(".")
        cells = tables[table][column]
        old = cells.isin(latest)
        if bool(old.any()):
            for word, count in cells[old].value_counts().items():
                counts[str(word)] += int(count)
            renamed = cells.mask(old, cells[old].map(latest))
            tables[table] = tables[table].assign(**{column: renamed})
    for table in SHELVES:
        held = tables[table]["item"]
        for word, count in held[held.isin(latest)].value_counts().items():
            counts[str(word)] += int(count)
    for old_number, count in counts.items():
        if count:
            log.add(
                "note",
                f"{old_number} is superseded by {latest[old_number]}: {count_of(count, 'row')} "
                "naming it count for the new number.",
                rule="superseded",
                table=name,
                remedy="None needed.",
            )
