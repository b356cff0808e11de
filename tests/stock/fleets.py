"""Small invented pump groups for the tests of demand and budget."""

import numpy as np

from pumplife.policy.evidence import Evidence
from pumplife.policy.groups import DAYS_PER_YEAR, SideGroup
from pumplife.policy.simulate import fixed_interval
from pumplife.stock.asked import Futures, count_futures
from pumplife.stock.demand import simulate_futures
from pumplife.stock.future import Practice
from pumplife.stock.looks import QUARTER_DAYS
from pumplife.stock.needs import Needs, join_known, sort_needs
from pumplife.weibull.draws import LifeDraws


def lives(shape, scale, draws=1):
    """Draws of one part per entry, without early failures; 2-D arrays are (parts, draws)."""
    shape, scale = np.broadcast_arrays(np.atleast_1d(shape), np.atleast_1d(scale))
    if shape.ndim == 1:
        shape, scale = (np.repeat(a[:, None], draws, axis=1) for a in (shape, scale))
    return LifeDraws(
        early_share=np.zeros(shape.shape),
        early_scale=np.ones(shape.shape),
        shape=np.array(shape, dtype=float),
        scale=np.array(scale, dtype=float),
    )


def side_group(
    pumps, draws, *, count=None, age=0.0, store="MAIN", usage=1000.0, first=0, **changes
):
    """Like pumps in one store with kit K and `count` positions of each part, one by default."""
    parts = len(draws)
    count = np.ones(parts) if count is None else np.asarray(count, float)
    part_of = np.repeat(np.arange(parts), count.astype(int))
    ages = np.broadcast_to(np.asarray(age, float), (pumps, len(part_of))).copy()
    settings = {
        "service": f"service {first}",
        "side": "fluid",
        "kit": "K",
        "hazard": "none",
        "size_mm": 40.0,
        "pumps": np.arange(first, first + pumps),
        "site": np.array(["SITE"] * pumps, dtype=object),
        "location": np.array([""] * pumps, dtype=object),
        "store": np.array([store] * pumps, dtype=object),
        "part": tuple(f"part {n}" for n in range(parts)),
        "part_no": tuple("BCDE"[:parts]),
        "material": ("NBR",) * parts,
        "count": count,
        "releases": np.zeros(parts, dtype=bool),
        "failures": 20.0,
        "fit_rows": np.arange(parts),
        "lives": draws,
        "alone": draws,
        "part_of": part_of,
        "age": ages,
        "known": np.ones(ages.shape, dtype=bool),
        "most": np.full(ages.shape, np.inf),
        "clock_age": ages.max(axis=1),
        "clock_day": np.zeros(pumps),
        "clock_known": np.ones(pumps, dtype=bool),
        "rate": np.full(pumps, usage / 365.25),
        "own_limit": np.full(pumps, np.inf),
        "maximum": np.inf,
        "evidence": Evidence(enough=True),
        "planned": fixed_interval(np.inf),
        "kit_share": 1.0,
        "costs": None,
        "missing": "",
    }
    return SideGroup(**(settings | changes))


def run_to_failure(kit_share=1.0):
    """No planned work."""
    return Practice(planned=fixed_interval(np.inf), kit_share=kit_share)


def simulate_demand(*asked, **settings):
    """Demand of each item, counted."""
    return count_futures(simulate_futures(*asked, **settings))


def mean_of(tally):
    """Mean of the numbers that were counted."""
    numbers = np.arange(tally.lowest, tally.lowest + len(tally.times))
    return tally.times @ numbers / tally.of


def poisson_futures(rates, *, lead=30.0, replicates=2000, seed=0, review=0.0):
    """Breakdowns at random times in each store: rates [1/year] of stores A, B, C ...; item K."""
    rng = np.random.default_rng(seed)
    days = lead + review + QUARTER_DAYS + DAYS_PER_YEAR
    counts = rng.poisson(
        np.asarray(rates)[:, None] * days / DAYS_PER_YEAR, (len(rates), replicates)
    )
    cell = np.repeat(np.arange(counts.size), counts.ravel())
    needs = Needs(
        key=cell // replicates,
        replicate=cell % replicates,
        day=rng.uniform(0.0, days, len(cell)),
        planned=np.zeros(len(cell), np.bool_),
    )
    stores = [chr(65 + n) if n < 26 else f"S{n}" for n in range(len(rates))]
    return Futures(
        keys=[(store, "K") for store in stores],
        lead=np.full((len(rates), replicates), lead),
        listed=np.full(len(rates), lead + review),
        needs=sort_needs(needs, replicates),
        jobs=join_known([]),
        review=review,
        days=days,
    )
