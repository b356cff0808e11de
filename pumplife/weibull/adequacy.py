"""Second opinions: other libraries' fits, a lognormal challenger, the nonparametric survival.

The libraries are loaded inside the functions because they are heavy; they print, plot and warn,
which is silenced here and nowhere else.
"""

from __future__ import annotations

import contextlib
import io
import warnings
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from pumplife.errors import RecordError
from pumplife.weibull.arrays import Floats, LifeArrays, check_confidence, check_lives

FEWEST_FOR_LOGNORMAL = 10


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


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class SurvivalSteps:
    """Kaplan-Meier survival.

    Attributes
    ----------
    time : array (steps,) [usage]
        Ages at which lives ended or left, ascending.
    survival, low, high : arrays (steps,)
        Survival just after each age and its pointwise bounds.
    confidence : float
    """

    time: Floats
    survival: Floats
    low: Floats
    high: Floats
    confidence: float

    def __repr__(self) -> str:
        return f"SurvivalSteps({len(self.time)} steps)"


@contextlib.contextmanager
def _quietly() -> Iterator[None]:
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
) -> list[SecondOpinion]:
    """Return what other libraries make of lives that they can read.

    `reliability` reads exact and suspended lives entered at 0 and of whole weights; lifelines
    reads late entry as well. Interval lives have no second opinion, nor has a library that fails.
    """
    lives = _exposed(check_lives(lower, upper, entry, weight))
    if _has_intervals(lives) or not np.isfinite(lives.upper).any():
        return []
    asked = [_ask_lifelines(lives)]
    if not (lives.entries() > 0.0).any():
        asked.append(_ask_reliability(lives))
    return [opinion for opinion in asked if opinion is not None]


def _exposed(lives: LifeArrays) -> LifeArrays:
    """Return the lives that were observed for some time and count."""
    reached = np.where(np.isfinite(lives.upper), lives.upper, lives.lower)
    return lives.take((reached > lives.entries()) & (lives.weights() > 0.0))


def _has_intervals(lives: LifeArrays) -> bool:
    return bool(((lives.lower < lives.upper) & np.isfinite(lives.upper)).any())


def _repeat(lives: LifeArrays) -> LifeArrays | None:
    """Return one row per life where weights are whole numbers, else None."""
    count = lives.weights()
    if not bool((count == np.round(count)).all()):
        return None
    return lives.take(np.repeat(np.arange(len(count)), count.astype(np.intp)))


def _ask_lifelines(lives: LifeArrays) -> SecondOpinion | None:
    with _quietly():
        from lifelines import WeibullFitter  # noqa: PLC0415  # heavy

        unit = float(np.median(lives.lower))
        try:
            fit = WeibullFitter().fit(
                lives.lower / unit,
                np.isfinite(lives.upper),
                entry=None if lives.entry is None else lives.entry / unit,
                weights=lives.weights(),
            )
        except Exception:  # the library raises many kinds; no opinion then
            return None
    return _opinion("lifelines", float(fit.rho_), float(fit.lambda_) * unit)


def _ask_reliability(lives: LifeArrays) -> SecondOpinion | None:
    fit = _fit_reliability(lives, "Fit_Weibull_2P")
    return None if fit is None else _opinion("reliability", float(fit.beta), float(fit.alpha))


def _fit_reliability(lives: LifeArrays, kind: str) -> Any:
    """Return the library's fit of exact and suspended lives, or None where it has none."""
    single = _repeat(lives)
    if single is None:
        return None
    failed = np.isfinite(single.upper)
    if len(np.unique(single.lower[failed])) < 2:
        return None
    with _quietly():
        from reliability import Fitters  # noqa: PLC0415  # heavy

        try:
            return getattr(Fitters, kind)(
                failures=single.lower[failed],
                right_censored=single.lower[~failed] if (~failed).any() else None,
                show_probability_plot=False,
                print_results=False,
            )
        except Exception:  # the library raises many kinds; no opinion then
            return None


def _opinion(library: str, shape: float, scale: float) -> SecondOpinion | None:
    if not (np.isfinite(shape) and np.isfinite(scale)):
        return None
    return SecondOpinion(library=library, shape=shape, scale=scale)


def compare_lognormal(lower: ArrayLike, upper: ArrayLike, weight: ArrayLike | None = None) -> float:
    """Return the AICc of the lognormal less that of the Weibull, by the library `reliability`.

    Below zero the lognormal fits better. NaN with fewer than 10 exact failures, with interval
    lives or fractional weights, or where the library has no answer. Lives are entered at 0.
    """
    lives = _exposed(check_lives(lower, upper, None, weight))
    failed = np.isfinite(lives.upper)
    if _has_intervals(lives) or lives.weights()[failed].sum() < FEWEST_FOR_LOGNORMAL:
        return float("nan")
    fits = [_fit_reliability(lives, kind) for kind in ("Fit_Lognormal_2P", "Fit_Weibull_2P")]
    if any(fit is None for fit in fits):
        return float("nan")
    return float(fits[0].AICc) - float(fits[1].AICc)


def estimate_survival(
    lower: ArrayLike,
    upper: ArrayLike,
    entry: ArrayLike | None = None,
    weight: ArrayLike | None = None,
    *,
    confidence: float = 0.90,
) -> SurvivalSteps:
    """Return the Kaplan-Meier survival of exact and suspended lives, late entry included.

    Bounds are lifelines' pointwise ones on the log-minus-log scale. An early age at which few
    late-entered lives were watched can pull the whole curve down: read it with its bounds.

    Raises
    ------
    RecordError
        Where a life is an interval, or none was observed for any time.
    """
    lives = _exposed(check_lives(lower, upper, entry, weight))
    if _has_intervals(lives):
        raise RecordError(
            "Interval lives have no Kaplan-Meier survival: leave them out, and say so."
        )
    if len(lives.lower) == 0:
        raise RecordError("No life was observed for any time, so there is no survival to draw.")
    with _quietly():
        from lifelines import KaplanMeierFitter  # noqa: PLC0415  # heavy

        fit = KaplanMeierFitter(alpha=1.0 - check_confidence(confidence)).fit(
            lives.lower,
            np.isfinite(lives.upper),
            entry=lives.entry,
            weights=lives.weights(),
        )
        time = np.asarray(fit.survival_function_.index, dtype=np.float64)
        bounds = fit.confidence_interval_survival_function_.to_numpy(dtype=np.float64)
        survival = fit.survival_function_.to_numpy(dtype=np.float64)[:, 0]
    kept = time > 0.0
    return SurvivalSteps(
        time=time[kept],
        survival=survival[kept],
        low=bounds[kept, 0],
        high=bounds[kept, 1],
        confidence=float(confidence),
    )
