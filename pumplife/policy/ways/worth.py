"""Ways of working that would save more than the advice, but that orders and due don't follow."""

from __future__ import annotations

import numpy as np
import pandas as pd

from pumplife.policy.decide import FAILED_PART, PLANNED, RUN_TO_FAILURE, Decision
from pumplife.policy.groups import SideGroup
from pumplife.policy.ways.alone import ADOPTED, TODAY, Withheld
from pumplife.policy.ways.outcome import SIMULATED, Outcome
from pumplife.records.plant import Plant

FOLLOWED = (PLANNED, RUN_TO_FAILURE, FAILED_PART, TODAY, ADOPTED)
LEAST_SAVING = 0.02  # of the cost under the advice
LEAST_SURE = 0.9
NEARLY_CERTAIN = 0.99
ERRORS = 3.0  # a simulated saving must be so many of its standard errors

Way = Outcome | Withheld


def saves(decision: Decision, way: Outcome) -> tuple[float, float]:
    """What a way saves against the advice [money / usage unit], and how likely it does."""
    advised = decision.advised.money
    saving = advised[:: advised.size // way.costs.money.size] - way.costs.money
    return float(saving.mean()), float(np.mean(saving > 0.0))


def is_worth_a_look(decision: Decision, way: Way) -> bool:
    """Whether it clearly saves, keeps the limits, and isn't among what the advice chose from."""
    if isinstance(way, Withheld) or way.policy in FOLLOWED:
        return False
    saving, sure = saves(decision, way)
    enough = saving >= LEAST_SAVING * decision.advised.money.mean() and sure >= LEAST_SURE
    told = way.how != SIMULATED or saving >= ERRORS * way.error
    return enough and told and way.longest <= decision.limit * (1.0 + 1e-9)


def add_looks(
    intervals: pd.DataFrame,
    groups: tuple[SideGroup, ...],
    decisions: tuple[Decision | None, ...],
    ways: tuple[tuple[Way, ...], ...],
    plant: Plant,
) -> pd.DataFrame:
    """The intervals table with what is worth a look at the end of each verdict."""
    looks = [say_worth_a_look(*one, plant) for one in zip(groups, decisions, ways, strict=True)]
    verdicts = intervals["verdict"].astype(object) + " " + pd.Series(looks, dtype=object)
    return intervals.assign(verdict=verdicts.str.strip())


def say_worth_a_look(
    group: SideGroup, decision: Decision | None, ways: tuple[Way, ...], plant: Plant
) -> str:
    """A sentence on the way that would save most; "" where none does.

    Parameters
    ----------
    group : SideGroup
    decision : Decision or None
    ways : tuple of Outcome or Withheld
    plant : Plant
        Gives currency and usage unit.
    """
    if decision is None:
        return ""
    found = [way for way in ways if isinstance(way, Outcome) and is_worth_a_look(decision, way)]
    if not found:
        return ""
    best = max(found, key=lambda way: saves(decision, way)[0])
    saving, sure = saves(decision, best)
    money = saving * float(group.usage_per_year.sum())
    words = "nearly certain" if sure > NEARLY_CERTAIN else f"{100.0 * sure:.0f} % sure"
    return (
        f"Worth a look: {best.policy}{_setting_words(best, plant.usage_unit)} would save about "
        f"{money:,.0f} {plant.currency} a year more ({words}); "
        "due list, orders and budget don't follow it."
    )


def _setting_words(way: Outcome, unit: str) -> str:
    """The settings that it saves with, as table `policies` has them."""
    told = (
        (way.interval, f"every {way.interval:,.0f} {unit}"),
        (way.block_weeks, f"every {way.block_weeks:,.0f} weeks"),
        (way.renew_older, f"parts older than {way.renew_older:,.0f} {unit}"),
        (way.every, f"n = {way.every:.0f}"),
    )
    words = [text for setting, text in told if np.isfinite(setting)]
    return f" ({', '.join(words)})" if words else ""
