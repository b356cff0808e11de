"""Ladders by running products against quadrature with plenty of nodes."""

from dataclasses import replace

import numpy as np
import pytest

from pumplife.policy import ladder
from pumplife.policy.ladder import integrate_ladder
from pumplife.policy.pump import SideLife, integrate_side, integrate_to
from tests.policy.sides import draws, one_part, random_draws


def side_of(shape, early, *, count=(2.0, 4.0, 4.0), seed=1):
    rng = np.random.default_rng(seed)
    shapes = rng.lognormal(np.log(shape), 0.2, (3, 60))
    scales = rng.uniform(8.0, 30.0, (3, 1)) * rng.lognormal(0.0, 0.2, (3, 60))
    return SideLife(lives=draws(shapes, scales, early, 0.4), count=np.array(count))


@pytest.mark.parametrize("early", [0.0, 0.04])
@pytest.mark.parametrize("shape", [0.7, 1.0, 2.3, 4.0, 6.0])
def test_ladder_is_that_of_twelve_nodes(shape, early):
    side = side_of(shape, early)
    known = integrate_ladder(side)
    dense = integrate_side(side, known.times, nodes=12)
    assert known.survival == pytest.approx(dense.survival, abs=1e-13)
    assert known.uptime == pytest.approx(dense.uptime, rel=2e-7)
    seen = dense.incidence > 1e-4
    assert known.incidence[seen] == pytest.approx(dense.incidence[seen], rel=1e-6)
    assert known.hazard[seen] == pytest.approx(dense.hazard[seen], rel=1e-9)


def test_early_lives_sum_to_the_mean_of_the_mixture():
    side = SideLife(lives=draws([[2.5]], [[12.0]], 0.05, 0.4), count=np.ones(1))
    assert integrate_ladder(side).uptime[-1, 0] == pytest.approx(side.lives.mean()[0, 0], rel=1e-7)


def test_positions_in_part_of_a_number_and_parts_without_any():
    whole = side_of(2.3, 0.04, count=(2.0, 1.5, 0.0))
    known = integrate_ladder(whole)
    dense = integrate_side(whole, known.times, nodes=12)
    assert known.uptime == pytest.approx(dense.uptime, rel=2e-7)
    assert np.all(known.incidence[:, 2] == 0.0)


def test_a_hazard_that_overflows_is_death_and_no_warning():
    side = SideLife(lives=draws([[0.4, 90.0]], [[1e-3, 1e6]]), count=np.ones(1))
    known = integrate_ladder(side)
    assert np.isfinite(known.incidence).all()
    assert known.survival[-1].max() < 1e-12
    assert known.uptime[-1, 1] == pytest.approx(side.lives.mean()[0, 1], rel=0.02)


def test_known_life_ends_where_hardly_anything_lives():
    known = integrate_ladder(one_part(2.5, 12.0))
    assert known.survival[-1, 0] < 1e-12
    assert 1.0 - known.survival[0, 0] < 1e-5


def test_ages_at_once_are_ages_one_by_one():
    side = SideLife(lives=random_draws(np.random.default_rng(3), count=40), count=np.ones(3))
    known = integrate_ladder(side)
    ages = np.array([1e-9, 0.7, 3.0, 11.0, 1e9, np.inf])
    at = integrate_to(side, known, ages[:, None])
    for row, age in enumerate(ages):
        one = integrate_to(side, known, np.array([age]))
        assert at.uptime[row] == pytest.approx(one.uptime[0], rel=1e-12)
        assert at.incidence[row] == pytest.approx(one.incidence[0], rel=1e-10)
    own = np.linspace(1.0, 9.0, 40)
    assert integrate_to(side, known, own).times[0] == pytest.approx(own)


@pytest.mark.parametrize("early", [0.0, 0.04])
@pytest.mark.parametrize("shape", [0.7, 1.0, 2.3, 4.0])
def test_what_is_read_between_the_rows_is_what_quadrature_gives(shape, early):
    side = side_of(shape, early)
    known = integrate_ladder(side)
    first, last = np.log(known.times[[0, -1], 0])
    ages = np.exp(np.linspace(first, last, 401))[:, None]
    read = integrate_to(side, known, ages)
    dense = integrate_to(side, replace(known, even=False), ages, nodes=12)
    assert read.survival == pytest.approx(dense.survival, abs=1e-15)
    assert read.uptime == pytest.approx(dense.uptime, rel=2e-7)
    seen = dense.incidence > 1e-4
    assert read.incidence[seen] == pytest.approx(dense.incidence[seen], rel=1e-6)


@pytest.mark.parametrize("early", [0.0, 0.04])
@pytest.mark.parametrize("shape", [0.7, 1.0, 2.3, 4.0])
def test_a_ladder_of_double_steps_is_exact_enough_for_changes(shape, early):
    side = side_of(shape, early)
    wide = integrate_ladder(side, widest=1.0)
    assert wide.times.size < 0.6 * integrate_ladder(side).times.size + 1
    dense = integrate_side(side, wide.times, nodes=12)
    assert wide.uptime == pytest.approx(dense.uptime, rel=1e-4)
    seen = dense.incidence > 1e-3
    assert wide.incidence[seen] == pytest.approx(dense.incidence[seen], rel=1e-3)


def test_lives_are_looked_at_twice_a_step(monkeypatch):
    looked, plain = [], ladder.live_through

    def count(apart, times, rate):
        looked.append(rate.shape)
        return plain(apart, times, rate)

    monkeypatch.setattr(ladder, "live_through", count)
    known = integrate_ladder(side_of(2.3, 0.04))
    assert sum(rows for rows, *_ in looked) == 2 * known.times.size - 1


def test_draws_picked_here_and_there_lie_side_by_side():
    lives = random_draws(np.random.default_rng(2), count=40)
    for picked in (lives[:, ::3], lives[:, np.arange(60) % 40], lives[[2, 0]], lives[1:, 5:]):
        assert all(getattr(picked, name).flags.c_contiguous for name in ("shape", "early_share"))
    assert lives[:, ::3].scale.tolist() == lives.scale[:, ::3].tolist()


@pytest.mark.parametrize("block", [1, 50_000])
def test_a_ladder_in_blocks_is_one_in_one_go(monkeypatch, block):
    side = side_of(2.3, 0.04)
    plain = integrate_ladder(side)
    monkeypatch.setattr(ladder, "BLOCK_CELLS", block * side.lives.shape.size)
    known = integrate_ladder(side)
    assert known.uptime == pytest.approx(plain.uptime, rel=1e-13)
    assert known.incidence == pytest.approx(plain.incidence, rel=1e-12)
