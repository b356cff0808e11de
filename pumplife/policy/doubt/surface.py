"""Event rates of a group against the interval, which answer any question of cost at once.

For given lives a cost rate is linear in the costs: so many planned rebuilds and so many failures
of each part a usage unit, at each interval.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pumplife.policy.decide import CLEARLY_CHEAPER, FAILED_PART, PLANNED, RUN_TO_FAILURE
from pumplife.policy.interval import WORTH_PLANNING
from pumplife.policy.ladder import integrate_ladder
from pumplife.policy.pump import FloatArray, SideIntegrals, SideLife, integrate_to
from pumplife.weibull.draws import LifeDraws

MOST_POINTS = 44  # of the ladder of a surface, besides the limit and what is around an interval
AROUND = np.exp(np.linspace(-0.42, 0.42, 15))  # ages around an interval, as shares of it
SETTLED = 1e-3  # mean chance of failure, or of survival, beyond which a curve says no more


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Choice:
    """The cheapest way of working at some costs.

    Attributes
    ----------
    policy : str
        planned kit / run to failure / run to failure, failed part only.
    interval : float
        [usage]; inf without planned work.
    rate : float
        Expected cost rate [money / usage unit].
    """

    policy: str
    interval: float
    rate: float

    def __repr__(self) -> str:
        """Say the policy and the interval."""
        return f"<Choice: {self.policy}, {self.interval:.6g}>"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CostSurface:
    """Expected events a usage unit at each planned interval, and without planned work.

    Attributes
    ----------
    times : float array (times,)
        Planned intervals, rising, at most 60 [usage].
    planned : float array (times,)
        Planned renewals of the whole side [1 / usage unit].
    failures : float array (times, parts)
        Failures by the part that failed, the whole side renewed [1 / usage unit].
    never : float array (parts,)
        The same without planned work [1 / usage unit].
    alone : float array (parts,)
        Failures where the failed part alone is renewed and nothing is planned [1 / usage unit].
    limit : float
        Longest interval that the limits allow [usage]; inf where there is none.
    """

    times: FloatArray
    planned: FloatArray
    failures: FloatArray
    never: FloatArray
    alone: FloatArray
    limit: float

    def __repr__(self) -> str:
        """Say the range of intervals."""
        return f"<CostSurface: {self.times[0]:.4g} to {self.times[-1]:.4g}>"

    def cost(self, planned_cost: float, failure_cost: FloatArray) -> FloatArray:
        """Expected cost rate at each interval, (times,) [money / usage unit].

        Parameters
        ----------
        planned_cost : float
            A planned rebuild [money].
        failure_cost : float array (parts,)
            A failure of each part, the whole side renewed [money].
        """
        return np.asarray(self.planned * planned_cost + self.failures @ failure_cost)

    def best_plan(self, planned_cost: float, failure_cost: FloatArray) -> tuple[float, float]:
        """The planned interval of least expected cost rate within the limit, and that rate."""
        inside = self.times <= self.limit
        rates = self.cost(planned_cost, failure_cost)[inside]
        place, rate = _lowest_point(np.log(self.times[inside]), rates)
        return float(np.exp(place)), rate

    def choose(
        self, planned_cost: float, failure_cost: FloatArray, part_cost: FloatArray
    ) -> Choice:
        """The way of working that is cheapest in expectation within the limits.

        Planned work must save 1 % against running to failure, and renewing the failed part alone
        5 % against the kit, as the advice asks of them; a limit asks for planned work whatever
        it costs.

        Parameters
        ----------
        planned_cost : float
            [money]
        failure_cost, part_cost : float array (parts,)
            A failure of each part, the whole side or it alone renewed [money].
        """
        interval, rate = self.best_plan(planned_cost, failure_cost)
        never = float(self.never @ failure_cost)
        if np.isfinite(self.limit) or rate <= (1.0 - WORTH_PLANNING) * never:
            return Choice(policy=PLANNED, interval=interval, rate=rate)
        alone = float(self.alone @ part_cost)
        if alone < CLEARLY_CHEAPER * never:
            return Choice(policy=FAILED_PART, interval=np.inf, rate=alone)
        return Choice(policy=RUN_TO_FAILURE, interval=np.inf, rate=never)


def lay_surface(
    side: SideLife,
    *,
    limit: float = np.inf,
    interval: float = np.inf,
    known: SideIntegrals | None = None,
) -> tuple[CostSurface, SideIntegrals]:
    """The surface of a side, and the integrals by draw that it is the mean of.

    Parameters
    ----------
    side : SideLife
    limit : float
        Longest interval that the limits allow [usage].
    interval : float
        An interval around which the ladder is to be dense [usage].
    known : SideIntegrals, optional
        The side's integrals by `integrate_ladder`, where they are at hand.

    Returns
    -------
    surface : CostSurface
    at : SideIntegrals
        One row per interval of the surface, and a last one without planned work.
    """
    known = integrate_ladder(side) if known is None else known
    at = _integrate(side, known, limit, interval)
    return _mean_surface(side, at, limit, slice(None)), at


def lay_surfaces(
    side: SideLife, known: SideIntegrals, each: int, *, limit: float = np.inf
) -> list[CostSurface]:
    """One surface per `each` draws of the side, in their order, on one ladder for all.

    Parameters
    ----------
    side : SideLife
    known : SideIntegrals
        Its integrals by `integrate_ladder`.
    each : int
        Draws of one surface.
    limit : float
        Longest interval that the limits allow [usage].
    """
    at = _integrate(side, known, limit, np.inf)
    draws = at.survival.shape[1]
    return [_mean_surface(side, at, limit, slice(k, k + each)) for k in range(0, draws, each)]


def _integrate(
    side: SideLife, known: SideIntegrals, limit: float, interval: float
) -> SideIntegrals:
    """Integrals on the ladder of a surface, and a last row without planned work."""
    wanted = [limit, np.inf] if np.isinf(interval) else [limit, np.inf, *(interval * AROUND)]
    at = integrate_to(side, known, np.array(wanted)[:, None], nodes=3)
    return _join(known[_telling_rows(known, min(limit, interval))], at)


def _mean_surface(side: SideLife, at: SideIntegrals, limit: float, draws: slice) -> CostSurface:
    """The surface that is the mean over some of the draws."""
    assert isinstance(side.lives, LifeDraws), "lives of a group are draws"
    uptime = at.uptime[:, draws]
    failures = (at.incidence[:, :, draws] / uptime[:, None]).mean(axis=2)
    mean_life = side.lives[:, draws].mean()
    return CostSurface(
        times=at.times[:-1, 0],
        planned=(at.survival[:, draws] / uptime).mean(axis=1)[:-1],
        failures=failures[:-1],
        never=failures[-1],
        alone=np.asarray((side.count[:, None] / mean_life).mean(axis=1)),
        limit=limit,
    )


def _join(ladder: SideIntegrals, extra: SideIntegrals) -> SideIntegrals:
    """Both, sorted by age, each age once; what lies at the end of life comes last."""
    age = np.concatenate([ladder.times[:, 0], extra.times[:, 0]])
    rows = np.unique(age, return_index=True)[1]
    return SideIntegrals(
        times=age[rows, None],
        survival=np.concatenate([ladder.survival, extra.survival])[rows],
        hazard=np.concatenate([ladder.hazard, extra.hazard])[rows],
        incidence=np.concatenate([ladder.incidence, extra.incidence])[rows],
        uptime=np.concatenate([ladder.uptime, extra.uptime])[rows],
    )


def _telling_rows(known: SideIntegrals, shortest: float) -> slice:
    """Rows of the ladder between hardly a failure and hardly a survivor, thinned."""
    alive = known.survival.mean(axis=1)
    first = max(0, int(np.searchsorted(1.0 - alive, SETTLED)) - 1)
    first = min(first, max(0, int(np.searchsorted(known.times[:, 0], shortest)) - 1))
    last = int(np.flatnonzero(alive > SETTLED).max(initial=first)) + 2
    stride = -(-(last - first) // MOST_POINTS)
    return slice(first, last, stride)


def _lowest_point(place: FloatArray, value: FloatArray) -> tuple[float, float]:
    """Lowest point of a curve, by the cubic through the four points around the lowest."""
    row = int(np.argmin(value))
    if row in (0, value.size - 1) or value.size < 4:
        return float(place[row]), float(value[row])
    first = min(max(0, row - 1 - (value[row - 1] < value[row + 1])), value.size - 4)
    x = (place[first : first + 4] - place[row]).tolist()
    y = (value[first : first + 4] - value[row]).tolist()
    one = [(y[k + 1] - y[k]) / (x[k + 1] - x[k]) for k in range(3)]
    two = [(one[k + 1] - one[k]) / (x[k + 2] - x[k]) for k in range(2)]
    three = (two[1] - two[0]) / (x[3] - x[0])
    cubic = np.array([three, two[0] - three * (x[0] + x[1] + x[2]), 0.0, 0.0])
    cubic[2] = one[0] - two[0] * (x[0] + x[1]) + three * (x[0] * x[1] + x[0] * x[2] + x[1] * x[2])
    move = _dip(cubic, (float(place[row - 1] - place[row]), float(place[row + 1] - place[row])))
    return float(place[row]) + move, float(value[row] + move * np.polyval(cubic[:3], move))


def _dip(cubic: FloatArray, ends: tuple[float, float]) -> float:
    """Where a cubic dips between the ends, 0 where it doesn't."""
    bend, steep = 2.0 * cubic[1], cubic[2]
    inside = bend * bend - 12.0 * cubic[0] * steep
    if bend <= 0.0 or inside < 0.0:
        return 0.0
    move = float(-2.0 * steep / (bend + np.sqrt(inside)))
    return move if ends[0] < move < ends[1] else 0.0
