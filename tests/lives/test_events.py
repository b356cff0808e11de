"""Dated events by hand: a shock is no wear, a lasting event has an age; lot and crew."""

import numpy as np
import pytest

from pumplife.lives.events import shock_demand

from .hand import TABLES, lives_of

PUMPS = "pump_id,site,service,size_mm,fluid_kit,commissioned_on,use_per_week\n" + "".join(
    f"P{number},north,slip,50,K50,2020-01-01,70\n" for number in range(1, 5)
)
HEAD = "rebuild_id,pump_id,opened_on,reason,kit,failed_part,lot,crew\n"
# a water hammer on 1 June 2021 breaks three of four pumps; P4 breaks down in October
REBUILDS = HEAD + (
    "R1,P1,2021-06-01,breakdown,K50,diaphragm,B7,C1\n"
    "R2,P2,2021-06-02,breakdown,K50,ball,B7,C1\n"
    "R3,P3,2021-06-02,breakdown,K50,,,C2\n"
    "R4,P4,2021-10-01,breakdown,K50,diaphragm,,\n"
    "R5,P1,2022-06-01,planned,K50,none,B8,\n"
)
EVENTS = "happened_on,until,site,service,what,kind\n"
HAMMER = EVENTS + "2021-06-01,,north,,water hammer,shock\n"


def plant(folder, events, rebuilds=REBUILDS):
    return lives_of(folder, pumps=PUMPS, rebuilds=rebuilds, events=events)


def test_failures_at_a_shock_are_suspensions_at_that_moment(tmp_path):
    _, plain = plant(tmp_path / "plain", EVENTS)
    records, lives = plant(tmp_path / "shock", HAMMER)
    before, after = plain.table, lives.table
    assert before["share_failed"].sum() == pytest.approx(4.0)
    assert after["share_failed"].sum() == pytest.approx(1.0)
    failed = after[after["outcome"] == "failed"]
    assert failed["pump_id"].tolist() == ["P4"]
    struck = after[after["end_on"].isin(np.array(["2021-06-01", "2021-06-02"], "datetime64[D]"))]
    assert (struck["outcome"] == "suspended").all()
    assert (struck["event"] == -1).all()
    np.testing.assert_allclose(
        np.sort(struck["lower"].unique()),
        [5170.0, 5180.0],  # 517 and 518 days of 10 h
    )
    assert set(struck["shock"]) >= {"water hammer"}
    assert (after.loc[after["pump_id"] == "P4", "shock"] == "").all()
    audit = records.log.frame()
    told = audit[audit["rule"] == "shock"].iloc[0]
    assert told["severity"] == "note"
    assert "3 breakdowns of 3 pumps" in told["what"]
    assert (audit["rule"] == "shock_failure").sum() == 3


def test_shock_failures_stay_demand(tmp_path):
    records, lives = plant(tmp_path, HAMMER)
    assert lives.visits["breakdown"].sum() >= 4
    shocks = lives.shocks.sort_values("rebuild_id")
    assert shocks["part"].tolist() == ["diaphragm", "ball", ""]
    assert shocks["failures"].tolist() == [1.0, 1.0, 1.0]
    demand = shock_demand(lives, records).set_index("part")
    years = 1460 / 365.25
    assert demand.loc["ball", "per_year"] == pytest.approx(1 / years)
    assert demand["failures"].sum() == 3


def test_a_shock_that_hit_one_pump_is_not_believed(tmp_path):
    lone = HEAD + "R1,P1,2021-06-01,breakdown,K50,diaphragm,,\n"
    records, lives = plant(tmp_path, HAMMER, lone)
    assert lives.table["share_failed"].sum() == 1.0
    assert lives.shocks.empty
    audit = records.log.frame()
    told = audit[audit["rule"] == "shock"].iloc[0]
    assert told["severity"] == "caution"
    assert "stay in the lives as wear" in told["consequence"]


def test_a_long_shock_with_no_more_than_the_usual_breakdowns_is_not_believed(tmp_path):
    often = HEAD + "".join(
        f"R{pump}{year}{month},P{pump},{year}-{month:02d}-{10 + pump},breakdown,K50,ball,,\n"
        for pump in (1, 2) for year in (2020, 2021, 2022) for month in range(2, 12)
    )  # fmt: skip
    season = EVENTS + "2021-05-01,2021-07-01,,slip,hot weeks,shock\n"
    _, lives = plant(tmp_path, season, often)
    assert lives.shocks.empty
    assert lives.table["share_failed"].sum() == 60


def test_a_shock_elsewhere_leaves_these_pumps_alone(tmp_path):
    south = EVENTS + "2021-06-01,,south,,water hammer,shock\n"
    _, lives = plant(tmp_path, south)
    assert lives.shocks.empty
    assert lives.table["share_failed"].sum() == pytest.approx(4.0)


def test_lives_carry_their_age_at_a_lasting_event(tmp_path):
    dryer = EVENTS + "2021-01-01,,north,slip,air dryer,lasting\n"
    _, lives = plant(tmp_path, dryer)
    table = lives.table.assign(life=range(len(lives.table)))
    dated = lives.dated.merge(table, on="life")
    first = dated[dated["start_on"] == "2020-01-01"]
    assert set(first["age"]) == {3660.0}  # 366 days of 10 h
    later = dated[dated["start_on"] == "2022-06-01"]
    assert set(later["age"]) == {-5160.0}  # fitted 516 days after it
    assert len(dated) == len(table)


def test_an_event_of_no_kind_is_kept_and_not_used(tmp_path):
    records, lives = plant(tmp_path, EVENTS + "2021-06-01,,,,new resin,\n")
    assert lives.dated.empty
    assert lives.table["share_failed"].sum() == pytest.approx(4.0)
    audit = records.log.frame()
    assert "new resin" in audit.loc[audit["rule"] == "event_kind", "what"].iloc[0]


def test_a_life_carries_lot_and_crew_of_the_visit_that_fitted_it(tmp_path):
    _, lives = plant(tmp_path, EVENTS)
    by_start = lives.table[lives.table["pump_id"] == "P1"].groupby("start_on")[["lot", "crew"]]
    assert by_start.first().to_numpy().tolist() == [["", ""], ["B7", "C1"], ["B8", ""]]
    assert (by_start.nunique() == 1).all().all()


def test_a_lot_belongs_to_the_side_of_its_kit(tmp_path):
    both = HEAD + (
        "R1,P1,2021-06-01,planned,K50,none,F1,C1\nR1,P1,2021-06-01,planned,A50,none,A9,C1\n"
    )
    pumps = PUMPS.replace("fluid_kit", "fluid_kit,air_kit").replace("K50", "K50,A50")
    _, lives = lives_of(tmp_path, pumps=pumps, rebuilds=both, events=EVENTS)
    late = lives.table[(lives.table["pump_id"] == "P1") & (lives.table["start_on"] > "2021")]
    assert set(zip(late["side"], late["lot"], strict=True)) == {("fluid", "F1"), ("air", "A9")}


def test_the_hand_made_tables_have_no_events_of_their_own(tmp_path):
    _, lives = lives_of(tmp_path)
    assert "events" not in TABLES
    assert lives.shocks.empty
    assert lives.dated.empty
