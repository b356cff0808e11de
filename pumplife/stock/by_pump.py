"""Next year's budget service by service and pump by pump."""

import numpy as np
import pandas as pd

from pumplife.records.read import Records
from pumplife.stock.budget import Budget
from pumplife.stock.outcome import PUMP_SUMS

SERVICE_COLUMNS = (
    "service", "scenario", "pumps", "kits", "breakdowns", "mean", "p80", "from_on", "to_on",
)  # fmt: skip
PUMP_COLUMNS = (
    "pump_id", "site", "service", "scenario", "kits", "breakdowns", "mean", "p80", "from_on",
    "to_on",
)  # fmt: skip


def split_budget(records: Records, budget: Budget) -> dict[str, pd.DataFrame]:
    """The first whole year under the way that the plant follows, by service and by pump.

    Parameters
    ----------
    records : Records
    budget : Budget

    Returns
    -------
    dict of DataFrame
        budget_services and budget_pumps, dearest first: means of kits, breakdowns and money, and
        P80 of money. P80s don't add up; means do.
    """
    if budget.setting is None:
        return {
            "budget_services": pd.DataFrame(columns=list(SERVICE_COLUMNS)),
            "budget_pumps": pd.DataFrame(columns=list(PUMP_COLUMNS)),
        }
    outcome = budget.outcomes[budget.follows]
    pumps = outcome.pumps
    names, service = np.unique(pumps["service"].to_numpy(str), return_inverse=True)
    sums = np.zeros((names.size, *outcome.by_pump.shape[1:]))
    np.add.at(sums, service, outcome.by_pump)
    by_service = pd.DataFrame({"service": names, "pumps": np.bincount(service)})
    by_pump = pd.DataFrame(
        {
            "pump_id": records.pumps["pump_id"].to_numpy(object)[pumps["pump"]],
            "site": pumps["site"],
            "service": pumps["service"],
        }
    )
    return {
        "budget_services": _finish(by_service, sums, budget, SERVICE_COLUMNS),
        "budget_pumps": _finish(by_pump, outcome.by_pump, budget, PUMP_COLUMNS),
    }


def _finish(
    table: pd.DataFrame,
    sums: np.ndarray[tuple[int, ...], np.dtype[np.float64]],
    budget: Budget,
    columns: tuple[str, ...],
) -> pd.DataFrame:
    assert budget.setting is not None
    years = budget.setting.years
    mean = dict(zip(PUMP_SUMS, sums.mean(axis=1).T, strict=True))
    table = table.assign(
        scenario=budget.follows,
        kits=mean["kits"],
        breakdowns=mean["breakdowns"],
        mean=mean["money"],
        p80=np.quantile(sums[..., PUMP_SUMS.index("money")], 0.80, axis=1),
        from_on=years.from_on[years.first],
        to_on=years.to_on[years.first],
    )
    key = columns[0]
    order = table.sort_values(["mean", key], ascending=[False, True], kind="stable")
    return order[list(columns)].reset_index(drop=True)
