"""Are pumps alike: failures seen over failures expected, shrunk by how much pumps differ at all."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import special, stats

from pumplife.fits.alike.holm import holm
from pumplife.weibull.arrays import sum_by

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Words = NDArray[np.object_]

WORSE = 1.5  # times the expected failures from which a pump counts as worse
NAMED_BY_CHANCE = 0.03  # nominal: any pump of equal ones is then named in 1 study of 20 at most
WATCHED_BY_CHANCE = 0.025  # chance that an equal pump is put on the watch list
_LOG_RATIO = np.linspace(np.log(0.04), np.log(25.0), 261)
_SPREADS = np.array([0.03, 0.08, 0.13, 0.18, 0.24, 0.3, 0.37, 0.45, 0.55, 0.7, 0.9])
_SPREAD_USUAL = 0.3  # mean of the prior on the spread between pumps (common practice)
_OUTLIERS = 0.03  # share of pumps for which anything is possible: one bad actor among equals


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Cells:
    """Failures seen and expected per pump and fit; arrays (cells,).

    Parameters
    ----------
    pump, group : int
    failed, expected : float
    peers_failed, peers_expected : float
        Of the other pumps in the same fit.
    """

    pump: Ints
    group: Ints
    failed: Floats
    expected: Floats
    peers_failed: Floats
    peers_expected: Floats

    def __repr__(self) -> str:
        return f"Cells({len(self.pump)})"


def add_up(pump: Ints, group: Ints, failed: Floats, expected: Floats) -> Cells:
    """Add lives up to one cell per pump and fit."""
    size = int(group.max(initial=0)) + 1
    keys, place = np.unique(pump * size + group, return_inverse=True)
    seen = sum_by(place, failed, len(keys))
    due = sum_by(place, expected, len(keys))
    owner = keys % size
    return Cells(
        pump=keys // size,
        group=owner,
        failed=seen,
        expected=due,
        peers_failed=np.maximum(sum_by(owner, seen, size)[owner] - seen, 0.0),
        peers_expected=np.maximum(sum_by(owner, due, size)[owner] - due, 0.0),
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PumpRatios:
    """Each pump against its peers; arrays (pumps,).

    Parameters
    ----------
    failed : float
        Failures of its parts over the records.
    expected : float
        Failures that its peers' lives would lead one to expect.
    doubt : float
        Relative standard deviation of `expected`, from the peers' number of failures [-].
    ratio, ratio_low, ratio_high : float
        Hazard over that of its peers, shrunk, with bounds [-]; NaN where nothing was watched.
    prob_worse : float
        Chance that the hazard is more than `WORSE` times that of its peers [-].
    p_value : float
        Chance of so many failures or more if it is like its peers [-].
    named : bool
        Stands out, all pumps that were looked at allowed for.
    watched : bool
        Worth watching: more failures than `WATCHED_BY_CHANCE` allows, not named.
    spread, spread_low, spread_high : float
        Standard deviation of the hazard ratio between pumps, with 90 % bounds [-].
    """

    failed: Floats
    expected: Floats
    doubt: Floats
    ratio: Floats
    ratio_low: Floats
    ratio_high: Floats
    prob_worse: Floats
    p_value: Floats
    named: NDArray[np.bool_]
    watched: NDArray[np.bool_]
    spread: float
    spread_low: float
    spread_high: float

    def __repr__(self) -> str:
        return (
            f"PumpRatios({len(self.ratio)} pumps, {int(self.named.sum())} named, "
            f"spread {self.spread:.2g})"
        )


def compare_pumps(cells: Cells, pumps: int, *, confidence: float = 0.90) -> PumpRatios:
    """Set each pump beside its peers.

    Parameters
    ----------
    cells : Cells
    pumps : int
        Number of pumps.
    confidence : float
        Two-sided confidence of the bounds.

    Notes
    -----
    Expected is what the other pumps of each fit lead one to expect (the pump's own failures
    don't excuse it), with the doubt of their number of failures. Given the hazard ratio,
    failures are Poisson in units of expected failures; ratios follow a gamma of mean 1 whose
    spread is estimated with its doubt, save a few pumps for which anything is possible. Where
    pumps differ much the fit over all of them has too low a shape, which draws the ratios a
    little together: the 90 % bounds then hold the true ratio in some 88 of 100 pumps.

    No test can name one pump of 80 with twice the hazard and 8 failures expected in more than
    about one study of five, if it is to name a pump in one study of 20 with equal pumps: hence
    the watch list beside it, which holds that pump in seven of ten.

    References
    ----------
    .. [1] D. Clayton, J. Kaldor, Biometrics 43 (1987) 671-681 (shrunk observed over expected;
           from memory).
    """
    due, vary = _peers_expect(cells, pumps)
    seen = sum_by(cells.pump, cells.failed, pumps)
    looked = due > 0
    size = np.where(vary > 0, due**2 / np.where(vary > 0, vary, 1.0), 1e9)
    odds = np.where(looked, due / (size + due), 0.0)
    many = looked & (seen > 0)
    p_value = np.where(many, _tail(np.where(many, seen, 1.0), size, odds), 1.0)
    adjusted = np.ones(pumps)
    adjusted[looked] = holm(p_value[looked])
    named = adjusted < NAMED_BY_CHANCE
    posterior, spread = _posterior(seen, due, size)
    low, high = (
        _quantiles(posterior, (1 - confidence) / 2),
        _quantiles(posterior, (1 + confidence) / 2),
    )
    ratio = np.exp(_LOG_RATIO)
    return PumpRatios(
        failed=seen,
        expected=due,
        doubt=np.where(looked, np.sqrt(vary) / np.where(looked, due, 1.0), np.nan),
        ratio=np.where(looked, posterior @ ratio, np.nan),
        ratio_low=np.where(looked, np.exp(low), np.nan),
        ratio_high=np.where(looked, np.exp(high), np.nan),
        prob_worse=np.where(looked, posterior @ (ratio > WORSE), np.nan),
        p_value=p_value,
        named=named,
        watched=looked & ~named & (p_value < WATCHED_BY_CHANCE),
        spread=spread[1],
        spread_low=spread[0],
        spread_high=spread[2],
    )


def _tail(seen: Floats, size: Floats, odds: Floats) -> Floats:
    """Chance of more failures than were seen, and half that of just as many (mid-p)."""
    or_more = special.betainc(seen, size, odds)
    return np.asarray((or_more + special.betainc(seen + 1.0, size, odds)) / 2.0)


def _peers_expect(cells: Cells, pumps: int) -> tuple[Floats, Floats]:
    """Failures expected from the peers, and the variance of that, per pump.

    The peers' level is (failures + 1) / (expected + 1): near the fit where they are few.
    """
    level = (cells.peers_failed + 1.0) / (cells.peers_expected + 1.0)
    due = cells.expected * level
    vary = due**2 / (cells.peers_failed + 1.0)
    return sum_by(cells.pump, due, pumps), sum_by(cells.pump, vary, pumps)


def _posterior(seen: Floats, due: Floats, size: Floats) -> tuple[Floats, Floats]:
    """Chances over the grid of log ratios per pump, and (low, mean, high) of the spread."""
    ratio = np.exp(_LOG_RATIO)
    log_like = seen[:, None] * _LOG_RATIO - (seen + size)[:, None] * np.log1p(
        ratio * (due / size)[:, None]
    )
    like = np.exp(log_like - log_like.max(axis=1, keepdims=True))
    like[due <= 0] = 1.0
    wide = _gamma(np.array(1.0))
    weights = np.empty(len(_SPREADS))
    mixed = []
    for place, spread in enumerate(_SPREADS):
        prior = (1.0 - _OUTLIERS) * _gamma(spread) + _OUTLIERS * wide
        marginal = like @ prior
        weights[place] = np.sum(np.log(marginal[due > 0])) - spread / _SPREAD_USUAL
        mixed.append((prior, marginal))
    weights += np.log(np.gradient(_SPREADS))
    weights = np.exp(weights - weights.max())
    weights /= weights.sum()
    total = sum(w * prior / marginal[:, None] for w, (prior, marginal) in
                zip(weights, mixed, strict=True) if w > 1e-6)  # fmt: skip
    posterior = like * total
    reach = np.cumsum(weights)
    ends = [float(np.interp(q, reach, _SPREADS)) for q in (0.05, 0.95)]
    return (
        posterior / posterior.sum(axis=1, keepdims=True),
        np.array([ends[0], float(weights @ _SPREADS), ends[1]]),
    )


def _gamma(spread: Floats | float) -> Floats:
    """Chances over the grid of a gamma ratio of mean 1 and this standard deviation."""
    power = 1.0 / np.square(spread)
    density = np.exp(power * (_LOG_RATIO - np.exp(_LOG_RATIO) + 1.0))
    return np.asarray(density / density.sum())


def _quantiles(posterior: Floats, share: float) -> Floats:
    """Log ratio below which this share lies, per pump, between the nodes of the grid."""
    reach = np.cumsum(posterior, axis=1)
    node = np.argmax(reach >= share, axis=1)
    row = np.arange(len(posterior))
    below = np.where(node > 0, reach[row, np.maximum(node - 1, 0)], 0.0)
    part = (share - below) / np.maximum(reach[row, node] - below, 1e-12)
    step = _LOG_RATIO[1] - _LOG_RATIO[0]
    return np.asarray(_LOG_RATIO[node] + (part - 0.5) * step)


def frailty_p_values(cells: Cells, stratum: Ints, strata: int) -> Floats:
    """Chance of pumps differing so much, per stratum, if pumps of one fit are alike.

    Parameters
    ----------
    cells : Cells
    stratum : int array (cells,)
        A service, say.
    strata : int

    Notes
    -----
    Score test of a variance of 0: Σ (seen − expected)² − seen over pumps, its mean corrected for
    the fitted levels, its tail by a Pearson type III curve with the Poisson moments.

    References
    ----------
    .. [1] D. Commenges, P. K. Andersen, Lifetime Data Analysis 1 (1995) 145-156 (score test of
           homogeneity; from memory).
    """
    size = int(cells.pump.max(initial=0)) + 1
    keys, place = np.unique(stratum * size + cells.pump, return_inverse=True)
    owner = keys // size
    seen = sum_by(place, cells.failed, len(keys))
    due = sum_by(place, cells.expected, len(keys))
    every = cells.expected + cells.peers_expected
    fitted = sum_by(stratum, cells.expected**2 / np.where(every > 0, every, 1.0), strata)
    excess = sum_by(owner, (seen - due) ** 2 - seen, strata) + fitted
    second = sum_by(owner, 2.0 * due**2, strata)
    third = sum_by(owner, 8.0 * due**3 + 4.0 * due**2, strata)
    known = (second > 0) & (sum_by(owner, (due > 0).astype(float), strata) >= 3)
    sd = np.sqrt(np.where(known, second, 1.0))
    skew = np.where(known, third / sd**3, 1.0)
    chance = stats.pearson3.sf(excess / sd, skew)
    return np.where(known, chance, np.nan)
