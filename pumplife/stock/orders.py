"""What to order now: planned jobs that fall due, and the shelf brought above its reorder point."""

from functools import lru_cache
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pumplife.stock.asked import Key
from pumplife.stock.assess import TodaysShelf, pieces_missing, whole_orders
from pumplife.stock.items import Item

FloatArray = NDArray[np.float64]

ORDER_COLUMNS = (
    "store",
    "item",
    "quantity",
    "needed_by",
    "order_by",
    "amount",
    "why",
)


def order_row(
    row: dict[str, Any], item: Item, today: TodaysShelf, now: pd.Timestamp
) -> dict[str, Any] | None:
    """One order, or None where the shelf and what is under way suffice.

    Parameters
    ----------
    row : dict
        The item's row of the stock table.
    item : Item
    today : TodaysShelf
    now : Timestamp
        Last day of the records.

    Returns
    -------
    dict or None
        `ORDER_COLUMNS`, with the pieces missing and the least order, of which `move_surplus`
        makes less; needed_by is when the order should be there, order_by a lead time before
        it (the high one where given, so that nine of ten are there), today at the earliest;
        amount is its value [money].
    """
    if not np.isfinite(row["reorder_point"]):
        return None
    step = max(1, round(row["order_up_to"] - row["reorder_point"]))
    missing = pieces_missing(today, int(row["reorder_point"]))
    quantity = whole_orders(missing, step)
    if not quantity:
        return None
    lead = float(row["lead_time_days"])
    needed = _needed_in(today, int(row["reorder_point"]), lead)
    return {
        "store": row["store"],
        "item": row["item"],
        "quantity": float(quantity),
        "needed_by": day_after(now, round(needed)),
        "order_by": day_after(now, round(max(0.0, needed - item.ahead_days))),
        "amount": quantity * item.unit_cost,
        "why": _why(row, item, today, lead),
        "missing": missing,
        "step": step,
    }


def order_for_jobs(
    key: Key, item: Item, held: tuple[float, float], jobs: FloatArray, now: pd.Timestamp
) -> dict[str, Any] | None:
    """Order what planned jobs are short of, where no lead time is known, or None.

    Parameters
    ----------
    key : (store, item)
    item : Item
    held : tuple of float
        On the shelf and under way [items].
    jobs : array (jobs,)
        Days from today to the jobs that take one each, ascending [days].
    now : Timestamp
        Last day of the records.

    Returns
    -------
    dict or None
        As of `order_row`, to be ordered now, needed with the first job that has no piece.
    """
    missing = len(jobs) - sum(held)
    if not missing > 0:
        return None
    quantity = whole_orders(missing, item.min_order)
    take = "job takes one" if len(jobs) == 1 else "jobs take one each"
    words = [
        "order now: no lead time known",
        f"{held[0]:.0f} on the shelf, {held[1]:.0f} under way",
        f"{len(jobs)} planned {take}",
        *([f"least order {item.min_order}"] if item.min_order > 1 else []),
    ]
    return {
        "store": key[0],
        "item": key[1],
        "quantity": float(quantity),
        "needed_by": day_after(now, round(float(jobs[int(sum(held))]))),
        "order_by": now,
        "amount": quantity * item.unit_cost,
        "why": "; ".join(words),
        "missing": missing,
        "step": item.min_order,
    }


def _needed_in(today: TodaysShelf, chosen: int, lead: float) -> float:
    """Days until an order should be there.

    With the job that brings shelf and under way down to the reorder point. Where no order arrives
    by then, or they are there already, as soon as one can, or with the first planned job that
    they don't cover.
    """
    position = int(today.on_hand + today.on_order)
    reached = float(today.planned[position - chosen - 1]) if position > chosen else 0.0
    soonest = min([lead, *today.planned[max(0, position) :][:1]])
    return max(reached, float(soonest))


def _why(row: dict[str, Any], item: Item, today: TodaysShelf, lead: float) -> str:
    words = [f"{today.on_hand:.0f} on the shelf, {today.on_order:.0f} under way"]
    jobs = len(today.planned)
    if jobs:
        words.append(f"{jobs} planned {'job takes one' if jobs == 1 else 'jobs take one each'}")
    words.append(f"reorder at {row['reorder_point']:.0f}")
    if item.min_order > 1:
        words.append(f"least order {item.min_order}")
    uncovered = today.planned[int(max(0.0, today.on_hand + today.on_order)) :]
    if len(uncovered) and lead - uncovered[0] >= 1:
        words.append(
            f"arrives about {lead - uncovered[0]:.0f} days after a job that needs it: expedite it "
            "or move the job"
        )
    return "; ".join(words)


@lru_cache(maxsize=4096)
def day_after(day: pd.Timestamp, days: int) -> pd.Timestamp:
    """So many days later."""
    return day + pd.Timedelta(days=days)
