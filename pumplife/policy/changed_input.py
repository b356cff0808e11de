"""The single change of an input that would make another interval the right one."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
from scipy.optimize import brentq

from pumplife.policy.ages import shared_times
from pumplife.policy.costs import SideCosts, WorkCost
from pumplife.policy.groups import SideGroup
from pumplife.policy.interval import IntervalAdvice, advise_interval, cost_rate
from pumplife.policy.pump import FloatArray, SideIntegrals, SideLife, integrate_side, integrate_to
from pumplife.weibull.draws import LifeDraws

MOST_CHANGE = 10.0  # inputs are changed from a tenth to ten times
AS_GOOD = 0.01  # an interval this close to another is the same
SEEN = 0.5  # fewer failures than this are none
SCANNED = 25  # factors tried of an input of the lives

COST_INPUTS = ("kit price", "downtime per h", "labour per h", "spill", "call-out")
LIFE_INPUTS = ("life of the parts", "shape of wear", "early share")
INPUTS = COST_INPUTS + LIFE_INPUTS


def change_costs(costs: SideCosts, name: str, factor: float) -> SideCosts:
    """The costs of a side with one input times a factor.

    Parameters
    ----------
    costs : SideCosts
    name : str
        One of `COST_INPUTS`; spill is the clean-up with the chance of a fouled air side.
    factor : float
    """
    more, fault = factor - 1.0, costs.opening_fault
    if name == "downtime per h":
        return replace(costs, downtime_per_h=factor * costs.downtime_per_h)
    if name == "labour per h":
        return replace(costs, labour_per_h=factor * costs.labour_per_h)
    zero = np.zeros_like(costs.spill)
    planned, kit, part = {
        "kit price": (1.0 + fault, 1.0 + fault, fault),
        "spill": (0.0, 0.0, 0.0),
        "call-out": (fault, 1.0 + fault, 1.0 + fault),
    }[name]
    each = {"kit price": costs.kit_price, "call-out": costs.call_out, "spill": 0.0}[name]
    spill = more * costs.spill if name == "spill" else zero
    return replace(
        costs,
        planned=_add_cash(costs.planned, np.array([more * each * planned])),
        kit_failure=_add_cash(costs.kit_failure, more * each * kit + spill),
        part_failure=_add_cash(costs.part_failure, more * each * part + spill),
        kit_price=costs.kit_price * (factor if name == "kit price" else 1.0),
        call_out=costs.call_out * (factor if name == "call-out" else 1.0),
        spill=costs.spill + spill,
    )


def _add_cash(work: WorkCost, cash: FloatArray) -> WorkCost:
    return replace(work, cash=work.cash + cash)


def change_lives(lives: LifeDraws, name: str, factor: float) -> LifeDraws:
    """Lives with one input times a factor: all ages, the shape of wear, or the early share."""
    if name == "life of the parts":
        return replace(lives, scale=factor * lives.scale, early_scale=factor * lives.early_scale)
    if name == "shape of wear":
        return replace(lives, shape=factor * lives.shape)
    return replace(lives, early_share=np.minimum(factor * lives.early_share, 0.999))


def change_input(group: SideGroup, costs: SideCosts, name: str, factor: float) -> SideGroup:
    """The group with one input times a factor."""
    if name in COST_INPUTS:
        return replace(group, costs=change_costs(costs, name, factor))
    return replace(group, lives=change_lives(group.lives, name, factor), costs=costs)


def advise_group(group: SideGroup, release_target: float) -> IntervalAdvice:
    """The planned interval of a group by its lives, costs and limits."""
    costs = group.costs
    assert costs is not None, "a group without costs has its reason in `missing`"
    return advise_interval(
        group.life,
        costs.planned_money,
        costs.failure_money,
        maximum=group.maximum,
        releasing=group.releases if group.hazard == "hazardous" else None,
        release_target=release_target,
        failures_seen=group.failures >= SEEN or group.evidence.lent,
    )


def find_changes(
    group: SideGroup, advice: IntervalAdvice, interval: float, *, release_target: float
) -> dict[str, float]:
    """By how much each input alone would have to change to make an interval the advice.

    Each factor found is put back into the model: the advice under it lies within 1 % of the
    interval asked about.

    Parameters
    ----------
    group : SideGroup
    advice : IntervalAdvice
        The group's advice as it is.
    interval : float
        [usage]; inf is run to failure.
    release_target : float
        For hazardous groups.

    Returns
    -------
    dict of str to float
        Factor by input, nearest to 1 first; without those that no factor from 0.1 to 10 does.
    """
    costs = group.costs
    assert costs is not None, "a group without costs has its reason in `missing`"

    def advised(name: str, factor: float) -> float:
        return advise_group(change_input(group, costs, name, factor), release_target).interval

    def try_input(name: str) -> float:
        if not has_effect(group, costs, name):
            return np.nan
        if np.isinf(interval):
            return _turning_factor(lambda factor: np.isinf(advised(name, factor)))
        tried = _candidates(group, costs, advice, interval, name)
        near = sorted(tried, key=lambda factor: abs(np.log(factor)))
        right = (f for f in near if is_same(advised(name, f), interval))
        return next(right, np.nan)

    found = {name: try_input(name) for name in INPUTS}
    told = {name: factor for name, factor in found.items() if np.isfinite(factor)}
    return dict(sorted(told.items(), key=lambda pair: abs(np.log(pair[1]))))


def is_same(one: float, other: float) -> bool:
    """Whether two intervals are the same to 1 %; run to failure is like itself alone."""
    if np.isinf(one) or np.isinf(other):
        return one == other
    return bool(abs(one / other - 1.0) <= AS_GOOD)


def has_effect(group: SideGroup, costs: SideCosts, name: str) -> bool:
    """Whether an input is above 0 at all."""
    if name == "early share":
        return bool(np.any(group.lives.early_share > 0.0))
    amount = {
        "kit price": costs.kit_price,
        "downtime per h": costs.downtime_per_h,
        "labour per h": costs.labour_per_h,
        "spill": float(np.max(costs.spill)),
        "call-out": costs.call_out,
    }
    return amount.get(name, 1.0) > 0.0


def _candidates(
    group: SideGroup, costs: SideCosts, advice: IntervalAdvice, interval: float, name: str
) -> list[float]:
    """Factors at which the expected cost rate is level at the interval, within 0.1 to 10."""
    if name in COST_INPUTS:
        at = integrate_to(group.life, advice.known, np.array([interval]))
        one, two = (_slope(at, change_costs(costs, name, factor)) for factor in (1.0, 2.0))
        found = [1.0 - one / (two - one)] if two != one else []
    else:
        found = _level_factors(group, costs, interval, name)
        if name == "life of the parts" and np.isfinite(advice.interval):
            found.append(interval / advice.interval)
    return [factor for factor in found if 1.0 / MOST_CHANGE <= factor <= MOST_CHANGE]


def _slope(at: SideIntegrals, costs: SideCosts) -> float:
    """Slope of the expected cost rate at the interval [money / usage unit squared].

    It is linear in every cost, so that two values tell where it is 0.
    """
    planned, failure = costs.planned_money, costs.failure_money
    marginal = np.einsum("tpd,p->td", at.hazard, failure - planned)
    steep = (marginal - cost_rate(at, planned, failure)) * at.survival / at.uptime
    return float(steep.mean())


def _level_factors(group: SideGroup, costs: SideCosts, interval: float, name: str) -> list[float]:
    """Every factor of an input of the lives at which the cost curve is level at the interval."""

    def slope(log_factor: float) -> float:
        lives = change_lives(group.lives, name, float(np.exp(log_factor)))
        side = SideLife(lives=lives, count=group.count)
        known = integrate_side(side, shared_times(side))
        return _slope(integrate_to(side, known, np.array([interval])), costs)

    ladder = np.linspace(-np.log(MOST_CHANGE), np.log(MOST_CHANGE), SCANNED)
    values = np.array([slope(float(place)) for place in ladder])
    turns = np.flatnonzero(np.sign(values[:-1]) * np.sign(values[1:]) < 0.0)
    roots = [brentq(slope, ladder[row], ladder[row + 1], xtol=1e-4) for row in turns]
    return [float(np.exp(root)) for root in roots]


def _turning_factor(holds: Callable[[float], bool]) -> float:
    """The factor nearest to 1, from 0.1 to 10, from which something holds; NaN for none."""
    found = []
    for end in (-np.log(MOST_CHANGE), np.log(MOST_CHANGE)):
        ladder = np.linspace(0.0, end, 9)[1:]
        first = next((place for place in ladder if holds(float(np.exp(place)))), None)
        if first is None:
            continue
        near, far = first - end / 8.0, float(first)
        for _ in range(8):
            middle = 0.5 * (near + far)
            near, far = (near, middle) if holds(float(np.exp(middle))) else (middle, far)
        found.append(far)
    return float(np.exp(min(found, key=abs))) if found else np.nan
