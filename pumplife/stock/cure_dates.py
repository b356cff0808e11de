"""Bags on the shelf by cure date: first expiring first out, what may still be used, what won't be.

A bag is one row of on_hand: like pieces of one cure date. The piece that expires first is taken
first, whatever work takes it, and expiry is judged on the day on which a piece is fitted.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from pumplife.records.storage import EXPIRED, NO_DATE, USABLE

FloatArray = NDArray[np.float64]
Key = tuple[str, str]  # store and item

TOO_LATE = "expires before use"
SHELF_COLUMNS = (
    "store",
    "item",
    "cure_date",
    "quantity",
    "storage_years",
    "expires_on",
    "state",
    "likely_unused",
    "value",
    "value_unused",
    "do",
)
LIKELY = 0.5  # chance from which a bag is said to expire before it is used up


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Bags:
    """What may still be used of one item in one store, the first expiring first.

    Attributes
    ----------
    pieces : array (bags,)
        Pieces of one cure date [items].
    days_left : array (bags,)
        Days until they expire [days]; inf where there is no limit or nobody knows it.
    label : array (bags,)
        Their rows in the table of bags.
    """

    pieces: FloatArray
    days_left: FloatArray
    label: NDArray[np.int64]

    def __repr__(self) -> str:
        return f"Bags({self.pieces.sum():g} pieces, {len(self.pieces)} cure dates)"


class NextBag(NamedTuple):
    """The bag to take a piece from; NaT where the date isn't known or there is no limit."""

    cure_date: pd.Timestamp
    expires_on: pd.Timestamp


def gather_bags(
    bags: pd.DataFrame,
    current: Mapping[str, str],
    now: pd.Timestamp,
    *,
    with_expired: bool = False,
) -> dict[Key, Bags]:
    """Give the usable bags by store and item, superseded items with the one in their place.

    Parameters
    ----------
    bags : DataFrame
        As of `list_bags`.
    current : mapping
        Item to the item that has taken its place.
    now : Timestamp
        Last day of the records.
    with_expired : bool
        The expired ones too, as if yesterday.
    """
    gone = bags["standing"].eq(EXPIRED)
    good = bags[bags["quantity"].gt(0) & (with_expired | ~gone)]
    days = (good["expires_on"] - now) / pd.Timedelta(days=1)
    good = good.assign(
        item=[current.get(str(item), str(item)) for item in good["item"]],
        days_left=days.fillna(np.inf).mask(gone, -1.0),
    ).sort_values(["days_left", "cure_date"], kind="stable")
    return {
        (str(store), str(item)): Bags(
            pieces=rows["quantity"].to_numpy(np.float64),
            days_left=rows["days_left"].to_numpy(np.float64),
            label=rows.index.to_numpy(np.int64),
        )
        for (store, item), rows in good.groupby(["store", "item"])
    }


def use_first_expiring(pieces: ArrayLike, asked: ArrayLike) -> FloatArray:
    """Pieces of each bag that are used before they expire, first expiring first out.

    Parameters
    ----------
    pieces : array (bags,)
        In the order of expiry [items].
    asked : array (bags, replicates)
        Demand from today until each bag expires [items].

    Returns
    -------
    array (bags, replicates)
        [items]. Of the demand until a bag expires, what the bags before it didn't take is its own.
    """
    held, wanted = np.asarray(pieces, np.float64), np.asarray(asked, np.float64)
    used = np.zeros(wanted.shape)
    total = np.zeros(wanted.shape[1:])
    for bag, count in enumerate(held):
        used[bag] = np.clip(wanted[bag] - total, 0.0, count)
        total += used[bag]
    return used


def count_available(bags: Bags | None, jobs: FloatArray, until: float) -> float:
    """Pieces that count as stock: good until then, or used by a planned job before they expire.

    Parameters
    ----------
    bags : Bags or None
        None where nothing usable lies there.
    jobs : array (jobs,)
        Days from today to each planned job that takes one [days].
    until : float
        Days until an order placed today arrives [days].
    """
    if bags is None:
        return 0.0
    good = bags.days_left >= until
    if good.all():
        return float(bags.pieces.sum())
    asked = (jobs <= bags.days_left[:, None]).sum(axis=1, keepdims=True)
    used = use_first_expiring(bags.pieces, asked)[:, 0]
    return float(np.where(good, bags.pieces, used).sum())


def take_first(
    bags: pd.DataFrame, *, store: str, item: str, fitted_on: pd.Timestamp, promised: int = 0
) -> NextBag | None:
    """Say from which bag to take the next piece for a job.

    Parameters
    ----------
    bags : DataFrame
        As of `list_bags`.
    store, item : str
        Where, and the number on the bag.
    fitted_on : Timestamp
        The day of the job; what expires before it isn't taken.
    promised : int
        Pieces that go to jobs before this one [items].

    Returns
    -------
    NextBag or None
        The first to expire of those still good on that day, undated ones last; None where
        nothing good is left.
    """
    mine = bags[bags["store"].eq(store) & bags["item"].eq(item) & bags["quantity"].gt(0)]
    mine = mine[mine["standing"].ne(EXPIRED) & ~(mine["expires_on"] < fitted_on)]
    mine = mine.sort_values(["expires_on", "cure_date"], kind="stable", na_position="last")
    found = mine[mine["quantity"].cumsum() > promised]
    if found.empty:
        return None
    return NextBag(found["cure_date"].iloc[0], found["expires_on"].iloc[0])


def shelf_table(
    bags: pd.DataFrame,
    keyed: Mapping[Key, Bags],
    unused: Mapping[Key, tuple[FloatArray, FloatArray]],
    prices: Mapping[str, float],
) -> pd.DataFrame:
    """List every bag with its state, its worth and what to do with it.

    Parameters
    ----------
    bags : DataFrame
        As of `list_bags`.
    keyed : mapping
        As of `gather_bags`.
    unused : mapping
        By key, for each usable bag the mean number of pieces that expire before they are used and
        the chance that any does; a key without entry is one whose demand isn't known.
    prices : mapping
        Price by item [money].

    Returns
    -------
    DataFrame
        `SHELF_COLUMNS`; likely_unused in pieces, value and value_unused in money.
    """
    table = bags[bags["quantity"].gt(0)].rename(columns={"years": "storage_years"})
    mean = pd.Series(np.nan, index=table.index)
    chance = pd.Series(np.nan, index=table.index)
    for key, (pieces, likely) in unused.items():
        rows = list(keyed[key].label)
        mean.loc[rows], chance.loc[rows] = pieces, likely
    gone = table["standing"].eq(EXPIRED)
    late = table["standing"].eq(USABLE) & chance.gt(LIKELY)
    table = table.assign(
        state=table["standing"].mask(late, TOO_LATE),
        likely_unused=mean.mask(gone, table["quantity"]).mask(table["standing"].eq(NO_DATE)),
        value=table["quantity"] * table["item"].map(prices).astype(np.float64),
    )
    share = table["likely_unused"] / table["quantity"]
    table = table.assign(value_unused=share * table["value"])
    table["do"] = [_say_what_to_do(row) for row in table.to_dict("records")]
    order = ["store", "item", "expires_on", "cure_date"]
    table = table.sort_values(order, kind="stable", ignore_index=True)
    return table[list(SHELF_COLUMNS)]


def _say_what_to_do(row: dict[Any, Any]) -> str:
    extension = row["extension_years"]
    more = f", or inspect and test (may add {extension:g} years)" if extension > 0 else ""
    if row["state"] == EXPIRED:
        return f"take it out of use{more}"
    if row["state"] == NO_DATE:
        return f"read the cure date on the bag: it may lie {row['storage_years']:g} years"
    if row["state"] == TOO_LATE:
        count = row["likely_unused"]
        words = f"{round(count, 1):g} of {row['quantity']:g} will likely expire unused"
        return f"{words}: take it first, lend or return it{more}"
    if np.isnan(row["storage_years"]):
        return "ask the supplier how long it may be stored"
    return ""
