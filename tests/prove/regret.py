"""What advice from raw tickets costs at the truth, and whether a hazardous limit holds.

Every function here takes seeds and gives frames with one row per pump group, or judges them.
What advice may cost is asked where a breakdown costs 1.5 to 6 times planned work, as it commonly
does where no line stops: always running to failure then costs about a sixth more than the best.
The same works with breakdowns of up to 20 times are told beside: every rule costs more there.
Even works have failures spread evenly from none to 60 over their groups and no assembly faults;
their groups are told by the failures of their own pumps.
"""

import tempfile
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from pumplife.policy.ages import own_times
from pumplife.policy.costs import SideCosts, cost_rates
from pumplife.policy.decide import Decision, decide_group
from pumplife.policy.groups import SideGroup, build_groups
from pumplife.policy.interval import cost_rate, optimal_interval
from pumplife.policy.limits import RELEASE
from pumplife.policy.practice import failed_part_rates
from pumplife.policy.pump import SideIntegrals, SideLife, integrate_side, integrate_to
from pumplife.weibull.draws import LifeDraws
from tests.prove import judge
from tests.prove.chances import judge_chances, state_chances
from tests.prove.plants import LIFE_KEYS, Route, run_folder
from tests.prove.small_works import COMMON, WIDE, Works, make_works

FIRST_SEED = 5001
WORKS = (55, 55, 58, 10, 54)  # clean, clean with dear breakdowns, even, spoilt, hazardous
BATCHES, FAMILIES = 4, 300  # of services, for the stated chances
RELEASE_TARGET, HELD = 0.05, 0.9
USUAL = "clean records, breakdowns at 1.5 to 6 times planned work"
EVEN = "even works without assembly faults, breakdowns at 1.5 to 6 times, by own failures"
DEAR = "clean records, breakdowns at 1.2 to 20 times planned work"
MANY, FEW = 20.0, 10.0  # failures behind a group's fits: from which it has many, below which few
KIT, ALONE = 1.0, 0.0  # what a failure renews: the whole side, or the failed part by itself
WAYS = {
    "regret": "the advice",
    "regret_likely": "plug-in maximum likelihood",
    "regret_never": "always run to failure with the kit",
    "regret_half": "kit at half of the mean usage between failures",
}
Found = Iterator[tuple[judge.Result, int]]


class SideTruth:
    """Cost of the ways of working on one side whose lives are taken as known.

    A way is an interval [h], inf for no planned work, and what a failure renews: KIT or ALONE.
    """

    def __init__(self, lives: LifeDraws, count: np.ndarray, costs: SideCosts) -> None:
        self.side = SideLife(lives=lives, count=count)
        self.money = (costs.planned_money, costs.failure_money)
        self.known: SideIntegrals = integrate_side(self.side, own_times(self.side), nodes=6)
        self.alone = float(cost_rates(costs, failed_part_rates(lives.mean(), count)).money[0])

    def cost(self, interval: float, renews: float) -> float:
        """Cost rate of a way of working [money / h]."""
        if renews == ALONE and np.isinf(interval):
            return self.alone
        at = integrate_to(self.side, self.known, np.array([interval]))
        return float(cost_rate(at, *self.money)[0, 0])

    def cheapest(self, limit: float) -> tuple[float, float]:
        """The cheapest way among those with an interval of at most `limit` [h]."""
        interval = float(optimal_interval(self.side, *self.money)[0][0])
        if interval > limit:
            interval = self._cheapest_within(limit)
        if np.isinf(limit) and self.alone < self.cost(interval, KIT):
            return np.inf, ALONE
        return interval, KIT

    def _cheapest_within(self, limit: float) -> float:
        times = self.known.times[:, 0]
        rates = np.where(times < limit, cost_rate(self.known, *self.money)[:, 0], np.inf)
        row = int(np.argmin(rates))
        return float(times[row]) if rates[row] < self.cost(limit, KIT) else limit


def score_works(
    seed: int,
    *,
    services: int = 10,
    spoilt: bool = False,
    hazardous: float = 0.0,
    ratio: tuple[float, float] = WIDE,
    even: bool = False,
) -> pd.DataFrame:
    """What the advice for invented works costs at the truth over the best, per pump group.

    Columns: seed, service, size_mm, hazard, harsh, failures (behind the group's fits), breakdowns
    (true ones of its own pumps), policy, interval, limit [h], regret and, for the other ways of
    WAYS, regret_*; in_reach (an interval can hold the limit on release), release (true probability
    of a release within the advised interval).
    """
    works = make_works(
        seed, services=services, spoilt=spoilt, hazardous=hazardous, ratio=ratio, even=even
    )
    with tempfile.TemporaryDirectory(prefix="invented-") as folder:
        route = run_folder(works.write(Path(folder)))
    target = route[0].plant.hazardous_failure_probability
    rows = [
        _score_group(works, route, group, decide_group(group, release_target=target))
        for group in build_groups(*route)
        if not group.missing
    ]
    return pd.DataFrame(rows).assign(seed=seed)


def _score_group(
    works: Works, route: Route, group: SideGroup, decision: Decision
) -> dict[str, Any]:
    lives, service = works.lives.set_index(LIFE_KEYS), works.services.set_index("service")
    true = [
        lives.loc[(group.service, part, material)]
        for part, material in zip(group.part, group.material, strict=True)
    ]
    names = ("early_share", "early_scale", "shape", "scale")
    drawn = {name: np.array([[row[name]] for row in true]) for name in names}
    truth = SideTruth(LifeDraws(**drawn), group.count, decision.costs)
    limit = decision.limit
    best = truth.cost(*truth.cheapest(limit))
    ways = {
        "regret": (decision.interval, decision.kit_share),
        "regret_likely": _plug_in(route, group, decision, limit),
        "regret_never": (limit, KIT),
        "regret_half": (min(limit, _half_of_mean_usage(works, group)), KIT),
    }
    exposed = SideLife(lives=truth.side.lives, count=group.count * group.releases)
    alive = exposed.survival(np.array([[min(decision.interval, 1e12)]]))
    limits = [value for name, value in decision.advice.limits.items() if RELEASE in name]
    rows = works.groups.set_index(["service", "size_mm"])
    fits = route[-1].table["failures"].iloc[np.unique(group.fit_rows)]
    return {
        "service": group.service,
        "size_mm": group.size_mm,
        "hazard": group.hazard,
        "harsh": bool(service.loc[group.service, "harsh"]),
        "failures": float(fits.sum()),
        "breakdowns": int(rows.loc[(group.service, group.size_mm), "breakdowns"]),
        "policy": decision.policy,
        "interval": decision.interval,
        "limit": limit,
        "in_reach": any(value > 0.0 for value in limits),
        "release": float(1.0 - alive[0, 0]),
        **{name: truth.cost(*way) / best - 1.0 for name, way in ways.items()},
    }


def _plug_in(
    route: Route, group: SideGroup, decision: Decision, limit: float
) -> tuple[float, float]:
    """The cheapest way had the likeliest lives been true; parts without one never fail."""
    fits = route[-1].table.iloc[group.fit_rows]
    shape, scale = (fits[f"likely_{name}"].to_numpy(float) for name in ("shape", "scale"))
    known = np.isfinite(shape) & np.isfinite(scale)
    if not known.any():
        return limit, KIT
    lives = LifeDraws(
        early_share=np.zeros((len(shape), 1)),
        early_scale=np.ones((len(shape), 1)),
        shape=np.where(known, shape, 1.0)[:, None],
        scale=np.where(known, scale, 1e3 * np.nanmax(np.where(known, scale, np.nan)))[:, None],
    )
    return SideTruth(lives, group.count, decision.costs).cheapest(limit)


def _half_of_mean_usage(works: Works, group: SideGroup) -> float:
    """Half of the usage per breakdown of the group's service [h]; inf without breakdowns."""
    mine = works.groups[works.groups["service"] == group.service]
    failures = mine["breakdowns"].sum()
    return float(0.5 * mine["usage"].sum() / failures) if failures else np.inf


def judge_regret(
    groups: pd.DataFrame, works: str, *, asked: bool = False
) -> Iterator[judge.Result]:
    """Mean cost over the best of the advice and of other rules, by failures behind the fits."""
    failures = groups["failures"]
    bands = (
        ("20 failures or more", groups[failures >= MANY], 0.008),
        ("10 to 19", groups[(failures >= FEW) & (failures < MANY)], None),
        ("fewer than 10", groups[failures < FEW], 0.025),
    )
    for band, rows, most in bands:
        for name, way in WAYS.items():
            check = f"{works}, {band}: cost of {way} over the best, mean"
            mean = float(rows[name].mean())
            if asked and most is not None and name == "regret":
                yield judge.within(check, mean, len(rows), 0.0, most)
            else:
                yield judge.tell(check, mean, len(rows))
        check = f"{works}, {band}: cost of the advice over the best, 95th percentile"
        yield judge.tell(check, float(rows["regret"].quantile(0.95)), len(rows))


def judge_policies(groups: pd.DataFrame, works: str) -> Iterator[judge.Result]:
    """Cost over the best by what is advised, and with fewer failures than an interval needs."""
    for policy, rows in groups.groupby("policy"):
        check = f"{works}, advised: {policy}: cost over the best, mean"
        yield judge.tell(check, float(rows["regret"].mean()), len(rows))
    for least, below, band in ((0.0, 1.0, "none"), (1.0, 3.0, "1 or 2"), (3.0, FEW, "3 to 9")):
        rows = groups[(groups["failures"] >= least) & (groups["failures"] < below)]
        check = f"{works}, failures: {band}: cost of the advice over the best, mean"
        yield judge.tell(check, float(rows["regret"].mean()), len(rows))


def judge_limits(groups: pd.DataFrame) -> Iterator[judge.Result]:
    """Share of hazardous groups whose true chance of a release within the interval is held."""
    words = "hazardous: true chance of a release within the advised interval at most 5 %"
    hazardous = groups[groups["hazard"] == "hazardous"]
    out = 1.0 - float(hazardous["in_reach"].mean())
    yield judge.tell("hazardous: said that no interval can hold the limit", out, len(hazardous))
    groups = hazardous[hazardous["in_reach"]]
    held = groups["release"] <= RELEASE_TARGET
    yield judge.within(words, float(held.mean()), len(held), HELD, 1.0)
    harsh, failures = groups["harsh"].astype(bool), groups["failures"]
    kinds = (
        ("services like others", ~harsh),
        ("services three times as harsh", harsh),
        ("fewer than 3 failures", failures < 3.0),
        ("3 to 9 failures", (failures >= 3.0) & (failures < FEW)),
        ("10 to 19 failures", (failures >= FEW) & (failures < MANY)),
        ("20 failures or more", failures >= MANY),
    )
    for kind, rows in kinds:
        yield judge.tell(f"{words}, {kind}", float(held[rows].mean()), int(rows.sum()))


def prove(scale: float) -> Found:
    """Every check of what advice costs, of hazardous limits and of stated chances."""
    clean, dear, even, spoilt, hazardous = (max(3, round(scale * works)) for works in WORKS)
    groups = _score(partial(score_works, ratio=COMMON), clean)
    for result in (*judge_regret(groups, USUAL, asked=True), *judge_policies(groups, USUAL)):
        yield result, clean
    groups = _score(score_works, dear)
    for result in (*judge_regret(groups, DEAR), *judge_policies(groups, DEAR)):
        yield result, dear
    groups = _score(partial(score_works, ratio=COMMON, even=True), even)
    groups = groups.assign(failures=groups["breakdowns"])
    for result in (*judge_regret(groups, EVEN, asked=True), *judge_policies(groups, EVEN)):
        yield result, even
    groups = _score(partial(score_works, spoilt=True), spoilt)
    for result in judge_regret(groups, "spoilt records"):
        yield result, spoilt
    for result in judge_limits(_score(partial(score_works, hazardous=1.0), hazardous)):
        yield result, hazardous
    families = max(20, round(scale * FAMILIES))
    chances = _score(partial(state_chances, families=families), BATCHES)
    for result in judge_chances(chances):
        yield result, BATCHES


def _score(task: Callable[[int], pd.DataFrame], seeds: int) -> pd.DataFrame:
    """The task for so many seeds in a row, over two cores."""
    with ProcessPoolExecutor(2) as pool:
        return pd.concat(pool.map(task, range(FIRST_SEED, FIRST_SEED + seeds)), ignore_index=True)
