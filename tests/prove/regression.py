"""Do clustered bounds hold the truth where pumps differ from each other?"""

from __future__ import annotations

from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor

import numpy as np
import pandas as pd
from scipy import special

from pumplife.fits.duty_effects import find_duty_effects
from pumplife.weibull import clustered_covariance, fit_regression, fit_weibull
from tests.prove import judge
from tests.prove import plants as invented

SPREAD = 0.35  # standard deviation of a pump's log scale about its service's
PARTS = 4  # lives of one pump
SHAPE, SCALE = 2.5, 1.0
SHARE = 0.90
SEED = 4001
LEVELS = r"(?P<factor>size|material) (?P<one>.+) against (?P<base>.+)"


def draw(
    generator: np.random.Generator, plants: int, pumps: int, effect: float = 0.0
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return lower, upper (plants, pumps, PARTS) and the service (pumps,) of half the pumps.

    A third of the lives is suspended; the second service's lives are exp(effect) times as long.
    """
    service = np.arange(pumps) % 2
    own = np.exp(generator.normal(0.0, SPREAD, (plants, pumps, 1)) + effect * service[:, None])
    life = SCALE * own * generator.weibull(SHAPE, (plants, pumps, PARTS))
    until = generator.uniform(0.4, 2.0, (plants, pumps, PARTS))
    return np.minimum(life, until), np.where(life <= until, life, np.inf), service


def _cover_groups(plants: int, pumps: int) -> dict[str, np.ndarray]:
    """Whether bounds of log scale and log shape (plants, 2) hold what a plant without end gives."""
    generator = np.random.default_rng(SEED + pumps)
    lower, upper, _ = draw(generator, plants, pumps)
    rows = pumps * PARTS
    group = np.repeat(np.arange(plants), rows)
    pump = np.tile(np.repeat(np.arange(pumps), PARTS), plants)
    lives = lower.ravel(), upper.ravel()
    fit = fit_weibull(*lives, group=group, bounds="wald")
    found = np.log(np.column_stack([fit.scale, fit.shape]))
    low, high, _ = draw(generator, 1, 250_000)
    endless = fit_weibull(low.ravel(), high.ravel(), bounds="wald")
    off = np.abs(found - np.log([endless.scale, endless.shape]))
    clustered = clustered_covariance(*lives, group=group, cluster=pump)
    errors = {
        "plain": (fit.covariance, float(special.ndtri(0.5 + 0.5 * SHARE))),
        "clustered": (clustered.covariance, float(special.stdtrit(pumps - 1, 0.5 + 0.5 * SHARE))),
    }
    covered = {
        name: off <= reach * np.sqrt(np.diagonal(covariance, axis1=1, axis2=2))
        for name, (covariance, reach) in errors.items()
    }
    return covered | {"effect": clustered.design_effect}


def _cover_service(plants: int, pumps: int) -> dict[str, np.ndarray]:
    """Whether bounds (plants,) of the ratio of lives of two services hold the truth."""
    generator = np.random.default_rng(SEED + 7 * pumps)
    effect = float(np.log(1.5))
    lower, upper, service = draw(generator, plants, pumps, effect)
    pump = np.repeat(np.arange(pumps), PARTS)
    covered: dict[str, list[bool]] = {"plain": [], "clustered": []}
    for low, high in zip(lower, upper, strict=True):
        for name, cluster in (("plain", None), ("clustered", pump)):
            fit = fit_regression(
                low.ravel(), high.ravel(), covariates=service[pump][:, None], names=["service"],
                cluster=cluster, confidence=SHARE,
            )  # fmt: skip
            covered[name].append(bool(fit.low[1] <= effect <= fit.high[1]))
    return {name: np.array(held) for name, held in covered.items()}


def find_known_effects(seed: int) -> pd.DataFrame:
    """Effects found in an invented plant whose sizes are alike and whose materials aren't.

    Columns: factor, ratio_low, ratio_high, least and most (of the true ratio over the services
    where both materials are fitted; 1 for a size).
    """
    plant = invented.make_plant(seed, faults=False)
    _, duty, _, lives, fits = invented.run_route(plant)
    found = find_duty_effects(fits, lives, duty)
    found = found[found["life_ratio"].notna()].reset_index(drop=True)
    found = found.join(found["effect"].str.extract(LEVELS)).dropna(subset="factor")
    scale = pd.DataFrame(plant.truth["settings"]["lives"]).pivot_table(
        index=["part", "service"], columns="material", values="scale"
    )
    ends = [_true_ratio(scale, *row) for row in found[["factor", "part", "one", "base"]].to_numpy()]
    return found.assign(least=[low for low, _ in ends], most=[high for _, high in ends])


def _true_ratio(scale: pd.DataFrame, factor: str, part: str, one: str, base: str) -> list[float]:
    if factor == "size":
        return [1.0, 1.0]
    ratio = (scale.loc[part, one] / scale.loc[part, base]).dropna()
    return [ratio.min(), ratio.max()]


def _prove_effects(plants: int) -> Iterator[tuple[judge.Result, int]]:
    with ProcessPoolExecutor(2) as pool:
        found = pd.concat(pool.map(find_known_effects, range(SEED, SEED + plants)))
    words = {"size": "sizes that make no difference", "material": "true ratio of two materials"}
    for factor, rows in found.dropna(subset="least").groupby("factor"):
        held = (rows["ratio_low"] <= rows["most"]) & (rows["least"] <= rows["ratio_high"])
        head = f"invented plants: {words[str(factor)]} within the 90 % bounds of the effect"
        yield judge.tell(head, float(held.mean()), len(rows)), plants


def prove(scale: float) -> Iterator[tuple[judge.Result, int]]:
    """Every result with the number of seeds behind it."""
    plants = max(50, round(4000 * scale))
    for pumps in (10, 30, 100):
        covered = _cover_groups(plants, pumps)
        words = f"pumps differ by {SPREAD:g} in log scale, {pumps} pumps of {PARTS} lives"
        for place, name in enumerate(("scale", "shape")):
            plain, clustered = (float(covered[kind][:, place].mean()) for kind in
                                ("plain", "clustered"))  # fmt: skip
            yield judge.tell(f"{words}: {name} in plain 90 % bounds", plain, plants), plants
            head = f"{words}: {name} in clustered 90 % bounds"
            if (pumps, name) == (30, "scale"):
                yield judge.within(head, clustered, plants, 0.87, 0.93), plants
            else:
                yield judge.tell(head, clustered, plants), plants
            middle = float(np.median(covered["effect"][:, place]))
            yield judge.tell(f"{words}: design effect of {name}, median", middle, plants), plants
    yield from _prove_service(max(25, round(1000 * scale)))
    yield from _prove_effects(max(2, round(24 * scale)))


def _prove_service(plants: int) -> Iterator[tuple[judge.Result, int]]:
    for pumps in (12, 30):
        covered = _cover_service(plants, pumps)
        words = f"two services, {pumps} pumps of {PARTS} lives: life ratio"
        plain, clustered = (float(covered[kind].mean()) for kind in ("plain", "clustered"))
        yield judge.tell(f"{words} in plain 90 % bounds", plain, plants), plants
        yield judge.tell(f"{words} in clustered 90 % bounds", clustered, plants), plants
