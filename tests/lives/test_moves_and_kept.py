"""Moves, rotables, kept and turned parts followed by hand: 10 hours a day, see `hand`."""

import numpy as np
import pandas as pd
import pytest

from pumplife.errors import SettingError
from tests.lives.hand import TABLES, TOML, lives_of

HEAD = "rebuild_id,pump_id,opened_on,reason,kit,failed_part"
FOUND = "rebuild_id,pump_id,part,position,found,action"
END = 14600.0
YEAR = 3660.0  # hours from 2020-01-01 to 2021-01-01
TWO = 7310.0  # to 2022-01-01


def pick(lives, part, **wanted):
    table = lives.table[lives.table["part"] == part]
    for name, value in wanted.items():
        table = table[table[name] == value]
    return table


# ---- moves and rotables --------------------------------------------------------------------------


def test_nothing_runs_in_the_store_and_the_life_goes_on(tmp_path):
    _, lives = lives_of(
        tmp_path,
        moves="pump_id,moved_on,state\nP1,2021-01-01,in_store\nP1,2022-01-01,in_service\n",
    )
    seats = pick(lives, "seat")
    assert len(seats) == 4  # the same duty: one life each, not two
    np.testing.assert_allclose(seats["lower"], END - 3650.0)
    assert set(seats["end_on"]) == {pd.Timestamp("2023-12-31")}


def test_a_pump_lent_to_other_duty_through_the_store_gives_a_life_in_each(tmp_path):
    _, lives = lives_of(
        tmp_path,
        moves="pump_id,moved_on,service,state\nP1,2021-01-01,,in_store\n"
        "P1,2022-01-01,glaze,in_service\n",
    )
    slip, glaze = pick(lives, "seat", service="slip"), pick(lives, "seat", service="glaze")
    assert (set(slip["entry"]), set(slip["lower"])) == ({0.0}, {YEAR})
    assert (set(glaze["entry"]), set(glaze["lower"])) == ({YEAR}, {END - 3650.0})
    assert set(slip["outcome"]) == set(glaze["outcome"]) == {"suspended"}


def test_two_pumps_swapped_between_slots_keep_their_own_ages(tmp_path):
    """P1 goes to glaze when P2 comes from there: the part's age follows the pump, not the slot."""
    _, lives = lives_of(
        tmp_path,
        pumps="pump_id,site,service,location,size_mm,fluid_kit,commissioned_on,use_per_week\n"
        "P1,north,slip,A,50,K50,2020-01-01,70\nP2,north,glaze,B,50,K50,2020-07-01,70\n",
        moves="pump_id,moved_on,service,location\nP1,2021-01-01,glaze,B\nP2,2021-01-01,slip,A\n",
        rebuilds=f"{HEAD},location\nR1,,2022-01-01,breakdown,K50,diaphragm,A\n",
    )
    failed = pick(lives, "diaphragm", outcome="failed")
    assert list(failed["pump_id"]) == ["P2"]  # it stood at A on that day
    assert list(failed["service"]) == ["slip"]
    assert list(failed["entry"]) == [1840.0]  # run in glaze, from July to the move
    assert list(failed["lower"]) == [1840.0 + 3650.0]
    kept = pick(lives, "diaphragm", pump_id="P1", service="glaze")
    assert (list(kept["entry"]), list(kept["lower"])) == ([YEAR] * 2, [END] * 2)


def test_another_size_starts_lives_in_its_own_group(tmp_path):
    _, lives = lives_of(tmp_path, moves="pump_id,moved_on,size_mm\nP1,2021-01-01,80\n")
    seats = pick(lives, "seat")
    assert seats.groupby("size_mm")["lower"].first().to_dict() == {50.0: YEAR, 80.0: END}
    assert seats.groupby("size_mm")["entry"].first().to_dict() == {50.0: 0.0, 80.0: YEAR}


def test_a_move_that_changes_neither_service_nor_size_ends_no_life(tmp_path):
    _, lives = lives_of(tmp_path, moves="pump_id,moved_on,location\nP1,2021-01-01,B-2\n")
    assert list(pick(lives, "air valve")["lower"]) == [END]


def test_broken_down_and_moved_on_one_day_broke_down_in_the_old_duty(tmp_path):
    _, lives = lives_of(
        tmp_path,
        moves="pump_id,moved_on,service\nP1,2021-01-01,glaze\n",
        rebuilds=f"{HEAD}\nR1,P1,2021-01-01,breakdown,K50,diaphragm\n",
    )
    failed = pick(lives, "diaphragm", outcome="failed")
    assert (list(failed["service"]), list(failed["lower"])) == (["slip"], [YEAR])
    after = pick(lives, "diaphragm", service="glaze")
    assert set(after["entry"]) == {0.0}
    np.testing.assert_allclose(after["lower"], END - YEAR)


def test_found_failed_after_a_move_was_alive_only_when_last_seen(tmp_path):
    """New 2020-01-01, sound 2020-07-01, moved 2021-01-01, found failed 2022-01-01."""
    records, lives = lives_of(
        tmp_path,
        moves="pump_id,moved_on,service\nP1,2021-01-01,glaze\n",
        rebuilds=f"{HEAD}\nR1,P1,2020-07-01,inspection,none,\nR2,P1,2022-01-01,planned,K50,\n",
        findings=f"{FOUND}\nR1,P1,ball,suction_left,sound,kept\nR2,P1,ball,suction_left,failed,renewed\n"
        "R2,P1,ball,suction_right,failed,renewed\n",
    )
    slip = pick(lives, "ball", service="slip").set_index("position")["lower"]
    assert slip["suction_left"] == 1820.0  # the last look, not the move
    assert "suction_right" not in slip.index  # nobody ever looked at that one
    assert slip["discharge_left"] == YEAR
    assert pick(lives, "ball", service="glaze", outcome="failed_between").empty
    assert "found_failed_unseen_before" in set(records.log.frame()["rule"])
    account = lives.account[lives.account["key"] == "fluid side: ball suction_right"]
    assert "Nobody saw it sound between its entry and a move." in set(account["reason"])


def test_seen_sound_after_the_move_makes_the_interval_known(tmp_path):
    _, lives = lives_of(
        tmp_path,
        moves="pump_id,moved_on,service\nP1,2020-07-01,glaze\n",
        rebuilds=f"{HEAD}\nR1,P1,2021-01-01,inspection,none,\nR2,P1,2022-01-01,planned,K50,\n",
        findings=f"{FOUND}\nR1,P1,ball,suction_left,sound,kept\nR2,P1,ball,suction_left,failed,renewed\n",
    )
    ball = pick(lives, "ball", outcome="failed_between")
    assert list(ball["service"]) == ["glaze"]
    assert ball[["entry", "lower", "upper"]].to_numpy().tolist() == [[1820.0, YEAR, TWO]]
    slip = pick(lives, "ball", service="slip", position="suction_left")
    assert list(slip["lower"]) == [1820.0]


# ---- elastomers ----------------------------------------------------------------------------------

OTHER = {
    "parts": TABLES["parts"] + "D50T,diaphragm,fluid,yes,TPV,50,2,95\n",
    "kits": TABLES["kits"] + "K50T,fluid,50,TPV,400\n",
    "kit_contents": TABLES["kit_contents"] + "K50T,D50T,2\nK50T,B50,4\nK50T,S50,4\n",
}


def test_another_elastomer_fitted_at_a_rebuild_is_that_of_the_next_life(tmp_path):
    _, lives = lives_of(
        tmp_path, rebuilds=f"{HEAD}\nR1,P1,2021-01-01,breakdown,K50T,diaphragm\n", **OTHER
    )
    ends = pick(lives, "diaphragm").groupby("material")["lower"].first().to_dict()
    assert ends == {"CR": YEAR, "TPV": END - YEAR}
    assert set(pick(lives, "ball")["material"]) == {"CR"}
    now = lives.now[lives.now["part"] == "diaphragm"]
    assert set(now["material"]) == {"TPV"}


def test_a_register_behind_its_tickets_tells_what_was_there_at_first(tmp_path):
    """The register says K50, the last ticket fitted K50T: K50 is what the pump came with."""
    records, _ = lives_of(
        tmp_path, rebuilds=f"{HEAD}\nR1,P1,2021-01-01,breakdown,K50T,diaphragm\n", **OTHER
    )
    audit = records.log.frame()
    (row,) = audit[audit["rule"] == "first_kit_assumed"].to_dict("records")
    assert row["what"] == "The fluid kit of the register, K50, is not that of its last ticket."


def test_a_register_of_today_gives_the_first_ticket_its_say(tmp_path):
    """The register says K50T as the last ticket does: until its first ticket, that one's kit."""
    pumps = TABLES["pumps"].replace("K50", "K50T")
    records, lives = lives_of(
        tmp_path,
        pumps=pumps,
        rebuilds=f"{HEAD}\nR1,P1,2021-01-01,breakdown,K50,diaphragm\n"
        "R2,P1,2022-01-01,planned,K50T,\n",
        **OTHER,
    )
    starts = pick(lives, "diaphragm").groupby("start_on")["material"].first().tolist()
    assert starts == ["CR", "CR", "TPV"]
    audit = records.log.frame()
    (row,) = audit[audit["rule"] == "first_kit_assumed"].to_dict("records")
    assert row["what"] == "The fluid kit of today is another than that of its first ticket, K50."


def test_a_finding_that_names_the_new_material_wins_over_the_kit(tmp_path):
    _, lives = lives_of(
        tmp_path,
        rebuilds=f"{HEAD}\nR1,P1,2021-01-01,breakdown,K50,diaphragm\nR2,P1,2022-01-01,planned,K50,\n",
        findings=f"{FOUND},material,variant\n"
        "R1,P1,diaphragm,left,failed,renewed,PTFE,trial\n"
        "R1,P1,diaphragm,right,sound,renewed,,\n",
    )
    table = pick(lives, "diaphragm", start_on=pd.Timestamp("2021-01-01")).set_index("position")
    assert table["material"].to_dict() == {"left": "PTFE", "right": "CR"}
    assert table["variant"].to_dict() == {"left": "trial", "right": ""}
    last = pick(lives, "diaphragm", start_on=pd.Timestamp("2022-01-01"))
    assert set(last["material"]) == {"CR"}  # the kit after it


# ---- kept, cleaned, turned, in part --------------------------------------------------------------


@pytest.mark.parametrize("action", ["kept", "cleaned"])
def test_kept_or_cleaned_keeps_the_age(tmp_path, action):
    _, lives = lives_of(
        tmp_path,
        rebuilds=f"{HEAD}\nR1,P1,2021-01-01,planned,K50,\n",
        findings=f"{FOUND}\nR1,P1,seat,,sound,{action}\n",
    )
    assert list(pick(lives, "seat")["lower"]) == [END] * 4
    assert sorted(pick(lives, "ball")["lower"]) == [YEAR] * 4 + [END - YEAR] * 4


TURNED = {
    "rebuilds": f"{HEAD}\nR1,P1,2021-01-01,inspection,none,\n",
    "findings": f"{FOUND}\nR1,P1,seat,suction_left,worn,turned\n"
    "R1,P1,seat,suction_right,sound,turned\n",
}


def test_a_turned_seat_has_a_new_face_unless_the_plant_says_otherwise(tmp_path):
    records, new = lives_of(tmp_path / "new", **TURNED)
    assert "turned_parts" in set(records.log.frame()["rule"])
    seats = pick(new, "seat").groupby("position")["lower"].apply(sorted)
    assert seats["suction_right"] == [YEAR, END - YEAR]
    worn = pick(new, "seat", outcome="worn")
    assert (list(worn["position"]), list(worn["upper"])) == (["suction_left"], [YEAR])
    _, same = lives_of(tmp_path / "same", plant=TOML + '[rules]\nturned = "same"\n', **TURNED)
    assert list(pick(same, "seat")["lower"]) == [END] * 4
    assert set(pick(same, "seat")["outcome"]) == {"suspended"}


def test_the_rule_for_turned_parts_takes_two_words(tmp_path):
    with pytest.raises(SettingError, match=r'turned = "maybe" must be "new"'):
        lives_of(tmp_path, plant=TOML + '[rules]\nturned = "maybe"\n')


def test_a_part_renewed_outside_the_kit_counts_as_renewed(tmp_path):
    """The kit of the fluid side holds no air valve; a finding says that one was put in."""
    _, lives = lives_of(
        tmp_path,
        rebuilds=f"{HEAD}\nR1,P1,2021-01-01,planned,K50,\n",
        findings=f"{FOUND}\nR1,P1,air valve,,worn,renewed\n",
    )
    valve = pick(lives, "air valve").sort_values("start_on")
    assert valve["outcome"].tolist() == ["worn", "suspended"]  # on condition: no kit of its side
    assert valve["upper"].tolist()[0] == YEAR
    assert valve["lower"].tolist()[1] == END - YEAR


def test_a_kit_fitted_in_part_renews_what_did_not_come_back(tmp_path):
    """Both seats of one side went back to the store: which two, nobody wrote."""
    _, lives = lives_of(
        tmp_path,
        rebuilds=f"{HEAD}\nR1,P1,2021-01-01,planned,K50,\n",
        issued="issued_on,item,quantity,rebuild_id,pump_id\n2021-01-01,K50,1,R1,P1\n"
        "2021-01-02,S50,-4,R1,P1\n",
    )
    assert list(pick(lives, "seat")["lower"]) == [END] * 4
    assert len(pick(lives, "ball")) == 8


def test_a_kit_of_which_two_seats_came_back_ends_the_known_ages_of_all_four(tmp_path):
    _, lives = lives_of(
        tmp_path,
        rebuilds=f"{HEAD}\nR1,P1,2021-01-01,planned,K50,\n",
        issued="issued_on,item,quantity,rebuild_id,pump_id\n2021-01-01,K50,1,R1,P1\n"
        "2021-01-02,S50,-2,R1,P1\n",
    )
    assert list(pick(lives, "seat")["lower"]) == [YEAR] * 4
    seats = lives.now[lives.now["part"] == "seat"]
    assert set(seats["known"]) == {"at least"}


# ---- the doubt in usage --------------------------------------------------------------------------


def readings(*rows):
    return "pump_id,read_on,reading\n" + "".join(f"P1,{day},{hours}\n" for day, hours in rows)


def test_shares_of_usage_travel_with_the_life(tmp_path):
    """Read from 2021-01-01 to 2022-12-31: a year assumed before, two measured, one at its rate."""
    _, lives = lives_of(
        tmp_path, readings=readings(("2021-01-01", 0), ("2021-07-01", 1810), ("2022-12-31", 7290))
    )
    (row,) = pick(lives, "air valve").to_dict("records")
    assert row["lower"] == pytest.approx(END, rel=2e-3)
    shares = [row[f"{name}_share"] for name in ("measured", "bridged", "assumed")]
    np.testing.assert_allclose(shares, [7290 / END, 3650 / END, YEAR / END], rtol=4e-3)
    assert sum(shares) == pytest.approx(1.0)


def test_without_a_meter_all_is_assumed_and_in_days_all_is_measured(tmp_path):
    names = ["measured_share", "bridged_share", "assumed_share"]
    _, hours = lives_of(tmp_path / "hours")
    assert set(map(tuple, hours.table[names].to_numpy())) == {(0.0, 0.0, 1.0)}
    _, days = lives_of(tmp_path / "days", plant=TOML.replace("hours", "days"))
    assert set(map(tuple, days.table[names].to_numpy())) == {(1.0, 0.0, 0.0)}


def test_a_gap_without_a_gain_is_bridged_and_said_so(tmp_path):
    """The meter starts again without a word on 2021-07-01: that half year is bridged."""
    rows = [
        ("2020-01-01", 0), ("2021-01-01", 3660), ("2021-07-01", 10), ("2021-10-01", 930),
        ("2023-12-31", 9140),
    ]  # fmt: skip
    _, lives = lives_of(tmp_path, readings=readings(*rows))
    (row,) = pick(lives, "air valve").to_dict("records")
    assert row["bridged_share"] == pytest.approx(1810 / END, rel=5e-3)
    assert row["assumed_share"] == 0.0


# ---- the account ---------------------------------------------------------------------------------


def test_the_account_adds_up_and_gives_reasons(tmp_path):
    records, lives = lives_of(
        tmp_path,
        rebuilds=f"{HEAD},done\nR1,P1,2021-01-01,breakdown,K50,,\nR1,P1,2021-01-01,breakdown,K50,,\n"
        "R2,P1,2021-06-01,stoppage,,,\nR3,P1,2022-01-01,planned,K50,,no\n"
        "R4,P1,2022-06-01,breakdown,none,none,\nR5,P9,2022-07-01,planned,K50,,\n",
        findings=f"{FOUND}\nR2,P1,seat,suction_left,sound,kept\nR9,P1,seat,,sound,kept\n"
        "R2,P1,ball,front,sound,kept\nR2,P1,manifold,,sound,kept\nR3,P1,ball,,sound,kept\n"
        "R5,P9,ball,,sound,kept\nR2,P1,ball,unknown,sound,kept\n",
    )
    account = lives.account
    assert account.groupby("kind")["count"].sum().to_dict() == {
        "ticket": 6, "finding": 7, "position": len(lives.table),
    }  # fmt: skip
    told = account.set_index(["kind", "rows"])["status"].to_dict()
    assert [told["ticket", str(row)] for row in range(2, 8)] == [
        "used with an assumption", "set aside", "used", "set aside", "used", "set aside",
    ]  # fmt: skip
    why = account[account["kind"] == "ticket"].set_index("rows")["reason"]
    assert why["5"] == "The work was not done."
    assert why["6"] == "No life ended here. The ticket says that no part failed."
    aside = account[(account["kind"] == "finding") & (account["status"] == "set aside")]
    assert set(aside["rows"]) >= {"3", "5", "6", "7"}
    audit = records.log.frame()
    sums = audit[audit["rule"] == "account"]
    assert len(sums) == 3
    assert set(sums["severity"]) == {"note"}


def test_a_breakdown_whose_part_has_no_known_age_says_so(tmp_path):
    _, lives = lives_of(
        tmp_path,
        pumps="pump_id,site,service,size_mm,fluid_kit,commissioned_on,use_per_week\n"
        "P1,north,slip,50,K50,2015-01-01,70\n",
        rebuilds=f"{HEAD}\nR1,P1,2021-01-01,breakdown,K50,seat\n",
    )
    (ticket,) = lives.account[lives.account["kind"] == "ticket"].to_dict("records")
    assert ticket["status"] == "used"
    assert ticket["reason"].endswith(
        "No failure counts: the age of the part that failed isn't known."
    )
    stretch = lives.account[lives.account["kind"] == "position"]
    assert stretch.groupby("status")["count"].sum().to_dict() == {
        "set aside": 11, "used with an assumption": 10,
    }  # fmt: skip
