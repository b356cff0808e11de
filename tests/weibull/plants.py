"""Simulated families of like groups whose truth is known."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

SHAPE, SPREAD = 2.2, 0.37  # the prior that families' shapes are drawn from


@dataclass(frozen=True, kw_only=True, eq=False)
class Families:
    """Lives of many families' groups, and the truth of each group."""

    lower: np.ndarray
    upper: np.ndarray
    group: np.ndarray
    family: np.ndarray
    shape: np.ndarray
    scale: np.ndarray
    failures: np.ndarray
    group_family: np.ndarray

    @property
    def b10(self) -> np.ndarray:
        """True B10 lives of the groups."""
        return self.scale * (-np.log(0.9)) ** (1.0 / self.shape)


def draw_families(
    generator: np.random.Generator, families: int, *, services: tuple[int, int] = (4, 10)
) -> Families:
    """Draw families of one part in 4 to 10 services with 2 to 6 failures each.

    A family's shape comes from the prior, its services' shapes lie 3 to 12 % about it, their
    scales 20 to 60 %; half to 85 % of a service's lives are suspended when its last failure came.
    """
    parts = []
    for number in range(families):
        size = int(generator.integers(services[0], services[1] + 1))
        middle = np.log(SHAPE) + SPREAD * generator.standard_normal()
        near, apart = generator.uniform(0.03, 0.12), generator.uniform(0.2, 0.6)
        shape = np.exp(middle + near * generator.standard_normal(size))
        scale = 8000.0 * np.exp(apart * generator.standard_normal(size))
        failures = generator.integers(2, 7, size)
        rows = np.round(failures / generator.uniform(0.15, 0.5, size)).astype(int)
        parts.append((np.full(size, number), shape, scale, failures, rows))
    number, shape, scale, failures, rows = map(np.concatenate, zip(*parts, strict=True))
    group = np.repeat(np.arange(len(shape)), rows)
    life = scale[group] * generator.weibull(shape[group])
    lower, upper = suspend_after(life, group, failures)
    return Families(
        lower=lower, upper=upper, group=group, family=number[group], shape=shape, scale=scale,
        failures=failures, group_family=number,
    )  # fmt: skip


def suspend_after(
    life: np.ndarray, group: np.ndarray, failures: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Suspend each group's lives when its given number have failed; order within is lost."""
    order = np.lexsort((life, group))
    life, group = life[order], group[order]
    start = np.searchsorted(group, np.arange(len(failures)))
    place = np.arange(len(life)) - start[group]
    ended = life[start + failures - 1][group]
    lower = np.minimum(life, ended)
    return lower, np.where(place < failures[group], lower, np.inf)


def draw_early(
    generator: np.random.Generator,
    families: int,
    shares: tuple[float, ...],
    *,
    rows: tuple[int, int] = (80, 250),
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Draw lower, upper, group and family of services with such shares of assembly faults.

    Wear has shape 1.8 to 3 and a scale that differs by 30 % between services; early lives have a
    mean of 1.6 % of it. Lives are suspended at 0.2 to 1.2 of the scale.
    """
    count = families * len(shares)
    size = generator.integers(*rows, count)
    group = np.repeat(np.arange(count), size)
    shape = np.repeat(generator.uniform(1.8, 3.0, families), len(shares))
    scale = 5000.0 * np.exp(0.3 * generator.standard_normal(count))
    life = scale[group] * generator.weibull(shape[group])
    hit = generator.random(len(group)) < np.tile(shares, families)[group]
    life = np.where(hit, generator.exponential(80.0, len(group)), life)
    until = scale[group] * generator.uniform(0.2, 1.2, len(group))
    upper = np.where(life <= until, life, np.inf)
    return np.minimum(life, until), upper, group, group // len(shares)
