"""Records become lives and an account in proportion to their number, in blocks of pumps."""

import os
from pathlib import Path

import pandas as pd
import pytest

from pumplife.lives import build
from pumplife.study import RecordsCheck, audit_records

from .big_folder import write_big_folder

TIMES = 8
PUMPS, TICKETS, READINGS = 80, 4_000, 20_000


def processor() -> float:
    """Time of the processor so far, that of ended second processes too [s]."""
    return sum(os.times()[:4])


def check(place: Path, times: int) -> tuple[RecordsCheck, float]:
    """The audit of a folder so many times as large, and the processor's time [s]."""
    folder = write_big_folder(place / str(times), PUMPS * times, TICKETS * times, READINGS * times)
    start = processor()
    return audit_records(folder), processor() - start


def test_eight_times_the_records_take_eight_times_as_long(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Eight blocks against one; 64 times as long would be the square."""
    monkeypatch.setattr(build, "MOST_TICKETS", TICKETS)
    check(tmp_path / "first", 1)  # what is loaded once is loaded now
    (one, seconds), (many, more_seconds) = check(tmp_path, 1), check(tmp_path, TIMES)
    assert not one.stopped
    assert not many.stopped
    assert many.account["count"].sum() == pytest.approx(
        TIMES * one.account["count"].sum(), rel=0.05
    )
    assert more_seconds < 1.5 * TIMES * seconds


def test_an_audit_takes_some_tens_of_times_what_pandas_needs_to_read_the_files(
    tmp_path: Path,
) -> None:
    """Measured once with both cores busy: 32 times. It falls as folders grow."""
    check(tmp_path / "first", 1)
    _, seconds = check(tmp_path, TIMES)
    folder, start = tmp_path / str(TIMES), processor()
    for name in ("pumps", "rebuilds", "readings"):
        pd.read_csv(folder / f"{name}.csv", dtype=str, keep_default_na=False)
    ratio = seconds / (processor() - start)
    print(f"audit over pandas reading the files as text: {ratio:.0f} times")
    assert ratio < 80.0
