"""What it would be worth a year to know the lives: all of them, or those of one part."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pumplife.policy.costs import SideCosts
from pumplife.policy.interval import cost_rate
from pumplife.policy.pump import FloatArray, SideIntegrals
from pumplife.policy.simulate import IntArray
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

    @property
    def lowest(self) -> float:
        """The lowest expected cost rate [money / usage unit]."""
        return float(lowest_rates(self.rates.mean(axis=1)[:, None], self.ages)[0])


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
    return float(actions.lowest - lowest_rates(actions.rates, actions.ages).mean())


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
    return _read(rates, ages, _find_lowest(rates, ages))


def choose_lowest(rates: FloatArray, ages: FloatArray) -> FloatArray:
    """What is chosen where `lowest_rates` looks: the shares of the actions, (columns, actions).

    Times the actions' rates they give what the choice costs under any draw.
    """
    row, move = _find_lowest(rates, ages)
    shares, column = np.zeros((row.size, rates.shape[0])), np.arange(row.size)
    shares[column, row] = 1.0
    moved = np.flatnonzero(move)
    row, move, log_age = row[moved], move[moved], np.log(ages)
    before, after = log_age[row - 1] - log_age[row], log_age[row + 1] - log_age[row]
    shares[moved, row - 1] = move * (move - after) / (before * (before - after))
    shares[moved, row + 1] = move * (move - before) / (after * (after - before))
    shares[moved, row] = (move - before) * (move - after) / (before * after)
    return shares


_Place = tuple[IntArray, FloatArray]  # the nearest action, and how far beside it in log age


def _find_lowest(rates: FloatArray, ages: FloatArray) -> _Place:
    """Where each column is lowest."""
    row = np.argmin(rates, axis=0)
    steep, bend, (before, after) = _parabola(rates, ages, row)
    with np.errstate(divide="ignore", invalid="ignore"):
        move = -steep / (2.0 * bend)
    inside = (bend > 0.0) & (before < move) & (move < after)
    return row, np.where(inside, move, 0.0)


def _read(rates: FloatArray, ages: FloatArray, place: _Place) -> FloatArray:
    """Each column at its place."""
    row, move = place
    steep, bend, _ = _parabola(rates, ages, row)
    return np.asarray(rates[row, np.arange(row.size)] + move * (steep + bend * move))


def _parabola(
    rates: FloatArray, ages: FloatArray, row: IntArray
) -> tuple[FloatArray, FloatArray, tuple[FloatArray, FloatArray]]:
    """Slope and bend of each column at a row, and its neighbours; flat where it lacks one."""
    inner = (row > 0) & (row < ages.size - 1)
    if not inner.any():
        none = np.zeros(row.size)
        return none, none, (none, none)
    at, lane = np.where(inner, row, 1), np.arange(row.size)
    log_age = np.log(ages)
    before, after = log_age[at - 1] - log_age[at], log_age[at + 1] - log_age[at]
    here = rates[at, lane]
    fall, rise = (rates[at - 1, lane] - here) / before, (rates[at + 1, lane] - here) / after
    bend = np.where(inner, (rise - fall) / (after - before), 0.0)
    return np.where(inner, fall - bend * before, 0.0), bend, (before, after)


def worth_of_parts(actions: Actions, lives: LifeDraws) -> tuple[FloatArray, FloatArray]:
    """Expected value of knowing the life of one part, the others in doubt as they are.

    The expected cost of each action given a part's life is a cubic in log shape and log scale
    (and straight in its early share), fitted over the draws; each draw chooses by the fit
    without itself. What it then pays is too dear by the noise of the fit, what the fit promises
    too cheap by as much: the mean of both stands.

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
    rates, ages, base = actions.rates, actions.ages, actions.rates[actions.best]
    found = []
    for part in range(len(lives)):
        basis = _basis(lives[part])
        leverage = np.minimum((basis**2).sum(axis=1), 0.999)
        expected = (rates @ basis) @ basis.T
        without = (expected - leverage * rates) / (1.0 - leverage)
        place = _find_lowest(without, ages)
        paid, hoped = _read(rates, ages, place), _read(without, ages, place)
        worth = actions.lowest - 0.5 * (paid + hoped).mean()
        found.append((worth, (base - paid).std() / np.sqrt(base.size)))
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
