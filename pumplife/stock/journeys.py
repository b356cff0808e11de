"""What moving pieces between stores takes: from which store, how often, who waits meanwhile."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pumplife.policy.groups import DAYS_PER_YEAR
from pumplife.records.stores import Transfers
from pumplife.stock.asked import Futures

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.intp]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Journeys:
    """What moving pieces from one store to the others takes a year.

    Attributes
    ----------
    hub : int
        Store that sends [row]; -1 where transfers aren't known.
    moved : float
        Pieces moved [items/year].
    carriage : float
        Their transfers [money/year].
    waiting, waiting_local : float
        Days that pumps wait for them: where all lies at the hub, and where each other store keeps
        one piece, which is there again after a transfer [days/year].
    """

    hub: int
    moved: float
    carriage: float
    waiting: float
    waiting_local: float

    def __repr__(self) -> str:
        return f"Journeys({self.moved:.3g} a year from store {self.hub})"


def list_gaps(futures: Futures) -> tuple[IntArray, FloatArray]:
    """Days since the last breakdown that took the item, by key: where each begins, and sorted."""
    failed = ~futures.needs.planned
    key, day = futures.needs.key[failed], futures.needs.day[failed]
    cell = key * futures.lead.shape[1] + futures.needs.replicate[failed]
    gap = np.diff(day, prepend=-np.inf)
    gap[np.append(True, cell[1:] != cell[:-1])[: len(gap)]] = np.inf
    by_key = np.lexsort((gap, key))
    return np.searchsorted(key, np.arange(len(futures.keys) + 1)), gap[by_key]


def plan_journeys(
    futures: Futures,
    places: tuple[Sequence[int], Sequence[str]],
    transfers: Transfers,
    gaps: tuple[IntArray, FloatArray],
    waiting_per_day: float,
) -> Journeys:
    """Find the store from which sending is cheapest, and what it then takes.

    Parameters
    ----------
    futures : Futures
    places : tuple of sequences
        Rows of one item in the keys, and the stores of these rows.
    transfers : Transfers
    gaps : tuple of arrays
        By `list_gaps`.
    waiting_per_day : float
        One pump waiting for a day [money/day].

    Notes
    -----
    A piece kept in a store meets a breakdown there at once unless another one took it within the
    days of a transfer before; that the hub runs out meanwhile is left out of account.
    """
    rows, stores = places
    both = np.array([[transfers.from_to(a, b) for b in stores] for a in stores])
    days, cost = both[..., 0], both[..., 1]
    asked = _unplanned(futures, rows)
    found = np.array(
        [
            1.0 - np.searchsorted(mine, days[row], side="right") / max(len(mine), 1)
            for row, mine in enumerate(gaps[1][gaps[0][k] : gaps[0][k + 1]] for k in rows)
        ]
    )
    carriage, waiting = asked @ cost, asked @ days
    money = carriage + waiting * waiting_per_day
    known = np.where(np.isfinite(money), money, np.where(np.isfinite(waiting), waiting, np.inf))
    hub = int(np.argmin(known))
    if not np.isfinite(carriage[hub] + waiting[hub]):
        return Journeys(hub=-1, moved=np.nan, carriage=np.nan, waiting=np.nan, waiting_local=np.nan)
    return Journeys(
        hub=hub,
        moved=float(asked.sum() - asked[hub]),
        carriage=float(carriage[hub]),
        waiting=float(waiting[hub]),
        waiting_local=float((asked * (1.0 - found[:, hub])) @ days[:, hub]),
    )


def _unplanned(futures: Futures, rows: Sequence[int]) -> FloatArray:
    """Breakdowns a year that take the item from each store, mean of the futures."""
    needs = futures.needs
    soon = ~needs.planned & (needs.day <= DAYS_PER_YEAR)
    counts = np.bincount(needs.key[soon], minlength=len(futures.keys))
    return np.asarray(counts[list(rows)] / futures.lead.shape[1], dtype=np.float64)
