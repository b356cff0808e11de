"""Is it Weibull, is it one population, who failed: what the checks find and how often they err.

Invented lives in sets of one part, no plant: shapes and shares are told, scales are 1.
"""

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from pumplife.weibull import (
    check_goodness,
    compare_rivals,
    find_early_lives,
    fit_posterior,
    fit_weibull,
    share_masked,
)
from pumplife.weibull.unplaced import widen_for_sharing
from tests.prove.judge import Result, tell, within

Floats = NDArray[np.float64]

SETS = 1000
EARLY_SHAPE, EARLY_SCALE = 0.8, 0.05  # of assembly faults, the scale of the wear's
SUSPENDED = (0.17, 1.53)  # ages at which a watch ends, evenly spread: about half are suspended
SHAPES, SCALES = np.array([2.5, 1.5, 3.0]), np.array([2000.0, 3500.0, 2600.0])
UNNAMED = 1.0 / 3.0


def prove(scale: float) -> Iterator[tuple[Result, int]]:
    """Every result with the number of sets behind it."""
    sets = max(20, round(SETS * scale))
    generator = np.random.default_rng(4001)
    for results in (_prove_early, _prove_goodness, _prove_rivals, _prove_sharing):
        yield from ((result, sets) for result in results(generator, sets))


def _grant(sets: int, share: float) -> float:
    """What a slice of the sets may miss a limit by: two standard deviations of its share."""
    return 0.0 if sets >= SETS else 2.0 * float(np.sqrt(share * (1.0 - share) / sets))


def _watch(
    generator: np.random.Generator, life: Floats, *, suspended: bool
) -> tuple[Floats, Floats]:
    """Lower and upper of lives that end, half of them before they fail."""
    until = generator.uniform(*SUSPENDED, life.shape) if suspended else np.full(life.shape, np.inf)
    return np.minimum(life, until), np.where(life <= until, life, np.inf)


def _with_faults(
    generator: np.random.Generator, shape: Floats, share: Floats, lives: int
) -> Floats:
    """Lives (sets, lives) of wear, a share of each set ending early."""
    size = (len(shape), lives)
    wear = generator.weibull(shape[:, None], size)
    early = EARLY_SCALE * generator.weibull(EARLY_SHAPE, size)
    return np.where(generator.random(size) < share[:, None], early, wear)


def _number(life: Floats) -> NDArray[np.intp]:
    return np.repeat(np.arange(len(life)), life.shape[1])


# ---- early lives --------------------------------------------------------------------------------


def _prove_early(generator: np.random.Generator, sets: int) -> Iterator[Result]:
    for failures in (20, 60, 200):
        for suspended in (False, True):
            lives = failures * (2 if suspended else 1)
            words = f"{failures} failures, {'half of the lives' if suspended else 'none'} suspended"
            some = sets if failures <= 60 else max(20, sets // 4)
            asked = failures == 60
            yield from _find_faults(generator, some, lives, words, suspended, asked=asked)
            yield from _see_faults(generator, some, lives, words, suspended, asked=asked)


def _find_faults(
    generator: np.random.Generator,
    sets: int,
    lives: int,
    words: str,
    suspended: bool,
    *,
    asked: bool,
) -> Iterator[Result]:
    shape, share = generator.uniform(2.0, 3.0, sets), generator.uniform(0.02, 0.08, sets)
    life = _with_faults(generator, shape, share, lives)
    lower, upper = (ages.ravel() for ages in _watch(generator, life, suspended=suspended))
    group = _number(life)
    early = find_early_lives(lower, upper, group=group, family=group)
    error = np.abs(early.shape / shape - 1.0)
    naive = fit_weibull(lower, upper, group=group, bounds="wald").shape / shape - 1.0
    head = f"2-8 % assembly faults, {words}"
    found = float(early.found.mean())
    yield (
        within(f"{head}: found", found, sets, 0.80 - _grant(sets, 0.80), 1.0)
        if asked
        else tell(f"{head}: found", found, sets)
    )
    for low in (0.02, 0.04, 0.06):
        some = (share >= low) & (share < low + 0.02)
        yield tell(f"{head}: found, {100 * low:.0f} to {100 * low + 2:.0f} %",
                   float(early.found[some].mean()), int(some.sum()))  # fmt: skip
    middle = float(np.median(error))
    name = f"{head}: error of wear's shape, median"
    yield within(name, middle, sets, 0.0, 0.15) if asked else tell(name, middle, sets)
    yield tell(f"{head}: error of wear's shape, 90th percentile",
               float(np.quantile(error, 0.9)), sets)  # fmt: skip
    yield tell(f"{head}: bias of wear's shape, median", float(np.median(early.shape / shape - 1.0)),
               sets)  # fmt: skip
    yield tell(f"{head}: the same, faults taken for wear", float(np.median(naive)), sets)


def _see_faults(
    generator: np.random.Generator,
    sets: int,
    lives: int,
    words: str,
    suspended: bool,
    *,
    asked: bool,
) -> Iterator[Result]:
    for shape in (1.0, 1.2, 1.5, 2.0, 2.5, 3.0):
        life = generator.weibull(shape, (sets, lives))
        lower, upper = (ages.ravel() for ages in _watch(generator, life, suspended=suspended))
        group = _number(life)
        seen = float(find_early_lives(lower, upper, group=group, family=group).found.mean())
        name = f"wear alone of shape {shape:g}, {words}: assembly faults seen"
        limit = 0.05 + _grant(sets, 0.05)
        judged = asked and shape >= 1.2
        yield within(name, seen, sets, 0.0, limit) if judged else tell(name, seen, sets)


# ---- goodness of fit ----------------------------------------------------------------------------


def _reject(lower: Floats, upper: Floats, entry: Floats | None = None) -> tuple[float, int]:
    """Share of sets with a p-value of at most 5 %, of those that were tested."""
    kept = np.ones(lower.shape, dtype=bool) if entry is None else lower > entry
    group = _number(lower)[kept.ravel()]
    late = None if entry is None else entry[kept]
    chance = check_goodness(lower[kept], upper[kept], late, group=group)
    tested = chance[np.isfinite(chance)]
    return float((tested <= 0.05).mean()), len(tested)


def _prove_goodness(generator: np.random.Generator, sets: int) -> Iterator[Result]:
    low, high = max(0.0, 0.03 - _grant(sets, 0.05)), 0.07 + _grant(sets, 0.05)
    for failures in (10, 30):
        size = (sets, 2 * failures)
        words = f"{failures} failures, half of the lives suspended"
        for shape in (1.2, 2.5):
            value, of = _reject(*_watch(generator, generator.weibull(shape, size), suspended=True))
            yield within(f"goodness of fit at 5 %, Weibull of shape {shape:g}, {words}: rejected",
                         value, of, low, high)  # fmt: skip
        for name, lower, upper, entry in _watches(generator, size):
            value, of = _reject(lower, upper, entry)
            yield within(f"goodness of fit at 5 %, Weibull {name}, {words}: rejected", value, of,
                         low, high)  # fmt: skip
    for failures in (10, 30, 60):
        size = (sets, 2 * failures)
        words = f"{failures} failures, half of the lives suspended"
        for name, life in _other_lives(generator, size):
            value, of = _reject(*_watch(generator, life, suspended=True))
            yield tell(f"goodness of fit at 5 %, {name}, {words}: rejected", value, of)


def _watches(
    generator: np.random.Generator, size: tuple[int, int]
) -> Iterator[tuple[str, Floats, Floats, Floats | None]]:
    """Weibull lives of which two fifths enter late, or are looked at four times a scale."""
    lower, upper = _watch(generator, generator.weibull(2.0, size), suspended=True)
    some = generator.random(size) < 0.4
    yield "entered late", lower, upper, np.where(some, generator.uniform(0.0, 0.8, size), 0.0)
    lower, upper = _watch(generator, generator.weibull(2.0, size), suspended=True)
    between = (generator.random(size) < 0.4) & np.isfinite(upper)
    look = 0.25 * np.floor(lower / 0.25)
    yield (
        "found at looks",
        np.where(between, look, lower),
        np.where(between, look + 0.25, upper),
        None,
    )


def _other_lives(
    generator: np.random.Generator, size: tuple[int, int]
) -> Iterator[tuple[str, Floats]]:
    lived = generator.weibull(3.0, size)
    yield (
        "two populations (shape 3, two fifths of a third of the scale)",
        np.where(generator.random(size) < 0.4, lived / 3.0, lived),
    )
    yield (
        "8 % assembly faults",
        _with_faults(generator, np.full(size[0], 2.5), np.full(size[0], 0.08), size[1]),
    )
    yield "lognormal of spread 0.6", np.exp(generator.normal(-0.2, 0.6, size))


# ---- rivals -------------------------------------------------------------------------------------


def _prove_rivals(generator: np.random.Generator, sets: int) -> Iterator[Result]:
    for failures in (20, 60):
        size = (sets, 2 * failures)
        kinds = {
            "Weibull of shape 2.5": generator.weibull(2.5, size),
            "exponential": generator.weibull(1.0, size),
            "lognormal of spread 0.6": np.exp(generator.normal(-0.2, 0.6, size)),
        }
        for name, life in kinds.items():
            lower, upper = _watch(generator, life, suspended=True)
            best = compare_rivals(lower.ravel(), upper.ravel(), group=_number(life)).best
            for form in ("weibull", "lognormal", "exponential", "undecided"):
                yield tell(f"form of life, {name}, {failures} failures: said to be {form}",
                           float((best == form).mean()), sets)  # fmt: skip


# ---- who failed ---------------------------------------------------------------------------------


def _prove_sharing(generator: np.random.Generator, sets: int) -> Iterator[Result]:
    """Three parts in series on 60 sides, a third of the breakdowns naming none of them."""
    plants = max(20, sets // 3)
    lower, upper, event, group = _make_sides(generator, plants, sides=60)
    masked = event >= 0
    share = share_masked(lower, np.where(masked, np.inf, upper), group=group, event=event)
    ages = np.concatenate([lower, lower[masked]])
    ends = np.concatenate([np.where(masked, lower, upper), np.full(masked.sum(), np.inf)])
    weight = np.concatenate([np.where(masked, share, 1.0), 1.0 - share[masked]])
    groups = np.concatenate([group, group[masked]])
    fit = fit_weibull(ages, ends, weight=weight, group=groups)
    draws = fit_posterior(ages, ends, weight=weight, group=groups, shape_prior_median=2.2,
                          shape_prior_sd=2.0).draws  # fmt: skip
    wider = {"shape": [], "scale": []}
    for plant in range(plants):  # each plant is a study of its own
        own = masked & (group // 3 == plant)
        part = slice(3 * plant, 3 * plant + 3)
        factor = widen_for_sharing(draws[part], lower[own], lower[own], group=group[own] % 3,
                                   event=event[own], share=share[own])  # fmt: skip
        wider["shape"].append(factor.shape)
        wider["scale"].append(factor.scale)
    words = "a third of the breakdowns without a part, bounds at 90 %"
    for name, true in (("shape", SHAPES), ("scale", SCALES)):
        truth = np.tile(true, plants)
        plain = _cover(fit, name, truth, np.ones(3 * plants))
        covered = _cover(fit, name, truth, np.concatenate(wider[name]))
        room = _grant(sets, 0.90)
        yield within(f"{words}: true {name} covered", covered, 3 * plants, 0.86 - room, 0.95 + room)
        yield tell(f"{words}: true {name} covered were the shares known", plain, 3 * plants)


def _cover(fit: object, name: str, truth: Floats, factor: Floats) -> float:
    """Share of groups whose bounds, `factor` times as far from the estimate, hold the truth."""
    middle = np.log(getattr(fit, name))
    with np.errstate(divide="ignore"):
        low, high = (np.log(getattr(fit, f"{name}_{end}")) - middle for end in ("low", "high"))
    off = np.log(truth) - middle
    return float(((factor * low <= off) & (off <= factor * high)).mean())


def _make_sides(
    generator: np.random.Generator, plants: int, *, sides: int
) -> tuple[Floats, Floats, NDArray[np.int64], NDArray[np.intp]]:
    """Lower, upper, event and group of three parts in series, all renewed at a breakdown."""
    life = SCALES * generator.weibull(SHAPES, (plants * sides, 3))
    until = generator.uniform(500.0, 3000.0, plants * sides)
    first = life.min(axis=1)
    broke = first <= until
    lower = np.repeat(np.minimum(first, until), 3)
    failed = (life == first[:, None]) & broke[:, None]
    unnamed = broke & (generator.random(len(broke)) < UNNAMED)
    event = np.repeat(np.where(unnamed, np.arange(len(broke)), -1), 3)
    group = (3 * np.repeat(np.arange(plants), sides)[:, None] + np.arange(3)).ravel()
    return lower, np.where(failed.ravel(), lower, np.inf), event, group
