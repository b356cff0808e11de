"""What budget, cash and the shelf's value leave out for want of a price, said in the audit."""

import numpy as np
import pandas as pd

from pumplife.records.phrases import list_some
from pumplife.records.read import Records
from pumplife.stock.stock_plan import StockPlan

_MOST = 20  # items of the shelf that are named


def say_unpriced(records: Records, plan: StockPlan) -> None:
    """Name the parts that the budget has in it with no money, and items that its shelf leaves out.

    Parameters
    ----------
    records : Records
        Its audit is told.
    plan : StockPlan
        What openings take beside the kit, and the stock table.
    """
    stock = plan.stock
    loose = {
        part.part_no: part.part
        for parts in plan.loose
        for part in parts
        if not part.why and np.isnan(part.unit_cost)
    }
    if loose:
        asked = stock.set_index("item")[["demand_per_year", "planned_per_year"]].sum(axis=1)
        words = [
            f"{part} {name} (about {asked[asked.index == name].sum():.0f} a year)"
            for name, part in sorted(loose.items())
        ]
        records.log.add(
            "caution",
            f"The budget has no money for {', '.join(words)}: no unit_cost is given.",
            rule="budget_unpriced",
            table="parts",
            consequence="Openings take them beside the kit: budget and cash are too low by what "
            "they cost.",
            remedy="Write unit_cost in parts.",
        )
    _say_shelf(records, stock)


def _say_shelf(records: Records, stock: pd.DataFrame) -> None:
    kept = (
        (stock["today_on_hand"] > 0) | (stock["order_up_to"] > 0) | (stock["expired_on_hand"] > 0)
    )
    bare = stock[stock["capital_today"].isna() & kept]
    if bare.empty:
        return
    names = [f"{row['item']} at {row['store']}" for row in bare.to_dict("records")]
    records.log.add(
        "caution",
        f"{list_some(names, most=_MOST)}: no unit_cost is given.",
        rule="stock_change_unpriced",
        table="parts",
        consequence="The budget's stock_change and write_off_money, and cash for orders to place "
        "now, are without them; what has a price is counted.",
        remedy="Write unit_cost in parts or kits.",
    )
