"""Gather meter readings and turn them into usage units."""

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from pumplife.records.audit import AuditLog
from pumplife.records.phrases import count_are
from pumplife.records.plant import Plant, to_days

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
        in a day, NaN = none].
    """
    plant, pumps = records.plant, records.pumps
    readings = _from_readings(records.table("readings"))
    frame = pd.concat([readings, _from_rebuilds(records.table("rebuilds"), readings)])
    late = frame["day"] > plant.window()[1]
    if bool(late.any()):
        records.log.add(
            "note",
            f"{count_are(int(late.sum()), 'meter reading')} dated after the window.",
            rule="late_reading",
            table="readings",
            consequence="What is dated after records_to isn't used.",
        )
    frame = _convert(frame[~late], pumps, plant, records.log)
    frame = _keep_one_kind(frame, plant, records.log)
    keys = [frame[name].to_numpy() for name in ("value", "exchanged", "day", "pump")]
    frame = frame.iloc[np.lexsort(keys)].reset_index(drop=True)
    swapped = frame.groupby(["pump", "day"])["exchanged"].transform("any")
    return frame[(~swapped | frame["exchanged"]) & ~_repeats(frame)].reset_index(drop=True)


def _repeats(frame: pd.DataFrame) -> "pd.Series[bool]":
    """Readings that say again what the one before says: two exports overlap, a ticket copies it.

    Left in, a slip would be its own neighbour and stand.
    """
    same = pd.Series(True, index=frame.index)
    for name in ("pump", "day", "exchanged", "value", "start"):
        same &= frame[name].eq(frame[name].shift())
    return same


def _from_readings(readings: pd.DataFrame) -> pd.DataFrame:
    names = ["pump", "pump_id", "row", "reading", "new_meter_start", "meter_id", "unit"]
    frame = readings[[*names, "digits", "multiplier"]].rename(columns={"reading": "value"})
    return frame.assign(day=to_days(readings["read_on"]), table="readings")


def _from_rebuilds(rebuilds: pd.DataFrame, readings: pd.DataFrame) -> pd.DataFrame:
    """Take meters noted in rebuilds as readings of the meter that the pump's readings know."""
    noted = rebuilds[rebuilds["meter"].notna()]
    theirs = readings[readings["pump"].isin(noted["pump"].unique())]
    known = theirs.sort_values("day").drop_duplicates("pump", keep="last").set_index("pump")
    frame = noted[["pump", "pump_id", "row"]].assign(
        value=noted["meter"],
        day=to_days(noted["happened_on"].fillna(noted["opened_on"])),
        table="rebuilds",
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
    own = pumps["meter_unit"].to_numpy(dtype=object)[pump]
    unit = frame["unit"].where(frame["unit"].ne(""), own)
    unit = unit.where(unit.ne(""), plant.usage_unit)
    base = unit.replace("strokes", "cycles")
    per_hour = pumps["cycles_per_h"].to_numpy()[pump]
    per_hour = np.where(per_hour > 0, per_hour, np.nan)
    join = 1.0 / per_hour if plant.usage_unit == "hours" else per_hour
    same = base.eq(plant.usage_unit).to_numpy()
    factor = np.where(same, 1.0, join) * np.where(unit.eq("strokes"), 0.5, 1.0)
    scale = factor * frame["multiplier"].where(frame["multiplier"] > 0, 1.0).to_numpy()
    exchanged = frame["new_meter_start"].notna()
    start = frame["new_meter_start"].fillna(frame["value"])
    frame = frame.assign(
        shown=frame["value"],
        shown_start=start,
        value=frame["value"] * scale,
        start=start * scale,
        exchanged=exchanged,
        base=base,
        span=np.power(10.0, np.minimum(frame["digits"].to_numpy(dtype=float), MOST_DIGITS)) * scale,
        cap=np.where(base.eq("hours"), HOURS_A_DAY * factor, np.nan),
    )
    lost = pd.Series(np.isnan(scale), index=frame.index)
    _log_unjoined(frame[lost], plant, log)
    return frame.loc[~lost]


def _log_unjoined(frame: pd.DataFrame, plant: Plant, log: AuditLog) -> None:
    counts = frame.groupby(["pump_id", "base"]).size().reset_index(name="count")
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
