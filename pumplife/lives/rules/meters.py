"""Rules over meter readings: rolled over, standing still, too fast, in the wrong unit."""

import numpy as np
import pandas as pd

from pumplife.lives.rules.orders import orders_between
from pumplife.lives.rules.rule import tell
from pumplife.lives.rules.story import Story, date_words
from pumplife.records.phrases import count_of
from pumplife.records.questions import question_ids

DIGITS = np.arange(3, 10)
"""Digits of counters that are tried."""
FITS = (0.4, 2.5)
"""A rollover fits where it gives so many times the expected gain."""
BY_CHANCE = 0.05
"""An exchange is ruled out where the old meter would have stood that near its last digit by
chance no more often than this [1]."""
STILL = 90.0
"""A reading repeated for so many days in service is doubtful [day]."""
STILL_READINGS = 4
GAP = 180.0
"""Readings further apart than this, and six times further than usual, leave a gap [day]."""
HOURS_A_DAY = 24.5
TWICE = (1.8, 2.2)
"""Rates whose ratio, or its inverse, lies here may be strokes against cycles."""
ALIKE = 0.2
"""Pumps run alike where the log rates of a service scatter less than this."""
PEERS = 4
"""Fewer other counters than this don't show the rate of a service."""


def _breaks(story: Story) -> pd.DataFrame:
    """Readings at which the meter stands lower than before, and stays low: with the reading
    before (shown_before), the gain that the pump's usual rate expects, the best number of digits
    (0 = none fits) and how near by chance the old meter would have stood to its last digit."""
    steps = story.readings
    backward = steps["same"] & (steps["gain"] < -1e-9 * steps["value"].abs())
    row = np.flatnonzero(backward & ~steps["exchanged"] & steps["span"].isna())
    value, pump = steps["value"].to_numpy(), steps["pump"].to_numpy()
    following = np.minimum(row + 1, len(steps) - 1)
    back = (following > row) & (pump[following] == pump[row])
    back &= value[following] >= value[row - 1]
    twice = row >= 2
    spike = twice & (pump[np.maximum(row - 2, 0)] == pump[row])
    spike &= value[row] >= value[np.maximum(row - 2, 0)]  # the one before was too high
    row = row[~back & ~spike]
    found = steps.iloc[row].assign(
        shown_before=steps["shown_start"].to_numpy()[row - 1],
        day_before=steps["day"].to_numpy()[row - 1],
    )
    return _try_digits(found)


def _try_digits(found: pd.DataFrame) -> pd.DataFrame:
    with np.errstate(divide="ignore", invalid="ignore"):
        scale = found["value"] / found["shown"]
        expected = (found["usual"] * found["days"] / scale).to_numpy()
    expected = np.where(np.isfinite(expected) & (expected > 0), expected, np.nan)
    full = np.power(10.0, DIGITS)
    before, after = found["shown_before"].to_numpy(), found["shown"].to_numpy()
    rolled = full - before[:, None] + after[:, None]
    with np.errstate(invalid="ignore"):
        ratio = rolled / expected[:, None]
        fits = (before[:, None] < full) & (ratio >= FITS[0]) & (ratio <= FITS[1])
    best = np.argmax(fits, axis=1)
    digits = np.where(fits.any(axis=1), DIGITS[best], 0)
    width = np.power(10.0, np.maximum(digits, 1)) * 0.9
    chance = np.where(digits > 0, FITS[1] * expected / width, np.nan)
    fresh = after <= FITS[1] * expected
    tried = found.assign(expected=expected, digits_fit=digits, chance=chance, fresh=fresh)
    return tried.assign(rolled=_has_rolled(tried))


def _has_rolled(tried: pd.DataFrame) -> "pd.Series[bool]":
    """Whether a rollover fits and an exchange doesn't, at this break or at all of the pump's
    together: meter after meter isn't exchanged just before its last digit turns."""
    alone = pd.Series(np.log(np.minimum(tried["chance"], 1.0)), index=tried.index)
    together = alone.groupby([tried["pump"], tried["digits_fit"]]).transform("sum")
    rolled: pd.Series[bool] = tried["digits_fit"].gt(0)
    return rolled & (together.le(np.log(BY_CHANCE)) | ~tried["fresh"])


def _ask_meter(rows: pd.DataFrame, digits: "pd.Series | str" = "DIGITS") -> pd.DataFrame:
    asked = question_ids("meter", rows["pump_id"], date_words(rows["day"]))
    word = pd.Series(digits, index=rows.index).astype(str)
    return rows.assign(question=asked, choices="rollover " + word + " / exchange START / wrong")


def _by_table(rows: pd.DataFrame, what: list[str]) -> pd.DataFrame:
    """Findings on readings, which may stand in readings or in rebuilds."""
    told = tell(rows, "readings", what)
    return told.assign(table=rows["table"].to_numpy(object))


def find_rollovers(story: Story) -> pd.DataFrame:
    """Counters without digits that the expected rate shows to have started again from 0; the
    first time of each, since one answer settles all."""
    rows = _breaks(story)
    rolled = rows[rows["rolled"]]
    counter = [rolled["pump"], rolled["digits_fit"]]
    more = rolled.groupby(counter)["day"].transform("size") - 1
    first = ~rolled[["pump", "digits_fit"]].duplicated()
    clear = rolled[first].assign(more=more[first])
    what = [
        f"{before:.10g} of {day}, then {after:.10g}: a counter of {digits} digits that rolled over "
        f"would have gained {10.0**digits - before + after:.10g}, {expected:.0f} was expected."
        + (f" It starts again so {count_of(again, 'more time')}." if again else "")
        for before, day, after, digits, expected, again in zip(
            clear["shown_before"],
            date_words(clear["day_before"]),
            clear["shown"],
            clear["digits_fit"],
            clear["expected"],
            clear["more"],
            strict=True,
        )
    ]
    return _by_table(_ask_meter(clear, clear["digits_fit"]), what)


def find_unclear_breaks(story: Story) -> pd.DataFrame:
    """Meters that start low again, which may have rolled over or been exchanged."""
    rows = _breaks(story)
    unclear = rows[rows["digits_fit"].gt(0) & ~rows["rolled"]]
    what = [
        f"{before:.10g} of {day}, then {after:.10g}: a rollover of {digits} digits and an "
        "exchanged meter both fit the pump's usual rate."
        for before, day, after, digits in zip(
            unclear["shown_before"],
            date_words(unclear["day_before"]),
            unclear["shown"],
            unclear["digits_fit"],
            strict=True,
        )
    ]
    return _by_table(_ask_meter(unclear), what)


def find_lost_turns(story: Story) -> pd.DataFrame:
    """Readings so far apart that the counter may have rolled over more than once between."""
    steps = story.readings
    expected = steps["usual"] * steps["days"]
    lost = steps["same"] & (expected > 0.8 * steps["span"]) & ~steps["exchanged"]
    found = steps[lost].drop_duplicates("pump")
    what = [
        f"About {gain:.3g} are expected between these readings; the counter starts again after "
        f"{span:.3g} [usage units]."
        for gain, span in zip(expected[found.index], found["span"], strict=True)
    ]
    return _by_table(found, what)


def find_fast_meters(story: Story) -> pd.DataFrame:
    """Counters whose usual rate is more than a pump running day and night can make."""
    counted = story.readings[story.readings["base"].eq("cycles")].drop_duplicates("pump")
    per_hour = story.records.pumps["cycles_per_h"].to_numpy()[counted["pump"].to_numpy(np.int64)]
    in_hours = story.records.plant.usage_unit == "hours"
    hours = counted["usual"] if in_hours else counted["usual"] / per_hour
    found = counted[hours > HOURS_A_DAY]
    what = [
        f"Its counter usually gains {run:.0f} running hours a day at the pump's cycles_per_h."
        for run in hours[found.index]
    ]
    return _by_table(found, what)


def _still_runs(story: Story) -> pd.DataFrame:
    """Runs of one reading repeated: last row, pump, first_day, day, readings, worked [day]."""
    steps = story.readings
    still = (steps["same"] & (steps["gain"] == 0.0) & ~steps["exchanged"]).to_numpy()
    row = np.arange(len(steps))
    first = np.maximum.accumulate(np.where(still, 0, row)) if len(row) else row
    ends = np.flatnonzero(still & ~np.append(still[1:], False))
    last = steps.iloc[ends].assign(
        first_day=steps["day"].to_numpy()[first[ends]], readings=ends - first[ends] + 1
    )
    pump = last["pump"].to_numpy(np.int64)
    worked = story.clock.service(pump, last["day"]) - story.clock.service(pump, last["first_day"])
    return last.assign(worked=worked)


def find_still_meters(story: Story) -> pd.DataFrame:
    """The same reading again and again for months, the pump in service."""
    runs = _still_runs(story)
    found = runs[(runs["worked"] >= STILL) & (runs["readings"] >= STILL_READINGS)]
    what = [
        f"{shown:.10g} was read {times} times from {start} to {end}."
        for shown, times, start, end in zip(
            found["shown"],
            found["readings"],
            date_words(found["first_day"]),
            date_words(found["day"]),
            strict=True,
        )
    ]
    return _by_table(found, what)


def find_still_but_rebuilt(story: Story) -> pd.DataFrame:
    """Meters that stand still while the pump is rebuilt again and again."""
    runs = _still_runs(story)
    rebuilt = orders_between(story, runs["pump"], runs["first_day"], runs["day"])
    found = runs[(rebuilt >= 2) & (runs["worked"] >= STILL / 3)]
    what = [
        f"The meter stood at {shown:.10g} from {start} to {end}, and the pump had {count} orders."
        for shown, start, end, count in zip(
            found["shown"],
            date_words(found["first_day"]),
            date_words(found["day"]),
            rebuilt[runs.index.get_indexer(found.index)],
            strict=True,
        )
    ]
    return _by_table(found, what)


def find_running_in_store(story: Story) -> pd.DataFrame:
    """Meters that run while the pump lies in store."""
    steps = story.readings
    pump, day = steps["pump"].to_numpy(np.int64), steps["day"].to_numpy()
    worked = np.diff(story.clock.service(pump, day), prepend=0.0)
    alive = (day - steps["days"] >= np.nan_to_num(story.duty.commissioned[pump], nan=-np.inf)) & (
        day <= np.nan_to_num(story.duty.retired[pump], nan=np.inf)
    )
    idle = steps["same"] & (worked <= 0.0) & (steps["days"] >= 7.0) & ~steps["exchanged"] & alive
    found = steps[idle & (steps["gain"] > 0.1 * steps["usual"] * steps["days"])]
    what = [
        f"The meter gained over {days:.0f} days in which moves says that the pump lay in store."
        for days in found["days"]
    ]
    return _by_table(found, what)


def find_readings_outside_life(story: Story) -> pd.DataFrame:
    """Readings before the pump was commissioned or after it was retired."""
    rows = story.readings
    pump = rows["pump"].to_numpy(np.int64)
    early = rows["day"] < story.duty.commissioned[pump] - 1.0
    late = rows["day"] > story.duty.retired[pump] + 31.0
    found = rows[(early | late) & rows["table"].eq("readings")]
    when = np.where(early[found.index], "before the pump was commissioned", "after it was retired")
    what = [
        f"Read on {day}, {word}." for day, word in zip(date_words(found["day"]), when, strict=True)
    ]
    return _by_table(found, what)


def find_reading_gaps(story: Story) -> pd.DataFrame:
    """Long spells in service without a reading, on pumps that are read often."""
    steps = story.readings
    pump = steps["pump"].to_numpy(np.int64)
    worked = np.diff(story.clock.service(pump, steps["day"]), prepend=0.0)
    own = pd.Series(np.where(steps["same"] & (steps["days"] > 0), steps["days"], np.nan))
    usual = own.groupby(pump).transform("median")
    count = own.groupby(pump).transform("count")
    gap = steps["same"] & (worked > GAP) & (steps["days"] > 6.0 * usual) & (count >= 6)
    found = steps[gap]
    what = [
        f"No reading for {days:.0f} days before this one; the pump is read every {half:.0f}."
        for days, half in zip(found["days"], usual[found.index], strict=True)
    ]
    return _by_table(found, what)


def find_strokes_as_cycles(story: Story) -> pd.DataFrame:
    """Counters that run at half or double the rate of like pumps, or of the register."""
    counted = story.readings[story.readings["base"].eq("cycles")].drop_duplicates("pump")
    pump = counted["pump"].to_numpy(np.int64)
    rate = story.clock.rate[pump]
    peers = _peer_rate(story, pump, rate)
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = rate / peers
        off = np.where(ratio < 1.0, 1.0 / ratio, ratio)
    found = counted[(off >= TWICE[0]) & (off <= TWICE[1])]
    at = found.assign(row=story.records.pumps["row"].to_numpy()[found["pump"]])
    asked = at.assign(question=question_ids("unit", at["pump_id"]), choices="strokes / cycles")
    what = [
        f"Its counter runs at {times:.2f} times the rate of the others of its service and size."
        for times in ratio[counted.index.get_indexer(found.index)]
    ]
    return tell(asked, "pumps", what)


def _peer_rate(story: Story, pump: np.ndarray, rate: np.ndarray) -> np.ndarray:
    """Give the median rate of the other counters of a service and size, where they run alike."""
    stints = story.duty.stints.iloc[story.duty.at(pump, np.full(len(pump), story.end))]
    key = stints.groupby(["service", "size_mm"], dropna=False, sort=False).ngroup().to_numpy()
    with np.errstate(divide="ignore", invalid="ignore"):
        log_rate = pd.Series(np.where(rate > 0, np.log(rate), np.nan))
    middle = log_rate.groupby(key).transform("median")
    spread = (log_rate - middle).abs().groupby(key).transform("median")
    many = log_rate.groupby(key).transform("count") > PEERS
    return np.where(many & (1.4826 * spread < ALIKE), np.exp(middle), np.nan)
