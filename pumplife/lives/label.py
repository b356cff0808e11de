"""The lives table in the plant's words: what was fitted where, and how each life reads."""

from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pumplife.lives.choose import choose
from pumplife.lives.days import date_of, distinct
from pumplife.lives.history import History
from pumplife.lives.points import BEGIN, Points
from pumplife.lives.positions import kit_parts, wearing_parts

Words = NDArray[np.object_]
FITTED = ("material", "variant", "part_no", "kit")

LIFE_COLUMNS = [
    "pump_id", "site", "service", "size_mm", "side", "part", "position", "material",
    "start_on", "end_on", "entry", "lower", "upper", "outcome", "mode", "endpoint",
    "usage_grade", "measured_share", "bridged_share", "assumed_share", "source_rows",
    "share_failed", "variant", "part_no", "kit", "event", "pump", "lot", "crew", "period", "shock",
]  # fmt: skip


def fitted_after(history: History, points: Points) -> pd.DataFrame:
    """What is in place after each point: [part_no, kit, material, variant], rows as `points`.

    The material is that of the part number, or the one that a finding gave the new part.
    """
    first, begin = history.first, points.kind == BEGIN
    words = np.append(history.marks["part_no"].to_numpy(object), "")[points.mark]
    words = np.where(begin, first["part_no"].to_numpy(object)[points.pos], words)
    latest = _latest((words != "") | begin)
    part_no = words[latest]
    parts = wearing_parts(history.records).set_index("part_no")[["material", "variant"]]
    row = parts.index.get_indexer(pd.Index(part_no))
    about = {name: np.append(parts[name].to_numpy(object), "")[row] for name in parts}
    for name, usual in about.items():
        named = np.append(history.marks[name].to_numpy(object), "")[points.mark]
        if not (named != "").any():
            continue
        told = _latest((named != "") | begin)
        about[name] = np.where((named[told] != "") & (told >= latest), named[told], usual)
    fitted_kit = _kit_of_points(history, points)
    fitted_kit = np.where(begin, first["kit"].to_numpy(object)[points.pos], fitted_kit)
    return pd.DataFrame({**about, "part_no": part_no, "kit": fitted_kit[points.state]})


def _latest(told: NDArray[np.bool_]) -> NDArray[np.int64]:
    """The last row up to each row of which something is told."""
    return np.maximum.accumulate(np.where(told, np.arange(len(told)), 0))


def _kit_of_points(history: History, points: Points) -> Words:
    """The kit that the visit at each point fitted on the side of its position, "" for none."""
    sides = kit_parts(history.records)[["kit", "side"]].drop_duplicates()
    fitted = history.actions.kits.merge(sides, on="kit").drop_duplicates(["visit", "side"])
    return _of_side(history, fitted, "kit")[points.visit, _side_of(history)[points.pos]]


def _side_of(history: History) -> NDArray[np.int64]:
    """Number of the side of each position: its place among the sides in their own order."""
    number: NDArray[np.int64] = pd.factorize(history.positions["side"])[0]
    return number


def _of_side(history: History, rows: pd.DataFrame, name: str) -> Words:
    """Words of rows [visit, side, name] by visit and number of the side; "" for none, or at -1."""
    names = pd.unique(history.positions["side"])
    words = np.full((len(history.visits) + 1, len(names) + 1), "", dtype=object)
    side = pd.Index(names).get_indexer(pd.Index(rows["side"]))
    words[rows["visit"].to_numpy(np.int64), side] = rows[name].to_numpy(object)
    words[:, -1] = ""
    return words


def _of_visit(history: History, rows: pd.DataFrame, name: str) -> Words:
    """Words of the first of rows [visit, name] by visit; "" for none, or at -1."""
    first = rows.drop_duplicates("visit")
    words = np.full(len(history.visits) + 1, "", dtype=object)
    words[first["visit"].to_numpy(np.int64)] = first[name].to_numpy(object)
    return words


def _bag_of_points(history: History, points: Points) -> tuple[Words, Words]:
    """Lot and crew of the visit that set each position's age, "" where nobody wrote them."""
    tickets, state = history.tickets, points.visit[points.state]
    written, known = tickets[tickets["lot"] != ""], tickets[tickets["crew"] != ""]
    blank = np.full(len(state), "", dtype=object)
    crew = _of_visit(history, known, "crew")[state] if len(known) else blank
    if written.empty:
        return blank, crew
    sides = kit_parts(history.records)[["kit", "side"]].drop_duplicates()
    told = written.merge(sides, on="kit").drop_duplicates(["visit", "side"])
    loose = _of_visit(history, written[~written["kit"].isin(sides["kit"])], "lot")[state]
    lot = _of_side(history, told, "lot")[state, _side_of(history)[points.pos]]
    return np.where(lot != "", lot, loose), crew


def label_lives(
    history: History, points: Points, fitted: pd.DataFrame, spans: pd.DataFrame
) -> dict[str, Any]:
    """Columns of the lives table, in the plant's words: `LIFE_COLUMNS`."""
    duty, visits = history.duty, history.visits
    pump = spans["pump"].to_numpy(np.int64)
    start, end, pos = (spans[name].to_numpy(np.int64) for name in ("start", "end", "pos"))
    start_day, end_day = points.day[start], points.day[end]
    stint = duty.at(pump, start_day)
    failed = spans["outcome"].isin(["failed", "failed_between"]).to_numpy()
    event = spans["event"].to_numpy(np.int64)
    shared = np.bincount(event + 1)[event + 1]
    worn = (spans["outcome"] == "worn").to_numpy()
    mode = _modes(visits, spans, failed | worn)
    lot, crew = _bag_of_points(history, points)
    what = np.append(history.records.table("events")["what"].to_numpy(object), "")
    origin_day = spans["origin_day"].to_numpy(float)
    row, asked = distinct(pump, origin_day, end_day)
    known = history.clock.shares(pump[row], origin_day[row], end_day[row])[asked]
    position = _take(history.positions, "position", pos)
    told = {
        "pump_id": _take(history.records.pumps, "pump_id", pump),
        **{name: _take(duty.stints, name, stint) for name in ("site", "service")},
        "size_mm": duty.stints["size_mm"].to_numpy(float)[stint],
        **{name: _take(history.positions, name, pos) for name in ("side", "part")},
        "position": np.where(spans["unnamed"], "unknown", position),
        "start_on": date_of(origin_day),
        "end_on": date_of(end_day),
        **{name: spans[name].to_numpy(float) for name in ("entry", "lower", "upper")},
        "outcome": spans["outcome"].to_numpy(object),
        "mode": mode,
        "endpoint": choose([failed, worn], ["failed", "worn"], ""),
        "usage_grade": spans["grade"].to_numpy(object),
        "measured_share": known[:, 0],
        "bridged_share": known[:, 1],
        "assumed_share": known[:, 2],
        "source_rows": _source_rows(visits, points.visit[start], points.visit[end]),
        "share_failed": np.where(event >= 0, 1.0 / shared, failed.astype(float)),
        **{name: _take(fitted, name, start) for name in FITTED},
        "event": event,
        "pump": pump,
        "lot": lot[start],
        "crew": crew[start],
        "period": np.full(len(pump), "", dtype=object),
        "shock": what[spans["shock"].to_numpy(np.int64)],
    }
    return {name: told[name] for name in LIFE_COLUMNS}


def _modes(visits: pd.DataFrame, spans: pd.DataFrame, ended: NDArray[np.bool_]) -> Words:
    """How the lives that `ended` failed, by finding or else by ticket; "" for all others."""
    mode = np.full(len(spans), "", dtype=object)
    found = spans["mode"].to_numpy(object)[ended]
    written = np.append(visits["failure_mode"].to_numpy(object), "")
    mode[ended] = np.where(found != "", found, written[spans["visit"].to_numpy(np.int64)[ended]])
    return mode


def _take(frame: pd.DataFrame, name: str, row: NDArray[np.int64]) -> Words:
    """A column of words at these rows."""
    words: Words = frame[name].to_numpy(object)[row]
    return words


def _source_rows(visits: pd.DataFrame, start: NDArray[np.int64], end: NDArray[np.int64]) -> Words:
    """Ticket rows of the visits at both ends of each life; lives of one pair share their words."""
    rows = np.append(visits["rows"].to_numpy(object), "")
    base = len(visits) + 1
    pair, pairs = pd.factorize((start + 1) * base + end + 1)
    told = zip(rows[pairs // base - 1], rows[pairs % base - 1], strict=True)
    return np.array([";".join(filter(None, both)) for both in told], dtype=object)[pair]


def label_unseen(
    history: History, points: Points, fitted: pd.DataFrame, spans: pd.DataFrame
) -> pd.DataFrame:
    """What sat in positions of unknown age at the end of these stretches, see `Lives.unseen`."""
    pump = spans["pump"].to_numpy(np.int64)
    start, pos = spans["start"].to_numpy(np.int64), spans["pos"].to_numpy(np.int64)
    stint = history.duty.stints.iloc[history.duty.at(pump, points.day[start])]
    place, about = history.positions.iloc[pos], fitted.iloc[start]
    return pd.DataFrame(
        {
            "event": spans["event"].to_numpy(np.int64),
            "service": stint["service"].to_numpy(object),
            "side": place["side"].to_numpy(object),
            "part": place["part"].to_numpy(object),
            "material": about["material"].to_numpy(object),
            "variant": about["variant"].to_numpy(object),
            "period": "",
            "size_mm": stint["size_mm"].to_numpy(float),
        }
    )
