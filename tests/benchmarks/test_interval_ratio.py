"""How much faster ladders are by running products, and short renewal equations step by step."""

import time

import numpy as np
import pytest

from pumplife.policy.ladder import integrate_ladder
from pumplife.policy.pump import SideLife, integrate_side
from pumplife.policy.renewal import renew_on_grid, solve_renewal
from tests.policy.sides import random_draws

ROUNDS, GROUPS = 25, 4


@pytest.fixture(scope="module")
def sides():
    """Sides of three parts with 500 draws."""
    rng = np.random.default_rng(1)
    count = np.array([2.0, 4.0, 4.0])
    return [SideLife(lives=random_draws(rng, count=500), count=count) for _ in range(GROUPS)]


def best_time(task):
    """Processor time of the fastest of some rounds [s]."""
    taken = []
    for _ in range(ROUNDS):
        started = time.process_time()
        task()
        taken.append(time.process_time() - started)
    return min(taken)


def test_running_products_are_faster_than_powers(sides):
    known = [integrate_ladder(side) for side in sides]
    powers = [
        integrate_side(side, one.times, nodes=4) for side, one in zip(sides, known, strict=True)
    ]
    for one, other in zip(known, powers, strict=True):
        assert one.uptime == pytest.approx(other.uptime, rel=3e-7)

    def by_powers():
        for side, one in zip(sides, known, strict=True):
            integrate_side(side, one.times, nodes=4)

    def by_products():  # none is kept either: fresh memory would be what is timed
        for side in sides:
            integrate_ladder(side)

    ratio = best_time(by_powers) / best_time(by_products)
    print(f"ladder by powers over ladder by running products: {ratio:.1f} times")
    assert ratio > 2.0


def test_short_grids_are_renewed_faster_step_by_step_than_by_transform(sides):
    grids = [side.lives.survival(np.linspace(0.0, 40.0, 86)[:, None, None]) for side in sides]
    grids = [np.moveaxis(grid, 0, 1).copy() for grid in grids]
    last = [np.moveaxis(grid, 1, -1).copy() for grid in grids]
    for grid, lasting in zip(grids, last, strict=True):
        transformed = solve_renewal(lasting[..., 0::2], 1.0 - lasting, 0.1)
        assert np.moveaxis(renew_on_grid(grid, 0.1), 1, -1) == pytest.approx(transformed, abs=1e-8)

    def by_transform():
        for lasting in last:
            solve_renewal(lasting[..., 0::2], 1.0 - lasting, 0.1)

    ratio = best_time(by_transform) / best_time(lambda: [renew_on_grid(one, 0.1) for one in grids])
    print(f"renewal equation by transform over step by step: {ratio:.1f} times")
    assert ratio > 1.0
