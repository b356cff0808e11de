"""Where tables are found: titles, grouped headings, hidden sheets, several files of one table."""

import pandas as pd
import pytest
import xlsxwriter

from pumplife.errors import SettingError
from pumplife.records.gather import read_tables
from pumplife.records.read import read_records
from pumplife.records.tables import TABLES

DESIGN = {
    "pumps": "pump_id* site service* location store size_mm fluid_kit air_kit commissioned_on "
    "retired_on last_fluid_renewal_on last_air_renewal_on use_per_week meter_unit cycles_per_h "
    "hazard criticality standby downtime_per_h new_cost new_lead_time_days max_fluid_interval "
    "max_air_interval stroke_rate pressure temperature solids",
    "rebuilds": "rebuild_id* pump_id* location opened_on* reason* happened_on closed_on kit "
    "failed_part failure_mode meter labour_h downtime_h waited_h production_lost_h other_cost "
    "released lot crew completes ticket_id done not_done_why note",
    "findings": "rebuild_id* pump_id part* position count found* grade mode action* material "
    "variant part_no",
    "issued": "issued_on* item* quantity* rebuild_id pump_id location store",
    "readings": "pump_id* location read_on* reading* new_meter_start meter_id unit digits "
    "multiplier",
    "parts": "part_no* part* side* wears releases_fluid material variant size_mm per_pump* "
    "unit_cost* valid_from superseded_by lead_time_days lead_time_high min_order "
    "shelf_life_years",
    "kits": "kit* side* size_mm material variant unit_cost* valid_from superseded_by "
    "lead_time_days lead_time_high min_order",
    "kit_contents": "kit* part_no* quantity*",
    "on_hand": "store* item* quantity* cure_date",
    "on_order": "store* item* quantity* expected_on*",
    "moves": "pump_id* moved_on* site service location state store size_mm hazard criticality "
    "standby downtime_per_h use_per_week stroke_rate pressure temperature solids",
    "compatibility": "material* service* part confirmed_by* confirmed_on* valid_until "
    "max_temperature cleaning reference",
    "adopted": "service* size_mm side* kit hazard interval* decided_by* decided_on* review_on why",
    "plan": "service pump_id from_on* to_on use_factor*",
    "events": "happened_on* until site service what* kind",
    "spend": "month* site quantity* amount*",
    "trials": "trial_id* part* material* variant reference* service* started_on* ends_on "
    "wanted_ratio looks endpoint",
    "trial_pumps": "trial_id* pump_id* arm* pair",
}
"""The input contract, written down a second time so that no column can be lost unseen."""


@pytest.mark.parametrize("name", DESIGN)
def test_every_column_of_the_contract_is_read(name):
    words = DESIGN[name].split()
    assert {word.rstrip("*") for word in words} == set(TABLES[name].headings)
    needed = {word.rstrip("*") for word in words if word.endswith("*")}
    assert needed == {column.name for column in TABLES[name].columns if column.required}


def _words(records, rule):
    rows = records.log.frame()
    return " ".join(rows.loc[rows["rule"].eq(rule), "what"])


def _rows(records, rule):
    rows = records.log.frame()
    return rows[rows["rule"].eq(rule)]


REBUILDS = (
    "R1,P1,2020-03-04,breakdown,FK,diaphragm\nR2,P2,2021-06-07,planned,FK,none\n"
    "R3,P3,2022-08-09,breakdown,FK,\n"
)
HEADING = "rebuild_id,pump_id,opened_on,reason,kit,failed_part\n"


@pytest.mark.parametrize(
    "titles",
    ["Orders of the north works\n", "Orders,north works\nprinted,2024-01-01\n\n", '"a, b",,,,,\n'],
)
def test_titles_above_the_heading_are_read_over_and_named(write_plant, titles):
    records = read_records(write_plant(rebuilds=titles + HEADING + REBUILDS))
    assert list(records.table("rebuilds")["rebuild_id"]) == ["R1", "R2", "R3"]
    first = titles.count("\n") + 2
    assert list(records.table("rebuilds")["row"]) == [first, first + 1, first + 2]
    assert "above its heading" in _words(records, "title_rows")


MAPPED = (
    '[columns.rebuilds]\n"Order No" = "rebuild_id"\n"Order Date" = "opened_on"\n'
    '"Pump" = "pump_id"\n"Order Reason" = "reason"\n'
)


def test_a_heading_of_two_rows_is_joined(write_plant, small_settings):
    text = "Order,,,Pump\nNo,Date,Reason,\nR1,2020-03-04,breakdown,P1\n"
    rebuilds = read_records(write_plant(small_settings + MAPPED, rebuilds=text)).table("rebuilds")
    assert rebuilds[["rebuild_id", "pump_id", "reason", "row"]].to_numpy().tolist() == [
        ["R1", "P1", "breakdown", 3]
    ]


def test_merged_headings_and_merged_cells_of_a_workbook(write_plant, small_settings):
    folder = write_plant(small_settings + MAPPED, rebuilds=None)
    book = xlsxwriter.Workbook(str(folder / "rebuilds.xlsx"))
    sheet, plain = book.add_worksheet("export"), book.add_format()
    sheet.merge_range("A1:D1", "All orders", plain)
    sheet.merge_range("A3:C3", "Order", plain)
    sheet.merge_range("D3:D4", "Pump", plain)
    sheet.write_row("A4", ["No", "Date", "Reason"])
    sheet.write_row("A5", ["R1", "04.03.2020", "breakdown", "P1"])
    sheet.write_row("A6", ["", "13.04.2020", "planned", "P2"])
    sheet.merge_range("A5:A6", "R1", plain)
    sheet.write_row("A7", ["R2", 43936, "planned", "P3"])
    book.close()
    rebuilds = read_records(folder).table("rebuilds")
    assert list(rebuilds["rebuild_id"]) == ["R1", "R1", "R2"]
    assert list(rebuilds["opened_on"].dt.strftime("%m-%d")) == ["03-04", "04-13", "04-15"]
    assert list(rebuilds["row"]) == [5, 6, 7]


def _book(path, sheets, hidden=()):
    book = xlsxwriter.Workbook(str(path))
    for name, text in sheets.items():
        sheet = book.add_worksheet(name)
        for at, line in enumerate(text.splitlines()):
            sheet.write_row(at, 0, line.split(","))
        if name in hidden:
            sheet.hide()
    book.close()
    return path


def _settings_beside(path, text):
    (path.parent / "plant.toml").write_text(text, encoding="utf-8")
    return path


def test_a_hidden_sheet_is_read_only_when_named(tmp_path, small_tables, small_settings):
    sheets = {"cover": "notes", **small_tables}
    path = _book(tmp_path / "plant.xlsx", sheets, hidden=["readings"])
    _settings_beside(path, small_settings)
    records = read_records(path)
    assert records.table("readings").empty
    row = _rows(records, "hidden_sheet").iloc[0]
    assert "The sheet readings of plant.xlsx was not read: it is hidden." in row["what"]
    assert '[files] readings = "plant.xlsx#readings"' in row["remedy"]
    named = '[files]\nreadings = "plant.xlsx#readings"\n'
    _settings_beside(path, small_settings + named)
    assert len(read_records(path).table("readings")) == 3


def test_two_sheets_that_may_be_one_table_are_a_question(tmp_path, small_tables, small_settings):
    sheets = {f"rebuilds {side}": small_tables["rebuilds"] for side in ("north", "south")}
    sheets |= {name: text for name, text in small_tables.items() if name != "rebuilds"}
    path = _settings_beside(_book(tmp_path / "plant.xlsx", sheets), small_settings)
    records = read_records(path)
    assert records.fatal
    row = _rows(records, "two_tables").iloc[0]
    assert "2 sheets that may be the table rebuilds: rebuilds north, rebuilds south" in row["what"]
    assert '[files] rebuilds = "plant.xlsx#rebuilds north"' in row["remedy"]
    assert _rows(records, "missing_table").empty
    line = '[files]\nrebuilds = ["plant.xlsx#rebuilds north", "#rebuilds south"]\n'
    _settings_beside(path, small_settings + line)
    records = read_records(path)
    assert not records.fatal
    assert len(records.table("rebuilds")) == 3
    assert set(_rows(records, "repeated_row")["severity"]) == {"note"}


def test_a_table_may_be_spread_over_files_that_overlap(write_plant, small_settings):
    lines = REBUILDS.splitlines(keepends=True)
    settings = small_settings + '[files]\nrebuilds = ["2021.csv", "2022.csv"]\n'
    folder = write_plant(settings, rebuilds=None)
    (folder / "2021.csv").write_text(HEADING + "".join(lines[:2]))
    changed = lines[1].replace("planned", "inspection")
    (folder / "2022.csv").write_text(HEADING + lines[0] + changed + lines[2] + "R4,P9,x,y,,\n")
    records = read_records(folder)
    rebuilds = records.table("rebuilds")
    assert list(rebuilds["rebuild_id"]) == ["R1", "R2", "R3"]
    assert list(rebuilds["reason"]) == ["breakdown", "planned", "breakdown"]
    assert list(rebuilds["file"]) == ["2021.csv", "2021.csv", "2022.csv"]
    told = _rows(records, "repeated_row").set_index("row")
    assert told.loc[2, "severity"] == "note"
    assert told.loc[2, "what"].startswith("2022.csv: Row 2 of 2021.csv has the same rebuild_id")
    assert told.loc[3, "severity"] == "caution"
    assert "reason differs; row 3 of 2021.csv is used" in told.loc[3, "what"]
    assert _words(records, "unreadable_date").startswith("2022.csv: ")
    assert {"2021.csv", "2022.csv"} <= set(records.hashes)
    assert records.aside["rebuilds"] == 3


@pytest.mark.parametrize("value", ["[]", "5", '["a.csv", 5]', '""'])
def test_files_that_are_no_names_are_refused(write_plant, value):
    with pytest.raises(SettingError, match=r"\[files\] rebuilds must be a file"):
        read_records(write_plant(f"[files]\nrebuilds = {value}\n"))


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ('[text.rebuilds]\nnote = "reason"', "must be a list of columns"),
        ('[text.rebuilds]\nnote = ["kit"]', "only reason, failed_part, failure_mode may be read"),
        ('[text.pumps]\nnote = ["kit"]', "no table has that name"),
    ],
)
def test_a_text_that_cannot_be_read_so_is_refused(write_plant, line, words):
    with pytest.raises(SettingError, match=words):
        read_records(write_plant(line))


def test_a_pipe_and_a_declared_mark(write_plant, small_tables):
    pipes = small_tables["rebuilds"].replace(",", "|")
    declared = "sep=;\n" + small_tables["pumps"].replace(",", ";")
    records = read_records(write_plant(rebuilds=pipes, pumps=declared))
    assert not records.fatal
    assert len(records.table("rebuilds")) == 3


def test_read_tables_gives_nothing_for_no_sources(write_plant):
    records = read_records(write_plant())
    tables, counts, fatal = read_tables({}, records.plant, None, records.log)
    assert (counts, fatal) == ({}, False)
    assert all(frame.empty for frame in tables.values())
    assert isinstance(tables["pumps"], pd.DataFrame)
