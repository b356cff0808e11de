"""What stands on a rebuild ticket: what is due and why, which kit, what else, what came before."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import pandas as pd

from pumplife.errors import RecordError
from pumplife.policy.ready import NO_LEAD_TIME
from pumplife.records.storage import list_bags
from pumplife.stock.cure_dates import take_first
from pumplife.ticket.reading import Expected, expect_reading

if TYPE_CHECKING:
    from pumplife.ticket.face import HasDueList

Words = dict[str, str]
VISITS = 2
LONG_AHEAD = 91  # days: work on the other side due within them is done in the same opening


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Place:
    """One position of the side, as a line of the record.

    Attributes
    ----------
    part, position : str
        In the plant's words, and as the table `returned` writes it.
    in_kit : bool
        Whether the kit renews it: ticked beforehand.
    """

    part: str
    position: str
    in_kit: bool

    def __repr__(self) -> str:
        return f"Place({self.part} {self.position})"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RebuildTicket:
    """One ticket, in the words of its language.

    Attributes
    ----------
    ticket_id, pump_id, location, site, service, side, kit, store : str
    size_mm : float
        NaN where not known [mm].
    hazardous : bool
    planned : bool
        Whether a rebuild is due; otherwise the side runs to failure.
    do_on : Timestamp
        Last day on which to do it; NaT where nothing is planned.
    outage_on : Timestamp
        The outage at which it is done; NaT where at none.
    why, also, visits : tuple of str
        Sentences: why it is due, what else to do while it is open, the last work on this side.
    kit_words, cure_words : str
        Where the kit is, and which bag to take.
    expected : Expected
        What the meter should show on the day.
    places : tuple of Place
    """

    ticket_id: str
    pump_id: str
    location: str
    site: str
    service: str
    side: str
    kit: str
    store: str
    size_mm: float
    hazardous: bool
    planned: bool
    do_on: pd.Timestamp
    outage_on: pd.Timestamp
    why: tuple[str, ...]
    also: tuple[str, ...]
    visits: tuple[str, ...]
    kit_words: str
    cure_words: str
    expected: Expected
    places: tuple[Place, ...]

    def __repr__(self) -> str:
        return f"RebuildTicket({self.ticket_id})"


def make_ticket(study: HasDueList, pump_id: str, side: str, words: Words) -> RebuildTicket:
    """The ticket of one pump side.

    Parameters
    ----------
    study : Study
        With a due list.
    pump_id, side : str
        A row of the due list.
    words : dict
        See `load_words`.

    Raises
    ------
    RecordError
        When the due list has no such pump and side.
    """
    due = study.tables.get("due", pd.DataFrame(columns=["pump_id", "side"]))
    rows = due[due["pump_id"].str.casefold().eq(pump_id.casefold()) & due["side"].eq(side)]
    if rows.empty:
        known = ", ".join(due["pump_id"].drop_duplicates().head(5))
        raise RecordError(
            f"The due list has no {side} side of a pump {pump_id}"
            + (f"; it has {known} ..." if known else "; it is withheld, see the audit")
            + ". Correct the pump, or complete what its group lacks."
        )
    return _fill(study, rows.iloc[0], words)


def _fill(study: HasDueList, row: pd.Series[Any], words: Words) -> RebuildTicket:
    records = study.records
    pump = records.pumps.loc[records.pumps["pump_id"].eq(row["pump_id"])].iloc[0]
    planned = bool(pd.notna(row["do_on"]))
    places = list_places(study, int(pump["pump"]), str(row["side"]), str(row["kit"]))
    day = row["do_on"] if planned else records.plant.records_to
    stamp = f"{row['pump_id']}-{str(row['side'])[0].upper()}-{day:%Y%m%d}"
    return RebuildTicket(
        ticket_id=str(row["ticket_id"]) or stamp,
        pump_id=str(row["pump_id"]),
        location=str(row["location"]),
        site=str(row["site"]),
        service=str(row["service"]),
        side=str(row["side"]),
        kit=str(row["kit"]),
        store=str(row["store"]),
        size_mm=float(pump["size_mm"]),
        hazardous=row["hazard"] == "hazardous",
        planned=planned,
        do_on=row["do_on"],
        outage_on=row["outage_on"],
        why=tuple(_why(row, words, _unit(records, words))),
        also=tuple(_also(study, row, places, words)),
        visits=tuple(_visits(study, int(pump["pump"]), str(row["side"]), words)),
        kit_words=_kit_words(str(row["kit_ready"]), words),
        cure_words=_cure_words(study, row, words),
        expected=expect_reading(study, int(pump["pump"]), day),
        places=places,
    )


def _unit(records: Any, words: Words) -> str:
    return words[records.plant.usage_unit]


def list_places(study: HasDueList, pump: int, side: str, kit: str) -> tuple[Place, ...]:
    """The wearing positions of a side, those that the kit renews first."""
    assert study.lives is not None, "there is a due list"
    now = study.lives.now
    mine = now[(now["pump"] == pump) & (now["side"] == side)]
    contents = study.records.table("kit_contents")
    numbers = set(contents.loc[contents["kit"].eq(kit), "part_no"])
    parts = study.records.table("parts")
    held = set(parts.loc[parts["part_no"].isin(numbers), "part"])
    places = [
        Place(part=str(part), position=str(position), in_kit=part in held)
        for part, position in zip(mine["part"], mine["position"], strict=True)
    ]
    return tuple(sorted(places, key=lambda place: not place.in_kit))


def _why(row: pd.Series[Any], words: Words, unit: str) -> list[str]:
    """Why the side is due."""
    if pd.isna(row["do_on"]):
        return [words["why_none"]]
    told = {
        "interval": f"{row['due_usage']:,.0f}",
        "age": f"{row['age_now']:,.0f}",
        "over": f"{row['overdue_by']:,.0f}",
        "chance": f"{100 * row['failure_prob_by_due']:.0f} %",
        "day": _day(row["clock_from"]),
        "unit": unit,
    }
    known = row["age_known"] == "yes"
    keys = ["why_interval" if known else "why_least"]
    keys += ["why_since"] if known and told["day"] else []
    keys += ["why_overdue"] if row["overdue_by"] > 0 else []
    keys += ["why_without"] if row["without_advice"] else []
    keys += ["why_chance"] if row["failure_prob_by_due"] >= 0.01 else []
    return [words[key].format(**told) for key in keys]


def _also(
    study: HasDueList, row: pd.Series[Any], places: tuple[Place, ...], words: Words
) -> list[str]:
    """What else to do while the pump is open."""
    due = study.tables["due"]
    other = due[due["pump_id"].eq(row["pump_id"]) & due["side"].ne(row["side"])]
    day = row["do_on"] if pd.notna(row["do_on"]) else study.records.plant.records_to
    near = other[other["due_on"] <= day + pd.Timedelta(days=LONG_AHEAD)]
    told = [
        words["other_due"].format(side=words[side], day=_day(on), kit=kit)
        for side, on, kit in zip(near["side"], near["due_on"], near["kit"], strict=True)
    ]
    told += _left_worn(study, str(row["pump_id"]), str(row["side"]), words)
    loose = list(dict.fromkeys(place.part for place in places if not place.in_kit))
    told += [words["not_in_kit"].format(parts=", ".join(loose))] if loose else []
    return [*told, words["inspect"]]


def _left_worn(study: HasDueList, pump_id: str, side: str, words: Words) -> list[str]:
    """Positions that were graded 2 or worse and left in, and not renewed since."""
    assert study.lives is not None, "there is a due list"
    findings, rebuilds = study.records.table("findings"), study.records.table("rebuilds")
    day = rebuilds.drop_duplicates("rebuild_id").set_index("rebuild_id")["opened_on"]
    seen = findings.assign(day=findings["rebuild_id"].map(day))
    seen = seen[seen["pump_id"].eq(pump_id) & seen["action"].ne("renewed") & seen["grade"].ge(2)]
    now = study.lives.now[["pump_id", "side", "part", "position", "start_on"]]
    now = now[now["pump_id"].eq(pump_id) & now["side"].eq(side)]
    seen = seen.merge(now, on=["pump_id", "part", "position"])
    seen = seen[~(seen["start_on"] >= seen["day"])].sort_values("day", kind="stable")
    seen = seen.drop_duplicates(["part", "position"], keep="last")
    return [
        words["was_worn"].format(
            part=row.part, position=words[str(row.position)], grade=f"{row.grade:g}",
            day=_day(row.day),
        )
        for row in seen.itertuples()
    ]  # fmt: skip


def _visits(study: HasDueList, pump: int, side: str, words: Words) -> list[str]:
    """The last two visits to the side, a line each, the later first."""
    assert study.lives is not None, "there is a due list"
    visits = study.lives.visits
    mine = visits[(visits["pump"] == pump) & visits["side"].eq(side)]
    mine = mine.sort_values("day", kind="stable").drop_duplicates("rebuild_id", keep="last")
    lines = []
    for row in mine.tail(VISITS).iloc[::-1].to_dict("records"):
        day = pd.Timestamp(0) + pd.Timedelta(days=float(row["day"]))
        told = [f"{_day(day)} {words.get(str(row['reason']), str(row['reason']))}"]
        told += [str(row["failed_part"])] if row["failed_part"] not in ("", "none") else []
        told += [str(row["kit"])] if row["kit"] not in ("", "none") else []
        told += [str(row["rebuild_id"])]
        lines.append(", ".join(told))
    return lines or [words["no_visits"]]


def _kit_words(ready: str, words: Words) -> str:
    """Where the kit is: on the shelf, under way, or to be ordered."""
    starts = (("arrives", "arrives "), ("late", "late since "), ("order_by", "order by "))
    for key, start in starts:
        if ready.startswith(start):
            return words[key].format(day=ready.removeprefix(start))
    if ready == NO_LEAD_TIME:
        return words["no_lead_time"]
    return words.get(ready, ready)


def _cure_words(study: HasDueList, row: pd.Series[Any], words: Words) -> str:
    """Which bag to take: the first to expire of those good on the day and not promised before."""
    if row["kit_ready"] != "on_shelf":
        return ""
    due, records = study.tables["due"], study.records
    day = row["do_on"] if pd.notna(row["do_on"]) else records.plant.records_to
    rivals = due[due["store"].eq(row["store"]) & due["kit"].eq(row["kit"])]
    sooner = (rivals["do_on"] < day) | (
        rivals["do_on"].eq(day) & rivals["priority"].lt(row["priority"])
    )
    bag = take_first(
        list_bags(records.tables, records.plant),
        store=str(row["store"]),
        item=str(row["kit"]),
        fitted_on=day,
        promised=int(sooner.sum()),
    )
    if bag is None:
        return ""
    dated = pd.notna(bag.cure_date)
    return words["cure_first"].format(day=_day(bag.cure_date)) if dated else words["cure_unknown"]


def _day(moment: Any) -> str:
    return "" if pd.isna(moment) else f"{moment:%Y-%m-%d}"
