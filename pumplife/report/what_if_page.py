"""What the page needs to answer "what if prices change" by itself: curves, not results."""

from __future__ import annotations

import base64
from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd

from pumplife.policy.decide import CLEARLY_CHEAPER
from pumplife.policy.doubt.price_curves import PRICES, PriceCurves
from pumplife.policy.groups import KEYS
from pumplife.policy.interval import WORTH_PLANNING
from pumplife.policy.intervals_table import RATE_UNITS
from pumplife.policy.near_best import NEAR_BEST
from pumplife.report.answer import advise_groups
from pumplife.report.evidence import order_by_stake
from pumplife.report.face import ReadableStudy, find_table, study_units

LEAST, MOST, STEP = 25, 400, 5  # of today's price, that the page offers [%]
SAID = {"title": "group", "kit": "kit", "anchor": "anchor"}
ITEMS = {  # of the table of costs that are one figure, and the price that each is
    "labour": "labour",
    "lost production": "lost production",
    "spill": "clean-up",
    "call-out": "call-out",
}


def lay_out_what_if(study: ReadableStudy) -> dict[str, Any]:
    """Give what the page computes from, groups with most money at stake first.

    Parameters
    ----------
    study : ReadableStudy
        Finished.

    Returns
    -------
    dict
        Ready for JSON; without groups where no interval is advised.
    """
    intervals, units = find_table(study, "intervals"), study_units(study)
    doubts = [] if study.advice is None else list(study.advice.doubts)
    words = advise_groups(study) if doubts else []
    figures = _figures(find_table(study, "costs"))
    groups = []
    for place in order_by_stake(intervals) if doubts else []:
        doubt, row = doubts[place], intervals.iloc[place]
        if doubt is not None:
            said = {name: getattr(words[place], key) for name, key in SAID.items()}
            known = {"figures": figures.get(_key(row), {})}
            groups.append(said | known | _now(row) | _curves(doubt.prices))
    return {
        "prices": list(PRICES),
        "percent": {"least": LEAST, "most": MOST, "step": STEP},
        "units": {"usage": units.usage, "currency": units.currency, "rate": units.rate},
        "factor": RATE_UNITS[study.records.plant.usage_unit][0],
        "worth": WORTH_PLANNING,
        "clearly": CLEARLY_CHEAPER,
        "near": NEAR_BEST,
        "groups": groups,
    }


def _key(row: Mapping[Any, Any] | pd.Series[Any]) -> tuple[str, ...]:
    return tuple("" if pd.isna(row[name]) else str(row[name]) for name in KEYS)


def _figures(costs: pd.DataFrame) -> dict[tuple[str, ...], dict[str, float]]:
    """Today's price of what has one in each group, by the name of the price."""
    found: dict[tuple[str, ...], dict[str, float]] = {}
    if costs.empty:
        return found
    for row in costs[costs["item"].isin(ITEMS)].to_dict("records"):
        found.setdefault(_key(row), {})[ITEMS[row["item"]]] = float(row["value"])
    return found


def _now(row: pd.Series[Any]) -> dict[str, Any]:
    """What is advised today."""
    return {
        "policy": str(row["policy"]),
        "interval": _end(row["interval"]),
        "usage": float(row["usage_per_year"]),
        "saving": float(row["saving_per_year"]),
    }


def _curves(prices: PriceCurves) -> dict[str, Any]:
    """Curves with every digit; money that no price ever pays is left out."""
    each = prices.never + prices.alone + prices.today + np.abs(prices.terms).sum(axis=(1, 2))
    paid = np.flatnonzero(each > 0.0)
    terms = np.ascontiguousarray(prices.terms[paid], dtype="<f8").tobytes()
    few = not np.isnan(prices.kept)
    return {
        "paid": paid.tolist(),
        "start": prices.start,
        "step": prices.step,
        "terms": base64.b64encode(terms).decode("ascii"),
        "never": prices.never.tolist(),
        "alone": prices.alone.tolist(),
        "today": prices.today.tolist(),
        "limit": _end(prices.limit),
        "atLimit": prices.at_limit.tolist(),
        "few": few,
        "kept": _end(prices.kept),
        "atKept": prices.at_kept.tolist(),
        "own": prices.own.tolist(),
        "ownShare": prices.own_share.tolist(),
        "atOwn": prices.at_own.tolist(),
        "byCost": prices.by_cost,
        "week": prices.week,
    }


def _end(value: float) -> float | None:
    """None, for JSON, where an interval has no end."""
    return float(value) if np.isfinite(value) else None
