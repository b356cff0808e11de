"""Draws of a part's life: the one currency between fits, policy and stock."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

from pumplife.errors import RecordError
from pumplife.weibull.arrays import Floats


def pick(values: NDArray[Any], index: Any) -> Any:
    """Return values[index]; whole rows by their numbers in a fifth of the time."""
    rows = isinstance(index, np.ndarray) and index.ndim == 1 and index.dtype.kind == "i"
    return values.take(index, axis=0) if rows else values[index]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class LifeDraws:
    """Equally likely lives of parts: survival is (1 - p) exp(-(t/scale)^shape) + p exp(-t/tau).

    Attributes
    ----------
    early_share : array (..., draws) [-]
        p, the share of lives that end early through an assembly fault; 0 where there are none.
    early_scale : array (..., draws) [usage]
        tau, the mean of those early lives; 1.0 where there are none.
    shape : array (..., draws) [-]
        Weibull shape of wear, also β.
    scale : array (..., draws) [usage]
        Weibull scale of wear, also η.
    """

    early_share: Floats
    early_scale: Floats
    shape: Floats
    scale: Floats

    def __post_init__(self) -> None:
        shapes = {
            np.shape(field)
            for field in (self.early_share, self.early_scale, self.shape, self.scale)
        }
        if len(shapes) != 1:
            raise RecordError(f"The four arrays of draws differ in shape: {sorted(shapes)}.")

    def __repr__(self) -> str:
        return f"LifeDraws{np.shape(self.shape)}"

    def __len__(self) -> int:
        return len(self.shape)

    def __getitem__(self, index: Any) -> LifeDraws:
        """Return some of the parts: the index acts on the leading axis.

        Draws are laid side by side in memory: arrays with gaps between them cost twice the time.
        """
        fields = self.early_share, self.early_scale, self.shape, self.scale
        early_share, early_scale, shape, scale = (
            np.asarray(pick(field, index), order="C") for field in fields
        )
        return LifeDraws(early_share=early_share, early_scale=early_scale, shape=shape, scale=scale)

    def survival(self, time: ArrayLike) -> Floats:
        """Return the chance of living longer than time [usage], which broadcasts with the draws."""
        age = np.asarray(time, dtype=np.float64)
        wear = np.exp(-self._wear(age))
        if not self._has_early():
            return wear
        early = np.exp(-age / self.early_scale)
        return np.asarray((1.0 - self.early_share) * wear + self.early_share * early)

    def density(self, time: ArrayLike) -> Floats:
        """Return the density of the life [1/usage] at time [usage]; inf at 0 for shape < 1."""
        age = np.asarray(time, dtype=np.float64)
        with np.errstate(divide="ignore"):
            rate = self.shape / self.scale * np.power(age / self.scale, self.shape - 1.0)
        wear = rate * np.exp(-self._wear(age))
        if not self._has_early():
            return np.asarray(wear)
        early = np.exp(-age / self.early_scale) / self.early_scale
        return np.asarray((1.0 - self.early_share) * wear + self.early_share * early)

    def hazard(self, time: ArrayLike) -> Floats:
        """Return the failure rate [1/usage] of parts that have reached time [usage]."""
        age = np.asarray(time, dtype=np.float64)
        with np.errstate(divide="ignore"):
            rate = self.shape / self.scale * np.power(age / self.scale, self.shape - 1.0)
        if not self._has_early():
            return np.asarray(rate + 0.0 * age)
        early = self._early_part(age)
        with np.errstate(invalid="ignore"):
            wear = np.where(early < 1.0, (1.0 - early) * rate, 0.0)
        return np.asarray(wear + early / self.early_scale)

    def mean(self) -> Floats:
        """Return the mean life [usage], array (..., draws); inf beyond the largest number."""
        with np.errstate(over="ignore"):
            wear = self.scale * special.gamma(1.0 + 1.0 / self.shape)
        return np.asarray((1.0 - self.early_share) * wear + self.early_share * self.early_scale)

    def _wear(self, age: Floats) -> Floats:
        with np.errstate(divide="ignore"):
            logs = np.log(age) - np.log(self.scale)  # dearer powers are spared
        return np.asarray(np.exp(self.shape * logs))

    def _has_early(self) -> bool:
        return bool(np.any(self.early_share > 0.0))

    def _early_part(self, age: Floats) -> Floats:
        """Return the share of early lives among the survivors of an age."""
        with np.errstate(divide="ignore", over="ignore"):
            odds = np.log1p(-self.early_share) - np.log(self.early_share)
            return np.asarray(special.expit(-(odds - self._wear(age) + age / self.early_scale)))
