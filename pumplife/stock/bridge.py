"""From what last year cost to what the next is expected to: one input changed at a time.

The order is stated, since an input that comes later acts on what the earlier ones have left.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pumplife.lives.build import Lives
from pumplife.policy.advice import Advice
from pumplife.policy.ahead import UseAhead
from pumplife.policy.groups import DAYS_PER_YEAR, SideGroup
from pumplife.records.plant import to_day
from pumplife.records.read import Records
from pumplife.records.usage import UsageClock
from pumplife.stock.budget import Budget
from pumplife.stock.outcome import Outcome, run_way
from pumplife.stock.spent import EVERYWHERE, amounts_of_visits

FloatArray = NDArray[np.float64]

BRIDGE_COLUMNS = ("site", "place", "cause", "amount", "level", "what", "scenario")
STEPS = (
    ("last year", "what the last twelve months cost by their tickets, at today's prices"),
    ("volume", "pump sides that are gone, or of which nothing is foretold"),
    ("life", "older or younger parts, last year's luck, and the doubt about lives: the model as "
             "worked today, at last year's use"),
    ("volume", "use and pumps as planned for the year"),
    ("price", "announced prices and the yearly rise"),
    ("policy", "working as the scenario has it instead of as today"),
    ("backlog", "sides past their interval today, renewed once"),
    ("next year", "expected in the first whole year of the budget"),
)  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LastYear:
    """What is known of the twelve months before the end of the records.

    Attributes
    ----------
    records : Records
    clock : UsageClock
    lives : Lives
    advice : Advice
    """

    records: Records
    clock: UsageClock
    lives: Lives
    advice: Advice

    def __repr__(self) -> str:
        return "LastYear()"


def build_bridge(known: LastYear, budget: Budget) -> pd.DataFrame:
    """The bridge from last year to next, for all sites and for each.

    Parameters
    ----------
    known : LastYear
    budget : Budget

    Returns
    -------
    DataFrame
        `BRIDGE_COLUMNS`, rows in the order of `STEPS`: amount [money] is the level of the first
        and last row and the change of those between, which add up exactly; level [money] is what
        is reached after each. Empty where the tickets don't tell last year's money.
    """
    actual = budget.table[
        (budget.table["scenario"] == "actual") & (budget.table["quantity"] == "money")
    ]
    if budget.setting is None or actual.empty:
        return pd.DataFrame(columns=list(BRIDGE_COLUMNS))
    began = actual.set_index("site")["mean"]
    gone = _not_foretold(known, budget.setting.groups)
    as_was = [use_as_was(known, group) for group in budget.setting.groups]
    past = run_way(replace(budget.setting, ahead=as_was), budget.ways["today"])
    today, followed = budget.outcomes["today"], budget.outcomes[budget.follows]
    first = budget.setting.years.first
    rows = []
    for site in (EVERYWHERE, *budget.setting.sites):
        mean = {
            name: _mean(outcome, which, site, first)
            for name, outcome, which in (
                ("past", past, "flat"), ("flat", today, "flat"), ("today", today, "money"),
                ("next", followed, "money"), ("backlog", followed, "backlog"),
            )
        }  # fmt: skip
        start = float(began.get(site, 0.0))
        levels = [
            start, start - gone.get(site, 0.0), mean["past"], mean["flat"], mean["today"],
            mean["next"] - mean["backlog"], mean["next"],
        ]  # fmt: skip
        rows.append(_rows(site, np.array(levels), budget.follows))
    return pd.concat(rows, ignore_index=True)[list(BRIDGE_COLUMNS)]


def _rows(site: str, levels: FloatArray, scenario: str) -> pd.DataFrame:
    return pd.DataFrame(
        {
            "site": site,
            "place": np.arange(len(STEPS)),
            "cause": [cause for cause, _ in STEPS],
            "amount": [levels[0], *np.diff(levels), levels[-1]],
            "level": [*levels, levels[-1]],
            "what": [what for _, what in STEPS],
            "scenario": scenario,
        }
    )


def _mean(outcome: Outcome, name: str, site: str, year: int) -> float:
    return float(outcome.of(name, site=site)[year].mean())


def use_as_was(known: LastYear, group: SideGroup) -> UseAhead:
    """Use of a group's pumps as in the last twelve months; those not yet there run none."""
    end = to_day(known.records.plant.records_to)
    day = np.full(group.pumps.size, end)
    run = known.clock.usage(group.pumps, day)
    run = run - known.clock.usage(group.pumps, day - DAYS_PER_YEAR)
    usual = group.rate * DAYS_PER_YEAR
    share = np.divide(run, usual, out=np.ones(run.size), where=usual > 0.0)
    return UseAhead(knots=np.zeros(1), share=np.where(np.isfinite(share), share, 1.0)[:, None])


def _not_foretold(known: LastYear, groups: Sequence[SideGroup]) -> dict[str, float]:
    """Money of last year's visits to sides that are in no group, by site and in all [money]."""
    visits = known.lives.visits
    end = to_day(known.records.plant.records_to)
    visits = visits[visits["day"] > end - DAYS_PER_YEAR]
    foretold = {(int(pump), group.side) for group in groups for pump in group.pumps}
    pairs = zip(visits["pump"], visits["side"], strict=True)
    left = np.array([pair not in foretold for pair in pairs], dtype=bool)
    money = amounts_of_visits(known.records, visits, known.advice)["money"][left]
    by_site = money.groupby(visits["site"][left]).sum()
    return {str(site): float(sum_) for site, sum_ in by_site.items()} | {
        EVERYWHERE: float(money.sum())
    }
