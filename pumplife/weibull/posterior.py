"""The posterior of each group's life: few failures, a stated prior on shape, like groups, draws."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
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
from pumplife.weibull.cells import Cells, build_cells, count_failures
from pumplife.weibull.draws import LifeDraws
from pumplife.weibull.early import EarlyLives
from pumplife.weibull.early_share import ShareNodes, count_early, place_shares
from pumplife.weibull.existence import NO_LIVES, SCALE_DOWN
from pumplife.weibull.grid import Grid, Place, fill_grid, place_grid
from pumplife.weibull.likelihood import LogLives, build_log_lives, profile
from pumplife.weibull.merge import merge_close
from pumplife.weibull.mixture import MixtureLives, build_mixture_lives, early_terms, mix, wear_terms
from pumplife.weibull.mixture_grid import fill_mixture
from pumplife.weibull.settle import NUMBERS, Settled, Task, pick_nodes, plain, seed_of, settle

SHAPES, THETAS = 30, 36
MIXED_SHAPES, MIXED_THETAS = 18, 20
COLUMNS = ("early_share", "early_scale", "shape", "scale")
SEEN = 0.5  # failures; a small share of an unnamed one is none
LONGER = 1.0  # e times the longest scale among like groups is still believable of one with none


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class LifePosterior:
    """Posterior of Weibull lives per group; NaN where a group has a reason.

    Attributes
    ----------
    labels : array (groups,)
        Sorted group labels.
    draws : LifeDraws (groups, draws)
    shape, shape_low, shape_high : arrays (groups,) [-]
        Posterior median of wear's shape and its 90 % interval.
    scale, scale_low, scale_high, b10, b10_low, b10_high : arrays (groups,) [usage]
        The same of wear's scale and of its B10 life.
    b10_wider_prior : array (groups,) [usage]
        The median of the B10 life had the prior on shape twice the spread.
    prior_share : array (groups,) [-]
        Share of the answer on shape that is owed to the prior: posterior over prior variance of
        log shape, at most 1.
    borrowed_share : array (groups,) [-]
        Share of the answer on the B10 life that is owed to like groups: by how much they lessen
        the variance of its logarithm.
    early_share, early_share_low, early_share_high : arrays (groups,) [-]
        Posterior mean of the share of early lives, and its 90 % interval; 0 where none were found.
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
    b10: Floats
    b10_low: Floats
    b10_high: Floats
    b10_wider_prior: Floats
    prior_share: Floats
    borrowed_share: Floats
    early_share: Floats
    early_share_low: Floats
    early_share_high: Floats
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
    family: Sequence[Any] | NDArray[Any] | None = None,
    early: EarlyLives | None = None,
    draws: int = 400,
    seed: int = 1,
) -> LifePosterior:
    """Return what is believed of each group's life, and draws of it.

    The prior on log shape is normal. A group that stands alone has a flat prior on log scale, so
    that its bounds cover what they say whatever its scale; with less than one failure the scale
    lies between about the one at which a few failures would have been expected and the one at
    which a hundredth of one would.

    The groups of a family lend each other strength. Their log scales are normal about a common
    mean, their log shapes about another, and how far groups differ is estimated from them, with
    its doubt: see pooling.py. In families where early lives were found, each group's share of them
    is drawn towards the family's in the same way: see early_share.py.

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
    family : sequence (rows,), optional
        Labels of like groups, which share one prior; every group belongs to one family. Without
        it each group stands alone.
    early : EarlyLives, optional
        From find_early_lives on the same lives, groups and families.
    draws : int
    seed : int
        A group's draws depend on the seed, its own label and lives and its family's only.

    Returns
    -------
    LifePosterior

    References
    ----------
    .. [1] A. Gelman, J. B. Carlin, H. S. Stern, D. B. Dunson, A. Vehtari, D. B. Rubin, "Bayesian
       Data Analysis", third edition, CRC Press, 2013, chapters 3 and 5 (from memory).
    """
    lives = check_lives(lower, upper, entry, weight)
    groups = find_groups(group, len(lives.lower))
    families = _find_families(family, groups, early)
    lives, groups = sort_lives(lives, groups)
    prior = _check_prior(shape_prior_median, shape_prior_sd, len(groups.labels))
    reason = _find_reasons(lives, groups)
    mixed = _find_mixed(early, groups)
    values = np.full((len(COLUMNS), len(groups.labels), draws), np.nan)
    numbers = {name: np.full(len(groups.labels), np.nan) for name in NUMBERS}
    for kept in ((reason == "") & ~mixed, (reason == "") & mixed):
        if not kept.any():
            continue
        batch = _Batch(
            where=np.flatnonzero(kept),
            median=prior[0][kept],
            spread=prior[1][kept],
            family=None if families is None else families[kept],
        )
        some = keep_groups(lives, groups, kept)
        chosen = early if bool(mixed[kept].all()) else None
        for members, found in _settle_batch(*some, batch, chosen, draws=draws, seed=seed):
            values[:, batch.where[members]] = found.draws
            for name, column in found.numbers.items():
                numbers[name][batch.where[members]] = column
    drawn = LifeDraws(**dict(zip(COLUMNS, values, strict=True)))
    return LifePosterior(labels=groups.labels, draws=drawn, reason=reason, **numbers)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class _Batch:
    """Groups of one kind: their places among all, their priors, their families."""

    where: Ints
    median: Floats
    spread: Floats
    family: NDArray[Any] | None

    def __repr__(self) -> str:
        return f"_Batch({len(self.where)} groups)"


def _find_families(
    family: Sequence[Any] | NDArray[Any] | None, groups: Groups, early: EarlyLives | None
) -> NDArray[Any] | None:
    """Return the label of each group's family."""
    if family is None:
        return None
    labels = np.asarray(family)
    if labels.shape != groups.code.shape:
        raise RecordError(f"family has shape {labels.shape}: give one label per life.")
    sorted_labels = labels if groups.order is None else labels[groups.order]
    found = sorted_labels[groups.start]
    if not np.array_equal(found[groups.code], sorted_labels):
        split = groups.code[found[groups.code] != sorted_labels][0]
        raise RecordError(
            f"Group {plain(groups.labels[split])!r} is in two families: give each group one family."
        )
    if early is not None and not np.array_equal(early.families[early.group_family], found):
        raise RecordError("The early lives were found in other families: find them in these.")
    return np.asarray(found)


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


def _settle_batch(
    lives: LifeArrays,
    groups: Groups,
    batch: _Batch,
    early: EarlyLives | None,
    *,
    draws: int,
    seed: int,
) -> Iterator[tuple[Ints, Settled]]:
    """Settle groups family by family, those that stand alone all at once."""
    labels = groups.labels
    if early is None:
        cells, shares = _wear_cells(lives, groups, batch), None
    else:
        cells, shares = _mixed_cells(lives, groups, batch, early)
    for members, pooled in _find_tasks(cells, batch, early):
        task = Task(
            cells=cells.take(members),
            labels=labels[members],
            median=batch.median[members],
            spread=batch.spread[members],
            shares=None if shares is None else shares[members[0]],
            pooled=pooled,
            family=None if early is None and not pooled else _family_of(batch, early, members[0]),
        )
        found = settle(task, draws=draws, seed=seed)
        if early is None:
            found.draws[1] = 1.0
        else:
            number = early.group_family[batch.where[members[0]]]
            found.draws[1] = _draw_scales(early, number, draws, seed)
        yield members, found


def _family_of(batch: _Batch, early: EarlyLives | None, group: int) -> Any:
    if batch.family is not None:
        return batch.family[group]
    assert early is not None
    return early.families[early.group_family[batch.where[group]]]


def _find_tasks(
    cells: Cells, batch: _Batch, early: EarlyLives | None
) -> Iterator[tuple[Ints, bool]]:
    """Yield groups that are settled together, and whether they lend each other strength."""
    alone = np.ones(len(batch.where), dtype=bool)
    if batch.family is None and early is not None:
        for family in np.unique(early.group_family[batch.where]):
            yield np.flatnonzero(early.group_family[batch.where] == family), False
        return
    for family in () if batch.family is None else np.unique(batch.family):
        members = np.flatnonzero(batch.family == family)
        pooled = _can_pool(cells.failures[members])
        if pooled or early is not None:
            _check_common_prior(batch, members)
            alone[members] = False
            yield members, pooled
    if alone.any():
        yield np.flatnonzero(alone), False


def _can_pool(failures: Floats) -> bool:
    """Whether groups can lend each other anything: two of them, and a failure in one."""
    return len(failures) > 1 and bool((failures >= SEEN).any())


def _check_common_prior(batch: _Batch, members: Ints) -> None:
    if np.ptp(batch.median[members]) > 0.0 or np.ptp(batch.spread[members]) > 0.0:
        raise RecordError("The groups of a family need one prior on shape in common.")


def _wear_cells(lives: LifeArrays, groups: Groups, batch: _Batch) -> Cells:
    """Return the cells of groups that wear only."""
    logs = build_log_lives(lives, groups)
    grid = place_grid(logs, _place(logs, batch), SHAPES, THETAS)
    return build_cells(logs, grid, grid.mass[None])


def _place(logs: LogLives, batch: _Batch) -> Place:
    """Return what decides the grid's place: the prior, and how long like groups' scales are."""
    longest = np.full(len(logs), -np.inf)
    if batch.family is not None:
        theta, _ = profile(logs, np.exp(batch.median))
        seen = count_failures(logs) >= SEEN
        log_scale = np.where(seen, logs.log_unit - theta / np.exp(batch.median), -np.inf)
        _, code = np.unique(batch.family, return_inverse=True)
        top = np.full(int(code.max()) + 1, -np.inf)
        np.maximum.at(top, code, log_scale)
        longest = top[code] + LONGER
    return Place(median=batch.median, spread=batch.spread, longest=longest)


def _mixed_cells(
    lives: LifeArrays, groups: Groups, batch: _Batch, early: EarlyLives
) -> tuple[Cells, dict[int, ShareNodes]]:
    """Return the cells of groups that wear or end early, and each family's shares by first group.

    The shares considered are each group's own nodes of p; tau is the family's best.
    """
    family = early.group_family[batch.where]
    lives, groups = merge_close(lives, groups)
    mixture = build_mixture_lives(lives, groups, family, len(early.families))
    tau = early.early_scale[family]
    wear = _chance_of_wear(early, mixture, batch.where, tau)
    counts = count_early(mixture, 1.0 - wear, tau)
    weight = np.asarray(mixture.weight * np.maximum(wear, 1e-12))
    logs = build_log_lives(
        LifeArrays(lower=lives.lower, upper=lives.upper, entry=lives.entry, weight=weight), groups
    )
    place = _place(logs, batch)
    grid = _widen(logs, place_grid(logs, place, MIXED_SHAPES, MIXED_THETAS), place)
    shares, middles = {}, []
    for one in np.unique(family):
        members = np.flatnonzero(family == one)
        nodes = place_shares(counts[0][members], counts[1][members], float(early.share[one]))
        shares[int(members[0])] = nodes
        middles.append((members, nodes.share))
    share = np.empty((len(family), middles[0][1].shape[1]))
    for members, values in middles:
        share[members] = values
    taus = np.broadcast_to(tau[:, None], share.shape)
    mass = fill_mixture(mixture, grid, logs.log_unit, share=share, tau=taus)
    return build_cells(logs, grid, mass), shares


def _chance_of_wear(early: EarlyLives, mixture: MixtureLives, where: Ints, tau: Floats) -> Floats:
    """Return the chance that each life was a wear life, at the family's best share."""
    share = mixture.rows(early.share[mixture.family])
    shape, scale = (np.log(part[where]) for part in (early.shape, early.scale))
    terms = wear_terms(mixture, mixture.rows(shape), mixture.rows(scale))
    _, omega = mix(share, terms.value, early_terms(mixture, mixture.rows(tau))[0])
    return omega


def _widen(logs: LogLives, grid: Grid, place: Place) -> Grid:
    """Return the grid over a range of shapes half as wide again, for the doubt about p."""
    middle = 0.5 * (grid.log_shape[0] + grid.log_shape[-1])
    return fill_grid(logs, middle + 1.3 * (grid.log_shape - middle), place, MIXED_THETAS)


def _draw_scales(early: EarlyLives, family: int, draws: int, seed: int) -> Floats:
    """Return a family's tau in each draw, from the scales that go with its likely shares."""
    generator = seed_of(seed, ("early scale", plain(early.families[family])))
    node = pick_nodes(early.node_weight[family], draws, generator)
    return np.asarray(early.node_scale[family][node])
