"""A side that only its own limit dates, on ticket, page, workbook, orders and list of answers."""

import json

import pandas as pd
import pytest
from python_calamine import CalamineWorkbook

from pumplife.report.write import write_study
from pumplife.since.answers import list_answers
from pumplife.study import run_study
from pumplife.ticket.content import make_ticket
from pumplife.ticket.words import load_words

from ..plants import on_day, pump_rows, small_plant, small_tables
from .conftest import DUE

# nothing is known of the parts in the air kits; the air sides have run 7300 h since the pumps came
LIMITS = {"P-1": 4000, "P-2": 9000, "P-3": ""}


@pytest.fixture(scope="module")
def limited(tmp_path_factory):
    """The small plant with air kits whose contents nobody wrote down."""
    folder = tmp_path_factory.mktemp("limited")
    pumps = [
        row | {"air_kit": "AK", "max_air_interval": LIMITS[row["pump_id"]]} for row in pump_rows()
    ]
    kits = small_tables()["kits"]
    air = [kits[0] | {"kit": "AK", "side": "air"}]
    stop = f"\n[calendar]\noutages = [{on_day(760)}]\n"
    plant = small_plant(folder / "plant", plant_toml=DUE + stop, pumps=pumps, kits=[*kits, *air])
    study = run_study(plant)
    write_study(study, folder / "out")
    return study, folder / "out"


def test_ticket_names_kit_and_date_without_a_chance(limited):
    study, out = limited
    ticket = make_ticket(study, "P-1", "air", load_words())
    assert ticket.kit == "AK"
    assert ticket.why[-1].startswith("No interval is advised for this side")
    assert ticket.why[0].startswith("Due at 4,000 hours")
    assert "Overdue by 3,300 hours." in ticket.why
    assert not any("Chance" in words or "nan" in words for words in ticket.why)
    german = make_ticket(study, "P-1", "air", load_words("de"))
    assert german.why[-1].startswith("Für diese Seite wird kein Intervall empfohlen")
    assert (out / "tickets" / f"{ticket.ticket_id}.html").is_file()


def test_page_workbook_and_answers_leave_blank_what_isnt_known(limited):
    study, out = limited
    page = (out / "report.html").read_text(encoding="utf-8")
    assert "Due without advice by" in page
    assert "no interval is advised. Kit AK holds no wearing part" in page
    due = study.tables["due"]
    sheet = CalamineWorkbook.from_path(out / "study.xlsx").get_sheet_by_name("due").to_python()
    assert sum("P-1" in row and "air" in row for row in sheet) == 1
    written = pd.read_csv(out / "tables" / "due.csv")
    air = written[written["side"] == "air"]
    assert air["pump_id"].tolist() == ["P-1", "P-2"]
    assert air[["failure_prob_by_due", "failure_prob_13_weeks", "cost_of_waiting"]].isna().all(None)
    days = due.set_index(["pump_id", "side"])["do_on"]
    told = list_answers(study.tables)["due", "P-2, air", "do_on"]
    assert told == f"{days['P-2', 'air']:%Y-%m-%d}" == on_day(900)
    assert json.loads((out / "study.json").read_text())["rows"]["due"] == len(due)


def test_stock_keeps_saying_that_nobody_knows_what_they_take(limited):
    study, _ = limited
    stock = study.tables["stock"].set_index("item")
    assert stock.loc["AK", "verdict"].startswith("no level: Kit AK holds no wearing part")
    log = study.records.log.frame()
    assert (
        "what its 3 pumps will take isn't known" in log.query("rule == 'no_demand'")["what"].iloc[0]
    )
