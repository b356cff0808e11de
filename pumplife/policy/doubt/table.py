"""The doubt about every group: the tornado table, the flips, and what knowing is worth."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from pumplife.policy.decide import Decision
from pumplife.policy.doubt.knowing import (
    learn_first,
    price_actions,
    worth_of_knowing,
    worth_of_parts,
)
from pumplife.policy.doubt.price_curves import PriceCurves, lay_price_curves
from pumplife.policy.doubt.records import Fleet
from pumplife.policy.doubt.sample import say_worth, worth_of_records
from pumplife.policy.doubt.surface import CostSurface, lay_surface
from pumplife.policy.doubt.tornado import draw_tornado, flip_downtime
from pumplife.policy.groups import KEYS, SideGroup

TORNADO_COLUMNS = (
    *KEYS, "input", "input_unit", "value", "low", "high", "interval_low", "interval_high",
    "cost_rate_low", "cost_rate_high", "saving_low", "saving_high", "flips",
)  # fmt: skip
DOUBT_COLUMNS = (
    "knowing_better_per_year", "learn_first", "worth_of_half_year", "worth_of_half_year_error",
    "worth_of_half_year_told", "half_year_draws", "flip_downtime_per_h",
)  # fmt: skip
HALF_YEAR = 0.5


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Doubt:
    """What is not sure about one group.

    Attributes
    ----------
    surface : CostSurface
        Answers any question of cost.
    prices : PriceCurves
        The cost rate at any interval by the prices it is made of.
    row : dict
        Columns of the intervals table: knowing_better_per_year, worth_of_half_year,
        worth_of_half_year_error [money a year], worth_of_half_year_told (the two in words),
        half_year_draws, learn_first, flip_downtime_per_h [money / h].
    tornado : tuple of dict
        Rows of the tornado table, cost rates per usage unit.
    """

    surface: CostSurface
    prices: PriceCurves
    row: dict[str, Any]
    tornado: tuple[dict[str, Any], ...]

    def __repr__(self) -> str:
        """Count the inputs that matter."""
        return f"<Doubt: {len(self.tornado)} inputs>"


def weigh_doubt(group: SideGroup, decision: Decision, *, units: tuple[str, str]) -> Doubt:
    """How the advice for a group moves with its inputs, and what knowing more is worth.

    Parameters
    ----------
    group : SideGroup
    decision : Decision
        For that group.
    units : tuple of str
        Currency and usage unit.
    """
    known = decision.advice.known
    surface, at = lay_surface(
        group.life, limit=decision.limit, interval=decision.interval, known=known
    )
    costs, usage = decision.costs, float(group.usage_per_year.sum())
    actions = price_actions(at, group.lives, group.count, costs, surface.limit)
    sample = worth_of_records(
        group.lives, _half_year(group, decision), actions, np.random.default_rng(1)
    )
    row = {
        "knowing_better_per_year": usage * worth_of_knowing(actions),
        "learn_first": learn_first(*worth_of_parts(actions, group.lives), group.part),
        "worth_of_half_year": usage * sample.worth,
        "worth_of_half_year_error": usage * sample.error,
        "worth_of_half_year_told": say_worth(
            usage * sample.worth,
            usage * sample.error,
            units[0],
            limited=bool(np.isfinite(surface.limit)),
        ),
        "half_year_draws": sample.alike,
        "flip_downtime_per_h": flip_downtime(surface, costs),
    }
    rows = tuple(draw_tornado(group, decision, surface, units=units))
    prices = lay_price_curves(group, decision, known=known)
    return Doubt(surface=surface, prices=prices, row=row, tornado=rows)


def _half_year(group: SideGroup, decision: Decision) -> Fleet:
    """The group's pumps in the half-year to come, worked as they are from now on."""
    return Fleet(
        part_of=group.part_of,
        age=group.age,
        clock=group.clock_age,
        usage=HALF_YEAR * group.usage_per_year,
        interval=decision.followed_interval,
        whole_kit=decision.followed_kit_share > 0.0,
    )


def add_doubts(intervals: pd.DataFrame, doubts: Sequence[Doubt | None]) -> pd.DataFrame:
    """The intervals table with what is not sure; blank where a group has no advice."""
    rows = [{} if doubt is None else doubt.row for doubt in doubts]
    found = pd.DataFrame(rows, index=intervals.index).reindex(columns=list(DOUBT_COLUMNS))
    for name in ("learn_first", "worth_of_half_year_told"):
        found[name] = found[name].fillna("").astype(object)
    return intervals.assign(**found)


def tornado_table(
    groups: Sequence[SideGroup], doubts: Sequence[Doubt | None], factor: float
) -> pd.DataFrame:
    """One row per group and input that moves it, the strongest first within a group.

    Parameters
    ----------
    groups : sequence of SideGroup
    doubts : sequence of Doubt or None
    factor : float
        Usage units in one unit of the cost rates.

    Returns
    -------
    DataFrame
        `TORNADO_COLUMNS`; cost rates in money per thousand or million, as in `intervals`.
    """
    rows = [
        {name: getattr(group, name) for name in KEYS} | row
        for group, doubt in zip(groups, doubts, strict=True)
        if doubt is not None
        for row in sorted(doubt.tornado, key=_reach, reverse=True)
    ]
    table = pd.DataFrame(rows).reindex(columns=list(TORNADO_COLUMNS))
    table[["cost_rate_low", "cost_rate_high"]] *= factor
    return table


def _reach(row: dict[str, Any]) -> float:
    """How far an input moves the saving [money/year]."""
    return float(abs(row["saving_high"] - row["saving_low"]))
