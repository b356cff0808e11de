"""Second opinions: what other libraries make of the same lives.

The libraries are loaded inside the functions because they are heavy; they print, plot and warn,
which is silenced here and nowhere else.
"""

from __future__ import annotations

import contextlib
import io
import warnings
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from pumplife.weibull.arrays import LifeArrays, check_lives


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class SecondOpinion:
    """Another library's maximum-likelihood Weibull.

    Attributes
    ----------
    library : str
        Name of the library.
    shape : float [-]
    scale : float [usage]
    """

    library: str
    shape: float
    scale: float

    def __repr__(self) -> str:
        return f"SecondOpinion({self.library}: shape={self.shape:.4g}, scale={self.scale:.4g})"


@contextlib.contextmanager
def quietly() -> Iterator[None]:
    with (
        warnings.catch_warnings(),
        contextlib.redirect_stdout(io.StringIO()),
        np.errstate(all="ignore"),
    ):
        warnings.simplefilter("ignore")
        yield


def ask_second_opinions(
    lower: ArrayLike,
    upper: ArrayLike,
    entry: ArrayLike | None = None,
    weight: ArrayLike | None = None,
    *,
    start: tuple[float, float] | None = None,
) -> list[SecondOpinion]:
    """Return what other libraries make of lives that they can read.

    `reliability` reads exact and suspended lives entered at 0 and of whole weights; lifelines
    reads late entry as well. Interval lives have no second opinion, nor has a library that fails.

    Parameters
    ----------
    lower, upper, entry, weight
        As of `check_lives`.
    start : tuple of float, optional
        Shape [-] and scale [usage] from which lifelines climbs, which halves its time where they
        are right; its maximum is its own.

    Returns
    -------
    list of SecondOpinion
    """
    lives = exposed(check_lives(lower, upper, entry, weight))
    if has_intervals(lives) or not np.isfinite(lives.upper).any():
        return []
    asked = [_ask_lifelines(lives, start)]
    if not (lives.entries() > 0.0).any():
        asked.append(_ask_reliability(lives))
    return [opinion for opinion in asked if opinion is not None]


def exposed(lives: LifeArrays) -> LifeArrays:
    """Return the lives that were observed for some time and count."""
    reached = np.where(np.isfinite(lives.upper), lives.upper, lives.lower)
    return lives.take((reached > lives.entries()) & (lives.weights() > 0.0))


def has_intervals(lives: LifeArrays) -> bool:
    return bool(((lives.lower < lives.upper) & np.isfinite(lives.upper)).any())


def _repeat(lives: LifeArrays) -> LifeArrays | None:
    """Return one row per life where weights are whole numbers, else None."""
    count = lives.weights()
    if not bool((count == np.round(count)).all()):
        return None
    return lives.take(np.repeat(np.arange(len(count)), count.astype(np.intp)))


def _ask_lifelines(lives: LifeArrays, start: tuple[float, float] | None) -> SecondOpinion | None:
    with quietly():
        from lifelines import WeibullFitter  # noqa: PLC0415  # heavy

        unit = float(np.median(lives.lower))
        try:
            fit = WeibullFitter().fit(
                lives.lower / unit,
                np.isfinite(lives.upper),
                entry=None if lives.entry is None else lives.entry / unit,
                weights=lives.weights(),
                initial_point=None if start is None else np.array([start[1] / unit, start[0]]),
            )
        except Exception:  # the library raises many kinds; no opinion then
            return None
    return _opinion("lifelines", float(fit.rho_), float(fit.lambda_) * unit)


def _ask_reliability(lives: LifeArrays) -> SecondOpinion | None:
    single = _repeat(lives)
    if single is None:
        return None
    failed = np.isfinite(single.upper)
    if len(np.unique(single.lower[failed])) < 2:
        return None
    with quietly():
        from reliability import Fitters  # noqa: PLC0415  # heavy

        try:
            fit = Fitters.Fit_Weibull_2P(
                failures=single.lower[failed],
                right_censored=single.lower[~failed] if (~failed).any() else None,
                show_probability_plot=False,
                print_results=False,
            )
        except Exception:  # the library raises many kinds; no opinion then
            return None
    return _opinion("reliability", float(fit.beta), float(fit.alpha))


def _opinion(library: str, shape: float, scale: float) -> SecondOpinion | None:
    if not (np.isfinite(shape) and np.isfinite(scale)):
        return None
    return SecondOpinion(library=library, shape=shape, scale=scale)
