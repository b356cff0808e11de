"""What would be advised for one pump group at other prices."""

from __future__ import annotations

from dataclasses import dataclass

from pumplife.errors import RecordError
from pumplife.policy.advice import Advice
from pumplife.policy.curves import draw_curve
from pumplife.policy.decide import Decision
from pumplife.policy.doubt.inputs import clean_up_of
from pumplife.policy.groups import SideGroup
from pumplife.policy.interval import CostCurve
from pumplife.policy.intervals_table import RATE_UNITS
from pumplife.policy.other_prices import redecide
from pumplife.records.plant import Plant

SCALED = {
    "downtime_per_h": "lost production",
    "clean_up": "clean-up",
    "kit_price": "kits and parts",
    "labour_per_h": "labour",
}
"""The prices that can be tried, each as `scale_prices` names it; parts move with their kit."""
PRICES = tuple(SCALED)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TriedGroup:
    """The advice for one pump group at some prices.

    Attributes
    ----------
    decision : Decision
        What would be advised, beside today's practice at the same prices.
    curve : CostCurve
        Cost rate against the interval.
    saving : float
        Of the advice against today's practice [money / year].
    """

    decision: Decision
    curve: CostCurve
    saving: float

    def __repr__(self) -> str:
        """Say the decision and the saving."""
        return f"<TriedGroup: {self.decision!r}, saves {self.saving:,.0f} a year>"


def prices_of(group: SideGroup) -> dict[str, float]:
    """The prices that can be tried, as they are.

    Parameters
    ----------
    group : SideGroup

    Returns
    -------
    dict of str to float
        downtime_per_h and labour_per_h [money / h]; clean_up, after a release of the dearest
        part, and kit_price [money].

    Raises
    ------
    RecordError
        If the group has no advice.
    """
    costs = group.costs
    if costs is None:
        raise RecordError(f"{group.title}: {group.missing}")
    return {
        "downtime_per_h": costs.downtime_per_h,
        "clean_up": clean_up_of(costs),
        "kit_price": costs.kit_price,
        "labour_per_h": costs.labour_per_h,
    }


def try_group(plant: Plant, advice: Advice, row: int, **prices: float) -> TriedGroup:
    """Decide one pump group anew at other prices, lives and limits as they are.

    Parameters
    ----------
    plant : Plant
    advice : Advice
    row : int
        Of the intervals table.
    **prices : float
        By name of `PRICES`; as they are where left out.

    Returns
    -------
    TriedGroup
        The advice itself where nothing is changed.

    Raises
    ------
    RecordError
        If the group has no advice, or a price another name or nothing to start from.
    """
    group, now = advice.groups[row], advice.decisions[row]
    known = prices_of(group)
    if unknown := sorted(set(prices) - set(known)):
        raise RecordError(f"{', '.join(unknown)}: not among {', '.join(PRICES)}.")
    changed = {name: price for name, price in prices.items() if price != known[name]}
    if stuck := sorted(name for name in changed if known[name] == 0.0):
        raise RecordError(f"{', '.join(stuck)}: costs nothing today, so no price can be tried.")
    assert now is not None, "a group with costs is decided"
    factors = {SCALED[name]: price / known[name] for name, price in changed.items()}
    decision = redecide(group, now, factors, release_target=plant.hazardous_failure_probability)
    curve = draw_curve(group, decision, *RATE_UNITS[plant.usage_unit])
    assert curve is not None, "drawn from a decision"
    usage = float(group.usage_per_year.sum())
    cheaper = decision.today.money.mean() - decision.advised.money.mean()
    return TriedGroup(decision=decision, curve=curve, saving=usage * float(cheaper))
