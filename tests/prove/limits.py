"""Whether the limit on release truly holds where few failures borrow, and what few failures buy."""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import product

import numpy as np
from numpy.typing import NDArray

from pumplife.fits.alone import draw_alone
from pumplife.fits.groups import FitRows
from pumplife.policy.ages import shared_times
from pumplife.policy.interval import advise_interval, cost_rate, optimal_interval
from pumplife.policy.limits import ALONE, release_limits
from pumplife.policy.pump import SideLife, integrate_side, integrate_to
from pumplife.records.amounts import EVIDENCE
from pumplife.weibull.draws import LifeDraws
from pumplife.weibull.early_by_group import find_early_anywhere
from pumplife.weibull.posterior import fit_posterior
from tests.prove import judge

Floats = NDArray[np.float64]

SHAPE = 2.5
SERVICES = 6  # in a family; the first is the hazardous one
SPREAD = 0.3  # of log scale between the others
LIVES, MILD_LIVES = 40, 80
TARGET = 0.05
PRIOR = (2.2, 0.37)
CUTS = (0.35, 0.45)  # age at which the hazardous service renews, over its own scale
HARSH = (1.0, 1.5, 2.5, 4.0)  # how many times shorter than its like it lives
FAMILIES = 200
RATIO = 5.0  # of a failure's cost to that of planned work
OFF = 0.5  # spread of the logarithm of today's interval about the best
TODAYS = 20


@dataclass(frozen=True, kw_only=True, eq=False)
class Fleet:
    """Families of services and what was fitted to them.

    Attributes
    ----------
    scale : array (families,)
        True scale of the first service of each.
    failures : array (families,)
        That it had.
    pooled, alone : LifeDraws (families, draws)
        Of the first services.
    """

    scale: Floats
    failures: Floats
    pooled: LifeDraws
    alone: LifeDraws


def run_families(seed: int, families: int, *, harsh: float, cut: float, lives: int) -> Fleet:
    """Fit families whose first service is `harsh` times shorter-lived, renewed at `cut`."""
    rng = np.random.default_rng(seed)
    middle = rng.normal(0.0, 0.5, families)
    scale = np.exp(middle[:, None] + rng.normal(0.0, SPREAD, (families, SERVICES)))
    scale[:, 0] = np.exp(middle) / harsh
    count = np.array([lives] + [MILD_LIVES] * (SERVICES - 1))
    group = np.repeat(np.arange(families * SERVICES), np.tile(count, families))
    own = scale.reshape(-1)[group]
    first = group % SERVICES == 0
    stop = own * np.where(first, cut * rng.uniform(0.7, 1.3, len(own)),
                          rng.uniform(0.4, 1.2, len(own)))  # fmt: skip
    age = own * rng.weibull(SHAPE, len(own))
    rows = FitRows(
        lower=np.minimum(age, stop),
        upper=np.where(age <= stop, age, np.inf),
        entry=np.zeros(len(own)),
        weight=np.ones(len(own)),
        group=group,
        life=np.arange(len(own)),
    )
    return _fit(rows, scale[:, 0])


def _fit(rows: FitRows, scale: Floats) -> Fleet:
    columns = (rows.lower, rows.upper, rows.entry, rows.weight)
    family = rows.group // SERVICES
    groups = int(rows.group.max()) + 1
    early = find_early_anywhere(*columns, group=rows.group, family=family)
    median, spread = np.full(groups, PRIOR[0]), np.full(groups, PRIOR[1])
    pooled = fit_posterior(
        *columns, group=rows.group, family=family, shape_prior_median=median,
        shape_prior_sd=spread, early=early, draws=400, seed=1,
    ).draws  # fmt: skip
    failures = np.bincount(rows.group, np.isfinite(rows.upper), groups)
    first = np.arange(groups) % SERVICES == 0
    alone = draw_alone(pooled, rows, first & (failures < EVIDENCE["weak"]), (median, spread),
                       early, seed=1)  # fmt: skip
    return Fleet(scale=scale, failures=failures[first], pooled=pooled[first], alone=alone[first])


def find_limits(fleet: Fleet) -> tuple[Floats, Floats]:
    """The limit by pooled lives, and the strictest of both, for two diaphragms."""
    pooled, kept = [], []
    for row in range(len(fleet.scale)):
        sides = [SideLife(lives=one[[row]], count=np.array([2.0])) for one in
                 (fleet.pooled, fleet.alone)]  # fmt: skip
        found = release_limits(sides[0], np.array([True]), TARGET, 0.95, alone=sides[1])
        pooled.append(min(v for k, v in found.items() if k in ALONE and v > 0.0))
        kept.append(min(value for value in found.values() if value > 0.0))
    return np.array(pooled), np.array(kept)


def _prove_limits(families: int) -> Iterator[judge.Result]:
    for number, harsh in enumerate(HARSH):
        fleets = [run_families(100 * number + place, families, harsh=harsh, cut=cut, lives=LIVES)
                  for place, cut in enumerate(CUTS)]  # fmt: skip
        few = np.concatenate([fleet.failures < EVIDENCE["weak"] for fleet in fleets])
        best = np.concatenate([fleet.scale for fleet in fleets])
        best = best * (-np.log1p(-TARGET) / 2.0) ** (1.0 / SHAPE)
        pooled, kept = (
            np.concatenate(pair) for pair in zip(*map(find_limits, fleets), strict=True)
        )
        words = f"hazardous service living 1/{harsh:g} of its like"
        size, some = len(best), int(few.sum())
        yield judge.within(f"{words}: limit on release holds at the truth",
                           float(np.mean(kept <= best)), size, 0.90, 1.0)  # fmt: skip
        yield judge.within(f"{words}, fewer than 5 failures: limit holds",
                           float(np.mean((kept <= best)[few])), some, 0.90, 1.0)  # fmt: skip
        yield judge.tell(f"{words}, fewer than 5 failures: would hold by borrowed lives",
                         float(np.mean((pooled <= best)[few])), some)  # fmt: skip
        yield judge.tell(f"{words}, fewer than 5 failures: limit over the longest true one, median",
                         float(np.median((kept / best)[few])), some)  # fmt: skip
        yield judge.tell(f"{words}, fewer than 5 failures: the same by borrowed lives",
                         float(np.median((pooled / best)[few])), some)  # fmt: skip


def _regrets(fleet: Fleet, rng: np.random.Generator) -> Floats:
    """Excess cost at the truth, (families, 3).

    Of the advice by pooled lives, of the advice by its own failures alone, and the mean of
    intervals OFF the best.
    """
    cost, count = np.array([RATIO]), np.array([2.0])
    one, found = np.ones((1, 1)), []
    for row, scale in enumerate(fleet.scale):
        sides = [SideLife(lives=lives[[row]], count=count) for lives in (fleet.pooled, fleet.alone)]
        advised = [advise_interval(side, 1.0, cost).interval for side in sides]
        life = LifeDraws(
            early_share=0.0 * one, early_scale=one, shape=SHAPE * one, scale=scale * one
        )
        true = SideLife(lives=life, count=count)
        known = integrate_side(true, shared_times(true))
        best, least = optimal_interval(true, 1.0, cost)
        today = best[0] * np.exp(OFF * rng.standard_normal(TODAYS))
        paid = [
            float(cost_rate(integrate_to(true, known, np.array([age])), 1.0, cost)[0, 0])
            for age in (*advised, *today)
        ]
        excess = np.array(paid) / least[0] - 1.0
        found.append((*excess[:2], excess[2:].mean()))
    return np.array(found)


def _prove_evidence(families: int) -> Iterator[judge.Result]:
    """What an interval costs with few failures, in services that are and aren't like the others."""
    designs = enumerate(product((0.6, 1.0, 1.6), ((0.2, 20), (0.35, 25))))
    fleets = [
        run_families(900 + place, families, harsh=harsh, cut=cut, lives=lives)
        for place, (harsh, (cut, lives)) in designs
    ]
    rng = np.random.default_rng(5)
    failures = np.concatenate([fleet.failures for fleet in fleets])
    excess = np.concatenate([_regrets(fleet, rng) for fleet in fleets])
    for low, high, words in ((0, 1, "no failure"), (1, 3, "1 or 2 failures"), (3, 5, "3 or 4")):
        mine = (failures >= low) & (failures < high)
        count = int(mine.sum())
        pooled, alone, today = excess[mine].mean(axis=0)
        head = f"excess cost at the truth, {words} of its own"
        if low >= EVIDENCE["advise"]:
            yield judge.within(f"{head}, like services lend", float(pooled), count, 0.0, 0.05)
        else:
            yield judge.tell(f"{head}, like services lend", float(pooled), count)
        yield judge.tell(
            f"{head}, 90th percentile", float(np.quantile(excess[mine, 0], 0.9)), count
        )
        yield judge.tell(f"{head}, by its own failures alone", float(alone), count)
        yield judge.tell(f"{head}, an interval half off the best", float(today), count)


def prove(scale: float) -> Iterator[tuple[judge.Result, int]]:
    """Yield what was measured with the number of families behind it."""
    families = max(20, int(FAMILIES * scale))
    for result in (*_prove_limits(families), *_prove_evidence(families // 2)):
        yield result, families
