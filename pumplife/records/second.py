"""A task for each of many things, shared with a second process where the system allows that."""

import contextlib
import gc
import io
import multiprocessing
import os
import pickle
import queue
import sys
import threading
import warnings
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from multiprocessing.connection import Connection
from multiprocessing.process import BaseProcess
from typing import Any, Generic, Literal, TypeVar

import numpy as np
import pandas as pd

Item = TypeVar("Item")
Result = TypeVar("Result")
WORTH = 40_000
"""Rows below which a second process costs more than it saves."""
_TICKET = 4
"""Bytes by which one item is drawn."""


def in_turn(
    task: Callable[[Item], Result], items: Sequence[Item], rows: int = WORTH
) -> Iterator[Result]:
    """Results of a task in the order of its items, the same by one process or by two.

    The second process is forked: it sees what this one sees and keeps little of it twice. Each
    takes the next item when it is done with one. What the second can't give, for want of memory
    or because of an error, is done here, so that an error is told as if there were one process.

    Parameters
    ----------
    task : callable
        Changes nothing that is looked at afterwards: only its result comes back.
    items : sequence
        The larger first, where they differ.
    rows : int
        Rows that all of them are about; few need no second process.
    """
    if len(items) < 2 or rows < WORTH or not may_fork():
        yield from map(task, items)
        return
    helper = _Helper.start(task, items)
    try:
        for place, item in enumerate(items):
            yield helper.result(place) if helper.has(place) else task(item)
    finally:
        helper.stop()


def may_fork() -> bool:
    """Whether a second process can be forked safely, and has a processor of its own."""
    if sys.platform != "linux" or multiprocessing.current_process().daemon:
        return False
    return threading.active_count() == 1 and len(os.sched_getaffinity(0)) > 1


@dataclass(slots=True, eq=False)
class _Helper(Generic[Item, Result]):
    """The second process, as the first sees it.

    Parameters
    ----------
    task, items
        As in `in_turn`.
    process : Process
        The second process.
    here : Connection
        Where its results arrive.
    tickets : int
        The pipe from which both draw the numbers of their items.
    told : dict
        Results not yet asked for, by the number of their item.
    gone : bool
        Whether no more will come.
    """

    task: Callable[[Item], Result]
    items: Sequence[Item]
    process: BaseProcess
    here: Connection
    tickets: int
    told: dict[int, Result] = field(default_factory=dict)
    gone: bool = False

    @classmethod
    def start(
        cls, task: Callable[[Item], Result], items: Sequence[Item]
    ) -> "_Helper[Item, Result]":
        context = multiprocessing.get_context("fork")
        here, there = context.Pipe(duplex=False)
        tickets, fill = os.pipe()
        os.write(fill, b"".join(place.to_bytes(_TICKET, "big") for place in range(len(items))))
        os.close(fill)
        process = context.Process(
            target=_help, args=(task, items, tickets, (here, there)), daemon=True
        )
        gc.freeze()  # what is there need not be looked through again, nor copied by the second
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", DeprecationWarning)  # threads of libraries are idle
            process.start()
        there.close()
        return cls(task, items, process, here, tickets)

    def has(self, place: int) -> bool:
        """Whether there is a result; until then, work on what comes next."""
        while place not in self.told and not self.gone:
            if not self.here.poll() and (mine := _draw(self.tickets)) is not None:
                self.told[mine] = self.task(self.items[mine])
            else:
                self._receive()
        return place in self.told

    def result(self, place: int) -> Result:
        return self.told.pop(place)

    def _receive(self) -> None:
        try:
            place, result = pickle.loads(self.here.recv_bytes())
            self.told[place] = result
        except (EOFError, OSError):
            self.gone = True

    def stop(self) -> None:
        """End the second process, whether it is done or not."""
        self.here.close()
        os.close(self.tickets)
        self.process.terminate()
        self.process.join()
        self.process.close()
        gc.unfreeze()


def _draw(tickets: int) -> int | None:
    """The number of the next item, None where all are drawn."""
    told = os.read(tickets, _TICKET)
    return int.from_bytes(told, "big") if told else None


def _help(
    task: Callable[[Item], Result],
    items: Sequence[Item],
    tickets: int,
    pipe: tuple[Connection, Connection],
) -> None:
    """In the second process: send results while the next is worked on; end at any error."""
    here, there = pipe
    here.close()  # so that sending fails once the first process is gone
    packed: queue.SimpleQueue[memoryview | None] = queue.SimpleQueue()
    sender = threading.Thread(target=_send, args=(packed, there), daemon=True)
    sender.start()
    with contextlib.suppress(BaseException):  # told, if it comes again, by who does it again
        while (place := _draw(tickets)) is not None:
            packed.put(_pack((place, task(items[place]))))
    packed.put(None)
    sender.join()


def _send(packed: "queue.SimpleQueue[memoryview | None]", there: Connection) -> None:
    while (told := packed.get()) is not None:
        try:
            there.send_bytes(told)
        except OSError:
            return


class _Packer(pickle.Pickler):
    """Writes each word of an array once, and numbers in its place."""

    def reducer_override(self, value: Any) -> Any:
        if not isinstance(value, np.ndarray) or value.dtype != object or value.size < 1000:
            return NotImplemented
        layout: Literal["C", "F"] = "F" if value.flags.f_contiguous else "C"
        cells = value.ravel(order=layout)
        if pd.api.types.infer_dtype(cells, skipna=False) != "string":
            return NotImplemented
        code, words = pd.factorize(cells)
        small = code.astype(np.min_scalar_type(len(words)))
        return _unpack_words, (list(words), small, value.shape, layout)


def _pack(result: Any) -> memoryview:
    buffer = io.BytesIO()
    _Packer(buffer, protocol=5).dump(result)
    return buffer.getbuffer()


def _unpack_words(
    words: list[str], code: Any, shape: tuple[int, ...], layout: Literal["C", "F"]
) -> "np.ndarray[Any, Any]":
    cells: np.ndarray[Any, Any] = np.array(words, dtype=object)[code]
    return cells.reshape(shape, order=layout)
