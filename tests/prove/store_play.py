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
    shelf : array (points, items)
        Mean pieces lying.
    demands : array (items,)
        Breakdowns counted.
    """

    fill: np.ndarray
    shelf: np.ndarray
    demands: np.ndarray

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


def play(
    asked: Asked,
    terms: pd.DataFrame,
    *,
    review: int,
    watched: tuple[np.ndarray, np.ndarray],
    seed: int,
    points: int = 40,
) -> Played:
    """Play an (R, s, Q) store, every reorder point at once.

    The position is looked at every `review` days, in the morning: what lies and comes, less what
    waits and the jobs listed; at s or below, multiples of Q are ordered. First come, first served,
    on one day breakdowns first. Reorder points differ by a constant number of pieces, so that one
    play shows all.

    Parameters
    ----------
    terms : DataFrame
        quantity [items], lead, lead_high [days]; one row per item.
    watched : two int arrays (items,)
        First day, and first day no more, on which breakdowns are counted [day].
    """
    rng = np.random.default_rng(seed)
    days, items, futures = asked.breakdowns.shape
    quantity = terms["quantity"].to_numpy(int)[:, None]
    spread = np.log(np.maximum(terms["lead_high"] / terms["lead"], 1.0)) / stats.norm.ppf(0.9)
    net = rng.integers(1, quantity + 1, (items, futures)) + asked.listed[0]
    coming = np.zeros((items, futures), int)
    arrives = np.zeros((days, items, futures), np.int16)
    row, column = np.indices((items, futures))
    met = np.zeros((points + 1, items))
    shelf, demands, watch_days = met.copy(), np.zeros(items), np.zeros(items)
    level = np.arange(-1, points)[:, None, None]
    for day in range(days):
        net, coming = net + arrives[day], coming - arrives[day]
        if day % review == 0:
            missing = 1 - (net + coming - asked.listed[day])
            order = np.where(missing > 0, -(-missing // quantity) * quantity, 0)
            lead = terms["lead"].to_numpy()[:, None] * np.exp(
                spread.to_numpy()[:, None] * rng.standard_normal((items, futures))
            )
            when = day + np.maximum(np.rint(lead).astype(int), 1)
            inside = (order > 0) & (when < days)
            np.add.at(arrives, (when[inside], row[inside], column[inside]), order[inside])
            coming = coming + order
        counts = (day >= watched[0]) & (day < watched[1])
        wanted = asked.breakdowns[day]
        if counts.any():
            given = np.clip(net + level, 0, wanted)
            met += np.where(counts, given.sum(axis=2), 0)
            shelf += np.where(counts, np.maximum(net + level, 0).mean(axis=2), 0.0)
            demands += np.where(counts, wanted.sum(axis=1), 0)
            watch_days += counts
        net = net - wanted - asked.planned[day]
    with np.errstate(invalid="ignore"):
        return Played(fill=met / demands, shelf=shelf / watch_days, demands=demands)
