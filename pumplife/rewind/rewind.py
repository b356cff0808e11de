"""The advice as it would have been on past days, each held against what was seen since.

The whole route from records to advice runs again on the records as they stood on each day.
Prices and limits in plant.toml are today's on both sides, so that what differs is what was known
of the lives; prices of kits and parts are those valid on the day.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from pumplife.fits.alike.changes import split_where_changed
from pumplife.fits.build import Fits, fit_lives
from pumplife.lives.build import Lives, build_lives
from pumplife.policy.advice import Decided, decide_all
from pumplife.policy.decide import Decision
from pumplife.policy.intervals_table import RATE_UNITS
from pumplife.policy.pump import FloatArray
from pumplife.records.cut import cut_records
from pumplife.records.duty import build_duty
from pumplife.records.meters import gather_readings
from pumplife.records.plant import Plant, to_day
from pumplife.records.read import Records, Written, join_records, read_written
from pumplife.records.usage import UsageClock, build_clock
from pumplife.rewind.later import stretches_after, watch_group
from pumplife.rewind.score import NORMAL_90, Realised, count_band, is_inside, score_group
from pumplife.rewind.years import Scored, add_up_years, say_year, say_years

MOST_YEARS = 4  # past days looked at
LEAST_KNOWN_MONTHS = 24  # of records before the earliest of them
REWIND_COLUMNS = (
    "as_of", "service", "size_mm", "side", "kit", "hazard", "pumps", "policy", "advised_interval",
    "failures_known", "predicted_failures", "predicted_failures_low", "predicted_failures_high",
    "realised_failures", "predicted_cost_rate", "low", "high", "realised_cost_rate",
    "realised_low", "realised_high", "inside", "testable", "why_not", "rate_unit",
)  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Rewind:
    """Past advice beside what came.

    Attributes
    ----------
    rows : DataFrame
        The table rewind, one row per past day and pump group: the advice of that day; failures
        predicted for what was watched since, with their 90 % band, and seen; the cost rate
        predicted for the advised interval with its 90 % band (low, high), and told by later lives
        alone with the 90 % band of its own error; inside (yes / no / blank), testable (yes / no)
        and why_not.
    years : DataFrame
        The table rewind_years: one row per past day, all groups added up.
    sentence : str
        What they come to.
    """

    rows: pd.DataFrame
    years: pd.DataFrame
    sentence: str

    def __repr__(self) -> str:
        """Count days and groups."""
        tested = int((self.rows["testable"] == "yes").sum())
        return f"<Rewind: {len(self.years)} past days, {tested} of {len(self.rows)} rows testable>"

    def _repr_html_(self) -> str:
        """The sentence over the years."""
        import html  # noqa: PLC0415  (only where a notebook asks)

        return f"<p>{html.escape(self.sentence)}</p>{self.years.to_html(index=False)}"

    def say(self) -> tuple[str, ...]:
        """One sentence per past day."""
        return tuple(say_year(year) for year in self.years.to_dict("records"))

    def to_frame(self) -> pd.DataFrame:
        """A copy of `rows`."""
        return self.rows.copy()


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Known:
    """The whole records and what was built from them: what past advice is held against."""

    records: Records
    clock: UsageClock
    lives: Lives
    fits: Fits

    def __repr__(self) -> str:
        """Name the plant."""
        return f"<Known: {self.records.plant.name}>"


def run_rewind(
    path: str | Path, *, seed: int = 1, told: Callable[[str], None] = lambda step: None
) -> Rewind:
    """Work out the advice of up to four past days, and hold it against what was seen since.

    Parameters
    ----------
    path : str or Path
        Plant folder, or one .xlsx with a sheet per table.
    seed : int
        Seed of all random draws.
    told : callable
        Called with the name of each step as it begins: "fits", "rewind to 2024-06-30".

    Returns
    -------
    Rewind
        Without rows, and with the reason as its sentence, where nothing can be looked back on.

    Raises
    ------
    FolderError
        If the path isn't there or can't be read.
    SettingError
        If a line of plant.toml can't be used.
    """
    told("fits")
    written = read_written(Path(path))
    records = join_records(written)
    built = None if records.fatal else build_and_fit(records, seed=seed)
    if built is None:
        return nothing_to_rewind("The records stop the study: pumplife audit says why.")
    _, known = built
    return rewind_records(written, known, seed=seed, told=told)


def rewind_records(
    written: Written,
    known: Known,
    *,
    seed: int,
    told: Callable[[str], None] = lambda step: None,
) -> Rewind:
    """The same for records that are read, and fitted as a whole, already.

    Parameters
    ----------
    written : Written
        The files as read.
    known : Known
        Their lives and fits.
    seed : int
    told : callable
        Called with the name of each past day as its turn comes.
    """
    plant = known.records.plant
    if "intervals" in known.records.withheld:
        return nothing_to_rewind("No interval can be given: pumplife audit says why.")
    days = past_days(plant)
    if not days:
        return nothing_to_rewind(
            f"The records are too short to look back: {LEAST_KNOWN_MONTHS} months are needed "
            "before the first past day, and 12 after it."
        )
    scored: list[Scored] = []
    for day in days:
        told(f"rewind to {day:%Y-%m-%d}")
        scored += _rewind_to(written, known, day, seed)
    if not scored:
        return nothing_to_rewind("On none of the past days could an interval have been advised.")
    rows = pd.DataFrame([_row(plant, one) for one in scored])
    rows = rows.reindex(columns=list(REWIND_COLUMNS))
    years = add_up_years(scored, currency=plant.currency)
    return Rewind(rows=rows, years=years, sentence=say_years(years, rows))


def nothing_to_rewind(why: str) -> Rewind:
    """A rewind without rows."""
    rows = pd.DataFrame({name: pd.Series([], dtype=object) for name in REWIND_COLUMNS})
    return Rewind(rows=rows, years=add_up_years([], currency=""), sentence=why)


def past_days(plant: Plant) -> list[pd.Timestamp]:
    """The days 12, 24 ... months before the end of the records, enough of them lying before."""
    start = plant.records_from + pd.DateOffset(months=LEAST_KNOWN_MONTHS)
    days = [plant.records_to - pd.DateOffset(months=12 * n) for n in range(MOST_YEARS, 0, -1)]
    return [day for day in days if day >= start]


def advise_as_of(
    written: Written, as_of: pd.Timestamp, *, seed: int
) -> tuple[Decided, Known] | None:
    """The advice from the records as they stood on a past day; None where there was no life yet.

    Parameters
    ----------
    written : Written
        The files as read; neither it nor its audit is touched.
    as_of : Timestamp
    seed : int
    """
    records = cut_records(written, as_of)
    built = None if records.fatal else build_and_fit(records, seed=seed)
    if built is None:
        return None
    duty, known = built
    return decide_all(records, duty, known.clock, known.lives, known.fits), known


def build_and_fit(records: Records, *, seed: int) -> tuple[Any, Known] | None:
    """Duty, and all up to the fits; None where no life could be built."""
    duty = build_duty(records)
    metered = records.plant.usage_unit != "days"
    with pd.option_context("mode.copy_on_write", True):
        clock = build_clock(records, duty, gather_readings(records) if metered else None)
    lives = build_lives(records, duty, clock)
    if lives.table.empty:
        return None
    lives, _ = split_where_changed(records, lives)
    fits, lives = fit_lives(records, lives, seed=seed)
    return duty, Known(records=records, clock=clock, lives=lives, fits=fits)


def _rewind_to(written: Written, known: Known, day: pd.Timestamp, seed: int) -> list[Scored]:
    """Every group's advice of one past day, scored."""
    then = advise_as_of(written, day, seed=seed)
    if then is None:
        return []
    advice, past = then
    end = to_day(known.records.plant.records_to)
    after = stretches_after(known.fits, known.lives, known.clock, to_day(day), end)
    names = past.records.pumps["pump_id"].to_numpy(object)
    today = pd.Index(known.records.pumps["pump_id"])
    scored = []
    for number, (group, decision) in enumerate(zip(advice.groups, advice.decisions, strict=True)):
        keys = past.fits.table.iloc[np.maximum(group.fit_rows, 0)].reset_index(drop=True)
        realised = None
        if decision is not None:
            seen = watch_group(after, keys, today.get_indexer(pd.Index(names[group.pumps])))
            realised = score_group(
                group,
                decision,
                seen,
                seed=seed + number,
                usage_unit=past.records.plant.usage_unit,
            )
        scored.append(Scored(as_of=day, group=group, decision=decision, realised=realised))
    return scored


def _row(plant: Plant, one: Scored) -> dict[str, Any]:
    """One row of the table."""
    group = one.group
    row: dict[str, Any] = {
        "as_of": one.as_of,
        "service": group.service,
        "size_mm": group.size_mm,
        "side": group.side,
        "kit": group.kit,
        "hazard": group.hazard,
        "pumps": group.pumps.size,
        "policy": "",
        "failures_known": group.failures,
        "inside": "",
        "testable": "no",
        "why_not": f"No interval could be advised then. {group.missing}",
        "rate_unit": "",
    }
    if one.decision is None or one.realised is None:
        return row
    factor, unit = RATE_UNITS[plant.usage_unit]
    row["rate_unit"] = f"{plant.currency} {unit}".strip()
    return row | _advice_cells(one.decision, factor) | _later_cells(
        one.realised, one.decision.advised.money, factor
    )  # fmt: skip


def _advice_cells(decision: Decision, factor: float) -> dict[str, Any]:
    """What the advice of the day was."""
    money = decision.advised.money
    low, high = np.quantile(money, [0.05, 0.95])
    return {
        "policy": decision.policy,
        "advised_interval": decision.interval if np.isfinite(decision.interval) else np.nan,
        "predicted_cost_rate": factor * float(money.mean()),
        "low": factor * float(low),
        "high": factor * float(high),
    }


def _later_cells(realised: Realised, money: FloatArray, factor: float) -> dict[str, Any]:
    """What came."""
    low, high = count_band(realised.expected)
    told = realised.why_not == ""
    reach = np.exp(NORMAL_90 * realised.error)
    inside = is_inside(realised.rate, money, realised.error) if told else False
    return {
        "predicted_failures": float(realised.expected.mean()),
        "predicted_failures_low": low,
        "predicted_failures_high": high,
        "realised_failures": realised.failures,
        "realised_cost_rate": factor * realised.rate,
        "realised_low": factor * realised.rate / reach,
        "realised_high": factor * realised.rate * reach,
        "inside": ("yes" if inside else "no") if told else "",
        "testable": "yes" if told else "no",
        "why_not": realised.why_not,
    }
