"""How much data is needed for what: the plant's own rules in place of the defaults."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pumplife.records.amounts import EVIDENCE
from pumplife.records.read import Records

Floats = NDArray[np.float64]

NONE = 0.5  # a shared breakdown or two is no failure of this part
LABELS = ("no failures", "indicative", "weak", "usable", "good")

BOUND = "a bound, not an estimate"
ENOUGH = "enough to decide"
BANDED = "decide with the band"
BORROWED = "borrowed mostly from other groups"
TOO_FEW = "too few to decide"
MOSTLY = 0.5  # share of the answer on the B10 life from which it is mostly borrowed


@dataclass(frozen=True, slots=True, kw_only=True)
class Rules:
    """What the number of failures allows; see [evidence] in plant.toml.

    Attributes
    ----------
    weak, usable, good : float
        Failures from which a fit is called so; below `weak` it is indicative.
    likelihood : float
        Failures from which maximum likelihood stands in the table, the posterior below.
    narrow_band : float [-]
        Upper over lower bound of the B10 life up to which a fit is enough to decide.
    worn_life_spent : float [-]
        Share of its life that a part pulled because it looked worn has behind it, at least.
    advise : float
        Failures on a pump side from which an interval is advised; below, today's stays.
    advise_lent : float
        Failures of its parts in all services from which it is advised with fewer of its own.
    """

    weak: float
    usable: float
    good: float
    likelihood: float
    narrow_band: float
    worn_life_spent: float
    advise: float
    advise_lent: float

    def __repr__(self) -> str:
        return f"Rules(weak={self.weak:g}, usable={self.usable:g}, good={self.good:g})"

    def label(self, failures: Floats) -> NDArray[np.object_]:
        """Return what each number of failures is worth, in one or two words."""
        steps = np.array([NONE, self.weak - NONE, self.usable - NONE, self.good - NONE])
        return np.array(LABELS, dtype=object)[np.searchsorted(steps, failures, side="right")]

    def judge(self, failures: Floats, band: Floats, borrowed: Floats) -> NDArray[np.object_]:
        """Return what can be decided on each fit.

        Parameters
        ----------
        failures, band, borrowed : array (fits,)
            Failures; upper over lower bound of the B10 life [-]; share of it that is borrowed [-].
        """
        few = (failures < self.weak - NONE) & ~(band <= self.narrow_band**2)
        words = np.select(
            [failures < NONE, borrowed >= MOSTLY, band <= self.narrow_band, few],
            [BOUND, BORROWED, ENOUGH, TOO_FEW],
            BANDED,
        )
        return words.astype(object)


def read_rules(given: Mapping[str, float]) -> Rules:
    """Return the rules, with the plant's own numbers where it gives some."""
    return Rules(**{name: float(given.get(name, usual)) for name, usual in EVIDENCE.items()})


def say_changed_rules(records: Records) -> None:
    """Note in the audit each rule on evidence that the plant has changed."""
    for name, value in records.plant.evidence.items():
        usual = EVIDENCE.get(name)
        if usual is not None and value != usual:
            records.log.add(
                "note",
                f"[evidence] {name} is {value:g} in this plant; usual is {usual:g}.",
                rule="changed_evidence",
                table="fits",
                consequence="Fits are labelled and chosen by the plant's own number.",
                remedy=f"Take [evidence] {name} out of plant.toml to go back.",
            )


def failures_to_halve(band: Floats, shape: Floats, failures: Floats, suspensions: Floats) -> Floats:
    """Return how many more failures would halve the band of the B10 life.

    The variance of the log B10 life is about (0.6 + 5 q) / shape² per failure, q being the share of
    lives that end in failure (fitted to simulated sets of 5 to 80 failures with 10 to 70 % failed;
    5.3 / shape² for complete lives by theory). Half the band needs four times what is known now,
    whether the plant's own failures, other groups or the prior say it.

    Parameters
    ----------
    band : array (fits,) [-]
        Upper over lower 90 % bound of the B10 life; NaN where there is none.
    shape, failures, suspensions : arrays (fits,)

    References
    ----------
    .. [1] W. Q. Meeker, L. A. Escobar, "Statistical Methods for Reliability Data", Wiley, 1998,
       chapter 10 (sample size from the variance of a quantile; from memory).
    """
    ended = failures / np.maximum(failures + suspensions, 1e-9)
    variance = (np.log(band) / (2.0 * 1.6449)) ** 2
    worth = (0.6 + 5.0 * ended) / (shape**2 * variance)
    return np.asarray(np.ceil(3.0 * worth))
