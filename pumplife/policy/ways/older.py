"""The failed part and whatever is older than an age, while the side is open: by simulation."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from pumplife.policy.costs import CostRates, SideCosts, WorkCost
from pumplife.policy.decide import RUN_TO_FAILURE
from pumplife.policy.practice import EventRates, failed_part_rates, rates_of
from pumplife.policy.pump import FloatArray
from pumplife.policy.simulate_rates import WayTally, simulate_way
from pumplife.policy.simulate_way import Way, fixed_interval
from pumplife.policy.ways.alone import Scope, events_at, planned_age
from pumplife.policy.ways.block import block_events
from pumplife.policy.ways.outcome import (
    SIMULATED,
    Outcome,
    add_work,
    outcome_of,
    part_prices,
    thin_events,
)

OLDER = "run to failure, failed part and what is older"
PLANNED_OLDER = "planned kit, failed part and what is older between"
SHARES = (0.25, 0.5, 0.75)  # ages tried, of the planned age or the mean life to a failure
FEW = 4  # every so manieth draw is simulated
LANES, CYCLES = 6, 12  # of each of these draws
LEAST_LANES = 200  # of all together, where there are few draws
SEED = 20  # the same for all groups, so that like groups are treated alike
NOTE = "Parts are paid one by one; the band rests on the exact ways, draw by draw."


def older_ways(scope: Scope) -> list[Outcome]:
    """Both ways with what is older, each at its best age among a few.

    At age 0 they would be the kit at each failure, beyond the longest life the failed part alone;
    these two are exact and stand in the table, too.
    """
    decision = scope.decision
    age = decision.interval
    if not np.isfinite(age):
        age, _ = planned_age(decision.advice)
    mean = float(decision.advice.at_failure.uptime[0].mean())
    return [_best_age(scope, OLDER, np.inf, mean), _best_age(scope, PLANNED_OLDER, age, age)]


def _best_age(scope: Scope, policy: str, interval: float, span: float) -> Outcome:
    """The cheapest of a few ages, on the same chance."""
    few = replace(scope, group=replace(scope.group, lives=scope.group.lives[:, ::FEW]))
    tally = _simulate(few, interval, span * np.array(SHARES))
    rates, errors = (each.reshape(len(SHARES), -1) for each in _money(few, tally))
    best = int(np.argmin(rates.mean(axis=1)))
    draws = rates.shape[1]
    mine = _of_draws(tally, slice(best * draws, (best + 1) * draws))
    return replace(
        _carry_over(price_tally(few, policy, mine), _exact(scope, interval)),
        interval=interval if np.isfinite(interval) else np.nan,
        longest=interval,
        renew_older=SHARES[best] * span,
        how=SIMULATED,
        error=float(np.sqrt(np.sum(errors[best] ** 2)) / draws),
        note=NOTE,
    )


def _simulate(scope: Scope, interval: float, ages: FloatArray) -> WayTally:
    """All draws at the first age, all at the second ... in one run."""
    lives = scope.group.position_lives
    positions, draws = lives.shape.shape
    way = Way(
        planned=fixed_interval(interval),
        kit_share=0.0,
        renew_older=np.repeat(ages, draws)[:, None] * np.ones(positions),
    )
    lanes = max(LANES, LEAST_LANES // draws)
    together = lives[:, np.tile(np.arange(draws), ages.size)]
    rng = np.random.default_rng(SEED)
    return simulate_way(together, way, rng=rng, lanes=lanes, cycles=CYCLES, alike=ages.size)


def _of_draws(tally: WayTally, draws: slice) -> WayTally:
    """The tally of some of the draws."""
    return WayTally(**{name: getattr(tally, name)[..., draws, :] for name in WayTally.__slots__})


def _money(scope: Scope, tally: WayTally) -> tuple[FloatArray, FloatArray]:
    """Cost rate of each draw and its standard error by simulation, (draws,)."""
    costs, part_of = scope.decision.costs, scope.group.part_of
    paid = tally.planned * costs.planned_money
    for count, price in (
        (tally.kit_failures, costs.failure_money),
        (tally.part_failures, costs.part_money),
        (tally.also, part_prices(costs)),
    ):
        paid = paid + np.einsum("pdl,p->dl", count, price[part_of])
    return tally.per_usage(paid)


def price_tally(scope: Scope, policy: str, tally: WayTally) -> Outcome:
    """Costs and events of simulated lanes, by draw.

    Parts renewed while the side is open anyway cost their price and no further hours.
    """
    group, costs = scope.group, scope.decision.costs
    of_part = np.equal.outer(np.arange(group.count.size), group.part_of).astype(float)

    def by_part(count: FloatArray) -> FloatArray:
        return np.asarray(of_part @ tally.per_usage(count)[0])

    events = EventRates(
        kit_failures=by_part(tally.kit_failures),
        part_failures=by_part(tally.part_failures),
        planned=tally.per_usage(tally.planned)[0],
    )
    outcome = outcome_of(policy, costs, events, group.releases)
    return replace(outcome, costs=_with_parts(costs, outcome, by_part(tally.also)))


def _with_parts(costs: SideCosts, outcome: Outcome, also: FloatArray) -> CostRates:
    """Costs with the parts renewed on the way."""
    none = np.zeros(also.shape[0])
    parts = WorkCost(cash=part_prices(costs), labour_h=none, downtime_h=none)
    return add_work(costs, outcome.costs, parts, also)


def _exact(scope: Scope, interval: float) -> tuple[Outcome, Outcome]:
    """The exact ways on both ends: the kit at each failure, and the failed part alone."""
    group, advice = scope.group, scope.decision.advice
    if np.isfinite(interval):
        ends = (
            events_at(group.life, interval),
            block_events(scope.by_part, np.array([interval]))[0],
        )
    else:
        step = advice.at_failure.uptime.shape[1] // group.lives.shape.shape[-1]
        ends = (
            thin_events(rates_of(advice.at_failure), step),
            failed_part_rates(group.lives.mean(), group.count),
        )
    whole, alone = (
        outcome_of(RUN_TO_FAILURE, scope.decision.costs, events, group.releases) for events in ends
    )
    return whole, alone


def _carry_over(outcome: Outcome, ends: tuple[Outcome, Outcome]) -> Outcome:
    """Carry the simulation of some draws over to all, by regression on the exact ways.

    What the lives of a draw do to the two exact ways, they do in between; the chance of the
    simulation falls out draw by draw, means stay those of the simulation.
    """

    def fit(noisy: FloatArray, exact: list[FloatArray]) -> FloatArray:
        columns = np.stack(exact, axis=1)
        factors = np.linalg.lstsq(columns[::FEW], noisy, rcond=None)[0]
        fitted, mean = columns @ factors, float((columns[::FEW] @ factors).mean())
        return np.asarray(fitted * (float(noisy.mean()) / mean if mean > 0.0 else 1.0))

    def of_costs(name: str) -> FloatArray:
        return fit(getattr(outcome.costs, name), [getattr(end.costs, name) for end in ends])

    def of_events(name: str) -> FloatArray:
        return fit(getattr(outcome, name), [getattr(end, name) for end in ends])

    names = ("money", "cash", "labour_h", "downtime_h")
    return replace(
        outcome,
        costs=CostRates(**{name: of_costs(name) for name in names}),
        **{name: of_events(name) for name in ("failures", "kits", "releases")},  # type: ignore[arg-type]
    )
