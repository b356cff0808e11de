"""Early lives looked for in a family as a whole and in each of its groups by itself."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pumplife.weibull.arrays import Bools, Floats, Ints, sum_by
from pumplife.weibull.early import EarlyLives, find_early_lives


def find_early_anywhere(
    lower: ArrayLike,
    upper: ArrayLike,
    entry: ArrayLike | None = None,
    weight: ArrayLike | None = None,
    *,
    group: Sequence[Any] | NDArray[Any],
    family: Sequence[Any] | NDArray[Any],
) -> EarlyLives:
    """Return a family's early lives where the whole of it, or one of its groups, shows them.

    Faults that one service alone makes are thin over the whole family: with 6 % in one of five
    services of 80 to 250 lives, the family as a whole shows them in half of simulated plants, the
    look into each service in nine of ten. Since a family has many groups, each needs more
    evidence: as much more as makes a false alarm in any of them as rare as in the family.

    Parameters
    ----------
    lower, upper, entry, weight, group, family
        As for find_early_lives.

    Returns
    -------
    EarlyLives
        Of the families. Where only single groups showed early lives, the family's share is theirs
        thinned over all its lives, its early scale that of the group with the most evidence, and
        wear is each group's own.
    """
    columns = (lower, upper, entry, weight)
    whole = find_early_lives(*columns, group=group, family=family)
    if len(whole.groups) == len(whole.families):
        return whole
    single = find_early_lives(*columns, group=group, family=group)
    size = np.bincount(whole.group_family, minlength=len(whole.families))
    needed = single.needed + 2.0 * np.log(size[whole.group_family])
    single = replace(single, needed=needed)
    showing = single.found & (single.evidence >= needed)
    only = np.zeros(len(whole.families), dtype=bool)
    only[whole.group_family[showing]] = True
    only &= ~whole.found
    if not only.any():
        return whole
    lives = np.bincount(np.searchsorted(whole.groups, np.asarray(group)), weights=weight)
    return _take_single(whole, single, showing, only, np.asarray(lives, dtype=np.float64))


def _take_single(
    whole: EarlyLives, single: EarlyLives, showing: Bools, only: Bools, lives: Floats
) -> EarlyLives:
    """Return the families with what single groups showed in place of their own numbers."""
    family = whole.group_family
    clearest = _find_clearest(np.where(showing, single.evidence, -np.inf), family, len(only))
    early = sum_by(family, np.where(showing, single.share * lives, 0.0), len(only))
    columns: dict[str, Any] = {
        name: _choose(only, getattr(single, name)[clearest], getattr(whole, name))
        for name in (
            "early_scale",
            "evidence",
            "needed",
            "early_failures",
            "node_scale",
            "node_weight",
        )
    }
    wear = {
        name: np.where(only[family], getattr(single, name), getattr(whole, name))
        for name in ("shape", "scale")
    }
    share = early / np.maximum(sum_by(family, lives, len(only)), 1.0)
    return replace(
        whole,
        share=np.where(only, share, whole.share),
        found=whole.found | only,
        **columns,
        **wear,
    )


def _find_clearest(evidence: Floats, family: Ints, families: int) -> Ints:
    """Return the group with the most evidence in each family."""
    order = np.argsort(evidence, kind="stable")
    clearest = np.zeros(families, dtype=np.intp)
    clearest[family[order]] = order
    return clearest


def _choose(only: Bools, taken: Floats, kept: Floats) -> Floats:
    return np.where(only.reshape(-1, *[1] * (kept.ndim - 1)), taken, kept)
