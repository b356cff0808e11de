"""Cells of shape and scale under a prior: their masses, quantiles, variances and draws."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import special

from pumplife.weibull.arrays import Floats, Ints, sum_by
from pumplife.weibull.grid import Grid
from pumplife.weibull.likelihood import LogLives

B10 = float(np.log(-np.log(0.9)))
LEVELS = np.array([0.05, 0.5, 0.95])
AT_ONCE = 4_000_000  # cells x draws worked on at once


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class Cells:
    """The likelihood of some groups on cells of log shape and log scale.

    Attributes
    ----------
    log_shape : array (groups, shapes)
        Middles of equal cells.
    edges : array (groups, shapes, thetas + 1) [log usage]
        Log scales at the edges of the cells, falling.
    likelihood : array (nodes, groups, shapes, thetas)
        Mean likelihood of each cell, relative to the group's highest; one node for each share of
        early lives that is considered.
    failures : array (groups,)
    thin : array (groups, shapes, thetas) of bool
        Cells in which hardly a failure would have been expected: believed in only on the word of
        other groups.
    """

    log_shape: Floats
    edges: Floats
    likelihood: Floats
    failures: Floats
    thin: NDArray[np.bool_]

    def __repr__(self) -> str:
        return f"Cells{self.likelihood.shape}"

    @property
    def step(self) -> Floats:
        """Return the width of the cells of log shape (groups,)."""
        return np.asarray(self.log_shape[:, 1] - self.log_shape[:, 0])

    def take(self, members: Ints) -> Cells:
        """Return the given groups."""
        return Cells(
            log_shape=self.log_shape[members],
            edges=self.edges[members],
            likelihood=self.likelihood[:, members],
            failures=self.failures[members],
            thin=self.thin[members],
        )

    def edges_of_b10(self) -> Floats:
        """Return the log B10 lives (groups, shapes, thetas + 1) at the edges of the cells."""
        return np.asarray(self.edges + B10 / np.exp(self.log_shape)[..., None])


def build_cells(lives: LogLives, grid: Grid, mass: Floats) -> Cells:
    """Return the cells of a grid; mass (nodes, shapes, thetas, groups) is the log-likelihood."""
    steps = np.linspace(0.0, 1.0, mass.shape[2] + 1)
    low, high = grid.low.T[..., None], grid.high.T[..., None]
    theta = low + steps * (high - low)
    highest = mass.max(axis=(0, 1, 2))
    with np.errstate(under="ignore"):
        likelihood = np.exp(np.moveaxis(mass, 3, 1) - highest[:, None, None])
    return Cells(
        log_shape=np.ascontiguousarray(grid.log_shape.T),
        edges=lives.log_unit[:, None, None] - theta / np.exp(grid.log_shape.T)[..., None],
        likelihood=likelihood,
        failures=count_failures(lives),
        thin=theta[..., 1:] <= grid.least.T[..., None],
    )


def count_failures(lives: LogLives) -> Floats:
    """Return the failures (groups,), exact ones and those between two ages."""
    spans = lives.between
    if spans is None or spans.weight is None:
        return lives.failures
    return lives.failures + sum_by(spans.code, spans.weight, len(lives))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class Beliefs:
    """A prior on each group's cells, as a mixture over nodes that the groups have in common.

    Attributes
    ----------
    shape : array (shape nodes, groups, shapes)
        Prior chance of each cell of log shape.
    scale : array (scale nodes, groups, shapes, thetas)
        Prior chance of each cell of log scale, given the shape.
    weight : array (scale nodes, shape nodes)
        Chances of the nodes once all groups have spoken; they sum to 1.
    """

    shape: Floats
    scale: Floats
    weight: Floats

    def __repr__(self) -> str:
        return f"Beliefs({self.weight.shape[0]} x {self.weight.shape[1]} nodes)"


def normal_cells(edges: Floats, mean: Floats, spread: Floats) -> Floats:
    """Return the normal chance of each cell between edges (..., cells + 1), rising or falling.

    Counted from the nearer tail, so that far cells keep a chance above zero.
    """
    standard = (edges - mean) / spread
    tail = special.ndtr(-np.abs(standard))
    first, last = tail[..., :-1], tail[..., 1:]
    astride = (standard[..., :-1] < 0.0) != (standard[..., 1:] < 0.0)
    return np.asarray(np.where(astride, 1.0 - first - last, np.abs(first - last)))


def shape_edges(cells: Cells) -> Floats:
    """Return the edges (groups, shapes + 1) of the cells of log shape."""
    steps = np.arange(cells.log_shape.shape[1] + 1) - 0.5
    return np.asarray(cells.log_shape[:, :1] + steps * cells.step[:, None])


def believe_alone(cells: Cells, median: Floats, spread: Floats) -> Beliefs:
    """Return the prior of groups that stand alone; median and spread (groups,) of log shape.

    Given the shape, flat in log scale. Where less than one failure was seen the likelihood doesn't
    end that, and the longest scale believed in is that at which FEWEST_EXPECTED failures would have
    been expected; the prior is then flat in the log of the failures expected, so that no failure
    says nothing about shape.
    """
    shape = normal_cells(shape_edges(cells), median[:, None], spread[:, None])
    silent = 1.0 - np.minimum(1.0, cells.failures)
    width = (
        np.abs(np.diff(cells.edges, axis=-1)) * np.exp(silent[:, None] * cells.log_shape)[..., None]
    )
    scale = np.where(cells.thin, 0.0, width)
    return Beliefs(shape=shape[None], scale=scale[None], weight=np.ones((1, 1)))


def find_chances(cells: Cells, beliefs: Beliefs, share: Floats) -> Floats:
    """Return the chance (groups, scale nodes, shape nodes) of each group's lives at each node.

    share (groups, nodes of p) is the prior on the share of early lives.
    """
    likelihood = mix_shares(cells, share)
    over_scale = np.einsum("gst,bgst->gbs", likelihood, beliefs.scale, optimize=True)
    return np.asarray(np.matmul(over_scale, np.moveaxis(beliefs.shape, 0, 2)))


def mix_shares(cells: Cells, share: Floats) -> Floats:
    """Return the likelihood (groups, shapes, thetas) with the share of early lives summed out."""
    if cells.likelihood.shape[0] == 1:
        return np.asarray(cells.likelihood[0])
    return np.asarray(np.einsum("ngst,gn->gst", cells.likelihood, share))


def prior_of_cells(cells: Cells, beliefs: Beliefs, share: Floats) -> Floats:
    """Return what all the other groups and the prior say of each group's cells.

    (groups, shapes, thetas); times the group's own likelihood it is the group's posterior.
    """
    chance = find_chances(cells, beliefs, share)
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = np.where(beliefs.weight > 0.0, beliefs.weight / chance, 0.0)
    by_shape = np.matmul(ratio, np.moveaxis(beliefs.shape, 1, 0))
    return np.asarray(np.einsum("gbs,bgst->gst", by_shape, beliefs.scale, optimize=True))


def find_quantiles(edges: Floats, mass: Floats) -> Floats:
    """Return the 5, 50 and 95 % points (3, groups) of what lies evenly between falling edges.

    edges (groups, shapes, thetas + 1) bound cells of mass (groups, shapes, thetas).
    """
    density = mass / np.maximum(edges[..., :-1] - edges[..., 1:], 1e-300)
    nothing = np.zeros_like(density[..., :1])
    rise = -np.diff(np.concatenate([nothing, density, nothing], axis=-1), axis=-1)
    flat = (len(edges), -1)
    order = np.argsort(edges.reshape(flat), axis=1)
    place = np.take_along_axis(edges.reshape(flat), order, axis=1)
    slope = np.cumsum(np.take_along_axis(rise.reshape(flat), order, axis=1), axis=1)[:, :-1]
    total = np.cumsum(np.maximum(slope, 0.0) * np.diff(place, axis=1), axis=1)
    return _cross_levels(place, np.column_stack([nothing[:, 0, 0], total]))


def _cross_levels(place: Floats, total: Floats) -> Floats:
    """Return where rising totals (groups, points) cross each level of their last value."""
    rows = np.arange(len(place))
    found = []
    for level in LEVELS:
        sought = level * total[:, -1]
        after = np.clip((total < sought[:, None]).sum(axis=1), 1, total.shape[1] - 1)
        low, high = total[rows, after - 1], total[rows, after]
        share = (sought - low) / np.where(high > low, high - low, 1.0)
        step = place[rows, after] - place[rows, after - 1]
        found.append(place[rows, after - 1] + share * step)
    return np.stack(found)


def find_shape_quantiles(cells: Cells, mass: Floats) -> Floats:
    """Return the 5, 50 and 95 % points (3, groups) of log shape; mass (groups, shapes, thetas)."""
    total = np.cumsum(mass.sum(axis=2), axis=1)
    return _cross_levels(shape_edges(cells), np.column_stack([0.0 * total[:, 0], total]))


def find_middles(edges: Floats) -> Floats:
    """Return the middles of cells between edges (..., cells + 1)."""
    return np.asarray(0.5 * (edges[..., 1:] + edges[..., :-1]))


def find_variance(values: Floats, mass: Floats) -> Floats:
    """Return the variance (groups,) of values over cells (groups, shapes, thetas)."""
    total = mass.sum(axis=(1, 2))
    mean = (mass * values).sum(axis=(1, 2)) / total
    off = values - mean[:, None, None]
    return np.asarray((mass * off**2).sum(axis=(1, 2)) / total)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class Picks:
    """Nodes and levels of the draws.

    Attributes
    ----------
    scale_node, shape_node : arrays (draws,)
    share_node : array (groups, draws)
    levels : array (groups, 3, draws)
        Uniform numbers that pick the shape, the scale's cell and the place in it; the first are
        stratified, so that quantiles of shapes hardly depend on the seed.
    """

    scale_node: Ints
    shape_node: Ints
    share_node: Ints
    levels: Floats

    def __repr__(self) -> str:
        return f"Picks({self.share_node.shape[1]} draws)"


def draw_lives(cells: Cells, beliefs: Beliefs, picks: Picks) -> tuple[Floats, Floats]:
    """Return draws (groups, draws) of log shape and log scale, continuous within cells."""
    groups, draws = picks.share_node.shape
    some = max(1, AT_ONCE // (draws * max(cells.likelihood.shape[2:])))
    parts = [
        _draw_some(cells, beliefs, picks, np.arange(first, min(first + some, groups)))
        for first in range(0, groups, some)
    ]
    return np.concatenate([part[0] for part in parts]), np.concatenate([part[1] for part in parts])


def _draw_some(cells: Cells, beliefs: Beliefs, picks: Picks, rows: Ints) -> tuple[Floats, Floats]:
    group, node = rows[:, None], picks.share_node[rows]
    level = picks.levels[rows]
    likelihood = cells.likelihood[:, rows]
    sums = np.einsum("ngst,bgst->nbgs", likelihood, beliefs.scale[:, rows], optimize=True)
    here = np.arange(len(rows))[:, None]
    by_shape = sums[node, picks.scale_node, here]
    by_shape = by_shape * beliefs.shape[picks.shape_node, group]
    cell, within = _pick(by_shape, level[:, 0])
    log_shape = cells.log_shape[group, cell] + (within - 0.5) * cells.step[rows][:, None]
    by_scale = cells.likelihood[node, group, cell]
    by_scale = by_scale * beliefs.scale[picks.scale_node, group, cell]
    place, _ = _pick(by_scale, level[:, 1])
    share = (place + level[:, 2]) / by_scale.shape[2]
    return log_shape, _place_scale(cells, rows, log_shape, share)


def _pick(weight: Floats, level: Floats) -> tuple[Ints, Floats]:
    """Return the cell that a level of 0 to 1 falls in, and how far into it."""
    total = np.cumsum(weight, axis=-1)
    sought = level * total[..., -1]
    cell = np.minimum((total < sought[..., None]).sum(axis=-1), weight.shape[-1] - 1)
    after = np.take_along_axis(total, cell[..., None], axis=-1)[..., 0]
    width = np.take_along_axis(weight, cell[..., None], axis=-1)[..., 0]
    within = 1.0 - (after - sought) / np.where(width > 0.0, width, 1.0)
    return cell.astype(np.intp), np.clip(within, 0.0, 1.0)


def _place_scale(cells: Cells, rows: Ints, log_shape: Floats, share: Floats) -> Floats:
    """Return log scales at a share of the range that belongs to each drawn shape."""
    position = (log_shape - cells.log_shape[rows, :1]) / cells.step[rows][:, None]
    last = cells.log_shape.shape[1] - 1
    before = np.clip(np.floor(position), 0, last - 1).astype(np.intp)
    part = np.clip(position - before, 0.0, 1.0)
    group = rows[:, None]
    ends = [
        cells.edges[group, before, edge] * (1.0 - part)
        + cells.edges[group, before + 1, edge] * part
        for edge in (0, -1)
    ]
    return np.asarray(ends[0] + share * (ends[1] - ends[0]))
