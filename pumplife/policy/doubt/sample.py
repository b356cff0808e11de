"""What half a year more of records is worth: the expected value of sample information."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pumplife.policy.doubt.knowing import Actions, lowest_rates, worth_of_knowing
from pumplife.policy.doubt.records import Fleet, log_likelihood, simulate_records
from pumplife.policy.pump import FloatArray
from pumplife.policy.simulate import IntArray
from pumplife.weibull.draws import LifeDraws

MOST_CELLS = 250_000  # futures x pumps x positions simulated at once
FEWEST_ALIKE = 20.0  # draws that must still stand for what would be believed after half a year
BALANCE_ROUNDS = 10
MOST_FUTURES = 200


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SampleWorth:
    """The worth of records to come.

    Attributes
    ----------
    worth, error : float
        Expected gain by deciding with them, and its Monte-Carlo standard error
        [money / usage unit]; NaN where too few draws stand for what would be believed then.
    alike : float
        Effective number of those draws, the median over the futures.
    """

    worth: float
    error: float
    alike: float

    def __repr__(self) -> str:
        """Say the worth."""
        return f"<SampleWorth: {self.worth:.4g} +- {self.error:.2g}, {self.alike:.0f} draws>"


def worth_of_records(
    lives: LifeDraws, fleet: Fleet, actions: Actions, rng: np.random.Generator
) -> SampleWorth:
    """What it is worth to decide after the time to come, with what it will have shown.

    Truths are drawn from what is believed today; under each, the fleet runs on and is recorded;
    the draws are weighted by the likelihood of these records, and the cheapest action by those
    weights is compared with the cheapest of today. A draw never vouches for itself, or few
    draws would look like knowledge; and over all futures the draws weigh alike, as they must,
    since nobody believes today what he expects to disbelieve tomorrow.

    Parameters
    ----------
    lives : LifeDraws (parts, draws)
    fleet : Fleet
        Its pumps' usage is that of the time to come.
    actions : Actions
        Priced by the same draws.
    rng : Generator

    Returns
    -------
    SampleWorth

    References
    ----------
    Raiffa & Schlaifer, Applied Statistical Decision Theory (1961), chapter 4 (from memory), by
    importance weights over one set of draws.
    """
    draws = lives.shape.shape[1]
    if draws < FEWEST_ALIKE:
        return SampleWorth(worth=np.nan, error=np.nan, alike=float(draws))
    futures = int(np.clip(MOST_CELLS // fleet.age.size, 1, min(draws, MOST_FUTURES)))
    truth = rng.permutation(draws)[:futures]
    seen = simulate_records(lives, fleet, truth, rng)
    weights = belief_after(log_likelihood(lives, seen), truth)
    alike = float(np.median(1.0 / (weights**2).sum(axis=1)))
    if alike < FEWEST_ALIKE:
        return SampleWorth(worth=np.nan, error=np.nan, alike=alike)
    expected = actions.rates @ weights.T
    lowest = lowest_rates(expected, actions.ages)
    today = lowest_rates(expected.mean(axis=1)[:, None], actions.ages)[0]
    gain = expected[actions.best] - lowest
    worth = float(np.clip(today - lowest.mean(), 0.0, worth_of_knowing(actions)))
    return SampleWorth(worth=worth, error=float(gain.std() / np.sqrt(futures)), alike=alike)


def belief_after(log_likelihood: FloatArray, truth: IntArray) -> FloatArray:
    """Weights of the draws after each future, (futures, draws), each row summing to 1.

    Parameters
    ----------
    log_likelihood : float array (futures, draws)
    truth : int array (futures,)
        The draw that each future was simulated under; it gets no weight in that future.
    """
    logs = log_likelihood.copy()
    logs[np.arange(truth.size), truth] = -np.inf
    weights = np.exp(logs - logs.max(axis=1, keepdims=True))
    # weights[i, j] * future[i] * draw[j] sums to 1 over every row and alike over every column
    draw = np.ones(weights.shape[1])
    for _ in range(BALANCE_ROUNDS):
        future = 1.0 / (weights @ draw)
        mass = draw * (future @ weights)
        draw *= mass.sum() / (draw.size * np.maximum(mass, 1e-12))
    weights *= draw
    return np.asarray(weights / weights.sum(axis=1, keepdims=True))
