"""Few failures, like groups and shares of early lives on simulated lives whose truth is known."""

from collections.abc import Iterator

import numpy as np

from pumplife.weibull import (
    LifePosterior,
    WeibullFit,
    find_early_anywhere,
    fit_posterior,
    fit_weibull,
)
from tests.prove import judge
from tests.weibull.plants import (
    SHAPE,
    SPREAD,
    Families,
    draw_early,
    draw_families,
    suspend_after,
)

PRIOR = {"shape_prior_median": SHAPE, "shape_prior_sd": SPREAD, "draws": 10}
FAILURES = (3, 5, 10, 20, 30)
SUSPENDED = (0.5, 0.8)
ONE_OF_FIVE = (0.06, 0.0, 0.0, 0.0, 0.0)
Found = Iterator[tuple[judge.Result, int]]


def prove(scale: float) -> Found:
    """Every check of the posterior; `scale` is the share of the simulated sets to run."""
    yield from _prove_few(max(50, round(2000 * scale)))
    yield from _prove_pooling(max(10, round(300 * scale)))
    yield from _prove_early(max(10, round(200 * scale)))


def _inside(found: LifePosterior | WeibullFit, name: str, true: np.ndarray) -> float:
    low, high = (np.asarray(getattr(found, f"{name}_{end}")) for end in ("low", "high"))
    return float(((low <= true) & (true <= high)).mean())


def _prove_few(sets: int) -> Found:
    """Coverage with true shapes from the prior, suspended once the last failure has come."""
    for failures in FAILURES:
        for share in SUSPENDED:
            generator = np.random.default_rng([failures, round(100 * share)])
            rows = round(failures / (1.0 - share))
            shape = SHAPE * np.exp(SPREAD * generator.standard_normal(sets))
            group = np.repeat(np.arange(sets), rows)
            life = generator.weibull(shape[group])
            lives = suspend_after(life, group, np.full(sets, failures))
            yield from _judge_few(lives, group, shape, f"{failures} failures, {share:.0%}")


def _judge_few(
    lives: tuple[np.ndarray, np.ndarray], group: np.ndarray, shape: np.ndarray, cell: str
) -> Found:
    found = fit_posterior(*lives, group=group, **PRIOR)
    likely = fit_weibull(*lives, group=group)
    b10 = (-np.log(0.9)) ** (1.0 / shape)
    words, sets = f"{cell} suspended: true", len(shape)
    for name, true in (("shape", shape), ("scale", np.ones(sets)), ("b10", b10)):
        inside = _inside(found, name, true)
        check = f"{words} {name} within the posterior's 90 % bounds"
        yield judge.within(check, inside, sets, 0.88, 0.92), sets
        if name != "b10":
            check = f"{words} {name} within likelihood-ratio bounds"
            yield judge.tell(check, _inside(likely, name, true), sets), sets


def _prove_pooling(plants: int) -> Found:
    """Groups of 2 to 6 failures in 4 to 10 services, each alone and together."""
    truth = draw_families(np.random.default_rng(77), plants)
    lives = truth.lower, truth.upper
    alone = fit_posterior(*lives, group=truth.group, **PRIOR)
    pooled = fit_posterior(*lives, group=truth.group, family=truth.family, **PRIOR)
    count = len(truth.shape)
    errors = [float((_off(found, truth) ** 2).mean()) for found in (alone, pooled)]
    words = "services of one part, 2 to 6 failures each"
    check = f"{words}: mean squared error of log B10, pooled over alone"
    yield judge.within(check, errors[1] / errors[0], count, 0.0, 0.85), plants
    yield judge.tell(f"{words}: mean error of log B10, pooled", float(_off(pooled, truth).mean()),
                     count), plants  # fmt: skip
    for name in ("shape", "scale", "b10"):
        inside = _inside(pooled, name, getattr(truth, name))
        check = f"{words}: true {name} within the pooled 90 % bounds"
        if name == "shape":
            yield judge.tell(check, inside, count), plants
        else:
            yield judge.within(check, inside, count, 0.87, 0.93), plants
    lent = float(pooled.borrowed_share.mean())
    yield judge.tell(f"{words}: share of the B10 life borrowed, mean", lent, count), plants


def _off(found: LifePosterior, truth: Families) -> np.ndarray:
    return np.asarray(np.log(found.b10 / truth.b10))


def _prove_early(families: int) -> Found:
    """One of five services with 6 % assembly faults, and families with none."""
    words = "6 % assembly faults in one of five services of 80 to 250 lives"
    lower, upper, group, family = draw_early(np.random.default_rng(78), families, ONE_OF_FIVE)
    early = find_early_anywhere(lower, upper, group=group, family=family)
    found = fit_posterior(lower, upper, group=group, family=family, early=early, **PRIOR)
    seen = int(early.found.sum())
    yield judge.tell(f"{words}: families found", float(early.found.mean()), families), families
    shares = found.early_share.reshape(-1, 5)[early.found]
    own, others = float(shares[:, 0].mean()), float(shares[:, 1:].mean())
    yield judge.within(f"{words}: its own share, mean", own, seen, 0.045, 0.075), families
    yield (
        judge.within(f"{words}: share of the others, mean", others, 4 * seen, 0.0, 0.006),
        families,
    )
    apart = float((shares[:, 1:].max(axis=1) < 0.5 * shares[:, 0]).mean())
    check = f"{words}: every other share below half of its own"
    yield judge.within(check, apart, seen, 0.9, 1.0), families
    lower, upper, group, family = draw_early(np.random.default_rng(79), 2 * families, (0.0,) * 5)
    false = find_early_anywhere(lower, upper, group=group, family=family).found
    check = "no assembly faults in five services of 80 to 250 lives: families found"
    yield judge.within(check, float(false.mean()), 2 * families, 0.0, 0.05), 2 * families
