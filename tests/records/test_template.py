"""The empty plant folder."""

import re
import tomllib

import pytest

from pumplife.errors import OutputError
from pumplife.records.audit import AuditLog
from pumplife.records.plant import build_plant
from pumplife.records.read import read_records
from pumplife.records.tables import TABLES
from pumplife.records.template import write_template


def test_the_template_holds_every_table_and_column(tmp_path):
    write_template(tmp_path / "new")
    for name, table in TABLES.items():
        assert (tmp_path / "new" / f"{name}.csv").read_text() == ",".join(table.headings) + "\n"
    explained = (tmp_path / "new" / "README columns.txt").read_text(encoding="utf-8")
    assert "failed_part: the part blamed; none = no part failed, blank = not written" in explained
    assert len((tmp_path / "new" / "README.txt").read_text().splitlines()) <= 15


def test_the_template_reads_as_a_plant_with_nothing_in_it(tmp_path):
    write_template(tmp_path)
    records = read_records(tmp_path)
    audit = records.log.frame()
    assert set(audit.loc[audit["severity"].eq("stop"), "rule"]) == {"empty_file", "records_to"}
    assert not audit["rule"].isin(["unknown_file", "unknown_setting"]).any()


def test_every_setting_in_the_template_is_known(tmp_path):
    write_template(tmp_path)
    commented = (tmp_path / "plant.toml").read_text(encoding="utf-8")
    text = re.sub(r'^# (\[|[a-z_]+ = |")', r"\1", commented, flags=re.MULTILINE)
    log = AuditLog()
    plant = build_plant(tomllib.loads(text), "plant.toml", log)
    assert log.frame().empty
    assert plant.finance.starts == (1, 1)
    assert plant.cost("spill", "slip") == 180.0
    assert len(plant.outages()) == 2


def test_a_folder_that_is_not_empty_is_left_alone(tmp_path):
    (tmp_path / "mine.txt").write_text("keep")
    with pytest.raises(OutputError, match="isn't empty: name a new folder"):
        write_template(tmp_path)
    assert [path.name for path in tmp_path.iterdir()] == ["mine.txt"]


def test_the_template_says_where_settings_go_beside_a_workbook(tmp_path):
    write_template(tmp_path)
    told = (tmp_path / "README.txt").read_text(encoding="utf-8")
    assert "put plant.toml\n    beside the workbook, or add a sheet named plant" in told
