"""A store room played day by day over many futures at once: who gets a piece, who waits."""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy import stats

from pumplife.policy.groups import DAYS_PER_YEAR, SideGroup
from pumplife.stock.future import Practice, run_group
from pumplife.stock.jobs import list_jobs


@dataclass(frozen=True, kw_only=True, eq=False)
class Asked:
    """What pumps ask of a store in simulated futures.

    Attributes
    ----------
    items : list of (store, item)
    breakdowns, planned : int arrays (days, items, futures)
        Pieces asked for on each day.
    listed : int array (days, items, futures)
        Planned jobs on the list, due within the time that the item is ordered ahead.
    """

    items: list[tuple[str, str]]
    breakdowns: np.ndarray
    planned: np.ndarray
    listed: np.ndarray

    def __repr__(self) -> str:
        return f"<Asked: {self.breakdowns.shape} days, items, futures>"


@dataclass(frozen=True, kw_only=True, eq=False)
class Played:
    """What every reorder point would have done: index 0 of an axis `points` is point -1.

    Attributes
    ----------
    fill : array (points, items)
        Share of the breakdowns that found a piece.
    error : array (points, items)
        Standard error of that share: breakdowns of one future share its lead time and its lives,
        so that futures are the independent draws, not breakdowns.
    shelf : array (points, items)
        Mean pieces lying.
    demands : array (items,)
        Breakdowns counted.
    waited, waited_error : array (points, items)
        Days a year that pumps that have broken down wait for a piece, and their standard error
        [days/year]; jobs that wait aren't counted. NaN where the play wasn't asked for it.
    """

    fill: np.ndarray
    error: np.ndarray
    shelf: np.ndarray
    demands: np.ndarray
    waited: np.ndarray
    waited_error: np.ndarray

    def __repr__(self) -> str:
        return f"<Played: {self.fill.shape} points, items>"


def ask(
    groups: list[SideGroup],
    practices: list[Practice],
    ahead: dict[tuple[str, str], float],
    *,
    days: int,
    futures: int,
    seed: int,
) -> Asked:
    """Run the pumps and write down what they ask for; `ahead` [days] of each store and item."""
    items = sorted(ahead)
    place = {key: number for number, key in enumerate(items)}
    shape = (days, len(items), futures)
    broken, planned = np.zeros(shape, np.int16), np.zeros(shape, np.int16)
    steps = np.zeros((days + 1, *shape[1:]), np.int16)
    rng = np.random.default_rng(seed)
    for group, practice in zip(groups, practices, strict=True):
        events = run_group(group, practice, years=days / DAYS_PER_YEAR, replicates=futures, rng=rng)
        names = (group.kit, *group.part_no)
        row = np.array([[place.get((s, n), -1) for n in names] for s in group.store])
        part = group.part_of[np.maximum(events.position, 0)]
        item = row[events.pump, np.where(events.kit, 0, part + 1)]
        day = np.floor(events.time * DAYS_PER_YEAR).astype(int)
        for table, mine in ((broken, events.position >= 0), (planned, events.position < 0)):
            kept = mine & (item >= 0) & (day < days)
            np.add.at(table, (day[kept], item[kept], events.replicate[kept]), 1)
        jobs = list_jobs(group, practice, events, futures, float(days + max(ahead.values())))
        item = row[jobs.pump, 0]
        early = np.array([ahead[key] for key in items])[item]
        start = np.ceil(np.maximum(jobs.since, jobs.due - early)).clip(0, days).astype(int)
        stop = np.minimum(np.floor(jobs.until) + 1.0, days).astype(int)
        kept = (item >= 0) & (start < stop)
        for at, sign in ((start, 1), (stop, -1)):
            np.add.at(steps, (at[kept], item[kept], jobs.replicate[kept]), sign)
    return Asked(
        items=items, breakdowns=broken, planned=planned, listed=np.cumsum(steps, axis=0)[:-1]
    )


def draw_leads(terms: pd.DataFrame, futures: int, *, seed: int) -> np.ndarray:
    """Lead times of each item in each future, whole days from 1 up: int array (items, futures)."""
    rng = np.random.default_rng(seed)
    spread = np.log(np.maximum(terms["lead_high"] / terms["lead"], 1.0)) / stats.norm.ppf(0.9)
    chance = np.exp(spread.to_numpy()[:, None] * rng.standard_normal((len(terms), futures)))
    return np.maximum(np.rint(terms["lead"].to_numpy()[:, None] * chance).astype(int), 1)


def play(
    asked: Asked,
    quantity: np.ndarray,
    takes: np.ndarray,
    *,
    review: int,
    watch: int,
    seed: int,
    points: int = 40,
    waits: bool = False,
) -> Played:
    """Play an (R, s, Q) store, every reorder point at once.

    The position is looked at every `review` days, in the morning: what lies and comes, less what
    waits and the jobs listed; at s or below, multiples of Q are ordered. First come, first served,
    on one day breakdowns first. Reorder points differ by a constant number of pieces, so that one
    play shows all. A supplier takes as long for every order of one future, so that none overtakes
    an earlier one: the lead times that a store sees are then those it is said to have. Orders that
    overtake would serve better than any of them.

    Parameters
    ----------
    quantity : int array (items,)
        Order quantities [items].
    takes : int array (items, futures)
        Lead times as of `draw_leads` [days].
    watch : int
        Breakdowns are counted on so many days from the first on which an order can have come
        [days].
    waits : bool
        Whether the days that pumps wait are counted too, which takes much room.
    """
    rng = np.random.default_rng(seed)
    days, items, futures = asked.breakdowns.shape
    quantity = quantity[:, None]
    net = rng.integers(1, quantity + 1, (items, futures)) + asked.listed[0]
    coming = np.zeros((items, futures), int)
    arrives = np.zeros((days, items, futures), np.int16)
    row, column = np.indices((items, futures))
    met = np.zeros((points + 1, items, futures), np.int32)
    asked_for, watch_days = np.zeros((items, futures), np.int32), np.zeros(items)
    shelf = np.zeros((points + 1, items))
    level = np.arange(-1, points)[:, None, None]
    queue = _Queue(asked, points) if waits else None
    for day in range(days):
        net, coming = net + arrives[day], coming - arrives[day]
        if day % review == 0:
            missing = 1 - (net + coming - asked.listed[day])
            order = np.where(missing > 0, -(-missing // quantity) * quantity, 0)
            when = day + takes
            inside = (order > 0) & (when < days)
            np.add.at(arrives, (when[inside], row[inside], column[inside]), order[inside])
            coming = coming + order
        counts = (day >= takes) & (day < takes + watch)
        wanted = asked.breakdowns[day]
        if counts.any():
            watched = np.where(counts, wanted, 0)
            met += np.clip(net + level, 0, watched).astype(np.int32)
            shelf += np.where(counts, np.maximum(net + level, 0), 0).sum(axis=2)
            asked_for += watched.astype(np.int32)
            watch_days += counts.sum(axis=1)
        if queue is not None:
            queue.wait(day, (net, net - wanted - asked.planned[day]), counts)
        net = net - wanted - asked.planned[day]
    with np.errstate(invalid="ignore"):
        demands = asked_for.sum(axis=1)
        fill = met.sum(axis=2) / demands
        off = met - fill[..., None] * asked_for
        error = np.sqrt((off**2).sum(axis=2)) / demands
    waited = np.full((2, points + 1, items), np.nan) if queue is None else queue.waited(watch)
    return Played(
        fill=fill,
        error=error,
        shelf=shelf / watch_days,
        demands=demands,
        waited=waited[0],
        waited_error=waited[1],
    )


class _Queue:
    """Who waits at each reorder point: of all that came, in turn, whether it was a breakdown.

    Those who wait are the last that came, as many as the shelf lacks. On one day breakdowns come
    first. Pieces arrive in the morning, what is asked comes over the day: of those who come on a
    day, each waits half of it at the least.
    """

    def __init__(self, asked: Asked, points: int) -> None:
        daily = (asked.breakdowns + asked.planned).sum(axis=0, dtype=int)
        most, (items, futures) = int(daily.max(initial=0)), daily.shape
        self._broken = np.zeros((most + 1, items, futures), np.int16)  # among the first so many
        self._came = np.zeros((items, futures), int)
        self._days = np.zeros((points + 1, items, futures))
        self._level = np.arange(-1, points)[:, None, None]
        self._asked = asked

    def wait(self, day: int, net: tuple[np.ndarray, np.ndarray], counts: np.ndarray) -> None:
        """One day: what lies less what waits, without the level, at its start and its end."""
        morning = self._who(net[0])
        for table, breaks in ((self._asked.breakdowns[day], 1), (self._asked.planned[day], 0)):
            for number in range(int(table.max(initial=0))):
                item, future = np.nonzero(table > number)
                at = self._came[item, future]
                self._broken[at + 1, item, future] = self._broken[at, item, future] + breaks
                self._came[item, future] += 1
        self._days += np.where(counts, (morning + self._who(net[1])) / 2.0, 0.0)

    def _who(self, net: np.ndarray) -> np.ndarray:
        """Breakdowns that wait (points, items, futures)."""
        served = np.clip(self._came + np.minimum(net + self._level, 0), 0, None)
        row, column = np.indices(self._came.shape)
        return self._broken[self._came, row, column] - self._broken[served, row, column]

    def waited(self, watch: int) -> np.ndarray:
        """Days a year and their standard error, (2, points, items)."""
        yearly = self._days * (DAYS_PER_YEAR / watch)
        error = yearly.std(axis=2) / np.sqrt(yearly.shape[2])
        return np.stack([yearly.mean(axis=2), error])
