"""Spare whole pumps: how many, so that a pump taken out finds one while the bench rebuilds it.

Pumps of one size and the same wetted materials stand in for each other. Each opening, as the
simulated futures have it under what the plant follows, takes a pump out for the turnaround; the
spares must cover those that are out when the next one comes. Doubt about the lives is in it, since
every future has another draw of them.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pumplife.policy.groups import DAYS_PER_YEAR, SideGroup
from pumplife.policy.simulate import SideEvents
from pumplife.records.plant import Plant
from pumplife.stock.level import base_stock, count_pmf, pmf_loss, poisson_pmf

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.intp]

SHARES = (0.90, 0.95, 0.99)
LATEST_START = 180.0  # day from which pumps out are counted at the latest [days]
SHORTER = np.linspace(1.0, 0.1, 10)  # turnarounds tried against one more spare


@dataclass(slots=True, kw_only=True, eq=False)
class RemovalTally:
    """Notes the openings of pumps that are rebuilt on the bench while futures are simulated.

    Attributes
    ----------
    services : frozenset of str
        Whose pumps are.
    replicates : int
        Simulated futures.
    found : list of tuple of arrays
        Pump (row of the pumps table), future and day from today of the first year's openings.
    """

    services: frozenset[str]
    replicates: int
    found: list[tuple[IntArray, IntArray, FloatArray]] = field(default_factory=list)

    def __call__(self, group: SideGroup, events: SideEvents) -> None:
        """Note one group's openings."""
        if group.service in self.services:
            first = events.time <= 1.0
            pump = group.pumps[events.pump[first]]
            day = events.time[first] * DAYS_PER_YEAR
            self.found.append((pump, events.replicate[first], day))

    def of(self, pumps: IntArray) -> tuple[IntArray, FloatArray]:
        """Future and day of the openings of some pumps."""
        taken = [(rep[mine], day[mine]) for pump, rep, day in self.found
                 if (mine := np.isin(pump, pumps)).any()]  # fmt: skip
        if not taken:
            return np.zeros(0, np.intp), np.zeros(0)
        return (
            np.concatenate([one[0] for one in taken]),
            np.concatenate([one[1] for one in taken]),
        )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PumpsOut:
    """Pumps that are out on the bench, as simulated.

    Attributes
    ----------
    met : int array (removals,)
        Out when the next one is taken out.
    shares : array (counts,)
        Share of the time in which 0, 1, 2 ... are out [-].
    """

    met: IntArray
    shares: FloatArray

    def __repr__(self) -> str:
        return f"PumpsOut({self.mean:.3g} in the mean)"

    @property
    def mean(self) -> float:
        """Mean number out."""
        return float(self.shares @ np.arange(len(self.shares)))

    def spares(self, share: float) -> int:
        """Fewest spares with which so large a share of the pumps taken out finds one."""
        return base_stock(count_pmf(self.met), share) if len(self.met) else 0

    def waiting(self, spares: ArrayLike) -> FloatArray:
        """Days a year that places stand without a pump [days/year]."""
        return DAYS_PER_YEAR * pmf_loss(spares, self.shares)


def spares_for(removals_per_year: float, turnaround_days: float, share: float) -> int:
    """Spares that meet a share of removals at once, removals at random times (Poisson).

    Parameters
    ----------
    removals_per_year : float
        [1/year]
    turnaround_days : float
        [days]
    share : float
        [0 to 1]
    """
    return base_stock(poisson_pmf(removals_per_year * turnaround_days / DAYS_PER_YEAR), share)


def count_out(
    replicate: IntArray, day: FloatArray, turnaround: FloatArray, replicates: int
) -> PumpsOut:
    """Count pumps out on the bench: at each removal, and over the time of the first year.

    Parameters
    ----------
    replicate, day : array (removals,)
        Future, and day from today [days].
    turnaround : float array (removals,)
        Until the pump is back in store [days].
    replicates : int
    """
    longest = float(turnaround.max(initial=0.0))
    start, width = min(longest, LATEST_START), DAYS_PER_YEAR + longest + 1.0
    out = np.sort(replicate * width + day)
    back = np.sort(replicate * width + day + turnaround)
    at = (replicate * width + day)[day >= start]
    # one that is back on the day it went out was never missing, not even to itself
    gone = np.searchsorted(out, at, side="left") - np.searchsorted(back, at, side="left")
    moments = np.concatenate([out, back])
    order = np.argsort(moments, kind="stable")
    number = np.cumsum(np.where(order < len(out), 1, -1))[:-1]  # none are out between futures
    begin, end = moments[order][:-1], moments[order][1:]
    first = np.floor(begin / width) * width + start
    last = first - start + DAYS_PER_YEAR
    spent = np.maximum(np.minimum(end, last) - np.maximum(begin, first), 0.0)
    whole = (DAYS_PER_YEAR - start) * replicates
    shares = np.bincount(number, weights=spent, minlength=1) / whole
    shares[0] = 1.0 - shares[1:].sum()
    return PumpsOut(met=np.asarray(gone, dtype=np.intp), shares=shares)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PumpPool:
    """Pumps that stand in for each other.

    Attributes
    ----------
    size_mm : float
        [mm]; NaN where not known.
    materials : str
        Wetted materials of the fluid kit.
    services : tuple of str
    running, in_store : int array
        Rows of the pumps table.
    new_cost : float
        Median price of a new one [money]; NaN where not given.
    turnaround : float array (values,)
        Turnarounds, each as likely as the others [days]; empty where nobody knows.
    source : str
        Where they come from.
    kit_waiting : float
        Of them, mean days of waiting for parts or a permit [days]; NaN where not written.
    """

    size_mm: float
    materials: str
    services: tuple[str, ...]
    running: IntArray
    in_store: IntArray
    new_cost: float
    turnaround: FloatArray
    source: str
    kit_waiting: float

    def __repr__(self) -> str:
        return f"PumpPool({self.size_mm:g} mm, {self.materials}: {len(self.running)} pumps)"


def weigh_spares(
    pool: PumpPool, tally: RemovalTally, plant: Plant, rng: np.random.Generator
) -> dict[str, Any]:
    """One row of the table rotables: spares for each share, and what one more is worth.

    Parameters
    ----------
    pool : PumpPool
    tally : RemovalTally
    plant : Plant
        Gives prices of keeping and waiting, and the service level.
    rng : Generator
        Draws the turnarounds.
    """
    replicate, day = tally.of(pool.running)
    have = len(pool.in_store)
    row: dict[str, Any] = {
        "size_mm": pool.size_mm,
        "materials": pool.materials,
        "services": ", ".join(pool.services),
        "pumps": len(pool.running),
        "removals_per_year": len(day) / tally.replicates,
        "turnaround_days": pool.turnaround.mean() if len(pool.turnaround) else np.nan,
        "turnaround_source": pool.source,
        "kit_waiting_days": pool.kit_waiting,
        "spares_today": have,
        "new_cost": pool.new_cost,
    }
    if not len(pool.turnaround):
        return row | {"why": pool.source}
    drawn = rng.choice(pool.turnaround, len(day))
    outs = [count_out(replicate, day, drawn * part, tally.replicates) for part in SHORTER]
    now = outs[0]
    row |= {f"spares_{100 * share:.0f}": now.spares(share) for share in SHARES}
    row["spares_95_no_waiting"] = _without_waiting(pool, replicate, day, drawn, tally)
    advised = _choose(now, pool.new_cost, plant)
    row |= {
        "spares_advised": advised,
        "buy": max(0, advised - have),
        "waiting_today": float(now.waiting(have)),
        "waiting_advised": float(now.waiting(advised)),
    }
    row |= _one_more(outs, have, row["turnaround_days"], pool.new_cost, plant)
    return row | {"why": _why(row, plant.currency)}


def _without_waiting(
    pool: PumpPool,
    replicate: IntArray,
    day: FloatArray,
    drawn: FloatArray,
    tally: RemovalTally,
) -> float:
    """Spares for 95 % were no pump on the bench to wait for parts; NaN where not known."""
    mean = float(pool.turnaround.mean())
    if not (pool.kit_waiting > 0 and mean > 0):
        return float("nan")
    shorter = drawn * max(0.0, 1.0 - pool.kit_waiting / mean)
    return float(count_out(replicate, day, shorter, tally.replicates).spares(0.95))


def _choose(out: PumpsOut, price: float, plant: Plant) -> int:
    """By the service level where plant.toml sets one or a price is missing, else by cost."""
    holding, waiting = plant.cost("holding_per_year") * price, plant.cost("waiting_per_day")
    if "service_level" in plant.raw.get("targets", {}) or not np.isfinite(holding + waiting):
        return out.spares(plant.service_level)
    tried = np.arange(len(out.shares))
    return int(np.argmin(holding * tried + waiting * out.waiting(tried)))


def _one_more(
    outs: Sequence[PumpsOut], have: int, days: float, price: float, plant: Plant
) -> dict[str, float]:
    """One spare more than today, beside the shorter turnaround that would do the same."""
    waits = np.array([float(out.waiting(have)) for out in outs])
    wanted = float(outs[0].waiting(have + 1))
    reached = np.interp(-wanted, -waits, SHORTER, right=np.nan) if waits[0] > wanted else np.nan
    return {
        "one_more_costs": plant.cost("holding_per_year") * price,
        "one_more_saves": (waits[0] - wanted) * plant.cost("waiting_per_day"),
        "same_as_days": float(days * (1.0 - reached)),
    }


def _why(row: dict[str, Any], currency: str) -> str:
    """The row in words."""
    if row["buy"]:
        words = [f"{row['buy']} more than the {row['spares_today']} in store"]
    elif row["spares_today"] > row["spares_advised"]:
        words = [f"{row['spares_today'] - row['spares_advised']} more in store than needed"]
    else:
        words = ["enough in store"]
    if np.isfinite(row["one_more_saves"] + row["one_more_costs"]):
        words.append(
            f"one more than today saves {row['one_more_saves']:,.0f} {currency} of waiting a year "
            f"and costs {row['one_more_costs']:,.0f} {currency} to keep"
        )
    if np.isfinite(row["same_as_days"]):
        words.append(f"a turnaround {row['same_as_days']:.2g} days shorter does the same")
    return "; ".join(words)
