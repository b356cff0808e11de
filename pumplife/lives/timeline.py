"""The story of chosen pumps in time, as the lives read it: for the eye of the engineer."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from pumplife.lives.account import judge_stretches
from pumplife.lives.build import judge_spans
from pumplife.lives.history import Gathered, History, lay_history
from pumplife.lives.points import MARK, Points, lay_points
from pumplife.lives.visits import windows
from pumplife.records.plant import to_days

ENDS = ("failed", "found failed", "may have failed", "worn", "renewed", "age lost")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Timeline:
    """What happened to some pumps, as far as the records tell.

    Parameters
    ----------
    stretches : DataFrame
        [pump_id, side, part, position, start, end (days since 1970-01-01), status, reason] one
        row per stretch between two points of a position; status and reason as in the account.
    events : DataFrame
        [pump_id, side, part, position, day, what] what ended a stretch (one of `ENDS`) or was
        looked at (sound / worn / failed, and kept); with side, part and position blank: tickets
        by their reason, and moves by the duty that they began.
    stints : DataFrame
        [pump_id, start, end, in_service, service, location] clipped to the records.
    windows : dict of str to (float, float)
        First and last day of the records of each pump.
    """

    stretches: pd.DataFrame
    events: pd.DataFrame
    stints: pd.DataFrame
    windows: dict[str, tuple[float, float]]

    def __repr__(self) -> str:
        return f"Timeline({self.stints['pump_id'].nunique()} pumps, {len(self.events)} events)"

    @property
    def window(self) -> tuple[float, float]:
        """First and last day of the records of all these pumps."""
        first, last = zip(*self.windows.values(), strict=True)
        return min(first), max(last)

    def of(self, pump_id: str) -> "Timeline":
        """The story of one of these pumps."""
        stretches, events, stints = (
            frame[frame["pump_id"] == pump_id].reset_index(drop=True)
            for frame in (self.stretches, self.events, self.stints)
        )
        return Timeline(
            stretches=stretches,
            events=events,
            stints=stints,
            windows={pump_id: self.windows[pump_id]},
        )


def lay_timeline(gathered: Gathered, pumps: Sequence[int]) -> Timeline:
    """Lay out the story of pumps.

    Parameters
    ----------
    gathered : Gathered
        What the lives were built from.
    pumps : sequence of int
        Rows of the register.
    """
    mine = lay_history(gathered, np.asarray(pumps, dtype=np.int64))
    points = lay_points(mine)
    spans = judge_spans(mine, points)
    first, last = (bound[list(pumps)].tolist() for bound in windows(gathered.records))
    names = gathered.records.pumps["pump_id"].to_numpy(object)
    events = [_ends(mine, points, spans), _looks(mine), _tickets(mine), _moves(mine, pumps)]
    every = pd.concat(events, ignore_index=True).fillna({"side": "", "part": "", "position": ""})
    every["pump_id"] = names[every.pop("pump").to_numpy(np.int64)]
    return Timeline(
        stretches=_stretches(mine, points, spans),
        events=every.sort_values(["pump_id", "day"], kind="stable", ignore_index=True),
        stints=_stints(mine, pumps),
        windows=dict(zip(names[list(pumps)], zip(first, last, strict=True), strict=True)),
    )


def _stretches(history: History, points: Points, spans: pd.DataFrame) -> pd.DataFrame:
    status, reason = judge_stretches(history, points, spans)
    place = history.positions.iloc[spans["pos"]].reset_index(drop=True)
    return pd.DataFrame(
        {
            "pump_id": history.records.pumps["pump_id"].to_numpy(object)[place["pump"]],
            "side": place["side"],
            "part": place["part"],
            "position": place["position"],
            "start": points.day[spans["start"]],
            "end": points.day[spans["end"]],
            "status": np.asarray(status, dtype=object),
            "reason": np.asarray(reason, dtype=object),
        }
    )


def _ends(history: History, points: Points, spans: pd.DataFrame) -> pd.DataFrame:
    ended = spans[points.kind[spans["end"]] == MARK]
    between = ended["outcome"].eq("failed_between")
    found = ended["failed"] & between
    cases = [ended["masked"], found, ended["failed"], ended["worn"], ended["renewed"]]
    words = ["may have failed", "found failed", "failed", "worn", "renewed"]
    place: pd.DataFrame = history.positions.iloc[ended["pos"]].reset_index(drop=True)
    what = np.select([case.to_numpy(bool) for case in cases], words, "age lost")
    return place[["pump", "side", "part", "position"]].assign(
        day=points.day[ended["end"].to_numpy(np.int64)], what=what
    )


def _looks(history: History) -> pd.DataFrame:
    slots = history.actions.slots
    looked = slots[(slots["found"] != "") & (slots["action"] != "renewed")]
    place: pd.DataFrame = history.positions.iloc[looked["pos"]].reset_index(drop=True)
    day = history.visits["day"].to_numpy(float)[looked["visit"].to_numpy(np.int64)]
    return place[["pump", "side", "part", "position"]].assign(
        day=day, what=(looked["found"] + ", kept").to_numpy(object)
    )


def _tickets(history: History) -> pd.DataFrame:
    first = history.tickets.drop_duplicates("visit")
    what = first["reason"].replace({"": "reason not known"})
    return pd.DataFrame({"pump": first["pump"], "day": first["day"], "what": what})


def _moves(history: History, pumps: Sequence[int]) -> pd.DataFrame:
    """Changes of duty: to the store, back, or to other service."""
    stints = history.duty.stints
    began = stints[stints["pump"].isin(pumps) & np.isfinite(stints["from_day"])]
    place = began["location"].where(began["location"] != "", began["service"])
    what = ("to " + place).where(began["in_service"], "to the store")
    return pd.DataFrame({"pump": began["pump"], "day": began["from_day"], "what": what})


def _stints(history: History, pumps: Sequence[int]) -> pd.DataFrame:
    stints = history.duty.stints
    mine = stints[stints["pump"].isin(pumps)]
    pump = mine["pump"].to_numpy(np.int64)
    first, last = (bound[pump] for bound in windows(history.records))
    about = history.records.pumps.iloc[pump]
    start = np.fmax(np.fmax(mine["from_day"], to_days(about["commissioned_on"])), first)
    end = np.fmin(np.fmin(mine["to_day"], to_days(about["retired_on"]) + 1.0), last + 1.0)
    told = mine[["in_service", "service", "location"]].assign(
        pump_id=about["pump_id"].to_numpy(object), start=start, end=end
    )
    return told[told["start"] < told["end"]].reset_index(drop=True)
