"""The posterior of each group's life: few failures, a stated prior on shape, draws."""

from __future__ import annotations

import zlib
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pumplife.errors import RecordError
from pumplife.weibull.arrays import (
    Bools,
    Floats,
    Groups,
    Ints,
    LifeArrays,
    check_lives,
    find_groups,
    keep_groups,
    sort_lives,
)
from pumplife.weibull.draws import LifeDraws
from pumplife.weibull.early import EarlyLives
from pumplife.weibull.existence import NO_LIVES, SCALE_DOWN
from pumplife.weibull.grid import Grid, draw_from_grid, fill_grid, place_grid
from pumplife.weibull.likelihood import LogLives, build_log_lives
from pumplife.weibull.merge import merge_close
from pumplife.weibull.mixture import build_mixture_lives, early_terms, mix, wear_terms
from pumplife.weibull.mixture_grid import fill_mixture

SHAPES, THETAS = 36, 40
MIXED_SHAPES, MIXED_THETAS = 18, 20
COLUMNS = ("early_share", "early_scale", "shape", "scale")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class LifePosterior:
    """Posterior of Weibull lives per group.

    Attributes
    ----------
    labels : array (groups,)
        Sorted group labels.
    draws : LifeDraws (groups, draws)
        NaN where a group has a reason.
    shape, shape_low, shape_high : arrays (groups,) [-]
        Posterior median of wear's shape and its 90 % interval.
    scale, scale_low, scale_high : arrays (groups,) [usage]
        The same of wear's scale.
    prior_share : array (groups,) [-]
        Share of the answer on shape that is owed to the prior: posterior over prior variance of
        log shape, at most 1.
    reason : array (groups,) of str
        Why a group has no draws; "" where it has.
    """

    labels: NDArray[Any]
    draws: LifeDraws
    shape: Floats
    shape_low: Floats
    shape_high: Floats
    scale: Floats
    scale_low: Floats
    scale_high: Floats
    prior_share: Floats
    reason: NDArray[Any]

    def __repr__(self) -> str:
        return f"LifePosterior({len(self.labels)} groups, {self.draws.shape.shape[-1]} draws)"


def fit_posterior(
    lower: ArrayLike,
    upper: ArrayLike,
    entry: ArrayLike | None = None,
    weight: ArrayLike | None = None,
    *,
    group: Sequence[Any] | NDArray[Any],
    shape_prior_median: ArrayLike,
    shape_prior_sd: ArrayLike,
    early: EarlyLives | None = None,
    draws: int = 400,
    seed: int = 1,
) -> LifePosterior:
    """Return draws of each group's life.

    The prior on log shape is normal. Given the shape, the prior is flat in the log of the number
    of failures expected over what was observed of the group, from 0.01 upwards: with a failure or
    more its range hardly matters; with none, the scale lies between about the one at which a few
    failures would have been expected and the one at which a hundredth of one would.

    Parameters
    ----------
    lower, upper, entry, weight : arrays (rows,)
        Lives, as for fit_weibull.
    group : sequence (rows,)
        Labels, in any order.
    shape_prior_median : float or array (groups,) [-]
        Median of the prior on shape, over the sorted distinct labels.
    shape_prior_sd : float or array (groups,) [-]
        Standard deviation of log shape.
    early : EarlyLives, optional
        From find_early_lives on the same lives and groups. In families where early lives were
        found, p and tau are drawn once per draw for the whole family, and each group's shape and
        scale given them; elsewhere p is 0.
    draws : int
    seed : int
        Each group's draws depend on the seed and its own label and lives only.

    Returns
    -------
    LifePosterior
    """
    lives = check_lives(lower, upper, entry, weight)
    lives, groups = sort_lives(lives, find_groups(group, len(lives.lower)))
    prior = _check_prior(shape_prior_median, shape_prior_sd, len(groups.labels))
    reason = _find_reasons(lives, groups)
    mixed = _find_mixed(early, groups)
    values = np.full((len(COLUMNS), len(groups.labels), draws), np.nan)
    for kept, with_early in (((reason == "") & ~mixed, None), ((reason == "") & mixed, early)):
        if kept.any():
            some = keep_groups(lives, groups, kept)
            own_prior = prior[0][kept], prior[1][kept]
            if with_early is None:
                values[:, kept] = _draw_plain(*some, own_prior, draws, seed)
            else:
                values[:, kept] = _draw_mixed(
                    *some, own_prior, with_early, kept=kept, draws=draws, seed=seed
                )
    return _summarise(groups.labels, values, prior[1], reason)


def _check_prior(median: ArrayLike, spread: ArrayLike, groups: int) -> tuple[Floats, Floats]:
    """Return the prior's log median and spread, one per group."""
    both = [np.asarray(part, dtype=np.float64) for part in (median, spread)]
    if any(part.ndim and part.shape != (groups,) for part in both):
        raise RecordError(
            f"The prior on shape needs one value, or one for each of {groups} groups."
        )
    if not all(bool(((part > 0.0) & np.isfinite(part)).all()) for part in both):
        raise RecordError("The prior on shape needs a median and a spread above zero.")
    return np.log(np.broadcast_to(both[0], groups)), np.broadcast_to(both[1], groups)


def _find_reasons(lives: LifeArrays, groups: Groups) -> NDArray[Any]:
    seen = np.bincount(groups.code, lives.lower > lives.entries(), len(groups.labels))
    words = np.select([groups.size == 0, seen == 0], [NO_LIVES, SCALE_DOWN], "")
    return words.astype(object)


def _find_mixed(early: EarlyLives | None, groups: Groups) -> Bools:
    """Return the groups whose family has early lives."""
    if early is None:
        return np.zeros(len(groups.labels), dtype=bool)
    if not np.array_equal(early.groups, groups.labels):
        raise RecordError("The early lives were found on other groups: find them on these lives.")
    return np.asarray(early.found[early.group_family] & np.isfinite(early.shape))


def _seed_of(seed: int, label: Any) -> np.random.Generator:
    return np.random.default_rng([seed, zlib.crc32(repr(_plain(label)).encode())])


def _plain(label: Any) -> Any:
    return label.item() if isinstance(label, np.generic) else label


def _draw_plain(
    lives: LifeArrays,
    groups: Groups,
    prior: tuple[Floats, Floats],
    draws: int,
    seed: int,
) -> Floats:
    """Return (4, groups, draws) of lives that wear only."""
    logs = build_log_lives(lives, groups)
    grid = place_grid(logs, *prior, SHAPES, THETAS)
    values = np.zeros((len(COLUMNS), len(logs), draws))
    values[1] = 1.0
    for row, label in enumerate(groups.labels):
        generator = _seed_of(seed, label)
        log_shape, theta = draw_from_grid(grid, grid.mass[:, :, row], row, draws, generator)
        values[2:, row] = _to_life(logs, row, log_shape, theta)
    return values


def _to_life(logs: LogLives, row: int, log_shape: Floats, theta: Floats) -> Floats:
    shape = np.exp(log_shape)
    return np.stack([shape, np.exp(np.minimum(logs.log_unit[row] - theta / shape, 700.0))])


def _draw_mixed(
    lives: LifeArrays,
    groups: Groups,
    prior: tuple[Floats, Floats],
    early: EarlyLives,
    *,
    kept: Bools,
    draws: int,
    seed: int,
) -> Floats:
    """Return (4, groups, draws) of lives that wear or end early."""
    family = early.group_family[kept]
    lives, groups = merge_close(lives, groups)
    mixture = build_mixture_lives(lives, groups, family, len(early.families))
    wear = _wear_weights(early, mixture, early.shape[kept], early.scale[kept])
    logs = build_log_lives(
        LifeArrays(lower=lives.lower, upper=lives.upper, entry=lives.entry, weight=wear), groups
    )
    grid = _widen(logs, place_grid(logs, *prior, MIXED_SHAPES, MIXED_THETAS), prior)
    shares, taus = early.node_share[family], early.node_scale[family]
    mass = fill_mixture(mixture, grid, logs.log_unit, share=shares, tau=taus, prior=prior)
    picks = {one: _draw_nodes(early, one, draws, seed) for one in np.unique(family)}
    values = np.empty((len(COLUMNS), len(logs), draws))
    for row, one in enumerate(family):
        generator = _seed_of(seed, groups.labels[row])
        node = picks[one]
        values[0, row], values[1, row] = shares[row, node], taus[row, node]
        for number in np.unique(node):
            where = np.flatnonzero(node == number)
            found = draw_from_grid(grid, mass[number, :, :, row], row, len(where), generator)
            values[2:, row, where] = _to_life(logs, row, *found)
    return values


def _wear_weights(early: EarlyLives, mixture: Any, shape: Floats, scale: Floats) -> Floats:
    """Return each life's weight times the chance that it was a wear life."""
    share = mixture.rows(early.share[mixture.family])
    tau = mixture.rows(early.early_scale[mixture.family])
    terms = wear_terms(mixture, mixture.rows(np.log(shape)), mixture.rows(np.log(scale)))
    _, omega = mix(share, terms.value, early_terms(mixture, tau)[0])
    return np.asarray(mixture.weight * np.maximum(omega, 1e-12))


def _widen(logs: LogLives, grid: Grid, prior: tuple[Floats, Floats]) -> Grid:
    """Return the grid over a range of shapes half as wide again, for the doubt about p."""
    middle = 0.5 * (grid.log_shape[0] + grid.log_shape[-1])
    return fill_grid(logs, middle + 1.3 * (grid.log_shape - middle), *prior, MIXED_THETAS)


def _draw_nodes(early: EarlyLives, family: int, draws: int, seed: int) -> Ints:
    """Return the node of each draw of a family, in proportion to the nodes' weights."""
    generator = _seed_of(seed, ("family", _plain(early.families[family])))
    total = np.cumsum(early.node_weight[family])
    level = (generator.permutation(draws) + generator.random(draws)) / draws * total[-1]
    node: Ints = np.searchsorted(total, level).astype(np.intp)
    return np.minimum(node, len(total) - 1)


def _summarise(
    labels: NDArray[Any], values: Floats, spread: Floats, reason: NDArray[Any]
) -> LifePosterior:
    shape, scale = (np.quantile(values[row], [0.05, 0.5, 0.95], axis=-1) for row in (2, 3))
    variance = np.var(np.log(values[2]), axis=-1)
    return LifePosterior(
        labels=labels,
        draws=LifeDraws(**dict(zip(COLUMNS, values, strict=True))),
        shape=shape[1],
        shape_low=shape[0],
        shape_high=shape[2],
        scale=scale[1],
        scale_low=scale[0],
        scale_high=scale[2],
        prior_share=np.minimum(1.0, variance / spread**2),
        reason=reason,
    )
