"""Rules over where pumps stood: moves that nobody wrote, two pumps in one place, numbers reused."""

import numpy as np
import pandas as pd

from pumplife.lives.rules.rule import tell
from pumplife.lives.rules.story import Story, date_words
from pumplife.lives.visits import windows
from pumplife.records.plant import to_days
from pumplife.records.questions import question_ids

MISSING = 3
"""So many rows of a pump that the register lacks make it a missing pump."""


def _placed_rows(story: Story) -> pd.DataFrame:
    """Rows of rebuilds, readings and issued that name both pump and place: table, row, pump_id,
    pump, location, day, and where the pump stood (place, from_day)."""
    dated = []
    for name, column in (("rebuilds", ""), ("readings", "read_on"), ("issued", "issued_on")):
        rows = story.records.table(name)
        rows = rows[rows["location"].ne("") & rows["pump"].ge(0)]
        when = rows[column] if column else rows["happened_on"].fillna(rows["opened_on"])
        dated.append(
            rows[["row", "pump_id", "pump", "location"]].assign(table=name, day=to_days(when))
        )
    rows = pd.concat(dated, ignore_index=True)
    at = story.duty.at(rows["pump"].to_numpy(np.int64), rows["day"].to_numpy(dtype=np.float64))
    stints = story.duty.stints
    return rows.assign(
        place=stints["location"].to_numpy(object)[at], from_day=stints["from_day"].to_numpy()[at]
    )


def find_unwritten_moves(story: Story) -> pd.DataFrame:
    """Pumps that rows place where neither pumps nor moves ever puts them."""
    rows = _placed_rows(story)
    stints = story.duty.stints
    own = pd.MultiIndex.from_frame(stints[["pump", "location"]].drop_duplicates())
    strange = ~pd.MultiIndex.from_frame(rows[["pump", "location"]]).isin(own)
    away = rows[rows["place"].ne("") & strange]
    first = away.sort_values("day", kind="stable").drop_duplicates(["pump", "location", "from_day"])
    counts = away.groupby(["pump", "location", "from_day"]).size()
    key = pd.MultiIndex.from_frame(first[["pump", "location", "from_day"]])
    days = date_words(first["day"])
    asked = question_ids("move", first["pump_id"], first["location"], days)
    what = [
        f"{count} rows from {day} on place the pump at {place}; pumps and moves say {other}."
        for count, day, place, other in zip(
            counts.reindex(key), days, first["location"], first["place"], strict=True
        )
    ]
    told = tell(first.assign(question=asked, choices="moved / stayed"), "rebuilds", what)
    return told.assign(table=first["table"].to_numpy(object))


def find_two_in_slot(story: Story) -> pd.DataFrame:
    """Places at which two pumps stand in service at one time."""
    spells = story.duty.occupied().sort_values(["location", "from_day"], kind="stable")
    until = spells.groupby("location")["to_day"].cummax().groupby(spells["location"]).shift(1)
    before = spells["pump"].groupby(spells["location"]).shift(1)
    end = story.end + 1.0
    double = (spells["from_day"] < until - 1.0) & (spells["from_day"] < end)
    found = spells[double]
    pumps = story.records.pumps
    pump = found["pump"].to_numpy(np.int64)
    names = pumps["pump_id"].to_numpy(object)
    at = found.assign(row=pumps["row"].to_numpy()[pump], pump_id=names[pump])
    what = [
        f"At {place} stands {names[int(other)]} too."
        for place, other in zip(found["location"], before[found.index], strict=True)
    ]
    return tell(at, "pumps", what).drop_duplicates(["row", "what"])


def find_moves_outside_life(story: Story) -> pd.DataFrame:
    """Moves before the pump was commissioned or after it was retired."""
    moves = story.records.table("moves")
    moves = moves[moves["pump"].ge(0) & ~moves["plan"].astype(bool)]
    day, pump = to_days(moves["moved_on"]), moves["pump"].to_numpy(np.int64)
    early = day < story.duty.commissioned[pump] - 1.0
    late = (day > story.duty.retired[pump] + 1.0) & moves["state"].ne("in_store")
    found = moves[early | late]
    when = np.where(early[early | late], "before it was commissioned", "after it was retired")
    return tell(found, "moves", [f"The pump moves {word}." for word in when])


def find_idle_moves(story: Story) -> pd.DataFrame:
    """Moves that change nothing: out of store twice, or to where the pump stands."""
    stints = story.duty.stints
    words = ["in_service", "site", "service", "location"]
    alike = stints["pump"].eq(stints["pump"].shift(1))
    for name in words:
        alike &= stints[name].eq(stints[name].shift(1))
    moves = story.records.table("moves")
    real = moves[moves["pump"].ge(0) & ~moves["plan"].astype(bool)]
    plain = real[["state", "location", "site", "service"]].astype(bool).any(axis=1)
    place = story.duty.at(real["pump"].to_numpy(np.int64), to_days(real["moved_on"]))
    found = real[plain.to_numpy() & alike.to_numpy()[place]]
    return tell(found, "moves", "The row moves the pump to where and how it is already.")


def find_reused_numbers(story: Story) -> pd.DataFrame:
    """Pumps with orders long after they were retired, or long before they were commissioned."""
    rebuilds = story.records.table("rebuilds")
    rebuilds = rebuilds[rebuilds["pump"].ge(0)]
    pump = rebuilds["pump"].to_numpy(np.int64)
    day = to_days(rebuilds["happened_on"].fillna(rebuilds["opened_on"]))
    away = (day > story.duty.retired[pump] + 30.0) | (day < story.duty.commissioned[pump] - 30.0)
    orders = rebuilds[away].drop_duplicates("rebuild_id").groupby("pump").size()
    found = story.records.pumps.iloc[orders.index[orders >= 2]]
    what = [
        f"{count} orders lie outside the pump's service: was the number given to another pump?"
        for count in orders[orders >= 2]
    ]
    return tell(found, "pumps", what)


def find_missing_pumps(story: Story) -> pd.DataFrame:
    """Pumps that orders and readings name again and again and the register lacks."""
    lost = story.records.log.rows_of(["unknown_pump"])
    counts = lost.groupby("pump_id")["row"].transform("size")
    found = lost[counts >= MISSING].drop_duplicates("pump_id")
    what = [
        f"{count} rows name a pump {name} that pumps doesn't list."
        for count, name in zip(counts[found.index], found["pump_id"], strict=True)
    ]
    return tell(found, "rebuilds", what).assign(table=found["table"].to_numpy(object))


def find_wrong_renewals(story: Story) -> pd.DataFrame:
    """Last renewals before commissioning, or inside the window where orders should show them."""
    pumps = story.records.pumps
    told = []
    start = windows(story.records)[0]
    for side in ("fluid", "air"):
        day = to_days(pumps[f"last_{side}_renewal_on"])
        early, late = day < story.duty.commissioned, day > start + 1.0
        found = pumps[early | late]
        words = np.where(early[early | late], "before commissioned_on", "inside the records")
        what = [f"last_{side}_renewal_on is {word}." for word in words]
        told.append(tell(found, "pumps", what))
    return pd.concat(told, ignore_index=True)
