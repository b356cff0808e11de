"""How lives were watched, and what a new set of lives would have shown under the same watch."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pumplife.weibull.arrays import Floats, Groups, Ints, LifeArrays

CERTAIN = 50.0  # stands for the log of no chance to stay under watch


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class Watch:
    """When each life was watched, sorted by group.

    Attributes
    ----------
    code : array (lives,)
        Group number.
    entry : array (lives,) [usage]
    seen_to : array (lives,) [usage]
        Age at which the watch ended, inf where it is not known (the life failed first).
    start, width : arrays (lives,) [usage]
        Looks took place at start, start + width, ...; width 0 where failures show at once.
    weight : array (lives,)
    hazard : array (lives + 1,)
        Cumulated hazard of the end of watch, over the groups' lives in order of age.
    place : array (lives,)
        Where in that order each life ended.
    age : array (lives,) [usage]
        Ages in that order.
    last : array (lives,)
        End in that order of the life's group.
    """

    code: Ints
    entry: Floats
    seen_to: Floats
    start: Floats
    width: Floats
    weight: Floats
    hazard: Floats
    place: Ints
    age: Floats
    last: Ints

    def __repr__(self) -> str:
        return f"Watch({len(self.code)} lives)"


def plan_watch(lives: LifeArrays, groups: Groups) -> Watch:
    """Return how lives (sorted by group) were watched.

    A suspension tells when its watch ended. Where a life failed first, the end is drawn in each
    set from the product-limit estimate of the group's ends of watch beyond that age; beyond the
    last of them it is never. A life that failed between two looks is looked at as often again.
    """
    failed = np.isfinite(lives.upper)
    between = failed & (lives.lower < lives.upper)
    reached = np.where(failed, lives.upper, lives.lower)
    order = np.lexsort((~failed, reached, groups.code))
    place = np.empty_like(order)
    place[order] = np.arange(len(order))
    ended = lives.weights() * ~failed
    at_risk = _at_risk(reached, lives, groups)
    with np.errstate(divide="ignore", invalid="ignore"):
        step = -np.log1p(-np.minimum(ended / np.maximum(at_risk, ended), 1.0))
    hazard = np.cumsum(np.minimum(np.where(ended > 0.0, step, 0.0), CERTAIN)[order])
    return Watch(
        code=groups.code,
        entry=lives.entries(),
        seen_to=np.where(failed, np.inf, lives.lower),
        start=np.where(between, lives.lower, 0.0),
        width=np.where(between, lives.upper - lives.lower, 0.0),
        weight=lives.weights(),
        hazard=np.concatenate([[0.0], hazard]),
        place=place,
        age=reached[order],
        last=(groups.start + groups.size)[groups.code],
    )


def _at_risk(reached: Floats, lives: LifeArrays, groups: Groups) -> Floats:
    """Return the weight of the group's lives under watch at the age that each life reached."""
    longest = np.maximum.reduceat(reached, groups.start)[groups.code]
    ends, entries = (groups.code + 0.99 * age / longest for age in (reached, lives.entries()))
    weight = lives.weights()

    def from_here(keys: Floats) -> Floats:
        order = np.argsort(keys)
        total = np.concatenate([[0.0], np.cumsum(weight[order])])
        end = total[(groups.start + groups.size)[groups.code]]
        return np.asarray(end - total[np.searchsorted(keys[order], ends, side="left")])

    return from_here(ends) - from_here(entries)


def observe(
    watch: Watch, shape: Floats, scale: Floats, sets: int, generator: np.random.Generator
) -> tuple[LifeArrays, Ints]:
    """Draw lives of the given Weibulls and return what the watch would have shown of them.

    Parameters
    ----------
    watch : Watch
    shape, scale : arrays (groups,) [-], [usage]
    sets : int
        Sets of lives to draw, one after the other.
    generator : numpy Generator

    Returns
    -------
    lives : LifeArrays
        sets x lives rows.
    code : array (rows,)
        Set number times groups, plus the group number.
    """
    size = (sets, len(watch.code))
    power, unit = shape[watch.code], scale[watch.code]
    entered = (watch.entry / unit) ** power
    life = unit * (entered + generator.standard_exponential(size)) ** (1.0 / power)
    seen_to = _draw_ends(watch, generator.standard_exponential(size))
    failed = life <= seen_to
    looked = np.where(watch.width > 0.0, watch.width, 1.0)
    look = watch.start + np.floor((life - watch.start) / looked) * looked
    low = np.where(watch.width > 0.0, np.maximum(look, watch.entry), life)
    high = np.where(watch.width > 0.0, np.minimum(look + looked, seen_to), life)
    lives = LifeArrays(
        lower=np.where(failed, low, seen_to).ravel(),
        upper=np.where(failed, np.maximum(high, low), np.inf).ravel(),
        entry=np.broadcast_to(watch.entry, size).ravel() if watch.entry.any() else None,
        weight=np.broadcast_to(watch.weight, size).ravel(),
    )
    code = np.arange(sets)[:, None] * len(shape) + watch.code
    return lives, code.ravel().astype(np.intp)


def _draw_ends(watch: Watch, level: Floats) -> Floats:
    """Return ends of watch (sets, lives): known ones as they are, others drawn beyond failure."""
    wanted = watch.hazard[watch.place + 1] + level
    found = np.searchsorted(watch.hazard[1:], wanted, side="left")
    inside = found < watch.last
    drawn = np.where(inside, watch.age[np.minimum(found, len(watch.age) - 1)], np.inf)
    return np.where(np.isinf(watch.seen_to), drawn, watch.seen_to)
