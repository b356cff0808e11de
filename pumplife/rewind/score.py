"""One group's past advice against what was seen since: failures, cost rate, and whether it tells.

The cost rate that later lives tell has an error of its own, from resampling whole pumps; it counts
as inside the band of the advice where it lies no further off than the two together allow.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import stats

from pumplife.policy.decide import FAILED_PART, Decision
from pumplife.policy.groups import SideGroup
from pumplife.policy.pump import FloatArray
from pumplife.rewind.later import (
    Watched,
    count_reaching,
    expected_failures,
    middle_age,
    realised_rate,
    side_survival,
    survive_later,
)

LEAST_SIDES = 5.0  # sides that must be watched at every age that the cost rate leans on
LEAST_FAILURES = 3.0  # failures below the interval from which a cost rate can be told
NEARLY_ALL = 0.10  # run to failure can be told where no more sides than this outlive the last age
RESAMPLES = 200  # of whole pumps
NORMAL_90 = 1.6448536269514722  # standard deviations to the end of a 90 % band


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Realised:
    """What later lives tell of one group's advice.

    Attributes
    ----------
    failures : float
        Failures seen.
    expected : float array (draws,)
        Failures that the advice's lives expect of what was watched.
    rate : float
        Cost rate of the advised interval [money / usage unit]; NaN where it can't be told.
    error : float
        Standard deviation of its logarithm [-].
    why_not : str
        Why the cost rate can't be told; "" where it can.
    """

    failures: float
    expected: FloatArray
    rate: float
    error: float
    why_not: str

    def __repr__(self) -> str:
        """Say the failures and the rate."""
        return f"<Realised: {self.failures:.4g} failures, {self.rate:.4g} a usage unit>"


def count_band(mean: FloatArray) -> tuple[float, float]:
    """90 % band of a count that is Poisson, its mean in doubt, (draws,)."""
    top = int(np.max(mean) + 8.0 * np.sqrt(np.max(mean)) + 12.0)
    counts = np.arange(top + 1)
    each = np.asarray(stats.poisson.cdf(counts[:, None], mean[None, :]))
    reached = each.mean(axis=1)
    low, high = (int(np.searchsorted(reached, share)) for share in (0.05, 0.95))
    return float(low), float(min(high, top))


def is_inside(rate: float, draws: FloatArray, error: float) -> bool:
    """Whether a cost rate lies in the band of the draws, widened by its own error.

    Parameters
    ----------
    rate : float
        Above 0.
    draws : float array (draws,)
        The predicted cost rate, in the same unit.
    error : float
        Standard deviation of the rate's logarithm [-].
    """
    centre, (low, high) = float(draws.mean()), np.quantile(draws, [0.05, 0.95])
    edge = high if rate > centre else low
    reach = np.hypot(np.log(edge / centre), NORMAL_90 * error)
    return bool(abs(np.log(rate / centre)) <= reach)


def score_group(
    group: SideGroup, decision: Decision, seen: Watched, *, seed: int, usage_unit: str
) -> Realised:
    """Hold the advice for one group against what was watched of its pumps since.

    Parameters
    ----------
    group, decision : SideGroup, Decision
        As they were on the past day.
    seen : Watched
        Since then, by the whole records.
    seed : int
        Of the resampling of pumps.
    usage_unit : str
        For the words.
    """
    rate, error, why_not = _tell_rate(group, decision, seen, seed, usage_unit)
    return Realised(
        failures=seen.failures,
        expected=expected_failures(group.lives, seen),
        rate=rate,
        error=error,
        why_not=why_not,
    )


def _tell_rate(
    group: SideGroup, decision: Decision, seen: Watched, seed: int, unit: str
) -> tuple[float, float, str]:
    """Cost rate, its error, and why there is none."""
    weights = _resample(group.pumps.size, seed)
    later = survive_later(seen, group.count, weights)
    interval, costs = decision.interval, decision.costs
    end_cost, why_not = costs.planned_money, ""
    if decision.policy == FAILED_PART:
        why_not = "The advice renews failed parts alone: no age of the side is advised."
    elif np.isinf(interval):
        interval = _last_told(seen, group.count)
        share = decision.advice.at_failure.incidence[0].mean(axis=1)
        end_cost = float(share @ costs.failure_money / share.sum())
        if not interval > 0.0 or side_survival(later, interval) > NEARLY_ALL:
            why_not = (
                "The advice was to run to failure, and too few sides were watched to the age "
                f"({interval:,.0f} {unit}) at which nearly all have failed."
            )
    why_not = why_not or _why_untold(group, seen, interval, unit)
    if why_not:
        return np.nan, np.nan, why_not
    rates = realised_rate(later, interval, end_cost, costs.failure_money)
    return float(rates[0]), float(np.log(rates[1:]).std(ddof=1)), ""


def _resample(pumps: int, seed: int) -> FloatArray:
    """How often each pump counts: once each, then in each resample of whole pumps."""
    rng = np.random.default_rng(seed)
    drawn = rng.multinomial(pumps, np.full(pumps, 1.0 / pumps), RESAMPLES)
    return np.concatenate([np.ones((1, pumps)), drawn]).astype(float)


def _last_told(seen: Watched, count: FloatArray) -> float:
    """The largest age that enough sides were watched to, of every part [usage]; 0 for none."""
    last = []
    for part, positions in enumerate(count):
        ends = np.sort(seen.until[seen.part == part])
        place = ends.size - int(np.ceil(LEAST_SIDES * positions))
        last.append(float(ends[place]) if place >= 0 else 0.0)
    return min(last)


def _why_untold(group: SideGroup, seen: Watched, interval: float, unit: str) -> str:
    """Why later lives don't tell the cost rate of an interval; "" where they do."""
    if seen.pump.size == 0:
        return "Nothing of these parts was watched after that day."
    if count_reaching(seen, group.count, interval).min() < LEAST_SIDES:
        return _say_unreached(group, seen, interval, unit)
    ages = np.unique(middle_age(seen)[seen.failed & (middle_age(seen) <= interval)])
    if any(count_reaching(seen, group.count, age).min() < LEAST_SIDES for age in ages[:1]):
        return f"Fewer than {LEAST_SIDES:.0f} sides were watched from the age of {ages[0]:,.0f} on."
    failures = float(seen.weight[seen.failed & (middle_age(seen) <= interval)].sum())
    if failures < LEAST_FAILURES:
        return f"Only {failures:.3g} failures were seen below the advised interval."
    return ""


def _say_unreached(group: SideGroup, seen: Watched, interval: float, unit: str) -> str:
    """Whether practice hides the age, or the records are too short for it."""
    short = seen.until < interval
    hidden = short & seen.renewed & ~seen.failed
    running = short & ~seen.renewed
    longest = float(seen.until.max())
    reached = f"the oldest reached {longest:,.0f} {unit}, the advice is {interval:,.0f}"
    if seen.weight[hidden].sum() > seen.weight[running].sum():
        return f"Today's practice hides it: sides were renewed before that age ({reached})."
    if seen.weight[seen.failed & short].sum() > seen.weight[running].sum():
        return f"Too few sides lived to that age ({reached})."
    return f"The records since then are too short: too few sides reached that age ({reached})."
