"""What the next years take: kits, hours, breakdowns and money, by site and practice.

Each scenario runs the same pumps forward from their ages of today, with what is planned for them.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pumplife.lives.build import Lives
from pumplife.policy.advice import Advice
from pumplife.policy.ahead import Outlook, UseAhead, look_ahead, open_outlook
from pumplife.policy.groups import SideGroup
from pumplife.records.read import Records
from pumplife.stock.amounts import AMOUNTS, EventAmounts, event_amounts
from pumplife.stock.future import (
    Practice,
    advised,
    advised_groups,
    as_today,
    count_replicates,
    follow,
    planned_at,
)
from pumplife.stock.loose import LoosePart, with_loose
from pumplife.stock.outcome import Outcome, Setting, run_way, summarise
from pumplife.stock.plans import coming_prices
from pumplife.stock.prices import PriceRise
from pumplife.stock.shocks import list_past_shocks
from pumplife.stock.spent import last_year
from pumplife.stock.years import BudgetYears, budget_years, plain_years

FloatArray = NDArray[np.float64]

BUDGET_COLUMNS = (
    "year", "site", "scenario", "quantity", "p50", "p80", "p90", "mean", "from_on", "to_on", "span",
)  # fmt: skip
_CELLS = 3_000_000  # position lives simulated at the start, all groups and futures
_LEAST, _MOST = 200, 2000  # futures


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Budget:
    """The years to come.

    Attributes
    ----------
    table : DataFrame
        Columns of `BUDGET_COLUMNS`; empty where the records withhold the budget.
    setting : Setting or None
        What was simulated; None where nothing was.
    ways : dict of str to list of Practice
        Each scenario's, by group.
    outcomes : dict of str to Outcome
    follows : str
        The scenario that the plant follows: adopted where it adopted something, else advised.
    """

    table: pd.DataFrame
    setting: Setting | None
    ways: dict[str, list[Practice]]
    outcomes: dict[str, Outcome]
    follows: str

    def __repr__(self) -> str:
        return f"Budget({', '.join(self.outcomes)})"


def plan_budget(
    records: Records,
    lives: Lives,
    advice: Advice,
    *,
    seed: int = 1,
    outlook: Outlook | None = None,
    loose: Sequence[Sequence[LoosePart]] = (),
) -> Budget:
    """Budget of the coming years under each way of working, beside the last twelve months.

    Scenarios: today (the practice that the tickets show), advised, adopted (where the plant has
    adopted intervals; advice elsewhere), run_to_failure (the kit at every failure), actual (year
    0, by the tickets). The two sides of a pump live apart: a fouled air side costs its kit and
    labour, but keeps its age. What is followed renews each side next on the day of the due list;
    sides past their interval are the backlog. Use follows `plan`, retirements and moves; new pumps
    join their group; prices follow what is announced and rise with each year after the first. Past
    shocks come again in all scenarios alike, each on all pumps that it struck. Money
    charges kits and parts when they are fitted: what is written off of today's stock isn't in it,
    see `complete_budget`.

    Parameters
    ----------
    records : Records
        Gives [budget], what a release takes, and what is planned.
    lives : Lives
        Its visits tell the last twelve months.
    advice : Advice
        With the pumps that are planned to come, see `join_coming`.
    seed : int
    outlook : Outlook, optional
        What is planned; read from the records when None.
    loose : sequence of sequences of LoosePart, optional
        What openings take beside the kit, by advised group.

    Returns
    -------
    Budget
    """
    outlook = open_outlook(records) if outlook is None else outlook
    groups = advised_groups(advice)
    follows = "advised" if np.isnan(advice.adopted).all() else "adopted"
    if "budget" in records.withheld or not groups:
        nothing = pd.DataFrame(columns=list(BUDGET_COLUMNS))
        return Budget(table=nothing, setting=None, ways={}, outcomes={}, follows=follows)
    setting = Setting(
        groups=groups,
        amounts=[
            with_loose(event_amounts(group, records.plant), parts, AMOUNTS.index("parts"))
            for group, parts in zip(groups, loose or [()] * len(groups), strict=True)
        ],
        ahead=[look_ahead(outlook, group) for group in groups],
        years=budget_years(records.plant),
        rise=price_rise(records),
        replicates=count_replicates(groups, cells=_CELLS, least=_LEAST, most=_MOST),
        seed=seed,
        shocks=list_past_shocks(records, lives, groups),
    )
    ways = _scenarios(advice, groups, follows)
    outcomes = {name: run_way(setting, way, pumps=name == follows) for name, way in ways.items()}
    told = last_year(records, lives, advice)
    rows = [summarise(outcome, setting.years, name) for name, outcome in outcomes.items()]
    return Budget(
        table=pd.concat([told, *rows], ignore_index=True)[list(BUDGET_COLUMNS)],
        setting=setting,
        ways=ways,
        outcomes=outcomes,
        follows=follows,
    )


def price_rise(records: Records) -> PriceRise:
    """The rise of prices by [budget], and the prices that are announced."""
    finance = records.plant.finance
    return PriceRise(kits=finance.kits, labour=finance.labour, steps=coming_prices(records))


def _scenarios(
    advice: Advice, groups: Sequence[SideGroup], follows: str
) -> dict[str, list[Practice]]:
    ways = {
        "today": [as_today(group) for group in groups],
        "advised": advised(advice),
        "adopted": follow(advice),
        "run_to_failure": [planned_at(np.inf)] * len(groups),
    }
    if follows != "adopted":
        del ways["adopted"]
    return ways


def simulate_budget(
    groups: Sequence[SideGroup],
    amounts: Sequence[EventAmounts],
    practices: dict[str, list[Practice]],
    *,
    replicates: int,
    seed: int,
    rise: PriceRise | None = None,
    years: BudgetYears | None = None,
    ahead: Sequence[UseAhead | None] = (),
) -> pd.DataFrame:
    """Budget of every scenario, year, site and quantity.

    Parameters
    ----------
    groups : sequence of SideGroup
    amounts : sequence of EventAmounts
        What the events of each group take.
    practices : dict of str to list of Practice
        Scenario to the way of working of each group.
    replicates : int
        Simulated futures.
    seed : int
        Scenarios share it, so that they differ by practice more than by luck.
    rise : PriceRise, optional
        Default: none.
    years : BudgetYears, optional
        Default: three twelve-month years after the records end.
    ahead : sequence of UseAhead, optional
        Use of each group's pumps; default: as today.

    Returns
    -------
    DataFrame
        Columns of `BUDGET_COLUMNS`; site "all" is the whole plant.
    """
    setting = Setting(
        groups=groups,
        amounts=amounts,
        ahead=ahead or [None] * len(groups),
        years=years or plain_years(),
        rise=rise or PriceRise(),
        replicates=replicates,
        seed=seed,
    )
    tables = [summarise(run_way(setting, way), setting.years, n) for n, way in practices.items()]
    return pd.concat(tables, ignore_index=True)[list(BUDGET_COLUMNS)]
