"""Lead times of simulated futures: one for each future of each item in each store."""

import zlib
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from pumplife.stock.asked import Key

FloatArray = NDArray[np.float64]


def own_rng(seed: int, *words: str) -> np.random.Generator:
    """A stream of its own for each thing simulated, so that their order is irrelevant."""
    return np.random.default_rng([seed, zlib.crc32("\x1f".join(words).encode())])


def order_ahead(usual: float, high: float) -> float:
    """How long ahead planned jobs are ordered for: by the high lead time where given [days]."""
    return high if high > usual else usual


def draw_lead_times(
    usual: float, high: float, replicates: int, rng: np.random.Generator
) -> FloatArray:
    """Lead times with median `usual`, exceeded once in ten beyond `high` [days].

    Lognormal, one from each of `replicates` equally likely slices, in random order; constant
    where `high` is missing or not above `usual`.
    """
    if not high > usual or usual <= 0:
        return np.full(replicates, usual)
    slices = (rng.permutation(replicates) + 0.5) / replicates
    spread = np.log(high / usual) / stats.norm.ppf(0.9)
    return np.asarray(usual * np.exp(spread * stats.norm.ppf(slices)), dtype=np.float64)


def draw_item_leads(
    keys: Sequence[Key], lead_times: dict[str, tuple[float, float]], replicates: int, seed: int
) -> FloatArray:
    """Lead times of each store and item, (keys, replicates) [days]; the same for the same seed."""
    rows = [
        draw_lead_times(*lead_times[item], replicates, own_rng(seed, store, item))
        for store, item in keys
    ]
    return np.array(rows).reshape(len(keys), replicates)
