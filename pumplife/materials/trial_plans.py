"""Trials worth making: for pairs that the records can't tell apart, how many pumps for how long."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import special

from pumplife.materials.compare import Pair
from pumplife.materials.confirmed import CONFIRMED, is_confirmed
from pumplife.materials.confounded import CONFOUNDED, YES
from pumplife.materials.money import Choice, part_prices, unit_price
from pumplife.materials.trial_play import plan_trial
from pumplife.materials.trial_size import (
    TrialDesign,
    approximate_power,
    error_of,
    expect_failures,
    find_use,
)
from pumplife.materials.trial_worth import Stake, TrialWorth, believe, price_ratios, weigh_trial
from pumplife.policy.groups import SideGroup
from pumplife.records.read import Records

Floats = NDArray[np.float64]

WANTED = (1.25, 1.5, 2.0)
PUMPS = (3, 4, 6, 8, 12, 16, 24, 32)
LOOKS_FROM = ((20.0, 3), (10.0, 2), (0.0, 1))  # failures expected, and looks
MOST_DRAWN = 24  # pumps with each material, in the table of power
WEEKS = 365.25 / 7.0
PLAN_COLUMNS = [
    "service", "side", "part", "material", "variant", "reference", "comparable", "pays",
    "pumps_each", "usage_per_pump", "weeks", "wanted_ratio", "failures_expected", "looks", "power",
    "false_alarm", "planned_interval", "break_even_ratio", "trial_saves", "trial_costs",
    "most_to_save", "compatibility_confirmed", "why",
]  # fmt: skip
POWER_COLUMNS = [
    "service", "part", "material", "variant", "reference", "wanted_ratio", "pumps_each",
    "usage_per_pump", "power", "planned",
]  # fmt: skip


def propose_trials(
    records: Records,
    groups: Sequence[SideGroup],
    facts: pd.DataFrame,
    choices: Sequence[Choice],
    pairs: Sequence[Pair],
) -> dict[str, pd.DataFrame]:
    """Propose a trial for every pair that the records can't tell apart, or say why none pays.

    Parameters
    ----------
    records : Records
    groups : sequence of SideGroup
    facts : DataFrame
        From `gather_facts`.
    choices : sequence of Choice
    pairs : sequence of Pair

    Returns
    -------
    dict of DataFrame
        trial_plans (`PLAN_COLUMNS`) and trial_power (`POWER_COLUMNS`).
    """
    prices = part_prices(records)
    rows: list[dict[str, Any]] = []
    powers: list[dict[str, Any]] = []
    for pair in pairs:
        if not pair.service or is_told(pair):
            continue
        about = _about(records, facts, pair)
        if about["compatibility_confirmed"] == CONFIRMED:
            case, why = _make_case(records, prices, groups, choices, pair)
        else:
            case, why = None, _say_unconfirmed(pair)
        told = {"pays": "can't be told", "why": why} if case is None else _propose(case)
        powers += [] if case is None else list(_draw_power(case, about, told))
        rows.append({**about, **told})
    return {
        "trial_plans": pd.DataFrame(rows, columns=PLAN_COLUMNS),
        "trial_power": pd.DataFrame(powers, columns=POWER_COLUMNS),
    }


def is_told(pair: Pair) -> bool:
    """Whether the records say which of the two lives longer."""
    return pair.verdict.comparable == YES and (pair.ratio.low > 0.0 or pair.ratio.high < 0.0)


def _about(records: Records, facts: pd.DataFrame, pair: Pair) -> dict[str, Any]:
    """What the pair is."""
    mine = facts[(facts["part"] == pair.part) & (facts["kind"] == pair.kind)].iloc[0]
    material = str(mine["material"])
    return {
        "service": pair.service,
        "side": pair.side,
        "part": pair.part,
        "material": material,
        "variant": mine["variant"],
        "reference": pair.reference,
        "comparable": pair.verdict.comparable,
        "compatibility_confirmed": is_confirmed(records, material, pair.service, pair.part),
    }


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Case:
    """What a trial of one pair is planned from.

    `most` pumps can carry each material, `usage` is a pump's [usage / year]; the plain design
    holds the reference's life, planned renewals and the rest of the side.
    """

    pair: Pair
    design: TrialDesign
    stake: Stake
    most: int
    usage: float
    asked: Mapping[str, float]
    currency: str

    def __repr__(self) -> str:
        return f"_Case({self.pair})"

    @property
    def longest(self) -> float:
        """Usage of a pump in the longest trial allowed [usage]."""
        return self.asked["longest_years"] * self.usage

    def weigh(self, design: TrialDesign) -> TrialWorth:
        """What a trial of this design saves and costs."""
        reach = float(special.stdtrit(design.clusters - 1.0, 1.0 - self.asked["false_alarm"]))
        return weigh_trial(
            self.stake,
            error=error_of(design),
            reach=reach,
            tried=design.pumps * design.use,
            takes=design.use / self.usage,
            setup=self.asked["setup"] + 2 * design.pumps * self.asked["setup_per_pump"],
        )


def _make_case(
    records: Records,
    prices: pd.DataFrame,
    groups: Sequence[SideGroup],
    choices: Sequence[Choice],
    pair: Pair,
) -> tuple[_Case | None, str]:
    """Gather what a plan needs, or say what is missing."""
    bases: dict[int, Choice] = {}
    for choice in choices:
        bases.setdefault(id(choice.place), choice)
    held = [
        (base, base.place.group.part.index(pair.part))
        for base in bases.values()
        if (base.place.group.service, base.place.group.side) == (pair.service, pair.side)
        and pair.part in base.place.group.part
    ]
    priced = [
        (base, at, unit_price(prices, pair.part, pair.kind, base.place.group.size_mm))
        for base, at in held
        if base.kinds[at] == pair.reference
    ]
    priced = [one for one in priced if np.isfinite(one[2])]
    pumps = np.concatenate(
        [np.empty(0)]
        + [
            one.usage_per_year
            for one in groups
            if (one.service, one.side) == (pair.service, pair.side) and pair.part in one.part
        ]
    )
    pumps = pumps[np.isfinite(pumps) & (pumps > 0.0)]
    if not priced:
        return None, "a cost, a life or a price of it is missing"
    if not any(one.place.usage_with(pair.part, pair.reference) > 0.0 for one, _, _ in priced):
        return None, f"no pump carries {pair.reference} any more: nothing is left to change"
    if len(pumps) < 4:
        return None, f"{len(pumps)} pumps in {pair.service}: a trial needs at least 2 with each"
    return _fill_case(records, pair, priced, pumps), ""


def _fill_case(
    records: Records, pair: Pair, priced: Sequence[tuple[Choice, int, float]], pumps: Floats
) -> _Case:
    asked = records.plant.trials
    base, at, _ = max(priced, key=lambda one: one[0].place.usage)
    design = _plain_design(base, at, asked["pump_spread"])
    known = None if pair.verdict.comparable == CONFOUNDED else pair
    belief = believe(known, asked["ratio_spread"], design.shape)
    target = records.plant.hazardous_failure_probability
    usage = np.array([one.place.usage_with(pair.part, pair.reference) for one, _, _ in priced])
    saved = [price_ratios(one, place, price, belief, target) for one, place, price in priced]
    discount = records.plant.cost("discount_per_year")
    return _Case(
        pair=pair,
        design=design,
        stake=Stake(
            belief=belief,
            saved=usage @ np.array(saved) / usage.sum(),
            usage=float(usage.sum()),
            years=asked["years"],
            discount=discount if np.isfinite(discount) else 0.0,
        ),
        most=len(pumps) // 2,
        usage=float(np.median(pumps)),
        asked=asked,
        currency=records.plant.currency,
    )


def _plain_design(base: Choice, at: int, spread: float) -> TrialDesign:
    """The reference as a trial meets it: planned renewals, and kits for the rest of the side."""
    lives, count = base.group.lives, base.group.count
    shape, scale = (np.median(one, axis=1) for one in (lives.shape, lives.scale))
    rest = [place for place in range(len(count)) if place != at]
    rest_shape, rest_scale = 1.0, np.inf
    if rest and base.place.group.kit_share >= 0.5:
        rest_shape, rest_scale = _as_one(shape[rest], scale[rest], count[rest])
    return TrialDesign(
        pumps=2,
        use=float(scale[at]),
        shape=float(shape[at]),
        scale=float(scale[at]),
        ratio=WANTED[0],
        positions=max(1, round(float(count[at]))),
        interval=base.interval,
        rest_shape=rest_shape,
        rest_scale=rest_scale,
        pump_spread=spread,
    )


def _as_one(shape: Floats, scale: Floats, count: Floats) -> tuple[float, float]:
    """The Weibull life nearest to that of several parts in series: alike at 10 and 63 %."""
    age = np.geomspace(1e-3, 10.0, 2000) * float(scale.min())
    hazard = (count[:, None] * (age / scale[:, None]) ** shape[:, None]).sum(axis=0)
    first, second = np.interp([np.log(-np.log(0.9)), 0.0], np.log(hazard), np.log(age))
    return float(-np.log(-np.log(0.9)) / (second - first)), float(np.exp(second))


def _options(case: _Case) -> Iterator[TrialDesign]:
    """Designs that are long enough to show each wanted ratio."""
    pumps = [count for count in PUMPS if count < case.most] + [case.most]
    for count in pumps:
        for wanted in WANTED:
            design = replace(case.design, pumps=count, ratio=wanted)
            asked = (case.asked["power"], case.asked["false_alarm"])
            use = find_use(design, *asked, longest=case.longest)
            if np.isfinite(use):
                yield replace(design, use=use)


def _propose(case: _Case) -> dict[str, Any]:
    """The trial that leaves most, as a row; or why none pays."""
    stake = case.stake
    most, setup = stake.most_a_trial_saves, case.asked["setup"]
    told = {
        "planned_interval": case.design.interval if np.isfinite(case.design.interval) else np.nan,
        "break_even_ratio": _ratio(stake.break_even),
        "most_to_save": most,
        "false_alarm": case.asked["false_alarm"],
        "pays": "no",
    }
    if most <= setup:
        why = f"no trial can pay: to know the ratio for certain would save {_money(case, most)}"
        return told | {"why": why + _say_at_once(case)}
    options = list(_options(case))
    if not options:
        return told | {"why": _say_too_rare(case)}
    best = max(options, key=lambda one: case.weigh(one).gain)
    worth = case.weigh(best)
    if worth.gain <= 0.0:
        return told | _row(case, best, worth) | {"why": _say_no_gain(case, best, worth)}
    return told | _plan(case, best)


def _plan(case: _Case, best: TrialDesign) -> dict[str, Any]:
    """Settle the best design by played trials."""
    about = float(expect_failures(best).sum())
    looks = next(count for least, count in LOOKS_FROM if about >= least)
    plan = plan_trial(
        best,
        power=case.asked["power"],
        false_alarm=case.asked["false_alarm"],
        looks=looks,
        longest=case.longest,
    )
    worth = case.weigh(plan.design)
    row = _row(case, plan.design, worth)
    row |= {"looks": looks, "power": plan.power, "pays": "yes" if worth.gain > 0.0 else "no"}
    if worth.gain <= 0.0:
        return row | {"why": _say_no_gain(case, plan.design, worth)}
    return row | {"why": _say_plan(case, plan.design, worth)}


def _row(case: _Case, design: TrialDesign, worth: TrialWorth) -> dict[str, Any]:
    return {
        "pumps_each": design.pumps,
        "usage_per_pump": design.use,
        "weeks": design.use / case.usage * WEEKS,
        "wanted_ratio": design.ratio,
        "failures_expected": float(expect_failures(design).sum()),
        "looks": 1,
        "power": approximate_power(design, case.asked["false_alarm"]),
        "trial_saves": worth.saves,
        "trial_costs": worth.costs,
    }


def _draw_power(
    case: _Case, about: Mapping[str, Any], told: Mapping[str, Any]
) -> Iterator[dict[str, Any]]:
    """Power against pumps for each wanted ratio, at the plan's usage; through the plan's own."""
    planned = told.get("pumps_each", 0)
    pays = told["pays"] == "yes"
    use = float(told.get("usage_per_pump", case.longest))
    asked = case.asked["false_alarm"]
    off = 0.0
    if planned:
        own = replace(case.design, pumps=planned, use=use, ratio=told["wanted_ratio"])
        off = float(special.ndtri(told["power"]) - special.ndtri(approximate_power(own, asked)))
    names = ("service", "part", "material", "variant", "reference")
    for wanted in WANTED:
        for pumps in range(2, min(case.most, MOST_DRAWN) + 1):
            design = replace(case.design, pumps=pumps, use=use, ratio=wanted)
            score = float(special.ndtri(approximate_power(design, asked))) + off
            yield {
                **{name: about[name] for name in names},
                "wanted_ratio": wanted,
                "pumps_each": pumps,
                "usage_per_pump": use,
                "power": float(special.ndtr(score)),
                "planned": "yes"
                if pays and (pumps, wanted) == (planned, told.get("wanted_ratio"))
                else "",
            }


def _ratio(log_ratio: float) -> float:
    return float(np.exp(log_ratio)) if np.isfinite(log_ratio) else np.nan


def _money(case: _Case, amount: float) -> str:
    return f"{amount:,.0f} {case.currency} in {case.asked['years']:g} years"


def _say_unconfirmed(pair: Pair) -> str:
    return (
        f"first let someone confirm {pair.kind} for {pair.service}: no trial is proposed of a "
        "material whose compatibility nobody has confirmed"
    )


def _say_at_once(case: _Case) -> str:
    """What is expected of changing without a trial, where that is a saving."""
    now = case.stake.decided_now
    if now <= 0.0:
        return ""
    return f"; by what is known already, changing now is expected to save {_money(case, now)}"


def _say_too_rare(case: _Case) -> str:
    pulled = case.design.interval
    why = f", since planned work at {pulled:,.0f} pulls parts before" if np.isfinite(pulled) else ""
    return (
        f"no trial pays: with {case.most} pumps of each material and "
        f"{case.asked['longest_years']:g} years not even twice the life would show; failures are "
        f"too rare{why}{_say_at_once(case)}"
    )


def _say_no_gain(case: _Case, design: TrialDesign, worth: TrialWorth) -> str:
    return (
        f"no trial pays: the best, {design.pumps} pumps of each material, would save "
        f"{_money(case, worth.saves)} and cost {worth.costs:,.0f} {case.currency}"
        f"{_say_at_once(case)}"
    )


def _say_plan(case: _Case, design: TrialDesign, worth: TrialWorth) -> str:
    belief = case.stake.belief
    low, high = np.exp(belief.quantile([0.05, 0.95]))
    return (
        f"{design.pumps} pumps with each material, drawn by lot among like pumps, started at "
        f"rebuilds that come anyway; saves {_money(case, worth.saves)} for "
        f"{worth.costs:,.0f} {case.currency}, taking the ratio to lie between {low:.2f} and "
        f"{high:.2f} as far as is known; score parts at teardown without being told the material"
    )
