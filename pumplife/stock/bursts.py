"""Breakdowns at simulated shocks as events of the pump groups, for what adds events up."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pumplife.policy.ahead import UseAhead
from pumplife.policy.groups import DAYS_PER_YEAR, SideGroup
from pumplife.policy.simulate import SideEvents
from pumplife.stock.future import Practice
from pumplife.stock.lead_times import own_rng
from pumplife.stock.shocks import Shocks, Struck, strike

IntArray = NDArray[np.intp]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class GroupBurst:
    """What shocks do to the pumps of one group.

    Attributes
    ----------
    breakdowns : SideEvents
        One event each, at the first of the parts that failed.
    pieces : SideEvents
        Parts renewed at these breakdowns besides, an event per piece: no breakdown of its own.
    """

    breakdowns: SideEvents
    pieces: SideEvents

    def __repr__(self) -> str:
        return f"GroupBurst({self.breakdowns.time.size} breakdowns)"


def burst_groups(
    shocks: Shocks,
    groups: Sequence[SideGroup],
    practices: Sequence[Practice],
    *,
    years: float,
    replicates: int,
    seed: int,
    ahead: Sequence[UseAhead | None] = (),
) -> list[GroupBurst]:
    """What shocks do to each group: in every future the same shocks, whatever the practice.

    Parameters
    ----------
    shocks : Shocks
    groups : sequence of SideGroup
        That the shocks were listed by.
    practices : sequence of Practice
    years : float
        How far to look ahead [years].
    replicates, seed : int
    ahead : sequence of UseAhead, optional
        Use of each group's pumps.
    """
    rng, days = own_rng(seed, "shocks"), years * DAYS_PER_YEAR
    struck = strike(shocks, practices, days=days, replicates=replicates, rng=rng, ahead=ahead)
    chance = own_rng(seed, "shocks", "unnamed").random(len(struck.row))
    group = shocks.group[struck.row]
    return [
        _burst(shocks, struck, np.flatnonzero(group == number), one, chance)
        for number, one in enumerate(groups)
    ]


def _burst(
    shocks: Shocks, struck: Struck, mine: IntArray, group: SideGroup, chance: NDArray[np.float64]
) -> GroupBurst:
    """The rows of one group; where nobody named a part, a position by chance failed."""
    row = struck.row[mine]
    places = np.array([np.argmax(group.part_of == part) for part in range(len(group.part))])
    anywhere = (chance[mine] * len(group.part_of)).astype(np.intp)
    position = np.where(shocks.part[row] < 0, anywhere, places[np.maximum(shocks.part[row], 0)])
    leads = shocks.leads[row]
    more = np.where(struck.kit[mine], 0, shocks.pieces[row] - leads)

    def events(rows: IntArray) -> SideEvents:
        return SideEvents(
            pump=shocks.pump[row][rows],
            replicate=struck.replicate[mine][rows],
            time=struck.day[mine][rows] / DAYS_PER_YEAR,
            position=position[rows],
            kit=struck.kit[mine][rows],
        )

    return GroupBurst(
        breakdowns=events(np.flatnonzero(leads)),
        pieces=events(np.repeat(np.arange(len(row)), more)),
    )
