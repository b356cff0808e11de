"""Failures and rebuilds of a fleet, drawn event by event from the pumps' ages of today.

One lane is one pump in one replicate.  All lanes step together from event to event; lanes past
the horizon drop out.  No loop runs over pumps, replicates or lives.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import special

from pumplife.errors import RecordError
from pumplife.weibull.draws import LifeDraws

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

PLANNED = -1  # position of an event that is planned work


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PlannedAges:
    """Ages at which a side is planned, one drawn at each renewal of the whole side.

    Attributes
    ----------
    ages : float array (ages,)
        Planned ages [usage]; inf means never.
    weights : float array (ages,)
        Their shares, summing to 1.
    """

    ages: FloatArray
    weights: FloatArray

    def __repr__(self) -> str:
        """Say the ages when they are few."""
        return f"<PlannedAges: {self.ages.size} ages, never {self.never:.0%}>"

    @property
    def never(self) -> float:
        """Share that is never planned."""
        return float(self.weights[np.isinf(self.ages)].sum())


def fixed_interval(age: float) -> PlannedAges:
    """One planned age for all [usage]; inf means run to failure."""
    return PlannedAges(ages=np.array([float(age)]), weights=np.ones(1))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SideEvents:
    """What happened to the sides of a simulated fleet, in no particular order.

    Attributes
    ----------
    pump : int array (events,)
        Row of the pump in the arrays given.
    replicate : int array (events,)
    time : float array (events,)
        From today [years].
    position : int array (events,)
        Position that failed; -1 for planned work.
    kit : bool array (events,)
        Whether the whole side was renewed.
    """

    pump: IntArray
    replicate: IntArray
    time: FloatArray
    position: IntArray
    kit: BoolArray

    def __repr__(self) -> str:
        """Count the events."""
        return f"<SideEvents: {self.time.size}, {int((self.position < 0).sum())} planned>"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Rules:
    """How the sides live and are renewed, and where chance comes from."""

    lives: LifeDraws  # (positions, replicates)
    planned: PlannedAges
    kit_share: float
    rng: np.random.Generator


@dataclass(slots=True, kw_only=True, eq=False)
class _Lanes:
    """The lanes still running: what each has to come, counted from its own last event [usage]."""

    pump: IntArray
    replicate: IntArray
    clock: FloatArray  # usage from the start to the last event
    end: FloatArray  # usage at the horizon
    left: FloatArray  # (lanes, positions) usage until each position fails
    plan: FloatArray  # usage until the planned rebuild

    def keep(self, which: BoolArray) -> None:
        """Drop the other lanes."""
        if which.all():
            return
        for name in ("pump", "replicate", "clock", "end", "left", "plan"):
            setattr(self, name, getattr(self, name)[which])


def simulate_side(
    *,
    age: FloatArray,
    known: BoolArray,
    usage_per_year: FloatArray,
    lives: LifeDraws,
    planned: PlannedAges,
    clock_age: FloatArray,
    kit_share: float,
    years: float,
    rng: np.random.Generator,
    most: FloatArray | None = None,
    most_events: int = 20_000,
) -> SideEvents:
    """Failures and planned rebuilds of one side of some like pumps, from their ages of today.

    Parameters
    ----------
    age : float array (pumps, positions)
        Age of each position [usage]; where not known, the least that it can be.
    known : bool array (pumps, positions)
        False: the age is drawn beyond that minimum from the stationary ages, density
        proportional to survival, below the planned age.
    usage_per_year : float array (pumps,)
        [usage / year]
    lives : LifeDraws (positions, replicates)
        One draw of the lives per replicate.
    planned : PlannedAges
        A side past its planned age is rebuilt at time 0.
    clock_age : float array (pumps,)
        Usage since the last renewal of the whole side; where the ages are not known, the least.
    kit_share : float
        Share of the failures at which the whole side is renewed, else the failed part alone.
    years : float
        Horizon [years].
    rng : numpy Generator
    most : float array (pumps, positions), optional
        The most that an unknown age can be [usage].
    most_events : int
        Events of one lane beyond which the lives can't be true against the horizon.

    Returns
    -------
    SideEvents
    """
    rules = _Rules(lives=lives, planned=planned, kit_share=kit_share, rng=rng)
    bounds = (np.asarray(age, float), np.full(age.shape, np.inf) if most is None else most)
    lanes = _start_lanes(rules, bounds, known, usage_per_year * years, clock_age)
    events = _run(lanes, rules, most_events, one_cycle=False)
    rate = np.asarray(usage_per_year, float)[events.pump]
    return SideEvents(
        pump=events.pump,
        replicate=events.replicate,
        time=events.time / rate,
        position=events.position,
        kit=events.kit,
    )


def simulate_cycles(
    lives: LifeDraws,
    planned: PlannedAges,
    kit_share: float,
    rng: np.random.Generator,
    *,
    most_events: int = 20_000,
) -> SideEvents:
    """From one renewal of the whole side to the next, a lane per draw; times are usage.

    Costs per usage follow as the sum of costs over the sum of the lengths (renewal reward).
    """
    positions = lives.shape.shape[0]
    new = np.zeros((1, positions))
    rules = _Rules(lives=lives, planned=planned, kit_share=kit_share, rng=rng)
    lanes = _start_lanes(rules, (new, new), new == 0.0, np.full(1, np.inf), np.zeros(1))
    return _run(lanes, rules, most_events, one_cycle=True)


def _start_lanes(
    rules: _Rules,
    bounds: tuple[FloatArray, FloatArray],
    known: BoolArray,
    usage: FloatArray,
    clock_age: FloatArray,
) -> _Lanes:
    """All lanes at time 0, with ages drawn within their bounds where they are not known."""
    age, most = bounds
    positions, replicates = rules.lives.shape.shape
    if age.shape[1:] != (positions,) or known.shape != age.shape:
        raise RecordError(
            f"ages of {age.shape} pumps x positions don't fit lives of {positions} positions"
        )
    runs = np.flatnonzero(np.nan_to_num(usage) > 0.0)
    pump = np.repeat(runs, replicates)
    replicate = np.tile(np.arange(replicates), runs.size)
    clock = np.asarray(clock_age, float)[pump]
    due = _draw_planned(rules, clock)
    sure = np.asarray(known, bool)[pump]
    least = age[pump]
    drawn = least if sure.all() else _draw_ages(rules, replicate, (least, most[pump]), sure, due)
    clock = np.where(sure.all(axis=1), clock, np.maximum(clock, drawn.max(axis=1, initial=0.0)))
    return _Lanes(
        pump=pump,
        replicate=replicate,
        clock=np.zeros(pump.size),
        end=np.asarray(usage, float)[pump],
        left=_draw_left(rules, replicate, drawn),
        plan=np.maximum(due - clock, 0.0),
    )


def _run(lanes: _Lanes, rules: _Rules, most_events: int, *, one_cycle: bool) -> SideEvents:
    """Step all lanes from event to event until none is left."""
    found: list[tuple[IntArray, IntArray, FloatArray, IntArray, BoolArray]] = []
    for _ in range(most_events):
        position = np.argmin(lanes.left, axis=1)
        wait = lanes.left[np.arange(position.size), position]
        position = np.where(lanes.plan <= wait, PLANNED, position)
        wait = np.minimum(wait, lanes.plan)
        inside = lanes.clock + wait <= lanes.end
        inside &= np.isfinite(wait)
        lanes.keep(inside)
        position, wait = position[inside], wait[inside]
        if position.size == 0:
            return _collect(found)
        lanes.clock = lanes.clock + wait
        kit = (position == PLANNED) | (rules.rng.random(position.size) < rules.kit_share)
        found.append((lanes.pump, lanes.replicate, lanes.clock, position, kit))
        if one_cycle:
            lanes.keep(~kit)
            position, wait, kit = position[~kit], wait[~kit], kit[~kit]
        _renew(lanes, rules, position, wait, kit)
    raise RecordError(
        f"more than {most_events} events on one pump within the horizon: the lives are too short "
        "against it; check the usage unit of the meters and the horizon"
    )


def _renew(
    lanes: _Lanes, rules: _Rules, position: IntArray, wait: FloatArray, kit: BoolArray
) -> None:
    """Fit new parts after an event: all of them with a kit, else the failed one."""
    lanes.left = lanes.left - wait[:, None]
    lanes.plan = lanes.plan - wait
    whole = np.flatnonzero(kit)
    fresh = np.zeros((whole.size, lanes.left.shape[1]))
    lanes.left[whole] = _draw_left(rules, lanes.replicate[whole], fresh)
    lanes.plan[whole] = _draw_planned(rules, np.zeros(whole.size))
    single = np.flatnonzero(~kit)
    at = position[single], lanes.replicate[single]
    lanes.left[single, position[single]] = _draw_lives(_parts(rules.lives, at), rules.rng)


def _collect(
    found: list[tuple[IntArray, IntArray, FloatArray, IntArray, BoolArray]],
) -> SideEvents:
    """Flat arrays of all events."""
    if not found:
        none = np.zeros(0, np.int64)
        return SideEvents(
            pump=none, replicate=none, time=np.zeros(0), position=none, kit=np.zeros(0, bool)
        )
    pump, replicate, time, position, kit = (
        np.concatenate(part) for part in zip(*found, strict=True)
    )
    return SideEvents(pump=pump, replicate=replicate, time=time, position=position, kit=kit)


def _draw_planned(rules: _Rules, clock: FloatArray) -> FloatArray:
    """Planned age of each lane, given that its clock has come this far; past all of them: now."""
    planned, rng = rules.planned, rules.rng
    if planned.ages.size == 1:
        return np.full(clock.size, planned.ages[0])
    order = np.argsort(planned.ages, kind="stable")
    ages, upto = planned.ages[order], np.cumsum(planned.weights[order])
    passed = np.searchsorted(ages, clock, side="right")
    below = np.where(passed > 0, upto[passed - 1], 0.0)
    pick = below + rng.random(clock.size) * (upto[-1] - below)
    row = np.minimum(np.searchsorted(upto, pick, side="right"), ages.size - 1)
    return np.asarray(ages[np.maximum(row, np.minimum(passed, ages.size - 1))])


def _parts(lives: LifeDraws, at: tuple[IntArray, IntArray] | IntArray) -> LifeDraws:
    """Lives of the parts of some lanes: at (positions, replicates), or all of a replicate."""

    def take(field: FloatArray) -> FloatArray:
        return np.asarray(field[at] if isinstance(at, tuple) else field.T[at])

    return LifeDraws(
        early_share=take(lives.early_share),
        early_scale=take(lives.early_scale),
        shape=take(lives.shape),
        scale=take(lives.scale),
    )


def _draw_lives(parts: LifeDraws, rng: np.random.Generator) -> FloatArray:
    """Lives of new parts, one of each [usage]."""
    effort = rng.standard_exponential(parts.shape.shape)
    life = parts.scale * effort ** (1.0 / parts.shape)
    if not np.any(parts.early_share):
        return np.asarray(life)
    early = rng.random(life.shape) < parts.early_share
    return np.where(early, parts.early_scale * effort, life)


def _draw_left(rules: _Rules, replicate: IntArray, age: FloatArray) -> FloatArray:
    """Usage left to parts that reached these ages, (lanes, positions), exactly."""
    parts, rng = _parts(rules.lives, replicate), rules.rng
    if not np.any(age):
        return _draw_lives(parts, rng)
    effort = rng.standard_exponential(age.shape)
    share = parts.early_share
    with np.errstate(over="ignore", under="ignore"):
        worn = (age / parts.scale) ** parts.shape
        left = parts.scale * (worn + effort) ** (1.0 / parts.shape) - age
        left = np.maximum(left, 0.0)
        if not np.any(share):
            return np.asarray(left)
        ratio = share / np.where(share < 1.0, 1.0 - share, 1e-300)
        odds = ratio * np.exp(np.minimum(worn - age / parts.early_scale, 700.0))
    early = rng.random(age.shape) < odds / (1.0 + odds)
    return np.where(early, parts.early_scale * effort, left)


def _draw_ages(
    rules: _Rules,
    replicate: IntArray,
    bounds: tuple[FloatArray, FloatArray],
    known: BoolArray,
    due: FloatArray,
) -> FloatArray:
    """Ages of all positions, drawn from the stationary ages where they are not known.

    One uniform serves all positions of a lane: they were last renewed by the same kit.
    """
    least, most = bounds
    unsure = np.flatnonzero(~known.all(axis=1))
    top = np.where(due[unsure, None] > least[unsure], due[unsure, None], np.inf)
    top = np.maximum(np.minimum(top, most[unsure]), least[unsure])
    pick = np.broadcast_to(rules.rng.random((2, unsure.size, 1)), (2, *top.shape))
    drawn = _stationary_age(_parts(rules.lives, replicate[unsure]), least[unsure], top, pick)
    ages = least.copy()
    ages[unsure] = np.where(known[unsure], least[unsure], drawn)
    return ages


def _stationary_age(
    parts: LifeDraws, low: FloatArray, high: FloatArray, pick: FloatArray
) -> FloatArray:
    """Quantile of the age with density proportional to survival between `low` and `high`.

    The first row of `pick` chooses the age, the second between early lives and the others.
    """
    age = _truncated_age(parts.shape, parts.scale, low, high, pick[0])
    share, once = parts.early_share, np.ones_like(parts.shape)
    if not np.any(share):
        return age
    worn = (1.0 - share) * wear_area(parts.shape, parts.scale, low, high)
    early = share * wear_area(once, parts.early_scale, low, high)
    from_early = _truncated_age(once, parts.early_scale, low, high, pick[0])
    return np.where(pick[1] * (worn + early) < early, from_early, age)


def wear_area(
    shape: FloatArray, scale: FloatArray, low: FloatArray, high: FloatArray
) -> FloatArray:
    """Integral of Weibull survival from `low` to `high` [usage].

    With v = (t / scale)^shape it is a difference of incomplete gamma functions of 1 / shape.
    """
    with np.errstate(over="ignore", under="ignore"):
        upper = special.gammaincc(1.0 / shape, (low / scale) ** shape)
        lower = special.gammaincc(1.0 / shape, (high / scale) ** shape)
        return np.asarray(scale * special.gamma(1.0 + 1.0 / shape) * (upper - lower))


def _truncated_age(
    shape: FloatArray, scale: FloatArray, low: FloatArray, high: FloatArray, pick: FloatArray
) -> FloatArray:
    """Quantile `pick` of that age between `low` and `high` for one Weibull life."""
    with np.errstate(over="ignore", under="ignore", invalid="ignore"):
        upper = special.gammaincc(1.0 / shape, (low / scale) ** shape)
        lower = special.gammaincc(1.0 / shape, (high / scale) ** shape)
        wear = special.gammainccinv(1.0 / shape, upper + pick * (lower - upper))
        age = scale * wear ** (1.0 / shape)
    return np.clip(np.where(np.isfinite(age), age, low), low, high)
