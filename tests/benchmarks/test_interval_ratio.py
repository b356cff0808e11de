"""How much faster a ladder of running products is than the same ladder by powers, as exact."""

import time

import numpy as np
import pytest

from pumplife.policy.ladder import integrate_ladder
from pumplife.policy.pump import SideLife, integrate_side
from tests.policy.sides import random_draws

ROUNDS, GROUPS = 7, 4


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

    ratio = best_time(by_powers) / best_time(lambda: [integrate_ladder(side) for side in sides])
    print(f"ladder by powers over ladder by running products: {ratio:.1f} times")
    assert ratio > 2.0
