"""Join the tables: a pump for every row, each row once, no name without its match."""

import numpy as np
import pandas as pd

from pumplife.records.audit import SET_ASIDE, AuditLog
from pumplife.records.columns import set_aside
from pumplife.records.duty import BEFORE, SEVERAL, Duty
from pumplife.records.phrases import mapping_line
from pumplife.records.plant import to_days
from pumplife.records.questions import question_ids
from pumplife.records.schema import Table
from pumplife.records.steps import Floats, Ints
from pumplife.records.tables import SIDE_WORDS

Tables = dict[str, pd.DataFrame]


def drop_repeats(frame: pd.DataFrame, table: Table, log: AuditLog) -> pd.DataFrame:
    """Set aside rows that repeat an earlier row or its key.

    Readings may repeat: a second reading of the same day changes nothing.
    """
    if table.name == "readings" or len(frame) < 2:
        return frame
    key = _key_columns(frame, table)
    keyed = frame[key]
    if table.name == "pumps":
        keyed = keyed.assign(pump_id=keyed["pump_id"].str.casefold())
    group = keyed.groupby(key, dropna=False, sort=False).ngroup()
    repeated = group.duplicated()
    if not bool(repeated.any()):
        return frame
    first = pd.Series(frame.index[~repeated], index=group[~repeated].to_numpy())
    source = first.loc[group[repeated]].to_numpy()
    differing = _differences(frame[repeated], frame.iloc[source], key)
    same = " and ".join(name for name in table.key if name in frame)
    same = f"the same {same}" if table.key else "every cell the same"
    told = _say_repeats(frame[repeated], frame.iloc[source], differing, same)
    _log_repeats(told, table, log)
    return frame[~repeated].reset_index(drop=True)


def _say_repeats(
    later: pd.DataFrame, earlier: pd.DataFrame, differing: list[str], same: str
) -> pd.DataFrame:
    """Give the rows that repeat others with what is said of each, and whether it is in a file of
    its own: what, alike, across."""
    across = (earlier["file"].to_numpy() != later["file"].to_numpy()).tolist()
    where = [
        f"row {row} of {file}" if other else f"row {row}"
        for row, file, other in zip(earlier["row"], earlier["file"], across, strict=True)
    ]
    what = [
        f"{place.capitalize()} has {same}"
        + (f", but {words}; {place} is used." if words else "; nothing else differs.")
        for place, words in zip(where, differing, strict=True)
    ]
    alike = [not words for words in differing]
    return later.assign(what=what, alike=alike, across=across)


def _log_repeats(told: pd.DataFrame, table: Table, log: AuditLog) -> None:
    own = "Remove one of the two rows, or give it a key of its own."
    for rows, severity, remedy in (
        (told[told["across"] & told["alike"]], "note", "None needed: the files overlap."),
        (
            told[told["across"] & ~told["alike"]],
            "caution",
            "Name the file that is right first in [files].",
        ),
        (told[~told["across"]], "caution", own),
    ):
        log.add_rows(
            rows,
            severity=severity,
            rule="repeated_row",
            what=list(rows["what"]),
            table=table.name,
            consequence=SET_ASIDE,
            remedy=remedy,
        )


def _key_columns(frame: pd.DataFrame, table: Table) -> list[str]:
    key = [name for name in table.key if name != "pump_id" or table.name == "pumps"]
    if "pump_id" in table.key and table.name != "pumps":
        key.append("pump")
    aside = {"row", "file", "plan", "from_text"}
    return key or [name for name in frame.columns if name not in aside]


def _differences(later: pd.DataFrame, earlier: pd.DataFrame, key: list[str]) -> list[str]:
    names = [
        name
        for name in later.columns
        if name not in {*key, "row", "file", "pump", "plan", "from_text"}
    ]
    unlike = np.empty((len(later), len(names)), dtype=bool)
    for place, name in enumerate(names):
        one, other = later[name].to_numpy(), earlier[name].to_numpy()
        both_blank = pd.isna(one) & pd.isna(other)
        unlike[:, place] = (one != other) & ~both_blank
    return [_say_differing(list(np.array(names)[row])) for row in unlike]


def _say_differing(names: list[str]) -> str:
    if not names:
        return ""
    return f"{', '.join(names)} {'differs' if len(names) == 1 else 'differ'}"


def mark_plans(frame: pd.DataFrame, column: str, end: float) -> pd.DataFrame:
    """Mark the rows dated after the window as plans.

    Parameters
    ----------
    frame : DataFrame
        A table with a `plan` column.
    column : str
        Its date.
    end : float
        Last day of the window [day].
    """
    return frame.assign(plan=to_days(frame[column]) > end)


def keep_latest_price(frame: pd.DataFrame, number: str, table: str, log: AuditLog) -> pd.DataFrame:
    """Keep one row per part number or kit beside the planned ones: the latest valid_from."""
    order = frame.sort_values("valid_from", kind="stable", na_position="first")
    present = order[~order["plan"]]
    latest = present.index[~present[number].duplicated(keep="last")]
    older = ~frame["plan"] & ~frame.index.isin(latest)
    return set_aside(
        frame,
        older,
        log,
        table=table,
        severity="note",
        rule="older_price",
        what=[f"{number} {word} has a later row." for word in frame.loc[older, number]],
        remedy="None needed.",
    )


def link_locations(
    frame: pd.DataFrame,
    pumps: pd.DataFrame,
    duty: Duty,
    *,
    day: Floats,
    table: str,
    log: AuditLog,
) -> pd.DataFrame:
    """Give rows that name only a location the pump that served it on the day.

    Parameters
    ----------
    frame : DataFrame
        A table with location, after `link_pumps`.
    day : float array
        The day of each row [day].
    """
    asked = frame["location"].ne("")
    if not bool(asked.any()):
        return frame
    stood = duty.resolve_location(frame["location"], day)
    worked = table != "readings"
    found = duty.resolve_work(frame["location"], day) if worked else stood
    open_rows = frame["pump_id"].eq("") & asked
    code = np.where(open_rows, found, frame["pump"])
    names = np.append(pumps["pump_id"].to_numpy(dtype=object), "")
    _say_swaps(frame[open_rows], found[open_rows], stood[open_rows], names, table=table, log=log)
    own = frame["pump"].to_numpy()
    other = frame["pump"].ge(0) & asked & (found >= 0) & (own != found) & (own != stood)
    log.add_rows(
        frame[other],
        severity="caution",
        rule="location_differs",
        table=table,
        what=[
            f"On that day {names[pump]} stood at {place}, not the pump that is written."
            for pump, place in zip(found[other], frame.loc[other, "location"], strict=True)
        ],
        consequence="The pump that is written is used.",
        remedy="Correct the row, or add the move to moves.",
    )
    frame = frame.assign(
        pump=np.maximum(code, -1),
        pump_id=np.where(open_rows & (code >= 0), names[code], frame["pump_id"]),
    )
    lost = pd.Series(open_rows & (code < 0), index=frame.index)
    _ask_pumps(frame[lost], duty, day[lost.to_numpy()], names, table=table, log=log)
    return set_aside(
        frame,
        lost,
        log,
        table=table,
        rule="unresolved_location",
        what=[
            f"{'More than one pump' if pump == SEVERAL else 'No pump'} stood at {place} that day."
            for pump, place in zip(code[lost], frame.loc[lost, "location"], strict=True)
        ],
        remedy="Write the pump_id in the row, or the missing move in moves.",
    )


def _say_swaps(
    rows: pd.DataFrame, left: Ints, came: Ints, names: "np.ndarray", *, table: str, log: AuditLog
) -> None:
    """Say which rows name only a place at which pumps were swapped that day."""
    swapped = (left >= 0) & (came != left)
    log.add_rows(
        rows[swapped].assign(pump_id=names[left[swapped]]),
        severity="note",
        rule="swap_day",
        table=table,
        what=[
            f"{names[pump]} left {place} that day; only the place is written."
            for pump, place in zip(left[swapped], rows.loc[swapped, "location"], strict=True)
        ],
        consequence="The work counts for the pump that left.",
        remedy="Write the pump_id in the row if it was for the pump that came.",
    )


def _ask_pumps(
    rows: pd.DataFrame, duty: Duty, day: Floats, names: "np.ndarray", *, table: str, log: AuditLog
) -> None:
    """Ask which pump stood at a place, with those that were there to choose from."""
    if rows.empty:
        return
    spells = duty.occupied()
    spells = spells[spells["location"].isin(rows["location"])]
    asked = rows[["row", "pump_id", "location"]].assign(day=day, table=table)
    there = asked.reset_index(names="at").merge(spells, on="location")
    there = there[(there["from_day"] <= there["day"]) & (there["day"] - BEFORE < there["to_day"])]
    there = there.assign(pump_id=names[there["pump"]])
    choices = there.groupby("at")["pump_id"].agg(lambda ids: " / ".join(sorted(ids)))
    on = pd.Timestamp(0) + pd.to_timedelta(asked["day"], unit="D")
    dates = on.dt.strftime("%Y-%m-%d").fillna("no day")
    asked = asked.assign(
        question=question_ids("slot", asked["location"], dates),
        choices=choices.reindex(asked.index).fillna("a pump_id"),
        what=[
            f"Which pump stood at {place} on {moment}?"
            for place, moment in zip(asked["location"], dates, strict=True)
        ],
    )
    log.ask(asked, consequence="The rows that name only the place are set aside.")


def link_orders(tables: Tables, log: AuditLog) -> None:
    """Check that findings, issues and completions name an order that exists."""
    rebuilds = tables["rebuilds"]
    known = pd.Index(rebuilds["rebuild_id"].unique())
    findings = tables["findings"]
    lost = known.get_indexer(pd.Index(findings["rebuild_id"])) < 0
    unknown: pd.Series[bool] = pd.Series(lost, index=findings.index, dtype=bool)
    findings = set_aside(
        findings,
        unknown,
        log,
        table="findings",
        rule="unknown_order",
        what=[
            f"There is no order {word} in rebuilds, or it was set aside."
            for word in findings.loc[unknown, "rebuild_id"]
        ],
        remedy="Add the order to rebuilds or correct the id.",
    )
    tables["findings"] = _fill_only_pump(findings, rebuilds)
    for name, column in (("issued", "rebuild_id"), ("rebuilds", "completes")):
        tables[name] = _blank_unknown_order(tables[name], name, column, known, log)
    tables["issued"] = _fill_only_pump(tables["issued"], rebuilds)


def _fill_only_pump(frame: pd.DataFrame, rebuilds: pd.DataFrame) -> pd.DataFrame:
    """Give rows without a pump that of their order, where the order has one pump only."""
    if frame.empty:
        return frame
    pumps = rebuilds.groupby("rebuild_id")["pump"].agg(["min", "max"])
    single = pumps.loc[pumps["min"].eq(pumps["max"]), "min"]
    owner = frame["rebuild_id"].map(single).fillna(-1).astype(np.int64)
    names = rebuilds.drop_duplicates("pump").set_index("pump")["pump_id"]
    pump = frame["pump"].where(frame["pump"].ge(0), owner)
    written = frame["pump_id"].where(frame["pump_id"].ne(""), pump.map(names).fillna(""))
    return frame.assign(pump=pump, pump_id=written)


def _blank_unknown_order(
    frame: pd.DataFrame, name: str, column: str, known: "pd.Index[str]", log: AuditLog
) -> pd.DataFrame:
    unknown = frame[column].ne("").to_numpy(dtype=bool, copy=True)
    unknown[unknown] = known.get_indexer(pd.Index(frame.loc[unknown, column])) < 0
    log.add_rows(
        frame[unknown],
        severity="caution",
        rule="unknown_order",
        table=name,
        what=[
            f"{column} {word} is not in rebuilds, or was set aside."
            for word in frame.loc[unknown, column]
        ],
        consequence="The cell counts as not written.",
        remedy="Add the order to rebuilds or correct the id.",
    )
    return frame.assign(**{column: frame[column].mask(unknown, "")})


def check_part_names(tables: Tables, log: AuditLog) -> None:
    """Check that the parts blamed and looked at are parts that the plant lists."""
    parts = list(tables["parts"]["part"].unique())
    known = {*parts, *SIDE_WORDS, ""}
    rebuilds, findings = tables["rebuilds"], tables["findings"]
    strange = ~rebuilds["failed_part"].isin(known)
    log.add_rows(
        rebuilds[strange],
        severity="caution",
        rule="unknown_part",
        table="rebuilds",
        what=[
            f'failed_part "{word}" is not known as a part; taken as not written.'
            for word in rebuilds.loc[strange, "failed_part"]
        ],
        consequence="The failure is shared among the parts of the kit.",
        remedy=_part_remedies(rebuilds.loc[strange, "failed_part"], "rebuilds.failed_part", parts),
    )
    tables["rebuilds"] = rebuilds.assign(failed_part=rebuilds["failed_part"].mask(strange, ""))
    unknown = ~findings["part"].isin(known)
    tables["findings"] = set_aside(
        findings,
        unknown,
        log,
        table="findings",
        rule="unknown_part",
        what=[f'"{word}" is not known as a part.' for word in findings.loc[unknown, "part"]],
        remedy=_part_remedies(findings.loc[unknown, "part"], "findings.part", parts),
    )


def _part_remedies(words: "pd.Series", column: str, parts: list[str]) -> list[str]:
    lines = {word: mapping_line(column, word, parts) for word in words.unique()}
    return [
        f"Add it to parts, or say in plant.toml which part it is: {lines[word]}." for word in words
    ]
