"""Fits widened for what nobody wrote: which part failed."""

from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pumplife.fits.groups import FitRows
from pumplife.weibull.draws import LifeDraws
from pumplife.weibull.estimate import WeibullFit
from pumplife.weibull.posterior import LifePosterior
from pumplife.weibull.unplaced import widen_for_sharing

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


def widen_shared(
    likely: WeibullFit, posterior: LifePosterior, rows: FitRows, event: Ints, endpoint: Ints
) -> tuple[WeibullFit, LifePosterior]:
    """Bounds and draws with the doubt about who failed in breakdowns that were shared out.

    Parameters
    ----------
    likely, posterior : WeibullFit, LifePosterior
        Fitted to `rows`, where a share of a failure counts as known.
    rows : FitRows
    event : array (lives,)
        Number of the shared failure of each life, -1 where it has none of that kind.
    endpoint : array (groups,) of int
        Number of the endpoint of each group: one failure counts once in each.
    """
    number = event[rows.life]
    own = np.flatnonzero((number >= 0) & np.isfinite(rows.upper))
    wider = widen_for_sharing(
        posterior.draws,
        rows.lower[own],
        rows.upper[own],
        group=rows.group[own],
        event=number[own] + endpoint[rows.group[own]] * (int(event.max(initial=0)) + 1),
        share=rows.weight[own],
    )
    return (
        replace(
            likely,
            **_stretch_bounds(likely, "shape", wider.shape),
            **_stretch_bounds(likely, "scale", wider.scale),
        ),
        replace(
            posterior,
            draws=_stretch_draws(posterior.draws, wider.shape, wider.scale),
            **_stretch_bounds(posterior, "shape", wider.shape),
            **_stretch_bounds(posterior, "scale", wider.scale),
        ),
    )


def _stretch_bounds(fit: Any, name: str, factor: Floats) -> dict[str, Any]:
    """Bounds that lie `factor` times as far from the estimate, in logarithms."""
    middle = np.asarray(getattr(fit, name))
    stretched = {}
    for end in (f"{name}_low", f"{name}_high"):
        bound = np.asarray(getattr(fit, end))
        with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
            moved = np.exp(np.log(middle) + factor * np.log(bound / middle))
        stretched[end] = np.where(factor > 1.0, moved, bound)
    return stretched


def _stretch_draws(draws: LifeDraws, shape: Floats, scale: Floats) -> LifeDraws:
    """Draws that lie as many times as far from their median, in logarithms."""

    def stretch(values: Floats, factor: Floats) -> Floats:
        logs = np.log(values)
        middle = np.median(logs, axis=1, keepdims=True)
        moved = np.exp(np.minimum(middle + factor[:, None] * (logs - middle), 700.0))
        return np.where(factor[:, None] > 1.0, moved, values)

    return replace(draws, shape=stretch(draws.shape, shape), scale=stretch(draws.scale, scale))
