"""Demand at shocks: past ones come again now and then, each with all that it took at once."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import stats

from pumplife.lives.build import Lives
from pumplife.lives.events import SHOCK_COLUMNS
from pumplife.policy.groups import DAYS_PER_YEAR, SideGroup
from pumplife.records.plant import to_day
from pumplife.records.read import Records
from pumplife.stock.future import Practice

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.intp]

_PRIOR = 0.5  # failures added by Jeffreys' prior on a Poisson rate


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Shocks:
    """What past shocks took, and over how long they were watched.

    Attributes
    ----------
    count : int
        Past shocks that were believed.
    years : float
        Length of the records [years].
    shock : int array (rows,)
        Which of them a row belongs to.
    group, pump, part : int arrays (rows,)
        Group of the pump, its row there, and the part that failed; part -1 where nobody named it.
    pieces : int array (rows,)
        Loose parts it takes where no kit is fitted [items].
    """

    count: int
    years: float
    shock: IntArray
    group: IntArray
    pump: IntArray
    part: IntArray
    pieces: IntArray

    def __repr__(self) -> str:
        return f"Shocks({self.count} in {self.years:.3g} years)"

    def rate(self, share: float) -> float:
        """Quantile of the rate of shocks [shocks/year]."""
        return float(stats.gamma.ppf(share, self.count + _PRIOR, scale=1.0 / self.years))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Burst:
    """Pieces asked for at simulated shocks, one row each: arrays (pieces,).

    Attributes
    ----------
    group, pump : int
        Group, and row of the pump in it.
    item : int
        0 the kit, 1 + n the n-th part of the group.
    replicate : int
    day : float
        [days]
    """

    group: IntArray
    pump: IntArray
    item: IntArray
    replicate: IntArray
    day: FloatArray

    def __repr__(self) -> str:
        return f"Burst({len(self.day)} pieces)"


def list_past_shocks(records: Records, lives: Lives, groups: Sequence[SideGroup]) -> Shocks:
    """Past shocks on pumps that still run, by group, pump and part; the audit is told of them."""
    listed = lives.shocks if len(lives.shocks) else pd.DataFrame(columns=SHOCK_COLUMNS)
    place = {
        (int(pump), group.side): (number, row)
        for number, group in enumerate(groups)
        for row, pump in enumerate(group.pumps)
    }
    rows = []
    for one in listed.to_dict("records"):
        sides = (one["side"],) if one["side"] else ("fluid", "air")
        at = next((place[one["pump"], s] for s in sides if (one["pump"], s) in place), None)
        if at is not None:
            parts = groups[at[0]].part
            part = parts.index(one["part"]) if one["part"] in parts else -1
            rows.append((int(one["event"]), *at, part, round(float(one["failures"]))))
    table = np.array(rows, np.intp).reshape(-1, 5)
    window = to_day(records.plant.records_to) - to_day(records.plant.records_from)
    found = Shocks(
        count=int(listed["event"].nunique()),
        years=window / DAYS_PER_YEAR,
        shock=table[:, 0],
        group=table[:, 1],
        pump=table[:, 2],
        part=table[:, 3],
        pieces=table[:, 4],
    )
    if found.count:
        _say_rate(records, found)
    return found


def _say_rate(records: Records, shocks: Shocks) -> None:
    pieces = len(shocks.shock)
    records.log.add(
        "note",
        f"{shocks.count} shocks in {shocks.years:.2g} years: they are taken to come again, "
        f"{shocks.rate(0.05):.2g} to {shocks.rate(0.95):.2g} a year (90 %).",
        rule="shock_demand",
        table="events",
        consequence=f"Stock levels reckon with bursts as they were, {pieces} breakdowns of pumps "
        "that still run among them.",
        remedy="Take an event out of events where its cause is gone for good.",
    )


def draw_bursts(
    shocks: Shocks,
    practices: Sequence[Practice],
    *,
    days: float,
    replicates: int,
    rng: np.random.Generator,
) -> Burst:
    """Shocks of all futures: a rate drawn for each, then which past shock strikes, and when.

    The rate has the posterior of a Poisson count under Jeffreys' prior, gamma(n + ½) / years.
    A kit is fitted at the share of breakdowns at which the practice fits one; ages are left as
    they are.
    """
    rate = rng.gamma(shocks.count + _PRIOR, 1.0 / shocks.years, replicates)
    strikes = rng.poisson(rate * days / DAYS_PER_YEAR) if shocks.count else np.zeros_like(rate)
    future = np.repeat(np.arange(replicates), strikes.astype(np.intp))
    day = rng.uniform(0.0, days, len(future))
    events, which = np.unique(shocks.shock, return_inverse=True)
    chosen = rng.integers(0, max(shocks.count, 1), len(future))  # some took from no pump of today
    struck = np.flatnonzero(chosen < len(events))
    sizes = np.bincount(which, minlength=len(events)) if len(events) else np.zeros(1, np.intp)
    order = np.argsort(which, kind="stable")
    begins = np.cumsum(sizes) - sizes
    repeats = sizes[chosen[struck]]
    strike = np.repeat(struck, repeats)
    nth = np.arange(len(strike)) - np.repeat(np.cumsum(repeats) - repeats, repeats)
    row = order[begins[chosen[strike]] + nth]
    share = np.array([practice.kit_share for practice in practices])[shocks.group[row]]
    kit = (shocks.part[row] < 0) | (rng.random(len(row)) < share)
    again = np.repeat(np.arange(len(row)), np.where(kit, 1, shocks.pieces[row]))
    return Burst(
        group=shocks.group[row][again],
        pump=shocks.pump[row][again],
        item=np.where(kit, 0, shocks.part[row] + 1)[again],
        replicate=future[strike][again],
        day=day[strike][again],
    )
