"""One task after another, every other one in a second process where the system allows that."""

import io
import multiprocessing
import os
import pickle
import sys
import threading
import warnings
from collections.abc import Callable, Iterator, Sequence
from multiprocessing.connection import Connection
from typing import Any, TypeVar

import numpy as np
import pandas as pd

Item = TypeVar("Item")
Result = TypeVar("Result")


def in_turn(task: Callable[[Item], Result], items: Sequence[Item]) -> Iterator[Result]:
    """Results of a task in the order of its items, the same by one process or by two.

    The second process is forked: it sees what this one sees and keeps nothing of it twice. What
    it can't give, for want of memory or because of an error, is done here.
    """
    if len(items) < 2 or not may_fork():
        yield from map(task, items)
        return
    context = multiprocessing.get_context("fork")
    here, there = context.Pipe(duplex=False)
    helper = context.Process(target=_send, args=(task, items[1::2], there), daemon=True)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DeprecationWarning)  # threads of libraries are idle
        helper.start()
    there.close()
    try:
        for place, item in enumerate(items):
            told = _receive(here) if place % 2 else None
            yield task(item) if told is None else told[0]
    finally:
        here.close()
        helper.join()


def may_fork() -> bool:
    """Whether a second process can be forked safely, and has a processor of its own."""
    if sys.platform != "linux" or multiprocessing.current_process().daemon:
        return False
    return threading.active_count() == 1 and len(os.sched_getaffinity(0)) > 1


def _send(task: Callable[[Item], Result], items: Sequence[Item], there: Connection) -> None:
    """Send the results one by one; where one can't be had, end: the other process does it."""
    try:
        for item in items:
            there.send_bytes(_pack(task(item)))
    except BaseException:  # told, if it comes again, by the process that does it again
        there.close()


def _receive(here: Connection) -> tuple[Any] | None:
    """Give the next result, in a tuple; None where the other process has ended."""
    try:
        return (pickle.loads(here.recv_bytes()),)
    except (EOFError, OSError):
        return None


class _Packer(pickle.Pickler):
    """Writes each word of an array once, and numbers in its place."""

    def reducer_override(self, value: Any) -> Any:
        if not isinstance(value, np.ndarray) or value.dtype != object:
            return NotImplemented
        cells = value.ravel()
        if pd.api.types.infer_dtype(cells, skipna=False) != "string":
            return NotImplemented
        code, words = pd.factorize(cells)
        return _unpack_words, (
            list(words),
            code.astype(np.min_scalar_type(len(words))),
            value.shape,
        )


def _pack(result: Any) -> memoryview:
    buffer = io.BytesIO()
    _Packer(buffer, protocol=5).dump(result)
    return buffer.getbuffer()


def _unpack_words(words: list[str], code: np.ndarray, shape: tuple[int, ...]) -> np.ndarray:
    cells: np.ndarray = np.array(words, dtype=object)[code]
    return cells.reshape(shape)
