"""How often bounds hold the truth, by failures, suspensions and the way in which lives are cut off.

Times are in units of the true scale at a shape of 2. Neither matters: all bounds judged here move
with the logarithm of time. Lives are simulated, nothing is taken from any plant.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from itertools import product
from typing import Any

import numpy as np
from scipy import optimize, special

from pumplife.weibull import bound_life, fit_weibull
from tests.prove import judge

SHAPE = 2.0
B10 = (-np.log1p(-0.1)) ** (1.0 / SHAPE)
TRUTHS = {"shape": SHAPE, "scale": 1.0, "B10 life": B10}
SETS = 5000
FAILURES, SHARES = (3, 5, 10, 30), (0.5, 0.8)
KINDS = ("likelihood", "corrected", "wald")
FIRST_SEED = 20_000
Lives = tuple[np.ndarray, np.ndarray, np.ndarray]  # lower, upper, entry (sets, rows)


def cut_by_time(rng: np.random.Generator, failures: int, share: float, sets: int) -> Lives:
    """All lives start together and are cut off at one time (type I)."""
    rows = round(failures / (1.0 - share))
    return _cut(rng.weibull(SHAPE, (sets, rows)), np.full(1, (-np.log(share)) ** (1 / SHAPE)))


def cut_by_failures(rng: np.random.Generator, failures: int, share: float, sets: int) -> Lives:
    """All lives start together and are cut off when so many have failed (type II)."""
    life = np.sort(rng.weibull(SHAPE, (sets, round(failures / (1.0 - share)))), axis=1)
    return _cut(life, life[:, [failures - 1]])


def cut_at_random(rng: np.random.Generator, failures: int, share: float, sets: int) -> Lives:
    """Lives start evenly over a window and are cut off at its end."""
    rows = round(failures / (1.0 - share))
    window = _window(share)
    return _cut(rng.weibull(SHAPE, (sets, rows)), window * rng.random((sets, rows)))


def cut_in_kits(rng: np.random.Generator, failures: int, share: float, sets: int) -> Lives:
    """Kits of parts that the first failure renews: its fellows are suspended at its age."""
    fellows = round(1.0 / (1.0 - share))
    life = rng.weibull(SHAPE, (sets, failures, fellows))
    lower, upper, entry = _cut(life, life.min(axis=2, keepdims=True))
    return tuple(part.reshape(sets, -1) for part in (lower, upper, entry))  # type: ignore


def found_at_looks(rng: np.random.Generator, failures: int, share: float, sets: int) -> Lives:
    """As `cut_at_random`, but failures are found at looks a quarter of the scale apart."""
    lower, upper, entry = cut_at_random(rng, failures, share, sets)
    failed = np.isfinite(upper)
    look = 0.25 * np.floor(lower / 0.25)
    return np.where(failed, look, lower), np.where(failed, look + 0.25, np.inf), entry


def entered_late(rng: np.random.Generator, failures: int, share: float, sets: int) -> Lives:
    """Half the lives are seen from an age on that they have reached; time cuts lives off.

    Four candidates a row; the first that outlives its entry is the one that was seen.
    """
    rows = round(failures / (1.0 - share))
    life = rng.weibull(SHAPE, (4, sets, rows))
    entry = rng.uniform(0.0, 1.0, (4, sets, rows)) * (rng.random((sets, rows)) < 0.5)
    pick = np.argmax(life > entry, axis=0)[None]
    life, entry = (np.take_along_axis(column, pick, 0)[0] for column in (life, entry))
    entry = np.where(entry < life, entry, 0.0)
    lower, upper, _ = _cut(life, entry + _window(share) * rng.random((sets, rows)))
    return lower, upper, entry


def _cut(life: np.ndarray, until: np.ndarray) -> Lives:
    lower = np.minimum(life, until)
    return lower, np.where(life <= until, life, np.inf), np.zeros_like(lower)


def _window(share: float) -> float:
    """The window whose even cuts suspend this share of lives."""
    places = (np.arange(2000) + 0.5) / 2000
    return float(
        optimize.brentq(lambda w: np.exp(-((w * places) ** SHAPE)).mean() - share, 1e-3, 1e3)
    )


WAYS: dict[str, Callable[[np.random.Generator, int, float, int], Lives]] = {
    "cut off by time": cut_by_time,
    "cut off by failures": cut_by_failures,
    "cut off at random": cut_at_random,
}
ASKED: dict[str, tuple[dict[str, Any], float]] = {
    # what else is asked of a life, and its true value
    "survival of half a scale": ({"quantity": "survival", "at": 0.5}, np.exp(-0.25)),
    "mean life": ({"quantity": "mean"}, special.gamma(1.5)),
    "B10 life from half a scale on": (
        {"quantity": "quantile", "at": 0.1, "age": 0.5},
        np.sqrt(0.25 - np.log1p(-0.1)) - 0.5,
    ),
    "mean life from half a scale on": (
        {"quantity": "mean", "age": 0.5},
        float(np.exp(0.25) * 0.5 * special.gamma(0.5) * special.gammaincc(0.5, 0.25)),
    ),
}
OTHER_WAYS: dict[str, Callable[[np.random.Generator, int, float, int], Lives]] = {
    "kits renewed at the first failure": cut_in_kits,
    "failures found at looks": found_at_looks,
    "half entered late": entered_late,
}


@dataclass(frozen=True, kw_only=True)
class Cell:
    """One row of the table: how lives are cut off, expected failures, expected share cut off."""

    way: str
    failures: int
    share: float
    sets: int
    seed: int

    @property
    def words(self) -> str:
        """The cell in words."""
        return f"{self.way}, {self.failures} failures, {self.share:.0%} suspended".replace(
            "%", " %"
        )

    def lives(self) -> tuple[np.ndarray, ...]:
        """Lower, upper, entry and set number of every life."""
        maker = (WAYS | OTHER_WAYS)[self.way]
        columns = maker(np.random.default_rng(self.seed), self.failures, self.share, self.sets)
        number = np.repeat(np.arange(self.sets), columns[0].shape[1])
        return (*(column.ravel() for column in columns), number)


def bound(cell: Cell, kind: str) -> dict[str, tuple[np.ndarray, np.ndarray]]:
    """Low and high of shape, scale and B10 life, NaN where a set has no estimate."""
    lower, upper, entry, number = cell.lives()
    fit = fit_weibull(lower, upper, entry, group=number, bounds=kind)
    life = bound_life(lower, upper, entry, group=number, bounds=kind, quantity="quantile", at=0.1)
    return {
        "shape": (fit.shape_low, fit.shape_high),
        "scale": (fit.scale_low, fit.scale_high),
        "B10 life": (life.low, life.high),
    }


def cover(cell: Cell, kind: str) -> dict[str, float]:
    """Share of the sets with an estimate whose bounds hold the truth."""
    held = {}
    for name, (low, high) in bound(cell, kind).items():
        known = ~np.isnan(low)
        held[name] = float(((low <= TRUTHS[name]) & (TRUTHS[name] <= high))[known].mean())
    return held


def judge_cell(cell: Cell) -> list[judge.Result]:
    """Coverage of each kind of bounds; asked of 30 failures, and of corrected ones from 5 on."""
    lower, upper, entry, number = cell.lives()
    reason = fit_weibull(lower, upper, entry, group=number, bounds="wald").reason
    known = int((reason == "").sum())
    found = [judge.tell(f"{cell.words}: sets without an estimate", 1.0 - known / cell.sets,
                        cell.sets)]  # fmt: skip
    shape = bound_life(lower, upper, entry, group=number, quantity="shape", bounds="corrected")
    for words, values in (("estimated", shape.estimate), ("middle of corrected", shape.middle)):
        ratio = float(np.nanmedian(values) / SHAPE)
        found.append(judge.tell(f"{cell.words}: median of {words} over true shape", ratio, known))
    for kind in KINDS:
        for name, share in cover(cell, kind).items():
            check = f"{cell.words}: true {name} within the 90 % {kind} bounds"
            if kind == "likelihood" and cell.failures == 30 and cell.way in WAYS:
                found.append(judge.within(check, share, known, 0.88, 0.92))
            elif kind == "corrected" and cell.failures >= 5:
                found.append(judge.within(check, share, known, 0.87, 0.93))
            else:
                found.append(judge.tell(check, share, known))
    return found


def judge_asked(cell: Cell) -> list[judge.Result]:
    """Coverage of what else is asked of a life, at a fifth of the sets."""
    lower, upper, entry, number = dataclasses.replace(cell, sets=max(20, cell.sets // 5)).lives()
    found = []
    for (name, (asked, truth)), kind in product(ASKED.items(), KINDS):
        one = bound_life(lower, upper, entry, group=number, bounds=kind, **asked)
        known = one.reason == ""
        held = float(((one.low <= truth) & (truth <= one.high))[known].mean())
        check = f"{cell.words}: true {name} within the 90 % {kind} bounds"
        found.append(judge.tell(check, held, int(known.sum())))
    return found


def judge_naive(cell: Cell) -> list[judge.Result]:
    """What comes out where suspensions are left out, called failures, or ranked."""
    lower, upper, _, number = cell.lives()
    failed = np.isfinite(upper)
    found = []
    for words, rows in (("failures only", failed), ("suspensions called failures", failed | True)):
        fit = fit_weibull(lower[rows], lower[rows], group=number[rows])
        known = fit.reason == ""
        held = (fit.scale_low <= 1.0) & (fit.scale_high >= 1.0)
        head = f"{cell.words}: {words}"
        found.append(judge.tell(f"{head}: true scale within the 90 % likelihood bounds",
                                float(held[known].mean()), int(known.sum())))  # fmt: skip
        found += _ratios(head, fit.shape[known], fit.scale[known])
    shape, scale = fit_ranks(lower, upper, cell.sets)
    found += _ratios(f"{cell.words}: rank regression", shape, scale)
    fit = fit_weibull(lower, upper, group=number, bounds="wald")
    known = fit.reason == ""
    head = f"{cell.words}: maximum likelihood"
    return [*found, *_ratios(head, fit.shape[known], fit.scale[known])]


def _ratios(head: str, shape: np.ndarray, scale: np.ndarray) -> Iterator[judge.Result]:
    """Medians of estimate over truth."""
    life = scale * (-np.log1p(-0.1)) ** (1.0 / shape)
    for name, value in (("shape", shape), ("scale", scale), ("B10 life", life)):
        ratio = float(np.median(value) / TRUTHS[name])
        yield judge.tell(f"{head}: median of estimated over true {name}", ratio, len(value))


def fit_ranks(lower: np.ndarray, upper: np.ndarray, sets: int) -> tuple[np.ndarray, np.ndarray]:
    """Shape and scale by regression of log age on the Weibull plot, adjusted median ranks.

    Johnson's adjusted ranks with Bernard's median ranks (i - 0.3) / (n + 0.4), the method of the
    USAF Weibull Analysis Handbook, 1983 (from memory); sets with fewer than two failures left out.
    """
    order = np.argsort(lower.reshape(sets, -1), axis=1)
    age = np.take_along_axis(lower.reshape(sets, -1), order, axis=1)
    failed = np.isfinite(np.take_along_axis(upper.reshape(sets, -1), order, axis=1))
    rows = age.shape[1]
    remaining = rows - np.arange(rows)
    rank = (rows + 1) * (1.0 - np.cumprod(np.where(failed, 1.0 - 1.0 / (1 + remaining), 1.0), 1))
    height = np.log(-np.log1p(-(rank - 0.3) / (rows + 0.4)), where=failed, out=np.zeros(age.shape))
    many = failed.sum(axis=1) >= 2
    age, failed, height = np.log(age[many]), failed[many], height[many]
    count = failed.sum(axis=1)
    mean_age, mean = ((part * failed).sum(axis=1) / count for part in (age, height))
    off = (height - mean[:, None]) * failed
    slope = (off * (age - mean_age[:, None])).sum(axis=1) / (off**2).sum(axis=1)
    return 1.0 / slope, np.exp(mean_age - slope * mean)


def list_cells(scale: float) -> list[Cell]:
    """All cells of the table."""
    sets = max(20, round(SETS * scale))
    places = [*product(WAYS, FAILURES, SHARES), *product(OTHER_WAYS, (5, 10, 30), (0.5,))]
    return [
        Cell(way=way, failures=failures, share=share, sets=sets, seed=FIRST_SEED + number)
        for number, (way, failures, share) in enumerate(places)
    ]


def prove(scale: float) -> Iterator[tuple[judge.Result, int]]:
    """Every result, with the number of simulated sets behind it."""
    cells = list_cells(scale)
    naive = [cell for cell in cells if cell.way == "cut off at random"]
    with ProcessPoolExecutor(2) as pool:
        for results in pool.map(judge_cell, cells):
            yield from ((result, cells[0].sets) for result in results)
        for results in pool.map(judge_naive, naive):
            yield from ((result, cells[0].sets) for result in results)
    asked = next(cell for cell in naive if cell.failures == 10)
    yield from ((result, cells[0].sets // 5) for result in judge_asked(asked))
