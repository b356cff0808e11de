"""The valve seats of 41 diesel engines through the real route: records, lives, trend, study.

The known values are those of R's survival package, in recurrent.json; where the data come from
and what was added to make a folder of them stands in valve_seats/README.md.
"""

import json
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from pumplife.cli import main
from pumplife.lives.build import Lives, build_lives
from pumplife.lives.trend import laplace_trend, mean_cumulative_function, power_law_trend
from pumplife.records.duty import build_duty
from pumplife.records.plant import to_days
from pumplife.records.read import Records, read_records
from pumplife.records.usage import UsageClock, build_clock

REFERENCE = Path(__file__).resolve().parents[1] / "reference"
SEATS = REFERENCE / "valve_seats"
KNOWN = json.loads((REFERENCE / "recurrent.json").read_text(encoding="utf-8"))["valve_seats"]
SEATS_PER_ENGINE = 16

Route = tuple[Records, UsageClock, Lives]


@pytest.fixture(scope="module")
def route() -> Route:
    records = read_records(SEATS)
    duty = build_duty(records)
    clock = build_clock(records, duty)
    return records, clock, build_lives(records, duty, clock)


@pytest.fixture(scope="module")
def source() -> pd.DataFrame:
    """Engine, age [days], status (1 = replaced, 0 = last day) as published."""
    return pd.read_csv(SEATS / "source" / "valve_seats.csv")


def replacements(route: Route) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Engine and age of every replacement, and the age of each engine's last day [days]."""
    records, clock, lives = route
    pumps = records.pumps
    new = to_days(pumps["commissioned_on"])
    last = np.fmin(to_days(pumps["retired_on"]), records.plant.window("fleet")[1])
    engine = np.arange(len(pumps))
    ends = clock.usage(engine, last) - clock.usage(engine, new)
    pump = lives.visits["pump"].to_numpy(int)
    day = lives.visits["day"].to_numpy(float)
    return pump, clock.usage(pump, day) - clock.usage(pump, new[pump]), ends


def test_all_48_replacements_are_events_of_their_own(route: Route) -> None:
    records, _, lives = route
    assert len(lives.visits) == KNOWN["events"] == 48
    assert len(records.pumps) == KNOWN["systems"] == 41
    twice = lives.visits.duplicated(["pump", "day"])
    assert sorted(lives.visits.loc[twice, "pump_id"]) == ["E-328", "E-402"]
    assert KNOWN["zero_length_intervals"] == twice.sum()


def test_the_mean_number_of_replacements_is_the_published_one(route: Route) -> None:
    pump, age, ends = replacements(route)
    found = mean_cumulative_function(pump, age, ends)
    np.testing.assert_array_equal(found.time, KNOWN["mcf_time"])
    np.testing.assert_allclose(found.mcf, KNOWN["mcf"], rtol=1e-9)
    np.testing.assert_allclose(found.variance, KNOWN["mcf_var_robust"], rtol=1e-9)
    np.testing.assert_allclose(found.variance_poisson, KNOWN["mcf_var_poisson"], rtol=1e-9)


def test_the_trend_tests_are_the_known_ones(route: Route) -> None:
    pump, age, ends = replacements(route)
    laplace = laplace_trend(pump, age, ends)
    assert laplace.statistic == pytest.approx(KNOWN["laplace_conditional"], rel=1e-9)
    assert laplace.direction == "more often"
    power = power_law_trend(pump, age, ends)
    assert power.statistic == pytest.approx(KNOWN["mil189"]["stat"], rel=1e-9)
    assert power.degrees == KNOWN["mil189"]["df"]


def test_an_engine_gives_one_failure_and_15_suspensions_and_then_no_more(
    route: Route, source: pd.DataFrame
) -> None:
    """Nobody wrote which of sixteen alike: after the first, no seat's age is known."""
    _, _, lives = route
    table = lives.table
    replaced = source[source["status"] == 1].groupby("id")["time"].min()
    last = source[source["status"] == 0].set_index("id")["time"]
    counts = pd.crosstab(table["pump_id"], table["outcome"])
    hit = "E-" + replaced.index.astype(str)
    assert set(counts.loc[hit, "failed"]) == {1}
    assert set(counts.loc[hit, "suspended"]) == {SEATS_PER_ENGINE - 1}
    calm = counts.drop(index=hit)
    assert set(calm["failed"]) == {0}
    assert set(calm["suspended"]) == {SEATS_PER_ENGINE}
    assert (len(hit), len(calm)) == (24, 17)
    ends = table.groupby("pump_id")["lower"].agg(["min", "max"])
    wanted = replaced.reindex(last.index).fillna(last)
    wanted.index = "E-" + wanted.index.astype(str)
    np.testing.assert_array_equal(ends["min"], wanted[ends.index])
    np.testing.assert_array_equal(ends["max"], wanted[ends.index])
    assert (table["entry"] == 0).all()


def test_no_age_is_known_after_the_first_replacement(route: Route, source: pd.DataFrame) -> None:
    _, _, lives = route
    hit = "E-" + source.loc[source["status"] == 1, "id"].unique().astype(str).astype(object)
    seats = lives.now
    assert set(seats.loc[seats["pump_id"].isin(hit), "known"]) <= {"at least"}
    assert set(seats.loc[~seats["pump_id"].isin(hit), "known"]) == {"yes"}


def test_the_command_line_gives_fits_and_withholds_what_needs_prices(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "out"
    assert main(["study", str(SEATS), "--out", str(out)]) == 0
    assert "Done" in capsys.readouterr().out
    written = {path.stem for path in (out / "tables").glob("*.csv")}
    assert {"audit", "lives", "fits"} <= written
    assert not written & {"intervals", "due", "stock", "orders", "budget"}
    fits = pd.read_csv(out / "tables" / "fits.csv")
    assert len(fits) == 1
    assert fits.loc[0, "failures"] == 24
    assert fits.loc[0, "suspensions"] == 24 * 15 + 17 * SEATS_PER_ENGINE
    audit = pd.read_csv(out / "tables" / "audit.csv")
    stops = " ".join(audit.loc[audit["severity"] == "stop", "what"])
    for result in ("intervals", "stock", "budget"):
        assert f"No {result} can be given" in stops
    assert "[costs]" in stops
