"""All groups of a past day added up, and what the past days come to in a sentence."""

from __future__ import annotations

from collections.abc import Hashable
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from pumplife.policy.decide import Decision
from pumplife.policy.groups import SideGroup
from pumplife.rewind.score import NORMAL_90, Realised, count_band, is_inside

YEAR_COLUMNS = (
    "as_of", "groups", "testable", "predicted_failures", "predicted_failures_low",
    "predicted_failures_high", "realised_failures", "failures_inside", "predicted_cost", "cost_low",
    "cost_high", "realised_cost", "realised_cost_low", "realised_cost_high", "cost_inside",
    "cost_unit",
)  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Scored:
    """One group's advice of a past day, and what came.

    Attributes
    ----------
    as_of : Timestamp
    group : SideGroup
    decision : Decision or None
        None where nothing could be advised.
    realised : Realised or None
    """

    as_of: pd.Timestamp
    group: SideGroup
    decision: Decision | None
    realised: Realised | None

    def __repr__(self) -> str:
        """Name day and group."""
        return f"<Scored: {self.as_of:%Y-%m-%d}, {self.group.title}>"


def add_up_years(scored: list[Scored], *, currency: str) -> pd.DataFrame:
    """One row per past day.

    Failures are those of all groups with advice; costs a year are those of the testable groups'
    pumps at the advised intervals.  Doubt adds up draw by draw, since groups share their lives'
    doubt; the errors of what later lives tell add up in squares.

    Parameters
    ----------
    scored : list of Scored
    currency : str

    Returns
    -------
    DataFrame
        `YEAR_COLUMNS`; costs in `cost_unit`, blank where no group is testable.
    """
    days = sorted({one.as_of for one in scored})
    rows = [_year([one for one in scored if one.as_of == day], currency) for day in days]
    return pd.DataFrame(rows, columns=list(YEAR_COLUMNS))


def _year(scored: list[Scored], currency: str) -> dict[str, Any]:
    """One past day."""
    pairs = [(one, one.realised) for one in scored if one.realised is not None]
    row: dict[str, Any] = {"as_of": scored[0].as_of, "groups": len(pairs), "testable": 0}
    row["cost_inside"] = row["failures_inside"] = ""
    if not pairs:
        return row
    expected = np.sum([realised.expected for _, realised in pairs], axis=0)
    low, high = count_band(expected)
    seen = sum(realised.failures for _, realised in pairs)
    row |= {
        "predicted_failures": float(expected.mean()),
        "predicted_failures_low": low,
        "predicted_failures_high": high,
        "realised_failures": seen,
        "failures_inside": "yes" if low <= np.round(seen) <= high else "no",
        "cost_unit": f"{currency} a year".strip(),
    }
    return row | _year_cost([(one, real) for one, real in pairs if real.why_not == ""])


def _year_cost(told: list[tuple[Scored, Realised]]) -> dict[str, Any]:
    """Costs a year of the groups that later lives tell of."""
    parts = [
        (float(one.group.usage_per_year.sum()), one.decision.advised.money, realised)
        for one, realised in told
        if one.decision is not None
    ]
    if not parts:
        return {}
    draws = np.sum([usage * money for usage, money, _ in parts], axis=0)
    costs = np.array([usage * realised.rate for usage, _, realised in parts])
    errors = np.array([realised.error for *_, realised in parts])
    total = float(costs.sum())
    error = float(np.sqrt(np.sum((costs * errors) ** 2)) / total)
    reach = float(np.exp(NORMAL_90 * error))
    low, high = np.quantile(draws, [0.05, 0.95])
    return {
        "testable": len(parts),
        "predicted_cost": float(draws.mean()),
        "cost_low": float(low),
        "cost_high": float(high),
        "realised_cost": total,
        "realised_cost_low": total / reach,
        "realised_cost_high": total * reach,
        "cost_inside": "yes" if is_inside(total, draws, error) else "no",
    }


def say_years(years: pd.DataFrame, rows: pd.DataFrame) -> str:
    """What the past days come to.

    Parameters
    ----------
    years, rows : DataFrame
        Of a rewind.
    """
    tested = years[years["cost_inside"].isin(["yes", "no"])]
    failures = years["failures_inside"].eq("yes").sum()
    words = (
        f"The failures seen since lay inside the 90 % band of the prediction in {failures} of "
        f"{_days(len(years))}."
    )
    if tested.empty:
        return f"The cost of past advice can't be tested yet: see why_not in rewind. {words}"
    inside = int(tested["cost_inside"].eq("yes").sum())
    groups, testable = len(rows), int(rows["testable"].eq("yes").sum())
    return (
        f"In {inside} of {_days(len(tested))} the advice's cost lay inside its 90 % band, as far "
        f"as later lives tell it ({testable} of {groups} pieces of advice can be tested). {words}"
    )


def say_year(year: dict[Hashable, Any]) -> str:
    """One past day in words: failures, and cost where later lives tell it.

    Parameters
    ----------
    year : dict
        A row of the years.
    """
    told = (
        f"{year['as_of']:%Y-%m-%d}: {year['predicted_failures']:,.0f} failures predicted for what "
        f"was run since ({year['predicted_failures_low']:,.0f} to "
        f"{year['predicted_failures_high']:,.0f}), {year['realised_failures']:,.0f} seen"
    )
    if year["cost_inside"] == "":
        return f"{told}; no advice of that day can be tested on cost."
    return (
        f"{told}; {year['testable']} of {year['groups']} pieces of advice testable, "
        f"{year['predicted_cost']:,.0f} {year['cost_unit']} predicted ({year['cost_low']:,.0f} to "
        f"{year['cost_high']:,.0f}), {year['realised_cost']:,.0f} by later lives."
    )


def _days(count: int) -> str:
    return f"{count} past year-end{'' if count == 1 else 's'}"
