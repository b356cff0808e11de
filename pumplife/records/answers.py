"""What each kind of answer changes in the clean tables."""

from dataclasses import dataclass
from typing import Any

import pandas as pd

from pumplife.records.phrases import find_near, squeeze
from pumplife.records.plant import to_day
from pumplife.records.tables import TABLES

Tables = dict[str, pd.DataFrame]

APPLIED, LEFT, BAD, GONE = "applied", "left", "bad", "gone"
LEAVING = ("two", "stayed")
"""Answers that confirm what the records say and change nothing."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Decision:
    """One row of decisions.csv.

    Attributes
    ----------
    question : str
        Its id.
    kind : str
        See `decisions.KINDS`.
    about : tuple of str
        What the id names.
    answer : str
        As written.
    row : int
        Its row in the file.
    on : str
        When it was decided, in words.
    """

    question: str
    kind: str
    about: tuple[str, ...]
    answer: str
    row: int
    on: str


@dataclass(frozen=True, slots=True)
class Outcome:
    """What became of a decision: its state, and why or what follows, in words."""

    state: str
    words: str = ""


def _order_rows(tables: Tables, order: str, pump_id: str) -> "pd.Series[bool]":
    rebuilds = tables["rebuilds"]
    rows: pd.Series[bool] = rebuilds["rebuild_id"].eq(order) & rebuilds["pump_id"].eq(pump_id)
    return rows


def _no_order(order: str, pump_id: str) -> Outcome:
    return Outcome(GONE, f"Rebuilds has no order {order} of {pump_id}, or it was set aside")


def _fill(tables: Tables, decision: Decision, column: str, word: str) -> Outcome:
    """Write a word where an order's cell is blank."""
    order, pump_id = decision.about[:2]
    rows = _order_rows(tables, order, pump_id)
    if not bool(rows.any()):
        return _no_order(order, pump_id)
    cells = tables["rebuilds"][column]
    blank = rows & cells.eq("")
    if not bool(blank.any()):
        written = " and ".join(cells[rows].unique())
        return Outcome(GONE, f"Rebuilds now says {column} {written} for order {order}")
    tables["rebuilds"] = tables["rebuilds"].assign(**{column: cells.mask(blank, word)})
    return Outcome(APPLIED, f"{column} of order {order} counts as {word}.")


def _known(word: str, known: "pd.Series[str] | list[str]", noun: str) -> tuple[str, Outcome]:
    """Give the plant's spelling of a word, or the outcome of one that it doesn't know."""
    names = [str(name) for name in pd.unique(pd.Series(known, dtype=object))]
    alike = {squeeze(name): name for name in names}
    if squeeze(word) in alike:
        return alike[squeeze(word)], Outcome(APPLIED)
    near = find_near(word, names)
    hint = f"; the closest is {near}" if near else ""
    return "", Outcome(BAD, f"there is no {noun} {word}{hint}")


def name_part(tables: Tables, decision: Decision) -> Outcome:
    """Write failed_part on a breakdown that named none."""
    parts = [*tables["parts"]["part"].unique(), "none"]
    part, outcome = _known(decision.answer, parts, "part")
    return _fill(tables, decision, "failed_part", part) if part else outcome


def name_kit(tables: Tables, decision: Decision) -> Outcome:
    """Write the kit on an order that named none."""
    kit, outcome = _known(decision.answer, [*tables["kits"]["kit"], "none"], "kit")
    return _fill(tables, decision, "kit", kit) if kit else outcome


def name_reason(tables: Tables, decision: Decision) -> Outcome:
    """Write the reason of an order whose word isn't known."""
    codes = list(TABLES["rebuilds"].column("reason").codes)
    reason, outcome = _known(decision.answer, codes, "reason")
    return _fill(tables, decision, "reason", reason) if reason else outcome


def _add(tables: Tables, name: str, rows: list[dict[str, Any]], decision: Decision) -> None:
    """Add rows to a table in its types; `row` names the decision."""
    frame = tables[name]
    new = pd.DataFrame(rows).assign(file="decisions", row=decision.row)
    new = new.reindex(columns=frame.columns)
    for column in frame.columns:
        kind = frame[column].dtype
        if pd.api.types.is_object_dtype(kind):
            new[column] = new[column].astype(object).where(new[column].notna(), "")
        elif pd.api.types.is_bool_dtype(kind):
            new[column] = new[column].eq(True)
        elif column == "pump":
            new[column] = new[column].fillna(-1)
        new[column] = new[column].astype(kind)
    tables[name] = pd.concat([frame, new], ignore_index=True) if len(frame) else new


def _finding(tables: Tables, order: str, pump_id: str, **cells: Any) -> dict[str, Any]:
    rows = _order_rows(tables, order, pump_id)
    pump = int(tables["rebuilds"].loc[rows, "pump"].iloc[0])
    return {"rebuild_id": order, "pump_id": pump_id, "pump": pump, **cells}


def name_renewed(tables: Tables, decision: Decision) -> Outcome:
    """Add findings for a kit fitted in part: what was renewed, what was kept."""
    order, pump_id, kit = decision.about
    rows = _order_rows(tables, order, pump_id) & tables["rebuilds"]["kit"].eq(kit)
    if not bool(rows.any()):
        return Outcome(GONE, f"Rebuilds has no order {order} of {pump_id} with kit {kit}")
    parts = tables["parts"].drop_duplicates("part_no").set_index("part_no")["part"]
    contents = tables["kit_contents"]
    held = list(contents.loc[contents["kit"].eq(kit), "part_no"].map(parts).dropna().unique())
    renewed = held
    if squeeze(decision.answer) != "all":
        words = [word for word in decision.answer.replace(";", ",").split(",") if word.strip()]
        found = [_known(word.strip(), held, f"part of kit {kit}") for word in words]
        bad = next((outcome for part, outcome in found if not part), None)
        if bad or not found:
            return bad or Outcome(BAD, "it names no part")
        renewed = [part for part, _ in found]
    told = [
        _finding(
            tables,
            order,
            pump_id,
            part=part,
            found="not_checked",
            action="renewed" if part in renewed else "kept",
        )
        for part in held
    ]
    _add(tables, "findings", told, decision)
    return Outcome(APPLIED, f"Order {order} renewed {', '.join(renewed)} of kit {kit}.")


def name_position(tables: Tables, decision: Decision) -> Outcome:
    """Add the finding that says which of several alike failed."""
    order, pump_id, part = decision.about
    codes = [c for c in TABLES["findings"].column("position").codes if c != "unknown"]
    place, outcome = _known(decision.answer, codes, "position")
    if not place:
        return outcome
    if not bool(_order_rows(tables, order, pump_id).any()):
        return _no_order(order, pump_id)
    row = _finding(tables, order, pump_id, part=part, position=place)
    _add(tables, "findings", [row | {"found": "failed", "action": "renewed"}], decision)
    return Outcome(APPLIED, f"At order {order} the {part} at {place} failed and was renewed.")


def settle_kept(tables: Tables, decision: Decision) -> Outcome:
    """Correct findings of parts found failed and kept."""
    order, pump_id = decision.about
    answer = squeeze(decision.answer)
    if answer not in ("renewed", "sound"):
        return Outcome(BAD, "it is neither renewed nor sound")
    findings = tables["findings"]
    own = findings["rebuild_id"].eq(order) & findings["pump_id"].isin([pump_id, ""])
    rows = own & findings["found"].eq("failed") & findings["action"].ne("renewed")
    if not bool(rows.any()):
        return Outcome(GONE, f"Findings has no part of order {order} found failed and kept")
    column = "action" if answer == "renewed" else "found"
    tables["findings"] = findings.assign(**{column: findings[column].mask(rows, answer)})
    return Outcome(APPLIED, f"The part found failed and kept at order {order} counts as {answer}.")


def join_orders(tables: Tables, decision: Decision) -> Outcome:
    """Let the later of two orders complete the earlier, where they are one event."""
    later, earlier, pump_id = decision.about
    answer = squeeze(decision.answer)
    if answer not in ("one", "two"):
        return Outcome(BAD, "it is neither one nor two")
    rows = _order_rows(tables, later, pump_id)
    for order, there in ((later, rows), (earlier, _order_rows(tables, earlier, pump_id))):
        if not bool(there.any()):
            return _no_order(order, pump_id)
    if answer == "two":
        return Outcome(LEFT, "They stay two events.")
    rebuilds = tables["rebuilds"]
    tables["rebuilds"] = rebuilds.assign(completes=rebuilds["completes"].mask(rows, earlier))
    return Outcome(APPLIED, f"Order {later} counts as the end of order {earlier}.")


def settle_meter(tables: Tables, decision: Decision) -> Outcome:
    """Give a counter its digits, note the exchange of a meter, or set a reading aside."""
    pump_id, day = decision.about
    word, _, value = decision.answer.casefold().partition(" ")
    readings = tables["readings"]
    own = readings["pump_id"].eq(pump_id)
    at = own & readings["read_on"].eq(_moment(day))
    noted = _noted_meters(tables["rebuilds"], pump_id)
    if not bool(at.any()) and _moment(day) not in set(noted["day"]):
        return Outcome(GONE, f"{pump_id} has no meter reading of {day}")
    if word == "wrong":
        return _drop_reading(tables, pump_id, day, at)
    if word not in ("rollover", "exchange") or not _is_count(value):
        return Outcome(BAD, "it is neither rollover with a number, exchange with one, nor wrong")
    if word == "rollover":
        digits = readings["digits"].mask(own & readings["digits"].isna(), float(value))
        tables["readings"] = readings.assign(digits=digits)
        return Outcome(APPLIED, f"The counter of {pump_id} has {value.strip()} digits.")
    return _exchange(tables, pump_id, day, float(value), decision)


def _is_count(word: str) -> bool:
    return word.strip().replace(".", "", 1).isdigit()


def _moment(day: str) -> pd.Timestamp:
    """Read an ISO date; NaT where it is none."""
    moment: pd.Timestamp = pd.to_datetime(pd.Series([day]), errors="coerce", format="%Y-%m-%d")[0]
    return moment


def _noted_meters(rebuilds: pd.DataFrame, pump_id: str) -> pd.DataFrame:
    rows = rebuilds[rebuilds["pump_id"].eq(pump_id) & rebuilds["meter"].notna()]
    day = rows["happened_on"].fillna(rows["opened_on"])
    return rows.assign(day=day)[["pump", "day", "meter"]]


def _drop_reading(tables: Tables, pump_id: str, day: str, at: "pd.Series[bool]") -> Outcome:
    tables["readings"] = tables["readings"][~at].reset_index(drop=True)
    rebuilds = tables["rebuilds"]
    dated = rebuilds["happened_on"].fillna(rebuilds["opened_on"]).eq(_moment(day))
    noted = dated & rebuilds["pump_id"].eq(pump_id)
    tables["rebuilds"] = rebuilds.assign(meter=rebuilds["meter"].mask(noted))
    return Outcome(APPLIED, f"The meter reading of {pump_id} of {day} is left out.")


def _exchange(tables: Tables, pump_id: str, day: str, start: float, decision: Decision) -> Outcome:
    """Note that the meter was exchanged at the last reading before a day."""
    readings = tables["readings"]
    before = readings["pump_id"].eq(pump_id) & (readings["read_on"] < _moment(day))
    noted = _noted_meters(tables["rebuilds"], pump_id)
    noted = noted[noted["day"] < _moment(day)]
    last = readings[before].sort_values("read_on").tail(1)
    tickets = noted.sort_values("day").tail(1)
    if last.empty and tickets.empty:
        return Outcome(GONE, f"{pump_id} has no meter reading before {day}")
    newer = len(tickets) and (last.empty or tickets["day"].iloc[0] > last["read_on"].iloc[0])
    if newer:
        row: dict[str, Any] = {"pump_id": pump_id, "pump": tickets["pump"].iloc[0]}
        row |= {"new_meter_start": start}
        row |= {"read_on": tickets["day"].iloc[0], "reading": tickets["meter"].iloc[0]}
        for name in ("unit", "multiplier") if len(last) else ():
            row[name] = last[name].iloc[0]
        _add(tables, "readings", [row], decision)
    else:
        at = readings.index.isin(last.index)
        begun = readings["new_meter_start"].mask(at, start)
        tables["readings"] = readings.assign(new_meter_start=begun)
    return Outcome(
        APPLIED,
        f"The meter of {pump_id} counts as exchanged at the reading before {day}, the new one "
        f"starting at {start:g}.",
    )


def name_unit(tables: Tables, decision: Decision) -> Outcome:
    """Say whether a counter counts strokes or cycles."""
    (pump_id,) = decision.about
    answer = squeeze(decision.answer)
    if answer not in ("strokes", "cycles"):
        return Outcome(BAD, "it is neither strokes nor cycles")
    pumps, readings = tables["pumps"], tables["readings"]
    own = readings["pump_id"].eq(pump_id) & readings["unit"].ne("hours")
    if not bool(own.any()):
        return Outcome(GONE, f"{pump_id} has no counter in readings")
    written = readings["unit"].mask(own & readings["unit"].ne(""), answer)
    tables["readings"] = readings.assign(unit=written)
    counts = pumps["pump_id"].eq(pump_id) & pumps["meter_unit"].ne("hours")
    tables["pumps"] = pumps.assign(meter_unit=pumps["meter_unit"].mask(counts, answer))
    return Outcome(APPLIED, f"The counter of {pump_id} counts {answer}.")


def name_pump(tables: Tables, decision: Decision) -> Outcome:
    """Give the rows that name only a place on a day their pump."""
    place, day = decision.about
    pump_id, outcome = _known(decision.answer, tables["pumps"]["pump_id"], "pump")
    if not pump_id:
        return outcome
    given = 0
    for name, dates in (
        ("rebuilds", ["happened_on", "opened_on"]),
        ("readings", ["read_on"]),
        ("issued", ["issued_on"]),
    ):
        frame = tables[name]
        when = frame[dates[0]].fillna(frame[dates[-1]])
        rows = frame["pump_id"].eq("") & frame["location"].eq(place) & when.eq(_moment(day))
        tables[name] = frame.assign(pump_id=frame["pump_id"].mask(rows, pump_id))
        given += int(rows.sum())
    if not given:
        return Outcome(GONE, f"No row names only the place {place} on {day}")
    return Outcome(APPLIED, f"{pump_id} stood at {place} on {day}.")


def settle_move(tables: Tables, decision: Decision) -> Outcome:
    """Add the move that nobody wrote."""
    pump_id, place, day = decision.about
    answer = squeeze(decision.answer)
    if answer not in ("moved", "stayed"):
        return Outcome(BAD, "it is neither moved nor stayed")
    if answer == "stayed":
        return Outcome(LEFT, "The place in pumps and moves counts.")
    if pump_id not in set(tables["pumps"]["pump_id"]) or pd.isna(to_day(_moment(day))):
        return Outcome(GONE, f"Pumps doesn't list {pump_id}")
    row = {"pump_id": pump_id, "moved_on": _moment(day), "location": place}
    _add(tables, "moves", [row | {"state": "in_service"}], decision)
    return Outcome(APPLIED, f"{pump_id} counts as moved to {place} on {day}.")
