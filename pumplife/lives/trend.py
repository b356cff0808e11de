"""Repeated events of repairable systems: mean cumulative function and tests for a trend.

Arrays in, arrays out. A system is whatever is renewed again and again in one place: a pump, a
pump side, a position. Nothing here assumes a distribution of the lives between events.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import stats

from pumplife.errors import RecordError

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.intp]

_BLOCK_CELLS = 2_000_000  # systems × times held in memory at once


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MeanCumulative:
    """Mean number of events per system up to an age, with its uncertainty.

    Attributes
    ----------
    time : array (times,)
        Distinct ages at events, ascending [usage units or days, as given].
    at_risk : array (times,)
        Systems under observation just before each age [systems].
    events : array (times,)
        Events at each age [events].
    mcf : array (times,)
        Mean cumulative number of events per system [events].
    variance : array (times,)
        Robust variance of `mcf`: systems vary independently, events within one may be alike
        [events²].
    variance_poisson : array (times,)
        Variance of `mcf` if events came as a Poisson process, for comparison [events²].
    low, high : arrays (times,)
        Limits mcf · exp(∓ z · se / mcf) [events].
    confidence : float
        Two-sided confidence of the limits [-].
    systems : int
        Systems observed [systems].
    """

    time: FloatArray
    at_risk: IntArray
    events: IntArray
    mcf: FloatArray
    variance: FloatArray
    variance_poisson: FloatArray
    low: FloatArray
    high: FloatArray
    confidence: float
    systems: int

    def __repr__(self) -> str:
        last = f"{self.mcf[-1]:.3g} per system" if len(self.mcf) else "none"
        return f"MeanCumulative({self.systems} systems, {int(self.events.sum())} events: {last})"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TrendTest:
    """One test of "events come at a constant rate" against a trend.

    Attributes
    ----------
    statistic : float
        Standard normal for Laplace, chi-square for the power-law test [-].
    p_value : float
        Two-sided [-].
    degrees : int
        Degrees of freedom of chi-square; 0 for a normal statistic [-].
    events : int
        Events used [events].
    direction : str
        "more often" or "less often" with age, or "none" when p_value >= 0.10.
    """

    statistic: float
    p_value: float
    degrees: int
    events: int
    direction: str

    def __repr__(self) -> str:
        return (
            f"TrendTest({self.direction}: statistic {self.statistic:.3g}, "
            f"p {self.p_value:.3g}, {self.events} events)"
        )


def mean_cumulative_function(
    system: ArrayLike,
    time: ArrayLike,
    end: ArrayLike,
    start: ArrayLike | None = None,
    *,
    confidence: float = 0.90,
) -> MeanCumulative:
    """Mean cumulative function of repeated events with its robust variance.

    Parameters
    ----------
    system : array (events,) of int
        Which system each event belongs to: a position in `end`.
    time : array (events,)
        Age of the system at each event [usage units or days].
    end : array (systems,)
        Age at which each system's observation ends, events at that age included.
    start : array (systems,), optional
        Age at which each observation starts (late entry), events at that age excluded; default 0.
    confidence : float
        Two-sided confidence of the limits [-].

    Returns
    -------
    MeanCumulative

    Notes
    -----
    The variance is Σᵢ [ Σ_t yᵢ(t) / n(t) · (dᵢ(t) − d(t)/n(t)) ]², with yᵢ = 1 while system i is
    observed, n systems at risk and d events at age t. Several events of one system at one age
    count together. Systems that enter late need that their entry says nothing on their rate.

    References
    ----------
    W. Nelson, J. Quality Technology 27 (1995) 147-157; J. F. Lawless and J. C. Nadeau,
    Technometrics 37 (1995) 158-168.
    """
    member, age, first, last = check_histories(system, time, end, start)
    if not 0.0 < confidence < 1.0:
        raise RecordError(f"confidence is {confidence}: give a share between 0 and 1, as 0.90")
    points, slot = np.unique(age, return_inverse=True)
    happened = np.bincount(slot, minlength=len(points))
    entered = np.searchsorted(np.sort(first), points, side="left")  # strictly before
    at_risk = entered - np.searchsorted(np.sort(last), points, side="left")
    mcf = np.cumsum(happened / at_risk)
    drift = np.cumsum(happened / at_risk**2)
    variance = _robust_variance(
        member=member,
        slot=slot,
        share=1.0 / at_risk,
        drift=drift,
        points=points,
        first=first,
        last=last,
    )
    spread = np.exp(stats.norm.isf((1.0 - confidence) / 2.0) * np.sqrt(variance) / mcf)
    return MeanCumulative(
        time=points,
        at_risk=at_risk,
        events=happened,
        mcf=mcf,
        variance=variance,
        variance_poisson=drift,
        low=mcf / spread,
        high=mcf * spread,
        confidence=confidence,
        systems=len(last),
    )


def laplace_trend(
    system: ArrayLike, time: ArrayLike, end: ArrayLike, start: ArrayLike | None = None
) -> TrendTest:
    """Laplace's test: are events spread evenly over each system's observed span?

    Given how many events each system had, their ages are uniform over its span if the rate is
    constant, whatever the rates of the systems; the statistic is the standardised sum of their
    distances from mid-span, in spans, so that every event weighs alike. Positive: more often
    with age. Parameters as for `mean_cumulative_function`.

    References
    ----------
    D. R. Cox and P. A. W. Lewis, The Statistical Analysis of Series of Events (1966), ch. 3.
    """
    member, age, first, last = check_histories(system, time, end, start)
    centre, span = (first + last)[member] / 2.0, (last - first)[member]
    if len(age) == 0:
        return _verdict(float("nan"), float("nan"), 0, 0)
    statistic = float(np.sum((age - centre) / span) / np.sqrt(len(age) / 12.0))
    return _verdict(statistic, float(2.0 * stats.norm.sf(abs(statistic))), 0, len(age))


def lewis_robinson_trend(
    system: ArrayLike, time: ArrayLike, end: ArrayLike, start: ArrayLike | None = None
) -> TrendTest:
    """Laplace's test for renewals that wear: its statistic over the variation of the gaps.

    Under any renewal process, gaps vary by their own coefficient of variation, not by that of a
    Poisson process. Systems are strata: each event against the middle of its own system's span,
    the variation of gaps pooled over systems. It holds for many events per system; with a few
    each, systems that all start new look like a trend. Parameters as for
    `mean_cumulative_function`.

    References
    ----------
    P. A. W. Lewis and D. W. Robinson, in Reliability and Biometry (1974); as in W. Q. Meeker and
    L. A. Escobar, Statistical Methods for Reliability Data (1998), ch. 16.
    """
    member, age, first, last = check_histories(system, time, end, start)
    plain = laplace_trend(member, age, last, first)
    order = np.lexsort((age, member))
    member, age = member[order], age[order]
    new = np.append(True, member[1:] != member[:-1]) if len(age) else np.zeros(0, bool)
    gap = age - np.where(new, first[member], np.roll(age, 1))
    if len(gap) < 2 or not np.std(gap) > 0:
        return _verdict(float("nan"), float("nan"), 0, len(age))
    statistic = plain.statistic * float(np.mean(gap) / np.std(gap, ddof=1))
    return _verdict(statistic, float(2.0 * stats.norm.sf(abs(statistic))), 0, len(age))


def power_law_trend(system: ArrayLike, time: ArrayLike, end: ArrayLike) -> TrendTest:
    """Test of a constant rate against a power law in age: 2 Σ ln(end / age), chi-square, 2n.

    Small values: more often with age. Systems are observed from age 0 (the test has no simple
    form with late entry; use `laplace_trend` there). An event at age 0 makes the statistic
    infinite, so it is refused. Parameters as for `mean_cumulative_function`.

    References
    ----------
    MIL-HDBK-189 (1981), as in W. Q. Meeker and L. A. Escobar, Statistical Methods for
    Reliability Data (1998), ch. 16.
    """
    member, age, _, last = check_histories(system, time, end, None)
    if len(age) == 0:
        return _verdict(float("nan"), float("nan"), 0, 0)
    statistic = float(2.0 * np.sum(np.log(last[member] / age)))
    degrees = 2 * len(age)
    lower, upper = stats.chi2.cdf(statistic, degrees), stats.chi2.sf(statistic, degrees)
    signed = 1.0 if lower < upper else -1.0
    p_value = float(min(1.0, 2.0 * min(lower, upper)))
    return _verdict(statistic, p_value, degrees, len(age), sign=signed)


def _verdict(
    statistic: float, p_value: float, degrees: int, events: int, sign: float | None = None
) -> TrendTest:
    upward = (statistic if sign is None else sign) > 0
    known = bool(np.isfinite(p_value)) and p_value < 0.10
    direction = ("more often" if upward else "less often") if known else "none"
    return TrendTest(
        statistic=statistic,
        p_value=p_value,
        degrees=degrees,
        events=events,
        direction=direction,
    )


def _robust_variance(
    *,
    member: IntArray,
    slot: IntArray,
    share: FloatArray,
    drift: FloatArray,
    points: FloatArray,
    first: FloatArray,
    last: FloatArray,
) -> FloatArray:
    """Σ over systems of (own events − expected)², time block by time block."""
    before = np.concatenate([[0.0], drift])
    expected_start = before[np.searchsorted(points, first, side="right")]
    expected_end = before[np.searchsorted(points, last, side="right")]
    order = np.argsort(slot, kind="stable")
    member, slot = member[order], slot[order]
    variance = np.empty(len(points))
    own = np.zeros(len(last))
    width = max(1, _BLOCK_CELLS // max(1, len(last)))
    for low in range(0, len(points), width):
        high = min(low + width, len(points))
        taken = slice(*np.searchsorted(slot, [low, high]))
        counts = np.zeros((len(last), high - low))
        np.add.at(counts, (member[taken], slot[taken] - low), share[slot[taken]])
        seen = own[:, None] + np.cumsum(counts, axis=1)
        expected = np.clip(drift[low:high], expected_start[:, None], expected_end[:, None])
        variance[low:high] = np.sum((seen - expected + expected_start[:, None]) ** 2, axis=0)
        own = seen[:, -1]
    return variance


def check_histories(
    system: ArrayLike, time: ArrayLike, end: ArrayLike, start: ArrayLike | None
) -> tuple[IntArray, FloatArray, FloatArray, FloatArray]:
    """The arrays in one form, refused where an event can't have been seen."""
    last = np.atleast_1d(np.asarray(end, dtype=np.float64))
    first = np.zeros_like(last) if start is None else np.asarray(start, dtype=np.float64)
    age = np.atleast_1d(np.asarray(time, dtype=np.float64))
    member = np.atleast_1d(np.asarray(system)).astype(np.intp)
    if first.shape != last.shape or member.shape != age.shape:
        raise RecordError(
            f"lengths differ: {len(member)} systems of events, {len(age)} ages, {len(last)} ends, "
            f"{len(np.atleast_1d(first))} starts; give one system per event, one start per end"
        )
    _refuse_spans(first, last)
    _refuse_events(member, age, first, last)
    return member, age, first, last


def _refuse_spans(first: FloatArray, last: FloatArray) -> None:
    bad = np.flatnonzero(~(np.isfinite(first) & np.isfinite(last) & (first < last)))
    if len(bad):
        row = int(bad[0])
        raise RecordError(
            f"system {row} is observed from {first[row]} to {last[row]}: nothing can be seen in "
            "that span; give a finite end after the start, or leave the system out"
        )


def _refuse_events(member: IntArray, age: FloatArray, first: FloatArray, last: FloatArray) -> None:
    unknown = np.flatnonzero((member < 0) | (member >= len(last)))
    if len(unknown):
        row = int(unknown[0])
        raise RecordError(
            f"event {row} names system {member[row]}, but there are {len(last)} systems, counted "
            "from 0; number the systems by their position in `end`"
        )
    bad = np.flatnonzero(~((age > first[member]) & (age <= last[member])))
    if len(bad):
        row = int(bad[0])
        raise RecordError(
            f"event {row} of system {member[row]} is at {age[row]}, outside its observation "
            f"({first[member[row]]}, {last[member[row]]}]; correct the age or the span"
        )
