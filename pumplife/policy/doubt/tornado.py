"""How interval, cost and saving of a group move with each input, and where the policy flips."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from scipy import optimize

from pumplife.policy.costs import SideCosts, cost_rates
from pumplife.policy.decide import Decision
from pumplife.policy.doubt.inputs import Varied, vary_costs, vary_lives
from pumplife.policy.doubt.surface import Choice, CostSurface, lay_surfaces
from pumplife.policy.groups import SideGroup
from pumplife.policy.interval import WORTH_PLANNING
from pumplife.policy.ladder import integrate_ladder
from pumplife.policy.practice import practice_rates
from pumplife.policy.pump import FloatArray, SideIntegrals, SideLife
from pumplife.weibull.draws import LifeDraws

LIFE_DRAWS = 50  # draws on which changes by other lives are worked out, against the same draws
TODAY_DRAWS = 20  # the same for changes in the cost of today's practice
WIDE_STEPS = 1.0  # of their ladder, see `integrate_ladder`: changes are told to a few digits
STILL = 1e-3  # an input that moves cost and saving by less than this share is left out


def choose_at(surface: CostSurface, costs: SideCosts) -> Choice:
    """The cheapest way of working of a group at these costs."""
    return surface.choose(costs.planned_money, costs.failure_money, costs.part_money)


def draw_tornado(
    group: SideGroup, decision: Decision, surface: CostSurface, *, units: tuple[str, str]
) -> Iterator[dict[str, Any]]:
    """One row per input that moves the group's cost or saving.

    The advice is worked out anew at the low and at the high value of each input, all else as it
    is: what would then be advised, and what it would cost and save.  There are no rows where
    something else than expected cost decides, as where no failure was seen.

    Parameters
    ----------
    group : SideGroup
    decision : Decision
    surface : CostSurface
        Of the group's lives.
    units : tuple of str
        Currency and usage unit.

    Yields
    ------
    dict
        input, input_unit, value, low, high; interval_low, interval_high [usage], cost_rate_low,
        cost_rate_high [money / usage unit], saving_low, saving_high [money a year] at these
        values; flips, in words.
    """
    money, usage_unit = units
    as_is = choose_at(surface, decision.costs)
    today = float(decision.today.money.mean())
    if as_is.policy != decision.policy:
        return
    for varied in vary_costs(group, currency=money):
        if varied.high > varied.low:
            priced = [_price(decision, surface, costs) for costs in varied.costs]
            yield from _row(varied, group, (as_is, today), priced)
    for varied, ends in _vary_lives(group, decision, surface.limit, usage_unit):
        moved = [(_shift(as_is, change), today + more) for change, more in ends]
        yield from _row(varied, group, (as_is, today), moved)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Change:
    """What other lives do to the cheapest way, on the same few draws."""

    policy: str
    interval: float  # times that of the lives as they are; inf without planned work
    alone: float  # the interval itself
    rate: float  # more [money / usage unit]


def _vary_lives(
    group: SideGroup, decision: Decision, limit: float, usage_unit: str
) -> Iterator[tuple[Varied, list[tuple[_Change, float]]]]:
    """Each input of the lives, and what the cheapest way and today's practice do at its ends."""
    few = _thin(group.lives, LIFE_DRAWS)
    varied = list(vary_lives(group, few, usage_unit=usage_unit))
    moved = [lives for one in varied for lives in one.lives or ()]
    every = _side_by_side([few, *moved])
    side = SideLife(lives=every, count=group.count)
    known, each = integrate_ladder(side, widest=WIDE_STEPS), few.shape.shape[1]
    surfaces = lay_surfaces(side, known, each, limit=limit)
    choices = [choose_at(surface, decision.costs) for surface in surfaces]
    today = _today_of(group, decision, (every, known), each)
    changes = [
        (_change(choices[0], choice), cost - today[0])
        for choice, cost in zip(choices[1:], today[1:], strict=True)
    ]
    for row, one in enumerate(varied):
        yield one, changes[2 * row : 2 * row + 2]


def _change(before: Choice, after: Choice) -> _Change:
    with np.errstate(invalid="ignore"):
        ratio = np.float64(after.interval) / before.interval
    return _Change(
        policy=after.policy,
        interval=float(ratio),
        alone=after.interval,
        rate=after.rate - before.rate,
    )


def _side_by_side(lives: Sequence[LifeDraws]) -> LifeDraws:
    """Draws of one after draws of the other."""
    return LifeDraws(
        early_share=np.concatenate([one.early_share for one in lives], axis=1),
        early_scale=np.concatenate([one.early_scale for one in lives], axis=1),
        shape=np.concatenate([one.shape for one in lives], axis=1),
        scale=np.concatenate([one.scale for one in lives], axis=1),
    )


def _today_of(
    group: SideGroup, decision: Decision, of: tuple[LifeDraws, SideIntegrals], each: int
) -> FloatArray:
    """Expected cost rate of today's practice with every `each` draws of some lives, thinned."""
    lives, known = of
    drawn = np.arange(lives.shape.shape[1]).reshape(-1, each)
    some = drawn[:, :: max(1, each // TODAY_DRAWS)]
    side = SideLife(lives=lives[:, some.ravel()], count=group.count)
    events = practice_rates(
        side, group.planned, group.kit_share, known=known.of_draws(some.ravel())
    )
    money = cost_rates(decision.costs, events).money
    return np.asarray(money.reshape(some.shape).mean(axis=1))


def _shift(as_is: Choice, change: _Change) -> Choice:
    """The choice as it is, changed; both planned, the interval moves by the ratio."""
    both = change.policy == as_is.policy and 0.0 < change.interval < np.inf
    interval = as_is.interval * change.interval if both else change.alone
    return Choice(policy=change.policy, interval=interval, rate=as_is.rate + change.rate)


def _price(decision: Decision, surface: CostSurface, costs: SideCosts) -> tuple[Choice, float]:
    """What is cheapest, and what today's practice costs, at other costs."""
    today = cost_rates(costs, decision.events_today).money.mean()
    return choose_at(surface, costs), float(today)


def _thin(lives: LifeDraws, draws: int) -> LifeDraws:
    """About so many draws, evenly taken."""
    step = max(1, lives.shape.shape[1] // draws)
    return lives[:, ::step]


def _row(
    varied: Varied,
    group: SideGroup,
    as_is: tuple[Choice, float],
    ends: list[tuple[Choice, float]],
) -> Iterator[dict[str, Any]]:
    """The row of one input, none where it moves nothing."""
    usage = float(group.usage_per_year.sum())
    now, today = as_is
    moves = [abs(choice.rate - now.rate) + abs(then - today) for choice, then in ends]
    if max(moves) < STILL * now.rate:
        return
    row: dict[str, Any] = {
        "input": varied.name,
        "input_unit": varied.unit,
        "value": varied.value,
        "low": varied.low,
        "high": varied.high,
        "flips": _say_flips(now, ends, varied),
    }
    for end, (choice, then) in zip(("low", "high"), ends, strict=True):
        row[f"interval_{end}"] = choice.interval if np.isfinite(choice.interval) else np.nan
        row[f"cost_rate_{end}"] = choice.rate
        row[f"saving_{end}"] = usage * (then - choice.rate)
    yield row


def _say_flips(now: Choice, ends: list[tuple[Choice, float]], varied: Varied) -> str:
    """Which policy it becomes, and at which value."""
    return "; ".join(
        f"{choice.policy} at {value:.4g} {varied.unit}".strip()
        for (choice, _), value in zip(ends, (varied.low, varied.high), strict=True)
        if choice.policy != now.policy
    )


def flip_downtime(surface: CostSurface, costs: SideCosts) -> float:
    """At which cost of an hour of downtime planned work begins or ceases to pay [money / h].

    For given lives the cost rates of each interval and of running to failure are straight lines
    in the cost of an hour; planned work pays where one of the first lies 1 % below the second.

    Parameters
    ----------
    surface : CostSurface
    costs : SideCosts

    Returns
    -------
    float
        The flip nearest to the cost as it is; NaN where there is none above 0, or where a limit
        asks for planned work at any cost.
    """
    if np.isfinite(surface.limit):
        return np.nan
    base, slope = _lines(surface, costs)
    with np.errstate(divide="ignore", invalid="ignore"):
        crossing = -base / slope
    rises = crossing[slope < 0.0].min(initial=np.inf)  # planned work pays from here on
    falls = crossing[slope > 0.0].max(initial=-np.inf)  # and up to here
    if rises <= falls or (base[slope == 0.0] <= 0.0).any():
        return np.nan
    ends = ((rises, 0.5), (falls, 2.0))
    flips = [_sharpen(surface, costs, (end, far * end)) for end, far in ends if 0.0 < end < np.inf]
    return min(flips, key=lambda flip: abs(flip - costs.downtime_per_h), default=np.nan)


def _lines(surface: CostSurface, costs: SideCosts) -> tuple[FloatArray, FloatArray]:
    """Each interval's cost rate less what it must reach: at 0 downtime, and per money."""

    def above(downtime_per_h: float) -> FloatArray:
        at = replace(costs, downtime_per_h=downtime_per_h)
        never = (1.0 - WORTH_PLANNING) * float(surface.never @ at.failure_money)
        return surface.cost(at.planned_money, at.failure_money) - never

    base = above(0.0)
    return base, above(1.0) - base


def _sharpen(surface: CostSurface, costs: SideCosts, between: tuple[float, float]) -> float:
    """The flip between the intervals of the surface: beside `between[0]`, where they have it.

    A curve dips a little below its points, so that planned work pays a little sooner; where it
    still pays at `between[1]`, the points stand.
    """

    def margin(downtime_per_h: float) -> float:
        at = replace(costs, downtime_per_h=downtime_per_h)
        rate = surface.best_plan(at.planned_money, at.failure_money)[1]
        return rate - (1.0 - WORTH_PLANNING) * float(surface.never @ at.failure_money)

    here, far = between
    if margin(here) >= 0.0 or margin(far) <= 0.0:
        return here
    return float(optimize.brentq(margin, here, far, rtol=1e-10))
