"""The workbook reads back, and nothing a plant wrote runs as a formula."""

import datetime as dt
import zipfile
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
from python_calamine import CalamineWorkbook

from pumplife.report import workbook
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
    nasty = ["=1+1", "+cmd", "@x", "http://a.b", "{=1}", "0012", "no\nline"]
    study.tables = {"audit": pd.DataFrame({"what": nasty, "row": [1.0, np.inf, *[np.nan] * 5]})}
    target = tmp_path / "x.xlsx"
    write_workbook(study, target)
    sheet = CalamineWorkbook.from_path(str(target)).get_sheet_by_name("audit").to_python()
    assert [row[0] for row in sheet[1:]] == nasty
    assert [row[1] for row in sheet[1:3]] == [1.0, "no end"]
    with zipfile.ZipFile(target) as parts:
        sheets = [parts.read(name) for name in parts.namelist() if "worksheets/sheet" in name]
    assert not any(b"<f>" in sheet or b"<hyperlink" in sheet for sheet in sheets)


def test_long_tables_are_cut_and_say_so(
    tmp_path: Path, study: SimpleNamespace, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(workbook, "MOST_ROWS", 10)
    target = tmp_path / "x.xlsx"
    write_workbook(study, target)
    book = CalamineWorkbook.from_path(str(target))
    assert len(book.get_sheet_by_name("due").to_python()) == 11
    text = str(book.get_sheet_by_name("read me").to_python())
    assert "First 10 of 40 rows; all of them are in tables/due.csv." in text


def test_same_study_same_workbook(tmp_path: Path, study: SimpleNamespace) -> None:
    for name in ("a.xlsx", "b.xlsx"):
        write_workbook(study, tmp_path / name)
    assert (tmp_path / "a.xlsx").read_bytes() == (tmp_path / "b.xlsx").read_bytes()
    with zipfile.ZipFile(tmp_path / "a.xlsx") as parts:
        assert b"2025-06-30" in parts.read("docProps/core.xml")
    assert dt.date(2025, 6, 30) == study.records.plant.records_to.date()
