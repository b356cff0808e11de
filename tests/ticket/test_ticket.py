"""What stands on a ticket, in which language, and that what comes back closes the due row."""

import html
import json
import re
import shutil
import subprocess
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from python_calamine import CalamineWorkbook

from pumplife.errors import RecordError, SettingError
from pumplife.records.tables import TABLES
from pumplife.study import run_study
from pumplife.ticket.cautions import CAUTIONS
from pumplife.ticket.content import make_ticket
from pumplife.ticket.page import write_ticket
from pumplife.ticket.reading import expect_reading
from pumplife.ticket.sheet import lines_to_fill
from pumplife.ticket.words import load_words
from pumplife.ticket.write import write_tickets

from ..plants import LAST_DAY, small_plant
from .conftest import DUE

CHROMIUM = shutil.which("chromium")
QUIET = (
    "--headless=new", "--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
)  # fmt: skip


def test_a_ticket_says_what_is_due_why_and_with_which_kit(study):
    row = study.tables["due"].query("pump_id == 'P-2'").iloc[0]
    ticket = make_ticket(study, "p-2", "fluid", load_words())
    assert (ticket.ticket_id, ticket.kit, ticket.side) == (row["ticket_id"], "FK", "fluid")
    assert f"{row['due_usage']:,.0f} hours" in ticket.why[0]
    assert any("Overdue by" in line for line in ticket.why)
    assert ticket.visits[0].startswith("2021-05-15 breakdown, ball")  # R-4, day 500
    assert [place.part for place in ticket.places].count("BALL".lower()) == 4
    assert all(place.in_kit for place in ticket.places)


def test_an_expired_bag_is_never_the_one_to_take(tmp_path):
    """Two bags, the older one past the storage life of its rubber."""
    bags = [
        {"store": "works", "item": "FK", "quantity": 5, "cure_date": "2009-03-01"},
        {"store": "works", "item": "FK", "quantity": 5, "cure_date": "2020-09-01"},
    ]
    plant = small_plant(tmp_path / "plant", plant_toml=DUE, on_hand=bags)
    ticket = make_ticket(run_study(plant), "P-2", "fluid", load_words())
    assert ticket.cure_words == "take the bag cured 2020-09-01 first"


def test_a_meter_in_hours_tells_nothing_of_pumps_that_count_days(study):
    """Its own readings carry it on; with too few of them nothing is expected."""
    plant = replace(study.records.plant, usage_unit="days")
    records = replace(study.records, plant=plant, tables=dict(study.records.tables))
    readings = records.table("readings").assign(unit="hours")
    last = readings.query("pump_id == 'P-1'").sort_values("read_on").iloc[-1]
    day = last["read_on"] + pd.Timedelta(days=30)
    records.tables["readings"] = readings
    expected = expect_reading(replace(study, records=records), 0, day)
    assert (expected.low, expected.high) == pytest.approx([last["reading"] + 300.0] * 2)
    records.tables["readings"] = readings.groupby("pump_id").tail(2)
    assert np.isnan(expect_reading(replace(study, records=records), 0, day).low)


def test_the_reading_expected_is_the_last_one_carried_on_at_the_pumps_pace(study):
    """P-1 runs ten hours every day, so that there is no band."""
    readings = study.records.table("readings").query("pump_id == 'P-1'")
    last = readings.sort_values("read_on").iloc[-1]
    day = LAST_DAY + pd.Timedelta(days=30)
    expected = expect_reading(study, 0, day)
    ahead = (day - last["read_on"]) / pd.Timedelta(days=1)
    assert expected.low == pytest.approx(last["reading"] + 10.0 * ahead, rel=1e-3)
    assert expected.high == pytest.approx(expected.low, rel=1e-3)
    assert np.isnan(expect_reading(study, 2, day).low)  # P-3 has no meter


def test_a_pump_that_is_not_on_the_list_is_named(study):
    with pytest.raises(RecordError, match="no air side of a pump P-1"):
        make_ticket(study, "P-1", "air", load_words())


@pytest.mark.parametrize("language", ["en", "de"])
def test_the_page_holds_every_caution_and_every_word(study, language):
    words = load_words(language)
    page = write_ticket(
        make_ticket(study, "P-2", "fluid", words), words, language=language, invented=True
    )
    text = html.unescape(page)
    for place, caution in enumerate(CAUTIONS, start=1):
        assert words[f"caution_{place}"] in text
        assert (words[f"caution_{place}"] == caution) == (language == "en")
    assert words["manual"] in text
    assert not re.search(r"https?://", text)
    assert re.search(r"\{[a-z_]+\}", re.sub(r"(?s)<(style|script)>.*?</\1>", "", text)) is None


def test_a_plant_may_change_any_word_and_no_unknown_one(tmp_path):
    path = tmp_path / "ticket_words.csv"
    path.write_text("key,words\ncrew,Gang\n", encoding="utf-8")
    assert load_words("en", tmp_path)["crew"] == "Gang"
    path.write_text("key,words\ncrow,Gang\n", encoding="utf-8")
    with pytest.raises(SettingError, match="crow"):
        load_words("en", tmp_path)
    path.write_text("word;mine\ncrew;Gang\n", encoding="utf-8")
    with pytest.raises(SettingError, match="key and words"):
        load_words("en", tmp_path)
    with pytest.raises(SettingError, match=r"none of en, de"):
        load_words("xx")


def fill(lines, folder, name, **cells):
    """Write the rows of a ticket as its form would, the given cells on every row."""
    frame = lines.assign(**cells)
    frame.to_csv(folder / name, index=False)


def test_what_comes_back_is_used_closes_the_row_and_is_answered(tmp_path, study):
    ticket = make_ticket(study, "P-2", "fluid", load_words())
    day = (LAST_DAY - pd.Timedelta(days=2)).strftime("%Y-%m-%d")
    plant = small_plant(tmp_path / "plant", plant_toml=DUE)
    lines = lines_to_fill(ticket)
    worn = np.where(lines["part"] == "diaphragm", "3", "1")
    cells = {"done_on": day, "done": "yes", "meter": "", "labour_h": "3", "grade": worn}
    lines = lines.assign(pump_id="p-2")  # as a bench may write it
    fill(lines, plant, f"returned-{ticket.ticket_id}.csv", **cells)
    fill(lines, plant, "returned (1).csv", **cells)
    again = run_study(plant, results=())
    answer = again.tables["ticket_answers"].iloc[0]
    assert answer["answer"].startswith("used")
    assert (answer["failures"], answer["worn"] + answer["suspensions"]) == (0, 10)
    assert "lives of parts" in answer["what"]
    before = study.tables["due"].query("pump_id == 'P-2'").iloc[0]
    after = again.tables["due"].query("pump_id == 'P-2'").iloc[0]
    assert after["age_now"] == pytest.approx(20.0, abs=15.0)
    assert before["age_now"] > 5000.0
    assert after["due_on"] > before["due_on"]
    assert len(again.lives.visits) == len(study.lives.visits) + 1


def test_a_workbook_filled_on_the_first_line_of_a_ticket_is_answered_like_any(tmp_path, study):
    """What is said once stands on one row; a ticket for a pump that isn't there is answered too."""
    ticket = make_ticket(study, "P-2", "fluid", load_words())
    plant = small_plant(tmp_path / "plant", plant_toml=DUE)
    lines = lines_to_fill(ticket)
    day = (LAST_DAY - pd.Timedelta(days=2)).strftime("%Y-%m-%d")
    lines.loc[0, ["done_on", "done", "labour_h"]] = [day, "yes", "3"]
    lines.to_csv(plant / "returned.csv", index=False)
    fill(lines_to_fill(ticket).assign(ticket_id="T-9", pump_id="P-99"), plant, "returned-9.csv",
         done_on=day, done="yes")  # fmt: skip
    answers = run_study(plant, results=()).tables["ticket_answers"].set_index("ticket_id")
    answer = answers.loc[ticket.ticket_id]
    assert answer["answer"].startswith("used")
    assert (f"{answer['done_on']:%Y-%m-%d}", answer["worn"] + answer["suspensions"]) == (day, 10)
    assert answers.loc["T-9", "answer"] == "set aside"


def test_a_ticket_of_after_the_records_closes_its_row_and_says_when_it_counts(tmp_path, study):
    ticket = make_ticket(study, "P-2", "fluid", load_words())
    plant = small_plant(tmp_path / "plant", plant_toml=DUE)
    day = (LAST_DAY + pd.Timedelta(days=9)).strftime("%Y-%m-%d")
    moved = f"{ticket.ticket_id[:-8]}20220109"  # printed when the work was planned for another day
    lines = lines_to_fill(ticket).assign(ticket_id=moved.lower(), pump_id="p-2")
    fill(lines, plant, "returned.csv", done_on=day, done="yes")
    other = make_ticket(study, "P-1", "fluid", load_words())
    fill(lines_to_fill(other), plant, "returned-open.csv")
    partly = make_ticket(study, "P-3", "fluid", load_words())
    fill(lines_to_fill(partly), plant, "returned-p.csv", done_on=day, done="partly")
    again = run_study(plant, results=())
    answer = again.tables["ticket_answers"].iloc[0]
    assert (len(again.tables["ticket_answers"]), answer["answer"]) == (2, "after the records end")
    assert day in answer["what"]
    due = again.tables["due"].set_index("pump_id")
    assert f"{due.loc['P-2', 'closed_on']:%Y-%m-%d}" == day
    assert pd.isna(due.loc["P-1", "closed_on"])
    assert pd.isna(due.loc["P-3", "closed_on"])
    assert "ticket_open" in set(again.tables["audit"]["rule"])


def test_work_not_done_stays_due(tmp_path, study):
    ticket = make_ticket(study, "P-2", "fluid", load_words())
    plant = small_plant(tmp_path / "plant", plant_toml=DUE)
    day = (LAST_DAY - pd.Timedelta(days=2)).strftime("%Y-%m-%d")
    one = lines_to_fill(ticket).head(1).assign(part="", position="", action="", kit="")
    fill(one, plant, "returned.csv", done_on=day, done="no", not_done_why="no permit")
    again = run_study(plant, results=())
    answer = again.tables["ticket_answers"].iloc[0]
    assert answer["answer"] == "not done"
    assert "no permit" in answer["what"]
    due = again.tables["due"].query("pump_id == 'P-2'").iloc[0]
    assert due["age_now"] == study.tables["due"].query("pump_id == 'P-2'").iloc[0]["age_now"]


def test_the_workbook_to_fill_has_the_columns_that_are_read_back(tmp_path, study):
    assert write_tickets(study, tmp_path / "tickets", invented=False) == 3
    book = CalamineWorkbook.from_path(tmp_path / "tickets" / "returned.xlsx")
    rows = book.get_sheet_by_name("returned").to_python()
    assert tuple(rows[0]) == TABLES["returned"].headings
    assert len(rows) == 1 + 3 * 10
    pages = sorted(path.name for path in (tmp_path / "tickets").glob("*.html"))
    assert pages == sorted(f"{name}.html" for name in study.tables["due"]["ticket_id"])


@pytest.mark.skipif(CHROMIUM is None, reason="the form is filled in Chromium, which isn't there")
def test_the_form_saves_what_was_filled_in(tmp_path, study):
    """The page itself, in a browser: its rows are those of the workbook, with what was typed."""
    words = load_words()
    ticket = make_ticket(study, "P-2", "fluid", words)
    page = write_ticket(ticket, words, language="en", invented=True)
    filled = """<pre id="out"></pre><script>
    document.getElementById("done_on").value = "2021-12-30";
    document.getElementById("note").value = 'said "loose", then off';
    form.querySelector('input[name="grade_0"][value="3"]').checked = true;
    form.querySelector('input[name="action_1"][value="kept"]').checked = true;
    document.getElementById("out").textContent = JSON.stringify(
      [about.columns, ...rows().map(row => about.columns.map(name => row[name] ?? ""))]);
    </script>"""
    path = tmp_path / "ticket.html"
    path.write_text(page.replace("</body>", filled + "</body>"), encoding="utf-8")
    done = subprocess.run(
        [CHROMIUM, *QUIET, f"--user-data-dir={tmp_path / 'user'}", "--dump-dom", path.as_uri()],
        capture_output=True, text=True, check=True, timeout=120,
    )  # fmt: skip
    text = html.unescape(re.search(r'(?s)<pre id="out">(.*?)</pre>', done.stdout)[1])
    table = json.loads(text)
    frame = pd.DataFrame(table[1:], columns=table[0])
    usual = lines_to_fill(ticket)
    assert tuple(frame.columns) == TABLES["returned"].headings
    assert frame[["part", "position"]].equals(usual[["part", "position"]])
    assert frame["action"].tolist() == ["renewed", "kept", *["renewed"] * 8]
    assert frame["grade"].tolist() == ["3", *[""] * 9]
    assert set(frame["note"]) == {'said "loose", then off'}
    assert set(frame["done_on"]) == {"2021-12-30"}
    assert set(frame["done"]) == {"yes"}
    assert frame["saved_at"].str.startswith("20").all()


@pytest.mark.skipif(CHROMIUM is None, reason="needs chromium on the path")
@pytest.mark.parametrize("language", ["en", "de"])
def test_the_form_fits_a_phone_and_is_open_to_all(tmp_path, study, language):
    browsers = pytest.importorskip("playwright.sync_api", reason="needs playwright")
    axe = pytest.importorskip("axe_playwright_python.sync_playwright", reason="needs axe")
    words = load_words(language)
    ticket = make_ticket(study, "P-2", "fluid", words)
    path = tmp_path / "ticket.html"
    path.write_text(write_ticket(ticket, words, language=language, invented=True), encoding="utf-8")
    with browsers.sync_playwright() as started:
        browser = started.chromium.launch(executable_path=CHROMIUM, args=list(QUIET[1:]))
        page = browser.new_page(viewport={"width": 360, "height": 740})
        page.goto(path.as_uri())
        assert page.evaluate("document.documentElement.scrollWidth") == 360
        found = axe.Axe().run(page).response["violations"]
        browser.close()
    assert [one["id"] for one in found if one["impact"] in ("serious", "critical")] == []
