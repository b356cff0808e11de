"""Pump groups of the small plant with lives in doubt, and what is advised for them."""

from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import numpy as np

from pumplife.policy.costs import SideCosts, WorkCost
from pumplife.policy.decide import Decision, decide_group
from pumplife.policy.groups import SideGroup, build_groups
from tests.plants import small_plant
from tests.policy.sides import slip_fits, study_parts


def doubtful(seed: int = 1, draws: int = 400, spread: float = 0.15, steep: float = 1.0) -> Any:
    """Fits of the small plant whose lives are known only so well; `steep` times the shapes."""
    rng = np.random.default_rng(seed)

    def about(middle: list[float]) -> Any:
        return np.array(middle)[:, None] * rng.lognormal(0.0, spread, (3, draws))

    return slip_fits(shape=steep * about([2.5, 2.6, 2.4]), scale=about([6000.0, 9000.0, 12000.0]))


@cache
def plain_parts() -> tuple[Any, Any, Any, Any]:
    """Records, duty, clock and lives of the small plant as it is, built once for all tests."""
    with TemporaryDirectory() as folder:
        return study_parts(small_plant(Path(folder)))


def small_group(folder: Path, fits: Any = None, **overrides: Any) -> SideGroup:
    parts = study_parts(small_plant(folder, **overrides)) if overrides else plain_parts()
    records, duty, clock, lives = parts
    fits = doubtful() if fits is None else fits
    (group,) = build_groups(records, duty, clock, lives, fits)
    return group


def decided(group: SideGroup) -> Decision:
    return decide_group(group, release_target=0.05)


def plain_costs(planned: float, failure: Any, part: Any = None) -> SideCosts:
    """Costs of so much money, all cash but one planned and four breakdown hours of downtime."""
    failure = np.asarray(failure, float)
    part = failure if part is None else np.asarray(part, float)
    none = np.zeros(failure.size)
    return SideCosts(
        planned=WorkCost(cash=np.array([planned]), labour_h=np.zeros(1), downtime_h=np.ones(1)),
        kit_failure=WorkCost(cash=failure, labour_h=none, downtime_h=none + 4.0),
        part_failure=WorkCost(cash=part, labour_h=none, downtime_h=none + 4.0),
        labour_per_h=0.0,
        downtime_per_h=0.0,
        pump_downtime=np.zeros(1),
        kit_price=planned,
        part_price=part,
        air_kit=0.0,
        call_out=0.0,
        spill=none,
        opening_fault=0.0,
        hours={
            "planned_labour_h": 0.0,
            "breakdown_labour_h": 0.0,
            "planned_downtime_h": 1.0,
            "breakdown_downtime_h": 4.0,
        },
        foul_share=0.0,
        fouling=WorkCost(cash=none, labour_h=none, downtime_h=none),
    )
