"""Looking for worn parts at even intervals, and renewing these alone: the delay-time model.

A part shows a first sign some delay before it fails.  Looks come every so much usage; a first
sign is taken to arise at any time between two looks alike, which is the model's usual assumption
and holds where looks are much closer together than failures (Christer & Waller, Journal of the
Operational Research Society 35 (1984) 401-406, from memory).  Looking ahead from today, the
simulator (`horizon`) takes each look on its own day, and some signs are there already: a part of
today's age lives on by its fitted life, and shows its sign in the last share of that life, whether
that began before today or after.  Nobody is taken to have looked before.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from pumplife.policy.costs import SideCosts, WorkCost
from pumplife.policy.practice import EventRates
from pumplife.policy.pump import FloatArray, SideLife, count_draws
from pumplife.policy.simulate import BoolArray
from pumplife.policy.ways.counts import mean_lives
from pumplife.policy.ways.outcome import Outcome, add_work, outcome_of, part_prices
from pumplife.records.amounts import inspection_of
from pumplife.records.plant import Plant
from pumplife.weibull.draws import LifeDraws

INSPECTION = "inspection, worn parts renewed"
PANELS, NODES = 240, 4
LOWEST, HIGHEST = 1e-4, 30.0  # ages integrated over, in mean lives
MOST_LOOKS = 64  # looks at one sign
MISSED = 1e-9  # a chance that a sign is missed so often isn't followed any further
LADDER = 16  # intervals between looks that are tried first, on a few draws
FEW = 25  # such draws, about


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Look:
    """What an inspection sees and takes.

    Attributes
    ----------
    delay_share : float array (parts,)
        Last share of each life in which a sign shows [-]; 0: no sign before the failure.
    detection : float
        Chance that one look finds a part that shows the sign [-].
    labour_h : float
        [h] of one look at one side.
    """

    delay_share: FloatArray
    detection: float
    labour_h: float

    def __repr__(self) -> str:
        """Say what is found."""
        return f"<Look: finds {self.detection:.0%} of signs>"


def read_look(plant: Plant, parts: tuple[str, ...]) -> Look:
    """What an inspection of a side sees and takes, by [inspection].

    Parameters
    ----------
    plant : Plant
    parts : tuple of str
        Of the side.
    """
    given = [inspection_of(plant.raw, part) for part in parts]
    return Look(
        delay_share=np.array([one["delay_share"] for one in given]),
        detection=given[0]["detection"],
        labour_h=given[0]["labour_h"],
    )


def seeing_work(look: Look) -> WorkCost:
    """One look at a running side."""
    return WorkCost(cash=np.zeros(1), labour_h=np.array([look.labour_h]), downtime_h=np.zeros(1))


def mending_work(costs: SideCosts) -> WorkCost:
    """Planned work on one part found worn, by itself, for each part."""
    alone = costs.planned.cash - costs.kit_price + part_prices(costs)
    return WorkCost(
        cash=alone,
        labour_h=np.full(alone.size, costs.planned.labour_h[0]),
        downtime_h=np.full(alone.size, costs.planned.downtime_h[0]),
    )


def look_rates(side: SideLife, look: Look, every: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Failures, and parts found worn and renewed, by looks at each of the intervals.

    With u the time from the first sign to the next look, even between 0 and the interval, a delay
    H that spans k whole intervals and a rest f of one fails unseen with the probability
    (1 - p)^k (1 - f p), p the detection.

    Parameters
    ----------
    side : SideLife
    look : Look
    every : float array (intervals,)
        Usage between looks [usage].

    Returns
    -------
    failures, found : float array (intervals, parts, draws)
        Of all positions of each part [1 / usage unit].
    """
    mean, areas = mean_lives(side), _Areas(side)
    share = look.delay_share[:, None]
    missed, p = 1.0 - look.detection, look.detection
    number = np.arange(_count_looks(missed) + 1.0)[:, None, None]
    span = np.asarray(every, float)[:, None, None, None] * number / np.maximum(share, 1e-12)
    zeroth, first = (np.diff(area, axis=1) for area in areas.up_to(span / mean))
    factor = missed ** number[:-1]
    scaled = share * mean / np.asarray(every, float)[:, None, None, None]
    unseen = 1.0 - p * (factor * scaled * zeroth).sum(axis=1)
    late = factor * ((1.0 + p * number[:-1]) * zeroth - p * scaled * first)
    rest = np.maximum(1.0 - p * (factor).sum(), 0.0) * (1.0 - zeroth.sum(axis=1))
    shown = np.maximum(late.sum(axis=1) + rest, 0.0)
    cycle = mean * ((1.0 - share) + share * shown)
    unseen = np.where(share > 0.0, np.clip(unseen, 0.0, 1.0), 1.0)
    rate = side.count[:, None] / np.where(share > 0.0, cycle, mean)
    return np.asarray(rate * unseen), np.asarray(rate * (1.0 - unseen))


def _count_looks(missed: float) -> int:
    """Looks after which a sign that each misses with this chance is found all but surely."""
    if missed <= MISSED:
        return 1
    return (
        MOST_LOOKS if missed >= 1.0 else min(MOST_LOOKS, int(np.log(MISSED) / np.log(missed)) + 1)
    )


class _Areas:
    """Integrals of survival, and of age times survival, from 0; ages in mean lives."""

    def __init__(self, side: SideLife) -> None:
        mean = mean_lives(side)
        self.step = np.log(HIGHEST / LOWEST) / PANELS
        self.age = LOWEST * np.exp(self.step * np.arange(PANELS + 1))[:, None, None]
        point, weight = np.polynomial.legendre.leggauss(NODES)
        inner = self.age[:-1] * np.exp(0.5 * self.step * (1.0 + point[:, None, None, None]))
        mass = 0.5 * self.step * weight[:, None, None, None] * inner
        with np.errstate(over="ignore"):
            mass = mass * side.lives.survival(inner * mean)
            start = self.age[:1] * side.lives.survival(self.age[:1] * mean)
            self.alive = side.lives.survival(self.age * mean)
        self.zeroth = np.cumsum(np.concatenate([start, mass.sum(axis=0)]), axis=0)
        self.first = np.cumsum(
            np.concatenate([0.5 * start * self.age[:1], (inner * mass).sum(axis=0)]), axis=0
        )

    def up_to(self, age: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Both integrals up to each age (intervals, looks, parts, draws), by cubic pieces."""
        kept = np.clip(age, LOWEST, HIGHEST)
        place = np.log(kept / LOWEST) / self.step
        row = np.minimum(place.astype(np.int64), PANELS - 1)
        lane = np.ix_(*(np.arange(size) for size in age.shape[2:]))
        low, high = self.age[row, 0, 0], self.age[row + 1, 0, 0]
        part = (kept - low) / (high - low)
        ends = [self.alive[row, *lane], self.alive[row + 1, *lane]]
        below = np.minimum(age / LOWEST, 1.0)

        def piece(area: FloatArray, slope: list[FloatArray], power: int) -> FloatArray:
            start, end = area[row, *lane], area[row + 1, *lane]
            bend = [one * (high - low) for one in slope]
            value = (
                start + part * bend[0] + part**2 * (3.0 * (end - start) - 2.0 * bend[0] - bend[1])
            )
            value += part**3 * (2.0 * (start - end) + bend[0] + bend[1])
            return np.asarray(value * below**power)

        return piece(self.zeroth, ends, 1), piece(self.first, [low * ends[0], high * ends[1]], 2)


def inspect_side(side: SideLife, costs: SideCosts, releases: BoolArray, look: Look) -> Outcome:
    """The cheapest interval between looks; failures renew the failed part alone.

    A part found worn is renewed by planned work of its own, with the hours of a planned rebuild.

    Parameters
    ----------
    side : SideLife
    costs : SideCosts
    releases : bool array (parts,)
    look : Look
        At least one part must show a sign.
    """
    told = look.delay_share > 0.0
    typical = (look.delay_share * mean_lives(side).mean(axis=1))[told]
    every = np.geomspace(0.1 * typical.min(), 4.0 * typical.max(), LADDER)
    few = side
    if isinstance(side.lives, LifeDraws):
        few = replace(side, lives=side.lives[:, :: max(1, count_draws(side) // FEW)])
    tried = _try_looks(few, costs, releases, look, every)
    best = int(np.argmin([one.costs.money.mean() for one in tried]))
    finer = np.geomspace(every[max(best - 1, 0)], every[min(best + 1, LADDER - 1)], 9)
    tried = _try_looks(side, costs, releases, look, finer)
    return min(tried, key=lambda one: float(one.costs.money.mean()))


def _try_looks(
    side: SideLife, costs: SideCosts, releases: BoolArray, look: Look, every: FloatArray
) -> list[Outcome]:
    """What looks at each of the intervals cost."""
    failures, found = look_rates(side, look, every)
    draws = failures.shape[-1]
    seeing, mending = seeing_work(look), mending_work(costs)
    outcomes = []
    for usage, failed, worn in zip(np.asarray(every, float), failures, found, strict=True):
        events = EventRates(
            kit_failures=np.zeros_like(failed), part_failures=failed, planned=np.zeros(draws)
        )
        outcome = outcome_of(INSPECTION, costs, events, releases, interval=float(usage))
        money = add_work(costs, outcome.costs, mending, worn)
        money = add_work(costs, money, seeing, np.full((1, draws), 1.0 / usage))
        outcomes.append(replace(outcome, costs=money))
    return outcomes
