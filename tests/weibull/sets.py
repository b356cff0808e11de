"""Life sets with known answers, and simulated ones."""

from __future__ import annotations

import csv
import json
from pathlib import Path
from typing import Any

import numpy as np

REFERENCE = Path(__file__).parents[1] / "reference"
SETS: dict[str, Any] = json.loads((REFERENCE / "lives.json").read_text())["sets"]
PUBLISHED: dict[str, Any] = {
    identity: check
    for file in ("published_fits.json", "published_bounds.json")
    for identity, check in json.loads((REFERENCE / file).read_text())["checks"].items()
}


def read_set(name: str) -> tuple[np.ndarray, ...]:
    """Return lower, upper, entry, weight of a reference set."""
    with (REFERENCE / SETS[name]["about"]["file"]).open() as file:
        rows = list(csv.DictReader(file))
    return tuple(
        np.array([float(row[column]) for row in rows])
        for column in ("lower", "upper", "entry", "weight")
    )


def arrange(failures: list[float], suspensions: list[float]) -> tuple[np.ndarray, np.ndarray]:
    """Return lower and upper of exact failures and suspensions."""
    lower = np.array([*failures, *suspensions], dtype=float)
    return lower, np.concatenate([failures, np.full(len(suspensions), np.inf)])


def read_printed(identity: str) -> dict[str, str]:
    """Return the published digits of one example by name."""
    return {one["name"]: one["printed"] for one in PUBLISHED[identity]["outputs"]}


def half_digit(printed: str) -> float:
    """Return half a unit of the last printed digit."""
    mantissa, _, exponent = printed.lower().partition("e")
    decimals = len(mantissa.partition(".")[2])
    return 0.5000001 * 10.0 ** (int(exponent or 0) - decimals)


def simulate(
    generator: np.random.Generator,
    rows: int,
    shape: float,
    scale: float,
    *,
    early: float = 0.0,
    tau: float = 60.0,
    watched: float = 1.2,
) -> tuple[np.ndarray, np.ndarray]:
    """Return lower and upper of Weibull lives, some early, suspended at random ages."""
    life = scale * generator.weibull(shape, rows)
    life = np.where(generator.random(rows) < early, generator.exponential(tau, rows), life)
    until = scale * watched * generator.uniform(0.2, 1.5, rows)
    return np.minimum(life, until), np.where(life <= until, life, np.inf)


def log_likelihood(lives: tuple[np.ndarray, ...], shape: float, scale: float) -> float:
    """Return the log-likelihood as the textbook writes it, life by life."""
    total = 0.0
    for lower, upper, entry, weight in zip(*lives, strict=True):
        survival = [np.exp(-((age / scale) ** shape)) for age in (lower, upper, entry)]
        if lower == upper:
            chance = shape / scale * (lower / scale) ** (shape - 1.0) * survival[0]
        else:
            chance = survival[0] - (survival[1] if np.isfinite(upper) else 0.0)
        total += weight * np.log(chance / survival[2])
    return float(total)
