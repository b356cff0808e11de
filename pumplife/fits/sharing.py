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
Bools = NDArray[np.bool_]


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
    factors = np.stack([wider.scale, wider.shape], axis=1)
    draws = _stretch_draws(posterior.draws, wider.shape, wider.scale)
    return (
        replace(
            likely,
            covariance=likely.covariance * factors[:, :, None] * factors[:, None, :],
            **_stretch_bounds(likely, "shape", wider.shape),
            **_stretch_bounds(likely, "scale", wider.scale),
        ),
        replace(
            posterior,
            draws=draws,
            **_bound_b10(posterior, draws, np.maximum(wider.shape, wider.scale) > 1.0),
            **_stretch_bounds(posterior, "shape", wider.shape),
            **_stretch_bounds(posterior, "scale", wider.scale),
        ),
    )


def _bound_b10(posterior: LifePosterior, draws: LifeDraws, moved: Bools) -> dict[str, Any]:
    """Bounds of the B10 life of wear [usage units] by the stretched draws."""
    b10 = draws.scale * (-np.log(0.9)) ** (1.0 / draws.shape)
    low, high = np.quantile(b10, [0.05, 0.95], axis=1)
    return {
        "b10_low": np.where(moved, np.minimum(low, posterior.b10), posterior.b10_low),
        "b10_high": np.where(moved, np.maximum(high, posterior.b10), posterior.b10_high),
    }


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
