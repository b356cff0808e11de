"""Join exchanged, rolled-over and misread meters into one usage that never falls."""

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pumplife.records.audit import AuditLog
from pumplife.records.steps import Course, Floats, Ints, sum_within

Flags = NDArray[np.bool_]

TIMES_USUAL = 30.0
"""A counter that gains more than this many times its usual rate can't be true."""
ROLLOVER_TIMES = 3.0
"""A rollover is joined up to this many times the usual rate."""
SKIP_BAND = (0.1, 10.0)
"""A reading is a slip if, without it, the rate lies within this band of the usual one."""
EXCHANGED = "?"
"""Stands for the number of a meter that has just been put in."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Steps:
    """What happened between pairs of readings; every field has one entry per pair.

    Attributes
    ----------
    joined : bool array
        Both readings are of one pump.
    days : float array
        Days between them [day].
    gain : float array
        What the meter gained, a rollover joined [usage units].
    rollover, backward, impossible, changed : bool array
        The meter started again from 0; ran backward; gained more than it can; was exchanged
        without a new_meter_start.
    """

    joined: Flags
    days: Floats
    gain: Floats
    rollover: Flags
    backward: Flags
    impossible: Flags
    changed: Flags

    def __repr__(self) -> str:
        return f"Steps({len(self.gain)} pairs, {int(self.bridged.sum())} to bridge)"

    @property
    def bridged(self) -> Flags:
        """Pairs whose gain isn't known."""
        return self.backward | self.impossible | self.changed


def join_meters(
    frame: pd.DataFrame, service: Course, fallback: Floats, log: AuditLog
) -> pd.DataFrame:
    """Join each pump's readings into one usage that never falls.

    Slips (a reading that its neighbours contradict) are left out. Where a meter was exchanged
    and nobody wrote its new start, or the gain can't be true, the pump's own usual rate per day
    in service bridges the gap.

    Parameters
    ----------
    frame : DataFrame
        From `gather_readings`.
    service : Course
        Days in service of each pump.
    fallback : float array, (pumps,)
        Usage a day in service where the meter can't tell, NaN = not known [usage units/day].
    log : AuditLog
        Gets every slip, exchange, rollover and gap.

    Returns
    -------
    DataFrame
        One row per pump and day: pump, day, usage [usage units], covered [days since the first
        reading for which a meter vouches], measured and bridged [usage units since the first
        reading that a meter vouches for, and that the pump's own usual rate bridges], service
        [day in service].
    """
    frame = _leave_out_slips(_name_meters(frame), log)
    steps = _steps_into(frame)
    _log_steps(frame, steps, log)
    pump = frame["pump"].to_numpy(dtype=np.int64)
    in_service = service(pump, frame["day"])
    filled, own = _bridge(pump, in_service, steps, fallback)
    gain = np.where(steps.bridged, filled, steps.gain)
    first = np.append(True, pump[1:] != pump[:-1]) if len(pump) else np.zeros(0, np.bool_)
    begun = frame["value"].to_numpy()[np.flatnonzero(first)][np.cumsum(first) - 1]
    joined = frame[["pump", "day"]].assign(
        usage=begun + sum_within(pump, gain),
        covered=sum_within(pump, np.where(steps.bridged, 0.0, steps.days)),
        measured=sum_within(pump, np.where(steps.bridged, 0.0, gain)),
        bridged=sum_within(pump, np.where(steps.bridged & own, gain, 0.0)),
        service=in_service,
    )
    day = frame["day"].to_numpy()
    last = np.append(first[1:] | (day[1:] != day[:-1]), True)[: len(day)]
    return joined if last.all() else joined[last].reset_index(drop=True)


def _leave_out_slips(frame: pd.DataFrame, log: AuditLog) -> pd.DataFrame:
    """Leave out slips, twice: one may hide another. Adds usual, see `_usual_rate`.

    A pump in whose readings none is found has none the second time.
    """
    frame = frame.assign(usual=_usual_rate(frame))
    doubted = np.ones(len(frame), dtype=np.bool_)
    for _ in range(2):
        looked = frame if doubted.all() else frame[doubted]
        found = _find_slips(looked)
        if not found.any():
            break
        _log_slips(looked, found, log)
        slips = np.zeros(len(frame), dtype=np.bool_)
        slips[doubted] = found
        pump = frame["pump"].to_numpy(dtype=np.int64)
        slipped = np.bincount(pump[slips], minlength=pump[-1] + 1) > 0
        frame = frame[~slips].reset_index(drop=True)
        doubted = slipped[pump[~slips]]
        usual = frame["usual"].to_numpy(copy=True)
        usual[doubted] = _usual_rate(frame[doubted])
        frame = frame.assign(usual=usual)
    return frame


def _name_meters(frame: pd.DataFrame) -> pd.DataFrame:
    """Put codes in place of meter numbers and of what meters count.

    Numbers are carried over readings that don't give one; an exchange forgets them. Columns:
    meter (code of the number, -1 = not known), counts (code of `base`).
    """
    written = frame["meter_id"].mask(frame["exchanged"], EXCHANGED)
    code, numbers = pd.factorize(written.to_numpy(object))
    counts = pd.factorize(frame["base"])[0].astype(np.int8)
    named = frame.drop(columns=["meter_id", "base"]).assign(counts=counts)
    if not {*numbers} - {"", EXCHANGED}:
        return named.assign(meter=np.full(len(frame), -1))
    silent = np.append(np.isin(numbers.astype(object), [""]), False)[code]
    carried = pd.Series(code).mask(silent).groupby(frame["pump"].to_numpy()).ffill()
    known = carried.fillna(-1).to_numpy(np.int64)
    nameless = np.append(np.isin(numbers.astype(object), [EXCHANGED]), True)[known]
    return named.assign(meter=np.where(nameless, -1, known))


class _Pairs:
    """Columns at the rows so many before each row, and so many after it.

    Rows outside are of no pump: `joined` says where both are of one.
    """

    def __init__(self, frame: pd.DataFrame, before: int, after: int) -> None:
        self._frame, self._before, self._after = frame, before, after
        inside = np.zeros(len(frame), dtype=np.bool_)
        inside[before : len(frame) - after] = True
        self.joined: Flags = inside & (self.first("pump") == self.last("pump"))

    def first(self, name: str) -> Any:
        told = self._frame[name].to_numpy()
        return np.concatenate([told[: self._before], told[: len(told) - self._before]])

    def last(self, name: str) -> Any:
        told = self._frame[name].to_numpy()
        return np.concatenate([told[self._after :], told[: self._after]]) if self._after else told


def _steps(frame: pd.DataFrame, before: int, after: int) -> Steps:
    """Describe the steps from the row so many before each row to the row so many after it."""
    pairs = _Pairs(frame, before, after)
    joined, value = pairs.joined, pairs.last("value")
    days = np.where(joined, pairs.last("day") - pairs.first("day"), 0.0)
    gain = np.where(joined, value - pairs.first("start"), 0.0)
    usual = pairs.first("usual")
    changed = joined & _changed(pairs)
    backward = gain < -1e-9 * np.abs(value)
    low = np.flatnonzero(backward & ~changed)  # only these may have rolled over
    rolled = gain[low] + pairs.last("span")[low]
    plausible = (rolled >= 0.0) & (rolled <= ROLLOVER_TIMES * usual[low] * (days[low] + 1.0))
    rollover = np.zeros(len(frame), dtype=np.bool_)
    rollover[low[plausible]] = True
    gain[low[plausible]] = rolled[plausible]
    cap = pairs.last("cap")
    most = np.where(np.isnan(cap), TIMES_USUAL * usual, cap) * (days + 1.0)
    return Steps(
        joined=joined,
        days=days,
        gain=np.where(backward & ~rollover, gain, np.maximum(gain, 0.0)),
        rollover=rollover,
        backward=backward & ~rollover,
        impossible=gain > most,
        changed=changed,
    )


def _changed(pairs: _Pairs) -> Flags:
    """Say where the meter is another one and no exchange was written."""
    meter, other = pairs.first("meter"), pairs.last("meter")
    renamed = (meter != other) & (meter >= 0) & (other >= 0)
    unwritten = ~pairs.first("exchanged") & ~pairs.last("exchanged")
    changed: Flags = unwritten & (renamed | (pairs.first("counts") != pairs.last("counts")))
    return changed


def _steps_into(frame: pd.DataFrame) -> Steps:
    """Describe the step into every row from the row before it."""
    return _steps(frame, 1, 0)


def _usual_rate(frame: pd.DataFrame) -> Floats:
    """Give the median rate at which the pump's meter runs when it runs [usage units/day]."""
    plain = _steps_into(frame.assign(usual=np.nan))
    good = plain.joined & ~plain.bridged & (plain.days > 0) & (plain.gain > 0)
    rate = pd.Series(np.where(good, plain.gain / np.where(good, plain.days, 1.0), np.nan))
    return rate.groupby(frame["pump"].to_numpy()).transform("median").to_numpy()


def _find_slips(frame: pd.DataFrame) -> Flags:
    """Say which single readings their neighbours contradict.

    A step that runs backward or gains too much has two ends. An end is a slip if, with it left
    out, its neighbours fit together at a usual rate; if that holds for both, it is the one
    further off the line between its neighbours.
    """
    row = np.arange(len(frame))
    into = _steps_into(frame)
    off = _distance_off(frame)
    fits = _fits_without(frame)
    wrong = np.flatnonzero((into.backward | into.impossible) & ~into.changed)
    earlier, later = row[wrong] - 1, row[wrong]
    blame_earlier = fits[earlier] & (~fits[later] | (off[earlier] > off[later]))
    slips = np.zeros(len(frame), dtype=np.bool_)
    slips[earlier[blame_earlier]] = True
    slips[later[fits[later] & ~blame_earlier]] = True
    return slips


def _fits_without(frame: pd.DataFrame) -> Flags:
    """Say of each reading whether its neighbours fit together when it is left out."""
    around = _steps(frame, 1, 1)
    usual = frame["usual"].to_numpy() * np.maximum(around.days, 1.0)
    usual_rate = (around.gain >= SKIP_BAND[0] * usual) & (around.gain <= SKIP_BAND[1] * usual)
    inside = around.joined & ~around.bridged & ~frame["exchanged"].to_numpy()
    fits: Flags = inside & (usual_rate | np.isnan(usual))
    return fits


def _distance_off(frame: pd.DataFrame) -> Floats:
    """Give how far each reading lies off the line between its neighbours [usage units]."""
    day, value = frame["day"].to_numpy(), frame["value"].to_numpy()
    off = np.zeros(len(frame))
    if len(frame) < 3:
        return off
    width = day[2:] - day[:-2]
    share = np.where(width > 0, (day[1:-1] - day[:-2]) / np.where(width > 0, width, 1.0), 0.5)
    off[1:-1] = np.abs(value[1:-1] - value[:-2] - share * (value[2:] - value[:-2]))
    return off


def _bridge(pump: Ints, in_service: Floats, steps: Steps, fallback: Floats) -> tuple[Floats, Flags]:
    """Give the gain at the pump's usual rate per day in service, and whether that is its own.

    Own is the rate over the steps that its meter can tell; where there are none, `fallback`.
    """
    width = np.where(steps.joined, np.diff(in_service, prepend=0.0), 0.0)
    good = steps.joined & ~steps.bridged
    count = len(fallback)
    gained = np.bincount(pump[good], weights=steps.gain[good], minlength=count)
    worked = np.bincount(pump[good], weights=width[good], minlength=count)
    rate = np.where(worked > 0, gained / np.where(worked > 0, worked, 1.0), fallback)
    return np.nan_to_num(rate)[pump] * width, (worked > 0)[pump]


def _log_slips(frame: pd.DataFrame, slips: Flags, log: AuditLog) -> None:
    """Name each slip with its neighbours, as the meter shows them."""
    place = np.flatnonzero(slips)
    rows = frame.iloc[place]
    read = _say_readings(rows, "shown")
    before = _say_readings(frame.iloc[place - 1], "shown_start")
    after = _say_readings(frame.iloc[np.minimum(place + 1, len(frame) - 1)], "shown")
    what = [
        f"The reading {words[0]} doesn't fit {words[1]} before it and {words[2]} after it."
        for words in zip(read, before, after, strict=True)
    ]
    for table, told in rows.assign(what=what).groupby("table", observed=True):
        log.add_rows(
            told,
            severity="caution",
            rule="meter_slip",
            table=str(table),
            what=list(told["what"]),
            consequence="The reading is set aside.",
            remedy="Correct the reading in the source.",
        )


def _say_readings(rows: pd.DataFrame, shown: str) -> list[str]:
    on = pd.Timestamp(0) + pd.to_timedelta(rows["day"], unit="D")
    pairs = zip(rows[shown], on.dt.strftime("%Y-%m-%d"), strict=True)
    return [f"{value:.10g} of {day}" for value, day in pairs]


_STEP_WORDS = (
    (
        "changed",
        "caution",
        "unrecorded_exchange",
        "The meter is another one than before and nobody wrote where it started.",
    ),
    (
        "backward",
        "caution",
        "unrecorded_exchange",
        "The meter runs backward here: an exchange that nobody wrote down, or a wrong reading.",
    ),
    (
        "impossible",
        "caution",
        "impossible_rate",
        "The meter gained more here than the pump can run.",
    ),
    ("rollover", "note", "rollover", "The meter started again from 0 here."),
)


def _log_steps(frame: pd.DataFrame, steps: Steps, log: AuditLog) -> None:
    told = np.zeros(len(frame), dtype=np.bool_)
    for name, severity, rule, what in _STEP_WORDS:
        here = getattr(steps, name) & ~told
        told |= here
        joined = name == "rollover"
        for table, rows in frame[here].groupby("table", observed=True):
            log.add_rows(
                rows,
                severity=severity,
                rule=rule,
                table=str(table),
                what=what,
                consequence="The gain was joined over the rollover."
                if joined
                else "The pump's own usual rate bridges the gap.",
                remedy="None needed."
                if joined
                else "Correct the reading, or write new_meter_start at the exchange.",
            )
