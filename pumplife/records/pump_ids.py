"""Give each row the pump that its pump_id means."""

import numpy as np
import pandas as pd

from pumplife.records.audit import AuditLog
from pumplife.records.columns import set_aside
from pumplife.records.phrases import find_near, squeeze
from pumplife.records.schema import Table
from pumplife.records.spelling import note_spellings
from pumplife.records.steps import Ints


def link_pumps(
    frame: pd.DataFrame, pumps: pd.DataFrame, table: Table, log: AuditLog
) -> pd.DataFrame:
    """Give each row its pump by pump_id; rows with an unknown one are set aside.

    Case doesn't matter; blanks, hyphens and underscores don't where only one pump can be meant.
    """
    names = pumps["pump_id"].to_numpy(dtype=object)
    place, spellings = pd.factorize(frame["pump_id"])
    mine = pd.Index(pumps["pump_id"].str.casefold()).get_indexer(spellings.str.casefold())
    mine = _match_loosely(mine, list(spellings), list(names), table, log)
    settled = np.where(mine >= 0, np.append(names, "")[mine], spellings)
    words = frame["pump_id"]
    frame = frame.assign(pump=mine[place], pump_id=settled[place])
    strange = (mine < 0) & (spellings != "")
    unknown = pd.Series(strange[place], index=frame.index, dtype=bool)
    near = _nearest(list(words[unknown]), list(pumps["pump_id"]))
    return set_aside(
        frame,
        unknown,
        log,
        table=table.name,
        rule="unknown_pump",
        what=[f"There is no pump {word} in pumps." for word in words[unknown]],
        remedy=near,
    )


def _match_loosely(
    mine: Ints, spellings: list[str], names: list[str], table: Table, log: AuditLog
) -> Ints:
    """Match what fits no pump as written by what is left of it without blanks and hyphens."""
    bare = pd.Index([squeeze(name) for name in names])
    known = pd.Series(range(len(names)), index=bare)[~bare.duplicated(keep=False)].to_dict()
    found = [
        known.get(squeeze(word), -1) if word and at < 0 else at
        for word, at in zip(spellings, mine, strict=True)
    ]
    changed = {
        word: names[at] for word, at, own in zip(spellings, found, mine, strict=True) if at != own
    }
    note_spellings(changed, table.name, "pump_id", log)
    return np.array(found, dtype=np.int64)


def _nearest(words: list[str], known: list[str]) -> list[str]:
    """Suggest a known id for each unknown one; only the first 50 are looked up by spelling."""
    add = "Add the pump to pumps or correct the id"
    alike = {_bare_id(name): name for name in known}
    found: dict[str, str] = {}
    for word in dict.fromkeys(words):
        near = alike.get(_bare_id(word), "")
        if not near and len(found) < 50:
            near = find_near(word, known, likeness=0.8)
        found[word] = f"{add}; the closest is {near}." if near else f"{add}."
    return [found[word] for word in words]


def _bare_id(word: str) -> str:
    """Fold case, blanks and hyphens, and letters that are taken for digits."""
    return squeeze(word).translate(str.maketrans("oil", "011"))
