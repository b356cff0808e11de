"""Another office program opens the workbook: the same numbers, and pages without cut ones."""

import csv
import shutil
import subprocess
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from pumplife.report.workbook import write_workbook
from pumplife.report.write import write_table

OFFICE = shutil.which("soffice")
EVERY_SHEET = "csv:Text - txt - csv (StarCalc):44,34,76,1,,0,false,false,false,false,false,-1"

pytestmark = pytest.mark.skipif(OFFICE is None, reason="needs LibreOffice (soffice)")


def convert(book: Path, form: str) -> Path:
    """Convert a workbook, with a profile of its own, into a folder beside it."""
    out = book.parent / form[:3]
    profile = (book.parent / "profile").as_uri()
    command = [str(OFFICE), f"-env:UserInstallation={profile}", "--headless"]
    command += ["--convert-to", form, "--outdir", str(out), str(book)]
    subprocess.run(command, check=True, capture_output=True, timeout=500)
    return out


@pytest.fixture(scope="module")
def book(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, SimpleNamespace]:
    from tests.report.conftest import make_study

    folder = tmp_path_factory.mktemp("office")
    study = make_study(folder)
    wide = study.tables["intervals"]
    study.tables["intervals"] = wide.assign(saving_high=[1.23456789e11, -9.87654321e8, np.nan])
    study.tables["audit"].loc[0, "what"] = '=HYPERLINK("http://a.b")'
    write_workbook(study, folder / "study.xlsx")
    return folder / "study.xlsx", study


def read_number(cell: str) -> float:
    """A number as the other program wrote it."""
    if cell in ("", "no end"):
        return np.inf if cell else np.nan
    return float(cell[:-1]) / 100 if cell.endswith("%") else float(cell)


def test_numbers_are_those_of_the_tables(book: tuple[Path, SimpleNamespace]) -> None:
    path, study = book
    sheets = convert(path, EVERY_SHEET)
    compared = 0
    for name in ("intervals", "due", "stock", "budget", "fits", "lives"):
        write_table(study.tables[name], path.parent / f"{name}.csv")
        table = pd.read_csv(path.parent / f"{name}.csv")
        with (sheets / f"study-{name}.csv").open(encoding="utf-8", newline="") as file:
            rows = list(csv.reader(file))
        assert len(rows) == len(table) + 1
        for place, column in enumerate(table.columns):
            if pd.api.types.is_numeric_dtype(table[column]) and table[column].notna().any():
                seen = [read_number(row[place]) for row in rows[1:]]
                np.testing.assert_allclose(seen, table[column], rtol=1e-8)
                compared += len(seen)
    assert compared > 1000
    text = (sheets / "study-audit.csv").read_text(encoding="utf-8")
    assert '=HYPERLINK(""http://a.b"")' in text


@pytest.mark.skipif(shutil.which("pdftotext") is None, reason="needs pdftotext")
def test_pages_show_every_number(book: tuple[Path, SimpleNamespace]) -> None:
    path, study = book
    few = {name: study.tables[name].head(30) for name in ("intervals", "due", "fits", "audit")}
    write_workbook(SimpleNamespace(**{**vars(study), "tables": few}), path.parent / "few.xlsx")
    made = convert(path.parent / "few.xlsx", "pdf") / "few.pdf"
    command = ["pdftotext", "-layout", str(made), "-"]
    text = subprocess.run(command, check=True, capture_output=True, timeout=100).stdout.decode()
    assert text.count("\f") > len(few)
    assert "###" not in text
    assert "123,456,789,000" in text
