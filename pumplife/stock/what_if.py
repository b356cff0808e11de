"""Levels and budget at other terms than the plant's, from the futures simulated already."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd

from pumplife.errors import RecordError
from pumplife.records.plant import Plant
from pumplife.stock.asked import Key, count_futures
from pumplife.stock.assess import stock_row
from pumplife.stock.budget import Budget
from pumplife.stock.curves import RiskCurve
from pumplife.stock.held import Held, find_today
from pumplife.stock.lead_worth import count_sooner
from pumplife.stock.outcome import MONEY_PARTS, SHARES, Outcome
from pumplife.stock.reserve import NO_RESERVE
from pumplife.stock.spent import EVERYWHERE


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TriedItem:
    """One item in one store at other terms.

    Attributes
    ----------
    row : dict
        As of the stock table.
    curve : RiskCurve
        Shortage against the reorder point.
    """

    row: dict[str, Any]
    curve: RiskCurve

    def __repr__(self) -> str:
        """Name the item and its level."""
        return f"<TriedItem: {self.curve!r}>"


def try_item(
    held: Held,
    key: Key,
    *,
    lead_time: float | None = None,
    service_level: float | None = None,
    waiting_per_day: float | None = None,
    unit_cost: float | None = None,
) -> TriedItem:
    """Choose the level of one item at other terms, on the study's own futures.

    The rebuild intervals, and with them the demand, stay as they are; storage life too.

    Parameters
    ----------
    held : Held
        Of the stock plan.
    key : (store, item)
    lead_time : float, optional
        Usual lead time [days]; the high one keeps its ratio to it.
    service_level : float, optional
        Share of unplanned demands to be met at once [-]; it then decides, whatever the costs.
    waiting_per_day : float, optional
        One pump waiting for one day [money / day].
    unit_cost : float, optional
        [money]

    Returns
    -------
    TriedItem
        The study's own row and curve where nothing is changed.

    Raises
    ------
    RecordError
        If nothing was simulated for the item, or the futures are too short for the lead time.
    """
    if key not in held.futures.keys:
        raise RecordError(f"No demand was simulated for {key[1]} at {key[0]}.")
    item = held.store.items[key[1]]
    factor = 1.0 if lead_time is None else lead_time / item.lead_time_days
    item = replace(
        item,
        lead_time_days=factor * item.lead_time_days,
        lead_time_high=factor * item.lead_time_high,
        unit_cost=item.unit_cost if unit_cost is None else unit_cost,
    )
    plant = _change_plant(held.plant, service_level, waiting_per_day)
    mine = held.futures.of_one(key, lead_factor=factor)
    (demand,) = count_futures(mine, coming=held.store.coming)
    (sooner,) = count_sooner(mine, [demand])
    row, curve = stock_row(
        demand,
        item,
        plant,
        find_today(held.store, demand, item, plant),
        reserve=held.store.reserves.get(key, NO_RESERVE),
        ageing=held.ageing[key],
        sooner=sooner,
    )
    return TriedItem(row=row, curve=curve)


def _change_plant(
    plant: Plant, service_level: float | None, waiting_per_day: float | None
) -> Plant:
    """The plant with another target or cost of waiting."""
    raw = dict(plant.raw)
    if service_level is not None:
        raw["targets"] = {**raw.get("targets", {}), "service_level": service_level}
    if waiting_per_day is not None:
        raw["costs"] = {**raw.get("costs", {}), "waiting_per_day": waiting_per_day}
    return replace(plant, raw=raw)


def try_prices(budget: Budget, factors: dict[str, float]) -> pd.DataFrame:
    """The money of the budget, all sites, with what it pays times a factor each.

    Within one simulated future money is a sum of what it pays, so that factors are exact; the
    ways of working, and what happens in each future, stay as they are.

    Parameters
    ----------
    budget : Budget
    factors : dict of str to float
        By name of `MONEY_PARTS`: material (kits and parts), labour, downtime, consequences
        (call-out, clean-up); 1 where left out.

    Returns
    -------
    DataFrame
        Rows of the budget table: quantity money, site all, every scenario and year.

    Raises
    ------
    RecordError
        If a factor has another name.
    """
    unknown = sorted(set(factors) - set(MONEY_PARTS))
    if unknown:
        raise RecordError(f"{', '.join(unknown)}: not among {', '.join(MONEY_PARTS)}.")
    table = budget.table
    mine = (table["quantity"] == "money") & (table["site"] == EVERYWHERE)
    rows = [
        _price(table[mine & (table["scenario"] == name)], outcome, factors)
        for name, outcome in budget.outcomes.items()
    ]
    return pd.concat(rows, ignore_index=True) if rows else table.head(0)


def _price(rows: pd.DataFrame, outcome: Outcome, factors: dict[str, float]) -> pd.DataFrame:
    """The rows of one scenario, one per year in order, with their money anew."""
    money = sum(factors.get(name, 1.0) * outcome.of(name) for name in MONEY_PARTS)
    p50, p80, p90 = np.quantile(money, SHARES, axis=1)
    return rows.assign(p50=p50, p80=p80, p90=p90, mean=np.mean(money, axis=1))
