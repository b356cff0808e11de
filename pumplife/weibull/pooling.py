"""Partial pooling: like groups lend each other scale and shape, as far as they prove alike.

Log scales of a family's groups are normal about a mean that is unknown (flat) with a spread that
is estimated; log shapes are normal about a mean that itself has the visible prior. The prior's
variance is split between the family's mean and its groups, so that any single group has exactly
the visible prior, and a family of one borrows nothing. Means and spreads are integrated over a
grid of nodes, placed where they matter.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pumplife.weibull.arrays import Floats
from pumplife.weibull.cells import (
    Beliefs,
    Cells,
    believe_alone,
    find_chances,
    find_middles,
    mix_shares,
    normal_cells,
    shape_edges,
)

SCALE_SPREADS = np.array([0.05, 0.11, 0.2, 0.33, 0.52, 0.85, 1.5])  # of log scale between groups
USUAL_SPREAD = 0.5  # half of the prior on that spread lies below it (half-Cauchy)
SHAPE_PARTS = np.array([0.06, 0.15, 0.3, 0.5, 0.8])  # spread of log shape over the prior's
PART_WIDTHS = np.array([0.1, 0.12, 0.18, 0.25, 0.35])  # that each of them stands for
USUAL_PART = 0.3  # one kind of wear has much the same shape in every service (half-Cauchy)
STEPS = np.linspace(-3.0, 3.0, 7)  # nodes of a mean, in standard deviations
WIDER = 1.3  # since those come from a normal approximation


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class ScaleNodes:
    """Means and spreads of log scale between a family's groups.

    Attributes
    ----------
    chance : array (nodes, groups, shapes, thetas)
        Of each cell under each node.
    height : array (nodes,)
        Log of the nodes' own prior.
    """

    chance: Floats
    height: Floats

    def __repr__(self) -> str:
        return f"ScaleNodes({len(self.height)} nodes)"


def believe_together(
    cells: Cells, median: float, spread: float, share: Floats, scale: ScaleNodes
) -> Beliefs:
    """Return what a family's groups make believable together.

    Parameters
    ----------
    cells : Cells
        Of the family's groups, two or more, of which one has a failure.
    median, spread : float
        Of the visible prior on log shape.
    share : array (groups, nodes)
        Prior on the share of early lives.
    scale : ScaleNodes
        From place_scales.

    References
    ----------
    .. [1] A. Gelman, J. B. Carlin, H. S. Stern, D. B. Dunson, A. Vehtari, D. B. Rubin, "Bayesian
       Data Analysis", third edition, CRC Press, 2013, chapter 5 (from memory).
    """
    mean, between, weight = _shape_nodes(cells, median, spread, share)
    beliefs = Beliefs(
        shape=normal_cells(shape_edges(cells), _as_nodes(mean), _as_nodes(between)),
        scale=scale.chance,
        weight=scale.height[:, None] + weight.ravel(),
    )
    chance = find_chances(cells, beliefs, share)
    with np.errstate(divide="ignore"):
        height = np.log(chance).sum(axis=0) + beliefs.weight
    total = np.exp(height - height.max())
    return Beliefs(shape=beliefs.shape, scale=beliefs.scale, weight=total / total.sum())


def place_scales(cells: Cells, median: float, spread: float, share: Floats) -> ScaleNodes:
    """Return means and spreads of log scale that a family's groups may have in common."""
    mass = _alone(cells, median, spread, share)
    mean, variance = _moments(find_middles(cells.edges), mass)
    nothing = np.zeros_like(SCALE_SPREADS)
    nodes, width = _place_means(mean, variance, SCALE_SPREADS**2, nothing, nothing)
    spreads = _as_nodes(SCALE_SPREADS[:, None] + 0.0 * nodes)
    chance = normal_cells(cells.edges, _as_nodes(nodes)[..., None], spreads[..., None])
    density = SCALE_SPREADS / (1.0 + (SCALE_SPREADS / USUAL_SPREAD) ** 2)
    height = np.log(density * width)[:, None] + 0.0 * nodes
    return ScaleNodes(chance=chance, height=height.ravel())


def _alone(cells: Cells, median: float, spread: float, share: Floats) -> Floats:
    """Return the posterior mass (groups, shapes, thetas) of each group by itself."""
    same = np.ones(len(cells.failures))
    beliefs = believe_alone(cells, median * same, spread * same)
    mass = mix_shares(cells, share) * beliefs.shape[0][..., None] * beliefs.scale[0]
    return np.asarray(mass / mass.sum(axis=(1, 2), keepdims=True))


def _moments(values: Floats, mass: Floats) -> tuple[Floats, Floats]:
    mean = (mass * values).sum(axis=(1, 2))
    off = values - mean[:, None, None]
    return mean, np.maximum((mass * off**2).sum(axis=(1, 2)), 1e-8)


def _shape_nodes(
    cells: Cells, median: float, spread: float, share: Floats
) -> tuple[Floats, Floats, Floats]:
    """Return means and spreads of log shape between groups, and the logs of their prior."""
    mass = _alone(cells, median, spread, share)
    mean, variance = _moments(np.broadcast_to(cells.log_shape[..., None], mass.shape), mass)
    known = np.maximum(1.0 / variance - 1.0 / spread**2, 1e-3 / spread**2)
    seen = (mean / variance - median / spread**2) / known
    between = (SHAPE_PARTS * spread) ** 2
    common = (1.0 - SHAPE_PARTS**2) * spread**2
    nodes, width = _place_means(seen, 1.0 / known, between, median / common, 1.0 / common)
    density = PART_WIDTHS / (1.0 + (SHAPE_PARTS / USUAL_PART) ** 2)
    weight = np.log(density * width / np.sqrt(common))[:, None]
    weight = weight - 0.5 * (nodes - median) ** 2 / common[:, None]
    return nodes, np.sqrt(between)[:, None] + 0.0 * nodes, weight


def _place_means(
    seen: Floats, variance: Floats, between: Floats, pull: Floats, known: Floats
) -> tuple[Floats, Floats]:
    """Return nodes (spreads, steps) of the common mean for each spread, and their distance.

    seen and variance (groups,) are what each group says; pull and known (spreads,) the prior's
    mean times precision, and its precision.
    """
    precision = 1.0 / (between[:, None] + variance)
    total = precision.sum(axis=1) + known
    centre = ((precision * seen).sum(axis=1) + pull) / total
    deviation = WIDER / np.sqrt(total)
    return centre[:, None] + deviation[:, None] * STEPS, deviation * (STEPS[1] - STEPS[0])


def _as_nodes(values: Floats) -> Floats:
    """Return values as (nodes, 1, 1), to stand beside groups and cells."""
    return values.reshape(-1, 1, 1)
