"""Looking for worn parts at even intervals, and renewing the whole side when one is found.

Looks are counted from the last renewal of the side, so that each renewal starts afresh and the
cost of one cycle over its length is exact: no sign is taken to come evenly between two looks.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.signal import lfilter

from pumplife.policy.ages import time_at_hazard
from pumplife.policy.practice import EventRates
from pumplife.policy.pump import FloatArray, SideLife, count_draws
from pumplife.policy.ways.alone import Scope, Withheld
from pumplife.policy.ways.counts import mean_lives
from pumplife.policy.ways.inspection import FEW, LADDER, Look, read_look, seeing_work
from pumplife.policy.ways.outcome import Outcome, add_work, outcome_of

KIT_WHEN_WORN = "inspection, whole kit when wear is found"
FINER = 7  # intervals tried between the neighbours of the best one
CELLS = 64  # grid steps of one cycle, at least
MOST_LOOKS = 400  # of one cycle
DEAD = 12.0  # cumulative hazard that hardly any side outlives


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LookCycle:
    """What one cycle from new to the renewal of the whole side brings, by draw.

    Attributes
    ----------
    failed : float array (parts, draws)
        Chance that it ends by a failure of each part.
    found : float array (draws,)
        Chance that it ends by a sign that was found.
    looks : float array (draws,)
        Expected looks, that which finds among them.
    usage : float array (draws,)
        Expected length [usage].
    """

    failed: FloatArray
    found: FloatArray
    looks: FloatArray
    usage: FloatArray

    def __repr__(self) -> str:
        """Say how it ends."""
        return f"<LookCycle: a sign found in {self.found.mean():.0%}>"


def look_cycle(
    side: SideLife, look: Look, every: float, *, longest: float | None = None
) -> LookCycle:
    """One cycle with looks at every multiple of an interval.

    A part that lives to l shows its sign from (1 - h) l on, h its delay share; each look from then
    on misses it with the chance q.  The chance to be alive and not found just after look m at age
    t is the integral of q^looks(l) over the lives l beyond t, a sum over the lives whose sign
    comes just at a look.  Failures of one grid step are shared among the parts by what each
    loses in it.

    Parameters
    ----------
    side : SideLife
    look : Look
    every : float
        Usage between looks [usage].
    longest : float, optional
        Age that hardly any side reaches, where it is known [usage].
    """
    longest = _reach(side) if longest is None else longest
    looks = int(np.clip(np.ceil(longest / every), 1, MOST_LOOKS))
    steps = 2 * max(1, int(np.ceil(0.5 * CELLS / looks)))
    by_part = _unfound(side, look, every, (looks, steps))
    with np.errstate(divide="ignore"):
        hazard = -np.log(by_part) * side.count[:, None]
    hazard = np.minimum(hazard, 700.0)
    alive = np.exp(-hazard.sum(axis=2))
    lost = np.maximum(np.diff(hazard, axis=1), 0.0)
    share = lost / np.maximum(lost.sum(axis=2, keepdims=True), 1e-300)
    failed = np.einsum("msd,mspd->pd", -np.diff(alive, axis=1), share)
    weight = np.ones(steps + 1)
    weight[1:-1:2], weight[2:-1:2] = 4.0, 2.0
    return LookCycle(
        failed=failed,
        found=(alive[:-1, -1] - alive[1:, 0]).sum(axis=0),
        looks=alive[:, -1].sum(axis=0),
        usage=np.einsum("s,msd->d", weight, alive) * every / (3.0 * steps),
    )


def _reach(side: SideLife) -> float:
    """Age that hardly any side reaches under any draw [usage]."""
    return float(time_at_hazard(side, DEAD, count_draws(side)).max())


def _unfound(side: SideLife, look: Look, every: float, size: tuple[int, int]) -> FloatArray:
    """Chance of one position of each part to be alive and not found, (looks, steps, parts, draws).

    The row of a look begins just after it and ends just before the next.
    """
    looks, steps = size
    number = np.arange(looks)[:, None]
    place = number + np.arange(steps + 1) / steps  # age in intervals
    shown = 1.0 - look.delay_share
    missed = 1.0 - look.detection
    times = every * np.arange(looks * steps + 1)[:, None, None] / steps
    survival = side.lives.survival(times)[number * steps + np.arange(steps + 1)]
    with np.errstate(divide="ignore"):
        ends = every * number[..., None] / np.where(shown > 0.0, shown, 1e-300)[None, :, None]
    just = side.lives.survival(ends)
    just[0] = 0.0
    gathered = lfilter([look.detection], [1.0, -missed], just, axis=0)
    first = np.maximum(np.ceil(place[..., None] * shown - 1e-9), 1.0).astype(np.int64)
    late = np.where(look.delay_share > 0.0, np.maximum(number[..., None] - first + 1, 0), 0)
    power = missed ** late[..., None].astype(float)
    before = np.take_along_axis(
        gathered[:, None], (number[..., None] - late)[..., None] + np.zeros((1, 1, 1, 1), int), 0
    )
    found_later = gathered[:, None] - power * before
    shows = look.delay_share[:, None] > 0.0
    return np.asarray(np.clip(power * survival + np.where(shows, found_later, 0.0), 0.0, survival))


def kit_when_worn(scope: Scope, alone: Outcome | Withheld) -> Outcome | Withheld:
    """The cheapest interval between looks; a failure renews the whole side, too.

    Parameters
    ----------
    scope : Scope
    alone : Outcome or Withheld
        The same looks with worn parts renewed alone; why nothing can be said holds for both.
    """
    if isinstance(alone, Withheld):
        return replace(alone, policy=KIT_WHEN_WORN)
    look = read_look(scope.plant, scope.group.part)
    told = look.delay_share > 0.0
    typical = (look.delay_share * mean_lives(scope.group.life).mean(axis=1))[told]
    every = np.geomspace(0.1 * typical.min(), 4.0 * typical.max(), LADDER)
    step = max(1, scope.group.lives.shape.shape[-1] // FEW)
    few = replace(scope, group=replace(scope.group, lives=scope.group.lives[:, ::step]))
    best = int(np.argmin([float(one.costs.money.mean()) for one in _try_looks(few, look, every)]))
    low, high = every[max(best - 1, 0)], every[min(best + 1, LADDER - 1)]
    tried = _try_looks(scope, look, np.geomspace(low, high, FINER))
    return min(tried, key=lambda one: float(one.costs.money.mean()))


def _try_looks(scope: Scope, look: Look, every: FloatArray) -> list[Outcome]:
    """What looks at each of the intervals cost."""
    group, costs = scope.group, scope.decision.costs
    longest, seeing = _reach(group.life), seeing_work(look)
    outcomes = []
    for usage in every.tolist():
        cycle = look_cycle(group.life, look, usage, longest=longest)
        events = EventRates(
            kit_failures=cycle.failed / cycle.usage,
            part_failures=np.zeros_like(cycle.failed),
            planned=cycle.found / cycle.usage,
        )
        outcome = outcome_of(KIT_WHEN_WORN, costs, events, group.releases, interval=usage)
        looked = (cycle.looks / cycle.usage)[None]
        money = add_work(costs, outcome.costs, seeing, looked)
        outcomes.append(replace(outcome, costs=money))
    return outcomes
