"""Early lives: assembly faults that end a part long before wear could, pooled over a family."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

from pumplife.errors import RecordError
from pumplife.weibull.arrays import (
    Bools,
    Floats,
    Groups,
    Ints,
    LifeArrays,
    check_lives,
    find_groups,
)
from pumplife.weibull.climb import Rules, State, climb, invert_upright, respond
from pumplife.weibull.estimate import fit_weibull
from pumplife.weibull.merge import merge_close
from pumplife.weibull.mixture import MixtureLives, build_mixture_lives

LEAST_EVIDENCE = 2.8  # see _need_evidence
STEEP, PER_SHAPE = 1.95, 6.0  # below that shape of wear, more evidence per unit of shape
MANY, PER_LOG_FAILURES = 60.0, 1.5  # beyond that many failures, more per unit of their logarithm
FEWEST_EARLY = 0.5  # expected early failures below which nothing is called found
LARGEST_SHARE = 0.25
LONGEST_EARLY = 0.15  # of the wear scale
NODES = np.linspace(-2.4, 2.4, 7)  # standard errors of logit p
STEEPER = np.array([0.25, 0.0])  # wear is steeper once early lives are taken out


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class EarlyLives:
    """Early lives per family, and wear freed from them per group.

    Attributes
    ----------
    families : array (families,)
        Sorted family labels.
    share, share_low, share_high : arrays (families,) [-]
        Share of lives that end early, and its 90 % interval; NaN where nothing failed.
    early_scale : array (families,) [usage]
        Mean early life.
    evidence : array (families,)
        Twice the gain in log-likelihood over wear alone.
    needed : array (families,)
        The evidence from which early lives count as found.
    early_failures : array (families,)
        Expected number of early failures.
    found : array (families,) of bool
        Whether the family has early lives beyond doubt (see find_early_lives).
    node_share, node_scale, node_weight : arrays (families, nodes)
        Shares p, early scales and their posterior weights (flat prior on p).
    groups : array (groups,)
        Sorted group labels.
    group_family : array (groups,)
        Family number of each group.
    shape, scale : arrays (groups,) [-], [usage]
        Wear given the best p where found, else wear alone.
    """

    families: NDArray[Any]
    share: Floats
    share_low: Floats
    share_high: Floats
    early_scale: Floats
    evidence: Floats
    needed: Floats
    early_failures: Floats
    found: Bools
    node_share: Floats
    node_scale: Floats
    node_weight: Floats
    groups: NDArray[Any]
    group_family: Ints
    shape: Floats
    scale: Floats

    def __repr__(self) -> str:
        return f"EarlyLives({int(self.found.sum())} found in {len(self.families)} families)"


def find_early_lives(
    lower: ArrayLike,
    upper: ArrayLike,
    entry: ArrayLike | None = None,
    weight: ArrayLike | None = None,
    *,
    group: Sequence[Any] | NDArray[Any],
    family: Sequence[Any] | NDArray[Any],
) -> EarlyLives:
    """Look for assembly faults among lives, pooled over the groups of each family.

    A family's share p and mean tau of early lives are common to its groups, each of which wears
    with its own shape and scale. tau is at most 0.15 of the family's scale; groups are loosely
    held near their family (standard deviation 1 in log shape, 2 in log scale) so that a group
    with no failure has finite values too. Found means: twice the gain in log-likelihood is as
    much as fewer than one in twenty families that only wear would show, p is at most 0.25.

    Parameters
    ----------
    lower, upper, entry, weight : arrays (rows,)
        Lives, as for fit_weibull.
    group, family : sequences (rows,)
        Labels; every group belongs to one family.

    Returns
    -------
    EarlyLives

    Notes
    -----
    The gain has no chi-square distribution where there are no early lives (p is then on its
    bound and tau is nothing), so that its threshold is measured on simulated families. It falls
    with the shape of wear: the less wear a part shows, the more early failures it has without any
    fault. tests/prove/results.csv tells how often faults are found and falsely seen.
    """
    lives = check_lives(lower, upper, entry, weight)
    groups = find_groups(group, len(lives.lower))
    kinds, code = np.unique(np.asarray(family), return_inverse=True)
    group_family = _match_families(groups, code)
    mixture, present = _arrange(lives, groups, group_family, len(kinds))
    columns = (lives.lower, lives.upper, lives.entry, lives.weight)
    pooled = fit_weibull(*columns, group=code, bounds="wald")
    known = np.asarray(pooled.reason == "")
    plain, best, nodes = _climb_all(mixture, pooled.shape, pooled.scale, known)
    numbers = _judge(plain, best, nodes, known, _need_evidence(mixture, best))
    wear = np.full((2, len(groups.labels)), np.nan)
    wear[:, present] = _choose_wear(plain, best, numbers["found"], known, mixture.family)
    return EarlyLives(
        families=kinds,
        node_share=nodes[0],
        node_scale=nodes[1],
        node_weight=nodes[2],
        groups=groups.labels,
        group_family=group_family,
        shape=wear[0],
        scale=wear[1],
        **numbers,
    )


def _judge(
    plain: State,
    best: State,
    nodes: tuple[Floats, Floats, Floats],
    known: Bools,
    needed: Floats,
) -> dict[str, Any]:
    """Return the families' numbers, NaN where nothing is known, and which have early lives."""
    low, high = _bound_share(nodes[0], nodes[2])
    numbers = {
        "share": special.expit(best.common[:, 0]),
        "share_low": low,
        "share_high": high,
        "early_scale": np.exp(best.common[:, 1]),
        "evidence": 2.0 * (best.value - plain.value),
        "needed": needed,
        "early_failures": best.slopes.early,
    }
    found = (numbers["evidence"] >= needed) & (numbers["share"] <= LARGEST_SHARE)
    found &= (numbers["early_failures"] >= FEWEST_EARLY) & known
    return {name: np.where(known, value, np.nan) for name, value in numbers.items()} | {
        "found": found
    }


def _need_evidence(lives: MixtureLives, best: State) -> Floats:
    """Return the evidence from which a family has early lives, by its wear and its failures.

    Its shape is the mean over groups, weighted by their failures. With many failures the threshold
    rises: faults are then found anyway, and false alarms become rarer.
    """
    failed = lives.per_group(lives.weight * np.isfinite(lives.upper))
    failures = lives.per_family(failed)
    mean = lives.per_family(failed * best.own[:, 0]) / np.maximum(failures, 1e-300)
    lacking = np.maximum(STEEP - np.exp(mean), 0.0)
    many = np.log(np.maximum(failures / MANY, 1.0))
    return np.asarray(LEAST_EVIDENCE + PER_SHAPE * lacking + PER_LOG_FAILURES * many)


def _choose_wear(plain: State, best: State, found: Bools, known: Bools, family: Ints) -> Floats:
    """Return shape and scale (2, groups) of wear beside early lives where found, else alone."""
    own = np.where(found[family][:, None], best.own, plain.own)
    return np.where(known[family], np.exp(own).T, np.nan)


def _match_families(groups: Groups, code: NDArray[Any]) -> Ints:
    """Return the family of each group, or say which group has two."""
    sorted_code = code if groups.order is None else code[groups.order]
    first = np.minimum.reduceat(sorted_code, groups.start)
    last = np.maximum.reduceat(sorted_code, groups.start)
    if (first != last).any():
        label = groups.labels[int(np.argmax(first != last))]
        raise RecordError(f"Group {label!r} is in two families: give each group one family.")
    return np.asarray(first, dtype=np.intp)


def _arrange(
    lives: LifeArrays, groups: Groups, family: Ints, families: int
) -> tuple[MixtureLives, Ints]:
    """Return the lives that say something, sorted, and the numbers of the groups that have any."""
    ordered = lives if groups.order is None else lives.take(groups.order)
    seen = np.isfinite(ordered.upper) | (ordered.lower > ordered.entries())
    kept = seen & (ordered.weights() > 0.0)
    present, code = np.unique(groups.code[kept], return_inverse=True)
    size = np.bincount(code, minlength=len(present)).astype(np.intp)
    smaller = Groups(
        labels=groups.labels[present],
        order=None,
        code=code.astype(np.intp),
        start=(np.cumsum(size) - size).astype(np.intp),
        size=size,
    )
    merged = merge_close(ordered.take(kept), smaller)
    return build_mixture_lives(*merged, family[present], families), present


def _climb_all(
    lives: MixtureLives, shape: Floats, scale: Floats, known: Bools
) -> tuple[State, State, tuple[Floats, Floats, Floats]]:
    """Return the best wear alone, the best mixture, and the nodes of p about it."""
    centre = np.log(np.column_stack([np.where(known, shape, 2.0), np.where(known, scale, 1.0)]))
    ceiling = np.log(LONGEST_EARLY) + centre[:, 1]
    rules = Rules(centre=centre[lives.family], ceiling=ceiling, free=np.array([False, False]))
    common = np.column_stack([np.full(lives.families, -np.inf), ceiling - 1.0])
    plain = climb(lives, rules.centre.copy(), common, rules, 25)
    both = replace(rules, free=np.array([True, True]))
    best = None
    for share in (0.03, 0.12):
        for depth in (0.0, 1.2, 2.5):
            common = np.column_stack(
                [np.full(lives.families, special.logit(share)), ceiling - depth]
            )
            trial = climb(lives, plain.own + STEEPER, common, both, 7)
            best = trial if best is None else _better(best, trial, lives.family)
    assert best is not None
    best = climb(lives, best.own, best.common, both, 40)
    return plain, best, _find_nodes(lives, best, rules)


def _better(first: State, second: State, family: Ints) -> State:
    """Return, family by family, the higher of two states; derivatives are the caller's to renew."""
    wins = second.value > first.value
    return State(
        own=np.where(wins[family][:, None], second.own, first.own),
        common=np.where(wins[:, None], second.common, first.common),
        value=np.where(wins, second.value, first.value),
        slopes=first.slopes,
    )


def _find_nodes(lives: MixtureLives, best: State, rules: Rules) -> tuple[Floats, Floats, Floats]:
    """Return shares, early scales and posterior weights (families, nodes) about the best share."""
    through, matrix = respond(lives, best, replace(rules, free=np.array([True, True])))
    spread = np.clip(np.sqrt(invert_upright(matrix)[:, 0, 0]), 0.05, 1.0)
    only_tau = replace(rules, free=np.array([False, True]))
    values, logits, taus = [], [], []
    for node in NODES:
        start = best.common.copy()
        start[:, 0] = np.clip(best.common[:, 0] + node * spread, -12.0, 1.0)
        off = (start - best.common)[lives.family, 0]
        state = climb(lives, best.own + off[:, None] * through[:, :, 0], start, only_tau, 6)
        values.append(state.value)
        logits.append(state.common[:, 0])
        taus.append(state.common[:, 1])
    share = special.expit(np.column_stack(logits))
    height = np.column_stack(values) + np.log(share * (1.0 - share))
    weight = np.exp(height - height.max(axis=1, keepdims=True))
    return share, np.exp(np.column_stack(taus)), weight / weight.sum(axis=1, keepdims=True)


def _bound_share(share: Floats, weight: Floats) -> tuple[Floats, Floats]:
    """Return the 5 % and 95 % points of the share from its nodes, each row sorted."""
    middle = np.cumsum(weight, axis=1) - 0.5 * weight
    ends = [
        [np.interp(level, total, row) for total, row in zip(middle, share, strict=True)]
        for level in (0.05, 0.95)
    ]
    return np.asarray(ends[0]), np.asarray(ends[1])
