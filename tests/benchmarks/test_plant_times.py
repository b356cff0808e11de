"""The work of a study grows with the plant as it should: in arrays, not in Python calls.

How long a study takes is measured by `make prove` and stands in tests/prove/results.csv; here
only how the work grows, which doesn't depend on the machine.
"""

import cProfile
import pstats
import time
from dataclasses import dataclass, replace
from pathlib import Path

import pytest

from pumplife.lives.build import Lives, build_lives
from pumplife.records.duty import build_duty
from pumplife.records.read import Records, read_records
from pumplife.records.usage import build_clock
from pumplife.study import Study, run_study
from tests.plants import small_plant
from tests.prove.plants import Plant, make_plant, write_plant

TIMES = 4
SERVICES = ("press sludge",)  # hazardous; one is enough to see how work grows


@dataclass(frozen=True, kw_only=True, eq=False)
class Work:
    """A study, the function calls that Python made for it, and the processor's time [s]."""

    study: Study
    calls: int
    seconds: float


@pytest.fixture(scope="module")
def works(tmp_path_factory: pytest.TempPathFactory) -> tuple[Work, Work]:
    """The study of a plant and that of one four times as large."""
    folder = tmp_path_factory.mktemp("plants")
    run_study(small_plant(folder / "first"))  # what is loaded once is loaded now
    return work_of(folder, 1), work_of(folder, TIMES)


def work_of(folder: Path, times: int) -> Work:
    plant = write_plant(keep_services(make_plant(6, scale=times)), folder / str(times))
    profile = cProfile.Profile()
    start = time.process_time()
    study = profile.runcall(run_study, plant)
    seconds = time.process_time() - start
    return Work(study=study, calls=pstats.Stats(profile).total_calls, seconds=seconds)


def keep_services(plant: Plant) -> Plant:
    """The pumps of `SERVICES` with all that is written of them."""
    pumps = plant.tables["pumps"]
    kept = set(pumps.loc[pumps["service"].isin(SERVICES), "pump_id"])
    tables = dict(plant.tables)
    for name, table in plant.tables.items():
        if "pump_id" in table:
            tables[name] = table[table["pump_id"].isin(kept)]
        elif "service" in table:
            tables[name] = table[table["service"].isin(SERVICES)]
    return replace(plant, tables=tables)


def test_four_times_the_pumps_give_four_times_the_lives(works: tuple[Work, Work]) -> None:
    one, four = (work.study.tables for work in works)
    for name in ("lives", "due"):
        assert len(four[name]) == pytest.approx(TIMES * len(one[name]), rel=0.15)
    for name in ("intervals", "stock"):
        assert len(four[name]) == pytest.approx(len(one[name]), rel=0.15)


def test_python_makes_hardly_more_calls_for_four_times_the_pumps(
    works: tuple[Work, Work],
) -> None:
    """A loop over lives, tickets or readings would make up to four times as many."""
    one, four = works
    assert four.calls < 1.5 * one.calls


def test_time_grows_less_than_with_the_square(works: tuple[Work, Work]) -> None:
    """Four times as long would be in proportion, sixteen times the square."""
    one, four = works
    assert four.seconds < 2 * TIMES * one.seconds


def test_clock_and_lives_take_no_more_calls_and_no_more_than_their_share_of_time(
    tmp_path: Path,
) -> None:
    """Usage clock and lives alone: eight times the pumps, hardly more calls, time in proportion."""
    folders = {times: tmp_path / str(times) for times in (1, 8)}
    plants = {n: write_plant(make_plant(6, scale=n), folder) for n, folder in folders.items()}
    work = {times: work_of_lives(read_records(plant)) for times, plant in plants.items()}
    (calls, seconds, lives), (more_calls, more_seconds, more_lives) = work[1], work[8]
    assert more_lives == pytest.approx(8 * lives, rel=0.15)
    assert more_calls < 2.0 * calls
    assert more_seconds < 1.5 * 8 * seconds


def work_of_lives(records: Records) -> tuple[int, float, int]:
    """Function calls, processor's time [s], and lives, from clean records on."""
    profile = cProfile.Profile()
    start = time.process_time()
    lives = profile.runcall(_clock_and_lives, records)
    seconds = time.process_time() - start
    return pstats.Stats(profile).total_calls, seconds, len(lives.table)


def _clock_and_lives(records: Records) -> Lives:
    duty = build_duty(records)
    return build_lives(records, duty, build_clock(records, duty))
