"""Cost of any planned age of a group, read off a ladder of ages."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.interpolate import CubicSpline

from pumplife.policy.decide import Decision
from pumplife.policy.groups import SideGroup
from pumplife.policy.interval import cost_rate
from pumplife.policy.ladder import integrate_ladder
from pumplife.policy.pump import FloatArray, SideLife


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CycleCurves:
    """Cost and length of one cycle of planned renewal, by the age that is planned.

    Attributes
    ----------
    log_times : float array (times,)
        Logarithm of the ages [usage].
    cost : float array (times, draws)
        Expected cost of one cycle [money].
    uptime : float array (times, draws)
        Its expected length [usage].
    """

    log_times: FloatArray
    cost: FloatArray
    uptime: FloatArray

    def __repr__(self) -> str:
        """Say the size."""
        return f"<CycleCurves: {self.cost.shape} times x draws>"

    def weights(self, ages: FloatArray) -> FloatArray:
        """Weights of the known ages in each of `ages` [usage], (..., times), by cubic splines.

        Ages beyond the known ones are taken at their ends.
        """
        inside = np.clip(np.log(ages), self.log_times[0], self.log_times[-1])
        basis = CubicSpline(self.log_times, np.eye(self.log_times.size))
        return np.asarray(basis(inside))

    def rate(self, weights: FloatArray) -> FloatArray:
        """Cost rate of ages spread as `weights` say, mean over the draws, (...).

        [money / usage unit]; the ages of successive cycles are independent of each other, so
        that cost and length are averaged apart (renewal reward).
        """
        return np.asarray(((weights @ self.cost) / (weights @ self.uptime)).mean(axis=-1))

    def rate_at(self, ages: FloatArray) -> FloatArray:
        """Cost rate of each planned age [money / usage unit], mean over the draws."""
        return self.rate(self.weights(np.asarray(ages, float)))


def cycle_curves(group: SideGroup, decision: Decision, *, most_draws: int) -> CycleCurves:
    """The curves of a group's costs, for at most some of its draws."""
    step = max(1, -(-group.lives.shape.shape[1] // most_draws))
    some = group.lives[:, ::step]
    known = integrate_ladder(SideLife(lives=some, count=group.count))
    costs = decision.costs
    rates = cost_rate(known, costs.planned_money, costs.failure_money)
    return CycleCurves(
        log_times=np.log(known.times[:, 0]), cost=rates * known.uptime, uptime=known.uptime
    )


def expected_rate(decision: Decision, ages: FloatArray) -> FloatArray:
    """Expected cost rate of planned ages, whatever the limits [money / usage unit].

    A cubic spline through the logarithm of the ladder's rates; ages beyond the ladder are taken
    at its ends.
    """
    log_times, rates = np.log(decision.advice.times), np.log(decision.advice.expected)
    inside = np.clip(np.log(ages), log_times[0], log_times[-1])
    return np.asarray(np.exp(CubicSpline(log_times, rates)(inside)))


def planned_money(decision: Decision) -> float:
    """Expected cost rate of the advice [money / usage unit]."""
    return float(decision.advised.money.mean())
