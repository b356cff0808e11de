"""What each kind of event of a pump group takes: pieces, hours, and money by what it pays."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pumplife.policy.costs import SideCosts
from pumplife.policy.groups import SideGroup
from pumplife.policy.simulate import SideEvents
from pumplife.records.plant import Plant

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.intp]

AMOUNTS = ("kits", "parts", "labour_h", "downtime_h", "breakdowns", "spills")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class EventAmounts:
    """What each kind of event of one group takes.

    Kinds: 0 a planned renewal; 1 … P a failure of that part at which the kit is fitted;
    P + 1 … 2 P a failure at which the failed part alone is renewed.

    Attributes
    ----------
    takes : array (kinds, 6)
        In the columns of `AMOUNTS` [items, hours, events].
    kit_money, part_money, labour_money, downtime_money, other_money : arrays (kinds,)
        Kits; loose parts; labour; lost production; call-out, clean-up and what else [money].
    kit, part_no : str, tuple of str (parts,)
        Whose prices `kit_money` and `part_money` are.
    kit_price, part_price : float, array (parts,)
        Today's [money].
    loose_money : array (kinds,)
        What an opening takes beside the kit whether or not it failed [money].
    air_money : array (kinds,)
        Air kits of fouled air sides, a part of `kit_money` [money].
    """

    takes: FloatArray
    kit_money: FloatArray
    part_money: FloatArray
    labour_money: FloatArray
    downtime_money: FloatArray
    other_money: FloatArray
    kit: str = ""
    part_no: tuple[str, ...] = ()
    kit_price: float = float("nan")
    part_price: FloatArray | None = None
    loose_money: FloatArray | float = 0.0
    air_money: FloatArray | float = 0.0

    def __repr__(self) -> str:
        return f"EventAmounts({len(self.kit_money)} kinds of event)"


def event_amounts(group: SideGroup, plant: Plant) -> EventAmounts:
    """What each kind of event of one group takes, from its costs.

    The chance that an opening ends in another breakdown, and that a release fouls the air side,
    are carried as expected amounts.
    """
    costs = group.costs
    assert costs is not None, "a group without costs has its reason in `missing`"
    parts = len(group.part)
    releases = group.releases.astype(np.float64)
    foul = plant.cost("foul_air_side_probability", group.service) if group.side == "fluid" else 0.0
    fouled = releases * float(np.nan_to_num(foul))
    fault = costs.opening_fault
    none = np.zeros(parts)
    works = (costs.planned, costs.kit_failure, costs.part_failure)
    columns = {
        "kits": (np.ones(1), 1.0 + fouled, fouled),
        "parts": (np.zeros(1), none, none + 1.0),
        "breakdowns": (np.zeros(1), none + 1.0, none + 1.0),
        "spills": (np.zeros(1), releases, releases),
        "labour_h": tuple(work.labour_h for work in works),
        "downtime_h": tuple(work.downtime_h for work in works),
    }
    again = {"kits": fault, "breakdowns": fault}
    takes = [np.concatenate(columns[name]) + again.get(name, 0.0) for name in AMOUNTS]
    labour, downtime = (np.concatenate(columns[name]) for name in ("labour_h", "downtime_h"))
    air = np.concatenate([np.zeros(1), *[fouled * float(np.nan_to_num(costs.air_kit))] * 2])
    kits, loose = _kit_money(costs) + air, _part_money(costs)
    cash = np.concatenate([work.cash for work in works])
    return EventAmounts(
        takes=np.stack(takes, axis=1),
        kit_money=kits,
        part_money=loose,
        labour_money=costs.labour_per_h * labour,
        downtime_money=costs.downtime_per_h * downtime,
        other_money=cash - kits - loose,
        kit=group.kit,
        part_no=group.part_no,
        kit_price=costs.kit_price,
        part_price=costs.part_price,
        air_money=air,
    )


def _kit_money(costs: SideCosts) -> FloatArray:
    """The side's kit and the kit of a fault after it, by kind."""
    parts, again = costs.part_price.size, costs.opening_fault * costs.kit_price
    return np.repeat([costs.kit_price + again, again], [1 + parts, parts])


def _part_money(costs: SideCosts) -> FloatArray:
    """The failed part where it alone is renewed, by kind."""
    none = np.zeros(costs.part_price.size)
    return np.concatenate([[0.0], none, costs.part_price])


def kinds_of(group: SideGroup, events: SideEvents) -> IntArray:
    """Kind of each event, as in `EventAmounts`."""
    failed = events.position >= 0
    part = group.part_of[np.maximum(events.position, 0)]
    parts = len(group.part)
    kind = np.where(failed, part + 1, 0) + np.where(events.kit, 0, parts)
    return np.asarray(kind, dtype=np.intp)
