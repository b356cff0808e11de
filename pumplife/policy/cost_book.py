"""Prices and hours of the whole plant, looked up once, with where each comes from."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from pumplife.lives.build import Lives
from pumplife.policy.pump import FloatArray
from pumplife.records.read import Records

SIDES = ("fluid", "air")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CostBook:
    """Prices and hours of the whole plant, looked up once.

    Attributes
    ----------
    kit_price, part_price : Series
        Price by kit and by part number, the latest valid at the end of the records [money].
    price_source : DataFrame
        Of each kit and part: source (file and row) and valid_from.
    work : dict
        Hours of planned and breakdown work by side: `planned_labour_h` and so on [h].
    work_source : dict
        Where each of these hours comes from, by side and name.
    labour_per_h : float
        [money / h]
    pump_downtime : float array (pumps,)
        Cost of an hour of lost production at each pump [money / h].
    downtime_source : object array (pumps,)
        Where it comes from.
    """

    kit_price: pd.Series[float]
    part_price: pd.Series[float]
    price_source: pd.DataFrame
    work: dict[str, dict[str, float]]
    work_source: dict[str, dict[str, str]]
    labour_per_h: float
    pump_downtime: FloatArray
    downtime_source: np.ndarray[tuple[int], np.dtype[np.object_]]

    def __repr__(self) -> str:
        """Count the prices."""
        return f"<CostBook: {self.kit_price.size} kits, {self.part_price.size} parts>"


def open_cost_book(records: Records, lives: Lives, today: pd.DataFrame) -> CostBook:
    """Look up prices and hours; what stands in for a missing figure is told in the audit.

    Parameters
    ----------
    records : Records
    lives : Lives
        Its visits give the hours where plant.toml has none.
    today : DataFrame
        Duty of each pump today: service, downtime_per_h, standby, running.
    """
    _given_or_zero(records, "call_out")
    services = today.loc[today["running"], "service"].unique()
    if any(np.isnan(records.plant.cost("spill", service)) for service in services):
        _given_or_zero(records, "spill")
    work = {side: _work_hours(records, lives, side) for side in SIDES}
    downtime, source = _downtime_costs(records, today)
    kits, parts = (
        _latest_prices(records, "kits", "kit"),
        _latest_prices(records, "parts", "part_no"),
    )
    return CostBook(
        kit_price=kits["unit_cost"],
        part_price=parts["unit_cost"],
        price_source=pd.concat([kits, parts])[["source", "valid_from"]],
        work={side: hours for side, (hours, _) in work.items()},
        work_source={side: source for side, (_, source) in work.items()},
        labour_per_h=_given_or_zero(records, "labour_per_h"),
        pump_downtime=downtime,
        downtime_source=source,
    )


def _latest_prices(records: Records, table: str, item: str) -> pd.DataFrame:
    """Price of each item by its latest row that is valid at the end of the records."""
    rows = records.table(table)
    valid = ~(rows["valid_from"] > records.plant.records_to) & rows["unit_cost"].notna()
    rows = rows[valid].sort_values("valid_from", kind="stable", na_position="first")
    rows = rows.drop_duplicates(item, keep="last").set_index(item)
    where = rows["file"].astype(str) + " row " + rows["row"].astype(str)
    instead = rows["price_from"] if "price_from" in rows else pd.Series("", index=rows.index)
    return pd.DataFrame(
        {
            "unit_cost": rows["unit_cost"].astype(float),
            "source": where.where(instead == "", instead + " (no price in " + where + ")"),
            "valid_from": rows["valid_from"],
        }
    )


def _given_or_zero(records: Records, name: str) -> float:
    """A cost of plant.toml; 0 with a caution where it isn't given."""
    value = records.plant.cost(name)
    if np.isfinite(value):
        return value
    records.log.add(
        "caution",
        f"[costs] {name} is not given.",
        rule="cost_missing",
        table="plant.toml",
        consequence="It counts as 0, and makes failures or work look cheaper than they are.",
        remedy=f"Write [costs] {name} in plant.toml.",
    )
    return 0.0


def _work_hours(
    records: Records, lives: Lives, side: str
) -> tuple[dict[str, float], dict[str, str]]:
    """Hours of planned and breakdown work on a side, and where each comes from.

    The medians of the tickets stand in for what plant.toml doesn't give.
    """
    given = records.plant.work(side)
    hours, source = dict(given), dict.fromkeys(given, f"plant.toml [work.{side}]")
    missing = [name for name, value in given.items() if not np.isfinite(value)]
    for name in missing:
        hours[name], source[name] = _median_hours(lives.visits, side, name)
    for name in ("planned_labour_h", "planned_downtime_h"):
        if not np.isfinite(hours[name]):
            other = name.replace("planned", "breakdown")
            hours[name], source[name] = hours[other], f"that of breakdowns: {source[other]}"
    if missing:
        _say_hours(records, side, {name: hours[name] for name in missing})
    known = {name: value for name, value in hours.items() if np.isfinite(value)}
    return dict.fromkeys(hours, 0.0) | known, source | {
        name: "assumed 0" for name in hours if name not in known
    }


def _say_hours(records: Records, side: str, hours: dict[str, float]) -> None:
    told = all(np.isfinite(value) for value in hours.values())
    records.log.add(
        "note" if told else "caution",
        f"[work.{side}] doesn't give {', '.join(hours)}.",
        rule="work_hours",
        table="plant.toml",
        consequence="The medians of the tickets stand in: "
        + ", ".join(f"{name} {np.nan_to_num(value):.3g}" for name, value in hours.items())
        + " (0 where no ticket tells).",
        remedy=f"Write the usual hours under [work.{side}] in plant.toml.",
    )


def _median_hours(visits: pd.DataFrame, side: str, name: str) -> tuple[float, str]:
    """Median of the tickets of one side and kind of work [h], NaN where none tells; its source."""
    kind, _, column = name.partition("_")
    rows = visits[(visits["side"] == side) & (visits["breakdown"] == (kind == "breakdown"))]
    hours = rows.loc[rows["renewed"].astype(bool), column].dropna()
    if hours.empty:
        return np.nan, ""
    return float(hours.median()), f"median of {len(hours)} tickets"


def _downtime_costs(
    records: Records, today: pd.DataFrame
) -> tuple[FloatArray, np.ndarray[tuple[int], np.dtype[np.object_]]]:
    """Cost of an hour of lost production at each pump, and where it comes from.

    0 where a standby takes over at once.
    """
    service, own, plant = today["service"], today["downtime_per_h"], records.plant
    by_service = {name: plant.cost("downtime_per_h", name) for name in service.unique()}
    named = set(plant.raw.get("costs", {}).get("service", {}))
    cost = own.fillna(service.map(by_service)).to_numpy(float)
    given = "plant.toml [costs] downtime_per_h"
    if np.isnan(cost).any():
        cost = np.where(np.isnan(cost), _given_or_zero(records, "downtime_per_h"), cost)
        given = "assumed 0"
    source = np.where(service.isin(named), 'plant.toml [costs.service."' + service + '"]', given)
    source = np.where(own.notna(), "downtime_per_h of the pump", source).astype(object)
    spared = (today["standby"] == "installed").to_numpy()
    if (spared & today["running"]).any():
        records.log.add(
            "note",
            f"{int((spared & today['running']).sum())} pumps have an installed standby.",
            rule="standby",
            table="pumps",
            consequence="Their downtime costs nothing, planned or not: the standby takes over.",
            remedy="Leave standby blank where production stops nevertheless.",
        )
    return np.where(spared, 0.0, cost), np.where(spared, "0: installed standby", source)
