"""Rules over the order of orders: overlaps, doubles, numbers used twice, dates far apart."""

import numpy as np
import pandas as pd

from pumplife.lives.rules.rule import tell
from pumplife.lives.rules.story import SILENT, Story, date_words, within_days
from pumplife.records.questions import question_ids

NEAR = 3.0
"""Two breakdowns of one part of one pump within so many days may be one event [day]."""
LONG_OPEN = 60.0
"""An order open for longer is doubtful where the plant closes its orders sooner [day]."""
LONG_AFTER = 90.0
"""Rows of one order, or an order and the one it finishes, so far apart are doubtful [day]."""
HOURS_TIMES = 20.0
"""Hours of so many times the median of the reason are doubtful."""
BATCH = 5
"""Breakdowns of so many pumps on one day are doubtful where they are a fifth of all."""


def _steps(orders: pd.DataFrame) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Pair each order with the one before it on the same pump: earlier, later; rows alike."""
    pump = orders["pump"].to_numpy()
    follows = np.zeros(len(orders), dtype=np.bool_)
    follows[1:] = pump[1:] == pump[:-1]
    later = np.flatnonzero(follows)
    after = orders.iloc[later].reset_index(drop=True)
    before = orders.iloc[later - 1].reset_index(drop=True)
    return before, after


def _apart(before: pd.DataFrame, after: pd.DataFrame) -> "pd.Series[bool]":
    """Whether neither of two orders is said to finish the other, and both were done."""
    joined = after["completes"].eq(before["rebuild_id"]) | before["completes"].eq(
        after["rebuild_id"]
    )
    both = after["completes"].ne("") & after["completes"].eq(before["completes"])
    return ~joined & ~both & before["done"].ne("no") & after["done"].ne("no")


def _with_sides(story: Story) -> pd.DataFrame:
    """Orders with whether they fitted a kit of the fluid and of the air side."""
    tickets, place = story.tickets, np.arange(len(story.orders))
    return story.orders.assign(
        **{
            side: np.isin(place, tickets.loc[tickets["kit_side"].eq(side), "place"])
            for side in ("fluid", "air")
        }
    )


def _other_side(before: pd.DataFrame, after: pd.DataFrame) -> "pd.Series[bool]":
    """Whether each of two orders names a side and the two have none in common."""
    fluid, air = (
        [order[side] | order["side"].eq(side) for order in (before, after)]
        for side in ("fluid", "air")
    )
    named = (fluid[0] | air[0]) & (fluid[1] | air[1])
    return named & ~(fluid[0] & fluid[1]) & ~(air[0] & air[1])


def _one_or_two(after: pd.DataFrame, before: pd.DataFrame) -> pd.DataFrame:
    asked = question_ids("event", after["rebuild_id"], before["rebuild_id"], after["pump_id"])
    return after.assign(question=asked, choices="one / two")


def find_overlaps(story: Story) -> pd.DataFrame:
    """Orders opened while another on the pump was open and stayed so for days."""
    orders = _with_sides(story).sort_values(["pump", "opened"], kind="stable", ignore_index=True)
    ended = orders["closed"].notna() & (orders["closed"] >= orders["opened"])
    before, after = _steps(orders[ended])
    inside = (after["opened"] < before["closed"] - 1.0) & _apart(before, after)
    inside &= ~_other_side(before, after)
    before, after = before[inside], after[inside]
    what = [
        f"The order was opened on {day}, while {other} on the same pump was open until {closed}."
        for day, other, closed in zip(
            date_words(after["opened"]),
            before["rebuild_id"],
            date_words(before["closed"]),
            strict=True,
        )
    ]
    return tell(_one_or_two(after, before), "rebuilds", what)


def find_doubles(story: Story) -> pd.DataFrame:
    """Breakdowns of one part of one pump that lie so near that they may be one event."""
    before, after = _steps(story.orders)
    near = (after["day"] - before["day"]) <= NEAR
    broke = before["reason"].eq("breakdown") & after["reason"].eq("breakdown")
    part = before["part"].eq(after["part"]) & after["part"].ne("")
    double = near & broke & part & _apart(before, after)
    before, after = before[double], after[double]
    what = [
        f"Order {number} of {days:.0f} days before is a breakdown of the same {part}."
        for number, days, part in zip(
            before["rebuild_id"], after["day"] - before["day"], after["part"], strict=True
        )
    ]
    return tell(_one_or_two(after, before), "rebuilds", what)


def find_planned_after_breakdown(story: Story) -> pd.DataFrame:
    """Planned kits on the side of a breakdown of the day before or the same day."""
    before, after = _steps(_with_sides(story))
    pair = before["reason"].eq("breakdown") & after["reason"].eq("planned")
    same = (before["fluid"] & after["fluid"]) | (before["air"] & after["air"])
    same |= ~(before["fluid"] | before["air"]) & after["fluid"] & before["side"].eq("fluid")
    same |= ~(before["fluid"] | before["air"]) & after["air"] & before["side"].eq("air")
    found = pair & same & (after["day"] - before["day"] <= 1.0) & _apart(before, after)
    before, after = before[found], after[found]
    what = [
        f"A planned kit right after the breakdown of order {number} on the same side."
        for number in before["rebuild_id"]
    ]
    return tell(_one_or_two(after, before), "rebuilds", what)


def find_numbers_reused(story: Story) -> pd.DataFrame:
    """Order numbers whose rows on one pump lie months apart."""
    tickets = story.tickets
    first = tickets.groupby(["pump", "order"])["day"].transform("min")
    far = tickets[tickets["day"] - first > LONG_AFTER].drop_duplicates(["pump", "order"])
    days = far["day"] - first[far.index]
    what = [
        f"Order {number} has an earlier row on this pump, {gap:.0f} days before."
        for number, gap in zip(far["rebuild_id"], days, strict=True)
    ]
    return tell(far, "rebuilds", what)


def find_closed_late(story: Story) -> pd.DataFrame:
    """Orders open far longer than the plant leaves its orders open."""
    orders = story.orders
    open_for = orders["closed"] - orders["opened"]
    usual = open_for.dropna().median()
    late = orders[(open_for > LONG_OPEN) & (open_for > 10.0 * max(usual, 1.0))]
    what = [
        f"Open for {days:.0f} days; half of the plant's orders are closed within {usual:.0f}."
        for days in open_for[late.index]
    ]
    return tell(late, "rebuilds", what)


def find_failed_long_before(story: Story) -> pd.DataFrame:
    """Failures dated months before their order, or after it was opened."""
    orders = story.orders
    gap = orders["opened"] - orders["day"]
    wrong = orders[(gap > LONG_OPEN) | (gap < -1.0) & orders["reason"].eq("breakdown")]
    what = [
        f"The failure is dated {abs(days):.0f} days {'before' if days > 0 else 'after'} the order "
        "was opened."
        for days in gap[wrong.index]
    ]
    return tell(wrong, "rebuilds", what)


def find_wrong_completions(story: Story) -> pd.DataFrame:
    """Orders that finish an order of another pump, of a later day, or of months before."""
    orders = story.orders
    finishing = orders[orders["completes"].ne("")]
    own = orders[["rebuild_id", "pump", "day", "completes"]]
    pairs = finishing.reset_index(names="at").merge(
        own, left_on="completes", right_on="rebuild_id", suffixes=("", "_of")
    )
    here = pairs[pairs["pump"].eq(pairs["pump_of"])]
    gap = here["day"] - here["day_of"]
    loop = here["completes_of"].eq(here["rebuild_id"]) | here["completes"].eq(here["rebuild_id"])
    bad = here[(gap < 0) | (gap > LONG_AFTER) | loop].drop_duplicates("at")
    elsewhere = pairs[~pairs["at"].isin(here["at"])].drop_duplicates("at")
    what = [
        f"It is said to finish order {number}, which is {days:.0f} days earlier."
        for number, days in zip(bad["completes"], gap[bad.index], strict=True)
    ]
    other = [f"It is said to finish order {n} of another pump." for n in elsewhere["completes"]]
    return tell(pd.concat([bad, elsewhere]), "rebuilds", what + other)


def find_hours_out_of_scale(story: Story) -> pd.DataFrame:
    """Labour or downtime of many times what the plant books for that reason."""
    orders = story.orders
    labour, downtime = orders["labour_h"], orders["downtime_h"] - orders["waited_h"].fillna(0.0)
    usual = orders.groupby("reason")["labour_h"].transform("median")
    usual_down = downtime.groupby(orders["reason"]).transform("median")
    enough = orders.groupby("reason")["reason"].transform("size") >= 5
    long = labour > HOURS_TIMES * usual.clip(lower=1.0)
    down = downtime > HOURS_TIMES * usual_down.clip(lower=8.0)
    found = orders[(long | down) & enough]
    what = [
        f"{hours:g} labour hours and {stood:g} hours of downtime; half of such orders take "
        f"{half:g} and {half_down:g} or less."
        for hours, stood, half, half_down in zip(
            labour[found.index],
            downtime[found.index],
            usual[found.index],
            usual_down[found.index],
            strict=True,
        )
    ]
    return tell(found, "rebuilds", what)


def find_bunched_dates(story: Story) -> pd.DataFrame:
    """Days on which a fifth of all breakdowns are dated, on many pumps: a day of entry."""
    broke = story.orders[story.orders["reason"].eq("breakdown")]
    pumps = broke.groupby("day")["pump"].transform("nunique")
    share = broke.groupby("day")["pump"].transform("size") / max(len(broke), 1)
    bunched = broke[(pumps >= BATCH) & (share >= 0.2)]
    first = bunched.drop_duplicates("day")
    what = [
        f"{count} breakdowns of different pumps are dated {day}."
        for count, day in zip(pumps[first.index], date_words(first["day"]), strict=True)
    ]
    return tell(first, "rebuilds", what)


def find_work_not_done(story: Story) -> pd.DataFrame:
    """Orders said not to be done that name a kit, or findings with renewed parts."""
    undone = story.tickets[story.tickets["done"].eq("no")]
    kitted = ~undone["kit"].isin(SILENT)
    findings = story.records.table("findings")
    renewed = findings.loc[findings["action"].eq("renewed"), "rebuild_id"]
    found = undone[kitted | undone["rebuild_id"].isin(renewed)]
    words = found["kit"].where(~found["kit"].isin(SILENT), "renewed parts")
    return tell(found, "rebuilds", [f"done = no, but the order names {word}." for word in words])


def find_partly_done(story: Story) -> pd.DataFrame:
    """Orders partly done with a kit and no finding that says what was renewed."""
    tickets = story.tickets
    partly = tickets[tickets["done"].eq("partly") & ~tickets["kit"].isin(SILENT)]
    told = story.records.table("findings")["rebuild_id"]
    found = partly[~partly["rebuild_id"].isin(told)].drop_duplicates(["pump", "order", "kit"])
    asked = question_ids("partial", found["rebuild_id"], found["pump_id"], found["kit"])
    found = found.assign(question=asked, choices="all / the parts renewed, with commas between")
    what = [f"Kit {kit} was fitted in part; no finding says which." for kit in found["kit"]]
    return tell(found, "rebuilds", what)


def find_stoppage_with_part(story: Story) -> pd.DataFrame:
    """Stoppages that blame a part."""
    tickets = story.tickets
    found = tickets[tickets["reason"].eq("stoppage") & ~tickets["failed_part"].isin(SILENT)]
    what = [f"A stoppage that names the {part} as failed." for part in found["failed_part"]]
    return tell(found, "rebuilds", what)


def find_work_in_store(story: Story) -> pd.DataFrame:
    """Breakdowns of pumps that lay in store that day."""
    orders = story.orders
    pump = orders["pump"].to_numpy(np.int64)
    inside = ~orders["in_service"] & orders["reason"].eq("breakdown")
    moves = story.duty.stints
    row = story.duty.at(pump, orders["day"])
    since = moves["from_day"].to_numpy()[row]
    found = orders[inside & (orders["day"] > since + 1.0)]
    what = [
        f"A breakdown, but moves says that the pump lay in store since {day}."
        for day in date_words(since[found.index])
    ]
    return tell(found, "rebuilds", what)


def find_site_silence(story: Story) -> pd.DataFrame:
    """Sites whose orders end long before the records do: an export cut short."""
    orders = story.orders
    many = orders.groupby("site")["day"].agg(["min", "max", "size"])
    gap = (many["max"] - many["min"]) / (many["size"] - 1).clip(lower=1)
    ends = {site: story.records.plant.window(site)[1] for site in many.index}
    silent = pd.Series(ends, dtype=float) - many["max"]
    cut = many.index[(many["size"] >= 8) & (silent > 14.0 * gap) & (silent > 60.0)]
    late = orders[orders["site"].isin(cut)]
    last = late.sort_values("day").drop_duplicates("site", keep="last")
    found = last[_still_runs(story, last)]
    what = [
        f"The last order of {site}: then none for {silent[site]:.0f} days, where there was one "
        f"every {gap[site]:.0f} days."
        for site in found["site"]
    ]
    return tell(found, "rebuilds", what)


def _still_runs(story: Story, rows: pd.DataFrame) -> "pd.Series[bool]":
    """Whether any pump of the site of each row is in service at the end of the records."""
    count = len(story.records.pumps)
    last = story.duty.at(np.arange(count), np.full(count, story.end))
    stint = story.duty.stints.iloc[last]
    runs = stint["in_service"].to_numpy() & ~(story.duty.retired < story.end)
    return rows["site"].isin(stint.loc[runs, "site"])


def orders_between(story: Story, pump: pd.Series, first: pd.Series, last: pd.Series) -> np.ndarray:
    """Count the orders of pumps between two days, those not done left out."""
    done = story.orders[story.orders["done"].ne("no")]
    low, high = within_days(done, pump.to_numpy(np.int64), first.to_numpy(), last.to_numpy())
    return high - low
