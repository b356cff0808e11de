"""The queue of questions on the page and in the tables."""

import pandas as pd

from pumplife.report.write import write_study
from pumplife.study import run_study

from ..faults.plant import plant


def test_questions_stand_on_the_page_and_in_the_tables(tmp_path):
    study = run_study(plant("part_not_named", tmp_path / "plant"))
    write_study(study, tmp_path / "out")
    page = (tmp_path / "out" / "report.html").read_text(encoding="utf-8")
    assert "Questions that only you can settle" in page
    assert "part|R-043|P-3" in page
    rows = pd.read_csv(tmp_path / "out" / "tables" / "questions.csv")
    assert rows["question"].tolist() == ["part|R-043|P-3"]
    assert rows["choices"].tolist() == ["diaphragm / ball / seat / none"]
    sheet = pd.read_excel(
        tmp_path / "out" / "study.xlsx", sheet_name="questions", engine="calamine"
    )
    assert len(sheet) == 1
