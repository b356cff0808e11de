"""What it would be worth a year to know the lives: all of them, or those of one part."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pumplife.policy.costs import SideCosts
from pumplife.policy.interval import cost_rate
from pumplife.policy.pump import FloatArray, SideIntegrals
from pumplife.weibull.draws import LifeDraws

SURE = 2.0  # standard errors that the worth of one part must exceed to be named


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Actions:
    """What a group could be told to do within its limits, priced by each draw of its lives.

    Attributes
    ----------
    rates : float array (actions, draws)
        Cost rate of each planned interval and, where no limit asks for planned work, of running
        to failure with the kit and with the failed part alone [money / usage unit].
    ages : float array (intervals,)
        The planned intervals, which come first [usage].
    """

    rates: FloatArray
    ages: FloatArray

    def __repr__(self) -> str:
        """Count them."""
        return f"<Actions: {self.rates.shape[0]} by {self.rates.shape[1]} draws>"

    @property
    def best(self) -> int:
        """Row of the one that is cheapest in expectation."""
        return int(np.argmin(self.rates.mean(axis=1)))


def price_actions(
    at: SideIntegrals, lives: LifeDraws, count: FloatArray, costs: SideCosts, limit: float
) -> Actions:
    """Price all that a group could be told to do.

    Parameters
    ----------
    at : SideIntegrals
        Of `lay_surface`: planned intervals, and without planned work last.
    lives : LifeDraws (parts, draws)
    count : float array (parts,)
        Positions of each part.
    costs : SideCosts
    limit : float
        Longest interval that the limits allow [usage].
    """
    rates = cost_rate(at, costs.planned_money, costs.failure_money)
    if np.isfinite(limit):
        inside = at.times[:-1, 0] <= limit
        return Actions(rates=rates[:-1][inside], ages=at.times[:-1, 0][inside])
    alone = np.einsum("pd,p->d", count[:, None] / lives.mean(), costs.part_money)
    return Actions(rates=np.concatenate([rates, alone[None]]), ages=at.times[:-1, 0])


def worth_of_knowing(actions: Actions) -> float:
    """Expected value of perfect information on all lives [money / usage unit].

    References
    ----------
    Raiffa & Schlaifer, Applied Statistical Decision Theory (1961), chapter 4 (from memory).
    """
    rates = actions.rates
    return float((rates[actions.best] - lowest_rates(rates, actions.ages)).mean())


def lowest_rates(rates: FloatArray, ages: FloatArray) -> FloatArray:
    """Lowest cost rate of each column, between the intervals by a parabola in log age.

    Parameters
    ----------
    rates : float array (actions, columns)
        [money / usage unit]
    ages : float array (intervals,)
        Of the first actions, rising [usage].

    Returns
    -------
    float array (columns,)
    """
    place, last = np.log(ages), ages.size - 1
    lane = np.arange(rates.shape[1])
    lowest = rates.min(axis=0)
    if last < 2:
        return np.asarray(lowest)
    row = np.clip(np.argmin(rates[: last + 1], axis=0), 1, last - 1)
    here = rates[row, lane]
    before, after = place[row - 1] - place[row], place[row + 1] - place[row]
    fall, rise = (rates[row - 1, lane] - here) / before, (rates[row + 1, lane] - here) / after
    bend = (rise - fall) / (after - before)
    steep = fall - bend * before
    with np.errstate(divide="ignore", invalid="ignore"):
        move = -steep / (2.0 * bend)
        inside = (bend > 0.0) & (before < move) & (move < after)
        turn = np.where(inside, here + 0.5 * move * steep, np.inf)
    return np.asarray(np.minimum(lowest, turn))


def worth_of_parts(actions: Actions, lives: LifeDraws) -> tuple[FloatArray, FloatArray]:
    """Expected value of knowing the life of one part, the others in doubt as they are.

    The expected cost of each action given a part's life is a cubic in log shape and log scale
    (and straight in its early share), fitted over the draws; each draw chooses by the fit
    without itself and pays its own cost, so that chance agreement is worth nothing.

    Parameters
    ----------
    actions : Actions
    lives : LifeDraws (parts, draws)

    Returns
    -------
    worth, error : float array (parts,)
        [money / usage unit] and its standard error.

    References
    ----------
    Strong, Oakley & Brennan, Medical Decision Making 34 (2014) 311-326 (from memory): partial
    perfect information by regression; choosing without the draw itself is ours.
    """
    base = actions.rates[actions.best]
    gain = base - actions.rates
    lane = np.arange(base.size)
    found = []
    for part in range(len(lives)):
        basis = _basis(lives[part])
        leverage = np.minimum((basis**2).sum(axis=1), 0.999)
        expected = (gain @ basis) @ basis.T
        without = (expected - leverage * gain) / (1.0 - leverage)
        won = gain[np.argmax(without, axis=0), lane]
        found.append((won.mean(), won.std() / np.sqrt(won.size)))
    worth, error = np.array(found, float).T
    return np.clip(worth, 0.0, worth_of_knowing(actions)), error


def _basis(life: LifeDraws) -> FloatArray:
    """Orthonormal columns over the draws of one part, (draws, columns)."""
    x, y = (np.log(values) for values in (life.shape, life.scale))
    x, y = ((values - values.mean()) / max(values.std(), 1e-12) for values in (x, y))
    columns = [x**power * y**other for power in range(4) for other in range(4 - power)]
    columns.append(life.early_share)
    left, sizes, _ = np.linalg.svd(np.stack(columns, axis=1), full_matrices=False)
    return np.asarray(left[:, sizes > 1e-9 * sizes[0]])


def learn_first(worth: FloatArray, error: FloatArray, part: tuple[str, ...]) -> str:
    """The part whose life is most worth knowing; "" where none stands out of the noise."""
    row = int(np.argmax(worth))
    return part[row] if worth[row] > SURE * error[row] else ""
