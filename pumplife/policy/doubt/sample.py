"""What half a year more of records is worth: the expected value of sample information."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pumplife.policy.doubt.knowing import (
    Actions,
    choose_lowest,
    lowest_rates,
    worth_of_knowing,
)
from pumplife.policy.doubt.records import Fleet, log_likelihood, simulate_records
from pumplife.policy.pump import FloatArray
from pumplife.policy.simulate import IntArray
from pumplife.weibull.draws import LifeDraws

MOST_CELLS = 250_000  # futures x pumps x positions simulated at once
FEWEST_ALIKE = 20.0  # draws that must still stand for what would be believed after half a year
BALANCE_ROUNDS = 10
MOST_FUTURES = 400
CLEAR = 2.0  # standard errors that a worth must exceed to be told from nothing


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SampleWorth:
    """The worth of records to come.

    Attributes
    ----------
    worth, error : float
        Expected gain by deciding with them, and its standard error by chance: of the futures
        and of the draws that stand for today's belief [money / usage unit]; NaN where too few
        draws stand for what would be believed then.
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
    worth = float(np.clip(today - lowest.mean(), 0.0, worth_of_knowing(actions)))
    return SampleWorth(worth=worth, error=worth_error(actions, weights, truth), alike=alike)


def worth_error(actions: Actions, weights: FloatArray, truth: IntArray) -> float:
    """Standard error of the worth of records, by what each draw does to it.

    A draw counts in two ways: by its weight in what is believed after each future, and as the
    truth of a future of its own.  It moves the worth only where another action than today's best
    is chosen, since beliefs weigh all draws alike over the futures.  The choices stay as they
    are: they are the cheapest, so that a small move of theirs costs nothing.

    Parameters
    ----------
    actions : Actions
    weights : float array (futures, draws)
        Belief after each future, rows summing to 1.
    truth : int array (futures,)
        The draw that each future was simulated under, each once at most.

    Returns
    -------
    float
        [money / usage unit]

    References
    ----------
    The infinitesimal jackknife: Efron & Tibshirani, An Introduction to the Bootstrap (1993),
    chapter 21 (from memory).
    """
    futures, draws = weights.shape
    expected = actions.rates @ weights.T
    today = choose_lowest(expected.mean(axis=1)[:, None], actions.ages)
    spared = (today - choose_lowest(expected, actions.ages)) @ actions.rates
    gain = np.einsum("fd,fd->f", weights, spared)
    as_belief = np.einsum("fd,fd->d", weights, spared - gain[:, None]) * draws / futures
    as_truth = gain - gain.mean()
    together = (as_belief[truth] - as_belief.mean()) * as_truth
    variance = (as_belief.var() + 2.0 * together.mean()) / draws + as_truth.var() / futures
    return float(np.sqrt(max(variance, 0.0)))


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


def say_worth(worth: float, error: float, currency: str, *, limited: bool = False) -> str:
    """Say a worth as far as it is known.

    Parameters
    ----------
    worth, error : float
        [money / year]
    currency : str
    limited : bool
        Whether a limit caps the choice: that records might move it isn't counted.

    Returns
    -------
    str
        "nothing" where no choice hangs on it, or "nothing within the limit"; "below 30 EUR" where
        it can't be told from nothing or is less than one unit of money; else "about 120 EUR",
        rounded to its error; "" where it isn't known.
    """
    if np.isnan(worth):
        return ""
    if worth == 0.0 and error == 0.0:
        return "nothing within the limit" if limited else "nothing"
    most = worth + CLEAR * error
    if worth < CLEAR * error or most < 1.0:
        return f"below {_round_up(max(most, 1.0)):,.0f} {currency}".rstrip()
    step = 10.0 ** max(np.floor(np.log10(max(error, 1e-9))), 0.0)
    return f"about {max(step * np.round(worth / step), 1.0):,.0f} {currency}".rstrip()


def _round_up(value: float) -> float:
    """Up to one digit."""
    step = 10.0 ** np.floor(np.log10(value))
    return float(step * np.ceil(value / step - 1e-9))
