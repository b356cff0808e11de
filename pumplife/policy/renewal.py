"""Renewals counted over time: the renewal equation on a grid, block replacement.

y(t) = g(t) + keep * integral from 0 to t of y(t - x) dF(x), solved for any life by its
cumulative distribution F on an even grid, all lanes at once by the fast Fourier transform.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from scipy import fft

from pumplife.policy.pump import FloatArray

DAMPING = 1e-9  # what is left of the wrap-around of the transform


def solve_renewal(source: FloatArray, cdf: FloatArray, keep: float = 1.0) -> FloatArray:
    """Solve the renewal equation on an even grid, to second order in its step.

    Parameters
    ----------
    source : float array (..., n + 1)
        g at 0, h, 2h ... nh.
    cdf : float array (..., 2n + 2)
        F at 0, h/2, h ... (2n + 1)h/2.
    keep : float
        Share of the renewals that carry on; 1 for the renewal function.

    Returns
    -------
    float array (..., n + 1)
        y at 0, h ... nh.

    References
    ----------
    Xie, M., Communications in Statistics: Simulation and Computation 18 (1989) 281-293: the
    mass of F between the half steps, set at the step.
    """
    half = cdf[..., 1::2]
    mass = np.diff(half, axis=-1, prepend=0.0)
    steps = source.shape[-1] - 1
    # the last half step of the integral lies beyond t and is taken back
    beyond = half - cdf[..., 0::2]
    known = source - keep * beyond * source[..., :1]
    known[..., 0] = source[..., 0] * (1.0 - keep * mass[..., 0])
    size = fft.next_fast_len(2 * (steps + 1), real=True)
    damp = DAMPING ** (np.arange(steps + 1) / size)
    top = fft.rfft(known * damp, size, axis=-1)
    bottom = 1.0 - keep * fft.rfft(mass * damp, size, axis=-1)
    solved = fft.irfft(top / bottom, size, axis=-1)[..., : steps + 1]
    return np.asarray(solved / damp)


def renew_on_grid(survival: FloatArray, keep: float) -> FloatArray:
    """Solve y = survival + keep * integral of y(t - x) dF(x), as `solve_renewal`, step by step.

    For grids of a few hundred steps at most: the work rises with their square.

    Parameters
    ----------
    survival : float array (rows, 2n + 2, draws)
        1 - F at 0, h/2, h ... (2n + 1)h/2.
    keep : float
        Share of the renewals that carry on.

    Returns
    -------
    float array (rows, n + 1, draws)
        y at 0, h ... nh.
    """
    source, half = survival[:, 0::2], survival[:, 1::2]
    mass = np.empty_like(half)
    np.subtract(1.0, half[:, 0], out=mass[:, 0])
    np.subtract(half[:, :-1], half[:, 1:], out=mass[:, 1:])
    mass *= keep
    # the last half step of the integral lies beyond t and is taken back
    solved = source - half
    solved *= -keep * source[:, :1]
    solved += source
    here = 1.0 / (1.0 - mass[:, 0])
    solved[:, 0] = source[:, 0]
    for row in range(1, source.shape[1]):
        earlier = np.einsum("pkd,pkd->pd", mass[:, 1 : row + 1], solved[:, row - 1 :: -1])
        solved[:, row] += earlier
        solved[:, row] *= here
    return solved


def renewal_function(
    cdf: Callable[[FloatArray], FloatArray], t: FloatArray, *, steps: int = 1 << 14
) -> FloatArray:
    """Expected renewals by time t of a part renewed at each failure.

    Parameters
    ----------
    cdf : callable
        Cumulative distribution of the life on arrays, 0 at 0.
    t : float array (times,)
        [usage], above 0.
    steps : int
        Grid steps up to each time.

    Returns
    -------
    float array (times,)
        Expected number of renewals.
    """
    times = np.asarray(t, float)[:, None]
    grid = times / steps * np.arange(2 * steps + 2) / 2.0
    share = cdf(grid)
    return np.asarray(solve_renewal(share[:, 0::2], share)[:, -1])


def block_cost_rate(
    renewals: FloatArray, t: FloatArray, planned_cost: float, failure_cost: float
) -> FloatArray:
    """Cost rate of renewing every t whatever the age, and at failures [money / usage unit].

    Parameters
    ----------
    renewals : float array (times,)
        Renewal function at t.
    t : float array (times,)
        Block length [usage].
    planned_cost, failure_cost : float
        [money]

    References
    ----------
    Barlow & Proschan, Mathematical Theory of Reliability (1965), chapter 4, block replacement.
    """
    return np.asarray((planned_cost + failure_cost * np.asarray(renewals)) / np.asarray(t))


def minimal_repair_interval(
    shape: float, scale: float, planned_cost: float, repair_cost: float
) -> float:
    """Best renewal age of a part that is mended to its age at failures [usage].

    The closed form scale * (planned / ((shape - 1) * repair)) ** (1 / shape) for a Weibull life;
    inf where the shape is not above 1.

    References
    ----------
    Barlow & Hunter, Operations Research 8 (1960) 90-100, policy II.
    """
    if shape <= 1.0:
        return np.inf
    return float(scale * (planned_cost / ((shape - 1.0) * repair_cost)) ** (1.0 / shape))
