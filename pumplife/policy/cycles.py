"""Cost of any planned age of a group, read off the integrals of its advice."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.interpolate import CubicSpline

from pumplife.policy.decide import Decision
from pumplife.policy.pump import FloatArray


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


def cycle_curves(decision: Decision, *, most_draws: int | None = None) -> CycleCurves:
    """The curves behind a group's advice, thinned to at most some draws.

    Parameters
    ----------
    decision : Decision
    most_draws : int, optional
        All draws when None.
    """
    advice = decision.advice
    draws = advice.rates.shape[1]
    step = 1 if most_draws is None else max(1, -(-draws // most_draws))
    uptime = advice.known.uptime[:, ::step]
    return CycleCurves(
        log_times=np.log(advice.times), cost=advice.rates[:, ::step] * uptime, uptime=uptime
    )


def planned_money(decision: Decision) -> float:
    """Expected cost rate of the advice [money / usage unit]."""
    return float(decision.advised.money.mean())
