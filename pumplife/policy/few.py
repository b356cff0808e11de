"""Few intervals for the whole plant: the round values that cost least in all."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import coo_array, csr_array

from pumplife.errors import PumplifeError
from pumplife.policy.cycles import expected_rate, planned_money
from pumplife.policy.decide import Decision
from pumplife.policy.groups import SideGroup
from pumplife.policy.pump import FloatArray
from pumplife.policy.rounding import TOLERANCE, round_values
from pumplife.policy.simulate import IntArray

MOST_VALUES = 8
CLOSE_ENOUGH = 0.02  # as many values as come this close to each its own interval
DEAR = 1e3  # stands for a value that a group can't take, in units of the whole plant's cost
FEW_COLUMNS = ("values_count", "values", "cost", "extra_per_year", "share", "chosen")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FewChoice:
    """The best values of one number of values.

    Attributes
    ----------
    values : float array (values,)
        Rising [usage].
    taken : float array (groups,)
        Value of each group [usage]; inf means run to failure.
    cost : float
        Of all groups [money / year].
    """

    values: FloatArray
    taken: FloatArray
    cost: float

    def __repr__(self) -> str:
        """List the values."""
        return f"<FewChoice: {', '.join(f'{value:g}' for value in self.values)}>"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FewIntervals:
    """Few intervals for all groups.

    Attributes
    ----------
    table : DataFrame
        One row per number of values, see `FEW_COLUMNS`.
    taken : float array (groups,)
        The value that each group takes with the chosen number [usage]; inf means run to failure,
        NaN that the group has no advice.
    cost : float array (groups,)
        What that costs a group more a year than its own interval [money / year].
    """

    table: pd.DataFrame
    taken: FloatArray
    cost: FloatArray

    def __repr__(self) -> str:
        """Count the rows."""
        return f"<FewIntervals: {len(self.table)} numbers of values>"


def choose_few(
    groups: tuple[SideGroup, ...], decisions: tuple[Decision | None, ...]
) -> FewIntervals:
    """The round values, from one up to eight, of least expected cost over all groups.

    Fluid and air sides share the values.  No group goes beyond a limit of its own.  Running to
    failure needs no value: a group that is advised to stays there, and any other without a limit
    may go there where that costs less than the values at hand.

    Parameters
    ----------
    groups : tuple of SideGroup
    decisions : tuple of Decision or None

    Returns
    -------
    FewIntervals
        The number chosen is the least that costs at most 2 % more than each group's own
        interval, else the largest tried.
    """
    blank = np.full(len(groups), np.nan)
    known = [row for row, decision in enumerate(decisions) if decision is not None]
    own = np.array([_own_cost(groups[row], decisions[row]) for row in known])
    planned = [row for row in known if np.isfinite(_decision(decisions, row).interval)]
    taken, extra = blank.copy(), blank.copy()
    taken[known], extra[known] = np.inf, 0.0
    if not planned:
        return FewIntervals(table=pd.DataFrame(columns=list(FEW_COLUMNS)), taken=taken, cost=extra)
    values, cost, never = _curves(groups, decisions, planned)
    choices = best_few(values, cost, never)
    table = _table(choices, float(own.sum()), float(own[np.isin(known, planned)].sum()))
    chosen = choices[int(np.flatnonzero(table["chosen"] == "yes")[0])]
    taken[planned] = chosen.taken
    place = np.searchsorted(values, np.minimum(chosen.taken, values[-1]))
    at = cost[np.arange(len(planned)), place]
    extra[planned] = np.where(np.isinf(chosen.taken), never, at) - own[np.isin(known, planned)]
    return FewIntervals(table=table, taken=taken, cost=extra)


def _decision(decisions: tuple[Decision | None, ...], row: int) -> Decision:
    decision = decisions[row]
    assert decision is not None, "asked only of groups with a decision"
    return decision


def _own_cost(group: SideGroup, decision: Decision | None) -> float:
    """Cost of a group's own advice [money / year]."""
    assert decision is not None, "asked only of groups with a decision"
    return float(group.usage_per_year.sum()) * planned_money(decision)


def _curves(
    groups: tuple[SideGroup, ...], decisions: tuple[Decision | None, ...], planned: list[int]
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Round values, the cost of each at each group, and of running to failure [money / year].

    Values reach from below the strictest limit to the longest interval; inf where a limit
    forbids.
    """
    chosen = [_decision(decisions, row) for row in planned]
    own = np.array([decision.interval for decision in chosen])
    low = 0.5 * own.min()
    values = round_values(low, 1.1 * own.max())
    cost, never = np.empty((len(planned), values.size)), np.empty(len(planned))
    for place, (row, decision) in enumerate(zip(planned, chosen, strict=True)):
        usage = float(groups[row].usage_per_year.sum())
        limit = decision.limit
        rates = expected_rate(decision, values)
        cost[place] = np.where(values <= limit * TOLERANCE, usage * rates, np.inf)
        free = usage * float(decision.run_to_failure.money.mean())
        never[place] = np.inf if np.isfinite(limit) else free
    return values, cost, never


def best_few(
    values: FloatArray, cost: FloatArray, never: FloatArray, *, most: int = MOST_VALUES
) -> list[FewChoice]:
    """The best one, two, ... values: a p-median problem, solved exactly.

    Parameters
    ----------
    values : float array (values,)
        Rising [usage].
    cost : float array (groups, values)
        [money / year]; inf where a group can't take a value.
    never : float array (groups,)
        Cost of running to failure, which needs no value; inf where it isn't allowed.
    most : int
        Largest number of values.

    Returns
    -------
    list of FewChoice
        For 1, 2, ... values; it ends where a further value gains nothing.

    References
    ----------
    The formulation is that of C. ReVelle & R. Swain, Central facilities location (1970), from
    memory; solved by branch and cut.
    """
    choices: list[FewChoice] = []
    for count in range(1, min(most, values.size) + 1):
        choice = _solve(values, cost, never, count)
        if choices and choice.cost >= choices[-1].cost * (1.0 - 1e-9):
            break
        choices.append(choice)
    return choices


def _solve(values: FloatArray, cost: FloatArray, never: FloatArray, count: int) -> FewChoice:
    """The best `count` values."""
    groups, candidates = cost.shape
    every = np.concatenate([cost, never[:, None]], axis=1)
    unit = np.maximum(np.min(every, axis=1).sum(), 1e-300)
    objective = np.where(np.isfinite(every), every / unit, DEAR).ravel()
    found = milp(
        np.concatenate([objective, np.zeros(candidates)]),
        constraints=_constraints(groups, candidates, count),
        integrality=np.concatenate([np.zeros(objective.size), np.ones(candidates)]),
        bounds=Bounds(0.0, 1.0),
        options={"mip_rel_gap": 0.0},
    )
    if found.x is None:
        raise PumplifeError(
            f"No choice of {count} intervals for all groups was found: {found.message} This is an "
            "error of the program; please report it with the folder of records."
        )
    used = np.flatnonzero(found.x[objective.size :] > 0.5)
    open_cost = np.concatenate([cost[:, used], never[:, None]], axis=1)
    pick = np.argmin(open_cost, axis=1)
    taken = np.append(values[used], np.inf)[pick]
    total = float(open_cost[np.arange(groups), pick].sum())
    needed: IntArray = np.flatnonzero(np.isin(values, taken))
    return FewChoice(values=values[needed], taken=taken, cost=total)


def _constraints(groups: int, candidates: int, count: int) -> list[LinearConstraint]:
    """Each group takes one way; a value taken is open; so many are open."""
    width = candidates + 1
    takes = groups * width
    group = np.repeat(np.arange(groups), width)
    one = csr_array((np.ones(takes), (group, np.arange(takes))), shape=(groups, takes + candidates))
    pair = np.arange(groups * candidates)
    take = pair // candidates * width + pair % candidates
    ones = np.ones(pair.size)
    opened = coo_array(
        (
            np.concatenate([ones, -ones]),
            (np.tile(pair, 2), np.concatenate([take, takes + pair % candidates])),
        ),
        shape=(pair.size, takes + candidates),
    ).tocsr()
    number = np.concatenate([np.zeros(takes), np.ones(candidates)])[None, :]
    return [
        LinearConstraint(one, 1.0, 1.0),
        LinearConstraint(opened, -np.inf, 0.0),
        LinearConstraint(number, 0.0, count),
    ]


def _table(choices: list[FewChoice], own: float, planned: float) -> pd.DataFrame:
    """One row per number of values; groups that run to failure anyhow count in the cost."""
    cost = np.array([choice.cost for choice in choices]) + own - planned
    near = np.flatnonzero(cost <= (1.0 + CLOSE_ENOUGH) * own)
    chosen = near[0] if near.size else len(choices) - 1
    return pd.DataFrame(
        {
            "values_count": np.arange(1, len(choices) + 1),
            "values": ["; ".join(f"{value:,.6g}" for value in one.values) for one in choices],
            "cost": cost,
            "extra_per_year": cost - own,
            "share": cost / own - 1.0,
            "chosen": np.where(np.arange(len(choices)) == chosen, "yes", ""),
        }
    )
