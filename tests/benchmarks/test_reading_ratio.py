"""Reading grows with the records as it should: in arrays, and in proportion."""

import cProfile
import pstats
import time
from dataclasses import dataclass
from pathlib import Path

import pytest

from pumplife.records import second
from pumplife.records.read import Records, read_records

from .big_folder import write_big_folder

TIMES = 8
PUMPS, TICKETS, READINGS = 200, 10_000, 50_000


@dataclass(frozen=True, kw_only=True, eq=False)
class Work:
    """What was read, the function calls that Python made for it, the processor's time [s]."""

    records: Records
    calls: int
    seconds: float


@pytest.fixture(scope="module")
def works(tmp_path_factory: pytest.TempPathFactory) -> tuple[Work, Work]:
    """A folder and one eight times as large; in one process, so that its calls are all there."""
    place = tmp_path_factory.mktemp("folders")
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(second, "may_fork", lambda: False)
        return work_of(place, 1), work_of(place, TIMES)


def work_of(place: Path, times: int) -> Work:
    folder = write_big_folder(place / str(times), PUMPS * times, TICKETS * times, READINGS * times)
    profile = cProfile.Profile()
    start = time.process_time()
    records = profile.runcall(read_records, folder)
    seconds = time.process_time() - start
    return Work(records=records, calls=pstats.Stats(profile).total_calls, seconds=seconds)


def test_every_row_is_read(works: tuple[Work, Work]) -> None:
    for work, times in zip(works, (1, TIMES), strict=True):
        assert not work.records.fatal
        assert len(work.records.table("readings")) == READINGS * times
        lost = work.records.aside["rebuilds"]
        assert len(work.records.table("rebuilds")) + lost == TICKETS * times
        assert lost / (TICKETS * times) < 0.003


def test_reading_takes_time_in_proportion(works: tuple[Work, Work]) -> None:
    """Eight times the records: eight times as long in proportion, 64 times the square."""
    one, many = works
    assert many.seconds < 1.5 * TIMES * one.seconds


def test_python_makes_fewer_calls_than_in_proportion(works: tuple[Work, Work]) -> None:
    """A Python loop over rows would make eight times as many."""
    one, many = works
    assert many.calls < 0.6 * TIMES * one.calls
