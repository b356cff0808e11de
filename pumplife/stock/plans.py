"""Pumps that are planned to come, and prices that are planned to change."""

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pumplife.policy.advice import Advice
from pumplife.policy.ahead import Outlook
from pumplife.policy.groups import SideGroup
from pumplife.records.plant import to_day, to_days
from pumplife.records.read import Records

FloatArray = NDArray[np.float64]
KEYS = ("service", "size_mm", "side", "kit", "hazard")


def join_coming(records: Records, advice: Advice, outlook: Outlook) -> Advice:
    """The advice with the pumps in its groups that are planned to come.

    A new pump starts with new parts and runs by its use_per_week, else as its group's median pump.
    One that changes its service runs on at its own rate; how old its parts will be on that day
    isn't known, so that their ages are drawn from those that parts in such service have.

    Parameters
    ----------
    records : Records
        Its audit is told of pumps for which there is no group, and of rows of `plan` that name no
        service.
    advice : Advice
    outlook : Outlook

    Returns
    -------
    Advice
        Groups in the same order; the due list stays that of the pumps of today.
    """
    _say_unknown_services(records, advice, outlook)
    _say_begun(records)
    coming = _list_coming(records, outlook)
    if coming.empty:
        return advice
    rate = _rates(advice)
    groups, placed = [], pd.Series(False, index=coming.index)
    for group in advice.groups:
        same = _matches(coming, group)
        groups.append(_append(group, coming[same & ~coming["pump"].isin(group.pumps)], rate))
        placed |= same
    _say_unplaced(records, coming[~placed])
    return replace(advice, groups=tuple(groups))


def _list_coming(records: Records, outlook: Outlook) -> pd.DataFrame:
    """One row per side and duty that a pump takes up after the records: keys of its group."""
    columns = ["pump", "site", "store", "location", "service", "size_mm", "hazard"]
    pumps = records.pumps
    new = pumps[outlook.commissioned > 0.0]
    stints = outlook.stints
    moved = stints[stints["in_service"].astype(bool) & (stints["start"] > 0.0)]
    duty = pd.concat([new[columns], moved[columns]], ignore_index=True)
    duty = duty.drop_duplicates(["pump", "service"])
    own = pumps.iloc[duty["pump"]].reset_index(drop=True)
    duty = duty.reset_index(drop=True).assign(
        hazard=np.where(duty["hazard"] == "hazardous", "hazardous", "none"),
        store=duty["store"].where(duty["store"] != "", duty["site"]),
        new=outlook.commissioned[duty["pump"]] > 0.0,
        pump_id=own["pump_id"],
        use_per_week=own["use_per_week"],
    )
    sides = [
        duty.assign(side=side, kit=own[f"{side}_kit"], limit=own[f"max_{side}_interval"])
        for side in ("fluid", "air")
    ]
    both = pd.concat(sides, ignore_index=True)
    return both[~both["kit"].isin(["", "none"])].reset_index(drop=True)


def _matches(coming: pd.DataFrame, group: SideGroup) -> "pd.Series[bool]":
    same = pd.Series(True, index=coming.index)
    for name in KEYS:
        own = getattr(group, name)
        blank = isinstance(own, float) and np.isnan(own)
        same &= coming[name].isna() if blank else coming[name].eq(own)
    return same


def _rates(advice: Advice) -> dict[int, float]:
    """Usage a day of the pumps of today [usage / day]."""
    return {
        int(pump): float(rate)
        for group in advice.groups
        for pump, rate in zip(group.pumps, group.rate, strict=True)
    }


def _append(group: SideGroup, rows: pd.DataFrame, rates: dict[int, float]) -> SideGroup:
    """The group with these pumps after its own."""
    if rows.empty:
        return group
    count, places = len(rows), group.part_of.size
    new = rows["new"].to_numpy(bool)
    usual = float(np.nanmedian(group.rate)) if np.isfinite(group.rate).any() else np.nan
    rate = rows["pump"].map(rates).fillna(rows["use_per_week"] / 7.0).fillna(usual)
    added: dict[str, Any] = {
        "pumps": rows["pump"].to_numpy(np.int64),
        "site": rows["site"].to_numpy(object),
        "location": rows["location"].to_numpy(object),
        "store": rows["store"].to_numpy(object),
        "age": np.zeros((count, places)),
        "known": np.repeat(new[:, None], places, axis=1),
        "most": np.full((count, places), np.inf),
        "clock_age": np.zeros(count),
        "clock_day": np.full(count, np.nan),
        "clock_known": new,
        "rate": rate.to_numpy(float),
        "own_limit": rows["limit"].fillna(np.inf).to_numpy(float),
    }
    longer: dict[str, Any] = {
        name: np.concatenate([getattr(group, name), more]) for name, more in added.items()
    }
    if group.costs is not None:
        idle = np.full(count, group.costs.downtime_per_h)
        downtime = np.concatenate([group.costs.pump_downtime, idle])
        longer["costs"] = replace(group.costs, pump_downtime=downtime)
    return replace(group, **longer)


def _say_unplaced(records: Records, rows: pd.DataFrame) -> None:
    records.log.add_rows(
        rows[["pump_id"]],
        severity="caution",
        rule="coming_unpriced",
        table="pumps",
        what=[
            f"It is planned for {service} with kit {kit}, which no pump there carries today."
            for service, kit in zip(rows["service"], rows["kit"], strict=True)
        ],
        consequence="Its lives there aren't known: stock and budget leave that side out.",
        remedy="Plan for it by hand until it has run a year, or write a kit that is in use there.",
    )


def _say_unknown_services(records: Records, advice: Advice, outlook: Outlook) -> None:
    known = {group.service for group in advice.groups}
    plan = outlook.plan
    rows = plan[~plan["own"].astype(bool) & ~plan["service"].isin(known)]
    records.log.add_rows(
        rows[["file", "row"]],
        severity="caution",
        rule="plan_service_unknown",
        table="plan",
        what=[f"No pump runs in {name or 'no service'} today." for name in rows["service"]],
        consequence="The change of use has no effect.",
        remedy="Correct the name of the service, or name a pump.",
    )


def _say_begun(records: Records) -> None:
    plan = records.table("plan")
    rows = plan[plan["from_on"] <= records.plant.records_to]
    records.log.add_rows(
        rows[["file", "row"]],
        severity="note",
        rule="plan_begun",
        table="plan",
        what=[f"It began on {day:%Y-%m-%d}, within the records." for day in rows["from_on"]],
        consequence="It counts as in today's use already; use stays as it is today.",
        remedy="Where use changes again, add a row that begins after the records.",
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PriceSteps:
    """Prices to come of one item.

    Attributes
    ----------
    day : float array (steps,)
        From the end of the records, rising [days].
    price : float array (steps,)
        From that day on [money].
    """

    day: FloatArray
    price: FloatArray

    def __repr__(self) -> str:
        return f"PriceSteps({self.day.size} to come)"


NO_STEPS = PriceSteps(day=np.zeros(0), price=np.zeros(0))


def coming_prices(records: Records) -> dict[str, PriceSteps]:
    """Prices of kits and parts with a valid_from after the records, by item."""
    today = to_day(records.plant.records_to)
    found = {}
    for table, name in (("kits", "kit"), ("parts", "part_no")):
        rows = records.table(table)
        rows = rows[rows["plan"].astype(bool) & rows["unit_cost"].notna()]
        rows = rows.sort_values("valid_from", kind="stable")
        for item, own in rows.groupby(name, sort=True):
            found[str(item)] = PriceSteps(
                day=to_days(own["valid_from"]) - today - 1.0,
                price=own["unit_cost"].to_numpy(np.float64),
            )
    return found
