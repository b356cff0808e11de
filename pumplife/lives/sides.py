"""Pump sides: what each visit did to a side, and what sits in each position today."""

from collections.abc import Iterator, Sequence

import numpy as np
import pandas as pd

from pumplife.lives.days import Floats, date_of
from pumplife.lives.history import History
from pumplife.lives.marks import blamed_parts
from pumplife.lives.points import END, Points, begin_of_positions
from pumplife.lives.positions import kit_parts
from pumplife.records.plant import to_days

NOW_COLUMNS = [
    "pump", "pump_id", "side", "part", "part_no", "position", "material", "variant", "kit",
    "age", "known", "most", "start_on",
]  # fmt: skip


def positions_now(history: History, points: Points, fitted: pd.DataFrame) -> pd.DataFrame:
    """Age of every wearing position at the end of the records [usage units].

    `known` is "yes", or "at least" where the last renewal was not seen; `most` is then the age
    if nothing was renewed when it was lost from sight (inf where that isn't known either). Pumps
    retired by then are left out.
    """
    records, positions = history.records, history.positions
    last = np.flatnonzero(points.kind == END)
    retired = to_days(records.pumps["retired_on"])[points.pump[last]]
    last = last[np.isnan(retired) | (retired > points.day[last])]
    pump = points.pump[last]
    place = positions.iloc[points.pos[last]].reset_index(drop=True)
    about = fitted.iloc[last].reset_index(drop=True)
    seen_from = points.usage[points.state[last]]
    since = np.where(points.known[last], points.origin_usage[last], seen_from)
    before = np.maximum(points.state[last] - 1, 0)
    traced = points.known[before] & (points.pos[before] == points.pos[last])
    longest = np.where(traced, points.usage[last] - points.origin_usage[before], np.inf)
    age = points.usage[last] - since
    now = pd.DataFrame(
        {
            "pump": pump,
            "pump_id": records.pumps["pump_id"].to_numpy(object)[pump],
            "side": place["side"],
            "part": place["part"],
            "part_no": about["part_no"],
            "position": place["position"],
            "material": about["material"],
            "variant": about["variant"],
            "kit": about["kit"],
            "age": age,
            "known": np.where(points.known[last], "yes", "at least"),
            "most": np.where(points.known[last], age, longest),
            "start_on": date_of(np.where(points.known[last], points.origin_day[last], np.nan)),
        }
    )
    return now[NOW_COLUMNS]


def _sides_touched(history: History, inside: pd.DataFrame) -> pd.DataFrame:
    """Visits × sides that a kit, a blamed part or a mark speaks of: [visit, side]."""
    positions, marks = history.positions, history.marks
    sides = positions[["pump", "part", "side"]].drop_duplicates()
    kits = history.actions.kits.merge(inside[["kit", "side"]].drop_duplicates(), on="kit")
    blamed = blamed_parts(history.visits, history.tickets).merge(sides, on=["pump", "part"])
    marked = _count_by_side(positions, marks[marks["renewed"] | marks["failed"]])
    told = pd.concat([frame[["visit", "side"]] for frame in (kits, blamed, marked)])
    return told.drop_duplicates()


def _count_by_side(positions: pd.DataFrame, marks: pd.DataFrame) -> pd.DataFrame:
    """Marks by visit and side: [visit, pump, side, number]."""
    code, sides = pd.factorize(positions["side"])
    pos, many = marks["pos"].to_numpy(np.int64), max(len(sides), 1)
    key = marks["visit"].to_numpy(np.int64) * many + code[pos]
    number = np.bincount(key)
    told = np.flatnonzero(number)
    of_visit = np.zeros(len(number), dtype=np.int64)
    of_visit[key] = positions["pump"].to_numpy(np.int64)[pos]
    return pd.DataFrame(
        {
            "visit": told // many,
            "pump": of_visit[told],
            "side": sides.to_numpy(object)[told % many],
            "number": number[told],
        }
    )


def _renewal_share(marks: pd.DataFrame, positions: pd.DataFrame) -> pd.DataFrame:
    """Per visit and side: [visit, side, renewed (any), whole (every wearing position)]."""
    counts = positions.groupby(["pump", "side"]).size().rename("of").reset_index()
    done = _count_by_side(positions, marks[marks["renewed"]])
    done = done.merge(counts, on=["pump", "side"])
    done["whole"] = done["number"] >= done["of"]
    return done.assign(renewed=True)[["visit", "side", "renewed", "whole"]]


def _ages_at(
    history: History, sides: pd.DataFrame, restarts: Sequence["pd.Series[bool]"]
) -> Iterator[Floats]:
    """Usage since the side's last visit that restarts, NaN where none was seen [usage units].

    One array for each of `restarts`.
    """
    records, clock, positions = history.records, history.clock, history.positions
    begin = begin_of_positions(records, positions).assign(
        pump=positions["pump"], side=positions["side"]
    )
    begin = begin.drop_duplicates(["pump", "side"])
    keyed = sides.reset_index(names="at").merge(begin, on=["pump", "side"], how="left")
    keyed = keyed.sort_values(["pump", "side", "day", "order"], kind="stable")
    side = keyed.groupby(["pump", "side"], sort=False).ngroup()
    pump = keyed["pump"].to_numpy(np.int64)
    usage = clock.usage(pump, keyed["day"].to_numpy(float))
    at = keyed["at"].to_numpy(np.int64)
    for restart in restarts:
        whole_day = keyed["day"].where(restart.to_numpy(bool)[at])
        previous = whole_day.groupby(side).ffill().groupby(side).shift()
        origin = previous.fillna(keyed["origin"].where(keyed["known"].isin([True])))
        since = clock.usage(pump, origin.fillna(0.0).to_numpy(float))
        yield np.where(origin.notna(), usage - since, np.nan)[np.argsort(at)]


def visits_by_side(history: History) -> pd.DataFrame:
    """One row per visit and side it touched, with the side's age then and what it cost.

    Hours and costs of a visit that touched both sides are shared between them.
    """
    records, duty, tickets = history.records, history.duty, history.tickets
    inside = kit_parts(records)
    touched = _sides_touched(history, inside)
    sides = history.visits.merge(touched, on="visit").sort_values(["visit", "side"])
    sides = sides.merge(
        _renewal_share(history.marks, history.positions), on=["visit", "side"], how="left"
    )
    sides[["renewed", "whole"]] = sides[["renewed", "whole"]].isin([True])
    kits = history.actions.kits.merge(inside[["kit", "side"]].drop_duplicates(), on="kit")
    kits = kits.drop_duplicates(["visit", "side"])[["visit", "side", "kit"]]
    sides = sides.merge(kits, on=["visit", "side"], how="left").reset_index(drop=True)
    blamed = tickets.loc[~tickets["failed_part"].isin(["", "none"])].drop_duplicates("visit")
    sides["failed_part"] = sides["visit"].map(blamed.set_index("visit")["failed_part"]).fillna("")
    sides["kit"] = sides["kit"].fillna("")
    restarts = (sides["whole"], sides["whole"] | (sides["kit"] != ""))
    sides["age"], sides["age_of_kit"] = _ages_at(history, sides, restarts)
    number = sides.groupby("visit")["visit"].transform("size")
    lost = sides["production_lost_h"]
    sides["downtime_h"] = lost.fillna(sides["downtime_h"] - sides["waited_h"].fillna(0.0))
    for column in ("labour_h", "downtime_h", "waited_h", "other_cost"):
        sides[column] = sides[column] / number
    pump = sides["pump"].to_numpy(np.int64)
    stint = duty.worked_at(pump, sides["day"].to_numpy(float))
    for column in ("service", "size_mm", "site"):
        sides[column] = duty.stints[column].to_numpy()[stint]
    sides["breakdown"] = sides["reason"] == "breakdown"
    sides["pump_id"] = records.pumps["pump_id"].to_numpy(object)[pump]
    return sides.drop(columns=["order", "kits", "production_lost_h"])
