"""The mixture of wear and early lives on the grid of shape and theta, at several shares p."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pumplife.weibull.arrays import Floats
from pumplife.weibull.grid import Grid
from pumplife.weibull.likelihood import LARGEST
from pumplife.weibull.mixture import MixtureLives, early_terms

LEAST = 1e-300  # keeps the logarithm of an impossible life finite


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class _LogAges:
    """Ages over the longest of the group, in logarithms.

    Attributes
    ----------
    lower, upper, entry : arrays (rows,), (interval rows,), (late rows,)
    """

    lower: Floats
    upper: Floats
    entry: Floats

    def __repr__(self) -> str:
        return f"_LogAges({len(self.lower)} rows)"


def fill_mixture(
    lives: MixtureLives,
    grid: Grid,
    log_unit: Floats,
    *,
    share: Floats,
    tau: Floats,
) -> Floats:
    """Return the log-likelihood (nodes, shapes, thetas, groups) on the grid at each node of p.

    share and tau are (groups, nodes).
    """
    units = lives.rows(log_unit)
    ages = _LogAges(
        lower=lives.log_age - units,
        upper=np.log(lives.upper[lives.between]) - units[lives.between],
        entry=np.log(lives.entry) - units[lives.late],
    )
    early = [_early_chances(lives, units, tau[:, node]) for node in range(share.shape[1])]
    shares = [lives.rows(share[:, node]) for node in range(share.shape[1])]
    mass = np.empty((share.shape[1], *grid.mass.shape))
    for row, log_shape in enumerate(grid.log_shape):
        shape = lives.rows(np.exp(log_shape))
        powers = _powers(lives, ages, shape)
        for column, theta in enumerate(grid.theta(row)):
            wear = _wear_chances(lives, ages, shape, powers, lives.rows(theta))
            for node in range(share.shape[1]):
                mass[node, row, column] = _mixed_sum(lives, shares[node], wear, early[node])
    return mass


def _powers(lives: MixtureLives, ages: _LogAges, shape: Floats) -> tuple[Floats, Floats, Floats]:
    """Return (age / longest)^shape at lower, upper and entry."""
    with np.errstate(under="ignore"):
        return (
            np.exp(shape * ages.lower),
            np.exp(np.minimum(shape[lives.between] * ages.upper, LARGEST)),
            np.exp(shape[lives.late] * ages.entry),
        )


def _wear_chances(
    lives: MixtureLives,
    ages: _LogAges,
    shape: Floats,
    powers: tuple[Floats, Floats, Floats],
    theta: Floats,
) -> tuple[Floats, Floats]:
    """Return the chance of each life as a wear life, and of reaching the late entries."""
    lower, upper, entry = powers
    rate = np.exp(theta)
    chance = np.exp(-rate * lower)
    exact = np.flatnonzero(lives.exact)
    chance[exact] *= shape[exact] * rate[exact] * lower[exact] * np.exp(-ages.lower[exact])
    rows = lives.between
    if len(rows):
        with np.errstate(over="ignore"):
            chance[rows] *= -np.expm1(-rate[rows] * (upper - lower[rows]))
    return chance, np.exp(-rate[lives.late] * entry)


def _early_chances(lives: MixtureLives, units: Floats, tau: Floats) -> tuple[Floats, Floats]:
    scale = lives.rows(tau)
    log_chance = early_terms(lives, scale)[0] + lives.exact * units
    return np.exp(log_chance), np.exp(-lives.entry / scale[lives.late])


def _mixed_sum(
    lives: MixtureLives,
    share: Floats,
    wear: tuple[Floats, Floats],
    early: tuple[Floats, Floats],
) -> Floats:
    """Return the log-likelihood of each group."""
    total = wear[0] + share * (early[0] - wear[0])
    np.maximum(total, LEAST, out=total)
    np.log(total, out=total)
    total *= lives.weight
    value = lives.per_group(total)
    if len(lives.late):
        late = share[lives.late]
        entered = wear[1] + late * (early[1] - wear[1])
        loss = lives.weight[lives.late] * np.log(np.maximum(entered, LEAST))
        value = value - np.bincount(lives.groups.code[lives.late], loss, len(value))
    return value
