"""The rate of repeated events over age: power law and log-linear rate, by maximum likelihood."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import optimize

from pumplife.errors import NoFiniteEstimate
from pumplife.lives.trend import check_histories

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RateFit:
    """A rate of events fitted to systems that are alike.

    Attributes
    ----------
    names : tuple of str
        ("shape", "scale") of the power law, M(age) = (age / scale)^shape [-, age]; or ("level",
        "slope") of the log-linear rate, exp(level + slope · age) [-, 1/age].
    value, error : arrays (2,)
        Maximum-likelihood estimates and their standard errors, by observed information.
    log_likelihood : float
    events : int
        [events]
    """

    names: tuple[str, str]
    value: FloatArray
    error: FloatArray
    log_likelihood: float
    events: int

    def __repr__(self) -> str:
        told = ", ".join(f"{n} {v:.4g}" for n, v in zip(self.names, self.value, strict=True))
        return f"RateFit({told}; {self.events} events)"


def fit_power_law(system: ArrayLike, time: ArrayLike, end: ArrayLike) -> RateFit:
    """Power-law rate: events come more often with age where the shape is above 1.

    Parameters as for `mean_cumulative_function`; systems are watched from age 0. A system
    watched until its last event ends at that event.

    Raises
    ------
    NoFiniteEstimate
        Without an event before some system's end.

    References
    ----------
    L. H. Crow (1974), as in MIL-HDBK-189 (1981), and W. Q. Meeker and L. A. Escobar, Statistical
    Methods for Reliability Data (1998), ch. 16.
    """
    member, age, _, last = check_histories(system, time, end, None)
    count = len(age)
    if not np.any(age < last[member]):
        raise NoFiniteEstimate(
            "No event before the end of its system: a power law has no estimate; watch longer.",
            end="shape to infinity" if count else "scale to infinity",
        )
    longest = float(last.max())
    log_age, log_end = np.log(age / longest), np.log(last / longest)

    def slope(log_shape: float) -> float:
        powers = np.exp(np.exp(log_shape) * log_end)
        mean = float(np.sum(powers * log_end) / np.sum(powers))
        return float(np.exp(-log_shape) - mean + np.mean(log_age))

    shape = float(np.exp(optimize.brentq(slope, -20.0, 20.0, xtol=1e-14)))
    total = float(np.sum(np.exp(shape * log_end)))
    scale = longest * (total / count) ** (1.0 / shape)
    log_rest = np.log(last / scale)
    mean = np.exp(shape * log_rest)
    information = np.array(
        [
            [count / shape**2 + np.sum(mean * log_rest**2),
             (count - np.sum(mean * (1.0 + shape * log_rest))) / scale],
            [0.0, shape**2 * count / scale**2],
        ]
    )  # fmt: skip
    information[1, 0] = information[0, 1]
    log_likelihood = count * np.log(shape / scale) + (shape - 1.0) * float(
        np.sum(np.log(age / scale))
    )
    return RateFit(
        names=("shape", "scale"),
        value=np.array([shape, scale]),
        error=np.sqrt(np.diag(np.linalg.inv(information))),
        log_likelihood=float(log_likelihood - count),
        events=count,
    )


def fit_log_linear(
    system: ArrayLike, time: ArrayLike, end: ArrayLike, start: ArrayLike | None = None
) -> RateFit:
    """Rate exp(level + slope · age). Parameters as for `mean_cumulative_function`.

    Raises
    ------
    NoFiniteEstimate
        Without an event.

    References
    ----------
    D. R. Cox and P. A. W. Lewis, The Statistical Analysis of Series of Events (1966), ch. 3.
    """
    _, age, first, last = check_histories(system, time, end, start)
    if not len(age):
        raise NoFiniteEstimate(
            "No event: a log-linear rate has no estimate; watch longer.", end="scale to infinity"
        )
    unit = float(last.max())
    nodes, weights = np.polynomial.legendre.leggauss(64)
    at = (first[:, None] + (last - first)[:, None] * (nodes + 1.0) / 2.0) / unit
    width = (last - first)[:, None] * weights / 2.0
    point = np.array([np.log(len(age) / np.sum(last - first)), 0.0])
    powers = np.stack([np.ones_like(at), at, at**2])
    told = np.array([len(age), np.sum(age / unit)])
    for _ in range(100):
        rate = np.exp(point[0] + point[1] * at) * width
        moment = np.sum(rate * powers, axis=(1, 2))
        information = np.array([[moment[0], moment[1]], [moment[1], moment[2]]])
        step = np.linalg.solve(information, told - moment[:2])
        point = point + np.clip(step, -1.0, 1.0)
        if np.max(np.abs(step)) < 1e-12:
            break
    stretch = np.array([1.0, 1.0 / unit])
    return RateFit(
        names=("level", "slope"),
        value=point * stretch,
        error=np.sqrt(np.diag(np.linalg.inv(information))) * stretch,
        log_likelihood=float(told @ point - moment[0]),
        events=len(age),
    )
