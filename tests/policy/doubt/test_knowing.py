"""What it is worth to know lives."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pumplife.policy.doubt.knowing import (
    Actions,
    learn_first,
    lowest_rates,
    price_actions,
    worth_of_knowing,
    worth_of_parts,
)
from pumplife.policy.doubt.surface import lay_surface
from pumplife.policy.interval import cost_rate, optimal_interval
from pumplife.policy.ladder import integrate_ladder
from pumplife.policy.pump import SideLife, integrate_to
from pumplife.weibull.draws import LifeDraws
from tests.policy.doubt.groups import plain_costs
from tests.policy.sides import draws

COUNT = np.array([2.0, 4.0])


def priced(lives, count, costs, *, interval=np.inf, limit=np.inf):
    _, at = lay_surface(SideLife(lives=lives, count=count), limit=limit, interval=interval)
    return price_actions(at, lives, count, costs, limit)


def two_parts(seed=1, size=400, spread=(0.35, 0.1)):
    """Lives of two parts, doubted independently of each other."""
    rng = np.random.default_rng(seed)
    middle = np.array([[8.0], [14.0]])
    sd = np.array(spread)[:, None]
    scale = middle * np.exp(sd * rng.normal(size=(2, size)))
    return draws(2.5 * np.exp(0.5 * sd * rng.normal(size=(2, size))), scale)


def test_perfect_information_by_hand():
    # three actions, two truths: 5 on average for the first, 4 by choosing with the truth known
    rates = np.array([[4.0, 6.0], [2.0, 9.0], [9.0, 7.0]])
    actions = Actions(rates=rates, ages=np.array([1.0]))
    assert actions.best == 0
    assert worth_of_knowing(actions) == pytest.approx(5.0 - (2.0 + 6.0) / 2.0)


def test_lowest_rates_finds_a_parabola_between_the_ages():
    ages = np.exp(np.array([0.0, 0.3, 0.7, 1.2, 1.6]))
    turn = np.array([0.45, 0.9, -3.0, 4.0])
    rates = 5.0 + (np.log(ages)[:, None] - turn) ** 2
    lowest = lowest_rates(rates, ages)
    assert lowest[:2] == pytest.approx([5.0, 5.0], abs=1e-12)
    assert lowest[2:] == pytest.approx([rates[0, 2], rates[-1, 3]])


def test_perfect_information_is_that_of_each_truth_solved():
    lives = two_parts()
    cost = 400.0, np.array([3000.0, 1500.0])
    side = SideLife(lives=lives, count=COUNT)
    actions = priced(lives, COUNT, plain_costs(400.0, cost[1]), interval=2.05)
    solved = optimal_interval(side, *cost)[1]
    known = integrate_ladder(side)
    ages = np.geomspace(2.0, 6.0, 400)
    best = cost_rate(integrate_to(side, known, ages[:, None]), *cost).mean(axis=1).min()
    assert worth_of_knowing(actions) == pytest.approx(best - solved.mean(), rel=0.01)


def test_renewing_the_failed_part_alone_counts_among_what_one_could_do():
    lives = two_parts()
    kit = priced(lives, COUNT, plain_costs(400.0, [600.0, 600.0]))
    both = priced(lives, COUNT, plain_costs(400.0, [600.0, 600.0], [190.0, 190.0]))
    assert both.rates[-1].mean() < kit.rates[:-1].mean(axis=1).min()
    assert both.best == len(both.rates) - 1
    held = priced(lives, COUNT, plain_costs(400.0, [600.0, 600.0], [190.0, 190.0]), limit=4.0)
    assert held.ages[-1] == 4.0
    assert len(held.rates) == held.ages.size


def test_one_part_known_is_the_mean_over_the_other_by_brute_force():
    lives, few = two_parts(size=4000), 110
    costs = plain_costs(400.0, [3000.0, 1500.0])
    actions = priced(lives, COUNT, costs, interval=2.05)
    worth, error = worth_of_parts(actions, lives)
    evenly = np.linspace(0, 3999, few).astype(int)
    some = np.argsort(lives.scale, axis=1)[:, evenly]  # short and long lives as they come
    first, second = np.repeat(some[0], few), np.tile(some[1], few)
    pairs = LifeDraws(
        early_share=np.zeros((2, few**2)),
        early_scale=np.ones((2, few**2)),
        shape=np.stack([lives.shape[0, first], lives.shape[1, second]]),
        scale=np.stack([lives.scale[0, first], lives.scale[1, second]]),
    )
    rates = priced(pairs, COUNT, costs, interval=2.05)
    for part, axis in ((0, 2), (1, 1)):
        given_part = rates.rates.reshape(-1, few, few).mean(axis=axis)
        brute = rates.lowest - lowest_rates(given_part, rates.ages).mean()
        assert worth[part] == pytest.approx(brute, abs=3.0 * error[part] + 0.05 * brute)
    assert worth[0] > 5.0 * worth[1]
    assert learn_first(worth, error, ("diaphragm", "ball")) == "diaphragm"


def test_no_part_is_named_where_none_stands_out():
    assert learn_first(np.array([0.1, 0.2]), np.array([0.1, 0.15]), ("a", "b")) == ""
    lives = draws([[2.5], [2.0]], [[8.0], [14.0]])
    worth, error = worth_of_parts(priced(lives, COUNT, plain_costs(1.0, [5.0, 5.0])), lives)
    assert worth.tolist() == [0.0, 0.0]
    assert learn_first(worth, error, ("a", "b")) == ""


@settings(max_examples=15, deadline=None)
@given(seed=st.integers(0, 99), ratio=st.floats(1.05, 20.0), limit=st.floats(1.0, 30.0))
def test_knowing_a_part_is_never_worth_more_than_knowing_all_nor_less_than_nothing(
    seed, ratio, limit
):
    lives = two_parts(seed, 120)
    actions = priced(lives, COUNT, plain_costs(400.0, [400.0 * ratio, 400.0 * ratio]), limit=limit)
    everything = worth_of_knowing(actions)
    worth, _ = worth_of_parts(actions, lives)
    assert everything >= 0.0
    assert np.all((worth >= 0.0) & (worth <= everything))
