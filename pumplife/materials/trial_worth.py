"""What a trial can save against what it costs: stop before the start when it can't pay."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy import special

from pumplife.materials.compare import Pair
from pumplife.materials.money import Choice, reprice, weigh_make_up

Floats = NDArray[np.float64]

FARTHEST = 3.0  # standard deviations of the prior on either side
POINTS = 61  # log ratios at which what is known is held
PRICED_AT = 7  # of these, at which costs are worked out; between them on a curve


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RatioBelief:
    """What is known of a life ratio before a trial.

    Attributes
    ----------
    log_ratio, chance : float arrays (points,)
        [log of a ratio], and how likely each is; the chances add up to 1.
    """

    log_ratio: Floats
    chance: Floats

    def __repr__(self) -> str:
        low, middle, high = np.exp(self.quantile([0.05, 0.5, 0.95]))
        return f"RatioBelief({middle:.2f}, {low:.2f} to {high:.2f})"

    def quantile(self, share: list[float]) -> Floats:
        """Log ratios at these shares of the chance."""
        total = np.cumsum(self.chance) - 0.5 * self.chance
        return np.asarray(np.interp(share, total, self.log_ratio))


def believe(pair: Pair | None, spread: float, shape: float) -> RatioBelief:
    """Say what is known of a ratio: a prior about 1, and what like lives say.

    Parameters
    ----------
    pair : Pair or None
        What the records say; None where they can't be believed, being confounded.
    spread : float
        Standard deviation of the log ratio before anything is known.
    shape : float
        Weibull shape of the part: how a bound without a failure tells of the ratio.

    Returns
    -------
    RatioBelief
        Half of the chance that an unknown material lives longer, whoever sells it.
    """
    at = np.linspace(-FARTHEST, FARTHEST, POINTS) * spread
    score = -0.5 * np.square(at / spread)
    if pair is not None:
        score = score + _likelihood(pair, at, shape)
    chance = np.exp(score - score.max())
    return RatioBelief(log_ratio=at, chance=chance / chance.sum())


def _likelihood(pair: Pair, at: Floats, shape: float) -> Floats:
    """Log of the likelihood of log ratios, about: a parabola, or no failure among so many due."""
    ratio = pair.ratio
    reach = float(special.ndtri(0.5 + 0.5 * ratio.confidence))
    if np.isfinite([ratio.estimate, ratio.low, ratio.high]).all():
        sides = (ratio.estimate - ratio.low, ratio.high - ratio.estimate)
        wide = np.where(at < ratio.estimate, *sides)
        return np.asarray(-0.5 * np.square((at - ratio.estimate) * reach / wide))
    # none of one kind failed: exp(-due), due as many as the other's lives lead one to expect
    if np.isfinite(ratio.low):
        return np.asarray(-0.5 * reach**2 * np.exp(-shape * (at - ratio.low)))
    if np.isfinite(ratio.high):
        return np.asarray(-0.5 * reach**2 * np.exp(shape * (at - ratio.high)))
    return np.zeros_like(at)


def price_ratios(
    base: Choice, at: int, unit_price: float, belief: RatioBelief, target: float
) -> Floats:
    """Give what the part in another material saves per usage unit, were its life so many times.

    Parameters
    ----------
    base : Choice
        The make-up of reference materials.
    at : int
        Place of the part in it.
    unit_price : float
        Of one piece in the other material [money].
    belief : RatioBelief
    target : float
        Chance of a release within an interval that is borne in hazardous duty.

    Returns
    -------
    float array (points,)
        At each one's own best interval [money / usage unit]; below 0 where it costs more.
    """
    ends = belief.log_ratio[[0, -1]]
    asked = np.linspace(ends[0], ends[1], PRICED_AT)
    more = np.zeros(len(base.kinds))
    more[at] = unit_price - base.unit_price[at]
    group = base.group
    assert group.costs is not None, "priced choices have costs"
    costs, times = reprice(group.costs, more, group.count), np.ones(len(base.kinds))
    cost = []
    for log_ratio in asked:
        scale = group.lives.scale.copy()
        scale[at] *= np.exp(log_ratio)
        other = replace(group, lives=replace(group.lives, scale=scale), costs=costs)
        made = weigh_make_up(
            other, base.unit_price + more, base.place, base.kinds, target=target, times=times
        )
        cost.append(float(made.cost.mean()))
    saved = float(base.cost.mean()) - np.array(cost)
    return np.asarray(np.interp(belief.log_ratio, asked, saved))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Stake:
    """What a choice between two materials is about.

    Attributes
    ----------
    belief : RatioBelief
    saved : float array (points,)
        What the other material saves at each ratio [money / usage unit].
    usage : float
        Of all pumps that would change [usage / year].
    years : float
        That the choice holds for.
    discount : float
        [share / year]
    """

    belief: RatioBelief
    saved: Floats
    usage: float
    years: float
    discount: float

    def __repr__(self) -> str:
        return f"Stake({self.most_a_trial_saves:.4g} at most)"

    def worth_from(self, begins: float) -> float:
        """Years' worth of savings from then to the end, discounted to today [years]."""
        left = max(self.years - begins, 0.0)
        if self.discount <= 0.0:
            return left
        rate = np.log1p(self.discount)
        return float(np.exp(-rate * begins) * -np.expm1(-rate * left) / rate)

    @property
    def break_even(self) -> float:
        """Log ratio from which the other material saves; inf where it never does."""
        saves = self.saved > 0.0
        if not saves.any():
            return np.inf
        if saves.all():
            return -np.inf
        return float(np.interp(0.0, self.saved, self.belief.log_ratio))

    @property
    def decided_now(self) -> float:
        """What deciding on what is known saves: to change, if that is expected to [money]."""
        mean = float(self.belief.chance @ self.saved)
        return max(0.0, self.usage * self.worth_from(0.0) * mean)

    @property
    def most_a_trial_saves(self) -> float:
        """What knowing the ratio for certain, today and for nothing, would save [money]."""
        best = float(self.belief.chance @ np.maximum(self.saved, 0.0))
        return self.usage * self.worth_from(0.0) * best - self.decided_now


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TrialWorth:
    """What a trial is expected to save and to cost [money].

    Attributes
    ----------
    saves : float
        More than deciding today, by choosing on what it shows; before its cost.
    costs : float
        Setting it up, and the dearer parts and failures of the material on trial meanwhile.
    """

    saves: float
    costs: float

    def __repr__(self) -> str:
        return f"TrialWorth(saves {self.saves:.4g}, costs {self.costs:.4g})"

    @property
    def gain(self) -> float:
        """What is left [money]."""
        return self.saves - self.costs


def weigh_trial(
    stake: Stake, *, error: float, reach: float, tried: float, takes: float, setup: float
) -> TrialWorth:
    """Weigh a trial after which the material is changed where that is shown to be the better.

    Parameters
    ----------
    stake : Stake
    error : float
        Standard error of the log ratio at its end.
    reach : float
        Of these errors, from which a longer life is shown.
    tried : float
        Usage of the material on trial until then, all its pumps [usage].
    takes : float
        [years]
    setup : float
        [money]

    Returns
    -------
    TrialWorth
        It is changed where the estimate is beyond both the bound and the break-even ratio.
    """
    belief = stake.belief
    bound = max(reach * error, stake.break_even)
    change = special.ndtr((belief.log_ratio - bound) / error) if np.isfinite(bound) else 0.0
    after = stake.usage * stake.worth_from(takes) * float(belief.chance @ (change * stake.saved))
    meanwhile = -tried * float(belief.chance @ stake.saved)
    return TrialWorth(saves=after - stake.decided_now, costs=setup + meanwhile)
