"""Gather meter readings and turn them into usage units."""

from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pumplife.records.audit import AuditLog
from pumplife.records.phrases import count_are
from pumplife.records.plant import Plant, to_days
from pumplife.records.steps import Floats, Ints

if TYPE_CHECKING:
    from pumplife.records.read import Records

MOST_DIGITS = 12.0
"""No meter has more digits."""
HOURS_A_DAY = 24.5
"""Most that an hour meter can gain in a day, clock changes included [h]."""


def gather_readings(records: "Records") -> pd.DataFrame:
    """Collect readings and the meters noted in rebuilds, in usage units.

    Returns
    -------
    DataFrame
        Sorted by pump, day and value: pump, pump_id, table, row, day, value and start [usage
        units; start is what the next gain counts from], shown and shown_start (the same as the
        meter shows them [its own unit]), exchanged, meter_id, base (hours or cycles), span
        [usage units until the meter starts again from 0, NaN = not known], cap [most usage units
        in a day, NaN = none]. pump_id, table and base are categorical.
    """
    plant, pumps = records.plant, records.pumps
    readings = _from_readings(records.table("readings"))
    noted = _from_rebuilds(records.table("rebuilds"), readings)
    frame = pd.concat([readings, noted], ignore_index=True) if len(noted) else readings
    late = frame["day"] > plant.window()[1]
    if bool(late.any()):
        records.log.add(
            "note",
            f"{count_are(int(late.sum()), 'meter reading')} dated after the window.",
            rule="late_reading",
            table="readings",
            consequence="What is dated after records_to isn't used.",
        )
        frame = frame[~late]
    frame = _convert(frame, pumps, plant, records.log)
    frame = _keep_one_kind(frame, plant, records.log)
    frame = _in_order(frame)
    kept = ~_overruled(frame) & ~_as_before(frame, "pump", "day", "exchanged", "value", "start")
    return frame if kept.all() else frame[kept].reset_index(drop=True)


def _in_order(frame: pd.DataFrame) -> pd.DataFrame:
    """Sort by pump, day, exchange and value; most exports are sorted so."""
    keys = [frame[name].to_numpy() for name in ("value", "exchanged", "day", "pump")]
    follows = np.zeros(max(len(frame) - 1, 0), dtype=np.bool_)
    for key in keys:
        follows = (key[1:] > key[:-1]) | ((key[1:] == key[:-1]) & (follows | (key is keys[0])))
    if not follows.all():
        frame = frame.iloc[np.lexsort(keys)]
    return frame.reset_index(drop=True)


def _as_before(frame: pd.DataFrame, *names: str) -> "NDArray[np.bool_]":
    """Whether each row says the same as the one before it.

    A reading that repeats the one before (two exports overlap, a ticket copies it) is left out:
    a slip would else be its own neighbour and stand.
    """
    same = np.ones(len(frame), dtype=np.bool_)
    same[:1] = False
    for name in names:
        told = frame[name].to_numpy()
        same[1:] &= told[1:] == told[:-1]
    return same


def _overruled(frame: pd.DataFrame) -> "NDArray[np.bool_]":
    """Readings of a day on which the pump's meter was exchanged, but for the exchange itself."""
    exchanged = frame["exchanged"].to_numpy()
    if not exchanged.any():
        return exchanged
    day = np.cumsum(~_as_before(frame, "pump", "day")) - 1
    swapped = np.bincount(day, weights=exchanged) > 0
    overruled: NDArray[np.bool_] = swapped[day] & ~exchanged
    return overruled


def _from_readings(readings: pd.DataFrame) -> pd.DataFrame:
    names = ["pump", "row", "reading", "new_meter_start", "meter_id", "unit"]
    frame = readings[[*names, "digits", "multiplier"]].rename(columns={"reading": "value"})
    return frame.assign(day=to_days(readings["read_on"]), table=_all_of(0, len(frame)))


def _all_of(table: int, count: int) -> pd.Categorical:
    return _coded(np.full(count, table, dtype=np.int8), ("readings", "rebuilds"))


def _coded(code: Any, words: Iterable[str]) -> pd.Categorical:
    return pd.Categorical.from_codes(code, pd.Index(list(words), dtype=object))


def _from_rebuilds(rebuilds: pd.DataFrame, readings: pd.DataFrame) -> pd.DataFrame:
    """Take meters noted in rebuilds as readings of the meter that the pump's readings know."""
    noted = rebuilds[rebuilds["meter"].notna()]
    theirs = readings[readings["pump"].isin(noted["pump"].unique())]
    known = theirs.sort_values("day").drop_duplicates("pump", keep="last").set_index("pump")
    frame = noted[["pump", "row"]].assign(
        value=noted["meter"],
        day=to_days(noted["happened_on"].fillna(noted["opened_on"])),
        table=_all_of(1, len(noted)),
        new_meter_start=np.nan,
        meter_id="",
        unit=noted["pump"].map(known["unit"]).fillna(""),
    )
    for name in ("digits", "multiplier"):
        frame[name] = noted["pump"].map(known[name]).astype(float)
    return frame


def _convert(frame: pd.DataFrame, pumps: pd.DataFrame, plant: Plant, log: AuditLog) -> pd.DataFrame:
    """Turn what meters show into usage units."""
    pump = frame["pump"].to_numpy()
    code, units = _units(frame, pumps, plant)
    bases = np.where(units == "strokes", "cycles", units).astype(object)
    per_hour = pumps["cycles_per_h"].to_numpy()[pump]
    per_hour = np.where(per_hour > 0, per_hour, np.nan)
    join = 1.0 / per_hour if plant.usage_unit == "hours" else per_hour
    same = (bases == plant.usage_unit)[code]
    factor = np.where(same, 1.0, join) * np.where(units == "strokes", 0.5, 1.0)[code]
    scale = factor * frame["multiplier"].where(frame["multiplier"] > 0, 1.0).to_numpy()
    exchanged = frame["new_meter_start"].notna()
    start = frame["new_meter_start"].fillna(frame["value"])
    of_base, words = pd.factorize(bases)
    frame = frame.drop(columns=["new_meter_start", "unit", "digits", "multiplier"]).assign(
        pump_id=_ids_of(pump, pumps),
        shown=frame["value"],
        shown_start=start,
        value=frame["value"] * scale,
        start=start * scale,
        exchanged=exchanged,
        base=_coded(of_base.astype(np.int8)[code], words),
        span=_spans(frame["digits"].to_numpy(dtype=float), scale),
        cap=np.where((bases == "hours")[code], HOURS_A_DAY * factor, np.nan),
    )
    lost = np.isnan(scale)
    if lost.any():
        _log_unjoined(frame[lost], plant, log)
        frame = frame[~lost]
    return frame


def _units(frame: pd.DataFrame, pumps: pd.DataFrame, plant: Plant) -> tuple[Ints, "np.ndarray"]:
    """The unit of each reading: its own, else that of its pump, else the plant's; by number."""
    place, written = pd.factorize(frame["unit"].to_numpy(object))
    of_pump, own = pd.factorize(pumps["meter_unit"].to_numpy(object))
    each = [word or other or plant.usage_unit for word in written for other in own]
    number, names = pd.factorize(np.array(each, dtype=object))
    code = number.astype(np.int8).reshape(len(written), len(own))
    return code[place, of_pump.astype(np.int32)[frame["pump"].to_numpy()]], names


def _ids_of(pump: Ints, pumps: pd.DataFrame) -> pd.Categorical:
    """The names of pumps by their numbers, "" for none."""
    return _coded(np.where(pump < 0, len(pumps), pump), [*pumps["pump_id"], ""])


def _spans(digits: Floats, scale: Floats) -> Floats:
    """What a meter counts until it starts again from 0 [usage units], NaN where not known."""
    span = np.full(len(digits), np.nan)
    known = ~np.isnan(digits)
    span[known] = np.power(10.0, np.minimum(digits[known], MOST_DIGITS)) * scale[known]
    return span


def _log_unjoined(frame: pd.DataFrame, plant: Plant, log: AuditLog) -> None:
    named = frame[["pump_id", "base"]].astype(object)
    counts = named.groupby(["pump_id", "base"]).size().reset_index(name="count")
    log.add_rows(
        counts,
        severity="caution",
        rule="meter_unit",
        table="readings",
        what=[
            f"{count_are(count, 'reading')} in {base}, usage is in {plant.usage_unit}, and pumps "
            "has no cycles_per_h for this pump."
            for base, count in zip(counts["base"], counts["count"], strict=True)
        ],
        consequence="These readings are not used.",
        remedy="Write cycles_per_h in pumps, or correct the unit.",
    )


def _keep_one_kind(frame: pd.DataFrame, plant: Plant, log: AuditLog) -> pd.DataFrame:
    """Where a pump has an hour meter and a counter side by side, keep the one in usage units."""
    direct = frame["base"].eq(plant.usage_unit)
    if bool(direct.all()):
        return frame
    ours = frame[direct].groupby("pump")["day"].agg(["min", "max", "nunique"])
    other = frame[~direct].groupby("pump")["day"].agg(["min", "max"])
    spans = ours.join(other, rsuffix="_other", how="inner")
    overlap = (spans["min"] < spans["max_other"]) & (spans["min_other"] < spans["max"])
    both = spans.index[overlap & spans["nunique"].ge(2)]
    dropped = ~direct & frame["pump"].isin(both)
    log.add_rows(
        frame[dropped].drop_duplicates("pump")[["pump_id"]],
        severity="note",
        rule="two_meters",
        table="readings",
        what="The pump has an hour meter and a cycle counter.",
        consequence=f"The one in {plant.usage_unit} is used.",
    )
    return frame[~dropped]
