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


def count_tickets(audit: pd.DataFrame) -> pd.DataFrame:
    """Count the ticket rows that were used as written, with an assumption, or set aside.

    Parameters
    ----------
    audit : DataFrame
        The output table, with its account of every ticket.

    Returns
    -------
    DataFrame
        what, tickets [rows of the rebuilds table].
    """
    mine = audit[audit["table"] == "rebuilds"]
    story = mine.loc[mine["rule"] == "ticket_account", "consequence"]
    aside = mine["consequence"].isin(["The row is set aside.", "Ticket set aside."])
    counts = {
        "used as written": int(story.eq("Used.").sum()),
        "used with an assumption": int(story.eq("Used with an assumption.").sum()),
        "set aside": len(mine.loc[aside, ["row"]].drop_duplicates()),
    }
    return pd.DataFrame({"what": list(counts), "tickets": list(counts.values())})


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
    place = duty.at(down["pump"].to_numpy(), down["day"].to_numpy(dtype=float))
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
