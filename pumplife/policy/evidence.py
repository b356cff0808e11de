"""Whether there are failures enough to advise an interval; if not, today's stays, and records grow.

Few failures don't prove that a longer interval is safe, nor that a shorter one pays.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pumplife.policy.costs import cost_rates
from pumplife.policy.practice import rates_of
from pumplife.policy.pump import integrate_to
from pumplife.policy.simulate import PlannedAges

if TYPE_CHECKING:
    from pumplife.policy.decide import Decision
    from pumplife.policy.groups import SideGroup

KEEP_TODAYS = "keep today's"
TODAYS = "today's interval"
MOSTLY_PLANNED = 0.5  # share of planned renewals from which a group has an interval today
WRITTEN = 0.8  # share of tickets from which a cell counts as written


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Evidence:
    """What the failures of a pump group are enough for.

    Attributes
    ----------
    enough : bool
        Whether an interval can be advised by cost.
    lent : bool
        Whether like services fail often enough to lend it lives.
    record : tuple of str
        What to write down from now on, where it isn't enough.
    """

    enough: bool
    lent: bool = False
    record: tuple[str, ...] = ()

    def __repr__(self) -> str:
        """Say whether it is enough."""
        return f"<Evidence: {'enough' if self.enough else 'not enough'}>"


def weigh_evidence(
    fits: pd.DataFrame,
    fit_rows: NDArray[np.int64],
    least: tuple[float, float],
    visits: pd.DataFrame,
) -> Evidence:
    """Weigh the failures behind one side of a group, and those of its parts in like services.

    What few are worth, in simulated services unlike their kind by up to 1.6 times: advised
    intervals cost 7 % more than the best at the truth without a failure (13 % where no like
    service lends), 5 % with one or two (9 %), 4 % with three or four (3 %); intervals half off
    the best, as practice may be, 16 %.

    Parameters
    ----------
    fits : DataFrame
        The table of fits.
    fit_rows : int array (parts,)
        Its rows for the parts of the side, -1 where there is none.
    least : pair of float
        Failures of all parts together from which an interval is advised, [evidence] advise; and
        of the same parts in all services, advise_lent.
    visits : DataFrame
        Of the group's pumps and side.

    Returns
    -------
    Evidence
    """
    mine = fits.iloc[np.unique(fit_rows[fit_rows >= 0])]
    alike = fits["part"].isin(mine["part"])
    alike &= fits["endpoint"].eq("failed") & fits["mode"].eq("") & fits["period"].eq("")
    lent = bool(fits.loc[alike, "failures"].sum() >= least[1])
    enough = lent or bool(mine["failures"].sum() >= least[0])
    return Evidence(enough=enough, lent=lent, record=() if enough else _what_to_record(visits))


def _what_to_record(visits: pd.DataFrame) -> tuple[str, ...]:
    """What tickets of these pumps lack, in the order of what it is worth."""
    broken = visits[visits["breakdown"].astype(bool)]
    named = broken["failed_part"].ne("").mean() if len(broken) else 0.0
    kitted = visits["kit"].ne("").mean() if len(visits) else 0.0
    aged = visits["age"].notna().mean() if len(visits) else 0.0
    wanted = (
        ("the part that failed", named),
        ("the meter reading", aged),
        ("the kit fitted (or none)", kitted),
        ("each part found sound or worn", 0.0),
    )
    return tuple(words for words, written in wanted if written < WRITTEN)


def typical_interval(planned: PlannedAges) -> float:
    """Median age at which a side is renewed by plan today [usage]; inf where most never are."""
    finite = np.isfinite(planned.ages)
    weight = planned.weights[finite]
    if weight.sum() < MOSTLY_PLANNED:
        return np.inf
    at = int(np.searchsorted(np.cumsum(weight), 0.5 * weight.sum()))
    return float(planned.ages[finite][at])


def keep_todays(group: SideGroup, decision: Decision) -> Decision:
    """The decision where evidence is enough; else today's interval within the limits.

    Today's is what the plant has adopted, else the median age of its planned work.  A plant
    without one runs to failure for now, or at the limit.  Hazardous groups never run longer than
    today without evidence.

    Parameters
    ----------
    group : SideGroup
    decision : Decision
        By cost and limits.

    Returns
    -------
    Decision
    """
    if group.evidence.enough:
        return decision
    adopted = decision.adopted_interval
    todays = typical_interval(group.planned) if np.isnan(adopted) else adopted
    interval = min(todays, decision.limit)
    if not np.isfinite(interval):
        return decision if not np.isfinite(decision.interval) else _at(decision, np.inf)
    kept = _at(decision, interval)
    return replace(kept, policy=KEEP_TODAYS) if todays <= decision.limit else kept


def _at(decision: Decision, interval: float) -> Decision:
    """The decision with another interval, the whole side renewed at failures."""
    advice, costs = decision.advice, decision.costs
    at = integrate_to(advice.side, advice.known, np.array([interval]))
    events = rates_of(at)
    rates = cost_rates(costs, events)
    never = decision.run_to_failure.money
    finite = bool(np.isfinite(interval))
    limits = {name: value for name, value in advice.limits.items() if value > 0.0}
    binding = min(limits, key=lambda name: limits[name]) if limits else ""
    bound = finite and interval >= limits.get(binding, np.inf)
    return replace(
        decision,
        policy="planned kit" if finite else "run to failure",
        interval=interval,
        kit_share=1.0,
        events=events,
        advised=rates,
        advice=replace(
            advice,
            interval=interval,
            binding_limit=binding if bound else TODAYS if finite else "cost",
            near_best_low=interval if finite else advice.near_best_low,
            near_best_high=interval if finite else np.inf,
            cost_rate=rates.money,
            prob_better=float(np.mean(rates.money < never)) if finite else 0.0,
            failure_prob=float(1.0 - at.survival.mean()) if finite else 1.0,
            at_interval=at,
        ),
    )
