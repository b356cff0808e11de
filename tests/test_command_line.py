"""The command line: a sentence and the right exit code for whatever is wrong, never a traceback.

0 done, 1 the records stop the study, 2 a wrong call. Nothing is left half-written.
"""

import subprocess
import sys
from contextlib import redirect_stderr, redirect_stdout
from io import StringIO
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from pumplife.cli import DONE, STOPPED, WRONG_CALL, main
from pumplife.report.write import write_table
from pumplife.study import run_study

from .plants import SETTINGS, on_day, pump_rows, rebuild_rows, small_plant, small_tables

STOPPED_TABLES = ["audit.csv", "questions.csv"]


class Run:
    """One call of the command line, and what it left behind."""

    def __init__(self, folder: Path, out: Path | None = None):
        self.out = folder.parent / "results" if out is None else out
        before = set(self.out.parent.iterdir()) if self.out.parent.is_dir() else set()
        with redirect_stdout(StringIO()) as said, redirect_stderr(StringIO()) as complained:
            self.code = main(["study", str(folder), "--out", str(self.out)])
        self.said, self.complained = said.getvalue(), complained.getvalue()
        after = set(self.out.parent.iterdir()) if self.out.parent.is_dir() else set()
        self.left = {path.name for path in after - before}
        for text in (self.said, self.complained):
            assert "Traceback" not in text

    @property
    def tables(self) -> list[str]:
        return sorted(path.name for path in (self.out / "tables").iterdir())

    def audit(self, rule: str) -> pd.DataFrame:
        table = pd.read_csv(self.out / "tables" / "audit.csv", keep_default_na=False)
        return table[table["rule"] == rule]

    def refuses(self, code: int, *words: str) -> None:
        """Nothing written, one sentence on the error stream that holds the words."""
        assert self.code == code
        assert self.left == set()
        assert self.said == ""
        assert self.complained.strip().endswith(".")
        for word in words:
            assert word in self.complained

    def stops(self, rule: str, *words: str) -> None:
        """The audit and nothing that rests on lives; the stop is said as well as written."""
        assert self.code == STOPPED
        assert self.left == {self.out.name}
        assert self.tables == STOPPED_TABLES
        assert {"report.html", "study.xlsx", "study.json"} <= {p.name for p in self.out.iterdir()}
        row = self.audit(rule).iloc[0]
        assert row["severity"] == "stop"
        assert row["remedy"]
        for word in words:
            assert word in row["what"]
            assert word in self.said

    def goes_on(self, rule: str, *words: str, severity: str = "caution") -> pd.DataFrame:
        """All results, and an audit row that says what, what follows and what to do."""
        assert self.code == DONE
        assert self.complained == ""
        assert {"lives.csv", "fits.csv", "intervals.csv", "due.csv", "stock.csv"} <= set(
            self.tables
        )
        rows = self.audit(rule)
        assert set(rows["severity"]) == {severity}
        assert (rows["consequence"] != "").all()
        assert (rows["remedy"] != "").all()
        for word in words:
            assert rows["what"].str.contains(word, regex=False).any(), word
        return rows


@pytest.fixture
def run(tmp_path: Path) -> Any:
    """Give a function that studies the small plant with changes, or another path."""

    def study(path: Path | None = None, out: Path | None = None, **changes: Any) -> Run:
        folder = small_plant(tmp_path / "plant", **changes) if path is None else path
        return Run(folder, out)

    return study


# ---- wrong calls ---------------------------------------------------------------------------------


def test_a_folder_that_is_not_there(run: Any, tmp_path: Path) -> None:
    run(tmp_path / "nowhere").refuses(WRONG_CALL, "There is no folder", "nowhere")


def test_a_file_that_is_no_workbook(run: Any, tmp_path: Path) -> None:
    (tmp_path / "pumps.pdf").write_bytes(b"%PDF")
    run(tmp_path / "pumps.pdf").refuses(WRONG_CALL, "pumps.pdf", "neither a folder nor")


def test_a_broken_workbook(run: Any, tmp_path: Path) -> None:
    (tmp_path / "records.xlsx").write_bytes(b"PK\x03\x04 and then nothing")
    run(tmp_path / "records.xlsx").refuses(STOPPED, "records.xlsx", "can't be opened")


def test_an_output_folder_with_the_work_of_others(run: Any, tmp_path: Path) -> None:
    mine = tmp_path / "mine"
    mine.mkdir()
    (mine / "thesis.txt").write_text("years of work")
    run(out=mine).refuses(WRONG_CALL, "thesis.txt", "another output folder")
    assert [path.name for path in mine.iterdir()] == ["thesis.txt"]


def test_the_plant_folder_as_output(run: Any, tmp_path: Path) -> None:
    folder = small_plant(tmp_path / "plant")
    before = {path.name: path.read_bytes() for path in folder.iterdir()}
    run(folder, out=folder).refuses(WRONG_CALL, "plant")
    assert {path.name: path.read_bytes() for path in folder.iterdir()} == before


def test_an_output_that_cannot_be_made(run: Any, tmp_path: Path) -> None:
    (tmp_path / "file").write_text("not a folder")
    run(out=tmp_path / "file" / "results").refuses(WRONG_CALL, "can't be written", "Choose")
    run(out=tmp_path / "file").refuses(WRONG_CALL, "is a file", "Choose")
    assert (tmp_path / "file").read_text() == "not a folder"


def test_an_unknown_job_is_a_wrong_call(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as left:
        main(["guess"])
    assert left.value.code == WRONG_CALL
    assert "guess" in capsys.readouterr().err


# ---- records that stop the study -----------------------------------------------------------------


@pytest.mark.parametrize("name", ["pumps", "rebuilds"])
def test_a_needed_table_is_missing(run: Any, name: str) -> None:
    run(**{name: None}).stops("missing_table", f"There is no table {name}")


@pytest.mark.parametrize("text", ["", "rebuild_id,pump_id,opened_on,reason\n"])
def test_an_empty_table(run: Any, text: str) -> None:
    run(rebuilds=text).stops("empty_file", "rebuilds.csv has no rows")


def test_a_file_that_is_not_text(run: Any, tmp_path: Path) -> None:
    folder = small_plant(tmp_path / "plant")
    text = (folder / "rebuilds.csv").read_text(encoding="utf-8")
    (folder / "rebuilds.csv").write_bytes(text.encode("utf-32-le"))
    run(folder).stops("unreadable_file", "rebuilds.csv isn't text")


@pytest.mark.parametrize("settings", [None, SETTINGS.replace("records_to", "# records_to")])
def test_no_last_day_of_the_records(run: Any, settings: str | None) -> None:
    run(plant_toml=settings).stops("records_to", "until which day the records are complete")


def test_settings_that_are_no_settings(run: Any) -> None:
    run(plant_toml="[plant\n").refuses(STOPPED, "plant.toml can't be understood", "line 1")


def test_a_unit_of_usage_that_is_none(run: Any) -> None:
    settings = SETTINGS.replace('"hours"', '"miles"')
    run(plant_toml=settings).refuses(STOPPED, "usage_unit", "miles", "hours, cycles, days")


def test_no_usage_of_any_pump(run: Any, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    silent = [{k: v for k, v in row.items() if k != "use_per_week"} for row in pump_rows()]
    known = run(pumps=silent, readings=None)
    known.stops("no_lives", "No life of any wearing part")
    assert set(known.audit("usage_unknown")["pump_id"]) == {"P-1", "P-2", "P-3"}
    capsys.readouterr()
    assert main(["audit", str(tmp_path / "plant")]) == STOPPED
    assert "No life of any wearing part" in capsys.readouterr().out


# ---- records that only cost a row ----------------------------------------------------------------


def test_words_in_an_old_encoding_are_read(run: Any, tmp_path: Path) -> None:
    rows = [row | {"reason": row["reason"].replace("breakdown", "Störung")}
            for row in rebuild_rows()]  # fmt: skip
    settings = SETTINGS + '\n[codes.rebuilds.reason]\n"Störung" = "breakdown"\n'
    folder = small_plant(tmp_path / "plant", plant_toml=settings, rebuilds=rows)
    text = (folder / "rebuilds.csv").read_text(encoding="utf-8")
    (folder / "rebuilds.csv").write_bytes(text.encode("cp1252"))
    old = run(folder)
    assert old.code == DONE
    fresh = run_study(small_plant(tmp_path / "fresh"), results=())
    write_table(fresh.tables["fits"], tmp_path / "fits.csv")
    files = (old.out / "tables" / "fits.csv", tmp_path / "fits.csv")
    assert files[0].read_bytes() == files[1].read_bytes()


@pytest.fixture(scope="module")
def spoilt(tmp_path_factory: pytest.TempPathFactory) -> Run:
    """The small plant with two tickets and two pumps of one number, an unknown code, an idle pump.

    The code stands in another ticket than the repeated number, the repeat is of another pump than
    the idle one: none of them changes what is said of the others.
    """
    rows = rebuild_rows()
    rows[0]["reason"] = "brkdwn"
    first = pump_rows()[0]
    folder = small_plant(
        tmp_path_factory.mktemp("spoilt") / "plant",
        rebuilds=[*rows, rows[1] | {"opened_on": on_day(350)}],
        pumps=[*pump_rows(), first | {"site": "elsewhere"}, first | {"pump_id": "P-4"}],
    )
    return Run(folder)


def test_a_code_that_nobody_knows(spoilt: Run) -> None:
    told = spoilt.goes_on("unreadable_code", "brkdwn", "breakdown, planned")
    assert told["row"].tolist() == ["2"]
    assert told["pump_id"].tolist() == ["P-1"]
    assert told["remedy"].str.contains("[codes.rebuilds.reason]", regex=False).all()


def test_two_pumps_and_two_different_tickets_with_one_number(spoilt: Run) -> None:
    told = spoilt.goes_on("repeated_row", "site differ", "row 2 is used", "opened_on differ")
    told = told.set_index("table")
    assert told["row"].to_dict() == {"pumps": "5", "rebuilds": "7"}
    assert len(told) == 2
    assert "site differ" in told.loc["pumps", "what"]
    assert "row 2 is used" in told.loc["pumps", "what"]
    assert "opened_on differ" in told.loc["rebuilds", "what"]


def test_a_kit_without_contents(run: Any) -> None:
    other = [{"kit": "OTHER", "part_no": "BALL", "quantity": 4}]
    told = run(kit_contents=other)
    told.goes_on("unknown_kit", "FK", "no contents in kit_contents")
    told.goes_on("no_interval", "Kit FK holds no wearing part")
    intervals = pd.read_csv(told.out / "tables" / "intervals.csv")
    assert intervals["interval"].isna().all()
    assert intervals["verdict"].str.contains("complete kit_contents").any()


def test_a_pump_without_a_ticket(spoilt: Run) -> None:
    told = spoilt.goes_on("no_rebuild", "The pump has no order", severity="note")
    assert told["pump_id"].tolist() == ["P-4"]


# ---- an empty plant, and help --------------------------------------------------------------------


def test_a_new_folder_says_what_to_fill_before_a_study_can_be_made(
    run: Any, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["new", str(tmp_path / "plant")]) == DONE
    assert "pumps.csv and rebuilds.csv first" in capsys.readouterr().out
    assert {f"{name}.csv" for name in small_tables()} < {
        path.name for path in (tmp_path / "plant").iterdir()
    }
    empty = run(tmp_path / "plant")
    empty.stops("empty_file", "has no rows")
    assert set(empty.audit("empty_file")["table"]) == {"pumps", "rebuilds"}


def test_a_new_folder_overwrites_nothing(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = small_plant(tmp_path / "plant")
    before = {path.name: path.read_bytes() for path in folder.iterdir()}
    assert main(["new", str(folder)]) == WRONG_CALL
    assert "isn't empty" in capsys.readouterr().err
    assert {path.name: path.read_bytes() for path in folder.iterdir()} == before


def test_an_audit_alone_writes_nothing_and_names_every_finding(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    rows = rebuild_rows()
    rows[0]["reason"] = "brkdwn"
    folder = small_plant(tmp_path / "plant", rebuilds=rows)
    assert main(["audit", str(folder)]) == DONE
    said = capsys.readouterr().out
    assert "brkdwn" in said
    assert "5 tickets used" in said
    assert [path.name for path in tmp_path.iterdir()] == ["plant"]
    (folder / "pumps.csv").unlink()
    assert main(["audit", str(folder)]) == STOPPED
    assert "There is no table pumps" in capsys.readouterr().out


def test_output_may_be_cut_short(tmp_path: Path) -> None:
    job = [sys.executable, "-m", "pumplife", "audit", "--rules"]
    with subprocess.Popen(
        job, stdout=subprocess.PIPE, stderr=subprocess.PIPE, cwd=Path(__file__).parents[1]
    ) as run:
        assert run.stdout is not None
        assert run.stderr is not None
        run.stdout.close()
        assert run.stderr.read() == b""
    assert run.returncode == DONE


HELP = """
import sys
from pumplife.cli import main
try:
    main(["--help"])
except SystemExit as left:
    assert left.code == 0
heavy = {"numpy", "scipy", "pandas", "matplotlib", "lifelines", "reliability", "jinja2"}
assert not heavy & set(sys.modules), heavy & set(sys.modules)
"""


def test_help_is_told_before_anything_heavy_is_loaded() -> None:
    done = subprocess.run(
        [sys.executable, "-c", HELP], capture_output=True, text=True, check=False,
        cwd=Path(__file__).parents[1],
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    for job in ("study", "audit", "new"):
        assert job in done.stdout


@pytest.mark.parametrize("word", ["-1", "x", "1.5"])
def test_a_seed_that_is_no_whole_number(word: str, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as stopped:
        main(["study", "anywhere", "--out", "anywhere", "--seed", word])
    assert stopped.value.code == WRONG_CALL
    assert "whole number" in capsys.readouterr().err
