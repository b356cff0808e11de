"""Demand at shocks: past ones come again now and then, each with all that it took at once."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import stats

from pumplife.lives.build import Lives
from pumplife.lives.events import SHOCK_COLUMNS
from pumplife.policy.ahead import UseAhead
from pumplife.policy.groups import DAYS_PER_YEAR, SideGroup
from pumplife.records.plant import to_day
from pumplife.records.read import Records
from pumplife.stock.future import Practice

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.intp]

_Opening = tuple[int, int, str, int]  # shock, pump, ticket, group
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
    opening : int array (rows,)
        Which breakdown a row belongs to. Rows of one lie side by side: parts that release fluid
        first, what nobody named last.
    group, pump, part : int arrays (rows,)
        Group of the pump, its row there, and the part that failed; part -1 where nobody named it.
    pieces : int array (rows,)
        Loose parts it takes where no kit is fitted [items].
    """

    count: int
    years: float
    shock: IntArray
    opening: IntArray
    group: IntArray
    pump: IntArray
    part: IntArray
    pieces: IntArray

    def __repr__(self) -> str:
        return f"Shocks({self.count} in {self.years:.3g} years)"

    @property
    def leads(self) -> NDArray[np.bool_]:
        """Whether a row is the first of its breakdown."""
        return np.asarray(np.diff(self.opening, prepend=-1) != 0)

    def rate(self, share: float) -> float:
        """Quantile of the rate of shocks [shocks/year]."""
        return float(stats.gamma.ppf(share, self.count + _PRIOR, scale=1.0 / self.years))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Struck:
    """What fails at simulated shocks: arrays (failures,), rows of one breakdown side by side.

    Attributes
    ----------
    row : int
        Row of `Shocks` that comes again.
    replicate : int
    day : float
        [days]
    kit : bool
        Whether its breakdown takes the kit, else the failed parts alone.
    """

    row: IntArray
    replicate: IntArray
    day: FloatArray
    kit: NDArray[np.bool_]

    def __repr__(self) -> str:
        return f"Struck({len(self.row)} failures)"


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
    """Past shocks on pumps that still run, by group, pump and part."""
    listed = lives.shocks if len(lives.shocks) else pd.DataFrame(columns=SHOCK_COLUMNS)
    places: dict[tuple[int, str], list[tuple[int, int]]] = {}
    for number, group in enumerate(groups):
        for row, pump in enumerate(group.pumps):
            places.setdefault((int(pump), group.side), []).append((number, row))
    rows = []
    for one in listed.to_dict("records"):
        sides = (one["side"],) if one["side"] else ("fluid", "air")
        at = next((places[one["pump"], s] for s in sides if (one["pump"], s) in places), [])
        for number, row in at:  # in several groups where the pump moves on: one of them runs it
            group = groups[number]
            part = group.part.index(one["part"]) if one["part"] in group.part else -1
            late = 2 if part < 0 else 0 if group.releases[part] else 1
            found = (int(one["event"]), number, row, part, round(float(one["failures"])))
            rows.append(((found[0], one["pump"], one["rebuild_id"], number), late, found))
    return _order_shocks(records, rows, int(listed["event"].nunique()))


def _order_shocks(
    records: Records, rows: Sequence[tuple[_Opening, int, tuple[int, ...]]], count: int
) -> Shocks:
    """Rows of one breakdown side by side, in the order in which breakdowns came up."""
    openings = {opening: n for n, opening in enumerate(dict.fromkeys(row[0] for row in rows))}
    rows = sorted(rows, key=lambda row: (openings[row[0]], row[1]))
    table = np.array([(openings[row[0]], *row[2]) for row in rows], np.intp).reshape(-1, 6)
    window = to_day(records.plant.records_to) - to_day(records.plant.records_from)
    return Shocks(
        count=count,
        years=window / DAYS_PER_YEAR,
        opening=table[:, 0],
        shock=table[:, 1],
        group=table[:, 2],
        pump=table[:, 3],
        part=table[:, 4],
        pieces=table[:, 5],
    )


def note_shocks(records: Records, shocks: Shocks) -> Shocks:
    """Tell the audit how often shocks are taken to come again; the same shocks."""
    if not shocks.count:
        return shocks
    records.log.add(
        "note",
        f"{shocks.count} shocks in {shocks.years:.2g} years: they are taken to come again, "
        f"{shocks.rate(0.05):.2g} to {shocks.rate(0.95):.2g} a year (90 %).",
        rule="shock_demand",
        table="events",
        consequence="Stock levels and budget reckon with bursts as they were, "
        f"{int(shocks.leads.sum())} breakdowns of pumps that still run among them.",
        remedy="Take an event out of events where its cause is gone for good.",
    )
    return shocks


def strike(
    shocks: Shocks,
    practices: Sequence[Practice],
    *,
    days: float,
    replicates: int,
    rng: np.random.Generator,
    ahead: Sequence[UseAhead | None] = (),
) -> Struck:
    """Shocks of all futures: a rate drawn for each, then which past shock strikes, and when.

    The rate has the posterior of a Poisson count under Jeffreys' prior, gamma(n + ½) / years.
    A kit is fitted at the share of breakdowns at which the practice fits one, and where nobody
    named a part; ages are left as they are.

    Parameters
    ----------
    shocks : Shocks
    practices : sequence of Practice
        Of each group.
    days : float
        How far to look ahead [days].
    replicates : int
        Simulated futures.
    rng : Generator
        The same gives the same shocks under every way of working.
    ahead : sequence of UseAhead, optional
        Of each group: a shock passes by pumps that don't run on its day. Default: all run.
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
    at = np.repeat(struck, repeats)
    nth = np.arange(len(at)) - np.repeat(np.cumsum(repeats) - repeats, repeats)
    row = order[begins[chosen[at]] + nth]
    kit = _fits_kit(shocks, row, practices, rng)
    kept = _runs(shocks, row, day[at], ahead)
    return Struck(row=row[kept], replicate=future[at][kept], day=day[at][kept], kit=kit[kept])


def _fits_kit(
    shocks: Shocks, row: IntArray, practices: Sequence[Practice], rng: np.random.Generator
) -> NDArray[np.bool_]:
    """Whether the breakdown that each row belongs to takes the kit."""
    first = np.maximum.accumulate(np.where(shocks.leads[row], np.arange(len(row)), 0))
    unnamed = np.isin(shocks.opening, shocks.opening[shocks.part < 0])
    share = np.array([practice.kit_share for practice in practices])[shocks.group[row]]
    return np.asarray(unnamed[row] | (rng.random(len(row))[first] < share))


def _runs(
    shocks: Shocks, row: IntArray, day: FloatArray, ahead: Sequence[UseAhead | None]
) -> NDArray[np.bool_]:
    """Whether each pump runs on a day from now."""
    runs = np.ones(len(row), np.bool_)
    group, pump = shocks.group[row], shocks.pump[row]
    for number, use in enumerate(ahead):
        mine = np.flatnonzero(group == number) if use is not None else ()
        if use is not None and len(mine):
            place = np.searchsorted(use.knots, day[mine], side="right") - 1
            runs[mine] = use.share[pump[mine], place] > 0.0
    return runs


def draw_bursts(
    shocks: Shocks,
    practices: Sequence[Practice],
    *,
    days: float,
    replicates: int,
    rng: np.random.Generator,
    ahead: Sequence[UseAhead | None] = (),
) -> Burst:
    """The pieces that shocks of all futures take, as `strike` has them."""
    struck = strike(shocks, practices, days=days, replicates=replicates, rng=rng, ahead=ahead)
    row, kit = struck.row, struck.kit
    pieces = np.where(kit, shocks.leads[row], shocks.pieces[row])
    again = np.repeat(np.arange(len(row)), pieces)
    return Burst(
        group=shocks.group[row][again],
        pump=shocks.pump[row][again],
        item=np.where(kit, 0, shocks.part[row] + 1)[again],
        replicate=struck.replicate[again],
        day=struck.day[again],
    )
