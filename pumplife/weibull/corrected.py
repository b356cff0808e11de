"""Bounds corrected for few failures, from a density that the likelihood becomes.

Where observation ends with a failure (complete lives, lives suspended when a given number had
failed) the chance of what was seen, given how the lives lie relative to each other, is the tail of
the likelihood over log scale and log shape taken as a density in both (Lawless, "Statistical Models
and Methods for Lifetime Data", Wiley, 1982, section 4.1; from memory). In theta and log shape that
is the likelihood over the shape, whose margin is the modified profile likelihood of Yang and Xie
("Efficient estimation of the Weibull shape parameter based on a modified profile likelihood",
Journal of Statistical Computation and Simulation 73, 2003; from memory).

Where time ends it and few have failed, the failures' ages are those of a power law up to that time:
the shape loses nothing to it, and the count is a Poisson one whose density is centred by the root
of what was expected. (The same two cases give 2 (n - 1) and 2 n degrees of freedom to a power law's
shape; MIL-HDBK-189, from memory.) In between, the share of lives that a failure ended, p, weighs
the two: density times shape^-p times expected failures^((1 - p) / 2). The weighing is this
project's own; what it covers was simulated and stands in tests/prove/results.csv.

For a given shape theta has the density of a log gamma variable: exactly for exact, suspended and
late-entered lives, and with the curvature's own count of failures where intervals occur.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import integrate, interpolate, special

from pumplife.weibull.arrays import Bools, Floats, Groups, LifeArrays, sum_by
from pumplife.weibull.batches import Peaks
from pumplife.weibull.likelihood import profile
from pumplife.weibull.quantities import Quantity
from pumplife.weibull.roots import find_roots

NODES = 65
FINE = 1025
DROP = 16.0  # fall of the log margin beyond which nothing counts
STEPS = np.array([1.0, 2.0, 3.0, 4.5, 6.5, 9.0, 12.0, 16.0, 21.0, 28.0, 40.0, 60.0])


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class Margin:
    """The conditional density on log shapes, and that of theta for each of them.

    Attributes
    ----------
    log_shape : array (NODES, groups)
        Equally spaced.
    log_density : array (NODES, groups)
        Of log shape, 0 at its largest.
    theta, count : arrays (NODES, groups)
        Best theta for each shape, and the failures that its curvature is worth.
    extra : array (groups,)
        What the count of failures is raised by.
    proper : array (groups,)
        False where the density does not fall off at both ends: there are no such bounds.
    """

    log_shape: Floats
    log_density: Floats
    theta: Floats
    count: Floats
    extra: Floats
    proper: Bools

    def __repr__(self) -> str:
        return f"Margin({len(self.proper)} groups)"


def find_margin(peaks: Peaks) -> Margin:
    """Return the density of log shape over all that matters of it."""
    share = share_ended(peaks.lives, peaks.groups)
    top, ends, proper = _find_ends(peaks, share)
    low, high = ends
    log_shape = low + np.linspace(0.0, 1.0, NODES)[:, None] * (high - low)
    columns = [_weigh(peaks, share, shapes) for shapes in log_shape]
    log_density, theta, count = (np.array(column) for column in zip(*columns, strict=True))
    return Margin(
        log_shape=log_shape,
        log_density=log_density - np.maximum(top, log_density.max(axis=0)),
        theta=theta,
        count=count,
        extra=0.5 * (1.0 - share),
        proper=proper,
    )


def share_ended(lives: LifeArrays, groups: Groups) -> Floats:
    """Return the share (groups,) of lives that a failure ended: their own, or one of that age."""
    failed, weight = np.isfinite(lives.upper), lives.weights()
    order = np.lexsort((lives.lower, groups.code))
    age, code = lives.lower[order], groups.code[order]
    new = np.concatenate([[True], (age[1:] != age[:-1]) | (code[1:] != code[:-1])])
    run = np.cumsum(new) - 1
    exact = (lives.lower == lives.upper)[order]
    tied = np.bincount(run, exact)[run] > 0.0
    count = len(groups.size)
    ended = sum_by(code, weight[order] * (failed[order] | tied), count)
    return np.asarray(ended / sum_by(groups.code, weight, count))


def _weigh(peaks: Peaks, share: Floats, log_shape: Floats) -> tuple[Floats, Floats, Floats]:
    """Return the log density of log shape, the best theta and what its curvature counts."""
    theta, point = profile(peaks.logs, np.exp(log_shape))
    count = np.maximum(-point.theta2, 1e-12)
    room = special.gammaln(count) + count - count * np.log(count)
    density = point.value + room - share * log_shape
    return np.where(np.isfinite(density), density, -np.inf), theta, count


def _find_ends(peaks: Peaks, share: Floats) -> tuple[Floats, tuple[Floats, Floats], Bools]:
    """Return the top of the log density, the two log shapes where it has dropped, and if so."""
    middle = _weigh(peaks, share, peaks.log_shape)[0]
    spread = np.clip(peaks.spread(), 1e-3, 1.5)
    sides, top, proper = [], middle, np.ones(len(middle), dtype=bool)
    for sign in (-1.0, 1.0):
        places = peaks.log_shape + sign * np.append(0.0, STEPS)[:, None] * spread
        heights = np.array([middle, *(_weigh(peaks, share, place)[0] for place in places[1:])])
        seen = np.maximum.accumulate(heights)
        fallen = heights < seen - DROP
        proper &= fallen.any(axis=0)
        first = np.where(fallen.any(axis=0), np.argmax(fallen, axis=0), len(STEPS))
        top = np.maximum(top, seen[first, np.arange(len(top))])
        sides.append((places, heights, first))
    ends = []
    column = np.arange(len(top))
    for places, heights, last in sides:
        fallen = (heights < top - DROP) & (np.arange(len(places))[:, None] <= last)
        first = np.maximum(np.argmax(fallen, axis=0), 1)
        proper &= fallen.any(axis=0)
        inner, outer = places[first - 1, column], places[first, column]
        ends.append(_tighten(peaks, share, inner, outer, top - DROP))
    return top, (ends[0], ends[1]), proper


def _tighten(peaks: Peaks, share: Floats, inner: Floats, outer: Floats, floor: Floats) -> Floats:
    """Return a log shape just beyond that where the log density falls to the floor."""
    for _ in range(4):
        middle = 0.5 * (inner + outer)
        fallen = _weigh(peaks, share, middle)[0] < floor
        inner, outer = np.where(fallen, inner, middle), np.where(fallen, middle, outer)
    return outer


def shape_quantiles(margin: Margin, chances: tuple[float, float, float]) -> Floats:
    """Return log shapes (3, groups) below which the chances lie."""
    coarse, fine = np.linspace(0.0, 1.0, NODES), np.linspace(0.0, 1.0, FINE)
    bounded = np.maximum(margin.log_density, -60.0)
    density = np.exp(interpolate.CubicSpline(coarse, bounded, axis=0)(fine))
    chance = integrate.cumulative_simpson(density, x=fine, axis=0, initial=0.0)
    chance /= chance[-1]
    width = margin.log_shape[-1] - margin.log_shape[0]
    column = np.arange(chance.shape[1])
    found = []
    for wanted in chances:
        after = np.clip(np.argmax(chance > wanted, axis=0), 1, FINE - 1)
        low, high = chance[after - 1, column], chance[after, column]
        first, last = density[after - 1, column], density[after, column]
        filled = 0.5 * (wanted - low) / (high - low) * (first + last)
        within = 2.0 * filled / (first + np.sqrt(first**2 + 2.0 * (last - first) * filled))
        share = fine[after - 1] + within * (fine[1] - fine[0])
        found.append(margin.log_shape[0] + share * width)
    return np.array(found)


def score_quantiles(
    margin: Margin, quantity: Quantity, chances: tuple[float, float, float], start: Floats
) -> Floats:
    """Return scores (3, groups) below which the chances lie; start (groups,) is near the second."""
    weight = np.exp(margin.log_density)
    weight /= weight.sum(axis=0)
    low, high = _score_range(margin, quantity, weight)
    levels = [float(special.ndtri(chance)) for chance in chances]

    def find(level: float, start: Floats) -> Floats:
        def curve(score: Floats) -> tuple[Floats, Floats]:
            normal, slope = _chance(margin, quantity, weight, score)
            return level - normal, -slope

        return find_roots(curve, start, low, high, tolerance=1e-10)

    middle = find(levels[1], start)
    normal, slope = _chance(margin, quantity, weight, middle)
    ends = [find(level, middle + (level - normal) / slope) for level in (levels[0], levels[2])]
    return np.array([ends[0], middle, ends[1]])


def _chance(
    margin: Margin, quantity: Quantity, weight: Floats, score: Floats
) -> tuple[Floats, Floats]:
    """Return, as a normal score, the chance to lie below a score, and its slope."""
    theta = quantity.theta(score, margin.log_shape)
    step = 1e-6 * (1.0 + np.abs(theta))
    count = margin.count + margin.extra
    with np.errstate(over="ignore", invalid="ignore", divide="ignore"):
        ahead, behind = (quantity.score(theta + way, margin.log_shape) for way in (step, -step))
        falls = 2.0 * step / (behind - ahead)
        log_hazard = np.log(margin.count) + theta - margin.theta
        hazard = np.exp(np.minimum(log_hazard, 700.0))
        below = (weight * special.gammaincc(count, hazard)).sum(axis=0)
        density = np.exp(count * log_hazard - hazard - special.gammaln(count))
        slope = (weight * density * falls).sum(axis=0)
        normal = special.ndtri(below)
        return normal, slope * np.sqrt(2.0 * np.pi) * np.exp(0.5 * normal**2)


def _score_range(margin: Margin, quantity: Quantity, weight: Floats) -> tuple[Floats, Floats]:
    """Return scores between which nearly all of the density lies."""
    reach = 8.0 / np.sqrt(margin.count) + 40.0 / margin.count
    counts = weight > 1e-12
    with np.errstate(over="ignore"):
        high = quantity.score(margin.theta - reach, margin.log_shape)
        low = quantity.score(margin.theta + reach, margin.log_shape)
    low = np.where(counts & np.isfinite(low), low, np.inf).min(axis=0)
    high = np.where(counts & np.isfinite(high), high, -np.inf).max(axis=0)
    return low, high
