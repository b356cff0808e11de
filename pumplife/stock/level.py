"""How many to keep: loss functions, reorder points and least-cost levels. Arrays only.

Demand over a time is given as probabilities of 0, 1, 2 … items (`pmf`), wherever they come from:
a Poisson count, a simulated fleet, a mixture over lead times. A reorder point s with order
quantity Q means: whenever shelf + on order − waiting falls to s, order Q; so that position
wanders over s + 1 … s + Q. Two measures of service are kept apart: the *fill rate* is the share
of demands met from the shelf at once; the *cycle service* is the chance that nothing waits until
the next order can arrive, and the *shortage probability* is what it lacks to 1.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special, stats

from pumplife.errors import RecordError
from pumplife.stock.looks import SIMPSON_TIMES

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.intp]

SIMPSON = np.array(SIMPSON_TIMES) / sum(SIMPSON_TIMES)
"""Weights of the start, middle and end of a span in its mean."""

_ROUNDING = 1e-9  # of a number that two sums differ by


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Shelf:
    """What each reorder point does in the long run, with one order quantity.

    Attributes
    ----------
    reorder_point : array (levels,)
        Ascending by one; −1 keeps nothing on the shelf when the quantity is 1 [items].
    quantity : int
        Order quantity [items].
    fill_rate : array (levels,)
        Share of demands met from the shelf at once [-].
    shortage_prob : array (levels,)
        Probability that something waits before the next order can arrive [-]: that demand over
        the lead time exceeds the reorder point; where the shelf is looked at once per review,
        that demand over lead time and review exceeds the least that a look leaves on the shelf
        and under way, one more than the reorder point.
    on_hand : array (levels,)
        Mean number on the shelf [items].
    backorders : array (levels,)
        Mean number of demands waiting, planned jobs whose piece comes late among them [items].
    pumps_waiting : array (levels,)
        Of them, breakdowns: their pumps stand. A job that waits lets its pump run on [items].
    """

    reorder_point: IntArray
    quantity: int
    fill_rate: FloatArray
    shortage_prob: FloatArray
    on_hand: FloatArray
    backorders: FloatArray
    pumps_waiting: FloatArray

    def __repr__(self) -> str:
        first, last = int(self.reorder_point[0]), int(self.reorder_point[-1])
        return f"Shelf(reorder points {first} to {last}, quantity {self.quantity})"


def normal_loss(level: ArrayLike, mean: ArrayLike = 0.0, sd: ArrayLike = 1.0) -> FloatArray:
    """Expected shortage E[(D − level)⁺] of normal demand [items].

    References
    ----------
    L. V. Snyder and Z.-J. M. Shen, Fundamentals of Supply Chain Theory, 2nd ed. (2019), app. C.
    """
    spread = _floats(sd)
    z = (_floats(level) - _floats(mean)) / spread
    return _floats(spread * (stats.norm.pdf(z) - z * special.ndtr(-z)))


def poisson_loss(level: ArrayLike, mean: ArrayLike) -> FloatArray:
    """Expected shortage E[(D − level)⁺] of Poisson demand at a whole level [items]."""
    whole, rate = _floats(level), _floats(mean)
    inside = np.maximum(np.floor(whole), 0.0)
    reached = np.floor(whole) >= 0
    above = np.where(reached, special.pdtrc(inside, rate), 1.0)
    log = special.xlogy(inside, rate) - special.gammaln(inside + 1.0) - rate
    exactly = np.where(reached & (inside == whole), np.exp(log), 0.0)
    return _floats((rate - whole) * above + rate * exactly)


def gamma_loss(level: ArrayLike, shape: ArrayLike, scale: ArrayLike) -> FloatArray:
    """Expected shortage E[(D − level)⁺] of gamma demand with mean shape · scale [items]."""
    power, width = _floats(shape), _floats(scale)
    x = _floats(level) / width
    above = power * special.gammaincc(power + 1.0, x) - x * special.gammaincc(power, x)
    return _floats(width * above)


def poisson_pmf(mean: float, tail: float = 1e-16) -> FloatArray:
    """Poisson probabilities of 0, 1, 2 …, up to where less than `tail` is left above."""
    last = int(stats.poisson.isf(tail, mean)) + 1
    return _floats(stats.poisson.pmf(np.arange(last + 1), mean))


def count_pmf(counts: ArrayLike) -> FloatArray:
    """Shares of 0, 1, 2 … among simulated demand counts."""
    whole = np.asarray(counts).astype(np.intp)
    return _floats(np.bincount(whole) / len(whole))


def pmf_loss(level: ArrayLike, pmf: ArrayLike) -> FloatArray:
    """Expected shortage E[(D − level)⁺] of any count of demand at whole levels [items].

    Parameters
    ----------
    level : int or array of int
        May lie below 0 (nothing kept, a queue) or above every demand [items].
    pmf : array (counts,)
        Probabilities of 0, 1, 2 … items.
    """
    return _lose(_losses(_floats(pmf)), np.asarray(level).astype(np.intp))


def smallest_level(pmf: ArrayLike, probability: float) -> int:
    """Smallest level s with P(D <= s) >= probability: no shortage in the time, that often."""
    _refuse_share("probability", probability)
    below = np.cumsum(_floats(pmf))
    return int(np.searchsorted(below, min(probability, below[-1]) - 1e-12))


def base_stock(pmf: ArrayLike, service_level: float) -> int:
    """Smallest stock S, reordered one by one, with fill rate P(D <= S − 1) >= service_level."""
    return smallest_level(pmf, service_level) + 1


def cost_of_level(
    level: ArrayLike, pmf: ArrayLike, *, holding: float, shortage: float
) -> FloatArray:
    """Expected cost holding · E[(level − D)⁺] + shortage · E[(D − level)⁺] [money].

    Parameters
    ----------
    level : int or array of int
        Items [items].
    pmf : array (counts,)
        Probabilities of 0, 1, 2 … items.
    holding, shortage : float
        Cost of one item left over, of one item missing [money/item].
    """
    chances = _floats(pmf)
    mean = float(chances @ np.arange(len(chances)))
    missing = pmf_loss(level, chances)
    return holding * (_floats(level) - mean + missing) + shortage * missing


def newsvendor_level(pmf: ArrayLike, *, holding: float, shortage: float) -> int:
    """Least-cost level for one period: smallest S with P(D <= S) >= shortage/(shortage + holding).

    References
    ----------
    L. V. Snyder and Z.-J. M. Shen, Fundamentals of Supply Chain Theory, 2nd ed. (2019), ch. 4.
    """
    return smallest_level(pmf, shortage / (shortage + holding))


def normal_newsvendor(
    mean: float, sd: float, *, holding: float, shortage: float
) -> tuple[float, float]:
    """Least-cost level and its cost for normal demand [items, money]."""
    level = float(stats.norm.ppf(shortage / (shortage + holding), mean, sd))
    missing = float(normal_loss(level, mean, sd))
    return level, holding * (level - mean + missing) + shortage * missing


def assess_levels(
    lead: ArrayLike,
    later: tuple[ArrayLike, ArrayLike] | None = None,
    *,
    quantity: int = 1,
    highest: int | None = None,
    seen: ArrayLike | None = None,
    early: float = 0.0,
) -> Shelf:
    """Service and stock of every reorder point from −1 up.

    Parameters
    ----------
    lead : array (counts,)
        Probabilities of demand over the lead time.
    later : tuple of two arrays (counts,), optional
        The same over lead time + half the review period and over lead time + the whole of it,
        where the position is looked at once per review period. Without it, it is always known.
    quantity : int
        Order quantity, or multiples of it [items].
    highest : int, optional
        Highest reorder point to assess [items]; default: where demand can't exceed it.
    seen : array (counts,), optional
        Probabilities of what was asked before each single demand since the look that serves it,
        where demands of several kinds share the shelf and one kind's fill rate is wanted.
    early : float
        Mean number lying for work that is still to come, besides the level [items].

    Notes
    -----
    With position y spread evenly over s + 1 … s + Q, demands one by one: always known,
    fill rate = mean over y of P(D_L <= y − 1). Looked at every R: the share of demand that goes
    short is mean over y of {E[(D_{L+R} − y)⁺] − E[(D_L − y)⁺]} / E[D_{L+R} − D_L]; means over the
    review period by Simpson's rule. With `seen`, either way, fill rate = mean over y of
    P(seen <= y − 1), which holds for demands of any kind.

    References
    ----------
    S. Axsäter, Inventory Control, 2nd ed. (2006), ch. 5.
    """
    return lay_levels(count_chances(lead, later, seen=seen, early=early), quantity, highest)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class DemandChances:
    """What `assess_levels` asks of a demand, whatever the order quantity."""

    losses: list[FloatArray]  # E[(D − y)⁺] of each span [items]
    above: list[FloatArray]  # P(D >= y) of each span
    asked: float  # demand of the longest span less that of the shortest [items]
    mean: float  # demand over time [items]
    seen: FloatArray | None  # chance that what was asked before is as high
    early: float  # mean number lying for work that is still to come [items]
    late: FloatArray  # mean number of planned jobs before which as much was asked [items]

    @property
    def over_time(self) -> FloatArray:
        """Weights of the spans."""
        return SIMPSON if len(self.losses) > 1 else np.ones(1)


def count_chances(
    lead: ArrayLike,
    later: tuple[ArrayLike, ArrayLike] | None = None,
    *,
    seen: ArrayLike | None = None,
    early: float = 0.0,
    late: ArrayLike = (),
) -> DemandChances:
    """Sum up the tails of a demand; parameters as of `assess_levels`.

    `late` is the mean number of planned jobs not yet done before which 0, 1, 2 ... items were
    asked, over the spans as they count: those for which a level leaves nothing wait [items].
    """
    spans = [_chances(pmf) for pmf in (lead, *(later or ()))]
    means = [_mean(pmf) for pmf in spans]
    return DemandChances(
        losses=[_losses(pmf) for pmf in spans],
        above=[_tail(pmf) for pmf in spans],
        asked=means[-1] - means[0],
        mean=float((SIMPSON if later else np.ones(1)) @ means),
        seen=None if seen is None else _tail(_chances(seen)),
        early=early,
        late=_tail(_floats(late)),
    )


def lay_levels(known: DemandChances, quantity: int, highest: int | None = None) -> Shelf:
    """Service and stock of every reorder point at one order quantity, see `assess_levels`."""
    if quantity < 1:
        raise RecordError(f"order quantity is {quantity}: give a whole number of at least 1")
    points = np.arange(-1, max(map(len, known.above)) - 1 if highest is None else highest + 1)
    position = points[:, None] + np.arange(1, quantity + 1)
    waits = np.array([_lose(losses, position).mean(axis=1) for losses in known.losses])
    waiting = _floats(known.over_time @ waits)
    jobs = known.late[np.clip(position, 0, len(known.late) - 1)].mean(axis=1)
    return Shelf(
        reorder_point=points,
        quantity=quantity,
        fill_rate=_fill_rates(known, position, waits),
        shortage_prob=_above(known.above[-1], points + 1 if len(known.losses) > 1 else points),
        on_hand=position.mean(axis=1) - known.mean + waiting + known.early,
        backorders=waiting,
        pumps_waiting=leave_jobs_out(waiting, jobs),
    )


def leave_jobs_out(waiting: FloatArray, jobs: FloatArray) -> FloatArray:
    """Mean number of breakdowns among all that wait, planned jobs left out; rounding to 0."""
    pumps = waiting - jobs
    return _floats(np.where(pumps > _ROUNDING * waiting, pumps, 0.0))


def reorder_point(shelf: Shelf, service_level: float) -> int:
    """Smallest reorder point of at least 0 whose fill rate meets the service level [items]."""
    _refuse_share("service_level", service_level)
    none = max(0, -int(shelf.reorder_point[0]))  # levels below 0
    enough = shelf.fill_rate[none:] >= service_level - 1e-12
    at = int(np.argmax(enough)) if len(enough) else 0
    if not enough[at : at + 1].any():
        raise RecordError(
            f"no reorder point up to {int(shelf.reorder_point[-1])} gives a fill rate of "
            f"{service_level}; assess higher levels"
        )
    return int(shelf.reorder_point[none + at])


def _fill_rates(known: DemandChances, position: IntArray, waits: FloatArray) -> FloatArray:
    """Share of demand met at once; by the lead time alone where nothing is asked in a review."""
    if known.seen is not None:
        return _floats(1.0 - _above(known.seen, position - 1).mean(axis=1))
    if known.asked <= 0:
        return _floats(1.0 - _above(known.above[0], position - 1).mean(axis=1))
    return _floats(1.0 - (waits[-1] - waits[0]) / known.asked)


def _losses(pmf: FloatArray) -> FloatArray:
    """E[(D − y)⁺] for y = 0 … len(pmf): sums of the tail of the tail, smallest terms first."""
    tail = np.cumsum(pmf[::-1])[::-1]  # P(D >= y)
    return np.append(np.cumsum(np.append(tail[1:], 0.0)[::-1])[::-1], 0.0)


def _lose(losses: FloatArray, level: IntArray) -> FloatArray:
    """E[(D − level)⁺] at whole levels, which may lie below 0 or above every demand."""
    inside = np.clip(level, 0, len(losses) - 1)
    return _floats(losses[inside] + np.maximum(-level, 0))


def _tail(pmf: FloatArray) -> FloatArray:
    """P(D >= y) for y = 0 … len(pmf)."""
    return np.append(np.cumsum(pmf[::-1])[::-1], 0.0)


def _above(tail: FloatArray, level: IntArray) -> FloatArray:
    """P(D > level) at whole levels, 1 below 0, of the sums of a tail."""
    return _floats(tail[np.clip(level + 1, 0, len(tail) - 1)])


def _floats(values: ArrayLike) -> FloatArray:
    return np.asarray(values, dtype=np.float64)


def _mean(pmf: FloatArray) -> float:
    return float(pmf @ np.arange(len(pmf)))


def _chances(pmf: ArrayLike) -> FloatArray:
    chances = _floats(pmf)
    if chances.ndim != 1 or len(chances) == 0 or np.any(chances < 0):
        raise RecordError("demand must be a list of probabilities of 0, 1, 2 … items, none below 0")
    if abs(chances.sum() - 1.0) > 1e-6:
        raise RecordError(f"probabilities of demand sum to {chances.sum():.6g}, not to 1")
    return chances


def _refuse_share(name: str, value: float) -> None:
    if not 0.0 < value < 1.0:
        raise RecordError(f"{name} is {value}: give a share between 0 and 1, as 0.95")
