"""How many pumps for how long show a wanted ratio of lives, and how many without a failure do."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.polynomial.hermite_e import hermegauss
from numpy.typing import ArrayLike, NDArray
from scipy import optimize, special

from pumplife.errors import RecordError
from pumplife.policy.renewal import solve_renewal

Floats = NDArray[np.float64]

APART, PAIRS, INSIDE = "apart", "pairs", "inside"
ALIKE = 0.5  # share of the variance between pumps that two of a pair have in common, taken so
ON_ONE_ROD = ("diaphragm", "backup diaphragm")
_ABOVE = ("shape", "scale", "ratio", "interval", "rest_shape", "rest_scale")
_STEPS = 400  # of the renewal equation, up to the end of the trial
_NODES = 5  # of the spread between pumps
_SEEN = 64  # variances between pumps that few of them might show, equally likely
_MOST_FAILURES = 12.0  # log of a number beyond any trial
_LONGEST = 200.0  # reference lives that a trial may take at most


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TrialDesign:
    """A trial of one material against another in like pumps.

    Attributes
    ----------
    pumps : int
        Pumps with each material; where both sit inside each pump, all pumps.
    use : float
        What each pump runs from the first start to the end of the trial [usage].
    shape, scale : float
        Weibull life of the reference in the middle pump; scale in usage.
    ratio : float
        Life of the material on trial over that of the reference.
    positions : int
        Positions of the part in a pump; renewed together at the failure of any.
    interval : float
        Age at which planned work renews them whatever they are like [usage]; inf: none.
    rest_shape, rest_scale : float
        Weibull time to a failure of the rest of the side, at which a whole kit renews them too;
        an infinite scale: they stay on.
    stagger : float
        Starts are spread evenly over so much of `use` [usage].
    pump_spread : float
        Standard deviation of the log of the pumps' own factors of life.
    layout : {"apart", "pairs", "inside"}
        Pumps of one material each; the same with like pumps paired; both materials inside each
        pump, half of its positions each.
    alike : float
        Share of the variance between pumps that the two of a pair have in common; for pairs.
    """

    pumps: int
    use: float
    shape: float
    scale: float
    ratio: float
    positions: int = 2
    interval: float = np.inf
    rest_shape: float = 1.0
    rest_scale: float = np.inf
    stagger: float = 0.0
    pump_spread: float = 0.15
    layout: str = APART
    alike: float = ALIKE

    def __post_init__(self) -> None:
        above = {name: getattr(self, name) for name in _ABOVE}
        for name, value in above.items():
            if not value > 0.0:
                raise RecordError(f"{name} of a trial is {value:g}: it must be above 0.")
        if self.layout not in (APART, PAIRS, INSIDE):
            raise RecordError(f"layout is {self.layout!r}: give apart, pairs or inside.")
        if self.pumps < 2:
            raise RecordError(f"A trial with {self.pumps} pumps of a material tells nothing.")
        if self.layout == INSIDE and self.positions % 2:
            raise RecordError(f"{self.positions} positions can't be halved inside a pump.")
        if not 0.0 <= self.stagger < self.use:
            raise RecordError(f"Starts spread over {self.stagger:g} of a trial of {self.use:g}.")

    def __repr__(self) -> str:
        return f"TrialDesign({self.pumps} pumps {self.layout}, {self.use:.4g} of use)"

    @property
    def clusters(self) -> int:
        """Witnesses: pumps, or pairs of pumps."""
        return 2 * self.pumps if self.layout == APART else self.pumps

    @property
    def per_unit(self) -> int:
        """Positions that carry one material in a pump."""
        return self.positions // 2 if self.layout == INSIDE else self.positions


def events_needed(
    ratio: ArrayLike, shape: ArrayLike, power: ArrayLike = 0.80, false_alarm: ArrayLike = 0.05
) -> Floats:
    """Give the failures, both materials together, that show a ratio of lives.

    Parameters
    ----------
    ratio : array
        Life of the material on trial over that of the reference.
    shape : array
        Weibull shape of both.
    power : array
        Chance that the longer life is shown, if it is so.
    false_alarm : array
        Chance that an equal material is called longer-lived (one-sided).

    Returns
    -------
    float array
        For many pumps, equal arms, lives independent of each other: 4 (z + z)² / (shape · log
        ratio)².

    References
    ----------
    .. [1] D. A. Schoenfeld, "Sample-size formula for the proportional-hazards regression model",
       Biometrics 39 (1983) 499-503 (from memory): failures carry the information; the log of the
       hazard ratio of two Weibull lives is shape · log ratio.
    """
    reach = special.ndtri(np.asarray(power)) - special.ndtri(np.asarray(false_alarm))
    return np.asarray(4.0 * np.square(reach / (np.asarray(shape) * np.log(ratio))))


def failures_to_show(
    ratio: float,
    shape: float,
    witnesses: int,
    between: float = 0.0,
    *,
    power: float = 0.80,
    false_alarm: float = 0.05,
) -> float:
    """Give the failures, both materials together, at which so few witnesses show a ratio.

    More than `events_needed`, which knows neither that pumps differ nor that the score asks the
    pumps or pairs how far they do, in Student's t, and never takes them for better than
    independent.

    Parameters
    ----------
    ratio, shape, power, false_alarm : float
        As in `events_needed`.
    witnesses : int
        Pumps of both arms, or pairs.
    between : float
        Variance of the log ratio that no number of failures takes away, pumps being unlike.

    Returns
    -------
    float
        NaN where no number of failures is enough.
    """
    degrees = witnesses - 1.0
    if degrees < 1.0:
        return np.nan
    seen = special.chdtri(degrees, (np.arange(_SEEN) + 0.5) / _SEEN) / degrees
    reach = float(special.stdtrit(degrees, 1.0 - false_alarm))

    def short(log_failures: float) -> float:
        plain = 4.0 / (np.exp(log_failures) * shape**2)
        true = plain + between
        found = reach * np.sqrt(np.maximum(plain, true * seen))
        chance = special.ndtr((abs(np.log(ratio)) - found) / np.sqrt(true))
        return float(chance.mean()) - power

    if short(_MOST_FAILURES) < 0.0:
        return np.nan
    return float(np.exp(optimize.brentq(short, -5.0, _MOST_FAILURES)))


def expect_failures(design: TrialDesign) -> Floats:
    """Give the failures expected in a trial.

    Returns
    -------
    float array (2,)
        Of the reference, of the material on trial; all pumps, to the end of the trial.
    """
    at, weight = hermegauss(_NODES)
    weight = weight / weight.sum()
    step = design.use / _STEPS
    age = 0.5 * step * np.arange(2 * _STEPS + 2)
    own = design.scale * np.exp(design.pump_spread * at)[:, None]
    hazard = [
        design.per_unit * (age / (longer * own)) ** design.shape for longer in (1.0, design.ratio)
    ]
    rest = (age / design.rest_scale) ** design.rest_shape
    others = [rest + hazard[1], rest + hazard[0]] if design.layout == INSIDE else [rest, rest]
    begun = design.use - np.linspace(0.0, design.stagger, 21)
    found = [
        weight @ _count(mine, mine + other, age, design.interval, begun)
        for mine, other in zip(hazard, others, strict=True)
    ]
    return design.pumps * np.array(found)


def _count(mine: Floats, every: Floats, age: Any, interval: float, begun: Any) -> Floats:
    """Failures of one material in a pump by the end, for each lane, over the starts.

    mine and every are cumulative hazards of its failures, and of all that renews it unplanned.
    """
    held = age < interval
    alive = np.exp(-every)
    falls = 0.5 * (alive[:, 1:] + alive[:, :-1]) * np.diff(mine)
    gone = np.concatenate([np.zeros((len(mine), 1)), np.cumsum(falls * held[1:], axis=1)], axis=1)
    renewed = np.where(held, 1.0 - alive, 1.0)
    counted = solve_renewal(gone[:, 0::2], renewed)
    grid = age[0::2]
    return np.array([np.interp(begun, grid, one).mean() for one in counted])


def approximate_power(design: TrialDesign, false_alarm: float = 0.05) -> float:
    """Give about the chance that a trial shows the longer life, lives of a pump being alike."""
    reach = float(special.stdtrit(design.clusters - 1.0, 1.0 - false_alarm))
    return float(special.ndtr(np.log(design.ratio) / error_of(design) - reach))


def error_of(design: TrialDesign) -> float:
    """Give about the standard error of the log of the ratio at the end of a trial."""
    failures = np.maximum(expect_failures(design), 1e-9)
    apart = {APART: 1.0, PAIRS: 1.0 - design.alike, INSIDE: 0.0}[design.layout]
    pumps = 2.0 * apart * design.pump_spread**2 / design.pumps
    return float(np.sqrt(np.sum(1.0 / failures) / design.shape**2 + pumps))


def find_use(
    design: TrialDesign, power: float = 0.80, false_alarm: float = 0.05, *, longest: float = np.inf
) -> float:
    """Find how long the pumps of a trial must run to show its ratio [usage].

    Parameters
    ----------
    design : TrialDesign
        Its own use doesn't count.
    power, false_alarm
        As in `events_needed`.
    longest : float
        [usage]

    Returns
    -------
    float
        inf where no trial up to the longest is enough.
    """
    end = min(longest, _LONGEST * design.scale)
    first = max(design.stagger * 1.001, 0.02 * design.scale)

    def short(use: float) -> float:
        return approximate_power(replace(design, use=use), false_alarm) - power

    if end <= first or short(end) < 0.0:
        return np.inf
    return float(optimize.brentq(short, first, end, rtol=1e-4)) if short(first) < 0.0 else first


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Demonstration:
    """A trial that shows a longer life by having no failure.

    Attributes
    ----------
    items : int
        Parts that run.
    longer : float
        Life shown over the reference's.
    run : float
        Usage of each part [reference scales].
    shape : float
        Of the lives, taken as known.
    confidence : float
        Chance, at least, that a material which lives shorter has a failure.
    """

    items: int
    longer: float
    run: float
    shape: float
    confidence: float

    def __repr__(self) -> str:
        return f"Demonstration({self.items} parts of {self.run:g} lives without a failure)"

    def chance_to_pass(self, truth: ArrayLike) -> Floats:
        """Chance that no part fails, if lives are so many times the reference's."""
        return np.asarray(np.exp(-self.items * (self.run / np.asarray(truth)) ** self.shape))


def plan_demonstration(
    longer: float, run: float, shape: float, confidence: float = 0.90
) -> Demonstration:
    """Plan how many parts must run without a failure to show a longer life.

    Parameters
    ----------
    longer : float
        Life to be shown over the reference's.
    run : float
        Usage of each part [reference scales].
    shape : float
        Weibull shape, taken as known: not shown by the trial.
    confidence : float
        Chance, at least, that a material which lives shorter than that has a failure.

    Returns
    -------
    Demonstration
        -ln(1 - confidence) (longer / run)^shape parts, rounded up. See its `chance_to_pass`: such
        trials fail most materials that are only a little better than asked.

    Raises
    ------
    RecordError
        A number that can't be.

    References
    ----------
    .. [1] W. Q. Meeker, L. A. Escobar, "Statistical Methods for Reliability Data", Wiley, 1998,
       section 10.6 (zero-failure plans; by way of the chapters to the package SMRD).
    """
    _check_demonstration(longer, run, shape, confidence)
    exact = -np.log1p(-confidence) * (longer / run) ** shape
    items = int(np.ceil(exact - 1e-9))
    return Demonstration(items=items, longer=longer, run=run, shape=shape, confidence=confidence)


def run_of_demonstration(
    longer: float, items: int, shape: float, confidence: float = 0.90
) -> float:
    """Give how long each of so many parts must run without a failure [reference scales]."""
    _check_demonstration(longer, float(items), shape, confidence)
    return float(longer * (-np.log1p(-confidence) / items) ** (1.0 / shape))


def _check_demonstration(longer: float, run: float, shape: float, confidence: float) -> None:
    for name, value in {"longer": longer, "run or items": run, "shape": shape}.items():
        if not value > 0.0:
            raise RecordError(f"{name} of a demonstration is {value:g}: it must be above 0.")
    if not 0.0 < confidence < 1.0:
        raise RecordError(f"confidence is {confidence:g}: it lies between 0 and 1.")
