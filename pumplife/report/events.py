"""From the records of a study to what the figures of tickets and breakdowns draw."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from pumplife.lives.trend import MeanCumulative, mean_cumulative_function

if TYPE_CHECKING:
    from pumplife.records.duty import Duty
    from pumplife.records.plant import Plant

DAYS_PER_YEAR = 365.25
KINDS = ("ticket", "finding", "position")
STATUSES = ("used", "used with an assumption", "set aside")


def count_account(account: pd.DataFrame) -> pd.DataFrame:
    """Count what was used as written, with an assumption, or set aside, per kind of record.

    Parameters
    ----------
    account : DataFrame
        The output table.

    Returns
    -------
    DataFrame
        kind (ticket / finding / position), status, count [rows of the source, or stretches of
        part positions], share of its kind [0 to 1]; every kind of which anything was received.
    """
    if account.empty:
        return pd.DataFrame(columns=["kind", "status", "count", "share"])
    kinds = [kind for kind in KINDS if kind in set(account["kind"])]
    every = pd.MultiIndex.from_product([kinds, STATUSES], names=["kind", "status"])
    count = account.groupby(["kind", "status"])["count"].sum().reindex(every, fill_value=0)
    share = count / count.groupby("kind").transform("sum").clip(lower=1)
    return pd.DataFrame({"count": count.astype(int), "share": share}).reset_index()


def breakdowns_by_service(
    plant: Plant, duty: Duty, visits: pd.DataFrame, *, most: int = 6
) -> dict[str, MeanCumulative]:
    """Follow the breakdowns per pump in each service over the window of the records.

    A pump counts in a service while it stands there, so a pump that moved counts in two.

    Parameters
    ----------
    plant : Plant
        For the window.
    duty : Duty
        Where every pump stood.
    visits : DataFrame
        One row per ticket and side, with pump, day, rebuild_id, breakdown.
    most : int
        Services at most, those with most breakdowns.

    Returns
    -------
    dict of service to MeanCumulative
        Time in years since the records start.
    """
    stints = _stints_in_window(plant, duty)
    down = visits[visits["breakdown"].astype(bool)].drop_duplicates(["rebuild_id", "pump"])
    place = duty.worked_at(down["pump"].to_numpy(), down["day"].to_numpy(dtype=float))
    first = plant.window()[0]
    years = (down["day"].to_numpy(dtype=float) - first) / DAYS_PER_YEAR
    services = stints["service"].reindex(place).to_numpy(dtype=object)
    ranked = pd.Series(services).value_counts().head(most).index
    found = {}
    for service in ranked:
        mine = stints[stints["service"] == service]
        number = pd.Series(np.arange(len(mine)), index=mine.index)
        system = number.reindex(place).to_numpy(dtype=float)
        start, end = mine["start"].to_numpy(dtype=float), mine["end"].to_numpy(dtype=float)
        known = np.isfinite(system)
        owner = system[known].astype(np.intp)
        inside = (years[known] > start[owner]) & (years[known] <= end[owner])
        found[str(service)] = mean_cumulative_function(
            owner[inside], years[known][inside], end, start
        )
    return found


def _stints_in_window(plant: Plant, duty: Duty) -> pd.DataFrame:
    """Give the stints in service with start and end within the window [years since its start]."""
    stints = duty.stints
    pump = stints["pump"].to_numpy()
    first, last = plant.window()
    start = np.fmax(
        np.fmax(stints["from_day"].to_numpy(dtype=float), duty.commissioned[pump]), first
    )
    end = np.fmin(
        np.fmin(stints["to_day"].to_numpy(dtype=float), duty.retired[pump] + 1.0), last + 1.0
    )
    kept = stints["in_service"].to_numpy(dtype=bool) & (end > start)
    years = stints.assign(start=(start - first) / DAYS_PER_YEAR, end=(end - first) / DAYS_PER_YEAR)
    return years.loc[kept, ["service", "start", "end"]]
