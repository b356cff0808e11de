"""What the audit says of limits and money once intervals are advised."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import numpy as np

from pumplife.policy.limits import ALONE
from pumplife.policy.own_limits import say_limits
from pumplife.records.read import Records

if TYPE_CHECKING:
    from pumplife.policy.decide import Decision
    from pumplife.policy.groups import SideGroup


def say_money(
    records: Records, groups: tuple[SideGroup, ...], decisions: tuple[Decision | None, ...]
) -> None:
    """Name limits that differ or can't bind, and planned work no cheaper than a breakdown."""
    decided = [
        (group, decision)
        for group, decision in zip(groups, decisions, strict=True)
        if decision is not None
    ]
    say_limits(records, [(group, _release_of(decision)) for group, decision in decided])
    for group, decision in decided:
        if planned_is_dearer(decision):
            _say_dearer(records, group, decision)


def planned_is_dearer(decision: Decision) -> bool:
    """Whether a planned rebuild costs as much as every breakdown, or more."""
    return bool(decision.costs.planned_money >= decision.costs.failure_money.max())


def money_words(row: Mapping[str, Any]) -> str:
    """What the verdict says of costs that tickets contradict and of pumps that differ."""
    words = ""
    if row["costs_differ"]:
        words += f" {row['costs_differ']} See the table costs."
    if row["pumps_apart"]:
        words += (
            " Downtime costs differ so much that one interval doesn't serve all its pumps; better "
            f"for {row['pumps_apart']}."
        )
    return words


def _release_of(decision: Decision) -> float:
    """The strictest limit on release that can be kept [usage]; inf where there is none."""
    names = {*ALONE, *ALONE.values()}
    limits = [value for name, value in decision.advice.limits.items() if name in names]
    return min((value for value in limits if value > 0.0), default=np.inf)


def _say_dearer(records: Records, group: SideGroup, decision: Decision) -> None:
    costs = decision.costs
    records.log.add(
        "caution",
        f"{group.title}: a planned rebuild costs {costs.planned_money:,.4g}, a breakdown at most "
        f"{costs.failure_money.max():,.4g}.",
        rule="planned_dearer",
        table="plant.toml",
        consequence="Planned work can't pay by cost; only a limit asks for it.",
        remedy="Check hours and prices in the table costs: a breakdown mostly takes more hours, a "
        "call-out and lost production.",
    )
