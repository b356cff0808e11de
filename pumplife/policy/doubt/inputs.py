"""What the advice is worked out from, one input at a time at a low and a high plausible value."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from pumplife.fits.groups import EARLY_NOTICED
from pumplife.policy.costs import SideCosts, WorkCost
from pumplife.policy.groups import SideGroup
from pumplife.policy.pump import FloatArray
from pumplife.weibull.draws import LifeDraws

PRICES_OFF = 0.25  # how far prices, rates and hours may be off
DOWNTIME_OFF = 2.0  # factor by which the cost of an hour of downtime may be off, either way
CHANCE_OFF = 2.0  # factor by which a chance may be off upwards; downwards it may be 0
FAULTS_ELSEWHERE = 0.05  # chance of an opening fault that is looked at where none is given


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Varied:
    """One input at its low and its high value.

    Attributes
    ----------
    name, unit : str
        In words, and what it is counted in.
    value, low, high : float
        As it is, and the plausible values beside it [unit].
    costs : tuple of SideCosts
        The costs at low and high; those of the group where lives are varied.
    lives : tuple of LifeDraws or None
        The lives at low and high; None where costs are varied.
    """

    name: str
    unit: str
    value: float
    low: float
    high: float
    costs: tuple[SideCosts, SideCosts]
    lives: tuple[LifeDraws, LifeDraws] | None

    def __repr__(self) -> str:
        """Name the input with its values."""
        return f"<Varied: {self.name}, {self.low:.4g} to {self.high:.4g} {self.unit}>"


def vary_costs(group: SideGroup, *, currency: str) -> Iterator[Varied]:
    """Every cost input of a group that can matter to it.

    Prices, rates and hours 25 % lower and higher; the cost of an hour of downtime halved and
    doubled; the chance of a fouled air side and of a fault at opening 0 and doubled (5 % for the
    latter where none is given).
    """
    costs = group.costs
    assert costs is not None, "a group without costs has its reason in `missing`"
    money = currency or "money"
    hourly = f"{money} per h"
    spread = (1.0 - PRICES_OFF, 1.0 + PRICES_OFF)
    clean_up = clean_up_of(costs)
    yield from (
        _vary(costs, ("kit price", money), "kit_price", costs.kit_price, spread),
        _vary(costs, ("labour rate", hourly), "labour_per_h", costs.labour_per_h, spread),
        *(
            _vary(costs, (f"{kind} {of}", "h"), f"{kind}_{key}", costs.hours[f"{kind}_{key}"],
                  spread)
            for of, key in (("labour hours", "labour_h"), ("downtime hours", "downtime_h"))
            for kind in ("planned", "breakdown")
        ),
        _vary(costs, ("downtime cost", hourly), "downtime_per_h", costs.downtime_per_h,
              (1.0 / DOWNTIME_OFF, DOWNTIME_OFF)),
        _vary(costs, ("call-out", money), "call_out", costs.call_out, spread),
        _vary(costs, ("clean-up after a release", money), "clean_up", clean_up, spread),
        _vary(costs, ("chance of a fouled air side", "share"), "foul_share",
              costs.foul_share if costs.fouling.cash.any() else 0.0, (0.0, CHANCE_OFF)),
        _vary_faults(costs),
    )  # fmt: skip


def _vary(
    costs: SideCosts, words: tuple[str, str], field: str, value: float, factors: tuple[float, float]
) -> Varied:
    """One cost input, named in words with its unit, times two factors."""
    (name, unit) = words
    low, high = (value * factor for factor in factors)
    if unit == "share":
        high = min(high, 1.0)
    return Varied(
        name=name,
        unit=unit,
        value=value,
        low=low,
        high=high,
        costs=(recompose(costs, **{field: low}), recompose(costs, **{field: high})),
        lives=None,
    )


def _vary_faults(costs: SideCosts) -> Varied:
    """The chance of a fault at opening: none, and twice what it is."""
    now = costs.opening_fault
    high = min(1.0, CHANCE_OFF * now) if now > 0.0 else FAULTS_ELSEWHERE
    return replace(
        _vary(costs, ("chance of a fault at opening", "share"), "opening_fault", high, (0.0, 1.0)),
        value=now,
    )


def clean_up_of(costs: SideCosts) -> float:
    """Clean-up after a release, the air side aside [money]."""
    return float((costs.spill - costs.fouling.cash).max(initial=0.0))


def recompose(costs: SideCosts, **changed: float) -> SideCosts:
    """The costs of a side put together anew with some inputs changed.

    Parameters
    ----------
    costs : SideCosts
    **changed : float
        kit_price, call_out, clean_up, foul_share, opening_fault, labour_per_h, downtime_per_h, or
        planned_labour_h, breakdown_labour_h, planned_downtime_h, breakdown_downtime_h.
    """
    hours = {name: changed.get(name, value) for name, value in costs.hours.items()}
    kit_price = changed.get("kit_price", costs.kit_price)
    call_out = changed.get("call_out", costs.call_out)
    fault = changed.get("opening_fault", costs.opening_fault)
    release = _release(costs, changed)
    again = _work(hours, "breakdown", np.array([kit_price + call_out]))
    with_kit = _work(hours, "breakdown", np.full(costs.part_price.size, kit_price + call_out))
    alone = _work(hours, "breakdown", costs.part_price + call_out)
    return replace(
        costs,
        planned=_work(hours, "planned", np.array([kit_price])).plus(again, fault),
        kit_failure=with_kit.plus(release).plus(again, fault),
        part_failure=alone.plus(release).plus(again, fault),
        labour_per_h=changed.get("labour_per_h", costs.labour_per_h),
        downtime_per_h=changed.get("downtime_per_h", costs.downtime_per_h),
        kit_price=kit_price,
        call_out=call_out,
        spill=release.cash,
        opening_fault=fault,
        hours=hours,
    )


def _work(hours: dict[str, float], kind: str, cash: FloatArray) -> WorkCost:
    return WorkCost(
        cash=cash,
        labour_h=np.full(cash.size, hours[f"{kind}_labour_h"]),
        downtime_h=np.full(cash.size, hours[f"{kind}_downtime_h"]),
    )


def _release(costs: SideCosts, changed: dict[str, float]) -> WorkCost:
    """What a release adds to a failure of each part, with the changed inputs."""
    clean_up = costs.spill - costs.fouling.cash
    if "clean_up" in changed:
        clean_up = clean_up * (changed["clean_up"] / max(clean_up_of(costs), 1e-300))
    share = 1.0
    if "foul_share" in changed:
        share = changed["foul_share"] / max(costs.foul_share, 1e-300)
    fouling = costs.fouling
    return WorkCost(
        cash=clean_up + share * fouling.cash,
        labour_h=share * fouling.labour_h,
        downtime_h=share * fouling.downtime_h,
    )


def vary_lives(group: SideGroup, few: LifeDraws, *, usage_unit: str) -> Iterator[Varied]:
    """Shape, scale and early share of each part's lives, in a few of the group's draws.

    Scale and shape are set to their 90 % bounds in every draw, the other of the two moved along
    as the draws let one expect (a longer scale mostly goes with a lower shape where few have
    failed); all else keeps its doubt. The early share is 0 and doubled.
    """
    costs = group.costs
    assert costs is not None, "a group without costs has its reason in `missing`"
    lives = group.lives
    for part, name in enumerate(group.part):
        title = name if group.part.count(name) == 1 else f"{name} {group.material[part]}"
        for field, other in (("scale", "shape"), ("shape", "scale")):
            draws = getattr(lives, field)[part]
            low, high = np.quantile(draws, [0.05, 0.95])
            if high <= low * (1.0 + 1e-9):
                continue
            moved = [_set(few, part, (field, other), bound) for bound in (low, high)]
            yield Varied(
                name=f"{title}: {field} of its lives",
                unit=usage_unit if field == "scale" else "",
                value=float(np.median(draws)),
                low=float(low),
                high=float(high),
                costs=(costs, costs),
                lives=(moved[0], moved[1]),
            )
        share = float(lives.early_share[part].mean())
        if share > EARLY_NOTICED:
            yield Varied(
                name=f"{title}: share that fails early",
                unit="share",
                value=share,
                low=0.0,
                high=min(1.0, CHANCE_OFF * share),
                costs=(costs, costs),
                lives=(_share(few, part, 0.0), _share(few, part, CHANCE_OFF)),
            )


def _set(lives: LifeDraws, part: int, names: tuple[str, str], bound: float) -> LifeDraws:
    """One parameter of a part at a bound in every draw, the other moved as it goes with it."""
    field, other = names
    log_field, log_other = (np.log(getattr(lives, name)[part]) for name in names)
    goes_with = np.cov(log_field, log_other, bias=True)
    slope = goes_with[0, 1] / max(goes_with[0, 0], 1e-300)
    moved = {name: getattr(lives, name).copy() for name in names}
    moved[field][part] = bound
    moved[other][part] = np.exp(log_other + slope * (np.log(bound) - log_field))
    return replace(lives, **moved)


def _share(lives: LifeDraws, part: int, factor: float) -> LifeDraws:
    """The share of early lives of a part times a factor."""
    share = lives.early_share.copy()
    share[part] = np.minimum(share[part] * factor, 1.0)
    return replace(lives, early_share=share)
