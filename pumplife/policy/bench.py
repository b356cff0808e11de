"""How many hours of work a week the bench of each site has, and what two sides at once save."""

from __future__ import annotations

import numpy as np
import pandas as pd

from pumplife.lives.build import Lives
from pumplife.policy.pump import FloatArray
from pumplife.records.plant import to_day
from pumplife.records.read import Records

QUARTER_WEEKS = 13
LEAST_TICKETS = 5  # tickets on both sides of a pump from which their median stands


def bench_limits(records: Records, lives: Lives, sites: list[str]) -> dict[str, float]:
    """Hours a week of the bench of each site [h], inf where nothing tells.

    The plant's own number, else what the busiest quarter of the records did; the audit says
    which.
    """
    orders = lives.visits.drop_duplicates("visit")
    limits = {}
    for site in sites:
        given = records.plant.bench_hours_per_week(site)
        limits[site] = given if np.isfinite(given) else _busiest(records, orders, site)
    return limits


def _busiest(records: Records, orders: pd.DataFrame, site: str) -> float:
    """Mean hours a week of the busiest 13 weeks at a site, told in the audit."""
    mine = orders[orders["site"] == site]
    hours = mine["labour_h"].astype(float)
    name = f" of {site}" if site else ""
    if not hours.sum() > 0.0:
        records.log.add(
            "caution",
            f"Neither [calendar] bench_hours_per_week nor any ticket tells what the bench{name} "
            "gets done in a week.",
            rule="bench_unknown",
            table="plant.toml",
            consequence="Its rebuilds stand on the day that each is due, however many that are.",
            remedy="Write [calendar] bench_hours_per_week in plant.toml.",
        )
        return np.inf
    spread = hours.fillna(hours.median()).to_numpy(float)
    week = ((to_day(records.plant.records_to) - mine["day"].to_numpy(float)) // 7.0).astype(int)
    done = np.bincount(np.maximum(week, 0), weights=spread)
    quarters = np.convolve(done, np.ones(min(QUARTER_WEEKS, done.size)), "valid")
    limit = float(quarters.max()) / min(QUARTER_WEEKS, done.size)
    records.log.add(
        "note",
        f"[calendar] bench_hours_per_week isn't given for the bench{name}: {limit:.3g} h a week "
        "stand in.",
        rule="bench_default",
        table="plant.toml",
        consequence="That is what it did in the busiest quarter of the records; rebuilds are "
        "spread over the weeks to fit in.",
        remedy="Write [calendar] bench_hours_per_week in plant.toml.",
    )
    return limit


def hours_saved(records: Records, lives: Lives, fluid: FloatArray, air: FloatArray) -> FloatArray:
    """Hours that renewing both sides of a pump in one opening saves [h], 0 where nothing tells.

    Parameters
    ----------
    records : Records
    lives : Lives
    fluid, air : float array (pumps,)
        Hours of each side by itself [h].
    """
    both = records.plant.work("together")["planned_labour_h"]
    if not np.isfinite(both):
        visits = lives.visits[lives.visits["whole"].astype(bool) & ~lives.visits["breakdown"]]
        sides = visits.groupby("visit").agg(count=("side", "nunique"), hours=("labour_h", "first"))
        told = sides.loc[sides["count"] == 2, "hours"].dropna()
        both = float(told.median()) if len(told) >= LEAST_TICKETS else np.inf
    return np.asarray(np.maximum(fluid + air - np.maximum(both, np.maximum(fluid, air)), 0.0))
