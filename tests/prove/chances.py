"""Whether a stated chance that planned work is cheaper comes true as often as it says.

Truths are drawn from what the fits assume before they see a failure: shapes from the stated prior,
alike within a part as far as pooling expects, scales that spread between like services. Lives are
laid as arrays and go through `fit_posterior` and `advise_interval`, not through tickets, since
thousands of groups are needed. An interval is capped at random, so that low chances occur too.
Caps, habits and length of the records owe nothing to the truth, as a posterior takes them to.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import pandas as pd

from pumplife.policy.ages import own_times
from pumplife.policy.interval import advise_interval, cost_rate, optimal_interval
from pumplife.policy.pump import SideLife, integrate_side, integrate_to
from pumplife.weibull.draws import LifeDraws
from pumplife.weibull.pooling import (
    PART_WIDTHS,
    SCALE_SPREADS,
    SHAPE_PARTS,
    USUAL_PART,
    USUAL_SPREAD,
)
from pumplife.weibull.posterior import fit_posterior
from tests.prove import judge
from tests.prove.running import PLACES, Habits, Sides, run_sides

MEDIAN, SPREAD = 2.2, 0.37  # the stated prior on shape of parts of the fluid side
COUNT = np.array([2.0, 4.0, 4.0])
PART_OF = np.repeat(np.arange(3), COUNT.astype(int))
SERVICES = 6  # that lend each other strength
USUAL = np.log([7_000.0, 14_000.0, 17_000.0])  # log scale [h]
WIDE = 1.0  # of a part's log scale, whose prior is flat
TYPICAL = 5_000.0  # life of a usual side [h]; caps and habits know nothing of the truth
BINS, OFF = 10, 0.05


@dataclass(frozen=True, kw_only=True, eq=False)
class Truth:
    """Services in families: shape and scale (services, parts) [-], [h]."""

    shape: np.ndarray
    scale: np.ndarray

    def __repr__(self) -> str:
        return f"<Truth of {len(self.shape)} services>"


def draw_truth(rng: np.random.Generator, families: int) -> Truth:
    """Draw families of services from the prior that the posterior states."""
    one = (families, 1, 3)
    part = _pick(rng, SHAPE_PARTS, PART_WIDTHS / (1.0 + (SHAPE_PARTS / USUAL_PART) ** 2), one)
    common = rng.normal(size=one) * np.sqrt(1.0 - part**2)
    own = rng.normal(size=(families, SERVICES, 3)) * part
    shape = MEDIAN * np.exp(SPREAD * (common + own))
    odds = SCALE_SPREADS / (1.0 + (SCALE_SPREADS / USUAL_SPREAD) ** 2)
    spread = _pick(rng, SCALE_SPREADS, odds, one)
    scale = USUAL + rng.normal(0.0, WIDE, one) + spread * rng.normal(size=shape.shape)
    return Truth(shape=shape.reshape(-1, 3), scale=np.exp(scale).reshape(-1, 3))


def _pick(
    rng: np.random.Generator, values: np.ndarray, odds: np.ndarray, size: tuple[int, ...]
) -> np.ndarray:
    return np.asarray(rng.choice(values, size, p=odds / odds.sum()))


def lay_lives(rng: np.random.Generator, truth: Truth) -> pd.DataFrame:
    """Lives of 2 to 25 pumps a service, a row per visit and part: group, lower, upper, weight."""
    count = len(truth.shape)
    pumps = np.round(np.exp(rng.uniform(np.log(2.0), np.log(25.0), count))).astype(int)
    service = np.repeat(np.arange(count), pumps)
    ages = np.exp(rng.uniform(np.log(0.2), np.log(5.0), count))  # usual lives that a pump runs
    until = (TYPICAL * ages)[service] * rng.uniform(0.7, 1.0, len(service))
    planned = np.where(rng.random(count) < 0.4, np.inf, TYPICAL * rng.uniform(0.3, 2.0, count))
    shape, scale = (part[service][:, PART_OF] for part in (truth.shape, truth.scale))
    none = np.zeros_like(shape)
    sides = Sides(shape=shape, scale=scale, early_share=none, early_scale=np.ones(len(service)))
    habits = Habits(planned=planned[service], kit_share=np.ones(len(service)))
    visits = run_sides(rng, sides, habits, until)
    last = pd.DataFrame({"pump": np.arange(len(until)), "usage": until, "place": -1})
    visits = pd.concat([visits, last]).sort_values(["pump", "usage"], kind="stable")
    age = visits.groupby("pump")["usage"].diff().fillna(visits["usage"]).to_numpy()
    place = visits["place"].to_numpy()
    failed = (place >= 0)[:, None] & (
        PART_OF[np.clip(place, 0, PLACES - 1)][:, None] == np.arange(3)
    )
    group = 3 * service[visits["pump"].to_numpy()][:, None] + np.arange(3)
    rows = {
        "group": np.concatenate([group.ravel(), group[failed]]),
        "lower": np.concatenate([np.repeat(age, 3), age[failed.any(axis=1)]]),
        "weight": np.concatenate([(COUNT - failed).ravel(), np.ones(int(failed.sum()))]),
    }
    lives = pd.DataFrame(rows)
    ends = np.arange(len(lives)) >= failed.size
    return lives.assign(upper=np.where(ends, lives["lower"], np.inf))


def state_chances(seed: int, families: int) -> pd.DataFrame:
    """Stated chance that planned work beats running to failure beside whether it does.

    Two services in three have a cap. Columns: stated (NaN where nothing is planned), realised (0
    or 1), capped, failures (of the service), regret (cost of the advice at the truth over that of
    the best interval).
    """
    rng = np.random.default_rng(seed)
    truth = draw_truth(rng, families)
    lives = lay_lives(rng, truth)
    group = lives["group"].to_numpy()
    found = fit_posterior(
        lives["lower"].to_numpy(),
        lives["upper"].to_numpy(),
        weight=lives["weight"].to_numpy(),
        group=group,
        shape_prior_median=MEDIAN,
        shape_prior_sd=SPREAD,
        family=group // (3 * SERVICES) * 3 + group % 3,
        draws=400,
        seed=1,
    )
    failures = np.bincount(group // 3, np.isfinite(lives["upper"]), len(truth.shape))
    rows = []
    for service in range(len(truth.shape)):
        own = slice(3 * service, 3 * service + 3)
        cost = np.full(3, np.exp(rng.uniform(np.log(1.2), np.log(20.0))))
        cap = TYPICAL * float(np.exp(rng.uniform(np.log(0.05), np.log(4.0))))
        cap = cap if service % 3 else np.inf
        rows.append(_state_one(found.draws[own], truth, service, cost, cap))
    return pd.DataFrame(rows).assign(failures=failures)


def _state_one(
    draws: LifeDraws, truth: Truth, service: int, cost: np.ndarray, cap: float
) -> dict[str, float]:
    advice = advise_interval(SideLife(lives=draws, count=COUNT), 1.0, cost, maximum=cap)
    one = np.zeros((3, 1))
    true = LifeDraws(
        early_share=one,
        early_scale=one + 1.0,
        shape=truth.shape[service][:, None],
        scale=truth.scale[service][:, None],
    )
    side = SideLife(lives=true, count=COUNT)
    known = integrate_side(side, own_times(side), nodes=6)
    at = integrate_to(side, known, np.array([advice.interval]))
    rate, never = cost_rate(at, 1.0, cost)[0, 0], cost_rate(known, 1.0, cost)[-1, 0]
    best = min(float(optimal_interval(side, 1.0, cost)[1][0]), never)
    return {
        "stated": advice.prob_better if np.isfinite(advice.interval) else np.nan,
        "realised": float(rate < never),
        "capped": float(np.isfinite(cap)),
        "regret": float(rate / best - 1.0),
    }


def judge_chances(groups: pd.DataFrame) -> Iterator[judge.Result]:
    """Stated against realised in ten bins of like size, by the stated chance."""
    ordered = groups.dropna(subset="stated").sort_values("stated", kind="stable")
    bins = np.array_split(np.arange(len(ordered)), BINS)
    words = "chance that planned work is cheaper, truths from the prior"
    off = []
    for number, rows in enumerate(bins, 1):
        some = ordered.iloc[rows]
        stated, realised = float(some["stated"].mean()), float(some["realised"].mean())
        off.append(abs(realised - stated))
        check = f"{words}, bin {number} of {BINS}"
        yield judge.tell(f"{check}: stated", stated, len(some))
        yield judge.tell(f"{check}: realised", realised, len(some))
    yield judge.within(f"{words}: largest distance in ten bins", max(off), len(ordered), 0.0, OFF)
    free = groups[groups["capped"] == 0.0]
    for least, below, band in ((0, 1, "none"), (1, 10, "1 to 9"), (10, 20, "10 to 19"),
                               (20, np.inf, "20 or more")):  # fmt: skip
        rows = free[(free["failures"] >= least) & (free["failures"] < below)]
        check = f"truths from the prior, failures: {band}: cost of the advice over the best, mean"
        yield judge.tell(check, float(rows["regret"].mean()), len(rows))
