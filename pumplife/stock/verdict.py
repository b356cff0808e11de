"""The verdict on one item in one store: what to do now, and what keeps its level, in words."""

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd

from pumplife.records.plant import Plant
from pumplife.stock.coming import Coming
from pumplife.stock.reserve import Reserve

_ASKED_BY = {
    "target": "what the service level asks for",
    "min_order": "what the service level asks for",
    "cost": "the level of least cost",
    "shelf_life": "what is used before it ages out",
}
_LIKELY = 0.5  # a shortage of this probability is told in words
_WORTH_SAYING = 0.10  # a saving of this share of the cost is told in words


def say_verdict(
    row: Mapping[str, Any],
    plant: Plant,
    reserve: Reserve,
    *,
    order: float,
    come: Sequence[str] = (),
    go: Sequence[str] = (),
) -> str:
    """Put one row of the stock table into words.

    Parameters
    ----------
    row : mapping
        The row; a key `hasten` says which pieces under way should be hastened, if any.
    plant : Plant
    reserve : Reserve
        Last pieces kept for breakdowns on critical pumps.
    order : float
        What is to be ordered now [items].
    come, go : sequence of str, optional
        Pieces moved here and away now, in words.
    """
    words = [*come, *_say_quantity(row, order, moved=bool(come))]
    if not (order or come) and row.get("hasten"):
        words.append(row["hasten"])
    if row["order_up_to"] == 0:
        words.append("nothing is kept: ordered for each job as it comes")
    if row["today_shortage_prob"] >= _LIKELY:
        words.append("today's shelf is likely to run out before an order arrives")
    if row["expired_on_hand"]:
        words.append(f"{row['expired_on_hand']:.0f} on the shelf don't count: too old when fitted")
    if row["limited_by"] == "shelf_life":
        words.append(f"more would likely age out: it may lie {row['storage_years']:g} years")
    if reserve.pieces:
        words.append(
            f"reorder point raised by {reserve.pieces}: kept for breakdowns on pumps of class "
            f"{', '.join(reserve.classes)}"
        )
    if row["rush_per_year"] > 0:
        words.append("a rush order is cheaper than waiting where it runs out")
    if row["cost_per_year"] - row["least_cost_per_year"] > _WORTH_SAYING * row["cost_per_year"]:
        words.append(_say_cheaper(row, plant))
    return "; ".join([*words, *go])


def _say_quantity(row: Mapping[str, Any], order: float, *, moved: bool) -> list[str]:
    """What to order, or what there is too much of; where that is under way, what to ask."""
    if order:
        return [f"order {order:.0f} now"]
    if moved:
        return []
    if not row["surplus"] > 0:
        return [] if row.get("hasten") else ["enough on the shelf and under way"]
    more = row["least_cost_up_to"] - row["order_up_to"]
    cheaper = 0.0 if np.isnan(more) else max(0.0, more)
    words = [_say_above(row, row["surplus"] - cheaper)]
    coming = min(row["surplus"] - cheaper, row["today_on_order"])  # of use to no level
    if coming >= 1.0:
        words.append(f"{coming:.0f} of them under way: ask whether that order can wait")
    return words


def _say_above(row: Mapping[str, Any], useless: float) -> str:
    """How many pieces lie above the level; useless: those above that of least cost too."""
    above = f"{row['surplus']:.0f} above {_ASKED_BY[row['limited_by']]}"
    if useless == row["surplus"]:
        return above
    if useless < 1.0:
        return f"{above}, not above the level of least cost: keep them"
    return f"{above}, {useless:.0f} above the level of least cost"


def _say_cheaper(row: Mapping[str, Any], plant: Plant) -> str:
    """The level of least cost, and what keeps the advised one."""
    cheapest, chosen = row["least_cost_up_to"], row["order_up_to"]
    saved = row["cost_per_year"] - row["least_cost_per_year"]
    dear = "waiting or ordering is dear" if cheapest > chosen else "keeping it is dear"
    money = " ".join(f"{saved:,.0f} {plant.currency}".split())
    kept = (
        "more would likely age out"
        if row["limited_by"] == "shelf_life"
        else f"[targets] service_level of {100.0 * plant.service_level:g} % decides"
    )
    return f"{dear}: up to {cheapest:.0f} would cost {money} less a year; {kept}"


def say_idle(why: str, on_hand: float, unused: float, *, covered: bool) -> str:
    """Why no work as planned takes an item from this store, and what to do with what lies there.

    Parameters
    ----------
    why : str
        Reason and what to do, ": " between them, where pumps carry the item; else "".
    on_hand, unused : float
        On the shelf, and of that what will likely expire before it is used [items].
    covered : bool
        Whether kits bring the item.
    """
    reason, use = "no pump of this store is expected to take it", "move it, return it or use it up"
    if covered:
        reason = "kits cover the work as advised"
        use = "use it up, no need to order more" if on_hand > 0 else "no need to order more"
    if why:
        reason, _, use = why.partition(": ")
    if unused:
        use = f"lend or return it, {unused:.0f} will likely expire unused"
    return f"{reason}: {use}"


def say_late(missing: float, coming: Coming, undated: float, lead: float, now: pd.Timestamp) -> str:
    """Say how many of the pieces that come after what is ordered today should be hastened.

    Parameters
    ----------
    missing : float
        Pieces short without those [items].
    coming : Coming
    undated : float
        Pieces under way that nobody expects on any day [items].
    lead : float
        The usual lead time [days].
    now : Timestamp
        Last day of the records.
    """
    after, words = coming.days > lead, []
    late = float(coming.pieces[after].sum())
    if late > 0.0:
        days = coming.days[after][[0, -1]]
        first, last = (f"{now + pd.Timedelta(days=day):%Y-%m-%d}" for day in days)
        when = f"on {first}" if first == last else f"from {first} to {last}"
        words.append(
            f"{late:.0f} under way come late, only {when}, after what is ordered today would: "
            f"hasten {np.ceil(min(missing, late)):.0f} of them"
        )
    if undated > 0.0 and missing > late:
        words.append(
            f"{undated:.0f} under way without a day: ask when they come, "
            f"{np.ceil(min(missing - late, undated)):.0f} of them should be there already"
        )
    return "; ".join(words)
