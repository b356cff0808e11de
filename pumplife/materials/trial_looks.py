"""Looks at a running trial: bounds that keep the risks, futility, and the stop for safety."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.polynomial.legendre import leggauss
from numpy.typing import ArrayLike, NDArray
from scipy import optimize, special

from pumplife.errors import RecordError

Floats = NDArray[np.float64]

LATE, EVEN = "late", "even"
FUTILE_BELOW = 0.10  # chance of still being shown, were the wanted ratio true, below which to stop
HARM = 2.0  # how many times as often a harmful material fails
HARM_EVIDENCE = 20.0  # ratio of chances at which a trial stops for safety
_POINTS = 48  # of each piece of the quadrature
_PIECES = 8
_FARTHEST = 8.0  # standard deviations that the quadrature reaches


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Looks:
    """When a trial is looked at, and how far out the score must be to end it.

    Attributes
    ----------
    share : float array (looks,)
        Of the failures needed in all, at each look; the last is 1.
    bound : float array (looks,)
        Standard normal score from which the longer life is shown.
    spent : float array (looks,)
        Risk of a false alarm spent by then.
    """

    share: Floats
    bound: Floats
    spent: Floats

    def __repr__(self) -> str:
        bounds = ", ".join(f"{one:.3f}" for one in self.bound)
        return f"Looks({len(self.share)}: {bounds})"


def spend_risk(share: ArrayLike, false_alarm: float, spending: str = LATE) -> Floats:
    """Say how much of the risk of a false alarm may be spent by each look.

    Parameters
    ----------
    share : array (looks,)
        Share of the failures needed, 0 to 1.
    false_alarm : float
        Risk in all that an equal material is called longer-lived.
    spending : {"late", "even"}
        late keeps nearly all for the last look (O'Brien and Fleming's kind), even spends it about
        evenly (Pocock's kind).

    Returns
    -------
    float array (looks,)

    References
    ----------
    .. [1] K. K. G. Lan, D. L. DeMets, "Discrete sequential boundaries for clinical trials",
       Biometrika 70 (1983) 659-663.
    """
    told = np.asarray(share, dtype=np.float64)
    if spending == EVEN:
        return np.asarray(false_alarm * np.log1p(np.expm1(1.0) * told))
    if spending == LATE:
        far = -special.ndtri(0.5 * false_alarm)
        with np.errstate(divide="ignore"):
            return np.asarray(2.0 * special.ndtr(-far / np.sqrt(told)))
    raise RecordError(f'spending is {spending!r}: give "{LATE}" or "{EVEN}".')


def plan_looks(share: ArrayLike, false_alarm: float = 0.05, spending: str = LATE) -> Looks:
    """Find the bounds of the score at each look that keep the risk of a false alarm.

    Parameters
    ----------
    share : array (looks,)
        Share of the failures needed at each look, rising; the last is 1.
    false_alarm : float
        Risk in all that an equal material is called longer-lived.
    spending : {"late", "even"}
        late keeps nearly all of it for the last look, even spends it about evenly.

    Returns
    -------
    Looks

    Raises
    ------
    RecordError
        When shares don't rise to 1, or the risk isn't between 0 and 0.5.

    References
    ----------
    .. [1] P. Armitage, C. K. McPherson, B. C. Rowe, Journal of the Royal Statistical Society A 132
       (1969) 235-244: the density of the score that has crossed no bound yet, look by look.
    """
    told = _check_share(share)
    if not 0.0 < false_alarm < 0.5:
        raise RecordError(f"The risk of a false alarm is {false_alarm:g}: give one below 0.5.")
    spent = spend_risk(told, false_alarm, spending)
    walk = _Walk()
    bounds = []
    for at, risk in zip(told, np.diff(spent, prepend=0.0), strict=True):
        bounds.append(walk.find_bound(float(at), float(risk)))
        walk.go_on(float(at), bounds[-1])
    return Looks(share=told, bound=np.array(bounds), spent=spent)


def cross_bounds(share: ArrayLike, bound: ArrayLike, drift: float = 0.0) -> Floats:
    """Give the chance that the score crosses its bound first at each look.

    Parameters
    ----------
    share, bound : arrays (looks,)
        As in `Looks`.
    drift : float
        Mean of the score at share 1; 0 where both materials live alike.

    Returns
    -------
    float array (looks,)
    """
    walk = _Walk(drift=drift)
    found = []
    for at, far in zip(_check_share(share), np.asarray(bound, dtype=np.float64), strict=True):
        found.append(walk.cross(float(at), float(far)))
        walk.go_on(float(at), float(far))
    return np.array(found)


def more_failures(looks: Looks, power: float, false_alarm: float = 0.05) -> float:
    """Say how many times the failures of a trial without looks keep its power with them."""
    single = float(special.ndtri(power) - special.ndtri(false_alarm))

    def short(drift: float) -> float:
        return float(cross_bounds(looks.share, looks.bound, drift).sum()) - power

    return float(optimize.brentq(short, 0.5 * single, 2.0 * single, xtol=1e-8) / single) ** 2


def chance_still(score: ArrayLike, share: ArrayLike, looks: Looks, drift: float) -> Floats:
    """Give the chance that a trial that goes on to its end is still shown then.

    Parameters
    ----------
    score, share : arrays
        Score so far, at what share of the failures needed (below 1).
    looks : Looks
    drift : float
        Mean of the score at the end, were the wanted ratio true.

    Returns
    -------
    float array
        The trial is futile below `FUTILE_BELOW`; stopping then only lowers the risk of a false
        alarm.
    """
    told = np.asarray(share, dtype=np.float64)
    far = looks.bound[-1] - np.sqrt(told) * np.asarray(score) - drift * (1.0 - told)
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(special.ndtr(-far / np.sqrt(1.0 - told)))


def weigh_harm(failures: ArrayLike, expected: ArrayLike) -> Floats:
    """Weigh the evidence that a material fails `HARM` times as often as the reference.

    Parameters
    ----------
    failures : array
        Releases of fluid by the material on trial so far.
    expected : array
        As many as the reference would have had over the same usage.

    Returns
    -------
    float array
        Ratio of the chances of such failures. However often it is looked at, a material no worse
        than the reference gets to 20 in fewer than 1 trial of 20 [1]_.

    References
    ----------
    .. [1] J. Ville, "Étude critique de la notion de collectif", 1939 (from memory): a likelihood
       ratio, followed for ever, exceeds x with a chance of at most 1/x.
    """
    with np.errstate(over="ignore"):
        return np.asarray(
            np.exp(np.log(HARM) * np.asarray(failures) - (HARM - 1.0) * np.asarray(expected))
        )


def _check_share(share: ArrayLike) -> Floats:
    told = np.atleast_1d(np.asarray(share, dtype=np.float64))
    rising = bool((np.diff(told, prepend=0.0) > 0.0).all())
    if not rising or abs(told[-1] - 1.0) > 1e-12:
        raise RecordError("Looks need shares of the failures that rise to 1, such as 0.5, 1.")
    return told


class _Walk:
    """The score times the root of its share, look by look, as far as no bound was crossed."""

    def __init__(self, drift: float = 0.0) -> None:
        self._drift = drift
        self._at = 0.0
        self._place, self._mass = np.zeros(1), np.ones(1)

    def cross(self, at: float, bound: float) -> float:
        """Chance of crossing a bound at the next look and not before."""
        gap = at - self._at
        far = bound * np.sqrt(at) - self._place - self._drift * gap
        return float(self._mass @ special.ndtr(-far / np.sqrt(gap)))

    def find_bound(self, at: float, risk: float) -> float:
        """Bound at the next look that is crossed with this chance."""
        if risk <= 0.0:
            return np.inf
        return float(optimize.brentq(lambda far: self.cross(at, far) - risk, -10, 40, xtol=1e-12))

    def go_on(self, at: float, bound: float) -> None:
        """Carry on what lies below the bound at the next look."""
        gap = at - self._at
        low = self._drift * at - _FARTHEST * np.sqrt(at)
        high = min(bound * np.sqrt(at), self._drift * at + _FARTHEST * np.sqrt(at))
        place, width = _spread_points(low, max(high, low))
        step = (place[:, None] - self._place - self._drift * gap) / np.sqrt(gap)
        density = np.exp(-0.5 * step**2) @ self._mass / np.sqrt(2.0 * np.pi * gap)
        self._at, self._place, self._mass = at, place, width * density


def _spread_points(low: float, high: float) -> tuple[Floats, Floats]:
    """Points and widths of a quadrature in equal pieces."""
    at, width = leggauss(_POINTS)
    edges = np.linspace(low, high, _PIECES + 1)
    half = 0.5 * np.diff(edges)[:, None]
    middle = 0.5 * (edges[1:] + edges[:-1])[:, None]
    return (middle + half * at).ravel(), np.broadcast_to(half * width, (_PIECES, _POINTS)).ravel()
