"""Lives followed by hand: 10 hours a day from 2020-01-01 to 2023-12-31 (1 460 days)."""

import numpy as np
import pandas as pd
import pytest

from tests.lives.hand import TOML, lives_of

HEAD = "rebuild_id,pump_id,opened_on,reason,kit,failed_part"
END = 14600.0
YEAR = 3660.0  # hours from 2020-01-01 to 2021-01-01


def pick(lives, part, outcome=None):
    table = lives.table[lives.table["part"] == part]
    return table if outcome is None else table[table["outcome"] == outcome]


def test_a_kit_renews_all_and_only_the_blamed_part_failed(tmp_path):
    _, lives = lives_of(tmp_path, rebuilds=f"{HEAD}\nR1,P1,2021-01-01,breakdown,K50,diaphragm\n")
    failed = lives.table[lives.table["outcome"] == "failed"]
    assert list(failed["part"]) == ["diaphragm"]
    assert list(failed["lower"]) == [YEAR]
    assert list(failed["upper"]) == [YEAR]
    first = lives.table[lives.table["end_on"] == "2021-01-01"]
    assert first.groupby("part").size().to_dict() == {"ball": 4, "diaphragm": 2, "seat": 4}
    assert (first["entry"] == 0).all()
    second = lives.table[(lives.table["end_on"] == "2023-12-31") & (lives.table["side"] == "fluid")]
    assert len(second) == 10
    np.testing.assert_allclose(second["lower"], END - YEAR)
    assert np.isinf(second["upper"]).all()


def test_the_failed_life_says_that_nobody_wrote_which_position(tmp_path):
    _, lives = lives_of(tmp_path, rebuilds=f"{HEAD}\nR1,P1,2021-01-01,breakdown,K50,diaphragm\n")
    assert set(pick(lives, "diaphragm", "failed")["position"]) == {"unknown"}
    assert set(pick(lives, "ball")["position"]) == {
        "suction_left", "suction_right", "discharge_left", "discharge_right",
    }  # fmt: skip


def test_air_side_without_a_kit_takes_the_parts_of_the_pumps_size(tmp_path):
    _, lives = lives_of(tmp_path)
    valve = pick(lives, "air valve")
    assert list(valve["lower"]) == [END]
    assert list(valve["outcome"]) == ["suspended"]


@pytest.mark.parametrize("reason", ["stoppage"])
def test_a_stoppage_is_not_a_death(tmp_path, reason):
    _, lives = lives_of(tmp_path, rebuilds=f"{HEAD}\nR1,P1,2021-01-01,{reason},,diaphragm\n")
    assert (lives.table["outcome"] == "suspended").all()
    np.testing.assert_allclose(lives.table["lower"], END)


def test_a_breakdown_without_a_part_shares_one_failure(tmp_path):
    records, lives = lives_of(tmp_path, rebuilds=f"{HEAD}\nR1,P1,2021-01-01,breakdown,K50,\n")
    shared = lives.table[lives.table["event"] >= 0]
    assert len(shared) == 10
    assert shared["share_failed"].sum() == pytest.approx(1.0)
    assert set(shared["side"]) == {"fluid"}
    assert "part_not_named" in set(records.log.frame()["rule"])


def test_none_as_failed_part_means_that_no_part_failed(tmp_path):
    _, lives = lives_of(tmp_path, rebuilds=f"{HEAD}\nR1,P1,2021-01-01,breakdown,K50,none\n")
    assert (lives.table["outcome"] == "suspended").all()
    assert len(pick(lives, "ball")) == 8


def test_planned_work_without_a_part_failed_nothing(tmp_path):
    _, lives = lives_of(tmp_path, rebuilds=f"{HEAD}\nR1,P1,2021-01-01,planned,K50,\n")
    assert (lives.table["outcome"] == "suspended").all()
    assert (lives.table["event"] == -1).all()


def test_one_of_four_renewed_and_nobody_wrote_which(tmp_path):
    _, lives = lives_of(
        tmp_path,
        rebuilds=f"{HEAD}\nR1,P1,2021-01-01,breakdown,none,ball\n"
        "R2,P1,2022-01-01,breakdown,none,ball\nR3,P1,2023-01-01,planned,K50,\n",
    )
    balls = pick(lives, "ball")
    assert (balls["end_on"] == "2021-01-01").sum() == 4
    assert balls["outcome"].eq("failed").sum() == 1
    assert (balls["end_on"] == "2022-01-01").sum() == 0  # ages unknown: no life
    assert (balls["end_on"] == "2023-01-01").sum() == 0
    last = balls[balls["end_on"] == "2023-12-31"]  # all renewed together on 2023-01-01
    np.testing.assert_allclose(last["lower"], 3640.0)
    np.testing.assert_allclose(sorted(pick(lives, "seat")["lower"]), [3640.0] * 4 + [10960.0] * 4)


def test_a_blank_kit_renews_the_blamed_part_and_loses_sight_of_the_rest(tmp_path):
    records, lives = lives_of(tmp_path, rebuilds=f"{HEAD}\nR1,P1,2021-01-01,breakdown,,diaphragm\n")
    assert (pick(lives, "seat")["lower"] == YEAR).all()
    assert len(pick(lives, "seat")) == 4
    assert len(pick(lives, "diaphragm")) == 2
    assert list(pick(lives, "air valve")["lower"]) == [END]
    seats = lives.now[lives.now["part"] == "seat"]
    assert set(seats["known"]) == {"at least"}
    np.testing.assert_allclose(seats["age"], END - YEAR)
    assert "kit_not_written" in set(records.log.frame()["rule"])


def test_a_blank_kit_takes_what_the_store_issued(tmp_path):
    _, lives = lives_of(
        tmp_path,
        rebuilds=f"{HEAD}\nR1,P1,2021-01-01,breakdown,,diaphragm\n",
        issued="issued_on,item,quantity,rebuild_id,pump_id\n2021-01-01,K50,1,R1,P1\n",
    )
    assert len(pick(lives, "seat")) == 8
    assert set(lives.now["known"]) == {"yes"}


def test_found_failed_lies_between_the_last_sound_look_and_the_visit(tmp_path):
    _, lives = lives_of(
        tmp_path,
        rebuilds=f"{HEAD}\nR1,P1,2021-01-01,inspection,none,\nR2,P1,2022-01-01,planned,K50,ball\n",
        findings="rebuild_id,pump_id,part,position,found,action\n"
        "R1,P1,ball,suction_left,sound,kept\n"
        "R2,P1,ball,suction_left,failed,renewed\n",
    )
    ball = pick(lives, "ball", "failed_between")
    assert list(ball["position"]) == ["suction_left"]
    assert list(ball["lower"]) == [YEAR]
    assert list(ball["upper"]) == [7310.0]


def test_found_failed_without_any_look_lies_between_new_and_now(tmp_path):
    _, lives = lives_of(tmp_path, rebuilds=f"{HEAD}\nR2,P1,2021-01-01,planned,K50,ball\n")
    ball = pick(lives, "ball", "failed_between")
    assert list(ball["lower"]) == [0.0]
    assert list(ball["upper"]) == [YEAR]


def test_late_entry_from_the_last_renewal_before_the_window(tmp_path):
    _, lives = lives_of(
        tmp_path,
        pumps="pump_id,site,service,size_mm,fluid_kit,commissioned_on,last_fluid_renewal_on,"
        "use_per_week\nP1,north,slip,50,K50,2015-01-01,2019-01-01,70\n",
        rebuilds=f"{HEAD}\nR1,P1,2021-01-01,breakdown,K50,seat\n",
    )
    seat = pick(lives, "seat", "failed")
    assert list(seat["entry"]) == [3650.0]
    assert list(seat["lower"]) == [3650.0 + YEAR]
    assert set(seat["usage_grade"]) == {"assumed"}


def test_installed_at_an_unknown_date_yields_no_life_before_the_first_renewal(tmp_path):
    _, lives = lives_of(
        tmp_path,
        pumps="pump_id,site,service,size_mm,fluid_kit,commissioned_on,use_per_week\n"
        "P1,north,slip,50,K50,2015-01-01,70\n",
        rebuilds=f"{HEAD}\nR1,P1,2021-01-01,breakdown,K50,seat\n",
    )
    assert len(lives.table) == 10
    assert (lives.table["end_on"] == "2023-12-31").all()
    assert set(lives.now.loc[lives.now["side"] == "air", "known"]) == {"at least"}


def test_found_failed_after_late_entry_needs_a_sound_look(tmp_path):
    records, lives = lives_of(
        tmp_path,
        pumps="pump_id,site,service,size_mm,fluid_kit,commissioned_on,last_fluid_renewal_on,"
        "use_per_week\nP1,north,slip,50,K50,2015-01-01,2019-01-01,70\n",
        rebuilds=f"{HEAD}\nR1,P1,2021-01-01,planned,K50,diaphragm\n",
    )
    assert pick(lives, "diaphragm", "failed_between").empty
    assert "found_failed_unseen_before" in set(records.log.frame()["rule"])


def test_a_kept_part_keeps_its_age(tmp_path):
    _, lives = lives_of(
        tmp_path,
        rebuilds=f"{HEAD}\nR1,P1,2021-01-01,planned,K50,\n",
        findings="rebuild_id,pump_id,part,found,action\nR1,P1,seat,sound,kept\n",
    )
    assert list(pick(lives, "seat")["lower"]) == [END] * 4
    assert len(pick(lives, "ball")) == 8


def test_worn_with_the_kit_is_a_suspension_and_worn_on_condition_an_endpoint(tmp_path):
    _, lives = lives_of(
        tmp_path,
        rebuilds=f"{HEAD}\nR1,P1,2021-01-01,planned,K50,\nR2,P1,2022-01-01,inspection,none,\n",
        findings="rebuild_id,pump_id,part,position,found,action\n"
        "R1,P1,ball,,worn,renewed\nR2,P1,seat,suction_left,worn,renewed\n",
    )
    assert set(pick(lives, "ball")["outcome"]) == {"suspended"}
    worn = pick(lives, "seat", "worn")
    assert list(worn["position"]) == ["suction_left"]
    assert list(worn["lower"]) == [0.0]
    assert list(worn["upper"]) == [3650.0]


def test_same_day_repeat_is_a_failure_within_a_day(tmp_path):
    _, lives = lives_of(
        tmp_path,
        rebuilds=f"{HEAD}\nR1,P1,2021-01-01,breakdown,A50,air valve\n"
        "R2,P1,2021-01-01,breakdown,A50,air valve\n",
    )
    early = pick(lives, "air valve", "failed_between")
    assert list(early["lower"]) == [0.0]
    assert list(early["upper"]) == [10.0]


def test_a_move_to_other_duty_suspends_and_enters_late(tmp_path):
    _, lives = lives_of(tmp_path, moves="pump_id,moved_on,service\nP1,2021-01-01,glaze\n")
    seats = pick(lives, "seat")
    assert seats.groupby("service").size().to_dict() == {"glaze": 4, "slip": 4}
    slip, glaze = (seats[seats["service"] == name] for name in ("slip", "glaze"))
    assert set(slip["lower"]) == {YEAR}
    assert set(glaze["entry"]) == {YEAR}
    assert set(glaze["lower"]) == {END}


def test_an_order_that_completes_another_is_one_event(tmp_path):
    _, lives = lives_of(
        tmp_path,
        rebuilds=f"{HEAD},completes\nR1,P1,2021-01-01,breakdown,,diaphragm,\n"
        "R2,P1,2021-01-08,planned,K50,,R1\n",
    )
    failed = pick(lives, "diaphragm", "failed")
    assert list(failed["lower"]) == [YEAR]
    assert len(pick(lives, "seat")) == 8


def test_not_done_renews_nothing(tmp_path):
    _, lives = lives_of(tmp_path, rebuilds=f"{HEAD},done\nR1,P1,2021-01-01,planned,K50,,no\n")
    np.testing.assert_allclose(lives.table["lower"], END)


# ---- one of several alike, of unequal ages -------------------------------------------------------

WORN_BALL = "rebuild_id,pump_id,part,position,found,action\nR1,P1,ball,suction_left,worn,renewed\n"


def test_unequal_ages_of_n_alike_share_one_failure(tmp_path):
    """One ball of a year, three of two years: all four are candidates at their own ages."""
    records, lives = lives_of(
        tmp_path,
        rebuilds=f"{HEAD}\nR1,P1,2021-01-01,inspection,none,\nR2,P1,2022-01-01,breakdown,K50,ball\n",
        findings=WORN_BALL,
    )
    balls = pick(lives, "ball")
    shared = balls[balls["event"] >= 0]
    assert (shared["end_on"] == "2022-01-01").all()
    assert len(set(shared["event"])) == 1
    assert shared["share_failed"].sum() == pytest.approx(1.0)
    assert dict(zip(shared["position"], shared["lower"], strict=True)) == {
        "suction_left": 3650.0, "suction_right": 7310.0, "discharge_left": 7310.0,
        "discharge_right": 7310.0,
    }  # fmt: skip
    assert (lives.table.loc[lives.table["part"] != "ball", "event"] == -1).all()
    rules = records.log.frame().set_index("rule")
    assert "position_not_named" not in rules.index
    assert "shared among them" in rules.loc["position_shared", "consequence"]
    told = lives.account[lives.account["kind"] == "ticket"].set_index("rows")["status"]
    assert told["3"] == "used with an assumption"


def test_a_part_of_unknown_age_among_n_alike_takes_part_unseen(tmp_path):
    """Nobody knows the age of three balls of an old pump; the fourth was renewed in the window."""
    _, lives = lives_of(
        tmp_path,
        pumps="pump_id,site,service,size_mm,fluid_kit,commissioned_on,use_per_week\n"
        "P1,north,slip,50,K50,2015-01-01,70\n",
        rebuilds=f"{HEAD}\nR1,P1,2021-01-01,inspection,none,\nR2,P1,2022-01-01,breakdown,K50,ball\n",
        findings=WORN_BALL,
    )
    shared = lives.table[lives.table["event"] >= 0]
    assert list(shared["position"]) == ["suction_left"]
    assert list(shared["lower"]) == [3650.0]
    assert len(lives.unseen) == 3
    assert set(lives.unseen["event"]) == set(shared["event"])


def test_two_parts_that_failed_at_one_visit_are_two_events(tmp_path):
    _, lives = lives_of(
        tmp_path,
        rebuilds=f"{HEAD}\nR1,P1,2021-01-01,inspection,none,\nR2,P1,2022-01-01,breakdown,K50,ball\n"
        "R2,P1,2022-01-01,breakdown,none,seat\n",
        findings=WORN_BALL + "R1,P1,seat,suction_left,worn,renewed\n",
    )
    shared = lives.table[lives.table["event"] >= 0]
    assert shared.groupby("event")["part"].nunique().tolist() == [1, 1]
    np.testing.assert_allclose(shared.groupby("event")["share_failed"].sum(), 1.0)


def test_one_of_unequal_ages_renewed_and_nobody_wrote_which(tmp_path):
    """One failure shared at that moment, then no life until all four are renewed together."""
    _, lives = lives_of(
        tmp_path,
        rebuilds=f"{HEAD}\nR1,P1,2021-01-01,inspection,none,\nR2,P1,2022-01-01,breakdown,none,ball\n"
        "R3,P1,2022-06-01,planned,none,\nR4,P1,2023-01-01,planned,K50,\n",
        findings=WORN_BALL,
    )
    balls = pick(lives, "ball")
    ends = balls["end_on"].value_counts()
    assert (balls["event"] >= 0).sum() == ends[pd.Timestamp("2022-01-01")] == 4
    assert pd.Timestamp("2023-01-01") not in ends.index
    assert (balls.loc[balls["end_on"] == "2023-12-31", "lower"] == 3640.0).all()
    assert ends[pd.Timestamp("2023-12-31")] == 4


def test_two_failures_among_four_of_unequal_ages_are_set_aside(tmp_path):
    records, lives = lives_of(
        tmp_path,
        rebuilds=f"{HEAD}\nR1,P1,2021-01-01,inspection,none,\nR2,P1,2022-01-01,breakdown,K50,ball\n",
        findings="rebuild_id,pump_id,part,position,count,found,action\n"
        "R1,P1,ball,suction_left,,worn,renewed\nR2,P1,ball,unknown,2,failed,renewed\n",
    )
    balls = pick(lives, "ball")
    assert (balls["end_on"] == "2022-01-01").sum() == 0
    assert "position_not_named" in set(records.log.frame()["rule"])


def test_four_failures_among_four_of_unequal_ages_are_all_known(tmp_path):
    _, lives = lives_of(
        tmp_path,
        rebuilds=f"{HEAD}\nR1,P1,2021-01-01,inspection,none,\nR2,P1,2022-01-01,breakdown,K50,ball\n",
        findings="rebuild_id,pump_id,part,position,count,found,action\n"
        "R1,P1,ball,suction_left,,worn,renewed\nR2,P1,ball,unknown,4,failed,renewed\n",
    )
    failed = pick(lives, "ball", "failed")
    assert sorted(failed["lower"]) == [3650.0, 7310.0, 7310.0, 7310.0]
    assert "unknown" not in set(failed["position"])


def test_one_of_unequal_ages_found_failed_at_planned_work_lies_between_looks(tmp_path):
    _, lives = lives_of(
        tmp_path,
        rebuilds=f"{HEAD}\nR1,P1,2021-01-01,inspection,none,\nR2,P1,2022-01-01,planned,K50,ball\n",
        findings=WORN_BALL + "R1,P1,ball,suction_right,sound,kept\n",
    )
    shared = lives.table[lives.table["event"] >= 0].set_index("position")
    assert set(shared["outcome"]) == {"failed_between"}
    assert shared["lower"].to_dict() == {
        "suction_left": 0.0, "suction_right": YEAR, "discharge_left": 0.0, "discharge_right": 0.0,
    }  # fmt: skip
    assert sorted(shared["upper"]) == [3650.0, 7310.0, 7310.0, 7310.0]


def test_found_failed_among_parts_of_which_one_came_late_into_sight_is_set_aside(tmp_path):
    """The three old balls may have failed before the records began."""
    records, lives = lives_of(
        tmp_path,
        pumps="pump_id,site,service,size_mm,fluid_kit,commissioned_on,last_fluid_renewal_on,"
        "use_per_week\nP1,north,slip,50,K50,2015-01-01,2019-01-01,70\n",
        rebuilds=f"{HEAD}\nR1,P1,2021-01-01,inspection,none,\nR2,P1,2022-01-01,planned,K50,ball\n",
        findings=WORN_BALL,
    )
    assert (lives.table["event"] == -1).all()
    assert (pick(lives, "ball")["end_on"] == "2022-01-01").sum() == 0
    assert "position_not_named" in set(records.log.frame()["rule"])


def test_hours_repeated_on_one_order_count_once(tmp_path):
    _, lives = lives_of(
        tmp_path,
        rebuilds=f"{HEAD},labour_h\nR1,P1,2021-01-01,breakdown,K50,diaphragm,6\n"
        "R1,P1,2021-01-01,breakdown,A50,,6\n",
    )
    assert lives.visits["labour_h"].sum() == pytest.approx(6.0)
    assert set(lives.visits["side"]) == {"fluid", "air"}


def test_every_ticket_is_accounted_for(tmp_path):
    _, lives = lives_of(
        tmp_path,
        rebuilds=f"{HEAD}\nR1,P1,2021-01-01,breakdown,K50,diaphragm\n"
        "R2,P1,2019-01-01,planned,K50,\nR3,P1,2025-01-01,planned,K50,\n"
        "R4,P9,2021-05-01,planned,K50,\nR5,P1,2021-06-01,stoppage,,\n",
    )
    told = lives.account[lives.account["kind"] == "ticket"].set_index("rows")["status"]
    assert told.to_dict() == {
        "2": "used", "3": "set aside", "4": "set aside", "5": "set aside", "6": "used",
    }  # fmt: skip


def test_row_order_does_not_matter(tmp_path):
    rows = [
        "R1,P1,2021-01-01,breakdown,K50,diaphragm", "R2,P1,2022-03-01,planned,K50,",
        "R3,P1,2022-09-01,breakdown,none,ball", "R4,P1,2023-02-01,breakdown,A50,air valve",
    ]  # fmt: skip
    _, one = lives_of(tmp_path / "a", rebuilds="\n".join([HEAD, *rows]) + "\n")
    _, two = lives_of(tmp_path / "b", rebuilds="\n".join([HEAD, *rows[::-1]]) + "\n")
    keys = ["part", "position", "start_on", "entry", "lower", "upper", "outcome"]
    a, b = (t.table[keys].sort_values(keys).reset_index(drop=True) for t in (one, two))
    pd.testing.assert_frame_equal(a, b)


def test_usage_in_calendar_days(tmp_path):
    _, lives = lives_of(tmp_path, plant=TOML.replace("hours", "days"))
    assert set(lives.table["lower"]) == {1460.0}


def test_a_part_drawn_for_a_position_that_a_finding_names_is_that_one(tmp_path):
    _, lives = lives_of(
        tmp_path,
        rebuilds=f"{HEAD}\nR1,P1,2021-01-01,breakdown,none,diaphragm\n"
        "R2,P1,2022-01-01,breakdown,K50,diaphragm\n",
        findings="rebuild_id,pump_id,part,position,found,action\n"
        "R1,P1,diaphragm,right,failed,renewed\nR2,P1,diaphragm,left,failed,renewed\n",
        issued="issued_on,item,quantity,rebuild_id,pump_id\n2021-01-01,D50,1,R1,P1\n",
    )
    failed = pick(lives, "diaphragm", "failed").set_index("position")["lower"]
    assert failed.to_dict() == {"right": YEAR, "left": 7310.0}


def test_an_unknown_reason_renews_but_doesnt_say_who_failed(tmp_path):
    records, lives = lives_of(
        tmp_path,
        rebuilds=f"{HEAD}\nR1,P1,2021-01-01,see log,K50,diaphragm\n"
        "R2,P1,2022-01-01,breakdown,K50,diaphragm\n",
    )
    diaphragms = pick(lives, "diaphragm")
    assert list(diaphragms[diaphragms["outcome"] == "failed"]["lower"]) == [3650.0]
    assert (diaphragms["end_on"] == "2021-01-01").sum() == 1  # the other one, alive by then
    assert (pick(lives, "seat")["end_on"] == "2021-01-01").sum() == 4
    assert "reason_not_known" in set(records.log.frame()["rule"])


def test_failed_beside_the_blamed_part_lies_between_new_and_now(tmp_path):
    _, lives = lives_of(
        tmp_path,
        rebuilds=f"{HEAD}\nR1,P1,2021-01-01,breakdown,K50,diaphragm\n",
        findings="rebuild_id,pump_id,part,position,found,action\n"
        "R1,P1,diaphragm,left,failed,renewed\nR1,P1,ball,suction_left,failed,renewed\n",
    )
    assert list(pick(lives, "diaphragm", "failed")["lower"]) == [YEAR]
    ball = pick(lives, "ball", "failed_between")
    assert list(ball["lower"]) == [0.0]
    assert list(ball["upper"]) == [YEAR]


def test_found_failed_and_kept_is_a_question(tmp_path):
    records, lives = lives_of(
        tmp_path,
        rebuilds=f"{HEAD}\nR1,P1,2021-01-01,inspection,none,\n",
        findings="rebuild_id,pump_id,part,position,found,action\n"
        "R1,P1,ball,suction_left,failed,kept\n",
    )
    balls = pick(lives, "ball")
    assert sorted(balls["lower"]) == [YEAR, END, END, END]
    assert (balls["outcome"] == "suspended").all()
    assert "failed_and_kept" in set(records.log.frame()["rule"])


def test_a_part_drawn_loose_is_the_candidate_of_a_breakdown_without_a_name(tmp_path):
    _, lives = lives_of(
        tmp_path,
        rebuilds=f"{HEAD}\nR1,P1,2021-01-01,breakdown,none,\n",
        issued="issued_on,item,quantity,rebuild_id,pump_id\n2021-01-01,D50,1,R1,P1\n",
    )
    shared = lives.table[lives.table["event"] >= 0]
    assert set(shared["part"]) == {"diaphragm"}
    assert len(shared) == 2
    assert set(pick(lives, "seat")["lower"]) == {END}  # the rest keep their age


def test_fluid_that_got_out_points_to_the_parts_that_can_let_it_out(tmp_path):
    _, lives = lives_of(
        tmp_path,
        rebuilds=f"{HEAD},released\nR1,P1,2021-01-01,breakdown,K50,,air_side\n"
        "R1,P1,2021-01-01,breakdown,A50,,air_side\n",
    )
    assert set(lives.table.loc[lives.table["event"] >= 0, "part"]) == {"diaphragm"}
    assert (pick(lives, "air valve")["outcome"] == "suspended").all()


def test_no_fluid_released_points_to_the_parts_that_let_none_out(tmp_path):
    _, lives = lives_of(
        tmp_path, rebuilds=f"{HEAD},released\nR1,P1,2021-01-01,breakdown,K50,,none\n"
    )
    assert set(lives.table.loc[lives.table["event"] >= 0, "part"]) == {"ball", "seat"}
    assert (pick(lives, "diaphragm")["outcome"] == "suspended").all()


def test_parts_of_unknown_age_are_candidates_too(tmp_path):
    _, lives = lives_of(
        tmp_path,
        pumps="pump_id,site,service,size_mm,fluid_kit,commissioned_on,use_per_week\n"
        "P1,north,slip,50,K50,2015-01-01,70\n",
        rebuilds=f"{HEAD}\nR1,P1,2021-01-01,planned,none,\nR2,P1,2022-01-01,breakdown,K50,\n",
        findings="rebuild_id,pump_id,part,found,action\nR1,P1,diaphragm,worn,renewed\n",
    )
    assert set(lives.table.loc[lives.table["event"] >= 0, "part"]) == {"diaphragm"}
    assert lives.unseen.groupby("part").size().to_dict() == {"ball": 4, "seat": 4}
