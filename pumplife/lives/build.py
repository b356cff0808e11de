"""From the story of each position to lives: the one place where censoring is decided.

The rules, in the order in which they apply to a life between two points of a position:
the age must be known at its start; a failure on a breakdown is exact, one found with the
pump still running, or beside the part that a breakdown is blamed on, lies between the last
look that found it sound and this visit; one of n alike counts as one failure and n - 1
suspensions where their ages are equal, and else is shared among them by their hazards; a part
renewed on condition is worn; everything else that ended is a suspension at its own age. A
failure within the days of a dated shock is no wear: it too is a suspension, and counts as demand.
"""

from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pumplife.lives.account import account_positions, make_account, what_came_of_visits
from pumplife.lives.blocks import (
    MOST_TICKETS,
    Block,
    Columns,
    WholeNumbers,
    cut_pumps,
    join,
    join_blocks,
)
from pumplife.lives.choose import choose
from pumplife.lives.days import Floats, Ints, distinct
from pumplife.lives.events import (
    date_lives,
    find_shocks,
    list_shocks,
    say_kindless,
    say_shocks,
    suspend_at_shocks,
)
from pumplife.lives.history import Gathered, History, gather, lay_history
from pumplife.lives.label import fitted_after, label_lives, label_unseen
from pumplife.lives.marks import blamed_parts
from pumplife.lives.open_points import (
    first_kits_assumed,
    open_questions,
    say_first_kits,
    say_open_questions,
    say_turned,
)
from pumplife.lives.points import MARK, MOVE, Points, lay_points
from pumplife.lives.sides import positions_now, visits_by_side
from pumplife.records.duty import Duty
from pumplife.records.read import Records
from pumplife.records.second import in_turn
from pumplife.records.usage import UsageClock


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Lives:
    """What the records say about how long parts last.

    Parameters
    ----------
    table : DataFrame
        One row per part life, `label.LIFE_COLUMNS`; entry, lower and upper in [usage units].
        `share_failed` is 1 for a failure, 0 for a suspension, and between them where nobody
        wrote which part, or which of several alike, failed (`event` numbers that failure, -1
        elsewhere).
    now : DataFrame
        One row per wearing position of pumps in service at the end of the records:
        [pump, pump_id, side, part, part_no, position, material, variant, kit, age, known, most,
        start_on].
    visits : DataFrame
        One row per visit and side: [pump, pump_id, rebuild_id, day, service, size_mm, site,
        side, reason, breakdown, kit, whole, renewed, failed_part, age (usage since the last
        whole renewal), age_of_kit (since the last kit), labour_h, downtime_h, waited_h,
        other_cost].
    unseen : DataFrame
        Parts of unknown age among which a failure that nobody placed may lie:
        [event, service, side, part, material, variant, size_mm].
    shocks : DataFrame
        Failures laid to a dated shock, which are no wear: `events.SHOCK_COLUMNS`.
    dated : DataFrame
        Age of each life at the lasting events of its site and service: [life, event, age].
    account : DataFrame
        What became of every ticket, finding and position, see `make_account`.
    gathered : Gathered or None
        What the lives were built from.
    """

    table: pd.DataFrame
    now: pd.DataFrame
    visits: pd.DataFrame
    unseen: pd.DataFrame
    shocks: pd.DataFrame = field(default_factory=pd.DataFrame)
    dated: pd.DataFrame = field(default_factory=pd.DataFrame)
    account: pd.DataFrame = field(default_factory=pd.DataFrame)
    gathered: Gathered | None = None

    def __repr__(self) -> str:
        return f"Lives({len(self.table)} lives, {len(self.visits)} visits)"


@pd.option_context("mode.copy_on_write", True)
def build_lives(records: Records, duty: Duty, clock: UsageClock) -> Lives:
    """Build part lives from tickets, findings, issues and the usage clock.

    Every ticket is accounted for in the audit: used, used with an assumption, or set aside.
    Frames are widened and cut many times: they are copied only where they are written to.
    """
    gathered = gather(records, duty, clock)
    gathered = replace(gathered, shock=find_shocks(gathered))
    blocks, table = build_blocks(gathered)
    asked = join([block.asked for block in blocks])
    say_open_questions(gathered, asked)
    say_shocks(gathered, join([block.shocks for block in blocks]))
    say_first_kits(records, join([block.first_kits for block in blocks]))
    say_turned(records)
    account = make_account(gathered, asked, blocks)
    say_kindless(records)
    lives = Lives(**join_blocks(blocks, table, len(gathered.visits)))
    return replace(lives, account=account, gathered=gathered)


def rebuild_lives(history: History) -> Lives:
    """Build lives anew from a history that was changed for a what-if; the audit gets nothing."""
    visits, columns = len(history.visits), Columns()
    block, table = _build_block(history, visits)
    columns.add(table, 1.0)
    return Lives(**join_blocks([block], columns.frame(), visits))


def build_blocks(gathered: Gathered) -> tuple[list[Block], pd.DataFrame]:
    """Build the lives of some pumps at a time: the blocks, and the table of all lives."""
    columns, blocks = Columns(), []
    pumps, visits = len(gathered.records.pumps), len(gathered.visits)
    runs = list(cut_pumps(gathered, MOST_TICKETS))

    def build(mine: Ints) -> tuple[Block, dict[str, Any]]:
        return _build_block(lay_history(gathered, mine), visits)

    built = in_turn(build, runs, len(gathered.tickets))
    for mine, (block, table) in zip(runs, built, strict=True):
        columns.add(table, (mine[-1] + 1) / pumps)
        blocks.append(block)
    return blocks, columns.frame()


def _build_block(history: History, visits: int) -> tuple[Block, dict[str, Any]]:
    """Build the lives of a history, cut out of so many visits: the block and their columns."""
    points = lay_points(history)
    spans = judge_spans(history, points)
    asked, findings = open_questions(history, spans), history.actions.findings
    told = what_came_of_visits(history, spans)
    account = account_positions(history, points, spans)
    fitted = fitted_after(history, points)
    usable = spans[spans["keep"] & history.clock.known[spans["pump"]]]
    whole = WholeNumbers(number=history.number, visits=visits)
    table = label_lives(history, points, fitted, usable)
    table["event"] = whole.of_events(table["event"])
    unseen = label_unseen(history, points, fitted, spans[spans["masked"] & ~spans["known"]])
    unseen["event"] = whole.of_events(unseen["event"].to_numpy(np.int64))
    block = Block(
        lives=len(table["event"]),
        now=positions_now(history, points, fitted),
        visits=whole.of_visits(visits_by_side(history)),
        unseen=unseen,
        shocks=whole.of_visits(list_shocks(history)),
        dated=date_lives(history, points, usable),
        shared=whole.of_visits(_visits_and_parts(history, spans)),
        asked=whole.of_visits(asked),
        first_kits=first_kits_assumed(history),
        told=pd.Series(told, index=history.number),
        findings=whole.of_visits(findings),
        positions=account,
    )
    return block, table


def _visits_and_parts(history: History, spans: pd.DataFrame) -> pd.DataFrame:
    """Every visit at the end of a stretch with the parts that it ends: [visit, part], sorted."""
    code, parts = pd.factorize(history.positions["part"], sort=True)
    pair = np.sort(pd.unique(spans["visit"].to_numpy(np.int64) * len(parts) + code[spans["pos"]]))
    visit, part = np.divmod(pair, max(len(parts), 1))
    return pd.DataFrame({"visit": visit, "part": parts.to_numpy(object)[part]})


def judge_spans(history: History, points: Points) -> pd.DataFrame:
    """Every stretch between neighbouring points of a position, and how it ended."""
    marked = _read_marks(history, _spans(history, points))
    marked = suspend_at_shocks(history, marked)
    spans = _bound(_judge(history, points, marked), history.clock)
    spans["grade"] = _grade(points, spans, history.clock)
    return spans


def _grade(points: Points, spans: pd.DataFrame, clock: UsageClock) -> NDArray[np.object_]:
    """How well the usage within each stretch is known, see `UsageClock.graded`."""
    pump = spans["pump"].to_numpy(np.int64)
    start, end = (points.day[spans[name].to_numpy(np.int64)] for name in ("start", "end"))
    row, asked = distinct(pump, start, end)
    return clock.graded(pump[row], start[row], end[row])[asked]


def _spans(history: History, points: Points) -> pd.DataFrame:
    """Stretches between neighbouring points of one position whose age is known at the start."""
    start = np.flatnonzero(points.pos[:-1] == points.pos[1:])
    end = start + 1
    origin = points.origin_usage[start]
    visit = np.where(points.kind[end] == MARK, points.visit[end], -1)
    reason = history.visits["reason"]
    running = ~reason.isin(["breakdown", ""]).to_numpy()
    return pd.DataFrame(
        {
            "pos": points.pos[start],
            "pump": points.pump[start],
            "start": start,
            "end": end,
            "visit": visit,
            "unread": np.append(reason.eq("").to_numpy(), False)[visit],
            "running": np.append(running, False)[visit],
            "mark": points.mark[end],
            "moved": points.kind[end] == MOVE,
            "origin": origin,
            "origin_day": points.origin_day[start],
            "entry": points.usage[start] - origin,
            "age": points.usage[end] - origin,
            "known": points.known[start],
            "keep": points.known[start],
        }
    )


def _read_marks(history: History, spans: pd.DataFrame) -> pd.DataFrame:
    """What the marks say of each stretch's end: failed, candidate, masked, worn, part."""
    marks, mark = history.marks, spans["mark"].to_numpy(np.int64)
    for flag in ("failed", "candidate", "masked", "renewed", "kitted"):
        spans[flag] = np.append(marks[flag].to_numpy(bool), False)[mark]
    spans["mode"] = np.append(marks["mode"].to_numpy(object), "")[mark]
    worn = np.append(marks["found"].eq("worn").to_numpy(), False)[mark]
    spans["worn"] = worn & spans["renewed"] & ~spans["kitted"]
    spans["part"] = history.positions["part"].to_numpy(object)[spans["pos"]]
    return spans


def _judge(history: History, points: Points, spans: pd.DataFrame) -> pd.DataFrame:
    """How each stretch ended: columns failed, event, sound_day, unnamed, shared, unequal."""
    blamed = blamed_parts(history.visits, history.tickets)
    told = (spans["failed"] | spans["candidate"]).to_numpy()
    spans["bystander"] = False
    spans.loc[told, "bystander"] = _another_blamed(spans.loc[told, ["visit", "part"]], blamed)
    spans["sound_day"] = _last_sound_day(history, points, spans)
    spans = _place_failures(spans, history.unplaced)
    spans["event"] = _number_events(spans, len(history.visits))
    named = spans["failed"].groupby(spans["visit"]).transform("any")
    spans["doubtful"] = spans["keep"] & spans["unread"] & (spans["failed"] | ~named)
    spans["keep"] &= ~spans["doubtful"]
    return spans


def _another_blamed(told: pd.DataFrame, blamed: pd.DataFrame) -> NDArray[np.bool_]:
    """Whether the ticket of each [visit, part] blames others: this failed at some time before."""
    keys = ["visit", "part"]
    own = told.merge(blamed[keys].assign(own=True), on=keys, how="left")["own"]
    return np.asarray(told["visit"].isin(blamed["visit"]).to_numpy() & own.isna().to_numpy())


def _place_failures(spans: pd.DataFrame, unplaced: pd.DataFrame) -> pd.DataFrame:
    """Give a failure whose position nobody wrote to one of n alike, or share it among them.

    One of equal age stands for any other. Where ages differ, one failure is shared among them
    (`masked`). Two or more failures among more than two are set aside, as is a failure found
    with the pump running where nothing says that one of them was sound when it came into sight.
    """
    names = ["shared", "unequal", "unnamed", "failed"]
    spans[names[:-1]] = False
    open_to = spans["candidate"].to_numpy()
    told = _place_candidates(spans[open_to].reset_index(drop=True), unplaced)
    for name in names:
        spans.loc[open_to, name] |= told[name].to_numpy()
    spans["masked"] |= spans["shared"]
    spans["keep"] &= ~spans["unequal"]
    return spans


def _place_candidates(spans: pd.DataFrame, unplaced: pd.DataFrame) -> pd.DataFrame:
    """Of stretches that are candidates: failed, shared, unequal or unnamed."""
    keys = ["visit", "part"]
    count = spans[keys].merge(unplaced[[*keys, "fail_count"]], on=keys, how="left")["fail_count"]
    group = [spans[key] for key in keys]
    ranged = spans["origin_day"].where(spans["keep"], -np.inf).groupby(group)
    number = ranged.transform("size")
    equal = ranged.transform("max").eq(ranged.transform("min")) | number.le(count)
    unseen = (spans["keep"] & _seen_too_late(spans)).groupby(group).transform("any")
    shared = ~equal & count.eq(1) & ~unseen
    return pd.DataFrame(
        {
            "failed": equal & (ranged.cumcount() + 1).le(count),
            "shared": shared,
            "unequal": ~equal & ~shared,
            "unnamed": equal & number.gt(count),
        }
    )


def _seen_too_late(spans: pd.DataFrame) -> "pd.Series[bool]":
    """Whether a failure found here may have happened before the part came into sight."""
    return _found_running(spans) & spans["sound_day"].isna() & (spans["entry"] > 0)


def _found_running(spans: pd.DataFrame) -> "pd.Series[bool]":
    """Whether a failure that ended the life was found with the pump running."""
    return spans["running"] | spans["bystander"]


def _number_events(spans: pd.DataFrame, visits: int) -> Ints:
    """Number of the failure that a life shares with others, -1 where it shares none.

    A breakdown with no part named has its visit's number, a failure among several alike one
    above all visits' numbers.
    """
    if not spans["shared"].any():
        return np.where(spans["masked"], spans["visit"], -1)
    alike = visits + spans.groupby(["visit", "part"]).ngroup()
    return np.select([spans["shared"], spans["masked"]], [alike, spans["visit"]], -1)


def _last_sound_day(history: History, points: Points, spans: pd.DataFrame) -> Floats:
    """Day of the last look before the end that found the part not failed; NaN if none."""
    slots = history.actions.slots
    looks = slots[slots["found"].isin(["sound", "worn"])]
    looks = looks[looks["action"] != "renewed"].merge(history.visits[["visit", "day"]], on="visit")
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
    sound_day = spans["sound_day"].to_numpy(float)
    seen = np.isfinite(sound_day)
    sound = np.zeros(len(spans))
    sound[seen] = clock.usage(pump[seen], sound_day[seen]) - spans["origin"].to_numpy(float)[seen]
    between = _found_running(spans).to_numpy() & (failed | spans["worn"].to_numpy())
    since = np.where(seen, sound, 0.0)
    blind = between & _seen_too_late(spans).to_numpy()
    lower = np.where(between, np.minimum(since, age), age)
    upper = np.where(failed | spans["worn"].to_numpy(), age, np.inf)
    at_once = (failed | spans["worn"].to_numpy()) & (upper <= 0)
    upper = np.where(at_once, clock.rate[pump], upper)
    outcome = choose(
        [failed & (lower < upper), failed, spans["worn"].to_numpy()],
        ["failed_between", "failed", "worn"],
        "suspended",
    )
    spans["blind"] = blind & spans["keep"]
    empty = ~failed & (age <= entry)
    spans["keep"] &= ~blind & ~empty & ~(at_once & ~(upper > 0))
    spans["lower"], spans["upper"], spans["outcome"] = lower, upper, outcome
    return _until_seen(spans, sound, seen)


def _until_seen(spans: pd.DataFrame, sound: Floats, seen: NDArray[np.bool_]) -> pd.DataFrame:
    """End a suspension at a move where the part was last seen sound, if it was found failed later.

    Found failed after the move and not looked at since, it may have failed before the move: that
    it was alive then is known only up to the last look in the old duty.
    """
    after = np.append(spans["blind"].to_numpy(), False)[1:]
    same = np.append(np.diff(spans["pos"].to_numpy()) == 0, False)
    doubted = spans["moved"].to_numpy() & after & same
    lower, entry = spans["lower"].to_numpy(float), spans["entry"].to_numpy(float)
    lower = np.where(doubted, np.where(seen, sound, entry), lower)
    unseen = doubted & ~(lower > entry)
    spans["keep"] &= ~unseen
    spans["lower"], spans["unseen_alive"] = lower, unseen & spans["known"].to_numpy()
    return spans
