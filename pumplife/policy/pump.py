"""One side of a pump: its wearing positions in series, and what integrates over its life.

Time comes first in every array here: survival is (times, draws), a hazard or incidence per
part is (times, parts, draws).  Times may be (times, 1), shared by the draws, or (times, draws).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from pumplife.errors import RecordError
from pumplife.policy.alive import Side, live_through, take_apart
from pumplife.policy.between import read_between
from pumplife.weibull.draws import LifeDraws

FloatArray = NDArray[np.float64]

LOG_TIME_SPAN = 690.0  # exp of it is near the largest float: any unit of time fits
BLOCK_CELLS = 100_000  # times x parts x draws held at once: little enough to be held near
LARGEST_LOG = 460.0  # of a cumulative hazard: nothing survives it, and it is far from overflow


class Life(Protocol):
    """Any life on arrays: leading axis parts, then draws; times broadcast to the left of both."""

    def survival(self, t: FloatArray, /) -> FloatArray:
        """Probability that the part outlives t."""

    def hazard(self, t: FloatArray, /) -> FloatArray:
        """Failure rate at age t of a part that reached t [1 / usage unit]."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SideLife:
    """The wearing parts of one pump side, in series: the first failure stops the side.

    Attributes
    ----------
    lives : Life
        Lives of the parts, arrays (parts, draws); usually LifeDraws.
    count : float array (parts,)
        Positions of each part on the side.
    """

    lives: Life
    count: FloatArray

    def __repr__(self) -> str:
        """Say how many parts and positions."""
        return f"<SideLife: {self.count.size} parts, {self.count.sum():g} positions>"

    @property
    def apart(self) -> Side:
        """What of the draws of the lives is needed again and again."""
        return _take_apart(self)

    def evaluate(self, times: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Cumulative hazard of the side (times, draws) and hazard by part (times, parts, draws)."""
        t = times[:, None, :]
        count = self.count[:, None]
        with np.errstate(all="ignore"):
            if isinstance(self.lives, LifeDraws):
                cumulative, hazard = _weibull_hazards(self.lives, t)
            else:
                cumulative = -np.log(self.lives.survival(t))
                hazard = np.nan_to_num(self.lives.hazard(t), nan=0.0, posinf=0.0)
            total = np.einsum("tpd,p->td", cumulative, self.count)
            return total, hazard * count

    def live_through(self, times: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Survival (times, draws) and hazard times age by part (times, parts, draws)."""
        if not isinstance(self.lives, LifeDraws):
            cumulative, hazard = self.evaluate(times)
            return np.exp(-cumulative), hazard * times[:, None]
        logs = np.log(times)[:, None] - np.log(self.lives.scale)
        logs *= self.lives.shape
        rate = np.exp(np.minimum(logs, LARGEST_LOG, out=logs), out=logs)
        rate *= self.count[:, None] * self.lives.shape
        return live_through(self.apart, times, rate), rate

    def survival(self, times: FloatArray) -> FloatArray:
        """Probability that no position has failed by `times` [usage], (times, draws)."""
        return np.exp(-self.evaluate(np.asarray(times, float))[0])


@lru_cache(maxsize=8)
def _take_apart(side: SideLife) -> Side:
    assert isinstance(side.lives, LifeDraws), "other lives are asked as a whole"
    return take_apart(side.lives, side.count)


def _weibull_hazards(lives: LifeDraws, t: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Cumulative hazard and hazard of the parts, with as few powers as will do."""
    wear = np.exp(np.minimum(lives.shape * (np.log(t) - np.log(lives.scale)), 500.0))
    rate = lives.shape * wear
    rate /= t
    for part in np.flatnonzero((lives.early_share > 0.0).any(axis=1)):
        wear[:, part], rate[:, part] = _with_early(
            lives[part], t[:, 0], wear[:, part], rate[:, part]
        )
    return wear, rate


def _with_early(
    life: LifeDraws, t: FloatArray, wear: FloatArray, wear_rate: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Cumulative hazard and hazard of a part, some of which die early, from those of wear."""
    worn = (1.0 - life.early_share) * np.exp(-wear)
    early = life.early_share * np.exp(-t / life.early_scale)
    alive = worn + early
    some = alive > 0.0
    alive = np.where(some, alive, 1.0)
    rate = (worn * wear_rate + early / life.early_scale) / alive
    return np.where(some, -np.log(alive), wear), np.where(some, rate, wear_rate)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SideIntegrals:
    """What happens to a side within one interval, were it planned at each of the times.

    Attributes
    ----------
    times : float array (times, 1) or (times, draws)
        Ages [usage].
    survival : float array (times, draws)
        Probability of reaching that age without a failure.
    hazard : float array (times, parts, draws)
        Failure rate by part at that age, all its positions [1 / usage unit].
    incidence : float array (times, parts, draws)
        Probability that the part fails, first of all, before that age.
    uptime : float array (times, draws)
        Expected usage until failure or that age, whichever comes first [usage].
    even : bool
        Whether the times are a whole ladder even in log time, shared by the draws.
    """

    times: FloatArray
    survival: FloatArray
    hazard: FloatArray
    incidence: FloatArray
    uptime: FloatArray
    even: bool = False

    def __repr__(self) -> str:
        """Say the size."""
        return f"<SideIntegrals: {self.incidence.shape} times x parts x draws>"

    def __getitem__(self, rows: slice) -> SideIntegrals:
        """Some of the times."""
        return SideIntegrals(
            times=self.times[rows],
            survival=self.survival[rows],
            hazard=self.hazard[rows],
            incidence=self.incidence[rows],
            uptime=self.uptime[rows],
        )

    def of_draws(self, draws: NDArray[np.int64]) -> SideIntegrals:
        """Some of the draws, on times that all share."""
        return SideIntegrals(
            times=self.times,
            survival=self.survival[:, draws],
            hazard=self.hazard[:, :, draws],
            incidence=self.incidence[:, :, draws],
            uptime=self.uptime[:, draws],
            even=self.even,
        )


def count_draws(side: SideLife) -> int:
    """How many draws the lives carry."""
    if isinstance(side.lives, LifeDraws):
        return int(side.lives.shape.shape[-1])
    return int(side.lives.survival(np.ones((1, 1, 1))).shape[-1])


def integrate_side(side: SideLife, times: FloatArray, *, nodes: int = 4) -> SideIntegrals:
    """Survival, incidence by part and expected uptime at each of the rising `times`.

    Gauss-Legendre in log time between neighbouring times, so that an infinite hazard at 0 does
    no harm; below the first time the parts share the failures by their cumulative hazards, which
    is exact as that time goes to 0.

    Parameters
    ----------
    side : SideLife
    times : float array (times, 1) or (times, draws)
        Rising ages above 0 [usage]; see `ages.shared_times` and `ages.own_times`.
    nodes : int
        Gauss-Legendre nodes between two times.

    Returns
    -------
    SideIntegrals
    """
    times = np.asarray(times, float)
    if times.ndim != 2 or not np.all(times > 0.0):
        raise RecordError("ages to integrate over must be a two-dimensional array above 0")
    cumulative, hazard = side.evaluate(times)
    first_incidence, first_uptime = below_first(side, times[:1], cumulative[:1], hazard[:1])
    steps_incidence, steps_uptime = _panels(side, times[:-1], times[1:], nodes)
    incidence = np.cumsum(np.concatenate([first_incidence, steps_incidence]), axis=0)
    uptime = np.cumsum(np.concatenate([first_uptime, steps_uptime]), axis=0)
    return SideIntegrals(
        times=times,
        survival=np.exp(-cumulative),
        hazard=hazard,
        incidence=share_failures(incidence, -np.expm1(-cumulative)),
        uptime=uptime,
    )


def integrate_to(
    side: SideLife, known: SideIntegrals, age: FloatArray, *, nodes: int = 8
) -> SideIntegrals:
    """Extend `known` to other ages; inf means no end.

    Ages beyond the last known time are taken there, where hardly anything still runs.  On a
    ladder even in log time, ages that the draws share are read off the rows around them, as
    exactly as the rows are: uptime to 1e-7, to 1e-5 where very flat and very steep lives meet.

    Parameters
    ----------
    side : SideLife
    known : SideIntegrals
        Its integrals on a ladder of ages.
    age : float array (draws,), (1,), (ages, draws) or (ages, 1)
        One age per draw or one for all; several of either, a row each [usage].
    nodes : int
        Gauss-Legendre nodes from the known time below to the age, where it isn't read off: on
        ladders of other lives than Weibull, and at ages of each draw's own.

    Returns
    -------
    SideIntegrals
        One row per row of `age`.
    """
    ages = np.atleast_2d(np.asarray(age, float))
    if ages.shape[1] != known.times.shape[1]:
        ages = np.broadcast_to(ages, (ages.shape[0], known.survival.shape[1]))
    ladder = known.times
    if ages.shape[1] != ladder.shape[1]:
        ladder = np.broadcast_to(ladder, (ladder.shape[0], ages.shape[1]))
    clipped = np.clip(ages, ladder[0], ladder[-1])
    if known.even and ages.shape[1] == 1:
        incidence, uptime = read_between(known, clipped[:, 0])
    else:
        incidence, uptime = _from_below(side, (known, ladder), clipped, nodes)
    below = ages < ladder[0]
    reached = np.where(below, ages, clipped)
    cumulative, hazard = side.evaluate(np.maximum(reached, 1e-300))
    uptime = np.where(below, reached, uptime)
    return SideIntegrals(
        times=reached,
        survival=np.exp(-cumulative),
        hazard=hazard,
        incidence=share_failures(incidence, -np.expm1(-cumulative)),
        uptime=uptime,
    )


def _from_below(
    side: SideLife, known: tuple[SideIntegrals, FloatArray], ages: FloatArray, nodes: int
) -> tuple[FloatArray, FloatArray]:
    """Incidence by part and uptime at ages, by quadrature from the last row of a ladder before."""
    at, ladder = known
    row = _row_below(at.times, ages)
    incidence, uptime = _panels(side, np.take_along_axis(ladder, row, axis=0), ages, nodes)
    incidence += np.take_along_axis(at.incidence, row[:, None, :], axis=0)
    uptime += np.take_along_axis(at.uptime, row, axis=0)
    return incidence, uptime


def _row_below(ladder: FloatArray, ages: FloatArray) -> NDArray[np.int64]:
    """Last row of a ladder not beyond an age, ladder and ages by draw or shared."""
    if ladder.shape[1] == 1:
        row = np.searchsorted(ladder[:, 0], ages, side="right") - 1
    else:
        row = (ladder[:, None, :] <= ages).sum(axis=0) - 1
    return np.asarray(np.clip(row, 0, ladder.shape[0] - 1))


def below_first(
    side: SideLife, first: FloatArray, cumulative: FloatArray, hazard: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Incidence by part and uptime from 0 to the first time, the hazard taken as a power of it."""
    with np.errstate(all="ignore"):
        by_part = -np.log(side.lives.survival(first[:, None, :])) * side.count[:, None]
    by_part = np.minimum(by_part, LOG_TIME_SPAN)  # a draw that is dead by then
    total = np.maximum(by_part.sum(axis=1, keepdims=True), 1e-300)
    failed = -np.expm1(-cumulative)
    incidence = by_part / total * failed[:, None, :]
    power = first * hazard.sum(axis=1) / np.maximum(cumulative, 1e-300)
    return incidence, first * (1.0 - failed / (1.0 + power))


def _panels(
    side: SideLife, low: FloatArray, high: FloatArray, nodes: int
) -> tuple[FloatArray, FloatArray]:
    """Incidence by part and uptime within each panel from `low` to `high`, (panels, ...)."""
    cells = nodes * side.count.size * count_draws(side)
    block = max(1, BLOCK_CELLS // cells)
    parts = [
        _panel_block(side, low[at : at + block], high[at : at + block], nodes)
        for at in range(0, low.shape[0], block)
    ]
    return (
        np.concatenate([incidence for incidence, _ in parts]),
        np.concatenate([uptime for _, uptime in parts]),
    )


def _panel_block(
    side: SideLife, low: FloatArray, high: FloatArray, nodes: int
) -> tuple[FloatArray, FloatArray]:
    """Gauss-Legendre in log time over some panels at once."""
    point, weight = _legendre(nodes)
    log_low, log_high = np.log(low), np.log(high)
    half = 0.5 * (log_high - log_low)
    log_time = (log_low + half)[:, None, :] + half[:, None, :] * point[:, None]
    times = np.exp(log_time).reshape(-1, log_time.shape[-1])
    survival, rate = side.live_through(times)
    survival *= (half[:, None, :] * weight[:, None]).reshape(times.shape)
    rate *= survival[:, None, :]
    survival *= times
    by_node = low.shape[0], nodes
    incidence = rate.reshape(*by_node, *rate.shape[1:]).sum(axis=1)
    return incidence, survival.reshape(*by_node, -1).sum(axis=1)


def share_failures(incidence: FloatArray, failed: FloatArray) -> FloatArray:
    """Incidence by part, in place, made to sum exactly to the probability of a failure."""
    factor = failed / np.maximum(incidence.sum(axis=1), 1e-300)
    incidence *= factor[:, None, :]
    return incidence


@lru_cache(maxsize=8)
def _legendre(nodes: int) -> tuple[Any, Any]:
    """Nodes and weights on (-1, 1)."""
    return np.polynomial.legendre.leggauss(nodes)
