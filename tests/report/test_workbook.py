"""The workbook reads back, and nothing a plant wrote runs as a formula."""

import datetime as dt
import zipfile
from pathlib import Path
from types import SimpleNamespace
from xml.etree import ElementTree

import numpy as np
import pandas as pd
import pytest
from python_calamine import CalamineWorkbook

from pumplife.report import first_sheet, sheets
from pumplife.report.first_sheet import CHAPTERS, name_sheet, sort_sheets
from pumplife.report.sheet_formats import count_places, number_code, places_of
from pumplife.report.sheets import CUT, MOST_LETTERS, count_kept, pick_rows, print_scale
from pumplife.report.titles import TABLES
from pumplife.report.workbook import write_workbook
from pumplife.ticket.cautions import CAUTIONS


@pytest.fixture
def path(tmp_path: Path, study: SimpleNamespace) -> Path:
    target = tmp_path / "study.xlsx"
    write_workbook(study, target)
    return target


def test_first_sheet_explains_every_other(path: Path, study: SimpleNamespace) -> None:
    book = CalamineWorkbook.from_path(str(path))
    assert book.sheet_names[0] == "read me"
    assert set(book.sheet_names[1:]) == set(study.tables)
    lines = book.get_sheet_by_name("read me").to_python()
    text = "\n".join(str(cell) for line in lines for cell in line)
    for name in [*study.tables, *CAUTIONS, "Invented example data"]:
        assert name in text


def test_values_come_back(path: Path, study: SimpleNamespace) -> None:
    book = CalamineWorkbook.from_path(str(path))
    rows = book.get_sheet_by_name("due").to_python()
    due = study.tables["due"]
    assert rows[0][list(due.columns).index("age_now")] == "Age now [h]"
    assert len(rows) == len(due) + 1
    first = dict(zip(due.columns, rows[1], strict=True))
    assert first["pump_id"] == "P-000"
    assert first["age_now"] == pytest.approx(due["age_now"].iloc[0])
    assert first["do_on"] == due["do_on"].iloc[0].date()
    assert rows[5][list(due.columns).index("due_usage")] == ""


def test_texts_stay_texts(tmp_path: Path, study: SimpleNamespace) -> None:
    nasty = ["=1+1", "+cmd", "-2+3", "@x", "\t=1", "\r=1", "http://a.b", "{=1}", "0012", "no\nline"]
    study.tables = {"audit": pd.DataFrame({"what": nasty, "row": [1.0, np.inf, *[np.nan] * 8]})}
    target = tmp_path / "x.xlsx"
    write_workbook(study, target)
    sheet = CalamineWorkbook.from_path(str(target)).get_sheet_by_name("audit").to_python()
    assert [row[0].replace("_x000D_", "\r") for row in sheet[1:]] == nasty
    assert [row[1] for row in sheet[1:3]] == [1.0, "no end"]
    with zipfile.ZipFile(target) as parts:
        written = [parts.read(name) for name in parts.namelist() if "worksheets/sheet" in name]
    assert len(written) == 2
    assert not any(b"<f>" in one for one in written)
    assert b"<hyperlink" in written[0]
    assert b"<hyperlink" not in written[1]


def test_long_tables_are_cut_and_say_so(
    tmp_path: Path, study: SimpleNamespace, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sheets, "MOST_ROWS", 10)
    target = tmp_path / "x.xlsx"
    write_workbook(study, target)
    book = CalamineWorkbook.from_path(str(target))
    assert len(book.get_sheet_by_name("due").to_python()) == 11
    text = str(book.get_sheet_by_name("read me").to_python())
    assert "10 of 40 rows, the first ones; all of them are in tables/due.csv." in text
    assert "10 of 120 rows, failed first; all of them are in tables/lives.csv." in text


def test_a_cut_table_keeps_its_worst_rows(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sheets, "MOST_ROWS", 3)
    status = ["used", "set aside", "used", "used with an assumption", "set aside"]
    account = pd.DataFrame({"status": status, "rows": range(5)})
    assert pick_rows("account", account)["rows"].tolist() == [1, 4, 3]
    assert pick_rows("unknown", account)["rows"].tolist() == [0, 1, 2]


def test_a_text_longer_than_a_cell_says_that_it_is_cut(
    tmp_path: Path, study: SimpleNamespace
) -> None:
    study.tables = {"audit": pd.DataFrame({"what": ["x" * 40_000, "_x0041_"]})}
    write_workbook(study, tmp_path / "x.xlsx")
    sheet = CalamineWorkbook.from_path(str(tmp_path / "x.xlsx")).get_sheet_by_name("audit")
    assert sheet.to_python()[1][0] == "x" * MOST_LETTERS + CUT


@pytest.mark.parametrize(
    ("kind", "numbers", "places"),
    [
        ("count", [1.0, 20.0, 3000.0], 0),
        ("count", [0.5, 14.2], 2),
        ("count", [25.5, 14.2], 1),
        ("money", [12.5, 0.35], 2),
        ("money", [1250.55, 900.2], 0),
        ("usage", [3180.4, 12.3], 0),
        ("ratio", [1.25, 0.8], 2),
        ("share", [12.0, 5.0], 1),
        ("number", [0.00012], 3),
        ("number", [], 0),
    ],
)
def test_decimals_follow_the_typical_number(kind: str, numbers: list[float], places: int) -> None:
    assert count_places(kind, np.array(numbers)) == places


def test_a_small_number_is_never_shown_as_nothing() -> None:
    assert [places_of(number) for number in (0.0004, -0.0149, 3e-12)] == [5, 3, 8]
    assert number_code("share", 4) == "0.0000%"
    assert number_code("money", 0) == "#,##0"
    assert number_code("number", 2) == "#,##0.00"


MAIN = "{http://schemas.openxmlformats.org/spreadsheetml/2006/main}"


def test_formats_widths_and_printing(tmp_path: Path, study: SimpleNamespace) -> None:
    """Read from the file itself: what a reader of the sheet gets to see."""
    study.tables = {"due": study.tables["due"]}
    write_workbook(study, tmp_path / "x.xlsx")
    with zipfile.ZipFile(tmp_path / "x.xlsx") as parts:
        sheet = ElementTree.fromstring(parts.read("xl/worksheets/sheet2.xml"))
        styles = ElementTree.fromstring(parts.read("xl/styles.xml"))
        names = parts.read("xl/workbook.xml").decode()
    codes = {form.get("numFmtId"): form.get("formatCode") for form in styles.iter(f"{MAIN}numFmt")}
    looks = next(styles.iter(f"{MAIN}cellXfs"))
    cells = list(next(row for row in sheet.iter(f"{MAIN}row") if row.get("r") == "2"))
    names_of = list(study.tables["due"].columns)
    of = {
        names_of[ord(str(cell.get("r"))[0]) - ord("A")]: codes.get(
            looks[int(str(cell.get("s")))].get("numFmtId"), "built in"
        )
        for cell in cells
    }
    assert of["due_on"] == "yyyy-mm-dd"
    assert of["failure_prob_13_weeks"] == "0.0%"
    assert of["age_now"] == of["priority"] == "#,##0"
    pane = next(sheet.iter(f"{MAIN}pane"))
    assert (pane.get("xSplit"), pane.get("ySplit")) == ("5", "1")
    assert next(sheet.iter(f"{MAIN}autoFilter")).get("ref") == "A1:Q41"
    page = next(sheet.iter(f"{MAIN}pageSetup"))
    columns = [[float(str(one.get(key))) for key in ("width", "min", "max")]
               for one in sheet.iter(f"{MAIN}col")]  # fmt: skip
    assert min(width for width, _, _ in columns) >= 9
    across = sum(width * (last - first + 1) for width, first, last in columns)
    scale = int(str(page.get("scale")))
    assert (page.get("orientation"), page.get("fitToHeight")) == ("landscape", None)
    assert scale == pytest.approx(100 * sheets.PAPER_WIDTH / min(across, 180.0), abs=1)
    assert "due!$1:$1" in names
    assert "Invented example data" in str(next(sheet.iter(f"{MAIN}oddHeader")).text)


def test_columns_are_printed_on_one_page_while_they_can_be_read() -> None:
    wide = np.arange(20.0, 1000.0, 7.0)
    scale = np.array([print_scale(across) for across in wide])
    assert (scale[wide < sheets.PAPER_WIDTH] == 100).all()
    on_one = wide <= sheets.PAGE_WIDTH
    assert (wide * scale / 100.0 <= sheets.PAPER_WIDTH)[on_one].all()
    assert set(scale[~on_one]) == {scale.min()}
    assert scale.min() * 11.0 / 100.0 > 6.5  # points, of letters of 11 points
    assert sheets.KEPT_IN_SIGHT + sheets.WIDEST < sheets.PAGE_WIDTH  # a page holds any column


def test_names_of_rows_stay_in_sight() -> None:
    names = ["service", "size_mm", "side", "kit", "interval", "hazard"]
    assert count_kept(names, [12.0] * 6) == 4
    assert count_kept(names, [30.0] * 6) == 1
    assert count_kept(["interval"], [12.0]) == 1
    assert count_kept([], []) == 0


def test_every_table_has_its_place_and_a_sheet_of_its_own() -> None:
    placed = [name for mine in CHAPTERS.values() for name in mine]
    assert len(placed) == len(set(placed))
    assert sort_sheets(["zebra", "audit", "due"]) == ["due", "audit", "zebra"]
    sheet_names = [name_sheet(name) for name in {*TABLES, *placed}]
    assert len({name.lower() for name in sheet_names}) == len(sheet_names)
    assert name_sheet("a/b" + "c" * 40) == "a-b" + "c" * 28


def test_chapters_follow_the_page() -> None:
    """The first table of each chapter stands on the page in the order of the chapters."""
    page = Path(first_sheet.__file__).with_name("page.html").read_text(encoding="utf-8")
    found = [page.find(f"about.{name}[0]") for name in ("due", "budget", "stock", "fits")]
    assert found == sorted(found)
    assert -1 not in found
    order = sort_sheets(["fits", "stock", "budget", "due"])
    assert order == ["due", "budget", "stock", "fits"]


def test_tickets_are_said_to_lie_beside_it(tmp_path: Path, study: SimpleNamespace) -> None:
    for tickets, told in ((0, False), (3, True)):
        write_workbook(study, tmp_path / "x.xlsx", tickets=tickets)
        book = CalamineWorkbook.from_path(str(tmp_path / "x.xlsx"))
        assert (
            "tickets/returned.xlsx" in str(book.get_sheet_by_name("read me").to_python())
        ) is told


def test_same_study_same_workbook(tmp_path: Path, study: SimpleNamespace) -> None:
    for name in ("a.xlsx", "b.xlsx"):
        write_workbook(study, tmp_path / name)
    assert (tmp_path / "a.xlsx").read_bytes() == (tmp_path / "b.xlsx").read_bytes()
    with zipfile.ZipFile(tmp_path / "a.xlsx") as parts:
        assert b"2025-06-30" in parts.read("docProps/core.xml")
    assert dt.date(2025, 6, 30) == study.records.plant.records_to.date()
