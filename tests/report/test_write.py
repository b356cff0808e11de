"""The output folder is whole or not there, and only ours is ever replaced."""

import json
import re
from html import unescape
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from pumplife.errors import OutputError
from pumplife.report import write
from pumplife.report.write import check_output, write_study, write_table


def contents(folder: Path) -> dict[str, bytes]:
    found = (path for path in sorted(folder.rglob("*")) if path.is_file())
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in found}


def test_same_study_same_bytes_everywhere(tmp_path: Path, study: SimpleNamespace) -> None:
    first = contents(write_study(study, tmp_path / "one"))
    second = contents(write_study(study, tmp_path / "two" / "deep"))
    assert first == second
    assert {"report.html", "study.xlsx", "study.json", "tables/due.csv"} <= set(first)
    assert sum(name.endswith(".svg") for name in first) == 11
    assert str(tmp_path).encode() not in b"".join(first.values())


def test_settings_name_every_file(tmp_path: Path, study: SimpleNamespace) -> None:
    out = write_study(study, tmp_path / "out")
    settings = json.loads((out / "study.json").read_text(encoding="utf-8"))
    assert settings["seed"] == 1
    assert settings["inputs"] == {"rebuilds.csv": "0" * 64}
    assert settings["versions"]["numpy"] == np.__version__
    assert settings["rows"]["due"] == 40
    assert set(settings["files"]) == set(contents(out)) - {"study.json"}


def test_every_link_of_the_page_arrives(tmp_path: Path, study: SimpleNamespace) -> None:
    out = write_study(study, tmp_path / "out")
    page = (out / "report.html").read_text(encoding="utf-8")
    links = {unescape(link) for link in re.findall(r'(?:href|src)="([^"#][^"]*)"', page)}
    files = {link.partition("#")[0] for link in links if not link.startswith("data:")}
    assert "tables/due.csv" in files
    assert all((out / name).is_file() for name in files)


def test_our_own_folder_is_replaced_whole(tmp_path: Path, study: SimpleNamespace) -> None:
    out = write_study(study, tmp_path / "out")
    study.tables = {name: frame for name, frame in study.tables.items() if name != "stock"}
    (out / ".DS_Store").write_text("left by a file browser")
    write_study(study, out)
    assert not (out / "tables" / "stock.csv").exists()
    assert [path.name for path in tmp_path.iterdir()] == ["out"]


def test_an_empty_folder_is_taken(tmp_path: Path, study: SimpleNamespace) -> None:
    (tmp_path / "out").mkdir()
    assert (write_study(study, tmp_path / "out") / "report.html").exists()


@pytest.mark.parametrize("settings", [None, "{}", "not json", '{"made_by": "someone"}', "[]"])
def test_a_foreign_folder_is_left_alone(
    tmp_path: Path, study: SimpleNamespace, settings: str | None
) -> None:
    out = tmp_path / "mine"
    out.mkdir()
    (out / "thesis.txt").write_text("years of work")
    if settings is not None:
        (out / "study.json").write_text(settings)
    before = contents(tmp_path)
    with pytest.raises(OutputError, match=r"holds what no study wrote: .*thesis\.txt"):
        write_study(study, out)
    with pytest.raises(OutputError, match="choose another output folder"):
        check_output(out)
    assert contents(tmp_path) == before


def test_notes_put_beside_our_results_are_left_alone(
    tmp_path: Path, study: SimpleNamespace
) -> None:
    out = write_study(study, tmp_path / "out")
    (out / "tables" / "my notes.txt").write_text("keep")
    with pytest.raises(OutputError, match=r"tables/my notes\.txt"):
        write_study(study, out)
    assert (out / "report.html").exists()


def test_the_records_are_never_overwritten(tmp_path: Path, study: SimpleNamespace) -> None:
    plant = tmp_path / "plant"
    plant.mkdir()
    study.records.source = plant
    for out in (plant, tmp_path):
        with pytest.raises(OutputError, match="holds the plant's own records"):
            write_study(study, out)
    write_study(study, plant / "results")


def test_a_file_in_the_way_is_named(tmp_path: Path, study: SimpleNamespace) -> None:
    (tmp_path / "out").write_text("x")
    with pytest.raises(OutputError, match="is a file"):
        write_study(study, tmp_path / "out")
    with pytest.raises(OutputError, match="can't be written to"):
        write_study(study, tmp_path / "out" / "below")


def test_a_folder_that_cannot_be_made_is_refused_before_the_work(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "afile").write_text("x")
    with pytest.raises(OutputError, match="afile is a file"):
        check_output(tmp_path / "afile" / "sub")
    with pytest.raises(OutputError, match="is the root of the disk"):
        check_output(Path(tmp_path.anchor))
    check_output(tmp_path / "new" / "deep")
    with pytest.raises(OutputError, match=r"can't be written to .*: File name too long"):
        check_output(tmp_path / ("n" * 300) / "deep")
    monkeypatch.setattr(write.os, "access", lambda *_: False)
    with pytest.raises(OutputError, match=f"you may not write in {tmp_path}"):
        check_output(tmp_path / "new" / "deep")


def test_a_failure_half_way_leaves_the_old_results(
    tmp_path: Path, study: SimpleNamespace, monkeypatch: pytest.MonkeyPatch
) -> None:
    out = write_study(study, tmp_path / "out")
    before = contents(tmp_path)

    def full_disk(*_: object, **__: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(write, "write_workbook", full_disk)
    with pytest.raises(OutputError, match="No space left on device"):
        write_study(study, out)
    assert contents(tmp_path) == before
    with pytest.raises(OutputError):
        write_study(study, tmp_path / "new")
    assert not (tmp_path / "new").exists()


def test_tables_are_plain_csv(tmp_path: Path) -> None:
    frame = pd.DataFrame(
        {
            "pump_id": ["Pümpe, 1", ""],
            "age": [1 / 3, np.nan],
            "saving": [-1.8e-15, -0.0],
            "upper": [np.inf, 2e-9],
            "on": pd.to_datetime(["2025-06-30 13:00", None]),
        },
        index=[7, 9],
    )
    path = tmp_path / "x.csv"
    write_table(frame, path)
    assert path.read_bytes().decode() == (
        'pump_id,age,saving,upper,on\n"Pümpe, 1",0.3333333333,0,inf,2025-06-30\n,,0,2e-09,\n'
    )
