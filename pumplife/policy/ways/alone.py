"""The ways of working that look at one side by itself, each at its best setting."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from pumplife.policy.decide import FAILED_PART, PLANNED, RUN_TO_FAILURE, Decision
from pumplife.policy.groups import SideGroup
from pumplife.policy.interval import IntervalAdvice
from pumplife.policy.practice import EventRates, failed_part_rates, rates_of
from pumplife.policy.pump import FloatArray, SideLife, integrate_side, integrate_to
from pumplife.policy.ways.block import (
    best_block,
    block_events,
    calendar_events,
    usage_classes,
)
from pumplife.policy.ways.counts import FailureCounts, count_by_part, count_with_kit
from pumplife.policy.ways.inspection import INSPECTION, Look, inspect_side
from pumplife.policy.ways.outcome import Outcome, mean_rates, outcome_of, thin_events
from pumplife.records.amounts import inspection_of
from pumplife.records.plant import Plant

TODAY = "today's practice"
ADOPTED = "adopted interval"
PLANNED_PART = "planned kit, failed part between"
CALENDAR = "kit by the calendar"
CALENDAR_PART = "kit by the calendar, failed part between"
OUTAGES = "kit at outages"
MOST_OUTAGES = 6  # kit at every outage up to every sixth
MOST_WEEKS = 520
MOST_LIVES = 5.0  # longest planned age that is looked at, in usual lives of the side
MOST_DRAWS = 200  # draws of the ways that have no closed form
NO_GAIN = "The longest tried: the longer, the cheaper."


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Scope:
    """One group with what its ways of working are reckoned from; some draws stand for all.

    Attributes
    ----------
    plant : Plant
    group : SideGroup
        With the lives of every n-th draw only.
    decision : Decision
        Of all draws.
    advised : EventRates
        Events of the advice, of the same draws [1 / usage unit].
    with_kit : FailureCounts
        Failures when each renews the whole side.
    by_part : FailureCounts
        Failures when each renews the failed part alone.
    """

    plant: Plant
    group: SideGroup
    decision: Decision
    advised: EventRates
    with_kit: FailureCounts
    by_part: FailureCounts

    def __repr__(self) -> str:
        """Name the group."""
        return f"<Scope: {self.group.title}>"


def open_scope(plant: Plant, group: SideGroup, decision: Decision) -> Scope:
    """Take every n-th draw of a group, at most about MOST_DRAWS."""
    step = max(1, group.lives.shape.shape[-1] // MOST_DRAWS)
    thin = replace(group, lives=group.lives[:, ::step])
    return Scope(
        plant=plant,
        group=thin,
        decision=decision,
        advised=thin_events(decision.events, step),
        with_kit=count_with_kit(thin.life, decision.advice.at_failure.uptime[0, ::step]),
        by_part=count_by_part(thin.life),
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Withheld:
    """A way of working of which nothing can be said, and why."""

    policy: str
    note: str

    def __repr__(self) -> str:
        """Name the policy."""
        return f"<Withheld: {self.policy}>"


def events_at(side: SideLife, interval: float) -> EventRates:
    """Event rates with the kit at one age and at every failure.

    Parameters
    ----------
    side : SideLife
    interval : float
        [usage], finite.
    """
    times = interval * np.geomspace(1e-4, 1.0, 49)[:, None]
    at = integrate_side(side, times)
    return EventRates(
        kit_failures=at.incidence[-1] / at.uptime[-1],
        part_failures=np.zeros_like(at.incidence[-1]),
        planned=at.survival[-1] / at.uptime[-1],
    )


def closed_ways(group: SideGroup, decision: Decision) -> list[Outcome]:
    """Run to failure, failed part only, planned kit, today's practice and what is adopted."""
    costs, advice = decision.costs, decision.advice
    alone = failed_part_rates(group.lives.mean(), group.count)
    named = [
        (RUN_TO_FAILURE, rates_of(advice.at_failure), np.inf, np.inf),
        (FAILED_PART, alone, np.inf, np.inf),
        (TODAY, decision.events_today, np.nan, float(np.max(group.planned.ages))),
    ]
    interval, gain = planned_age(advice)
    if np.isfinite(advice.interval):
        named.append((PLANNED, rates_of(advice.at_interval), interval, interval))
    else:
        named.append((PLANNED, _known_events(advice, interval), interval, interval))
    adopted = decision.followed_interval
    if np.isfinite(decision.adopted_interval):
        named.append((ADOPTED, _known_events(advice, adopted), adopted, adopted))
    return [
        outcome_of(
            name,
            costs,
            events,
            group.releases,
            interval=age if np.isfinite(age) else np.nan,
            longest=longest,
            note=NO_GAIN if name == PLANNED and not gain else "",
        )
        for name, events, age, longest in named
    ]


def planned_age(advice: IntervalAdvice) -> tuple[float, bool]:
    """The advised interval, else the cheapest age within a few usual lives [usage].

    And whether it is the best one: where wear hardly shows, cost falls with the interval for ever.
    """
    if np.isfinite(advice.interval):
        return float(advice.interval), True
    usual = float(np.median(advice.at_failure.uptime[0]))
    most = max(1, int(np.searchsorted(advice.times, MOST_LIVES * usual, side="right")))
    best = int(np.argmin(advice.expected[:most]))
    return float(advice.times[best]), best + 1 < most


def _known_events(advice: IntervalAdvice, interval: float) -> EventRates:
    """`events_at` of the integrals that the advice rests on."""
    return rates_of(integrate_to(advice.side, advice.known, np.array([interval])))


def renewal_ways(scope: Scope) -> list[Outcome | Withheld]:
    """Kits by usage or by the calendar, with the renewal function of what is done between."""
    group, decision = scope.group, scope.decision
    by_part = scope.by_part
    age = best_block(by_part, decision.costs, decision.limit)
    planned = outcome_of(
        PLANNED_PART,
        decision.costs,
        block_events(by_part, np.array([age]))[0],
        group.releases,
        interval=age,
        longest=age,
    )
    return [
        planned,
        _by_calendar(CALENDAR, scope, scope.with_kit),
        _by_calendar(CALENDAR_PART, scope, by_part),
        _at_outages(scope),
    ]


def _by_calendar(name: str, scope: Scope, counts: FailureCounts) -> Outcome | Withheld:
    """The best whole number of weeks between kits, one for all pumps of the group."""
    group, decision = scope.group, scope.decision
    rate, number = usage_classes(group.rate)
    usual, fastest = float(np.dot(rate, number) / number.sum()), float(np.max(group.rate))
    most = min(MOST_WEEKS, int(min(decision.limit / (7.0 * fastest), 1e6)))
    if most < 1:
        return Withheld(policy=name, note="The limit lies within a week at the busiest pump.")
    best = best_block(counts, decision.costs, decision.limit) / (7.0 * usual)
    weeks = np.unique(np.clip(np.round(best * np.geomspace(0.6, 1.7, 13)), 1, most))
    tried = calendar_events(counts, rate, number, 7.0 * weeks[:, None])
    outcomes = [
        outcome_of(
            name,
            decision.costs,
            events,
            group.releases,
            block_weeks=float(week),
            longest=7.0 * float(week) * fastest,
            note=NO_GAIN if week == MOST_WEEKS else "",
        )
        for week, events in zip(weeks, tried, strict=True)
    ]
    return _cheapest(outcomes)


def _at_outages(scope: Scope) -> Outcome | Withheld:
    """Kit at every n-th outage of each pump's site, the calendar given repeating itself."""
    group, decision = scope.group, scope.decision
    running = group.site[group.rate > 0.0]
    gaps = {site: np.diff(np.unique(scope.plant.outages(site))) for site in sorted(set(running))}
    without = [site for site, days in gaps.items() if days.size == 0]
    if without:
        where = f" for {', '.join(without)}" if any(without) else ""
        return Withheld(policy=OUTAGES, note=f"[calendar] gives fewer than two outages{where}.")
    longest = max(float(days.max()) for days in gaps.values()) * float(np.max(group.rate))
    days = float(np.mean(np.concatenate(list(gaps.values()))))
    outcomes = [
        outcome_of(
            OUTAGES,
            decision.costs,
            _outage_events(
                group, scope.with_kit, {site: _spans(own, n) for site, own in gaps.items()}
            ),
            group.releases,
            every=float(n),
            block_weeks=n * days / 7.0,
            longest=n * longest,
            note=NO_GAIN if n == MOST_OUTAGES else "",
        )
        for n in range(1, MOST_OUTAGES + 1)
        if n == 1 or n * longest <= decision.limit
    ]
    return _cheapest(outcomes)


def _spans(gaps: FloatArray, n: int) -> FloatArray:
    """Days between every n-th outage, from each outage on [day]."""
    rows = (np.arange(gaps.size)[:, None] + np.arange(n)) % gaps.size
    return np.asarray(gaps[rows].sum(axis=1))


def _outage_events(
    group: SideGroup, counts: FailureCounts, spans: dict[str, FloatArray]
) -> EventRates:
    """Event rates of the group's pumps, each on the outages of its site."""
    events, weights = [], []
    for site, days in spans.items():
        rates = group.rate[group.site == site]
        events += calendar_events(counts, *usage_classes(rates), days[None, :])
        weights.append(float(rates.sum()))
    return mean_rates(events, np.array(weights))


def _cheapest(outcomes: list[Outcome]) -> Outcome:
    """The setting of least mean cost."""
    return min(outcomes, key=lambda one: float(one.costs.money.mean()))


def inspection_way(scope: Scope) -> Outcome | Withheld:
    """Looks at running pumps, where the plant says what they find."""
    group, decision = scope.group, scope.decision
    given = [inspection_of(scope.plant.raw, part) for part in group.part]
    missing = sorted({name for one in given for name, value in one.items() if np.isnan(value)})
    if missing:
        return Withheld(
            policy=INSPECTION,
            note=f"Nothing can be said without {', '.join(missing)} in [inspection] of plant.toml.",
        )
    share = np.array([one["delay_share"] for one in given])
    if not share.any():
        return Withheld(policy=INSPECTION, note="By [inspection] no part here shows wear before.")
    look = Look(delay_share=share, detection=given[0]["detection"], labour_h=given[0]["labour_h"])
    return inspect_side(group.life, decision.costs, group.releases, look)
