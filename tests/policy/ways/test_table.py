"""The table of ways of working on a small plant whose lives are known."""

from dataclasses import replace

import numpy as np
import pytest

from pumplife.policy.advice import advise
from pumplife.policy.decide import FAILED_PART, PLANNED, RUN_TO_FAILURE
from pumplife.policy.ways.alone import (
    CALENDAR,
    CALENDAR_PART,
    MOST_LIVES,
    NO_GAIN,
    OUTAGES,
    PLANNED_PART,
    TODAY,
    Withheld,
)
from pumplife.policy.ways.both_sides import TOGETHER
from pumplife.policy.ways.inspection import INSPECTION
from pumplife.policy.ways.kit_when_worn import KIT_WHEN_WORN
from pumplife.policy.ways.older import OLDER, PLANNED_OLDER
from pumplife.policy.ways.table import POLICY_COLUMNS, compare_ways
from tests.plants import SETTINGS, part_rows, pump_rows, rebuild_rows, small_plant, small_tables
from tests.policy.sides import draws, fits_of, slip_fits, study_parts

ALWAYS = {
    RUN_TO_FAILURE, FAILED_PART, TODAY, PLANNED, PLANNED_PART, CALENDAR, CALENDAR_PART, OUTAGES,
    OLDER, PLANNED_OLDER, INSPECTION, KIT_WHEN_WORN, TOGETHER,
}  # fmt: skip


def policies(folder, *, fits=None, **overrides):
    """Table `policies` of the small plant by policy, and the advice."""
    advice = advise(*study_parts(small_plant(folder, **overrides)), fits or slip_fits())
    return advice.policies[advice.policies["side"] == "fluid"].set_index("policy"), advice


def test_every_way_has_a_row_and_the_advice_is_marked(tmp_path):
    table, advice = policies(tmp_path)
    row = advice.intervals.loc[0]
    assert list(advice.policies.columns) == list(POLICY_COLUMNS)
    assert set(table.index) == ALWAYS
    assert table.index[table["standing"] == "advised"].tolist() == [PLANNED]
    for policy, column in (
        (PLANNED, "cost_rate"),
        (RUN_TO_FAILURE, "cost_rate_run_to_failure"),
        (FAILED_PART, "cost_rate_failed_part"),
        (TODAY, "cost_rate_today"),
    ):
        assert table.loc[policy, "cost_rate"] == pytest.approx(row[column], rel=1e-9)
    assert table.loc[PLANNED, "saving_vs_advised"] == 0.0
    assert table["rate_unit"].dropna().eq("EUR per 1,000 h").all()


def test_a_row_by_hand(tmp_path):
    """Failed part only: 2, 4 and 4 positions at their mean lives, 3 pumps of 10 hours a day."""
    table, advice = policies(tmp_path)
    row, usage = table.loc[FAILED_PART], 3 * 10 * 365.25
    rates = np.array([2.0, 4.0, 4.0]) / advice.groups[0].lives.mean()[:, 0]
    paid = np.array([60.0, 15.0, 12.0]) + 100 + 5 * 50 + 8 * 100 + np.array([200.0, 0, 0])
    assert row["cost_per_year"] == pytest.approx(usage * rates @ paid, rel=1e-9)
    assert row["failures_per_year"] == pytest.approx(usage * rates.sum(), rel=1e-9)
    assert row["spills_per_year"] == pytest.approx(usage * rates[0], rel=1e-9)
    assert row["labour_h_per_year"] == pytest.approx(5 * usage * rates.sum(), rel=1e-9)
    assert row["availability"] == pytest.approx(1 - 8 * usage * rates.sum() / (3 * 8766), rel=1e-9)
    assert row["kits_per_year"] == 0.0


def test_what_cannot_be_said_says_why(tmp_path):
    table, _ = policies(tmp_path)
    assert table.loc[[INSPECTION, KIT_WHEN_WORN, OUTAGES, TOGETHER], "cost_rate"].isna().all()
    for looked in (INSPECTION, KIT_WHEN_WORN):
        assert "delay_share, detection, labour_h in [inspection]" in table.loc[looked, "note"]
    assert "fewer than two outages for works" in table.loc[OUTAGES, "note"]
    assert "No air side of these pumps" in table.loc[TOGETHER, "note"]


def test_inspection_with_the_plants_own_delay(tmp_path):
    given = "\n[inspection]\ndelay_share = { ball = 0.2 }\ndetection = 0.8\nlabour_h = 0.1\n"
    table, _ = policies(tmp_path, plant_toml=SETTINGS + given)
    found, alone = table.loc[INSPECTION], table.loc[FAILED_PART]
    assert found["failures_per_year"] < alone["failures_per_year"]
    assert found["spills_per_year"] == pytest.approx(alone["spills_per_year"], rel=1e-6)
    assert found["cost_rate"] < alone["cost_rate"]
    none = given.replace("ball = 0.2", "lid = 0.2")
    table, _ = policies(tmp_path / "none", plant_toml=SETTINGS + none)
    assert "no part here shows wear" in table.loc[INSPECTION, "note"]


def test_outages_of_the_calendar(tmp_path):
    dates = "[2022-01-10, 2022-07-11, 2023-01-09]"
    table, _ = policies(tmp_path, plant_toml=SETTINGS + f"\n[calendar]\noutages = {dates}\n")
    row = table.loc[OUTAGES]
    assert row["q"] >= 1
    assert row["block_weeks"] == pytest.approx(26 * row["q"])
    assert row["cost_rate"] >= table.loc[PLANNED, "cost_rate"]


def test_a_pump_that_stands_still_and_dates_given_twice_do_no_harm(tmp_path):
    dates = "[2022-01-10, 2022-01-10, 2022-07-11]"
    calendar = f'\n[calendar]\noutages = []\n[calendar.site."works"]\noutages = {dates}\n'
    folder = small_plant(tmp_path, plant_toml=SETTINGS + calendar)
    parts = study_parts(folder)
    advice = advise(*parts, slip_fits())
    still = replace(
        advice.groups[0],
        rate=np.array([10.0, 10.0, 0.0]),
        site=np.array(["works", "works", "yard"], dtype=object),
    )
    (ways,) = compare_ways(parts[0].plant, (still,), advice.decisions)
    outages = next(way for way in ways if way.policy == OUTAGES)
    assert outages.block_weeks == pytest.approx(26 * outages.every)
    assert outages.ahead.mean > 0.0
    assert all(np.isfinite(way.ahead.mean) for way in ways if not isinstance(way, Withheld))


def test_a_limit_holds_every_setting(tmp_path):
    pumps = [row | {"max_fluid_interval": 1500} for row in pump_rows()]
    table, _ = policies(tmp_path, pumps=pumps)
    assert table.loc[PLANNED, "interval"] == 1500.0
    assert table.loc[PLANNED_PART, "interval"] <= 1500.0 * (1 + 1e-9)
    assert table.loc[[CALENDAR, CALENDAR_PART], "block_weeks"].max() * 7 * 10 <= 1500.0
    kept = table["keeps_limit"]
    assert (kept[[PLANNED, PLANNED_PART, CALENDAR, CALENDAR_PART, PLANNED_OLDER]] == "yes").all()
    assert (kept[[RUN_TO_FAILURE, FAILED_PART, OLDER]] == "no").all()


def test_a_planned_age_stays_within_a_few_lives_where_none_pays(tmp_path):
    """A draw that hardly ever fails drew the age out to lives that no pump has, and hours of it."""
    scale = np.full((3, 8), 6000.0)
    scale[:, 7] = 1e6
    lives = slip_fits(shape=np.full((3, 8), 0.9), scale=scale)
    table, advice = policies(tmp_path, fits=lives)
    usual = np.median(advice.decisions[0].advice.at_failure.uptime[0])
    assert np.isinf(advice.decisions[0].interval)
    assert (table.loc[[PLANNED, PLANNED_OLDER], "interval"] <= MOST_LIVES * usual).all()
    assert table.loc[PLANNED, "note"] == NO_GAIN
    assert table.loc[PLANNED, "cost_rate"] > table.loc[RUN_TO_FAILURE, "cost_rate"]


def test_one_position_with_what_is_older_is_the_kit(tmp_path):
    """With one position the failed part is the whole side: only its price differs."""
    tables = small_tables()
    contents = [row | {"quantity": 1} for row in tables["kit_contents"][:1]]
    parts = [part_rows()[0] | {"per_pump": 1, "unit_cost": 200.0}]
    table, _ = policies(tmp_path, kit_contents=contents, parts=parts)
    whole, planned = table.loc[RUN_TO_FAILURE], table.loc[PLANNED]
    assert table.loc[FAILED_PART, "cost_rate"] == pytest.approx(whole["cost_rate"], rel=1e-6)
    older = table.loc[OLDER]
    error = 4.0 * older["standard_error"]
    assert 0.0 < error < 0.5 * whole["cost_rate"]
    assert older["cost_rate"] == pytest.approx(whole["cost_rate"], abs=error)
    between = table.loc[PLANNED_OLDER]
    assert between["computed"] == "simulated"
    assert between["cost_rate"] >= planned["cost_rate"] - 4.0 * between["standard_error"]


def both_sides(folder, **settings):
    """The small plant with an air kit of one valve, and lives of it."""
    tables = small_tables()
    valve = {"part_no": "VALVE", "part": "air valve", "side": "air", "wears": "yes"}
    valve |= {"material": "CR", "size_mm": 50, "lead_time_days": 20, "per_pump": 1}
    kit = tables["kits"][0] | {"kit": "AK", "side": "air", "unit_cost": 150.0}
    work = "\n[work.air]\nplanned_labour_h = 2.0\nbreakdown_labour_h = 3.0\n"
    work += "planned_downtime_h = 2.0\nbreakdown_downtime_h = 6.0\n"
    known = settings.get("known") or slip_fits()
    lives = known.draws
    rows = known.table.to_dict("records")
    rows.append(rows[0] | {"part": "air valve"})
    fits = fits_of(
        draws(np.vstack([lives.shape, [[3.0]]]), np.vstack([lives.scale, [[9000.0]]]), 0.0, 100.0),
        rows,
    )
    return policies(
        folder,
        fits=fits,
        plant_toml=SETTINGS + work + settings.get("more", ""),
        pumps=[row | {"air_kit": "AK"} for row in pump_rows()],
        parts=[*part_rows(), valve | {"unit_cost": 80.0}],
        kits=[*tables["kits"], kit],
        kit_contents=[*tables["kit_contents"], {"kit": "AK", "part_no": "VALVE", "quantity": 1}],
        rebuilds=rebuild_rows(),
    )


def test_the_air_kit_at_a_fluid_rebuild_saves_its_own_stop(tmp_path):
    table, _ = both_sides(tmp_path / "one")
    row = table.loc[TOGETHER]
    assert row["q"] in (1, 2, 3, 4)
    assert row["computed"] == "exact"
    assert "labour of both, the downtime of the longer" in row["note"]
    assert "air side (kit AK)" in row["note"]
    more = "\n[work.together]\nplanned_labour_h = 3.2\nplanned_downtime_h = 2.0\n"
    table, advice = both_sides(tmp_path / "two", more=more)
    told = table.loc[TOGETHER]
    assert "labour of both" not in told["note"]
    assert told["cost_rate"] < row["cost_rate"]
    assert told["saving_vs_advised"] > 0.0
    verdict = advice.intervals.set_index("side").loc["fluid", "verdict"]
    setting = f"every {told['interval']:,.0f} hours, n = {told['q']:.0f}"
    assert f"Worth a look: {TOGETHER} ({setting}) would save about" in verdict
    assert told["standing"] == "worth a look"


def test_three_years_of_running_to_failure_are_three_years_of_the_long_run(tmp_path):
    """Lives far shorter than three years, and no discount: the long run is soon reached."""
    fits = slip_fits(scale=[[600.0], [900.0], [1200.0]])
    table, _ = policies(tmp_path, fits=fits)
    row = table.loc[RUN_TO_FAILURE]
    assert row["cost_3_years"] == pytest.approx(3.0 * row["cost_per_year"], rel=0.05)
    assert row["cost_3_years_low"] < row["cost_3_years"] < row["cost_3_years_high"]
    assert table["cost_3_years"].notna().equals(table["cost_rate"].notna())
    less, _ = policies(
        tmp_path / "two",
        fits=fits,
        plant_toml=SETTINGS.replace("[costs]", "[costs]\ndiscount_per_year = 0.1"),
    )
    years = (1.0 - 1.1**-3) / np.log(1.1)
    assert less.loc[RUN_TO_FAILURE, "cost_3_years"] == pytest.approx(
        row["cost_3_years"] * years / 3.0, rel=0.01
    )


def test_same_records_same_table(tmp_path):
    first, _ = policies(tmp_path / "one")
    again, _ = policies(tmp_path / "two")
    assert first.equals(again)
