"""What moving pieces between stores takes: from which store, how often, who waits meanwhile."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pumplife.policy.groups import DAYS_PER_YEAR
from pumplife.records.stores import Transfers
from pumplife.stock.asked import Futures
from pumplife.stock.needs import order_cells

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


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Breakdowns:
    """Breakdowns that take the item of each key.

    Attributes
    ----------
    per_year : float array (keys,)
        Mean of the futures [breakdowns/year].
    count : int array (keys,)
        In all futures.
    begins : int array (keys + 1,)
        Where the gaps of each key begin.
    gaps : float array (gaps,)
        Days since the last one that took it in the same future, of each key ascending; the first
        of a future has none [days].
    """

    per_year: FloatArray
    count: IntArray
    begins: IntArray
    gaps: FloatArray

    def __repr__(self) -> str:
        return f"Breakdowns({len(self.per_year)} items)"

    def share_within(self, key: int, days: FloatArray) -> FloatArray:
        """Share of a key's breakdowns that follow another within some days [-]."""
        mine = self.gaps[self.begins[key] : self.begins[key + 1]]
        return np.asarray(np.searchsorted(mine, days, side="right") / max(self.count[key], 1))


def list_breakdowns(futures: Futures) -> Breakdowns:
    """Count the breakdowns that take the item of each key, and the days between them."""
    failed = ~futures.needs.planned
    key, day = futures.needs.key[failed], futures.needs.day[failed]
    cell = key * futures.lead.shape[1] + futures.needs.replicate[failed]
    soon = np.bincount(key[day <= DAYS_PER_YEAR], minlength=len(futures.keys))
    again = np.flatnonzero(cell[1:] == cell[:-1]) + 1
    gap, mine = day[again] - day[again - 1], key[again]
    return Breakdowns(
        per_year=soon / futures.lead.shape[1],
        count=np.bincount(key, minlength=len(futures.keys)),
        begins=np.searchsorted(mine, np.arange(len(futures.keys) + 1)),
        gaps=gap[order_cells(mine, gap)],
    )


def plan_journeys(
    breakdowns: Breakdowns,
    places: tuple[Sequence[int], Sequence[str]],
    transfers: Transfers,
    waiting_per_day: float,
) -> Journeys:
    """Find the store from which sending is cheapest, and what it then takes.

    Parameters
    ----------
    breakdowns : Breakdowns
    places : tuple of sequences
        Rows of one item in the keys, and the stores of these rows.
    transfers : Transfers
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
    asked = breakdowns.per_year[list(rows)]
    found = 1.0 - np.array(
        [breakdowns.share_within(key, days[row]) for row, key in enumerate(rows)]
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
