"""What a new plant's first folder looks like: one thing wrong at a time, and the words for it."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import xlsxwriter

from pumplife.errors import FolderError, SettingError
from pumplife.lives.build import build_lives
from pumplife.records.amounts import inspection_of
from pumplife.records.duty import build_duty
from pumplife.records.phrases import count_are, count_of, find_near, list_some, mapping_line
from pumplife.records.read import read_records
from pumplife.records.usage import build_clock

PUMPS = "pump_id,site,service,use_per_week\n"
HEADING = "rebuild_id,pump_id,opened_on,reason,kit,failed_part\n"


def _audit(records, rule):
    rows = records.log.frame()
    return rows[rows["rule"].eq(rule)].reset_index(drop=True)


# ---- words ---------------------------------------------------------------------------------------


def test_counts_have_their_plural():
    assert [count_of(number, "row") for number in (0, 1, 2)] == ["0 rows", "1 row", "2 rows"]
    assert count_are(1, "reading") == "1 reading is"
    assert count_are(3, "reading") == "3 readings are"


def test_only_a_near_spelling_is_suggested():
    reasons = ("breakdown", "planned", "inspection")
    assert find_near("Break-Down", reasons) == "breakdown"
    assert find_near("PM", reasons) == ""
    assert mapping_line("rebuilds.reason", "PM", reasons) == (
        '[codes.rebuilds.reason] "PM" = one of breakdown, planned, inspection'
    )
    assert mapping_line("rebuilds.reason", "brkdwn", reasons) == (
        '[codes.rebuilds.reason] "brkdwn" = "breakdown" (one of breakdown, planned, inspection)'
    )
    assert '"2\\" ball" = one of' in mapping_line("findings.part", '2" ball', reasons)


def test_long_lists_are_cut_and_the_nearest_comes_first():
    names = [f"part {letter}" for letter in "abcdefghij"]
    assert list_some(names, "part j").startswith("part j, part a")
    assert list_some(names).count(",") == 8
    assert list_some(names).endswith(", ...")


# ---- codes ---------------------------------------------------------------------------------------


def test_an_unknown_hazard_is_taken_as_hazardous(write_plant, small_tables):
    pumps = small_tables["pumps"].replace("use_per_week\n", "use_per_week,hazard\n")
    lines = pumps.splitlines()
    cells = ("", ",toxic", ",None", ",")
    pumps = "\n".join(line + cell for line, cell in zip(lines, cells, strict=True))
    records = read_records(write_plant(pumps=pumps))
    assert list(records.pumps["hazard"]) == ["hazardous", "none", ""]
    row = _audit(records, "unreadable_code").loc[0]
    assert row["severity"] == "caution"
    assert row["consequence"] == "Taken as hazardous until plant.toml says what it means."
    assert '[codes.pumps.hazard] "toxic" = "hazardous"' in row["remedy"]
    assert "none" not in row["remedy"]


def test_an_unknown_hazard_in_moves_is_taken_as_hazardous(write_plant):
    moves = "pump_id,moved_on,hazard\nP1,2022-01-01,acid!\nP2,2022-01-01,\n"
    records = read_records(write_plant(moves=moves))
    stints = build_duty(records).stints
    assert stints.loc[stints["pump"].eq(0), "hazard"].tolist() == ["", "hazardous"]
    assert stints.loc[stints["pump"].eq(1), "hazard"].tolist() == ["", ""]


def test_what_a_hazard_means_can_be_said(write_plant, small_settings):
    settings = small_settings + '[codes.moves.hazard]\n"water" = "none"\n'
    moves = "pump_id,moved_on,hazard\nP1,2022-01-01,Water\n"
    records = read_records(write_plant(settings, moves=moves))
    assert list(records.table("moves")["hazard"]) == ["none"]
    assert _audit(records, "unreadable_code").empty


def test_an_unknown_reason_lists_the_choices_and_suggests_no_wrong_one(write_plant, small_tables):
    text = small_tables["rebuilds"].replace(",planned,", ",PM,")
    row = _audit(read_records(write_plant(rebuilds=text)), "unreadable_code").loc[0]
    assert '"PM" = one of breakdown, planned, inspection, stoppage, modification' in row["remedy"]
    assert '= "breakdown"' not in row["remedy"]


def test_an_unknown_part_lists_the_known_ones_nearest_first(write_plant, small_tables):
    text = small_tables["rebuilds"].replace("FK,diaphragm", "FK,seet")
    findings = "rebuild_id,part,found,action\nR2,gizmo,worn,renewed\n"
    records = read_records(write_plant(rebuilds=text, findings=findings))
    rows = _audit(records, "unknown_part").set_index("table")["remedy"]
    assert rows["rebuilds"] == (
        "Add it to parts, or say in plant.toml which part it is: [codes.rebuilds.failed_part] "
        '"seet" = "seat" (one of seat, diaphragm, ball, air valve).'
    )
    assert '"gizmo" = one of diaphragm, ball, seat, air valve' in rows["findings"]


def tickets_of(write_plant, written, ids=("BL-11", "BL-12")):
    pumps = PUMPS + "".join(f"{name},north,slip,70\n" for name in ids)
    rebuilds = f"{HEADING}R1,{ids[-1]},2021-01-01,planned,,\nR2,{written},2021-01-01,planned,,\n"
    return read_records(write_plant(pumps=pumps, rebuilds=rebuilds, readings=None))


@pytest.mark.parametrize("written", ["bl 11", "BL_11", "BL11", "bl-11"])
def test_pump_ids_are_compared_without_case_blanks_and_hyphens(write_plant, written):
    records = tickets_of(write_plant, written)
    assert records.table("rebuilds")["pump_id"].tolist() == ["BL-12", "BL-11"]
    assert not records.log.frame()["rule"].eq("unknown_pump").any()
    said = _audit(records, "spelling")["what"].tolist()
    told = [f'rebuilds.pump_id: "{written}" is read as "BL-11".']
    assert said == ([] if written == "bl-11" else told)


@pytest.mark.parametrize(("written", "closest"), [("BL-l1", "BL-11"), ("XY-99", ""), ("BL-47", "")])
def test_another_pump_id_is_set_aside_and_the_closest_named(write_plant, written, closest):
    row = _audit(tickets_of(write_plant, written), "unknown_pump").loc[0]
    assert row["what"] == f"There is no pump {written} in pumps."
    told = "Add the pump to pumps or correct the id"
    assert row["remedy"] == (f"{told}; the closest is {closest}." if closest else f"{told}.")


def test_a_pump_id_that_two_pumps_could_mean_is_set_aside(write_plant):
    records = tickets_of(write_plant, "BL11", ids=("BL-11", "BL-1-1", "BL-12"))
    assert _audit(records, "unknown_pump")["row"].tolist() == [3]
    assert records.table("rebuilds")["pump_id"].tolist() == ["BL-12"]


# ---- dates and numbers ---------------------------------------------------------------------------


def test_day_numbers_of_a_spreadsheet_are_read_with_one_note(write_plant):
    text = f"{HEADING}R1,P1,44200,breakdown,FK,\nR2,P2,44201,planned,FK,\n"
    records = read_records(write_plant(rebuilds=text))
    assert list(records.table("rebuilds")["opened_on"]) == [
        pd.Timestamp("2021-01-04"),
        pd.Timestamp("2021-01-05"),
    ]
    note = _audit(records, "serial_dates")
    assert list(note["severity"]) == ["note"]
    assert "opened_on holds the day numbers" in note["what"][0]
    assert "44200 is 2021-01-04" in note["what"][0]


def test_a_bad_date_has_one_row_that_says_what_became_of_it(write_plant):
    text = (
        "rebuild_id,pump_id,opened_on,reason,closed_on\n"
        "R1,P1,soon,planned,2021-03-04\nR2,P1,later,planned,\nR3,P1,now,planned,then\n"
        "R4,P1,,planned,\n"
    )
    records = read_records(write_plant(rebuilds=text))
    assert list(records.table("rebuilds")["rebuild_id"]) == ["R1"]
    bad = _audit(records, "unreadable_date").sort_values(["row", "what"])
    opened = bad[bad["what"].str.contains("opened_on")]
    assert list(opened["row"]) == [2, 3, 4]
    assert list(opened["consequence"]) == [
        "closed_on stands in.",
        "The row is set aside.",
        "The row is set aside.",
    ]
    assert list(bad.loc[bad["what"].str.contains("closed_on"), "row"]) == [4]
    blank = _audit(records, "blank_cell")
    assert list(blank["row"]) == [5]
    assert list(blank["what"]) == ["opened_on is blank and no closed_on stands in."]


def test_no_stand_in_is_named_where_there_is_no_such_column(write_plant, small_tables):
    text = small_tables["rebuilds"].replace("2020-03-04", "soon")
    records = read_records(write_plant(rebuilds=text))
    rows = records.log.frame().query("row == 2 and table == 'rebuilds'")
    assert list(rows["consequence"]) == ["The row is set aside."]


def test_an_adopted_interval_that_cannot_be_read_never_means_run_to_failure(write_plant):
    heading = "service,side,interval,decided_by,decided_on\n"
    rows = "".join(
        f"s{at},fluid,{word},A,2021-01-01\n" for at, word in enumerate(("8000 h", "-1", "", "900"))
    )
    records = read_records(write_plant(adopted=heading + rows))
    kept = records.table("adopted").set_index("service")["interval"]
    assert list(kept.index) == ["s2", "s3"]
    assert np.isnan(kept["s2"])
    assert kept["s3"] == 900.0
    told = _audit(records, "unreadable_number")
    assert set(told["consequence"]) == {"The row is set aside."}
    assert told["remedy"].str.contains("a blank means: run to failure").all()


def test_a_number_too_large_to_be_true_counts_as_not_written(write_plant, small_tables):
    text = small_tables["rebuilds"].replace(",4.5", ",1e308")
    records = read_records(write_plant(rebuilds=text))
    assert np.isnan(records.table("rebuilds")["labour_h"][0])
    assert "is too large to be true" in _audit(records, "unreadable_number")["what"][0]


def test_a_limit_that_cannot_be_read_never_means_no_limit(write_plant, small_tables):
    lines = small_tables["pumps"].splitlines()
    cells = (",max_fluid_interval", ",4000 h", ",none", ",5000")
    pumps = "\n".join(line + cell for line, cell in zip(lines, cells, strict=True))
    records = read_records(write_plant(pumps=pumps))
    assert not records.fatal
    assert records.withheld == {"intervals", "stock", "budget"}
    row = _audit(records, "unreadable_limit").loc[0]
    assert (row["severity"], row["row"]) == ("stop", 2)
    assert "a blank means: no limit" in row["remedy"]
    good = read_records(write_plant(pumps=pumps.replace("4000 h", "4000")))
    assert good.withheld == set()
    np.testing.assert_array_equal(good.pumps["max_fluid_interval"], [4000.0, np.nan, 5000.0])


def test_a_slip_is_named_with_its_neighbours_as_the_meter_shows_them(write_plant):
    readings = (
        "pump_id,read_on,reading,new_meter_start,multiplier\nP1,2021-01-01,10,,10\n"
        "P1,2021-01-11,20,30,10\nP1,2021-01-21,300,,10\nP1,2021-01-31,50,,10\n"
        "P1,2021-02-10,60,,10\n"
    )
    records = read_records(write_plant(readings=readings))
    build_clock(records, build_duty(records))
    assert list(_audit(records, "meter_slip")["what"]) == [
        "The reading 300 of 2021-01-21 doesn't fit 30 of 2021-01-11 before it and 50 of "
        "2021-01-31 after it."
    ]


# ---- nothing left --------------------------------------------------------------------------------


def test_no_ticket_left_stops_with_the_commonest_reason(write_plant):
    text = HEADING + "".join(f"R{at},Q{at},2021-01-01,planned,,\n" for at in range(3))
    records = read_records(write_plant(rebuilds=f"{text}R9,P1,soon,planned,,\n"))
    assert records.fatal
    row = _audit(records, "no_ticket").loc[0]
    assert row["severity"] == "stop"
    assert row["what"] == (
        "Each of the 4 rows of rebuilds is set aside. Most often (3 rows), as in row 2: "
        "There is no pump Q0 in pumps."
    )
    assert "Add the pump to pumps" in row["remedy"]


def test_tickets_all_outside_the_window_stop_and_point_to_it(write_plant, small_tables):
    text = "\n".join(small_tables["rebuilds"].splitlines()[:2]).replace("2020", "2011")
    records = read_records(write_plant(rebuilds=text))
    assert records.fatal
    row = _audit(records, "no_ticket").loc[0]
    assert "The only row of rebuilds is set aside" in row["what"]
    assert "outside the records (2020-01-01 to 2023-12-31)" in row["what"]
    assert "records_from or records_to" in row["remedy"]


@pytest.mark.parametrize(("lost", "told"), [(2, 0), (3, 1)])
def test_a_caution_tells_when_more_than_half_of_the_tickets_are_lost(write_plant, lost, told):
    text = HEADING + "".join(
        f"R{at},{'Q' if at < lost else 'P'}1,2021-01-0{at + 1},planned,,\n" for at in range(4)
    )
    records = read_records(write_plant(rebuilds=text))
    assert not records.fatal
    rows = _audit(records, "most_tickets_aside")
    assert list(rows["severity"]) == ["caution"] * told
    assert rows["what"].str.startswith("3 of 4 rows of rebuilds can't be used.").all()


def test_no_pump_left_stops(write_plant):
    records = read_records(write_plant(pumps=f"{PUMPS},north,slip,70\n"))
    assert records.fatal
    assert "pump_id is blank" in _audit(records, "no_pump")["what"][0]


# ---- kits that only tickets name -----------------------------------------------------------------

FIRST_MONTHS = (2, 5, 8, 11)


def _bare_plant(folder: Path, rebuilds: str, **more: str) -> Path:
    (folder / "plant.toml").write_text(
        "[plant]\nrecords_from = 2020-01-01\nrecords_to = 2021-12-31\n"
    )
    pumps = "".join(f"P{at},north,slip,70\n" for at in (1, 2, 3))
    for name, text in {"pumps": PUMPS + pumps, "rebuilds": HEADING + rebuilds, **more}.items():
        (folder / f"{name}.csv").write_text(text)
    return folder


def _ten_tickets() -> str:
    days = [(pump, f"202{year}-{month:02d}-10") for pump in (1, 2, 3)
            for year in (0, 1) for month in FIRST_MONTHS[:2]][:10]  # fmt: skip
    return "".join(
        f"R{at},P{pump},{day},breakdown,{'KA' if at == 9 else 'KF'},"
        f"{'pilot valve' if at == 9 else 'diaphragm'}\n"
        for at, (pump, day) in enumerate(days)
    )


def test_ten_tickets_and_three_pumps_give_lives_that_end_at_tickets(tmp_path):
    records = read_records(_bare_plant(tmp_path, _ten_tickets()))
    assert not records.fatal
    assert records.table("kits").set_index("kit")["side"].to_dict() == {"KA": "air", "KF": "fluid"}
    told = _audit(records, "kit_side_assumed")
    assert list(told["severity"]) == ["caution", "caution"]
    assert told["what"][1] == (
        "No table lists kit KF, named on 9 orders: of the parts blamed on them 9 fluid and 0 air."
    )
    assert told["consequence"][1] == "Kit KF is taken to renew the fluid side."
    assert "Write a table kits" in told["remedy"][1]
    duty = build_duty(records)
    lives = build_lives(records, duty, build_clock(records, duty)).table
    ended = lives[lives["outcome"].eq("failed")]
    assert len(ended) == 6  # nine fluid breakdowns, three of them a pump's first: age not known
    assert set(ended["part"]) == {"diaphragm"}
    assert set(ended["end_on"].astype(str).str[:10]) <= {
        "2020-05-10", "2021-02-10", "2021-05-10",
    }  # fmt: skip
    suspended = lives[lives["outcome"].eq("suspended") & lives["part"].eq("ball")]
    assert suspended["end_on"].nunique() >= 3


@pytest.mark.parametrize(
    ("blamed", "kit", "side"),
    [
        (("air valve", "muffler", "diaphragm"), "K", "air"),
        (("rod seal", "diaphragm"), "K", "fluid"),
        (("valve ball", "", ""), "K", "fluid"),
        (("", "none"), "K", "fluid"),
        (("", ""), "AIR-50", "air"),
        (("", ""), "REPAIR-50", "fluid"),
    ],
)
def test_the_side_of_a_kit_is_that_of_the_parts_blamed(tmp_path, blamed, kit, side):
    rows = [f"R{at},P1,2020-0{at + 1}-10,breakdown,{kit},{x}\n" for at, x in enumerate(blamed)]
    records = read_records(_bare_plant(tmp_path, "".join(rows)))
    kits = records.table("kits").set_index("kit")["side"]
    assert kits.to_dict() == {kit: side}
    held = set(records.table("kit_contents")["part_no"])
    assert held == {f"{part} ({kit})" for part in (
        ("diaphragm", "ball", "seat") if side == "fluid" else ("air valve",)
    )}  # fmt: skip


def test_kits_on_tickets_are_filled_from_the_parts_that_the_plant_lists(tmp_path):
    parts = (
        "part_no,part,side,per_pump,unit_cost\nD,diaphragm,fluid,2,40\nB,ball,fluid,4,10\n"
        "H,bellows,air,1,60\n"
    )
    rebuilds = (
        "R1,P1,2020-02-10,breakdown,K1,bellows\nR2,P1,2020-03-10,planned,K2,\n"
        "R3,P1,2020-04-10,planned,K3,\n"
    )
    contents = "kit,part_no,quantity\nK3,H,1\n"
    folder = _bare_plant(tmp_path, rebuilds, parts=parts, kit_contents=contents)
    records = read_records(folder)
    assert records.table("kits").set_index("kit")["side"].to_dict() == {
        "K1": "air",
        "K2": "fluid",
        "K3": "air",
    }
    held = records.table("kit_contents").groupby("kit")["part_no"].agg(set).to_dict()
    assert held == {"K1": {"H"}, "K2": {"D", "B"}, "K3": {"H"}}
    assert _audit(records, "unknown_kit").empty


def test_without_any_kit_name_the_usual_parts_are_loose(tmp_path):
    records = read_records(_bare_plant(tmp_path, "R1,P1,2020-02-10,breakdown,,diaphragm\n"))
    assert records.table("kits").empty
    assert list(records.table("parts")["part_no"]) == ["diaphragm", "ball", "seat", "air valve"]


def test_a_blamed_part_of_a_side_without_a_kit_is_known(tmp_path):
    rows = "R1,P1,2020-02-10,breakdown,K,diaphragm\nR2,P1,2020-05-10,breakdown,,air valve\n"
    records = read_records(_bare_plant(tmp_path, rows))
    assert "air valve" in set(records.table("parts")["part_no"])
    assert list(records.table("rebuilds")["failed_part"]) == ["diaphragm", "air valve"]


# ---- settings and files --------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ("[costs]\nholding_per_year = 18", "holding_per_year = 18 .* write 18 % as 0.18"),
        ("[costs]\ndiscount_per_year = 6", "write 6 % as 0.06"),
        ("[costs]\nopening_fault_probability = 2.5", "write 2.5 % as 0.025"),
        ('[costs.service."a"]\nfoul_air_side_probability = 30', "write 30 % as 0.3"),
        ("[targets]\nhazardous_failure_probability = 5", "write 5 % as 0.05"),
        ("[targets]\nhazardous_failure_probability = 0", "above 0 and below 1"),
        ("[targets]\nservice_level = -0.1", "must be a share, a number from 0 to 1"),
        ("[costs]\nspill = -3.0", "spill = -3.0 must be a number, 0 or more"),
        ("[costs]\nspill = inf", "must be a number"),
        ("[work.fluid]\nplanned_labour_h = -1", "planned_labour_h = -1 must be"),
        ("[costs]\nspill = true", "must be a number"),
        ("[costs]\nservice = 3", r"costs\.service must be a section"),
        ("[inspection]\ndetection = 70", "write 70 % as 0.7"),
        (
            "[inspection]\ndelay_share = { ball = 1.5 }",
            r"ball. delay_share = 1.5 must",
        ),
        ("[inspection]\nlabour_h = -1", "labour_h = -1 must be a number, 0 or more"),
        ("[work.together]\nplanned_labour_h = -1", "planned_labour_h = -1 must be"),
    ],
)
def test_amounts_that_cannot_be_are_refused(write_plant, line, words):
    with pytest.raises(SettingError, match=words):
        read_records(write_plant(line))


def test_amounts_at_the_edge_are_taken(write_plant, small_settings):
    settings = small_settings.replace("[costs]", "[costs]\nholding_per_year = 1\nspill = 0")
    plant = read_records(write_plant(settings)).plant
    assert plant.cost("holding_per_year") == 1.0
    assert plant.cost("spill") == 0.0


def test_a_delay_may_be_one_for_all_or_one_for_each_part(write_plant):
    line = "[inspection]\ndetection = 0.7\ndelay_share = "
    one = read_records(write_plant(line + "0.2")).plant
    assert inspection_of(one.raw, "ball")["delay_share"] == 0.2
    each = read_records(write_plant(line + "{ ball = 0.1 }")).plant
    assert inspection_of(each.raw, "ball")["delay_share"] == 0.1
    seat = inspection_of(each.raw, "seat")
    assert seat["delay_share"] == 0.0
    assert seat["detection"] == 0.7
    assert np.isnan(seat["labour_h"])


@pytest.mark.parametrize("blank", ["", '""', '"  "'])
def test_a_plant_without_name_and_currency_has_stand_ins(write_plant, blank):
    lines = f"name = {blank}\ncurrency = {blank}\n" if blank else ""
    plant = read_records(write_plant(f"[plant]\n{lines}records_to = 2023-12-31\n")).plant
    assert (plant.name, plant.currency) == ("This plant", "money")


@pytest.mark.parametrize("name", ["plant.toml", "rebuilds.csv", "moves.xlsx"])
def test_a_file_that_may_not_be_opened_is_said_in_one_sentence(write_plant, monkeypatch, name):
    folder = write_plant()
    if name.endswith("xlsx"):
        xlsxwriter.Workbook(folder / name).close()
    read = Path.read_bytes

    def refuse(path: Path) -> bytes:
        if path.name == name:
            raise PermissionError(13, "Permission denied")
        return read(path)

    monkeypatch.setattr(Path, "read_bytes", refuse)
    with pytest.raises(FolderError) as caught:
        read_records(folder)
    assert str(caught.value) == (
        f"The file {name} can't be opened (Permission denied): close it where it is open and "
        "check that you may read it."
    )


@pytest.mark.parametrize("step", ["exists", "iterdir"])
def test_a_folder_that_may_not_be_opened_is_said_in_one_sentence(write_plant, monkeypatch, step):
    folder = write_plant()

    def refuse(path: Path) -> bool:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, step, refuse)
    with pytest.raises(FolderError, match=r"can't be opened \(Permission denied\)"):
        read_records(folder)


def test_no_words_of_a_library_reach_the_reader(write_plant, tmp_path):
    folder = write_plant(readings=None)
    (folder / "readings.xlsx").write_bytes(b"no workbook at all")
    (tmp_path / "plant.xlsx").write_bytes(b"PK\x03\x04 cut off")
    for path, name in ((folder, "readings.xlsx"), (tmp_path / "plant.xlsx", "plant.xlsx")):
        with pytest.raises(FolderError) as caught:
            read_records(path)
        assert str(caught.value) == (
            f"The file {name} can't be opened, as it isn't a workbook that can be read: take off "
            "its password, if it has one, and save it again as .xlsx."
        )
