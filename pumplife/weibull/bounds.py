"""Bounds of what is asked of a life: by the likelihood ratio, by Wald, and corrected."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, get_args

import numpy as np
from numpy.typing import NDArray
from scipy import special

from pumplife.errors import RecordError
from pumplife.weibull.arrays import Bools, Floats
from pumplife.weibull.batches import Peaks
from pumplife.weibull.contour import Region, find_extremes, find_region
from pumplife.weibull.corrected import Margin, find_margin, score_quantiles, shape_quantiles
from pumplife.weibull.quantities import Quantity

Bounds = Literal["likelihood", "corrected", "wald"]
STEP = 1e-4  # of log scale and log shape, for the slopes of a score


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class Band:
    """Bounds as scores.

    Attributes
    ----------
    low, high : arrays (groups,)
    middle : array (groups,)
        Median of the corrected density; NaN where there is none.
    """

    low: Floats
    high: Floats
    middle: Floats

    def __repr__(self) -> str:
        return f"Band({len(self.low)} groups)"


def check_bounds(bounds: str) -> str:
    """Return the kind of bounds, or say which kinds there are."""
    kinds = get_args(Bounds)
    if bounds not in kinds:
        raise RecordError(f"bounds is {bounds!r}: give one of {', '.join(map(repr, kinds))}.")
    return bounds


class Bounder:
    """Bounds of any quantity for the groups of one batch; what they share is worked out once."""

    __slots__ = ("bounds", "confidence", "margin", "peaks", "region")

    def __init__(self, peaks: Peaks, bounds: str, confidence: float) -> None:
        self.peaks, self.bounds, self.confidence = peaks, bounds, confidence
        self.margin: Margin | None = find_margin(peaks) if bounds == "corrected" else None
        wanted = bounds == "likelihood" or (
            self.margin is not None and not bool(self.margin.proper.all())
        )
        self.region: Region | None = find_region(peaks, confidence) if wanted else None

    def __repr__(self) -> str:
        return f"Bounder({self.bounds}, {len(self.peaks.where)} groups)"

    def kinds(self) -> NDArray[np.object_]:
        """Return which bounds each group gets: likelihood ones where there are no corrected."""
        kinds = np.full(len(self.peaks.where), self.bounds, dtype=object)
        if self.margin is not None:
            kinds[~self.margin.proper] = "likelihood"
        return kinds

    def shape(self) -> Band:
        """Return bounds of log shape."""
        if self.bounds == "wald":
            return self._wald(self.peaks.log_shape, np.sqrt(self.peaks.covariance[:, 1, 1]))
        ratio = None if self.region is None else (self.region.low, self.region.high)
        corrected = None
        if self.margin is not None:
            corrected = shape_quantiles(self.margin, self._chances())
        return self._choose(ratio, corrected)

    def score(self, quantity: Quantity) -> Band:
        """Return bounds of a quantity's score."""
        with np.errstate(over="ignore", invalid="ignore"):
            best = quantity.score(self.peaks.theta, self.peaks.log_shape)
            if self.bounds == "wald":
                return self._wald(best, np.sqrt(find_variance(self.peaks, quantity)))
            ratio = None if self.region is None else find_extremes(self.region, quantity)
            corrected = None
            if self.margin is not None:
                corrected = score_quantiles(self.margin, quantity, self._chances(), best)
            return self._choose(ratio, corrected)

    def _chances(self) -> tuple[float, float, float]:
        return 0.5 - 0.5 * self.confidence, 0.5, 0.5 + 0.5 * self.confidence

    def _wald(self, best: Floats, error: Floats) -> Band:
        reach = float(special.ndtri(0.5 + 0.5 * self.confidence)) * error
        return Band(low=best - reach, high=best + reach, middle=np.full_like(best, np.nan))

    def _choose(self, ratio: tuple[Floats, Floats] | None, corrected: Floats | None) -> Band:
        if self.margin is None or corrected is None:
            assert ratio is not None
            return Band(low=ratio[0], high=ratio[1], middle=np.full_like(ratio[0], np.nan))
        low, middle, high = corrected
        if ratio is None:
            return Band(low=low, high=high, middle=middle)
        proper: Bools = self.margin.proper
        return Band(
            low=np.where(proper, low, ratio[0]),
            high=np.where(proper, high, ratio[1]),
            middle=np.where(proper, middle, np.nan),
        )


def find_variance(peaks: Peaks, quantity: Quantity) -> Floats:
    """Return the variance (groups,) of a score, from that of log scale and log shape."""
    log_scale, log_shape = peaks.log_scale(), peaks.log_shape

    def score(by_scale: float, by_shape: float) -> Floats:
        shapes = log_shape + by_shape
        return quantity.score(-np.exp(shapes) * (log_scale + by_scale), shapes)

    def slope(first: Floats, second: Floats, near: Floats, far: Floats) -> Floats:
        return (8.0 * (first - second) - (far - near)) / (12.0 * STEP)

    slopes = np.array([
        slope(score(STEP, 0), score(-STEP, 0), score(-2 * STEP, 0), score(2 * STEP, 0)),
        slope(score(0, STEP), score(0, -STEP), score(0, -2 * STEP), score(0, 2 * STEP)),
    ])  # fmt: skip
    return np.asarray(np.einsum("ig,gij,jg->g", slopes, peaks.covariance, slopes))
