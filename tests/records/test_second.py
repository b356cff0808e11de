"""Work is the same by one process and by two, also where the second one gives up."""

import multiprocessing
import os
import subprocess
import sys
import threading
import time
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from pumplife.records import second
from pumplife.records.second import WORTH, in_turn, may_fork
from pumplife.study import audit_records

WORDS = np.array(["a", "", "b", "a"] * 300, dtype=object)
WIDE = np.tile(WORDS, (3, 1))

ALONE = "PUMPLIFE_TEST_BY_ITSELF"
HERE = os.getpid()
OTHER_BEGAN = multiprocessing.get_context("spawn").Event()


@pytest.fixture(scope="module")
def two(request: pytest.FixtureRequest) -> None:
    """Skip where there is no second processor; beside threads of other tests run by itself."""
    if may_fork():
        return
    if sys.platform != "linux" or len(os.sched_getaffinity(0)) < 2:
        pytest.skip("one processor, or no fork here")
    assert ALONE not in os.environ, "threads were left in the process of its own too"
    call = [sys.executable, "-m", "pytest", "-p", "no:cacheprovider", "-p", "no:xdist", "-v", "-rs"]
    own = os.environ | {ALONE: "yes"}
    done = subprocess.run(
        [*call, str(request.path)], capture_output=True, text=True, check=False, env=own
    )
    assert done.returncode == 0, done.stdout
    assert "skipped" not in done.stdout, done.stdout
    pytest.skip("passed in a process of its own, since other tests left threads here")


needs_two = pytest.mark.usefixtures("two")


def tell(number: int) -> tuple[int, dict[str, object]]:
    """The process, and all kinds of columns; the first process waits for the second to begin."""
    if os.getpid() == HERE:
        OTHER_BEGAN.wait(60.0)
    else:
        OTHER_BEGAN.set()
    odd = [None, np.nan, 1, "x"] * 300
    frame = pd.DataFrame({"word": WORDS, "odd": odd, "n": number + np.arange(1200)})
    told = {"frame": frame, "word": WORDS, "wide": WIDE, "turned": np.asfortranarray(WIDE)}
    return os.getpid(), told


@needs_two
def test_results_of_a_second_process_come_whole_and_in_order() -> None:
    results = list(in_turn(tell, range(6)))
    assert len({process for process, _ in results}) == 2
    assert os.getpid() in {process for process, _ in results}
    for (_, told), (_, alone) in zip(results, map(tell, range(6)), strict=True):  # it has begun
        pd.testing.assert_frame_equal(told["frame"], alone["frame"])
        for name in ("word", "wide", "turned"):
            np.testing.assert_array_equal(told[name], alone[name])
            assert told[name].dtype == object
    assert not multiprocessing.active_children()


@needs_two
@pytest.mark.parametrize("ends", [MemoryError, SystemExit])
def test_what_the_second_process_lacks_is_done_here(ends: type[BaseException]) -> None:
    here = os.getpid()

    def fails_there(number: int) -> int:
        if os.getpid() != here:
            raise ends
        time.sleep(0.05)
        return number

    assert list(in_turn(fails_there, range(5))) == list(range(5))
    assert not multiprocessing.active_children()


@needs_two
def test_a_second_process_that_is_killed_is_made_up_for() -> None:
    here = os.getpid()

    def dies_there(number: int) -> int:
        if os.getpid() != here:
            os._exit(9)
        time.sleep(0.05)
        return number

    assert list(in_turn(dies_there, range(5))) == list(range(5))


@needs_two
def test_an_error_is_told_by_this_process() -> None:
    def fails(number: int) -> int:
        time.sleep(0.02)
        if number == 2:
            raise ValueError("number 2")
        return number

    with pytest.raises(ValueError, match="number 2"):
        list(in_turn(fails, range(5)))
    assert not multiprocessing.active_children()


@needs_two
def test_who_stops_asking_leaves_no_process() -> None:
    results = in_turn(tell, range(40))
    next(results)
    results.close()  # type: ignore[attr-defined]
    assert not multiprocessing.active_children()


def test_one_process_for_little_or_where_there_is_no_other(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    OTHER_BEGAN.set()  # nobody is waited for
    assert {process for process, _ in in_turn(tell, range(3), WORTH - 1)} == {os.getpid()}
    monkeypatch.setattr(second, "may_fork", lambda: False)
    assert {process for process, _ in in_turn(tell, range(3))} == {os.getpid()}


def test_no_fork_beside_running_threads() -> None:
    wait = threading.Event()
    thread = threading.Thread(target=wait.wait)
    thread.start()
    assert not may_fork()
    wait.set()
    thread.join()


@needs_two
def test_an_audit_by_two_is_that_by_one(monkeypatch: pytest.MonkeyPatch) -> None:
    demo = Path(__file__).parents[2] / "data" / "demo"
    alone = audit_records(demo)
    monkeypatch.setattr(second, "WORTH", 0)
    monkeypatch.setattr("pumplife.lives.build.MOST_TICKETS", 150)
    both = audit_records(demo)
    for name in ("audit", "account", "questions"):
        pd.testing.assert_frame_equal(getattr(both, name), getattr(alone, name))
    assert both.stopped == alone.stopped
