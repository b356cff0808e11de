"""A batch of groups settled: what is believed of each, with quantiles, shares and draws."""

from __future__ import annotations

import zlib
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pumplife.weibull.arrays import Floats, Ints
from pumplife.weibull.cells import (
    Beliefs,
    Cells,
    Picks,
    believe_alone,
    draw_lives,
    find_middles,
    find_quantiles,
    find_shape_quantiles,
    find_variance,
    mix_shares,
    prior_of_cells,
)
from pumplife.weibull.early_share import SharedShares, ShareNodes, draw_shares, share_together
from pumplife.weibull.pooling import believe_together, place_scales

WIDER_PRIOR = 2.0  # times the prior's spread, to show how much hangs on it
NUMBERS = (
    "shape", "shape_low", "shape_high", "scale", "scale_low", "scale_high", "b10", "b10_low",
    "b10_high", "b10_wider_prior", "prior_share", "borrowed_share", "early_share",
    "early_share_low", "early_share_high",
)  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class Task:
    """Groups to be settled together.

    Attributes
    ----------
    cells : Cells
    labels : array (groups,)
    median, spread : arrays (groups,)
        Of the normal prior on log shape.
    shares : ShareNodes or None
        Shares of early lives considered; None where the groups only wear.
    pooled : bool
        Whether the groups lend each other strength.
    family : Any
        Label of the family; seeds what its groups have in common.
    """

    cells: Cells
    labels: NDArray[Any]
    median: Floats
    spread: Floats
    shares: ShareNodes | None
    pooled: bool
    family: Any

    def __repr__(self) -> str:
        return f"Task({len(self.labels)} groups)"

    def believe(self, share: Floats, wider: Sequence[float]) -> list[Beliefs]:
        """Return the prior on the cells, once for each factor on the visible prior's spread."""
        cells, spreads = self.cells, [factor * self.spread for factor in wider]
        if not self.pooled:
            return [believe_alone(cells, self.median, spread) for spread in spreads]
        median = float(self.median[0])
        scale = place_scales(cells, median, float(self.spread[0]), share)
        return [
            believe_together(cells, median, float(spread[0]), share, scale) for spread in spreads
        ]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class Settled:
    """What came out of a task: columns by name (groups,), and draws (4, groups, draws)."""

    numbers: dict[str, Floats]
    draws: Floats

    def __repr__(self) -> str:
        return f"Settled({self.draws.shape[1]} groups)"


def settle(task: Task, *, draws: int, seed: int) -> Settled:
    """Return quantiles, shares and draws of a task's groups.

    Draws hold, per group, p, its place for tau (filled by the caller), shape and scale.
    """
    alone = believe_alone(task.cells, task.median, task.spread)
    shared, share = _settle_shares(task, alone)
    beliefs, wider = task.believe(share, (1.0, WIDER_PRIOR))
    mass = _posterior(task.cells, beliefs, share)
    own = _posterior(task.cells, alone, share) if task.pooled else mass
    wide = _posterior(task.cells, wider, share)
    numbers = _describe(task, mass, own, wide)
    chance = _chance_of_shares(task.cells, beliefs, share)
    numbers |= _describe_shares(task, share * chance)
    drawn = _draw(task, beliefs, shared, chance, draws=draws, seed=seed)
    return Settled(numbers=numbers, draws=drawn)


def _settle_shares(task: Task, alone: Beliefs) -> tuple[SharedShares | None, Floats]:
    """Return what is believed of the shares of early lives, and the prior on each group's."""
    groups = len(task.labels)
    if task.shares is None:
        return None, np.ones((groups, 1))
    prior = alone.shape[0][..., None] * alone.scale[0]
    chance = np.einsum("ngst,gst->gn", task.cells.likelihood, prior)
    shared = share_together(task.shares, chance)
    return shared, shared.borrowed


def _posterior(cells: Cells, beliefs: Beliefs, share: Floats) -> Floats:
    """Return the posterior mass (groups, shapes, thetas) of each group's cells."""
    mass = mix_shares(cells, share) * prior_of_cells(cells, beliefs, share)
    return np.asarray(mass / mass.sum(axis=(1, 2), keepdims=True))


def _chance_of_shares(cells: Cells, beliefs: Beliefs, share: Floats) -> Floats:
    """Return the likelihood (groups, nodes) of each share, shape and scale summed out."""
    if share.shape[1] == 1:
        return np.ones_like(share)
    prior = prior_of_cells(cells, beliefs, share)
    return np.asarray(np.einsum("ngst,gst->gn", cells.likelihood, prior))


def _describe(task: Task, mass: Floats, own: Floats, wide: Floats) -> dict[str, Floats]:
    cells = task.cells
    edges = cells.edges_of_b10()
    quantiles = {
        "shape": find_shape_quantiles(cells, mass),
        "scale": find_quantiles(cells.edges, mass),
        "b10": find_quantiles(edges, mass),
    }
    numbers: dict[str, Floats] = {}
    for name, (low, middle, high) in quantiles.items():
        numbers |= {
            name: np.exp(middle),
            f"{name}_low": np.exp(low),
            f"{name}_high": np.exp(np.minimum(high, 700.0)),
        }
    log_b10 = find_middles(edges)
    spread = find_variance(cells.log_shape[..., None], mass) / task.spread**2
    borrowed = 1.0 - find_variance(log_b10, mass) / find_variance(log_b10, own)
    return numbers | {
        "b10_wider_prior": np.exp(find_quantiles(edges, wide)[1]),
        "prior_share": np.minimum(1.0, spread),
        "borrowed_share": np.clip(borrowed, 0.0, 1.0),
    }


def _describe_shares(task: Task, weight: Floats) -> dict[str, Floats]:
    """Return the mean of p and its 5 and 95 % points; 0 where nothing ends early."""
    if task.shares is None:
        nothing = np.zeros(len(weight))
        return dict.fromkeys(("early_share", "early_share_low", "early_share_high"), nothing)
    total = np.cumsum(weight / weight.sum(axis=1, keepdims=True), axis=1)
    ends = np.column_stack([np.zeros(len(weight)), total])
    root = np.sqrt(task.shares.edges)
    low, high = (
        np.array([np.interp(level, *pair) for pair in zip(ends, root, strict=True)]) ** 2
        for level in (0.05, 0.95)
    )
    mean = (weight * task.shares.share).sum(axis=1) / weight.sum(axis=1)
    return {"early_share": mean, "early_share_low": low, "early_share_high": high}


def _draw(
    task: Task,
    beliefs: Beliefs,
    shared: SharedShares | None,
    chance: Floats,
    *,
    draws: int,
    seed: int,
) -> Floats:
    """Return (4, groups, draws) of p, 1, shape and scale."""
    together = seed_of(seed, ("family", plain(task.family)))
    scale_node, shape_node = np.divmod(
        pick_nodes(beliefs.weight.ravel(), draws, together), beliefs.weight.shape[1]
    )
    levels = np.stack([_draw_levels(seed_of(seed, label), draws) for label in task.labels])
    values = np.ones((4, len(task.labels), draws))
    share_node = np.zeros((len(task.labels), draws), dtype=np.intp)
    values[0] = 0.0
    if task.shares is not None and shared is not None:
        common = pick_nodes(shared.common, draws, together)
        share_node, values[0] = draw_shares(task.shares, shared, chance, levels[:, 3:], common)
    picks = Picks(
        scale_node=scale_node, shape_node=shape_node, share_node=share_node, levels=levels
    )
    log_shape, log_scale = draw_lives(task.cells, beliefs, picks)
    values[2:] = np.exp(log_shape), np.exp(np.minimum(log_scale, 700.0))
    return values


def _draw_levels(generator: np.random.Generator, draws: int) -> Floats:
    """Return uniform numbers (5, draws), the first row stratified."""
    levels = generator.random((5, draws))
    levels[0] = (generator.permutation(draws) + levels[0]) / draws
    return levels


def pick_nodes(weight: Floats, draws: int, generator: np.random.Generator) -> Ints:
    """Return the node of each draw, in proportion to the nodes' weights, in random order."""
    total = np.cumsum(weight)
    level = (generator.permutation(draws) + generator.random(draws)) / draws * total[-1]
    node: Ints = np.searchsorted(total, level).astype(np.intp)
    return np.minimum(node, len(total) - 1)


def seed_of(seed: int, label: Any) -> np.random.Generator:
    """Return the generator of one group or family, from the seed and its label."""
    return np.random.default_rng([seed, zlib.crc32(repr(plain(label)).encode())])


def plain(label: Any) -> Any:
    """Return a label as Python's own kind of value, so that its repr doesn't depend on numpy."""
    return label.item() if isinstance(label, np.generic) else label
