"""The share of early lives, group by group: drawn towards its family's as far as they are alike.

Every group (a service, say) has its own share p of assembly faults, beta-distributed about its
family's mean share; how far the groups differ is estimated with the mean, on a grid of nodes.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import special

from pumplife.weibull.arrays import Floats, Ints
from pumplife.weibull.mixture import MixtureLives

NODES = 10  # shares considered per group
REACH = 1.3  # of the square root of the share, beyond what the group's own counts make likely
LARGEST = 0.4
MEANS = np.exp(np.linspace(np.log(1.0 / 6.0), np.log(3.0), 13))  # of the family's best share
LIKENESS = np.array([8.0, 25.0, 80.0, 250.0, 1000.0])  # lives' worth of the family's share


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class ShareNodes:
    """Shares of early lives considered for each group.

    Attributes
    ----------
    edges : array (groups, nodes + 1) [-]
        Of cells of p, rising.
    share : array (groups, nodes) [-]
        p in the middle of each cell, on the scale of its square root.
    mean, likeness : arrays (common nodes,)
        Beta distributions of p over groups: mean, and how many lives it is worth.
    prior : array (common nodes, groups, nodes)
        Chance of each cell under each of them.
    """

    edges: Floats
    share: Floats
    mean: Floats
    likeness: Floats
    prior: Floats

    def __repr__(self) -> str:
        return f"ShareNodes{self.share.shape}"

    def flat(self) -> Floats:
        """Return the prior (groups, nodes) of a group that stands alone: flat in p."""
        width = np.diff(self.edges, axis=1)
        return np.asarray(width / width.sum(axis=1, keepdims=True))


def place_shares(early: Floats, fitted: Floats, share: float) -> ShareNodes:
    """Return nodes that hold whatever a group's own counts or its family's make likely.

    Parameters
    ----------
    early : array (groups,)
        Expected early failures of each group.
    fitted : array (groups,)
        Lives watched while early lives fail, as if watched through.
    share : float [-]
        The family's best share.
    """
    whole = np.maximum(fitted, early + 0.5)
    low = special.betaincinv(early + 0.1, whole - early + 0.5, 1e-4)
    high = special.betaincinv(early + 1.0, whole - early + 0.5, 0.999)
    roots = np.sqrt(low) / REACH, np.minimum(REACH * np.sqrt(high), np.sqrt(LARGEST))
    steps = np.linspace(0.0, 1.0, NODES + 1)
    edges = roots[0][:, None] + steps * (roots[1] - roots[0])[:, None]
    mean, likeness = (part.ravel() for part in np.meshgrid(MEANS * share, LIKENESS))
    mean = np.minimum(mean, 0.5)
    first, second = (mean * likeness)[:, None, None], ((1.0 - mean) * likeness)[:, None, None]
    below = special.betainc(first, second, edges**2)
    below[..., 0], below[..., -1] = 0.0, 1.0
    return ShareNodes(
        edges=edges**2,
        share=(0.5 * (edges[:, 1:] + edges[:, :-1])) ** 2,
        mean=mean,
        likeness=likeness,
        prior=np.diff(below, axis=-1),
    )


def count_early(lives: MixtureLives, early: Floats, tau: Floats) -> tuple[Floats, Floats]:
    """Return each group's expected early failures, and its lives watched while such fail.

    early (rows,) is the chance that a life was an early one, tau (groups,) [usage] their mean.
    """
    failed = np.isfinite(lives.upper) * lives.weight
    scale = lives.rows(tau)
    entry = np.zeros_like(lives.lower)
    entry[lives.late] = lives.entry
    reached = np.where(np.isfinite(lives.upper), np.inf, lives.lower)
    watched = np.exp(-entry / scale) - np.exp(-reached / scale)
    return lives.per_group(failed * early), lives.per_group(lives.weight * watched)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class SharedShares:
    """What a family's groups make believable of their shares.

    Attributes
    ----------
    common : array (common nodes,)
        Chances of the distributions over groups.
    borrowed : array (groups, nodes)
        Prior on each group's p: what the other groups and the grid of distributions say.
    """

    common: Floats
    borrowed: Floats

    def __repr__(self) -> str:
        return f"SharedShares({len(self.borrowed)} groups)"


def share_together(nodes: ShareNodes, chance: Floats) -> SharedShares:
    """Return the distribution of p over a family's groups, and what it says of each.

    chance (groups, nodes) is the likelihood of each group's lives at its shares.
    """
    if len(chance) == 1:
        return SharedShares(common=np.ones(1), borrowed=nodes.flat())
    by_group = np.einsum("cgn,gn->cg", nodes.prior, chance)
    with np.errstate(divide="ignore"):
        height = np.log(by_group).sum(axis=1)
    common = np.exp(height - height.max())
    common /= common.sum()
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = np.where(common[:, None] > 0.0, common[:, None] / by_group, 0.0)
    borrowed = np.einsum("cg,cgn->gn", ratio, nodes.prior)
    return SharedShares(common=common, borrowed=borrowed / borrowed.sum(axis=1, keepdims=True))


def draw_shares(
    nodes: ShareNodes, shared: SharedShares, chance: Floats, levels: Floats, common: Ints
) -> tuple[Ints, Floats]:
    """Return the node (groups, draws) of each draw's p, and p itself.

    levels (groups, 2, draws) are uniform numbers; common (draws,) the drawn distributions.
    """
    prior = shared.borrowed[None] if len(chance) == 1 else nodes.prior
    weight = np.moveaxis(prior[common] * chance, 0, 1)
    total = np.cumsum(weight, axis=-1)
    sought = levels[:, 0] * total[..., -1]
    node = np.minimum((total < sought[..., None]).sum(axis=-1), weight.shape[-1] - 1)
    root = np.sqrt(nodes.edges)
    low = np.take_along_axis(root, node, axis=1)
    high = np.take_along_axis(root, node + 1, axis=1)
    return node.astype(np.intp), np.asarray((low + levels[:, 1] * (high - low)) ** 2)
