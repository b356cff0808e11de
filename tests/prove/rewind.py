"""Past advice of simulated plants: do its bands hold the true cost rate and later failures.

Four hundred plants tell a share of nine in ten to a point and a half only; bands of more plants
are had from the same tickets with their lives laid as arrays, without reading, cutting and scoring.
"""

import tempfile
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import numpy as np
import pandas as pd

from pumplife.policy.ages import own_times
from pumplife.policy.interval import advise_interval, cost_rate
from pumplife.policy.pump import SideLife, integrate_side, integrate_to
from pumplife.records.plant import to_day
from pumplife.records.read import join_records, read_written
from pumplife.rewind.later import stretches_after, watch_group
from pumplife.rewind.rewind import advise_as_of, build_and_fit
from pumplife.rewind.score import count_band, is_inside, score_group
from pumplife.weibull.draws import LifeDraws
from pumplife.weibull.posterior import fit_posterior
from tests.prove import judge
from tests.rewind.fleet import FROM, HOURS_A_DAY, TRUTH, fleet_tables, write_fleet

PLANTS = 400
FIRST_SEED = 5001
AS_OF = pd.Timestamp("2019-07-01")
LAID = 1000  # plants whose lives are laid as arrays
PLANNED, FAILED = 550.0, np.array([1450.0, 1450.0])  # cost of a rebuild in them [money]
FAMILIES = ("ball", "diaphragm")  # parts, in the order of COUNT
COUNT = np.array([float(TRUTH[part][0]) for part in FAMILIES])


def rewind_one(seed: int) -> dict[str, float]:
    """One plant of 24 pumps, rewound by two and a half of its six years.

    Every other plant renews at 7,000 h. Gives the failures known, and whether the bands hold the
    true cost rate of the advised interval, the failures seen since, and the cost rate that later
    lives tell (NaN where they tell none).
    """
    planned = _planned_age(seed)
    with tempfile.TemporaryDirectory(prefix="invented-") as folder:
        written = read_written(
            write_fleet(Path(folder) / "plant", fleet_tables(seed, planned=planned))
        )
    records = join_records(written)
    _, known = build_and_fit(records, seed=1)
    advice, past = advise_as_of(written, AS_OF, seed=1)
    group, decision = advice.groups[0], advice.decisions[0]
    shape, scale = (np.array([[TRUTH[part][n]] for part in group.part]) for n in (1, 2))
    none = np.zeros_like(shape)
    lives = LifeDraws(early_share=none, early_scale=none + 1.0, shape=shape, scale=scale)
    side, costs = SideLife(lives=lives, count=group.count), decision.costs
    at = integrate_to(side, integrate_side(side, own_times(side)), np.array([decision.interval]))
    true = float(cost_rate(at, costs.planned_money, costs.failure_money)[0, 0])
    low, high = np.quantile(decision.advised.money, [0.05, 0.95])
    end = to_day(records.plant.records_to)
    after = stretches_after(known.fits, known.lives, known.clock, to_day(AS_OF), end)
    keys = past.fits.table.iloc[group.fit_rows].reset_index(drop=True)
    seen = watch_group(after, keys, group.pumps)
    realised = score_group(group, decision, seen, seed=1, usage_unit="hours")
    fewest, most = count_band(realised.expected)
    told = realised.why_not == ""
    return {
        "failures": group.failures,
        "cost_held": float(low <= true <= high),
        "cost_ratio": float(decision.advised.money.mean() / true),
        "failures_held": float(fewest <= realised.failures <= most),
        "failures_ratio": realised.failures / float(realised.expected.mean()),
        "told": float(told),
        "told_held": float(is_inside(realised.rate, decision.advised.money, realised.error))
        if told
        else np.nan,
        "told_ratio": realised.rate / true if told else np.nan,
    }


def _planned_age(seed: int) -> float:
    """Age at which every other plant renews [h]."""
    return 7000.0 if seed % 2 else np.inf


def lay_known(seed: int) -> pd.DataFrame:
    """Lives known at the past day from one plant's tickets: part, lower, upper, weight."""
    tickets = pd.DataFrame(fleet_tables(seed, planned=_planned_age(seed))["rebuilds"])
    tickets["usage"] = (pd.to_datetime(tickets["opened_on"]) - FROM).dt.days * HOURS_A_DAY
    until = (AS_OF - FROM).days * HOURS_A_DAY
    known = tickets.loc[tickets["usage"] < until, ["pump_id", "usage", "failed_part"]]
    pumps = sorted(tickets["pump_id"].unique())
    last = pd.DataFrame({"pump_id": pumps, "usage": until, "failed_part": "none"})
    ends = pd.concat([known, last]).sort_values(["pump_id", "usage"], ignore_index=True)
    ends["age"] = ends.groupby("pump_id")["usage"].diff().fillna(ends["usage"])
    found = []
    for number, part in enumerate(FAMILIES):
        failed = ends["failed_part"].eq(part).to_numpy()
        rest = ends.assign(part=number, lower=ends["age"], upper=np.inf)
        rest["weight"] = COUNT[number] - failed
        found += [rest, rest[failed].assign(upper=rest["age"], weight=1.0)]
    return pd.concat(found, ignore_index=True)[["part", "lower", "upper", "weight"]]


def hold_bands(first: int, plants: int) -> pd.DataFrame:
    """True cost rate of the advised interval beside its 90 % band: true, low, high, per plant."""
    lives = pd.concat([lay_known(first + n).assign(plant=n) for n in range(plants)])
    draws = fit_posterior(
        lives["lower"].to_numpy(), lives["upper"].to_numpy(), weight=lives["weight"].to_numpy(),
        group=(len(FAMILIES) * lives["plant"] + lives["part"]).to_numpy(),
        shape_prior_median=2.2, shape_prior_sd=0.37, draws=400, seed=1,
    ).draws  # fmt: skip
    shape, scale = (np.array([[TRUTH[part][n]] for part in FAMILIES]) for n in (1, 2))
    none = np.zeros_like(shape)
    true = LifeDraws(early_share=none, early_scale=none + 1.0, shape=shape, scale=scale)
    side = SideLife(lives=true, count=COUNT)
    whole, rows = integrate_side(side, own_times(side)), []
    for plant in range(plants):
        own = draws[slice(len(FAMILIES) * plant, len(FAMILIES) * (plant + 1))]
        advice = advise_interval(SideLife(lives=own, count=COUNT), PLANNED, FAILED)
        at = integrate_to(side, whole, np.array([advice.interval]))
        low, high = np.quantile(advice.cost_rate, [0.05, 0.95])
        rows.append((float(cost_rate(at, PLANNED, FAILED)[0, 0]), low, high))
    return pd.DataFrame(rows, columns=["true", "low", "high"])


def prove(scale: float) -> Iterator[tuple[judge.Result, int]]:
    """Coverage of the bands of past advice, over plants of their own."""
    count = max(8, round(scale * PLANTS))
    seeds = range(FIRST_SEED, FIRST_SEED + count)
    with ProcessPoolExecutor(2) as pool:
        rows = pd.DataFrame(list(pool.map(rewind_one, seeds, chunksize=4)))
    for result in judge_rewind(rows):
        yield result, count
    laid = max(40, round(scale * LAID))
    yield judge_bands(hold_bands(FIRST_SEED, laid)), laid


def judge_bands(bands: pd.DataFrame) -> judge.Result:
    """Share of plants whose true cost rate lies in the band."""
    held = (bands["low"] <= bands["true"]) & (bands["true"] <= bands["high"])
    words = "rewind: true cost rate in its 90 % band, lives of the same plants and more as arrays"
    return judge.within(words, float(held.mean()), len(held), 0.85, 0.95)


def judge_rewind(rows: pd.DataFrame) -> Iterator[judge.Result]:
    """What is asked of the bands."""
    words, n = "rewind:", len(rows)
    mean = rows.mean()
    yield judge.within(f"{words} true cost rate of the advised interval in its 90 % band",
                       float(mean["cost_held"]), n, 0.85, 0.95)  # fmt: skip
    yield judge.within(f"{words} failures seen since in their 90 % band",
                       float(mean["failures_held"]), n, 0.85, 0.99)  # fmt: skip
    yield judge.tell(f"{words} predicted cost rate over the true one, mean",
                     float(mean["cost_ratio"]), n)  # fmt: skip
    yield judge.tell(f"{words} failures seen over predicted, mean",
                     float(mean["failures_ratio"]), n)  # fmt: skip
    told = int(rows["told"].sum())
    yield judge.tell(f"{words} plants whose later lives tell the cost rate",
                     float(mean["told"]), n)  # fmt: skip
    yield judge.tell(f"{words} cost rate told by later lives in the band, its own error allowed",
                     float(mean["told_held"]), told)  # fmt: skip
    yield judge.tell(f"{words} cost rate told by later lives over the true one, mean",
                     float(mean["told_ratio"]), told)  # fmt: skip
    yield judge.tell(f"{words} failures known at the past day, mean",
                     float(mean["failures"]), n)  # fmt: skip
