"""Prices of kits and parts: what is missing, what is 0, and what stands in."""

import numpy as np
import pandas as pd

from pumplife.records.audit import AuditLog
from pumplife.records.plant import Plant

Tables = dict[str, pd.DataFrame]

NUMBERS = {"kits": "kit", "parts": "part_no"}
UNPRICED = {
    "kits": "What needs its price is left blank.",
    "parts": "Where it fails and is renewed alone, the price of the whole kit stands in for it; "
    "its orders and its value on the shelf are left without money.",
}
LOOSE = ("on_condition", "every_opening")
LOOSE_UNPRICED = (
    "The kit's price doesn't stand in for what openings take beside it: budget, orders, cash and "
    "its value on the shelf are left without money for it."
)
OFTEN_FAULTY = 0.25
"""A chance of a fault at each opening from which it is asked whether it is meant."""


def price_kits(tables: Tables, log: AuditLog) -> pd.DataFrame:
    """Give kits without a price that of their parts, where all of these have one.

    Parameters
    ----------
    tables : dict of DataFrame
        Linked tables.
    log : AuditLog
        Gets a caution for each kit.

    Returns
    -------
    DataFrame
        The table kits with `price_from`: "" or "the sum of its parts".
    """
    kits = tables["kits"]
    parts = tables["parts"]
    price = parts[~parts["plan"]].drop_duplicates("part_no", keep="last")
    contents = tables["kit_contents"].drop_duplicates(["kit", "part_no"])
    cost = contents["part_no"].map(price.set_index("part_no")["unit_cost"]).astype(float)
    each = (cost * contents["quantity"].astype(float)).groupby(contents["kit"])
    whole = each.sum().where(each.count() == each.size())
    found = kits["kit"].map(whole).astype(float)
    filled = kits["unit_cost"].isna() & found.gt(0)
    log.add_rows(
        kits[filled],
        severity="caution",
        rule="kit_price_from_parts",
        table="kits",
        what=[
            f"{kit} has no unit_cost; its parts together cost {sum_of:,.6g}."
            for kit, sum_of in zip(kits.loc[filled, "kit"], found[filled], strict=True)
        ],
        consequence="That sum stands in for the price of the kit.",
        remedy="Write its price in kits: kits are seldom as dear as their parts.",
    )
    return kits.assign(
        unit_cost=kits["unit_cost"].where(~filled, found),
        price_from=np.where(filled, "the sum of its parts", ""),
    )


def check_prices(tables: Tables, plant: Plant, log: AuditLog) -> None:
    """Name prices that are missing or 0, and a chance of faults that is hardly meant."""
    for name, number in NUMBERS.items():
        frame = tables[name]
        missing, free = frame["unit_cost"].isna(), frame["unit_cost"].eq(0.0)
        log.add_rows(
            frame[missing],
            severity="caution",
            rule="no_price",
            table=name,
            what=[f"{word} has no unit_cost." for word in frame.loc[missing, number]],
            consequence=[
                LOOSE_UNPRICED if wears in LOOSE else UNPRICED[name]
                for wears in frame.reindex(columns=["wears"]).loc[missing, "wears"]
            ],
            remedy=f"Write its price in {name}.",
        )
        log.add_rows(
            frame[free],
            severity="caution",
            rule="price_zero",
            table=name,
            what=[f"{word} has a unit_cost of 0." for word in frame.loc[free, number]],
            consequence="It counts as free, and makes the work look cheaper than it is.",
            remedy=f"Write its price in {name}, or leave the cell blank.",
        )
    _check_faults(plant, log)


def _check_faults(plant: Plant, log: AuditLog) -> None:
    chance = plant.cost("opening_fault_probability")
    if not chance > OFTEN_FAULTY:
        return
    log.add(
        "caution",
        f"[costs] opening_fault_probability is {chance:g}: {100 * chance:.0f} of 100 openings "
        "would end in another breakdown.",
        rule="faults_often",
        table="plant.toml",
        consequence="Every rebuild is charged with it, so planned work hardly pays.",
        remedy="Write the share of openings that are followed by a fault of assembly, like 0.05.",
    )
