"""Surplus of one store moved to another that would order the same item, instead of buying it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from pumplife.records.plant import Plant
from pumplife.records.stores import transfers_of
from pumplife.stock.assess import say_order, whole_orders
from pumplife.stock.items import Item

TRANSFER_COLUMNS = (
    "item",
    "from_store",
    "to_store",
    "quantity",
    "there_on",
    "transfer_cost",
    "order_avoided",
    "lies_years",
    "keeping_avoided",
    "why",
)
Row = dict[str, Any]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Moved:
    """Rows of stock and orders once surplus is moved, and the transfers.

    Attributes
    ----------
    stock, orders, transfers : list of dict
        Rows of these tables.
    """

    stock: list[Row]
    orders: list[Row]
    transfers: list[Row]

    def __repr__(self) -> str:
        return f"Moved({len(self.transfers)} transfers)"


def move_surplus(
    stock: Sequence[Row], orders: Sequence[Row], items: Mapping[str, Item], plant: Plant
) -> Moved:
    """Fill orders from what lies in other stores above their levels, where moving it is cheaper.

    A piece that is moved need not be bought now; the store that gives it buys one when it would
    have used it up. So moving saves the keeping of a piece until then, its whole price at the
    most, against the cost of a transfer.

    Parameters
    ----------
    stock : sequence of dict
        Rows of the stock table; surplus that is still under way can't be moved.
    orders : sequence of dict
        Rows by `order_row`, the most urgent served first.
    items : mapping
        By name.
    plant : Plant
        Gives the cost of keeping and the transfers.
    """
    rows = {(row["store"], row["item"]): dict(row) for row in stock}
    spare = {key: _pieces_to_spare(row) for key, row in rows.items()}
    kept, moved = [], []
    for order in sorted(orders, key=lambda one: (one["order_by"], one["store"], one["item"])):
        offers = [
            (store, pieces)
            for (store, item), pieces in spare.items()
            if item == order["item"] and store != order["store"] and pieces >= 1.0
        ]
        rest, own = _fill(order, offers, rows, items[order["item"]], plant)
        for one in own:
            spare[one["from_store"], one["item"]] -= one["quantity"]
        if own:
            _say_moves(rows, order, rest, own)
        moved += own
        kept += [rest] if rest["quantity"] else []
    return Moved(stock=list(rows.values()), orders=kept, transfers=moved)


def transfer_frame(rows: Sequence[Row]) -> pd.DataFrame:
    """The transfers, those that are there first first."""
    table = pd.DataFrame(rows, columns=list(TRANSFER_COLUMNS))
    order = ["there_on", "item", "to_store", "from_store"]
    return table.sort_values(order, kind="stable", ignore_index=True)


def _pieces_to_spare(row: Row) -> float:
    """Whole pieces that lie there above what the store needs [items]."""
    return float(np.floor(np.nan_to_num(min(row["surplus"], row["today_on_hand"]))))


def _fill(
    order: Row,
    offers: Sequence[tuple[str, float]],
    rows: Mapping[tuple[str, str], Row],
    item: Item,
    plant: Plant,
) -> tuple[Row, list[Row]]:
    """What is still to be ordered, and what is moved instead: the most saving first."""
    moves: list[Row] = []
    lying, missing = 0.0, order["missing"]
    tried = [
        _weigh(order, rows[store, order["item"]], min(pieces, missing), item, plant)
        for store, pieces in offers
    ]
    for row in sorted(tried, key=lambda one: np.nan_to_num(-_saves(one), nan=np.inf)):
        pieces = min(row["quantity"], missing)
        if not _saves(row) > 0.0 or pieces < 1.0:
            lying += row["quantity"]
            continue
        giver = rows[row["from_store"], order["item"]]
        moves.append(_weigh(order, giver, pieces, item, plant))
        missing -= pieces
    quantity = float(whole_orders(missing, order["step"]))
    words = [order["why"]]
    words += [f"{one['quantity']:.0f} moved from {one['from_store']}" for one in moves]
    if lying and quantity:
        words.append(_say_lying(lying, transfers_of(plant.raw).lacking))
    rest = {
        "quantity": quantity,
        "missing": missing,
        "amount": quantity * item.unit_cost,
        "why": "; ".join(words),
    }
    return order | rest, moves


def _say_lying(pieces: float, lacking: str) -> str:
    """Why surplus elsewhere isn't moved."""
    why = f"[stores] {lacking} not given" if lacking else "moving them costs more than it saves"
    return f"{pieces:.0f} more than needed in other stores: {why}"


def _saves(row: Row) -> float:
    return float(row["keeping_avoided"] - row["transfer_cost"])


def _weigh(order: Row, giver: Row, pieces: float, item: Item, plant: Plant) -> Row:
    """The row of one transfer, whether or not it is worth it."""
    days, cost = transfers_of(plant.raw).from_to(giver["store"], order["store"])
    used = giver["demand_per_year"] + giver["planned_per_year"]
    years = (giver["surplus"] - pieces / 2.0) / used if used > 0 else np.inf
    share = min(1.0, plant.cost("holding_per_year") * years) if np.isfinite(years) else 1.0
    later = f"would lie there {years:.1f} years" if np.isfinite(years) else "nobody there takes it"
    return {
        "item": order["item"],
        "from_store": giver["store"],
        "to_store": order["store"],
        "quantity": pieces,
        "there_on": plant.records_to + pd.Timedelta(days=np.ceil(np.nan_to_num(days))),
        "transfer_cost": pieces * cost,
        "order_avoided": pieces * item.unit_cost,
        "lies_years": years if np.isfinite(years) else float("nan"),
        "keeping_avoided": pieces * item.unit_cost * share,
        "why": f"{giver['surplus']:.0f} above what {giver['store']} needs; {later}",
    }


def _say_moves(
    rows: Mapping[tuple[str, str], Row], order: Row, rest: Row, moves: Sequence[Row]
) -> None:
    """Put the transfers into the verdicts of the stores that give and get."""
    taker = rows[order["store"], order["item"]]
    now = [f"move {one['quantity']:.0f} from {one['from_store']} now" for one in moves]
    now += [say_order(rest["quantity"])] if rest["quantity"] else []
    taker["verdict"] = "; ".join(now) + taker["verdict"].removeprefix(say_order(order["quantity"]))
    for one in moves:
        giver = rows[one["from_store"], one["item"]]
        giver["verdict"] += f"; move {one['quantity']:.0f} to {one['to_store']} now"
