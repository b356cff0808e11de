"""Rows of the stock table for all items: levels, today's shelf, orders, block by block."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from pumplife.records.plant import Plant
from pumplife.records.second import in_turn
from pumplife.stock.asked import ItemDemand, Key
from pumplife.stock.assess import asks_for_service, level_row, price_item
from pumplife.stock.cure_dates import count_available
from pumplife.stock.curves import RiskCurve
from pumplife.stock.expiry import Expiry
from pumplife.stock.held import Store, find_today, list_jobs_of
from pumplife.stock.items import Item, longest_ahead
from pumplife.stock.many import Assessed, assess_many, list_blocks
from pumplife.stock.orders import order_for_jobs, order_row
from pumplife.stock.reserve import NO_RESERVE
from pumplife.stock.transfers import Moved
from pumplife.stock.verdict import say_verdict

Row = dict[str, Any]
Counted = tuple[Sequence[ItemDemand], Sequence[ItemDemand]]

_ROWS_AN_ITEM = 20  # rows of `second.WORTH` that are read in the time of one item


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Stated:
    """What is advised for one item in one store.

    Attributes
    ----------
    row : dict
        Of the stock table; its verdict comes later, see `say_verdicts`.
    curve : RiskCurve
    order : dict or None
        As of `order_row`.
    """

    row: Row
    curve: RiskCurve
    order: Row | None

    def __repr__(self) -> str:
        return f"Stated({self.row['item']} at {self.row['store']})"


def state_items(counted: Counted, store: Store, expiry: Expiry, plant: Plant) -> list[Stated]:
    """Advise on every item that anything asks for, by two processes where there are many.

    Parameters
    ----------
    counted : tuple of two sequences of ItemDemand
        As it is, and were orders there sooner.
    store : Store
    expiry : Expiry
    plant : Plant

    Returns
    -------
    list of Stated
        In the order of the demands.
    """

    def state(rows: list[int]) -> list[Stated | None]:
        own = [counted[0][k] for k in rows], [counted[1][k] for k in rows]
        items = [store.items[demand.item] for demand in own[0]]
        each = zip(*own, assess_items(own[0], items, plant, sooner=own[1]), strict=True)
        return [_state(one, store, expiry, plant) for one in each]

    blocks = list_blocks(counted[0])
    found: dict[int, Stated | None] = {}
    for rows, stated in zip(
        blocks, in_turn(state, blocks, _ROWS_AN_ITEM * len(counted[0])), strict=True
    ):
        found |= zip(rows, stated, strict=True)
    return [one for _, one in sorted(found.items()) if one is not None]


def assess_items(
    demands: Sequence[ItemDemand],
    items: Sequence[Item],
    plant: Plant,
    *,
    sooner: Sequence[ItemDemand] | None = None,
) -> list[Assessed]:
    """Assess the levels of many items by the plant's prices; `sooner` were orders there sooner."""
    prices = {item.name: price_item(plant, item.unit_cost) for item in items}
    return assess_many(
        (demands, demands if sooner is None else sooner),
        [item.min_order for item in items],
        [prices[item.name] for item in items],
        plant.review_days,
        by_target=asks_for_service(plant),
    )


def _state(
    asked: tuple[ItemDemand, ItemDemand, Assessed], store: Store, expiry: Expiry, plant: Plant
) -> Stated | None:
    """What is advised for one item; None where nothing asks for it."""
    demand, sooner, known = asked
    if demand.unplanned_per_year + demand.planned_per_year == 0 and demand.spans[2].nothing:
        return None
    key, item = (demand.store, demand.item), store.items[demand.item]
    today = find_today(store, demand, item, plant)
    row, curve = level_row(
        demand,
        item,
        plant,
        today,
        reserve=store.reserves.get(key, NO_RESERVE),
        ageing=expiry.ageing[key],
        sooner=sooner,
        known=known,
    )
    return Stated(row=row, curve=curve, order=order_row(row, item, today, plant.records_to))


def order_unknown(store: Store, keys: Sequence[Key], plant: Plant) -> list[Row]:
    """Order of items without lead time what planned jobs are short of within the longest known."""
    within = longest_ahead(store.items) + plant.review_days
    found = []
    for key in keys:
        if key[1] in store.items:
            jobs = list_jobs_of(store, key, within)
            held = (
                count_available(store.shelves.usable.get(key), jobs, within),
                store.pieces_on_order(key),
            )
            order = order_for_jobs(key, store.items[key[1]], held, jobs, plant.records_to)
            found += [] if order is None else [order]
    return found


def say_verdicts(rows: Sequence[Row], store: Store, moved: Moved, plant: Plant) -> None:
    """Fill in the verdicts, once orders and transfers are known; idle rows have their reason."""
    ordered = {(one["store"], one["item"]): one["quantity"] for one in moved.orders}
    come, go = moved.say_moves()
    for row in rows:
        key = (row["store"], row["item"])
        if "verdict" in row:
            now = [f"order {ordered[key]:.0f} now for planned jobs"] if ordered.get(key) else []
            row["verdict"] = "; ".join([row["verdict"], *now, *go.get(key, ())])
        else:
            row["verdict"] = say_verdict(
                row,
                plant,
                store.reserves.get(key, NO_RESERVE),
                order=ordered.get(key, 0.0),
                come=come.get(key, ()),
                go=go.get(key, ()),
            )
