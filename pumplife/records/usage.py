"""How much each pump had run by a day, and how well that is known."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from pumplife.records.audit import AuditLog
from pumplife.records.duty import Duty
from pumplife.records.joining import Flags, join_meters
from pumplife.records.meters import gather_readings
from pumplife.records.rates import end_rates, weekly_rate
from pumplife.records.steps import Course, Floats, Ints, build_course, row_at, time_key

if TYPE_CHECKING:
    from pumplife.records.read import Records

MEASURED, PARTLY = 0.9, 0.4
"""Shares of a span covered by a meter from which it counts as measured, or partly so."""

KNOT_COLUMNS = ("pump", "day", "usage", "covered", "measured", "bridged", "service")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class UsageClock:
    """The usage of every pump along time.

    Attributes
    ----------
    unit : str
        hours, cycles or days.
    known : bool array, (pumps,)
        Whether the pump's usage is known at all.
    last_rate : float array, (pumps,)
        Usage a day in service over the last year of readings, or by use_per_week; NaN where not
        known [usage units/day].
    first_rate : float array, (pumps,)
        The same over the first year of readings [usage units/day].
    own : bool array, (pumps,)
        Whether `last_rate` comes from the pump's own readings.
    service : Course
        Days in service since 1970-01-01 [day].
    assumed : Course
        Usage by use_per_week [usage units].
    knots : DataFrame
        One row per pump and day with a reading: pump, day, usage, measured and bridged [usage
        units], covered [day], service [day].
    keys : float array
        `time_key` of the knots.
    first_knot : int array, (pumps + 1,)
        Row of each pump's first knot; a pump's knots end where the next one's begin.
    assumed_factor, bridged_factor : float
        What assumed and bridged usage is multiplied by: 1 but for a what-if [-].
    """

    unit: str
    known: Flags
    last_rate: Floats
    first_rate: Floats
    own: Flags
    service: Course
    assumed: Course
    knots: pd.DataFrame
    keys: Floats
    first_knot: Ints
    assumed_factor: float = 1.0
    bridged_factor: float = 1.0

    def __repr__(self) -> str:
        return f"UsageClock({int(self.known.sum())} of {len(self.known)} pumps, {self.unit})"

    @property
    def rate(self) -> Floats:
        """Recent usage a day in service, (pumps,), NaN where not known [usage units/day]."""
        return self.last_rate * np.where(self.own, 1.0, self.assumed_factor)

    def usage(self, pump: ArrayLike, day: ArrayLike) -> Floats:
        """Give the usage of pumps until days, from an origin of each pump's own.

        Interpolated between readings by days in service, extrapolated both ways at the pump's
        own rate; no usage passes in store, before commissioning or after retirement.

        Parameters
        ----------
        pump : int array
            Pumps.
        day : float array
            [day since 1970-01-01]

        Returns
        -------
        float array
            [usage units]; NaN where not known.
        """
        pump, day = _ask(pump, day)
        if self.unit == "days":
            return self.service(pump, day)
        run = np.where(_of(self.known, pump), self.assumed(pump, day), np.nan)
        metered = _of(self._metered, pump)
        if self.assumed_factor == self.bridged_factor == 1.0:
            (run[metered],) = self._read_off(("usage",), pump[metered], day[metered])
            return run
        measured, bridged, assumed = self._kinds(pump, day)
        return measured + self.bridged_factor * bridged + self.assumed_factor * assumed

    def shares(self, pump: ArrayLike, day_from: ArrayLike, day_to: ArrayLike) -> Floats:
        """Say which shares of the usage between two days are measured, bridged and assumed.

        Measured is what a meter vouches for; bridged are the gaps in its readings and the days
        after the last one, at the pump's own metered rate; assumed is what was run before the
        first reading, and all usage by use_per_week.

        Returns
        -------
        float array, (n, 3)
            Adding to 1 [-]; NaN where usage isn't known. Where nothing was run, the shares of the
            day around it; measured where nothing ran then either.
        """
        pump, start = _ask(pump, day_from)
        end = np.broadcast_to(np.asarray(day_to, dtype=np.float64), start.shape)
        if self.unit == "days":
            return np.tile([1.0, 0.0, 0.0], (len(start), 1))
        run = self._gains(pump, start, end)
        idle = run.sum(axis=0) <= 0
        run[:, idle] = self._gains(pump[idle], start[idle] - 0.5, end[idle] + 0.5)
        run[0] = np.where(run.sum(axis=0) > 0, run[0], np.where(np.isnan(run[0]), np.nan, 1.0))
        return np.asarray((run / run.sum(axis=0)).T)

    def _gains(self, pump: Ints, start: Floats, end: Floats) -> Floats:
        """Give measured, bridged and assumed usage between two days, (3, n) [usage units]."""
        gains = np.stack(self._kinds(pump, end)) - np.stack(self._kinds(pump, start))
        return np.maximum(gains, 0.0)  # differences of great numbers

    def _kinds(self, pump: Ints, day: Floats) -> tuple[Floats, Floats, Floats]:
        """Give measured, bridged and assumed usage until a day, unscaled [usage units]."""
        assumed = np.where(_of(self.known, pump), self.assumed(pump, day), np.nan)
        measured, bridged = 0.0 * assumed, 0.0 * assumed
        metered = _of(self._metered, pump)
        names = ("usage", "measured", "bridged")
        usage, *told = self._read_off(names, pump[metered], day[metered])
        measured[metered], bridged[metered] = told
        assumed[metered] = usage - told[0] - told[1]
        return measured, bridged, assumed

    def graded(
        self, pump: ArrayLike, day_from: ArrayLike, day_to: ArrayLike
    ) -> NDArray[np.object_]:
        """Say how well the usage between two days is known.

        Returns
        -------
        str array
            measured, partly or assumed: readings vouch for 90 % of the days, for 40 %, for less.
        """
        shape = np.broadcast_shapes(np.shape(pump), np.shape(day_from), np.shape(day_to))
        pump, start = _ask(np.broadcast_to(pump, shape), day_from)
        end = np.broadcast_to(np.asarray(day_to, dtype=np.float64), shape)
        if self.unit == "days":
            return np.full(start.shape, "measured", dtype=object)
        instant = end <= start
        start, end = np.where(instant, start - 0.5, start), np.where(instant, start + 0.5, end)
        share = (self._covered(pump, end) - self._covered(pump, start)) / (end - start)
        code = np.select([share >= MEASURED, share >= PARTLY], [0, 1], 2)
        words = np.array(["measured", "partly", "assumed"], dtype=object)
        return np.asarray(words[code])

    @property
    def _metered(self) -> Flags:
        return np.asarray(np.diff(self.first_knot) > 0)

    def _neighbours(self, pump: Ints, day: Floats) -> tuple[Ints, Ints]:
        """Give the knots before and after each day.

        Before the first knot of a pump both are the first, after the last both are the last.
        """
        row = row_at(self.keys, pump, day)
        first, last = self.first_knot[pump], self.first_knot[pump + 1] - 1
        left = np.where(row < 0, first, row)
        return left, np.where(row < 0, first, np.minimum(left + 1, last))

    def _read_off(self, names: Sequence[str], pump: Ints, day: Floats) -> list[Floats]:
        """Give usage, measured or bridged until a day; beyond the readings at the pump's rate."""
        if not len(pump):
            return [np.zeros(0) for _ in names]
        left, right = self._neighbours(pump, day)
        worked, when = self.knots["service"].to_numpy(), self.knots["day"].to_numpy()
        beyond = self.service(pump, day) - worked[left]
        within, width = right > left, worked[right] - worked[left]
        by_day = _share(day - when[left], when[right] - when[left])
        share = np.where(width > 0, _share(beyond, width), by_day)
        read = []
        for name in names:
            value = self.knots[name].to_numpy()
            inside = share * (value[right] - value[left])
            outside = self._rate_beyond(name, pump, beyond < 0) * beyond
            read.append(value[left] + np.where(within, inside, outside))
        return read

    def _rate_beyond(self, name: str, pump: Ints, before: Flags) -> Floats:
        """Give what usage, measured or bridged gains a day before or after all readings."""
        if name == "measured":
            return np.zeros(pump.shape)
        if name == "bridged":
            return np.where(before | ~self.own[pump], 0.0, self.last_rate[pump])
        return np.where(before, self.first_rate[pump], self.last_rate[pump])

    def _covered(self, pump: Ints, day: Floats) -> Floats:
        """Give the days that readings vouch for until a day [day]."""
        covered = np.zeros(pump.shape)
        metered = _of(self._metered, pump)
        if not metered.any():
            return covered
        left, right = self._neighbours(pump[metered], day[metered])
        when, seen = self.knots["day"].to_numpy(), self.knots["covered"].to_numpy()
        share = _share(day[metered] - when[left], when[right] - when[left])
        covered[metered] = seen[left] + share * (seen[right] - seen[left])
        return covered


def _share(passed: Floats, width: Floats) -> Floats:
    """Divide, with 0 where there is no width."""
    return np.where(width > 0, passed / np.where(width > 0, width, 1.0), 0.0)


def _ask(pump: ArrayLike, day: ArrayLike) -> tuple[Ints, Floats]:
    pump, day = np.broadcast_arrays(
        np.asarray(pump, dtype=np.int64), np.asarray(day, dtype=np.float64)
    )
    return pump, day


def _of(flags: Flags, pump: Ints) -> Flags:
    """Look flags up by pump; False for no pump."""
    padded = np.append(flags, False)
    return np.asarray(padded[np.where(pump < 0, len(flags), pump)], dtype=np.bool_)


def build_clock(records: "Records", duty: Duty, readings: pd.DataFrame | None = None) -> UsageClock:
    """Lay out every pump's usage from readings, meters noted in rebuilds and use_per_week.

    Parameters
    ----------
    records : Records
        Clean records; their log gets what was found about meters.
    duty : Duty
        Where the pumps stood.
    readings : DataFrame or None
        From `gather_readings`, where they are gathered already.
    """
    service, assumed = _service_course(duty), _assumed_course(duty)
    weekly = weekly_rate(records, duty)
    count, unit = len(weekly), records.plant.usage_unit
    if unit == "days":
        return _calendar_clock(records, service, assumed, count)
    frame = gather_readings(records) if readings is None else readings
    knots = join_meters(frame, service, weekly, records.log)
    owner = knots["pump"].to_numpy(np.int64)
    several = (np.bincount(owner) >= 2)[owner]
    knots = knots if several.all() else knots[several].reset_index(drop=True)
    rate, first_rate, own = end_rates(knots, weekly)
    known = np.isfinite(rate)
    _log_unknown(records, known)
    _log_doubtful_unit(records, frame, rate, weekly)
    return UsageClock(
        unit=unit,
        known=known,
        last_rate=rate,
        first_rate=first_rate,
        own=own,
        service=service,
        assumed=assumed,
        knots=knots,
        keys=time_key(knots["pump"], knots["day"]),
        first_knot=np.searchsorted(knots["pump"], np.arange(count + 1)),
    )


def _calendar_clock(records: "Records", service: Course, assumed: Course, count: int) -> UsageClock:
    if len(records.table("readings")):
        records.log.add(
            "note",
            "Usage is counted in calendar days.",
            rule="calendar_usage",
            table="readings",
            consequence="Meter readings are not used.",
        )
    return UsageClock(
        unit="days",
        known=np.ones(count, dtype=np.bool_),
        last_rate=np.ones(count),
        first_rate=np.ones(count),
        own=np.ones(count, dtype=np.bool_),
        service=service,
        assumed=assumed,
        knots=pd.DataFrame({name: [] for name in KNOT_COLUMNS}),
        keys=np.zeros(0),
        first_knot=np.zeros(count + 1, dtype=np.int64),
    )


def _pieces(duty: Duty) -> pd.DataFrame:
    """Cut the stints at commissioning and retirement: pump, from_day, works, weekly."""
    stints = duty.stints[["pump", "from_day", "in_service", "use_per_week"]]
    cuts = [stints]
    pump = np.arange(len(duty.commissioned))
    for day in (duty.commissioned, duty.retired + 1.0):
        cut = pump[np.isfinite(day)]
        row = duty.at(cut, day[cut])
        cuts.append(stints.iloc[row].assign(from_day=day[cut]))
    pieces = pd.concat(cuts).sort_values(["pump", "from_day"], kind="stable", ignore_index=True)
    owner, day = pieces["pump"].to_numpy(), pieces["from_day"].to_numpy()
    early, late = duty.commissioned[owner], duty.retired[owner] + 1.0
    works = pieces["in_service"] & ~(day < early) & ~(day >= late)
    return pieces.assign(works=works)


def _service_course(duty: Duty) -> Course:
    pieces = _pieces(duty)
    return build_course(
        pieces["pump"].to_numpy(dtype=np.int64),
        pieces["from_day"].to_numpy(),
        pieces["works"].to_numpy(dtype=np.float64),
    )


def _assumed_course(duty: Duty) -> Course:
    pieces = _pieces(duty)
    daily = np.nan_to_num(pieces["use_per_week"].to_numpy()) / 7.0
    return build_course(
        pieces["pump"].to_numpy(dtype=np.int64),
        pieces["from_day"].to_numpy(),
        daily * pieces["works"].to_numpy(),
    )


def _log_unknown(records: "Records", known: Flags) -> None:
    lost = records.pumps[~known & ~records.pumps["plan"].to_numpy()]
    records.log.add_rows(
        lost,
        severity="caution",
        rule="usage_unknown",
        table="pumps",
        what="The pump has neither two meter readings nor a use_per_week.",
        consequence="The lives of its parts are set aside.",
        remedy="Write use_per_week in pumps, or add readings.",
    )


def _log_doubtful_unit(
    records: "Records", frame: pd.DataFrame, rate: Floats, weekly: Floats
) -> None:
    """Note counters that run at half or double what use_per_week says."""
    log: AuditLog = records.log
    counted = np.unique(frame.loc[frame["base"].eq("cycles"), "pump"].to_numpy(dtype=np.int64))
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = (rate / weekly)[counted]
    doubtful = ((ratio > 1.7) & (ratio < 2.3)) | ((ratio > 0.43) & (ratio < 0.59))
    log.add_rows(
        records.pumps.iloc[counted[doubtful]],
        severity="note",
        rule="half_or_double",
        table="pumps",
        what=[
            f"The counter gives {times:.2f} times use_per_week: half or double?"
            for times in ratio[doubtful]
        ],
        consequence="The counter is used as its unit says.",
        remedy="Check whether it counts strokes or cycles; one cycle is two strokes.",
    )
