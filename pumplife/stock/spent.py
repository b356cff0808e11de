"""What the last twelve months took, by the tickets: the budget's first yardstick."""

import numpy as np
import pandas as pd

from pumplife.lives.build import Lives
from pumplife.policy.advice import Advice
from pumplife.policy.groups import DAYS_PER_YEAR
from pumplife.records.plant import to_day
from pumplife.records.read import Records
from pumplife.stock.items import list_items

EVERYWHERE = "all"
LAST_YEAR = 0  # the twelve months before the records end
_WRITTEN = 0.80  # hours, and money with them, are told where this share of the work has them


def last_year(records: Records, lives: Lives, advice: Advice) -> pd.DataFrame:
    """Rows of the scenario "actual": year 0, what the tickets of the last twelve months tell.

    Parameters
    ----------
    records : Records
        Its audit is told how much of the work carries hours.
    lives : Lives
        Its visits are counted.
    advice : Advice
        Its groups give each pump's cost of lost production.

    Returns
    -------
    DataFrame
        year, site, scenario, quantity and the same value in p50, p80, p90 and mean: kits, labour_h,
        downtime_h, breakdowns, and money at today's prices, in whole and by what it paid. Blank
        hours count as none; where more than a fifth of the work has blanks, those hours and the
        money are left out.
    """
    end = to_day(records.plant.records_to)
    visits = lives.visits[lives.visits["day"] > end - DAYS_PER_YEAR]
    if visits.empty:
        return pd.DataFrame()
    told = amounts_of_visits(records, visits, advice).drop(columns=_too_blank(records, visits))
    by_site = told.groupby(visits["site"]).sum()
    by_site.loc[EVERYWHERE] = told.sum()
    long = by_site.rename_axis("site").reset_index().melt("site", var_name="quantity")
    values = dict.fromkeys(("p50", "p80", "p90", "mean"), long["value"])
    last = records.plant.records_to.normalize()
    return long[["site", "quantity"]].assign(
        year=LAST_YEAR,
        scenario="actual",
        from_on=last - pd.Timedelta(days=int(DAYS_PER_YEAR) - 1),
        to_on=last,
        span="last 12 months",
        **values,
    )


def amounts_of_visits(records: Records, visits: pd.DataFrame, advice: Advice) -> pd.DataFrame:
    """Quantities per visit and side; a visit that touched both sides is one breakdown.

    money is material (kits), labour, downtime (lost production) and consequences (call-out,
    clean-up) together.
    """
    fitted = ~visits["kit"].isin(["", "none"])
    breakdown = visits["breakdown"].astype(bool)
    first = ~visits.duplicated(["pump", "rebuild_id", "day"])
    hours = visits[["labour_h", "downtime_h"]].fillna(0.0).clip(lower=0.0)
    price = {name: item.unit_cost for name, item in list_items(records).items()}
    plant = records.plant
    parts = {
        "material": visits["kit"].map(price).fillna(0.0) * fitted,
        "labour": hours["labour_h"] * float(np.nan_to_num(plant.cost("labour_per_h"))),
        "downtime": hours["downtime_h"] * _downtime_costs(visits, advice),
        "consequences": visits["other_cost"].fillna(0.0)
        + (breakdown & first) * float(np.nan_to_num(plant.cost("call_out"))),
    }
    return hours.assign(
        kits=fitted.astype(float),
        breakdowns=(breakdown & first).astype(float),
        money=sum(parts.values()),
        **parts,
    )


def _downtime_costs(visits: pd.DataFrame, advice: Advice) -> "pd.Series[float]":
    """Cost of an hour of lost production at each visit's pump, 0 where no group tells [money/h]."""
    by_pump = {
        int(pump): group.costs.downtime_per_h
        for group in advice.groups
        if group.costs is not None
        for pump in group.pumps
    }
    return visits["pump"].map(by_pump).fillna(0.0).astype(np.float64)


def _too_blank(records: Records, visits: pd.DataFrame) -> list[str]:
    """Quantities that too few tickets tell, noted in the audit."""
    written = visits[["labour_h", "downtime_h"]].notna().mean()
    blank = [str(name) for name, share in written.items() if share < _WRITTEN]
    left_out = [*blank, *(name.removesuffix("_h") for name in blank)]
    left_out += ["money"] if left_out else []
    records.log.add(
        "note",
        f"Of the last twelve months' work on pump sides, {100 * written['labour_h']:.0f} % has its "
        f"hours of labour written and {100 * written['downtime_h']:.0f} % its hours of downtime.",
        rule="actual_hours",
        table="rebuilds",
        consequence=f"The budget has no actual {', '.join(left_out)}."
        if left_out
        else "The budget's actual rows count blank hours as none.",
        remedy="Write labour_h and downtime_h on every ticket.",
    )
    return left_out
