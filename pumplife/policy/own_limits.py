"""Pumps of one group whose makers' or legal limits differ: each keeps its own."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from pumplife.policy.costs import cost_rates
from pumplife.policy.practice import EventRates, rates_of
from pumplife.policy.pump import FloatArray, integrate_to
from pumplife.records.read import Records

if TYPE_CHECKING:
    from pumplife.policy.decide import Decision
    from pumplife.policy.groups import SideGroup

MOST_NAMES = 6  # pumps named in a sentence


def own_intervals(group: SideGroup, interval: float) -> FloatArray:
    """The interval of each pump, never beyond its own limit, (pumps,) [usage]."""
    return np.minimum(interval, group.own_limit)


def keep_own_limits(group: SideGroup, decision: Decision) -> Decision:
    """The decision with the costs of the pumps that a limit of their own renews sooner.

    Parameters
    ----------
    group : SideGroup
    decision : Decision
        With one interval for the group.

    Returns
    -------
    Decision
        The same interval; events and costs are the means over its pumps, by their usage.
    """
    changed: dict[str, Any] = {}
    if np.any(group.own_limit < decision.interval):
        events = _mean_events(group, decision, decision.interval, decision.events)
        changed = {"events": events, "advised": cost_rates(decision.costs, events)}
    if decision.adopted is not None and np.any(group.own_limit < decision.adopted_interval):
        adopted = _events_at(decision, decision.adopted_interval)
        kept = _mean_events(group, decision, decision.adopted_interval, adopted)
        changed["adopted"] = cost_rates(decision.costs, kept)
    return replace(decision, **changed) if changed else decision


def _events_at(decision: Decision, interval: float) -> EventRates:
    """Events where the whole side is renewed at an interval and at failures."""
    advice = decision.advice
    return rates_of(integrate_to(advice.side, advice.known, np.array([interval])))


def _mean_events(
    group: SideGroup, decision: Decision, interval: float, free: EventRates
) -> EventRates:
    """Events over all pumps by their usage; `free` are those of pumps without a nearer limit."""
    own, place = np.unique(own_intervals(group, interval), return_inverse=True)
    share = np.bincount(place, group.rate, own.size) / group.rate.sum()
    each = [free if age == interval else _events_at(decision, float(age)) for age in own]

    def mean(name: str) -> FloatArray:
        values = np.stack([getattr(one, name) for one in each])
        return np.asarray(np.tensordot(share, values, axes=1))

    return EventRates(
        kit_failures=mean("kit_failures"),
        part_failures=mean("part_failures"),
        planned=mean("planned"),
    )


def split_by_limit(group: SideGroup) -> list[SideGroup]:
    """The group in parts whose pumps share a limit; the group itself where all do."""
    return [take_pumps(group, group.own_limit == limit) for limit in np.unique(group.own_limit)]


def take_pumps(group: SideGroup, chosen: NDArray[np.bool_]) -> SideGroup:
    """Some of the pumps of a group, with all that is held for each."""
    if chosen.all():
        return group
    names = (
        "pumps", "site", "location", "store", "age", "known", "most", "clock_age", "clock_day",
        "clock_known", "rate", "own_limit",
    )  # fmt: skip
    return replace(group, **{name: getattr(group, name)[chosen] for name in names})


def say_limits(records: Records, groups: Iterable[tuple[SideGroup, float]]) -> None:
    """Name pumps whose own limit isn't their group's, or can't bind.

    Parameters
    ----------
    records : Records
        Its audit gets the rows.
    groups : iterable of (SideGroup, float)
        With the limit on release of each [usage], inf where there is none.
    """
    for group, release in groups:
        given = np.isfinite(group.own_limit)
        if np.unique(group.own_limit).size > 1:
            _say(
                records,
                group,
                given,
                rule="limits_differ",
                what="isn't the same for every pump of the group",
                consequence="Each pump keeps its own; the others don't have to.",
                remedy="Write it for all of them where it holds for all.",
            )
        if np.any(given & (group.own_limit > release)):
            _say(
                records,
                group,
                given & (group.own_limit > release),
                rule="limit_beyond_release",
                what=f"is longer than {release:,.0f}, within which the chance of a release is held",
                consequence="The limit on release decides; the maker's or legal one has no effect.",
                remedy="None needed, unless the pumps aren't in hazardous duty.",
            )


def _say(
    records: Records,
    group: SideGroup,
    chosen: NDArray[np.bool_],
    *,
    rule: str,
    what: str,
    consequence: str,
    remedy: str,
) -> None:
    """One row on the limits of some pumps of a group, the first of them by its row and name."""
    rows = records.pumps.iloc[group.pumps[chosen]]
    limits = group.own_limit[chosen]
    span = " to ".join(f"{limit:,.0f}" for limit in np.unique([limits.min(), limits.max()]))
    names = ", ".join(rows["pump_id"].astype(str).iloc[:MOST_NAMES])
    more = f" and {len(rows) - MOST_NAMES} more" if len(rows) > MOST_NAMES else ""
    records.log.add(
        "note",
        f"{group.title}: max_{group.side}_interval of {names}{more}, {span}, {what}.",
        rule=rule,
        table="pumps",
        row=int(rows["row"].iloc[0]),
        pump_id=str(rows["pump_id"].iloc[0]),
        consequence=consequence,
        remedy=remedy,
    )
