"""Where planned intervals cost least: the first-order condition, solved on the ladder."""

from __future__ import annotations

import numpy as np
from scipy import optimize

from pumplife.policy.pump import FloatArray, SideIntegrals, SideLife, integrate_to
from pumplife.policy.simulate_way import IntArray

SETTLED = 1e-7  # a cost rate so near to that of running to failure no longer moves
MOST_OPTIMA = 4  # local optima of one curve that are looked at
NODES = 3  # Gauss-Legendre nodes from a row to an age, where that can't be read off an even ladder
ROWS = np.array([-1, 0, 1, 2])  # of the ladder around a step, at which slopes are looked at
BETWEEN = np.array([0.25, 0.5, 0.75])  # shares of the step at which they are, too
PLACES = np.append(ROWS, BETWEEN)  # steps


def cycle_cost(at: SideIntegrals, planned_cost: float, failure_cost: FloatArray) -> FloatArray:
    """Expected cost of one cycle [money], (times, draws)."""
    failures = np.einsum("tpd,p->td", at.incidence, np.asarray(failure_cost, float))
    return np.asarray(failures + planned_cost * at.survival)


def first_order(at: SideIntegrals, planned_cost: float, failure_cost: FloatArray) -> FloatArray:
    """Sign of the slope of the cost rate: below 0 it still falls, (times, draws) [money]."""
    extra = np.asarray(failure_cost, float) - planned_cost
    marginal = np.einsum("tpd,p->td", at.hazard, extra)
    return np.asarray(marginal * at.uptime - cycle_cost(at, planned_cost, failure_cost))


def local_optima(
    side: SideLife,
    known: SideIntegrals,
    money: tuple[float, FloatArray],
    expected: FloatArray,
) -> list[SideIntegrals]:
    """What happens where the mean cost rate over the draws is least locally, the few least.

    Early lives and wear, or two parts, can make more than one.  Dips that only rounding makes,
    where the curve has settled, are none.
    """
    inner = expected[1:-1]
    moving = np.abs(inner / expected[-1] - 1.0) > SETTLED
    dip = (inner <= expected[:-2]) & (inner < expected[2:]) & moving
    rows = np.flatnonzero(dip) + 1
    rows = rows[np.argsort(expected[rows], kind="stable")[:MOST_OPTIMA]]
    found = _level_ages(side, known, money, rows)
    if expected[0] <= expected.min():
        found = np.append(found, known.times[0, 0])
    if not found.size:
        return []
    at = integrate_to(side, known, found[:, None], nodes=NODES)
    return [at[row : row + 1] for row in range(len(found))]


def _level_ages(
    side: SideLife, known: SideIntegrals, money: tuple[float, FloatArray], rows: IntArray
) -> FloatArray:
    """Ages beside some rows of the ladder where the slope of the mean cost rate passes 0 [usage].

    Between two rows the slope is taken as the polynomial through those at `PLACES`.
    """
    if not rows.size:
        return np.empty(0)
    last = len(known.times) - 1
    start = max(int(rows.min()) - 2, 0)
    at_row = _mean_slope(known[slice(start, rows.max() + 3)], money)
    first = rows - (at_row[rows - start] >= 0.0)
    logs = np.log(known.times[:, 0])
    step = logs[first + 1] - logs[first]
    between = np.exp(logs[first, None] + step[:, None] * BETWEEN)
    at = integrate_to(side, known, between.reshape(-1, 1), nodes=NODES)
    near = first[:, None] + ROWS
    whole = np.where((near < 0) | (near > last), np.nan, at_row[np.clip(near, 0, last) - start])
    slopes = np.concatenate([whole, _mean_slope(at, money).reshape(between.shape)], axis=1)
    roots = np.array([_root(slope) for slope in slopes])
    return np.asarray(np.exp(logs[first] + step * roots))


def _mean_slope(at: SideIntegrals, money: tuple[float, FloatArray]) -> FloatArray:
    """Slope of the mean cost rate against the age, (times,) [money / usage unit squared]."""
    return np.asarray((first_order(at, *money) * at.survival / at.uptime**2).mean(axis=1))


def _root(slope: FloatArray) -> float:
    """Where the polynomial through the slopes at `PLACES` rises through 0 between the rows 0 and 1.

    Else the nearer of them.  Slopes beyond the ladder are NaN.
    """
    low, high = slope[1], slope[2]
    if low >= 0.0 or high <= 0.0:
        return float(low < 0.0)
    known = np.isfinite(slope)
    places = PLACES[known]
    curve = np.linalg.solve(np.vander(places), slope[known])
    return float(
        optimize.brentq(lambda share: float(np.polyval(curve, share)), 0.0, 1.0, xtol=1e-12)
    )
