"""Whatever stops the work leaves whole results: the old ones, or the new."""

import os
import signal
import subprocess
import sys
import time
from pathlib import Path
from types import SimpleNamespace

import pytest

from pumplife import cli
from pumplife.records.files import write_whole
from pumplife.report import write
from pumplife.report.progress import USUAL, USUAL_STEPS, Progress
from pumplife.report.write import LEFT_AFTER, write_study
from pumplife.study import STEPS

from ..plants import small_plant


def contents(folder: Path) -> dict[str, bytes]:
    found = (path for path in sorted(folder.rglob("*")) if path.is_file())
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in found}


MOMENTS = ("write_table", "gather_figures", "write_page", "write_workbook", "_settings")


@pytest.mark.parametrize("moment", MOMENTS)
def test_an_interrupt_while_writing_leaves_the_old_results(
    moment: str, tmp_path: Path, study: SimpleNamespace, monkeypatch: pytest.MonkeyPatch
) -> None:
    old = tmp_path / "out"
    (old / "tables").mkdir(parents=True)
    (old / "study.json").write_text('{"made_by": "pumplife", "files": {"tables/a.csv": ""}}')
    (old / "tables" / "a.csv").write_text("a\n1\n")
    before = contents(old)

    def stop(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(write, moment, stop)
    with pytest.raises(KeyboardInterrupt):
        write_study(study, old)
    assert contents(old) == before
    assert [path.name for path in tmp_path.iterdir()] == ["out"]


def test_an_interrupt_between_old_and_new_brings_the_old_back(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    fresh, target, old = (tmp_path / name for name in ("new", "out", "old"))
    fresh.mkdir()
    target.mkdir()
    (target / "kept").write_text("old")
    rename = Path.rename

    def stop_at_new(self: Path, to: Path) -> Path:
        if self == fresh:
            raise KeyboardInterrupt
        return rename(self, to)

    monkeypatch.setattr(Path, "rename", stop_at_new)
    with pytest.raises(KeyboardInterrupt):
        write._exchange(fresh, target, old)
    assert (target / "kept").read_text() == "old"


def test_what_a_killed_study_left_is_cleared_once_it_is_old(tmp_path: Path) -> None:
    target = tmp_path / "out"
    left, fresh, notes = (
        tmp_path / name for name in (".out-abcdefgh", ".out-hgfedcba", ".out-my_notes")
    )
    for folder in (left, fresh, notes):
        (folder / "new").mkdir(parents=True)
    (notes / "thesis.txt").write_text("years of work")
    long_ago = time.time() - 2 * LEFT_AFTER
    for folder in (left, notes):
        os.utime(folder, (long_ago, long_ago))
    write._clear_leftovers(target)
    assert sorted(path.name for path in tmp_path.iterdir()) == [fresh.name, notes.name]


def test_a_file_is_whole_or_as_it_was(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    file = tmp_path / "rows.csv"
    write_whole("old\n", file)

    def stop(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(Path, "replace", stop)
    with pytest.raises(KeyboardInterrupt):
        write_whole("new\n", file)
    assert file.read_text(encoding="utf-8") == "old\n"
    assert [path.name for path in tmp_path.iterdir()] == ["rows.csv"]


@pytest.mark.skipif(sys.platform == "win32", reason="Windows can't send these signals")
def test_ctrl_c_while_results_are_written_leaves_nothing(tmp_path: Path) -> None:
    plant, out = small_plant(tmp_path / "plant"), tmp_path / "results" / "out"
    out.parent.mkdir()
    call = [sys.executable, "-m", "pumplife", "study", str(plant), "--out", str(out)]
    with subprocess.Popen(call, stderr=subprocess.PIPE, text=True, preexec_fn=_heed) as work:  # noqa: PLW1509
        while work.poll() is None and not list(out.parent.glob(".out-*/new/tables")):
            time.sleep(0.02)
        work.send_signal(signal.SIGINT)
        assert work.stderr is not None
        said = work.stderr.read()
    assert work.returncode == 2
    assert "Interrupted; results written before are as they were." in said
    assert list(out.parent.iterdir()) == []


def _heed() -> None:
    """A process started in the background is deaf to Ctrl-C otherwise."""
    signal.signal(signal.SIGINT, signal.SIG_DFL)


@pytest.mark.skipif(sys.platform == "win32", reason="Windows can't send these signals")
def test_a_request_to_stop_is_heeded_as_ctrl_c_is() -> None:
    before = signal.getsignal(signal.SIGTERM)
    with pytest.raises(KeyboardInterrupt):
        _ask_to_stop()
    assert signal.getsignal(signal.SIGTERM) == before


def _ask_to_stop() -> None:
    with cli._tidy_when_stopped():
        os.kill(os.getpid(), signal.SIGTERM)
        time.sleep(1.0)


# ---- the bar -------------------------------------------------------------------------------------


def test_the_bar_knows_every_step_of_a_study() -> None:
    assert USUAL_STEPS == STEPS
    assert set(STEPS) <= set(USUAL)


def test_the_bar_is_full_after_what_was_expected_and_grows_by_what_was_not() -> None:
    with Progress(["fits", "report"]) as told:
        told("fits")
        told("what changed: prices")
        told("report")
        bar = told._bar
        assert bar.total == USUAL["fits"] + USUAL["report"] + USUAL["what"]
        assert told._left.total() == 0
