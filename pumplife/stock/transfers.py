"""Surplus of one store moved to another that would order the same item, instead of buying it."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import pandas as pd

from pumplife.records.plant import Plant
from pumplife.records.stores import Transfers, transfers_of
from pumplife.stock.asked import Key
from pumplife.stock.assess import whole_orders
from pumplife.stock.items import Item
from pumplife.stock.orders import day_after

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
    """What is still ordered once surplus is moved, and the transfers.

    Attributes
    ----------
    orders, transfers : list of dict
        Rows of these tables.
    """

    orders: list[Row]
    transfers: list[Row]

    def __repr__(self) -> str:
        return f"Moved({len(self.transfers)} transfers)"

    def say_moves(self) -> tuple[dict[Key, list[str]], dict[Key, list[str]]]:
        """What comes to each store and item, and what goes from it, in words."""
        come: dict[Key, list[str]] = {}
        go: dict[Key, list[str]] = {}
        for one in self.transfers:
            giver, taker = one["from_store"], one["to_store"]
            pieces = f"move {one['quantity']:.0f}"
            come.setdefault((taker, one["item"]), []).append(f"{pieces} from {giver} now")
            go.setdefault((giver, one["item"]), []).append(f"{pieces} to {taker} now")
        return come, go


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
    terms = _Terms(
        transfers=transfers_of(plant.raw),
        keeping=plant.cost("holding_per_year"),
        today=plant.records_to,
    )
    spare: dict[str, dict[str, _Offer]] = {}
    for row in stock:
        if (pieces := _pieces_to_spare(row)) >= 1.0:
            used = row["demand_per_year"] + row["planned_per_year"]
            offer = _Offer(giver=row, pieces=pieces, used=used)
            spare.setdefault(row["item"], {})[row["store"]] = offer
    kept, moved = [], []
    for order in sorted(orders, key=lambda one: (one["order_by"], one["store"], one["item"])):
        offers = spare.get(order["item"], {})
        rest, own = _fill(order, offers, items[order["item"]], terms)
        for one in own:
            left = offers[one["from_store"]].pieces - one["quantity"]
            offers[one["from_store"]] = replace(offers[one["from_store"]], pieces=left)
        moved += own
        kept += [rest] if rest["quantity"] else []
    return Moved(orders=kept, transfers=moved)


def transfer_frame(rows: Sequence[Row]) -> pd.DataFrame:
    """The transfers, those that are there first first."""
    table = pd.DataFrame(rows, columns=list(TRANSFER_COLUMNS))
    order = ["there_on", "item", "to_store", "from_store"]
    return table.sort_values(order, kind="stable", ignore_index=True)


def _pieces_to_spare(row: Row) -> float:
    """Whole pieces that lie there above what the store needs [items]."""
    pieces = min(row["surplus"], row["today_on_hand"])
    return 0.0 if math.isnan(pieces) else float(math.floor(pieces))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Offer:
    """Pieces that a store may give: its row of the stock table, how many are left [items]."""

    giver: Row
    pieces: float
    used: float  # [items/year]

    @property
    def left(self) -> float:
        """Pieces above its level that are still there or under way to it [items]."""
        return float(self.giver["surplus"] - (_pieces_to_spare(self.giver) - self.pieces))

    def lies_years(self, pieces: float) -> float:
        """Years for which so many would lie there [years]; inf where nobody takes them."""
        years = (self.giver["surplus"] - pieces / 2.0) / self.used if self.used > 0 else math.inf
        return float(years) if math.isfinite(years) else math.inf


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Terms:
    """What moving and keeping cost."""

    transfers: Transfers
    keeping: float  # share of the price [1/year]
    today: pd.Timestamp

    def weigh(self, order: Row, offer: _Offer, pieces: float, item: Item) -> tuple[float, float]:
        """What moving so many avoids of keeping them, and what it costs [money]."""
        years = offer.lies_years(pieces)
        share = min(1.0, self.keeping * years) if years < math.inf else 1.0
        _, each = self.transfers.from_to(offer.giver["store"], order["store"])
        return pieces * item.unit_cost * share, pieces * each


def _fill(
    order: Row, offers: Mapping[str, _Offer], item: Item, terms: _Terms
) -> tuple[Row, list[Row]]:
    """What is still to be ordered, and what is moved instead: the most saving first."""
    moves: list[Row] = []
    lying: list[_Offer] = []
    missing = order["missing"]
    for saves, pieces, offer in _rank(order, offers, item, terms):
        moved = min(pieces, missing)
        if not saves > 0.0 or moved < 1.0:
            lying.append(offer)
            continue
        moves.append(_transfer(order, offer, moved, item, terms))
        missing -= moved
    quantity = float(whole_orders(missing, order["step"]))
    words = [order["why"]]
    words += [f"{one['quantity']:.0f} moved from {one['from_store']}" for one in moves]
    if lying and quantity:
        words.append(_say_lying(lying, terms.transfers.lacking))
    rest = {
        "quantity": quantity,
        "missing": missing,
        "amount": quantity * item.unit_cost,
        "why": "; ".join(words),
    }
    return order | rest, moves


def _rank(
    order: Row, offers: Mapping[str, _Offer], item: Item, terms: _Terms
) -> list[tuple[float, float, _Offer]]:
    """What each offer saves [money], its pieces [items] and itself, the most saving first."""
    found = []
    for store, offer in offers.items():
        if store != order["store"] and offer.pieces >= 1.0:
            pieces = min(offer.pieces, order["missing"])
            keeping, moving = terms.weigh(order, offer, pieces, item)
            found.append((keeping - moving, pieces, offer))
    return sorted(found, key=lambda one: math.inf if math.isnan(one[0]) else -one[0])


def _say_lying(offers: Sequence[_Offer], lacking: str) -> str:
    """Why surplus elsewhere isn't moved: as much as the stock table says, less what has gone."""
    why = f"[stores] {lacking} not given" if lacking else "moving them costs more than it saves"
    there = sum(offer.pieces for offer in offers)
    above = math.floor(sum(offer.left for offer in offers))
    lies = "" if above == there else f" ({there:.0f} of them on the shelf)"
    return f"{above} more than needed in other stores{lies}: {why}"


def _transfer(order: Row, offer: _Offer, pieces: float, item: Item, terms: _Terms) -> Row:
    """The row of one transfer."""
    giver, years = offer.giver, offer.lies_years(pieces)
    days, _ = terms.transfers.from_to(giver["store"], order["store"])
    keeping, moving = terms.weigh(order, offer, pieces, item)
    known = years < math.inf
    later = f"would lie there {years:.1f} years" if known else "nobody there takes it"
    return {
        "item": order["item"],
        "from_store": giver["store"],
        "to_store": order["store"],
        "quantity": pieces,
        "there_on": day_after(terms.today, 0 if math.isnan(days) else math.ceil(days)),
        "transfer_cost": moving,
        "order_avoided": pieces * item.unit_cost,
        "lies_years": years if known else float("nan"),
        "keeping_avoided": keeping,
        "why": f"{giver['surplus']:.0f} above what {giver['store']} needs; {later}",
    }
