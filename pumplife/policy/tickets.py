"""What breakdowns and planned work really took, by the tickets, at today's prices."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from pumplife.lives.build import Lives
from pumplife.policy.cost_book import CostBook
from pumplife.records.read import Records

if TYPE_CHECKING:
    from pumplife.policy.costs import SideCosts
    from pumplife.policy.decide import Decision
    from pumplife.policy.groups import SideGroup

RELEASED = ("air_side", "outside")
LEAST_TICKETS = 5  # fewer say too little of what a breakdown costs
FAR_OFF = 1.5  # actual over assumed, either way, from which it is said


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Tickets:
    """Every visit of the plant, once, with the side that called for it.

    Attributes
    ----------
    visits : DataFrame
        pump, day, side (of the part blamed, else the only side touched; "" where neither tells),
        service, breakdown, alone (one side was touched), labour_h, downtime_h [h] (production
        really lost, waiting taken off), other_cost [money], released, kits [money] (fitted
        on both sides), fitted (whether a kit was), renewed.
    """

    visits: pd.DataFrame

    def __repr__(self) -> str:
        """Count them."""
        return f"<Tickets: {len(self.visits)} visits>"


def gather_tickets(records: Records, lives: Lives, book: CostBook) -> Tickets:
    """Bring the sides of every visit together again: one order on one pump is one event.

    A rupture that fouled the air side touched both; all that it took is the fluid side's.

    Parameters
    ----------
    records : Records
    lives : Lives
        Its visits, one row per side.
    book : CostBook
        Today's prices.

    Returns
    -------
    Tickets
    """
    sides = lives.visits
    fitted = ~sides["kit"].isin(["", "none"])
    priced = sides.assign(
        kits=sides["kit"].map(book.kit_price).where(fitted, 0.0).astype(float),
        fitted=fitted,
        blamed=sides["failed_part"].map(_side_of_part(records)).fillna(""),
    )
    grouped = priced.groupby("visit", sort=True)
    first = grouped.first()
    amounts = ["labour_h", "downtime_h", "other_cost"]
    summed = grouped[amounts].sum(min_count=1)
    alone = grouped.size() == 1
    whole = first[["pump", "day", "service", "failed_part", "released", "breakdown"]].assign(
        side=first["blamed"].where(first["blamed"] != "", first["side"].where(alone, "")),
        alone=alone,
        kits=grouped["kits"].sum(min_count=1),
        fitted=grouped["fitted"].any(),
        renewed=grouped["renewed"].any(),
    )
    return Tickets(visits=whole.join(summed).reset_index(drop=True))


def _side_of_part(records: Records) -> pd.Series[str]:
    """Side of each part by its name."""
    parts = records.table("parts").drop_duplicates("part")
    return parts.set_index("part")["side"]


def of_group(tickets: Tickets, group: SideGroup, *, breakdown: bool) -> pd.DataFrame:
    """Visits of a group's pumps in its service that its side called for."""
    visits = tickets.visits
    mine = visits["pump"].isin(group.pumps) & visits["service"].eq(group.service)
    mine &= visits["side"].eq(group.side) & visits["breakdown"].astype(bool).eq(breakdown)
    found: pd.DataFrame = visits[mine]
    return found


def price_breakdowns(
    records: Records, tickets: Tickets, group: SideGroup, costs: SideCosts
) -> pd.Series[float]:
    """Money of each breakdown of a group by its ticket [money]; those without labour are left out.

    Kits of both sides, the blamed part where no kit was fitted, the call-out, labour, lost
    production, clean-up and the like.  Where fluid got out and no other_cost is written, the
    assumed spill stands in.

    Parameters
    ----------
    records : Records
    tickets : Tickets
    group : SideGroup
    costs : SideCosts
        Of the group.
    """
    rows = of_group(tickets, group, breakdown=True)
    rows = rows[rows["labour_h"].notna()]
    loose = pd.Series(costs.part_price, index=list(group.part)).groupby(level=0).mean()
    piece = rows["failed_part"].map(loose).where(~rows["fitted"].astype(bool), 0.0)
    spill = float(np.nan_to_num(records.plant.cost("spill", group.service)))
    downtime = pd.Series(costs.pump_downtime, index=group.pumps)
    money: pd.Series[float] = (
        rows["kits"].fillna(0.0)
        + piece.fillna(0.0)
        + costs.call_out
        + costs.labour_per_h * rows["labour_h"]
        + rows["pump"].map(downtime) * rows["downtime_h"].fillna(0.0)
        + rows["other_cost"].fillna(rows["released"].isin(RELEASED) * spill)
    )
    return money.astype(float)


def actual_row(
    records: Records, tickets: Tickets, group: SideGroup, decision: Decision
) -> dict[str, Any]:
    """What breakdowns cost by their tickets beside what is assumed; a caution where far off.

    The assumed cost is that of the plant's own way: the whole kit at its share of the failures,
    the failed part alone at the others.
    """
    costs = decision.costs
    share = decision.advice.at_failure.incidence[0].mean(axis=1)
    mix = group.kit_share * costs.failure_money + (1.0 - group.kit_share) * costs.part_money
    assumed = float(np.dot(share, mix) / share.sum())
    money = price_breakdowns(records, tickets, group, costs)
    actual = float(money.mean()) if len(money) else np.nan
    words = _far_off(actual, assumed, len(money))
    if words:
        records.log.add(
            "caution",
            f"{group.title}: {words}",
            rule="ticket_costs_differ",
            table="rebuilds",
            consequence="Intervals, stock and budget rest on the assumed cost.",
            remedy="See the table costs for the figure that differs; correct it in plant.toml, "
            "kits or pumps, or the hours on the tickets.",
        )
    return {
        "actual_cost_per_breakdown": actual,
        "tickets_priced": len(money),
        "assumed_cost_per_breakdown": assumed,
        "costs_differ": words,
    }


def _far_off(actual: float, assumed: float, tickets: int) -> str:
    """Say that actual and assumed cost differ by more than half; "" where they don't."""
    if tickets < LEAST_TICKETS or not max(actual, assumed) > FAR_OFF * min(actual, assumed):
        return ""
    return (
        f"By {tickets} tickets a breakdown cost {actual:,.4g}, {actual / assumed:.2g} times the "
        f"{assumed:,.4g} assumed."
    )
