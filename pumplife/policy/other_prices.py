"""What would be advised for a group, were prices other than they are."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from pumplife.errors import RecordError
from pumplife.policy.costs import SideCosts, WorkCost
from pumplife.policy.decide import Decision, decide_group
from pumplife.policy.doubt.price_curves import PRICES, cost_pieces
from pumplife.policy.groups import SideGroup
from pumplife.policy.pump import FloatArray


def scale_prices(costs: SideCosts, factors: Mapping[str, float]) -> SideCosts:
    """The costs of a side with some prices times a factor.

    Parameters
    ----------
    costs : SideCosts
    factors : mapping of str to float
        By name, of `PRICES`; a price that isn't named stays.  "kits and parts" are the kit, loose
        parts and the air kit of a fouled air side.

    Raises
    ------
    RecordError
        Where there is no such price, or a factor is below 0.
    """
    wrong = [name for name in factors if name not in PRICES or not factors[name] >= 0.0]
    if wrong:
        raise RecordError(
            f"{wrong[0]!r} can't be tried: give factors from 0 up of {', '.join(PRICES)}."
        )
    kits, labour, idle, clean_up, call_out = (float(factors.get(name, 1.0)) for name in PRICES)
    cash = kits, 0.0, 0.0, clean_up, call_out
    planned, kit_failure, part_failure = cost_pieces(costs)
    fouling = replace(costs.fouling, cash=kits * costs.fouling.cash)
    return replace(
        costs,
        planned=_with_cash(costs.planned, planned @ cash),
        kit_failure=_with_cash(costs.kit_failure, kit_failure @ cash),
        part_failure=_with_cash(costs.part_failure, part_failure @ cash),
        labour_per_h=labour * costs.labour_per_h,
        downtime_per_h=idle * costs.downtime_per_h,
        pump_downtime=idle * costs.pump_downtime,
        kit_price=kits * costs.kit_price,
        part_price=kits * costs.part_price,
        air_kit=kits * costs.air_kit,
        call_out=call_out * costs.call_out,
        spill=clean_up * (costs.spill - costs.fouling.cash) + fouling.cash,
        fouling=fouling,
    )


def _with_cash(work: WorkCost, cash: FloatArray) -> WorkCost:
    return replace(work, cash=cash)


def redecide(
    group: SideGroup, decision: Decision, factors: Mapping[str, float], *, release_target: float
) -> Decision:
    """Decide a group anew with some prices times a factor; lives, limits and practice stay.

    Parameters
    ----------
    group : SideGroup
    decision : Decision
        For that group, as it is.
    factors : mapping of str to float
        As for `scale_prices`.
    release_target : float
        For hazardous groups.

    Returns
    -------
    Decision
    """
    changed = replace(group, costs=scale_prices(decision.costs, factors))
    return decide_group(
        changed, release_target=release_target, adopted_interval=decision.adopted_interval
    )
