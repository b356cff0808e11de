"""Work is the same by one process and by two, also where the second one gives up."""

import os
import threading

import numpy as np
import pandas as pd
import pytest

from pumplife.lives import second
from pumplife.lives.second import in_turn, may_fork

WORDS = np.array(["a", "", "b", "a"], dtype=object)

needs_two = pytest.mark.skipif(not may_fork(), reason="one processor, or no fork here")


def tell(number: int) -> tuple[int, dict[str, object]]:
    """The process, and all kinds of columns."""
    frame = pd.DataFrame({"word": WORDS, "odd": [None, np.nan, 1, "x"], "n": number + np.arange(4)})
    return os.getpid(), {"frame": frame, "word": WORDS, "wide": np.tile(WORDS, (number + 1, 1))}


@needs_two
def test_every_other_result_comes_from_a_second_process() -> None:
    results = list(in_turn(tell, range(5)))
    processes = [process for process, _ in results]
    assert processes[0::2] == [os.getpid()] * 3
    assert len(set(processes[1::2])) == 1
    assert processes[1] != os.getpid()
    for (_, told), (_, alone) in zip(results, map(tell, range(5)), strict=True):
        pd.testing.assert_frame_equal(told["frame"], alone["frame"])
        for name in ("word", "wide"):
            np.testing.assert_array_equal(told[name], alone[name])
            assert told[name].dtype == object


@needs_two
def test_what_the_second_process_lacks_is_done_here() -> None:
    here = os.getpid()

    def fails_there(number: int) -> tuple[int, int]:
        if number == 3 and os.getpid() != here:
            raise MemoryError
        return os.getpid(), number

    results = list(in_turn(fails_there, range(7)))
    assert [number for _, number in results] == list(range(7))
    assert results[1][0] != here
    assert {process for process, _ in results[3:]} == {here}


@needs_two
def test_an_error_is_told_by_this_process() -> None:
    def fails(number: int) -> int:
        if number == 1:
            raise ValueError("number 1")
        return number

    with pytest.raises(ValueError, match="number 1"):
        list(in_turn(fails, range(4)))


def test_one_process_where_there_is_no_other(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(second, "may_fork", lambda: False)
    assert {process for process, _ in in_turn(tell, range(4))} == {os.getpid()}


def test_no_fork_beside_running_threads() -> None:
    wait = threading.Event()
    thread = threading.Thread(target=wait.wait)
    thread.start()
    assert not may_fork()
    wait.set()
    thread.join()
