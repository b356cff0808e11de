"""From the story of each position to lives: the one place where censoring is decided.

The rules, in the order in which they apply to a life between two points of a position:
the age must be known at its start; a failure on a breakdown is exact, one found with the
pump still running, or beside the part that a breakdown is blamed on, lies between the last
look that found it sound and this visit; one of n
alike of equal age counts as one failure and n - 1 suspensions; a part renewed on condition
is worn; everything else that ended is a suspension at its own age.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from pumplife.lives.account import account_for_tickets
from pumplife.lives.actions import read_actions
from pumplife.lives.days import Floats, date_of
from pumplife.lives.marks import blamed_parts, kit_unknown, make_marks
from pumplife.lives.points import BEGIN, END, MARK, Flags, Ints, Points, lay_points
from pumplife.lives.positions import (
    build_positions,
    first_part_numbers,
    pump_parts,
    wearing_parts,
)
from pumplife.lives.sides import positions_now, visits_by_side
from pumplife.lives.visits import gather_visits, sort_tickets
from pumplife.records.duty import Duty
from pumplife.records.read import Records
from pumplife.records.usage import UsageClock

LIFE_COLUMNS = [
    "pump_id", "site", "service", "size_mm", "side", "part", "position", "material",
    "start_on", "end_on", "entry", "lower", "upper", "outcome", "mode", "endpoint",
    "usage_grade", "source_rows", "share_failed", "variant", "part_no", "kit", "event", "pump",
]  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Lives:
    """What the records say about how long parts last.

    Parameters
    ----------
    table : DataFrame
        One row per part life, `LIFE_COLUMNS`; entry, lower and upper in [usage units].
        `share_failed` is 1 for a failure, 0 for a suspension, and between them where a
        breakdown named no part (`event` numbers that breakdown, -1 elsewhere).
    now : DataFrame
        One row per wearing position of pumps in service at the end of the records:
        [pump, pump_id, side, part, part_no, position, material, variant, age, known, start_on].
    visits : DataFrame
        One row per visit and side: [pump, pump_id, rebuild_id, day, service, size_mm, site,
        side, reason, breakdown, kit, whole, renewed, failed_part, age, labour_h, downtime_h,
        waited_h, other_cost].
    """

    table: pd.DataFrame
    now: pd.DataFrame
    visits: pd.DataFrame

    def __repr__(self) -> str:
        return f"Lives({len(self.table)} lives, {len(self.visits)} visits)"


def build_lives(records: Records, duty: Duty, clock: UsageClock) -> Lives:
    """Build part lives from tickets, findings, issues and the usage clock.

    Every ticket is accounted for in the audit: used, used with an assumption, or set aside.
    """
    visits, tickets = gather_visits(sort_tickets(records))
    findings = records.table("findings")
    named = pd.concat(
        [
            tickets[["pump", "failed_part"]].rename(columns={"failed_part": "part"}),
            findings.loc[findings["pump"] >= 0, ["pump", "part"]],
        ]
    )
    positions = build_positions(pump_parts(records, tickets, named))
    positions["pos"] = np.arange(len(positions))
    actions = read_actions(records, tickets, positions)
    marks, unplaced = make_marks(visits, tickets, positions, actions)
    points = lay_points(records, duty, clock, positions, marks, visits)
    fitted = _fitted(records, positions, tickets, marks, points, actions.kits)
    spans = _spans(points)
    spans["reason"] = _at(visits["reason"], spans["visit"], "")
    blamed = blamed_parts(visits, tickets)
    spans = _judge(spans, points, marks, unplaced, blamed, positions, actions.slots, visits)
    spans = _bound(spans, clock)
    usable = spans[spans["keep"] & clock.known[spans["pump"]]]
    table = _label(records, duty, clock, points, usable, positions, fitted, visits)
    account_for_tickets(records, clock, tickets, visits, spans, kit_unknown(visits, actions))
    return Lives(
        table=table,
        now=positions_now(records, points, positions, fitted),
        visits=visits_by_side(records, duty, clock, visits, tickets, positions, marks, actions),
    )


def _at(column: "pd.Series[str]", rows: "pd.Series[int]", blank: str) -> "pd.Series[str]":
    return rows.map(column).fillna(blank)


def _fitted(
    records: Records, positions: pd.DataFrame, tickets: pd.DataFrame, marks: pd.DataFrame,
    points: Points, kits: pd.DataFrame,
) -> pd.DataFrame:
    """What is in place after each point: [part_no, kit, material, variant], rows as `points`."""
    first = first_part_numbers(records, positions, tickets)
    words = np.append(marks["part_no"].to_numpy(object), "")[points.mark]
    words = np.where(points.kind == BEGIN, first["part_no"].to_numpy(object)[points.pos], words)
    place = np.arange(len(words))
    latest = np.maximum.accumulate(np.where((words != "") | (points.kind == BEGIN), place, 0))
    part_no = words[latest]
    parts = wearing_parts(records).set_index("part_no")[["material", "variant"]]
    about = parts.reindex(part_no).fillna("").reset_index(drop=True)
    kit = kits.drop_duplicates("visit").set_index("visit")["kit"]
    fitted_kit = pd.Series(points.visit).map(kit).fillna("").to_numpy(object)
    fitted_kit = np.where(
        points.kind == BEGIN, first["kit"].to_numpy(object)[points.pos], fitted_kit
    )
    return about.assign(part_no=part_no, kit=fitted_kit[points.state])


def _spans(points: Points) -> pd.DataFrame:
    """Stretches between neighbouring points of one position whose age is known at the start."""
    start = np.flatnonzero(points.pos[:-1] == points.pos[1:])
    end = start + 1
    origin = points.origin_usage[start]
    spans = pd.DataFrame(
        {
            "pos": points.pos[start],
            "pump": points.pump[start],
            "start": start,
            "end": end,
            "visit": np.where(points.kind[end] == MARK, points.visit[end], -1),
            "mark": points.mark[end],
            "origin": origin,
            "origin_day": points.origin_day[start],
            "entry": points.usage[start] - origin,
            "age": points.usage[end] - origin,
            "keep": points.known[start],
        }
    )
    return spans


def _judge(
    spans: pd.DataFrame, points: Points, marks: pd.DataFrame, unplaced: pd.DataFrame,
    blamed: pd.DataFrame, positions: pd.DataFrame, slots: pd.DataFrame, visits: pd.DataFrame,
) -> pd.DataFrame:
    """How each stretch ended: columns failed, event, worn, sound_age, unnamed, unequal."""
    about = marks.reindex(spans["mark"].where(spans["mark"] >= 0)).reset_index(drop=True)
    flags = ["failed", "candidate", "masked", "renewed", "kitted"]
    spans[flags] = about[flags].isin([True]).to_numpy()
    spans["mode"] = about["mode"].fillna("").to_numpy()
    spans["worn"] = (
        about["found"].eq("worn").to_numpy() & spans["renewed"] & ~spans["kitted"]
    )
    spans["part"] = positions["part"].to_numpy(object)[spans["pos"]]
    spans["bystander"] = spans["failed"] & _another_blamed(spans, blamed)
    spans = _place_failures(spans, unplaced)
    spans["event"] = np.where(spans["masked"], spans["visit"], -1)
    unread = (spans["reason"] == "") & (spans["visit"] >= 0)
    named = spans["failed"].groupby(spans["visit"]).transform("any")
    spans["doubtful"] = spans["keep"] & unread & (spans["failed"] | ~named)
    spans["keep"] &= ~spans["doubtful"]
    spans["sound_age"] = _last_sound_age(spans, points, slots, visits)
    return spans


def _another_blamed(spans: pd.DataFrame, blamed: pd.DataFrame) -> "pd.Series[bool]":
    """Whether the visit's ticket blames other parts: then this one failed at some time before."""
    own = spans.reset_index(names="at").merge(blamed[["visit", "part"]], on=["visit", "part"])
    others = spans["visit"].isin(blamed["visit"])
    return others & ~spans.index.isin(own["at"])


def _place_failures(spans: pd.DataFrame, unplaced: pd.DataFrame) -> pd.DataFrame:
    """Give a failure whose position nobody wrote to one of n alike of equal age.

    Where their ages differ, which one failed decides its age: those lives are set aside.
    """
    spans = spans.merge(unplaced[["visit", "part", "fail_count"]], on=["visit", "part"], how="left")
    open_to = spans["candidate"]
    group = [spans["visit"], spans["part"]]
    origin = spans["origin_day"].where(spans["keep"], -np.inf).where(open_to)
    ranged = origin.groupby(group)
    equal = ranged.transform("max").eq(ranged.transform("min"))
    rank = open_to.astype(int).groupby(group).cumsum()
    alone = open_to.groupby(group).transform("sum").le(1)
    spans["failed"] |= open_to & equal & rank.le(spans["fail_count"])
    spans["unequal"] = open_to & ~equal
    spans["keep"] &= ~spans["unequal"]
    spans["unnamed"] = open_to & equal & ~alone
    return spans


def _last_sound_age(
    spans: pd.DataFrame, points: Points, slots: pd.DataFrame, visits: pd.DataFrame
) -> Floats:
    """Age at the last look before the end that found the part not failed; NaN if none."""
    looks = slots[slots["found"].isin(["sound", "worn"]) & (slots["action"] != "renewed")]
    looks = looks.merge(visits[["visit", "day", "order", "pump"]], on="visit")
    end_day = points.day[spans["end"]]
    base = 4_000_000.0  # days; wider than any calendar
    keys = np.sort(looks["pos"].to_numpy(float) * base + looks["day"].to_numpy(float))
    wanted = spans["pos"].to_numpy(float) * base + end_day
    place = np.searchsorted(keys, wanted, side="left") - 1
    found = place >= 0
    day = np.where(found, keys[np.maximum(place, 0)] if len(keys) else 0.0, np.nan)
    day = day - spans["pos"].to_numpy(float) * base
    return np.where(day >= points.day[spans["start"]], day, np.nan)


def _bound(spans: pd.DataFrame, clock: UsageClock) -> pd.DataFrame:
    """Lower and upper bound of every life from how it ended and what was seen before."""
    age = spans["age"].to_numpy(float)
    entry = spans["entry"].to_numpy(float)
    pump = spans["pump"].to_numpy(np.int64)
    failed = (spans["failed"] | spans["masked"]).to_numpy()
    running = ~spans["reason"].isin(["breakdown", ""]).to_numpy() | spans["bystander"].to_numpy()
    sound_day = spans["sound_age"].to_numpy(float)
    seen = np.isfinite(sound_day)
    sound = clock.usage(pump, np.where(seen, sound_day, 0.0)) - spans["origin"].to_numpy()
    between = running & (failed | spans["worn"].to_numpy())
    since = np.where(seen, sound, 0.0)
    blind = between & ~seen & (entry > 0)
    lower = np.where(between, np.minimum(since, age), age)
    upper = np.where(failed | spans["worn"].to_numpy(), age, np.inf)
    at_once = (failed | spans["worn"].to_numpy()) & (upper <= 0)
    upper = np.where(at_once, clock.rate[pump], upper)
    outcome = np.select(
        [failed & (lower < upper), failed, spans["worn"].to_numpy()],
        ["failed_between", "failed", "worn"],
        "suspended",
    )
    spans["blind"] = blind & spans["keep"]
    empty = ~failed & (age <= entry)
    spans["keep"] &= ~blind & ~empty & ~(at_once & ~(upper > 0))
    return spans.assign(lower=lower, upper=upper, outcome=outcome)


def _label(
    records: Records, duty: Duty, clock: UsageClock, points: Points, spans: pd.DataFrame,
    positions: pd.DataFrame, fitted: pd.DataFrame, visits: pd.DataFrame,
) -> pd.DataFrame:
    """The lives table, in the plant's words."""
    pump = spans["pump"].to_numpy(np.int64)
    start, end, pos = (spans[name].to_numpy(np.int64) for name in ("start", "end", "pos"))
    start_day, end_day = points.day[start], points.day[end]
    stint = duty.stints.iloc[duty.at(pump, start_day)].reset_index(drop=True)
    about = fitted.iloc[start].reset_index(drop=True)
    place = positions.iloc[pos].reset_index(drop=True)
    failed = spans["outcome"].str.startswith("failed").to_numpy()
    event = spans["event"].to_numpy(np.int64)
    shared = spans.groupby("event")["event"].transform("size").to_numpy()
    rows = visits["rows"]
    told = [_at(rows, pd.Series(points.visit[where]), "").to_numpy() for where in (start, end)]
    mode = spans["mode"].where(spans["mode"] != "", _at(visits["failure_mode"], spans["visit"], ""))
    worn = (spans["outcome"] == "worn").to_numpy()
    table = pd.DataFrame(
        {
            "pump_id": records.pumps["pump_id"].to_numpy(object)[pump],
            "site": stint["site"],
            "service": stint["service"],
            "size_mm": stint["size_mm"],
            "side": place["side"],
            "part": place["part"],
            "position": np.where(spans["unnamed"], "unknown", place["position"]),
            "material": about["material"],
            "start_on": date_of(spans["origin_day"].to_numpy(float)),
            "end_on": date_of(end_day),
            "entry": spans["entry"].to_numpy(float),
            "lower": spans["lower"].to_numpy(float),
            "upper": spans["upper"].to_numpy(float),
            "outcome": spans["outcome"].to_numpy(object),
            "mode": np.where(failed | worn, mode, ""),
            "endpoint": np.select([failed, worn], ["failed", "worn"], ""),
            "usage_grade": clock.graded(pump, start_day, end_day),
            "source_rows": [";".join(filter(None, pair)) for pair in zip(*told, strict=True)],
            "share_failed": np.where(event >= 0, 1.0 / shared, failed.astype(float)),
            "variant": about["variant"],
            "part_no": about["part_no"],
            "kit": about["kit"],
            "event": event,
            "pump": pump,
        }
    )
    return table[LIFE_COLUMNS]
