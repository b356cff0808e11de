"""A pump side and a whole pump as processes in simpy: slow, and written another way.

Every position, the planned age, the block and the inspection is a process of its own that sleeps
until its time comes and is woken when something else renews it.
"""

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import simpy

PLANNED, INSPECTION = -1, -2
NOTHING = float("inf")


@dataclass
class Worked:
    """How a side is worked; lives are told by position and how many came before."""

    life: Callable[[int, int], float]
    positions: int
    planned: float = NOTHING
    block: float = NOTHING
    kit_at_failure: bool = True
    older: list[float] | None = None
    every: float = NOTHING
    delay: Callable[[int, float], float] | None = None
    kit_when_worn: bool = False
    age: list[float] | None = None
    clock_age: float = 0.0


@dataclass
class Event:
    time: float
    position: int
    kit: bool
    also: list[int] = field(default_factory=list)

    def row(self) -> tuple[float, int, bool, tuple[int, ...]]:
        return round(self.time, 6), self.position, self.kit, tuple(sorted(self.also))


class Side:
    """One side; `events` fills as time runs."""

    def __init__(self, env: simpy.Environment, worked: Worked) -> None:
        self.env, self.worked = env, worked
        self.events: list[Event] = []
        self.fitted = [-age for age in worked.age or [0.0] * worked.positions]
        self.number = [0] * worked.positions
        self.sign = [NOTHING] * worked.positions
        self.when_kit: list[Callable[[bool], None]] = []
        self.sleepers: dict[Any, Any] = {}
        self._start("planned", self._plan())
        self._start("block", self._block())
        self._start("inspection", self._inspect())
        for position in range(worked.positions):
            self._start(position, self._wear(position))

    def _start(self, name, process) -> None:
        self.sleepers[name] = self.env.process(process)

    def _wake(self, name) -> None:
        sleeper = self.sleepers[name]
        if sleeper.is_alive and sleeper is not self.env.active_process:
            sleeper.interrupt()

    def _sleep(self, usage):
        """Sleep; True when not woken before."""
        if usage == NOTHING:
            usage = 1e12
        try:
            yield self.env.timeout(max(usage, 0.0))
        except simpy.Interrupt:
            return False
        return True

    def _wear(self, position):
        while True:
            life = self.worked.life(position, self.number[position])
            self.number[position] += 1
            self.sign[position] = NOTHING
            if self.worked.delay is not None:
                delay = self.worked.delay(position, life)
                self.sign[position] = self.fitted[position] + life - delay if delay else NOTHING
            if (yield from self._sleep(self.fitted[position] + life - self.env.now)):
                if self.worked.kit_at_failure:
                    self.renew_whole(position)
                else:
                    self._renew_some(position, self._older())

    def _plan(self):
        age = self.worked.clock_age
        while True:
            if (yield from self._sleep(self.worked.planned - age)):
                self.renew_whole(PLANNED)
            age = 0.0

    def _block(self):
        number = 0
        while self.worked.block < NOTHING:
            number += 1
            yield from self._sleep(number * self.worked.block - self.env.now)
            self.renew_whole(PLANNED)

    def _inspect(self):
        age = self.worked.clock_age % self.worked.every
        while self.worked.every < NOTHING:
            if (yield from self._sleep(self.worked.every - age)):
                worn = {p for p, sign in enumerate(self.sign) if sign <= self.env.now}
                if worn and self.worked.kit_when_worn:
                    self.renew_whole(INSPECTION)
                else:
                    self._renew_some(INSPECTION, self._older() | worn)
            age = 0.0

    def _older(self) -> set[int]:
        older = self.worked.older
        if older is None:
            return set()
        return {p for p, born in enumerate(self.fitted) if self.env.now - born > older[p]}

    def renew_whole(self, position: int) -> None:
        self.events.append(Event(self.env.now, position, True))
        for name in self.sleepers:
            if isinstance(name, int):
                self.fitted[name] = self.env.now
            if name != "block":
                self._wake(name)
        for told in self.when_kit:
            told(position == PLANNED)

    def _renew_some(self, position: int, also: set[int]) -> None:
        also = also - {position}
        self.events.append(Event(self.env.now, position, False, list(also)))
        for name in also | ({position} if position >= 0 else set()):
            self.fitted[name] = self.env.now
            self._wake(name)


def run_side(worked: Worked, usage: float) -> list[tuple]:
    """Rows of all events up to the usage."""
    env = simpy.Environment()
    side = Side(env, worked)
    env.run(until=usage)
    return [event.row() for event in side.events]


def run_pump(fluid: Worked, air: Worked, every: int, usage: float) -> tuple[list, list]:
    """Rows of both sides where the air kit goes along at each `every`-th fluid rebuild."""
    env = simpy.Environment()
    sides = Side(env, fluid), Side(env, air)
    rebuilds = 0

    def along(planned: bool) -> None:
        nonlocal rebuilds
        rebuilds += 1
        if rebuilds % every == 0:
            sides[1].renew_whole(PLANNED)

    sides[0].when_kit.append(along)
    env.run(until=usage)
    return tuple([event.row() for event in side.events] for side in sides)
