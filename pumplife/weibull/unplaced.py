"""What it adds to the doubt of a life that nobody wrote who failed."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import sparse

from pumplife.errors import RecordError
from pumplife.weibull.arrays import Floats, Ints
from pumplife.weibull.draws import LifeDraws
from pumplife.weibull.masked import Candidates, arrange_candidates, log_odds

STEP = 1e-4  # of a log parameter, for slopes by differences
MOST_MISSING = 0.9  # share of the information that may be called missing


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class Widening:
    """Factors by which doubt is wider than if the shares were known.

    Attributes
    ----------
    shape, scale : arrays (groups,) [-]
        Of the standard deviation of log shape and of log scale, 1 or more; 1 where the group
        has no candidates.
    """

    shape: Floats
    scale: Floats

    def __repr__(self) -> str:
        return f"Widening({int((self.shape > 1.0).sum())} of {len(self.shape)} groups)"


def widen_for_sharing(
    draws: LifeDraws,
    lower: ArrayLike,
    upper: ArrayLike,
    *,
    group: ArrayLike,
    event: ArrayLike,
    share: ArrayLike,
) -> Widening:
    """Return how much wider the doubt in each group's life is for not knowing who failed.

    The draws come from lives in which every candidate counts as failed by its share, as if the
    shares were known. What is observed is less than that: the information observed is that of
    the shared lives less the variance, given what was seen, of the slope of the log-likelihood
    [1]_. That variance ties the groups of an event together, so that all groups are solved at
    once.

    Parameters
    ----------
    draws : LifeDraws (groups, draws)
        Lives with the doubt they have for given shares.
    lower, upper : arrays (candidates,) [usage]
        Ages of the candidates, as for share_masked.
    group : array (candidates,) of int
        Row of draws.
    event : array (candidates,) of int
        Number of the failure of which exactly one candidate is the one.
    share : array (candidates,)
        Chance that it is this one, from share_masked.

    Returns
    -------
    Widening

    References
    ----------
    .. [1] T. A. Louis, "Finding the observed information matrix when using the EM algorithm",
       Journal of the Royal Statistical Society B 44, 1982 (from memory).
    """
    member, chance = np.asarray(group, dtype=np.intp), np.asarray(share, dtype=np.float64)
    low, high = np.asarray(lower, dtype=np.float64), np.asarray(upper, dtype=np.float64)
    factors = np.ones((2, len(draws)))
    if len({low.shape, high.shape, member.shape, chance.shape, np.shape(event)}) != 1:
        raise RecordError("Candidates need one lower, upper, group, event and share each.")
    if len(member):
        present, code = np.unique(member, return_inverse=True)
        candidates = arrange_candidates(low, high, np.asarray(event))
        some = draws[present]
        root = _roots(some)
        slope = np.einsum("cij,ci->cj", root[code], _slopes(candidates, _middle(some), code))
        missing = _missing(slope, code, candidates.event, chance)
        factors[:, present] = _factors(root, missing)
    return Widening(shape=factors[0], scale=factors[1])


def _middle(draws: LifeDraws) -> LifeDraws:
    """Return the median life of each group."""
    names = ("early_share", "early_scale", "shape", "scale")
    return LifeDraws(**{name: np.median(getattr(draws, name), axis=1) for name in names})


def _roots(draws: LifeDraws) -> Floats:
    """Return roots L (groups, 2, 2) of the covariance L L' of log shape and log scale."""
    logs = np.log(np.stack([draws.shape, draws.scale], axis=1))
    off = logs - logs.mean(axis=2, keepdims=True)
    covariance = np.einsum("gid,gjd->gij", off, off) / max(off.shape[2] - 1, 1)
    return np.asarray(np.linalg.cholesky(covariance + 1e-12 * np.eye(2)))


def _slopes(candidates: Candidates, life: LifeDraws, code: Ints) -> Floats:
    """Return the slopes (candidates, 2) of the log odds by log shape and log scale."""

    def odds(by_shape: float, by_scale: float) -> Floats:
        moved = LifeDraws(
            early_share=life.early_share,
            early_scale=life.early_scale,
            shape=life.shape * np.exp(by_shape),
            scale=life.scale * np.exp(by_scale),
        )
        return log_odds(candidates, moved[code])

    pairs = ((STEP, 0.0), (0.0, STEP))
    return np.stack([(odds(*up) - odds(-up[0], -up[1])) / (2.0 * STEP) for up in pairs], axis=1)


def _missing(slope: Floats, code: Ints, event: Ints, share: Floats) -> Floats:
    """Return the variance of the slopes given what was seen, over all groups' parameters."""
    rows = np.repeat(np.arange(len(code)), 2)
    columns = (2 * code[:, None] + np.arange(2)).ravel()
    shape = (len(code), 2 * (int(code.max()) + 1))
    slopes = sparse.csr_matrix((slope.ravel(), (rows, columns)), shape=shape)
    of_event = sparse.csr_matrix((share, (event, np.arange(len(event)))))
    mean = of_event @ slopes
    square = slopes.T @ slopes.multiply(share[:, None])
    return np.asarray((square - mean.T @ mean).todense())


def _factors(root: Floats, missing: Floats) -> Floats:
    """Return the factors (2, groups) from the missing information in units of the known one."""
    values, vectors = np.linalg.eigh(missing)
    wider = 1.0 / (1.0 - np.clip(values, 0.0, MOST_MISSING))
    count = len(root)
    blocks = (vectors * wider) @ vectors.T
    own = blocks.reshape(count, 2, count, 2)[np.arange(count), :, np.arange(count), :]
    observed = np.einsum("gij,gjk,glk->gil", root, own, root)
    known = np.einsum("gij,glj->gil", root, root)
    ratio = np.diagonal(observed, axis1=1, axis2=2) / np.diagonal(known, axis1=1, axis2=2)
    return np.asarray(np.sqrt(np.maximum(ratio, 1.0)).T)
