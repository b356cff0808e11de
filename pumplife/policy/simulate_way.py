"""Ways of working on one pump side, as the simulator follows them."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from pumplife.errors import RecordError

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

PLANNED = -1  # position of an event that is planned renewal of the whole side
INSPECTION = -2  # position of an event that is an inspection
TOGETHER = 1e-9  # work planned this near to other planned work, relative, is one job
_RARE = 0.02  # below this share whole renewals at failures are too rare to count cycles by


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PlannedAges:
    """Ages at which a side is planned, one drawn at each renewal of the whole side.

    Attributes
    ----------
    ages : float array (ages,)
        Planned ages [usage]; inf means never.
    weights : float array (ages,)
        Their shares, summing to 1.
    """

    ages: FloatArray
    weights: FloatArray

    def __repr__(self) -> str:
        """Say the ages when they are few."""
        return f"<PlannedAges: {self.ages.size} ages, never {self.never:.0%}>"

    @property
    def never(self) -> float:
        """Share that is never planned."""
        return float(self.weights[np.isinf(self.ages)].sum())


def fixed_interval(age: float) -> PlannedAges:
    """One planned age for all [usage]; inf means run to failure."""
    return PlannedAges(ages=np.array([float(age)]), weights=np.ones(1))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Inspection:
    """Looking for wear before it is a failure: each life shows a first sign, then fails.

    The life to failure is the fitted one, whatever the delay: the first sign comes the delay
    before the failure, or at the fitting of a part that doesn't live as long as its delay.  Early
    lives show it like the others.  Nobody looks but at inspections, whatever else opens the side.
    Give `delay_share` or `delay_mean`, not both.

    Attributes
    ----------
    every : float
        Usage from the last renewal of the whole side, or from the last inspection, to the next
        inspection [usage].  A failure that renews less than the whole side doesn't move it.
    delay_share : float array (positions,), optional
        Last share of each life in which the sign shows [-]; 0: never seen before the failure.
    delay_mean : float array (positions,), optional
        Mean of a delay drawn for each life [usage]; 0: never seen before the failure.
    delay_shape : float
        Weibull shape of that delay; 1: exponential.
    detection : float
        Chance that one inspection finds a position that shows the sign [-], each time anew.
    whole : bool
        Whether the whole side is renewed where a position is found, not that position alone.

    References
    ----------
    Christer & Waller, Journal of the Operational Research Society 35 (1984) 401-406, delay-time
    models (from memory).
    """

    every: float
    delay_share: FloatArray | None = None
    delay_mean: FloatArray | None = None
    delay_shape: float = 1.0
    detection: float = 1.0
    whole: bool = False

    def __post_init__(self) -> None:
        """Refuse what can't be an inspection."""
        if (self.delay_share is None) == (self.delay_mean is None):
            raise RecordError(
                "an inspection needs the delay from first sign to failure, either as a share of "
                "the life or as a mean usage: give one of delay_share and delay_mean"
            )
        if not (self.every > 0.0 and 0.0 <= self.detection <= 1.0 and self.delay_shape > 0.0):
            raise RecordError(
                f"an inspection every {self.every:g} that finds {self.detection:g} of the signs, "
                f"delays of shape {self.delay_shape:g}: the interval and the shape must be above "
                "0, the share found between 0 and 1"
            )

    def __repr__(self) -> str:
        """Say how often, and what is found."""
        return f"<Inspection: every {self.every:.6g}, finds {self.detection:.0%}>"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Way:
    """How one side of a pump is worked; everything that is set holds at once.

    A side is renewed whole at its planned age, at each block and at a share of its failures.  At
    an opening that is not for the whole side (the other failures, inspections) the failed
    position is renewed, with it every position older than `renew_older`, and at an inspection
    every position found worn (or the whole side for it).  Whatever is renewed is new; the rest
    keeps its age.  The side's clock (planned age, inspections) starts again only when the whole
    side is renewed.  Where several come at the same usage, the planned age goes before the block,
    the block before the inspection, the inspection before a failure; an inspection that falls on
    a whole renewal is part of it.

    Attributes
    ----------
    planned : PlannedAges
        Usage since the last renewal of the whole side at which it is renewed whole.
    block : float
        The side is renewed whole at every multiple of this usage, whatever its age [usage], and
        at failures in between as `kit_share` says; inf: never.
    kit_share : float
        Share of the failures at which the whole side is renewed, drawn at each failure [-].
    renew_older : float array (positions,) or (replicates, positions), optional
        Age above which a position is renewed as well at an opening that is not for the whole
        side [usage]; inf: never.  One for all, or for each replicate (draw) of the lives.
    inspection : Inspection, optional
        Inspections with renewal of what is found worn.
    """

    planned: PlannedAges = field(default_factory=lambda: fixed_interval(np.inf))
    block: float = np.inf
    kit_share: float = 1.0
    renew_older: FloatArray | None = None
    inspection: Inspection | None = None

    def __post_init__(self) -> None:
        """Refuse what nobody can follow."""
        if not (self.block > 0.0 and 0.0 <= self.kit_share <= 1.0):
            raise RecordError(
                f"a block of {self.block:g} and a kit at {self.kit_share:g} of the failures: "
                "the block must be above 0, the share between 0 and 1"
            )

    def __repr__(self) -> str:
        """Say what is set."""
        parts = [f"{self.planned!r}", f"kit at {self.kit_share:.0%} of failures"]
        parts += [f"block {self.block:.6g}"] if np.isfinite(self.block) else []
        parts += ["renews older"] if self.renew_older is not None else []
        parts += [f"{self.inspection!r}"] if self.inspection is not None else []
        return f"<Way: {', '.join(parts)}>"

    def of(self, replicates: slice) -> Way:
        """The same way for some of the replicates."""
        older = self.renew_older
        return (
            self
            if older is None or older.ndim == 1
            else replace(self, renew_older=older[replicates])
        )

    @property
    def whole_only(self) -> bool:
        """Whether every opening renews the whole side, so that each is a fresh start."""
        return self.kit_share == 1.0 and self.inspection is None and np.isinf(self.block)

    @property
    def starts_afresh(self) -> bool:
        """Whether each side is surely renewed whole before long, apart from blocks."""
        return self.kit_share >= _RARE or self.planned.never == 0.0


def check_sizes(way: Way, replicates: int, positions: int) -> None:
    """Refuse a way that tells of other positions than the side has."""
    inspection, older = way.inspection, way.renew_older
    by_replicate = older is not None and older.shape == (replicates, positions)
    told = {"renew_older": None if by_replicate else older}
    if inspection is not None:
        told |= {"delay_share": inspection.delay_share, "delay_mean": inspection.delay_mean}
    for name, array in told.items():
        if array is not None and np.shape(array) != (positions,):
            raise RecordError(
                f"{name} has the shape {np.shape(array)}, the side has {positions} positions: "
                "give one number for each position"
            )


def too_many_events(most_events: int) -> RecordError:
    """The error for lives that can't be true against the horizon."""
    return RecordError(
        f"more than {most_events} events on one pump within the horizon: the lives are too short "
        "against it; check the usage unit of the meters and the horizon"
    )
