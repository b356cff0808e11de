"""Reading plant folders: what is accepted, and the words when something isn't."""

import numpy as np
import pandas as pd
import pytest
import xlsxwriter

from pumplife.errors import FolderError, SettingError
from pumplife.records.read import read_records

from .conftest import SETTINGS


def _audit(records, rule, severity=None):
    rows = records.log.frame()
    rows = rows[rows["rule"].eq(rule)]
    return rows if severity is None else rows[rows["severity"].eq(severity)]


def _words(records, rule):
    return " ".join(_audit(records, rule)["what"])


def test_a_good_plant_reads_without_a_caution(write_plant):
    records = read_records(write_plant())
    assert not records.fatal
    assert records.withheld == set()
    assert set(records.log.frame()["severity"]) == {"note"}
    assert list(records.pumps["pump"]) == [0, 1, 2]
    assert list(records.table("rebuilds")["pump"]) == [0, 1, 2]
    assert list(records.table("rebuilds")["row"]) == [2, 3, 4]
    assert records.plant.cost("labour_per_h") == 50.0
    assert set(records.hashes) == {
        "plant.toml",
        *(f"{n}.csv" for n in ("pumps", "rebuilds", "readings", "kits", "parts", "kit_contents")),
    }
    assert "3 pumps" in repr(records)


def test_a_missing_folder_is_said_in_words(tmp_path):
    with pytest.raises(FolderError, match="There is no folder or workbook"):
        read_records(tmp_path / "nowhere")


def test_a_single_csv_is_not_a_plant(write_plant):
    with pytest.raises(FolderError, match=r"pumps\.csv is neither a folder nor an \.xlsx"):
        read_records(write_plant() / "pumps.csv")


def test_an_empty_folder_stops_and_names_both_tables(tmp_path):
    records = read_records(tmp_path)
    assert records.fatal
    assert "no table pumps" in _words(records, "missing_table")
    assert "no table rebuilds" in _words(records, "missing_table")
    assert "until which day" in _words(records, "records_to")


def test_a_missing_column_stops_and_lists_the_headings(write_plant):
    records = read_records(write_plant(rebuilds="Order,Pump,reason\nR1,P1,breakdown\n"))
    assert records.fatal
    words = _words(records, "missing_column")
    assert "rebuilds.csv has no column rebuild_id" in words
    assert "Order, Pump, reason" in words
    remedy = _audit(records, "missing_column")["remedy"].iloc[0]
    assert '[columns.rebuilds] "..." = "rebuild_id"' in remedy


@pytest.mark.parametrize("text", ["", "rebuild_id,pump_id,opened_on,reason\n"])
def test_an_empty_rebuilds_file_stops(write_plant, text):
    records = read_records(write_plant(rebuilds=text))
    assert records.fatal
    assert "rebuilds.csv has no rows" in _words(records, "empty_file")


def test_an_empty_optional_file_does_no_harm(write_plant):
    records = read_records(write_plant(moves="pump_id,moved_on\n", events=""))
    assert not records.fatal
    assert records.table("moves").empty


def test_a_binary_file_stops_in_words(write_plant):
    records = read_records(write_plant(readings=b"\x00\x01\x02" * 50))
    assert records.fatal
    assert "readings.csv isn't text" in _words(records, "unreadable_file")


def test_a_workbook_with_a_text_name_stops_in_words(write_plant):
    records = read_records(write_plant(readings=b"PK\x03\x04 rest"))
    assert "rename it to .xlsx" in _words(records, "unreadable_file")


def test_a_quotation_mark_never_closed_stops_in_words(write_plant):
    records = read_records(write_plant(readings='pump_id,read_on,reading\nP1,"2020-01-01,5\nP1,2'))
    assert records.fatal
    assert "never closed" in _words(records, "unreadable_file")


def test_a_broken_workbook_is_said_in_words(write_plant):
    folder = write_plant(readings=None)
    (folder / "readings.xlsx").write_bytes(b"no workbook at all")
    with pytest.raises(FolderError, match=r"readings\.xlsx .*isn't a workbook that can be read"):
        read_records(folder)


def test_a_spoilt_settings_line_is_named(write_plant):
    with pytest.raises(SettingError, match=r"plant\.toml can't be understood.*line 1"):
        read_records(write_plant("name = works"))


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ('[costs]\nlabour_per_h = "abc"', r"\[costs\] labour_per_h = 'abc' must be a number"),
        (
            "[targets]\nservice_level = 95",
            r"service_level = 95 must be .*; write 95 % as 0\.95",
        ),
        ('[plant]\nusage_unit = "strokes"', "must be one of hours, cycles, days"),
        ('[plant]\nrecords_to = "31.12.2025"', "isn't a date; write it like 2025-12-31"),
        ("[plant]\nrecords_from = 2025-01-01\nrecords_to = 2024-01-01", "is after records_to"),
        ('[calendar]\noutages = "2025-01-01"', "must be a list"),
        ('plant = "works"', "must be a section"),
        ("[plant.site]\nworks = 3", r"plant\.site\.works must be a section"),
        ("[calendar]\nsite = 4", r"calendar\.site must be a section"),
        ('[calendar.site]\n"north works" = 3', r'calendar\.site\."north works" must be a section'),
        ('[columns]\nrebuilds = "x"', r"columns\.rebuilds must be a section"),
        ('[codes]\nrebuilds = "x"', r"codes\.rebuilds must be a section"),
        ('[codes.rebuilds]\nreason = "x"', r"codes\.rebuilds\.reason must be a section"),
        ("[text]\nrebuilds = 1", r"text\.rebuilds must be a section"),
        ("[budget]\nprice_rise = 3", r"budget\.price_rise must be a section"),
        ('[budget]\nprice_rise = { kits = "3 %" }', r"\[budget.price_rise\] kits = '3 %'"),
        ('[files]\nrebuilds = "gone.csv"', r"there is no file gone\.csv"),
    ],
)
def test_a_setting_that_cannot_be_used_is_named(write_plant, line, words):
    with pytest.raises((SettingError, FolderError), match=words):
        read_records(write_plant(line))


def test_an_unknown_setting_suggests_the_right_one(write_plant, small_settings):
    settings = small_settings.replace("downtime_per_h", "downtime_per_hour")
    records = read_records(write_plant(settings))
    row = _audit(records, "unknown_setting", "caution").iloc[0]
    assert "downtime_per_hour is not a setting" in row["what"]
    assert row["remedy"] == "Did you mean downtime_per_h?"


def test_costs_of_an_unknown_service_are_cautioned(write_plant, small_settings):
    records = read_records(write_plant(small_settings + '[costs.service."slipp"]\nspill = 3.0\n'))
    row = _audit(records, "unknown_setting").iloc[0]
    assert 'Did you mean "slip"?' in row["remedy"]


def test_a_service_overrides_costs(write_plant, small_settings):
    extra = '[costs.service."slip"]\ndowntime_per_h = 7.0\n'
    plant = read_records(write_plant(small_settings + extra)).plant
    assert plant.cost("downtime_per_h", "slip") == 7.0
    assert plant.cost("downtime_per_h", "glaze") == 100.0
    assert np.isnan(plant.cost("spill", "slip"))
    assert np.isnan(plant.work("fluid")["planned_labour_h"])


def test_sites_may_have_their_own_window(write_plant, small_settings):
    extra = '[plant.site."south"]\nrecords_from = 1970-01-11\n'
    plant = read_records(write_plant(small_settings + extra)).plant
    assert plant.window("south")[0] == 10.0
    assert plant.window("north")[0] == (pd.Timestamp("2020-01-01") - pd.Timestamp(0)).days


def test_a_semicolon_file_of_the_store_reads_like_ours(write_plant, small_settings, small_tables):
    settings = small_settings + (
        '[files]\nrebuilds = "Aufträge 2023.csv"\n'
        '[columns.rebuilds]\n"Auftrag" = "rebuild_id"\n"Pumpe" = "pump_id"\n"Datum" = "opened_on"\n'
        '"Grund" = "reason"\n"Stunden" = "labour_h"\n"Teil" = "failed_part"\n'
        '[codes.rebuilds.reason]\n"Störung" = "breakdown"\n'
        '[codes.rebuilds.failed_part]\n"Membrane" = "diaphragm"\n'
    )
    folder = write_plant(settings, rebuilds=None)
    text = "Auftrag;Pumpe;Datum;Grund;KIT;Teil;Stunden\r\n\r\n"
    text += "R1;P1;04.03.2020;störung;FK;Membrane;4,5\r\n"
    text += "R2;P2;27.06.2021;planned;FK;none;3\r\n"
    (folder / "Aufträge 2023.csv").write_bytes(text.encode("cp1252"))
    records = read_records(folder)
    rebuilds = records.table("rebuilds")
    assert list(rebuilds["reason"]) == ["breakdown", "planned"]
    assert list(rebuilds["failed_part"]) == ["diaphragm", "none"]
    assert list(rebuilds["labour_h"]) == [4.5, 3.0]
    assert rebuilds["opened_on"][0] == pd.Timestamp("2020-03-04")
    assert list(rebuilds["row"]) == [3, 4]
    assert "western code page" in _words(records, "encoding")


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16"])
def test_encodings_read_alike(write_plant, small_tables, encoding):
    text = small_tables["pumps"].replace("glaze", "Glasur größer")
    records = read_records(write_plant(pumps=text.encode(encoding)))
    assert records.pumps["service"][2] == "Glasur größer"


def test_quoted_line_breaks_and_stray_quotes(write_plant):
    text = (
        "rebuild_id,pump_id,opened_on,reason,note\n"
        'R1,P1,2020-03-04,breakdown,"torn,\nleaked"\n'
        'R2,P2,2021-06-07,planned,2" valve\n'
    )
    rebuilds = read_records(write_plant(rebuilds=text)).table("rebuilds")
    assert list(rebuilds["note"]) == ["torn, leaked", '2" valve']
    assert list(rebuilds["row"]) == [2, 3]


def test_a_row_with_too_many_cells_is_set_aside(write_plant):
    text = "pump_id,read_on,reading\nP1,2020-01-01,10,5\nP1,2021-01-01,20\nP1,2022-01-01,1,2,3,4\n"
    records = read_records(write_plant(readings=text))
    assert list(records.table("readings")["reading"]) == [20.0]
    assert list(_audit(records, "overlong_row", "caution")["row"]) == [2, 4]
    assert records.aside["readings"] == 2


def test_undecided_dates_stop_and_say_what_to_write(write_plant, small_settings):
    text = "rebuild_id,pump_id,opened_on,reason\nR1,P1,03/04/2020,breakdown\n"
    records = read_records(write_plant(rebuilds=text))
    assert records.fatal
    row = _audit(records, "date_order", "stop").iloc[0]
    assert "opened_on" in row["what"]
    assert '[dates] order = "day-first"' in row["remedy"]
    declared = read_records(
        write_plant(small_settings + '[dates]\norder = "month-first"\n', rebuilds=text)
    )
    assert declared.table("rebuilds")["opened_on"][0] == pd.Timestamp("2020-03-04")


def test_bad_cells_of_required_columns_set_the_row_aside(write_plant):
    text = (
        "rebuild_id,pump_id,opened_on,reason,labour_h,closed_on\n"
        "R1,P1,yesterday,breakdown,4,\n"
        "R2,P1,2020-01-05,exploded,4,\n"
        "R3,,2020-01-05,breakdown,4,\n"
        "R4,P1,2020-01-06,breakdown,-4,never\n"
    )
    records = read_records(write_plant(rebuilds=text))
    kept = records.table("rebuilds")
    assert list(kept["rebuild_id"]) == ["R2", "R4"]
    assert list(kept["reason"]) == ["", "breakdown"]  # something was fitted, whatever the word
    assert np.isnan(kept["labour_h"][1])
    assert pd.isna(kept["closed_on"][1])
    assert 'opened_on "yesterday" isn\'t a date' in _words(records, "unreadable_date")
    code = _audit(records, "unreadable_code").iloc[0]
    assert 'reason "exploded" isn\'t one of breakdown' in code["what"]
    assert '[codes.rebuilds.reason] "exploded" = one of breakdown, planned' in code["remedy"]
    assert 'labour_h "-4" isn\'t a number from 0 up' in _words(records, "unreadable_number")
    assert list(_audit(records, "blank_cell")["what"]) == [
        "pump_id is blank and no location stands in."
    ]
    assert records.aside["rebuilds"] == 2


def test_closed_on_stands_in_for_an_unreadable_opened_on(write_plant):
    text = "rebuild_id,pump_id,opened_on,reason,closed_on\nR1,P1,2O20-01-05,breakdown,2020-01-07\n"
    records = read_records(write_plant(rebuilds=text))
    assert records.table("rebuilds")["opened_on"][0] == pd.Timestamp("2020-01-07")
    assert "closed_on stands in" in _audit(records, "unreadable_date").iloc[0]["consequence"]


def test_an_unknown_pump_suggests_the_closest(write_plant, small_tables):
    text = small_tables["rebuilds"].replace("R3,P3", "R3,P33")
    records = read_records(write_plant(rebuilds=text))
    row = _audit(records, "unknown_pump", "caution").iloc[0]
    assert "There is no pump P33" in row["what"]
    assert "the closest is P3" in row["remedy"]
    assert row["row"] == 4
    assert len(records.table("rebuilds")) == 2


def test_repeated_rows_are_set_aside_and_their_differences_named(write_plant, small_tables):
    text = small_tables["rebuilds"] + (
        "R1,P1,2020-03-04,breakdown,FK,diaphragm,,4.5\nR2,P2,2021-06-07,planned,FK,none,,9\n"
    )
    records = read_records(write_plant(rebuilds=text))
    rows = _audit(records, "repeated_row", "caution")
    assert list(rows["row"]) == [5, 6]
    assert (
        "Row 2 has the same rebuild_id and pump_id and kit; nothing else differs"
        in rows["what"].iloc[0]
    )
    assert "labour_h differs; row 3 is used" in rows["what"].iloc[1]
    assert list(records.table("rebuilds")["labour_h"]) == [4.5, 3.0, 5.0]


def test_one_order_may_cover_two_pumps_and_two_kits(write_plant, small_tables):
    text = small_tables["rebuilds"] + (
        "R1,P1,2020-03-04,breakdown,AK,,,4.5\nR1,P2,2020-03-04,breakdown,FK,,,4.5\n"
    )
    assert len(read_records(write_plant(rebuilds=text)).table("rebuilds")) == 5


def test_a_part_not_known_counts_as_not_written(write_plant, small_tables):
    text = small_tables["rebuilds"].replace("FK,diaphragm", "FK,dia burst")
    records = read_records(write_plant(rebuilds=text))
    row = _audit(records, "unknown_part", "caution").iloc[0]
    assert row["what"] == 'failed_part "dia burst" is not known as a part; taken as not written.'
    assert "[codes.rebuilds.failed_part]" in row["remedy"]
    assert records.table("rebuilds")["failed_part"][0] == ""


def test_spellings_that_differ_in_case_are_one(write_plant, small_tables):
    text = (
        small_tables["rebuilds"]
        .replace("FK,diaphragm", "fk,Diaphragm")
        .replace("FK,none", "None,NONE")
    )
    records = read_records(write_plant(rebuilds=text))
    assert list(records.table("rebuilds")["kit"]) == ["FK", "none", "FK"]
    assert list(records.table("rebuilds")["failed_part"]) == ["diaphragm", "none", ""]
    assert 'rebuilds.kit: "fk" is read as "FK"' in _words(records, "spelling")


def test_findings_of_an_unknown_order_are_set_aside(write_plant):
    text = (
        "rebuild_id,part,found,action\nR1,all_fluid,sound,kept\nR9,ball,worn,renewed\n"
        "R2,gizmo,worn,renewed\n"
    )
    records = read_records(write_plant(findings=text))
    findings = records.table("findings")
    assert list(findings["part"]) == ["all_fluid"]
    assert list(findings["pump"]) == [0]
    assert findings["pump_id"][0] == "P1"
    assert "no order R9" in _words(records, "unknown_order")
    assert '"gizmo" is not known as a part' in _words(records, "unknown_part")


def test_no_costs_withholds_with_a_stop_each(write_plant, small_settings):
    settings = small_settings.partition("[costs]")[0]
    records = read_records(write_plant(settings))
    assert not records.fatal
    assert records.withheld == {"intervals", "stock", "budget"}
    stops = _audit(records, "no_prices", "stop")
    assert len(stops) == 3
    assert stops["what"].str.contains("there are no \\[costs\\]").all()


UNPRICED_PARTS = (
    "part_no,part,side,wears,material,size_mm,per_pump\nD,diaphragm,fluid,yes,NBR,50,2\n"
    "B,ball,fluid,yes,NBR,50,4\nS,seat,fluid,yes,NBR,50,4\nV,air valve,air,yes,,50,1\n"
)


def test_a_kit_without_a_price_takes_the_sum_of_its_parts(write_plant):
    records = read_records(write_plant(kits="kit,side,unit_cost\nFK,fluid,\nAK,air,90\n"))
    kits = records.table("kits").set_index("kit")
    assert kits.loc["FK", "unit_cost"] == 2 * 40 + 4 * 10 + 4 * 8
    assert "its parts together cost 152" in _words(records, "kit_price_from_parts")


def test_no_kit_prices_withholds_too(write_plant):
    parts = UNPRICED_PARTS
    records = read_records(write_plant(kits="kit,side\nFK,fluid\nAK,air\n", parts=parts))
    assert records.withheld == {"intervals", "stock", "budget"}
    assert "no kit has a price" in _words(records, "no_prices")


def test_one_kit_without_a_price_keeps_its_row(write_plant):
    kits = "kit,side,unit_cost\nFK,fluid,\nAK,air,90\n"
    records = read_records(write_plant(kits=kits, parts=UNPRICED_PARTS))
    assert records.withheld == set()
    assert list(records.table("kits")["kit"]) == ["FK", "AK"]
    assert "FK has no unit_cost" in _words(records, "no_price")


def test_without_kit_contents_the_parts_of_the_side_stand_in(write_plant):
    records = read_records(write_plant(kit_contents=None))
    held = records.table("kit_contents").set_index(["kit", "part_no"])["quantity"].to_dict()
    assert held == {("FK", "D"): 2, ("FK", "B"): 4, ("FK", "S"): 4, ("AK", "V"): 1}
    assert "no table kit_contents" in _words(records, "assumed_contents")


def test_without_parts_the_usual_ones_stand_in(write_plant):
    records = read_records(write_plant(parts=None, kit_contents=None))
    parts = records.table("parts").set_index("part_no")
    held = records.table("kit_contents").set_index(["kit", "part_no"])["quantity"].to_dict()
    assert held == {
        ("FK", "diaphragm (FK)"): 2,
        ("FK", "ball (FK)"): 4,
        ("FK", "seat (FK)"): 4,
        ("AK", "air valve (AK)"): 1,
    }
    assert parts.loc["ball (FK)", "material"] == "NBR"
    assert parts.loc["ball (FK)", "per_pump"] == 4
    assert parts["unit_cost"].isna().all()
    assert records.table("rebuilds")["failed_part"][0] == "diaphragm"


def test_only_pumps_and_rebuilds_are_needed(write_plant, small_settings):
    settings = small_settings.partition("[costs]")[0]
    bare = dict.fromkeys(("readings", "kits", "parts", "kit_contents"))
    records = read_records(write_plant(settings, **bare))
    assert not records.fatal
    assert list(records.table("kits")["kit"]) == ["FK", "AK"]
    assert set(records.table("kit_contents")["kit"]) == {"FK", "AK"}
    assert "There are no meter readings" in _words(records, "no_readings")


def test_odd_kits_are_pointed_out(write_plant, small_tables):
    contents = "kit,part_no,quantity\nFK,D,1\nFK,B,4\nFK,X,4\nAK,V,1\n"
    rebuilds = small_tables["rebuilds"].replace(
        "R3,P3,2022-08-09,breakdown,FK", "R3,P3,2022-08-09,breakdown,ZK"
    )
    records = read_records(write_plant(kit_contents=contents, rebuilds=rebuilds))
    counts = _words(records, "kit_count")
    assert "Kit FK holds 1 of D; a pump holds 2" in counts
    assert "Fluid kit FK holds 0 of seat" in counts
    assert "Kit FK holds X, which is not in parts" in _words(records, "unknown_part_no")
    assert "rebuilds.kit ZK (1 row) is not in kits" in _words(records, "unknown_kit")


def test_plans_are_marked_and_past_prices_give_way(write_plant):
    kits = (
        "kit,side,unit_cost,valid_from\nFK,fluid,150,2019-01-01\nFK,fluid,180,2022-01-01\n"
        "FK,fluid,200,2025-01-01\nAK,air,90,\n"
    )
    table = read_records(write_plant(kits=kits)).table("kits")
    assert list(table["unit_cost"]) == [180.0, 200.0, 90.0]
    assert list(table["plan"]) == [False, True, False]


def test_without_records_from_the_earliest_record_stands_in(write_plant, small_settings):
    settings = small_settings.replace("records_from = 2020-01-01\n", "")
    records = read_records(write_plant(settings))
    assert records.plant.records_from == pd.Timestamp("2020-01-01")
    assert len(_audit(records, "records_from", "caution")) == 1


def test_unknown_files_and_columns_are_noted_and_kept(write_plant, small_tables):
    text = (
        small_tables["pumps"]
        .replace("use_per_week\n", "use_per_week,colour\n")
        .replace(",70\n", ",70,red\n")
    )
    folder = write_plant(pumps=text)
    (folder / "shopping.csv").write_text("milk\n")
    records = read_records(folder)
    assert list(records.pumps["colour"]) == ["red", "red", ""]
    assert "columns that pumplife doesn't use: colour" in _words(records, "extra_columns")
    assert "shopping.csv is not a table" in _words(records, "unknown_file")


def _as_cell(word):
    try:
        return float(word)
    except ValueError:
        return word


def _write_book(path, tables, settings=()):
    book = xlsxwriter.Workbook(str(path))
    day = book.add_format({"num_format": "yyyy-mm-dd"})
    for name, text in tables.items():
        sheet = book.add_worksheet(name)
        for at, line in enumerate(text.splitlines()):
            for place, word in enumerate(line.split(",")):
                if at and len(word) == 10 and word[4] == "-":
                    sheet.write_datetime(at, place, pd.Timestamp(word).to_pydatetime(), day)
                elif word:
                    sheet.write(at, place, _as_cell(word) if at else word)
    if settings:
        sheet = book.add_worksheet("plant")
        for at, cells in enumerate(settings):
            sheet.write_row(at, 0, cells)
    book.close()


SHEET = (
    ("section", "key", "value"),
    ("plant", "usage_unit", "hours"),
    ("plant", "records_from", "2020-01-01"),
    ("plant", "records_to", "2023-12-31"),
    ("costs", "labour_per_h", 50),
    ('costs.service."slip"', "downtime_per_h", 90),
    ("calendar", "outages", "[2024-05-06]"),
)


def test_a_workbook_equals_a_folder_of_text_files(write_plant, small_tables, tmp_path):
    _write_book(tmp_path / "plant.xlsx", small_tables, SHEET)
    book, folder = read_records(tmp_path / "plant.xlsx"), read_records(write_plant())
    for name in small_tables:
        pd.testing.assert_frame_equal(
            book.table(name).drop(columns="file"), folder.table(name).drop(columns="file")
        )
    assert book.table("pumps")["file"][0] == "plant.xlsx#pumps"
    assert book.plant.cost("downtime_per_h", "slip") == 90.0
    assert book.plant.outages("north") == [(pd.Timestamp("2024-05-06") - pd.Timestamp(0)).days]
    assert book.plant.window() == folder.plant.window()


def test_a_folder_may_hold_a_workbook_per_table(write_plant, small_tables):
    folder = write_plant(rebuilds=None)
    _write_book(folder / "Rebuilds.xlsx", {"export": small_tables["rebuilds"]})
    assert read_records(folder).table("rebuilds")["file"][0] == "Rebuilds.xlsx#export"


def test_a_sheet_that_is_not_there_stops_in_words(write_plant, small_tables, small_settings):
    folder = write_plant(small_settings + '[files]\nrebuilds = "book.xlsx#Export"\n', rebuilds=None)
    _write_book(folder / "book.xlsx", {"data": small_tables["rebuilds"]})
    records = read_records(folder)
    assert records.fatal
    assert "has no sheet Export: its sheets are data" in _words(records, "unreadable_file")


def test_numbers_as_ids_keep_no_decimals(write_plant, small_tables):
    tables = {name: text.replace("P1", "101") for name, text in small_tables.items()}
    folder = write_plant(**(tables | {"pumps": None}))
    _write_book(folder / "pumps.xlsx", {"pumps": tables["pumps"]})
    records = read_records(folder)
    assert records.pumps["pump_id"][0] == "101"
    assert records.table("rebuilds")["pump"][0] == 0


def _book_of_meters(folder, meters, hours):
    book = xlsxwriter.Workbook(str(folder / "rebuilds.xlsx"))
    sheet = book.add_worksheet("rebuilds")
    sheet.write_row(0, 0, ["rebuild_id", "pump_id", "opened_on", "reason", "meter", "labour_h"])
    for at, (meter, worked) in enumerate(zip(meters, hours, strict=True), start=1):
        sheet.write_row(at, 0, [f"R{at}", "P1", f"202{at}-03-04", "breakdown", meter, worked])
    book.close()


@pytest.mark.parametrize(
    ("meters", "hours", "decimal", "meter", "labour", "rule"),
    [
        # text, with a comma elsewhere in the sheet: a point parts thousands
        (("4.660", "8.310"), ("2,5", "3"), "", (4660.0, 8310.0), (2.5, 3.0), ""),
        # text and nothing that tells: a guess that says so, or what the plant has said
        (("4.660", "8.310"), (2.5, 3), "", (4.66, 8.31), (2.5, 3.0), "decimal_mark"),
        (("4.660", "8.310"), (2.5, 3), "comma", (4660.0, 8310.0), (2.5, 3.0), ""),
        # the workbook's own numbers show no mark: what is typed among them shows its own
        ((4660.125, "8,5"), (2.5, 3), "comma", (4660.125, 8.5), (2.5, 3.0), ""),
        ((4660.125, "8,5,1"), (2.5, 3), "", (4660.125, np.nan), (2.5, 3.0), "unreadable_number"),
    ],
)
def test_numbers_that_a_workbook_holds_as_text_are_read_as_text(  # noqa: PLR0917
    write_plant, meters, hours, decimal, meter, labour, rule
):
    folder = write_plant(rebuilds=None)
    _book_of_meters(folder, meters, hours)
    with (folder / "plant.toml").open("a", encoding="utf-8") as settings:
        settings.write(f'[numbers]\ndecimal = "{decimal}"\n' if decimal else "")
    records = read_records(folder)
    read = records.table("rebuilds")
    np.testing.assert_array_equal(read["meter"], meter)
    np.testing.assert_array_equal(read["labour_h"], labour)
    found = records.log.frame()["rule"]
    assert set(found[found.isin(["decimal_mark", "unreadable_number"])]) == ({rule} - {""})


def test_a_text_that_is_read_is_not_called_unused(write_plant):
    rows = "rebuild_id,pump_id,opened_on,Text,crew no\nR1,P1,2020-03-04,membrane torn,7\n"
    settings = f'{SETTINGS}[text.rebuilds]\nText = ["reason"]\n'
    records = read_records(write_plant(settings, rebuilds=rows))
    words = _words(records, "extra_columns")
    assert "crew no" in words
    assert "Text" not in words
