"""Half a year of records to come: simulated, weighed, and what they are worth."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import integrate, stats

from pumplife.policy.doubt.knowing import (
    Actions,
    choose_lowest,
    lowest_rates,
    worth_of_knowing,
)
from pumplife.policy.doubt.records import Fleet, log_likelihood, simulate_records
from pumplife.policy.doubt.sample import belief_after, say_worth, worth_of_records
from pumplife.weibull.draws import LifeDraws
from tests.policy.sides import draws


def fleet(pumps=1, positions=(0,), age=0.0, usage=1.2, **changes):
    size = (pumps, len(positions))
    fields = {
        "part_of": np.array(positions),
        "age": np.full(size, age),
        "clock": np.full(pumps, age),
        "usage": np.full(pumps, usage),
        "interval": np.inf,
        "whole_kit": True,
    }
    return Fleet(**(fields | changes))


def three_truths(copies=100, shape=4.0):
    scale = np.tile([1.0, 2.0, 4.0], copies)
    return draws(np.full((1, scale.size), shape), scale[None])


# cost of three actions under each of three truths: no action is the best under all
COSTS = np.array([[1.0, 3.0, 5.0], [2.2, 2.0, 3.5], [6.0, 2.8, 1.0]])


def tiled(copies):
    return Actions(rates=np.tile(COSTS, copies), ages=np.array([1.0]))


def worth_by_enumeration(shape, usage):
    """Every outcome of one pump new today: it lives, or fails at x and its successor lives on.

    A second failure within the rest is left out, the chances of the others made to sum to 1.
    """
    life = [stats.weibull_min(shape, scale=scale) for scale in (1.0, 2.0, 4.0)]

    def least(likelihood):
        return (COSTS @ likelihood).min() / 3.0

    def fails_at(x):
        return least(np.array([one.pdf(x) * one.sf(usage - x) for one in life]))

    lives_on = least(np.array([one.sf(usage) for one in life]))
    fails, _ = integrate.quad(fails_at, 0.0, usage, limit=200)
    told = sum(
        one.sf(usage) + integrate.quad(lambda x, o=one: o.pdf(x) * o.sf(usage - x), 0.0, usage)[0]
        for one in life
    )
    return COSTS.mean(axis=1).min() - (lives_on + fails) * 3.0 / told


@pytest.mark.parametrize("usage", [0.6, 1.2])
def test_worth_of_records_is_that_of_every_outcome_enumerated(usage):
    copies = 66
    lives = three_truths(copies)
    found = [
        worth_of_records(lives, fleet(usage=usage), tiled(copies), np.random.default_rng(seed))
        for seed in range(24)
    ]
    mean = np.mean([one.worth for one in found])
    error = np.sqrt(np.mean([one.error**2 for one in found]) / len(found))
    exact = worth_by_enumeration(4.0, usage)
    assert mean == pytest.approx(exact, abs=3.0 * error + 0.01 * exact)
    assert error < 0.1 * exact


def test_more_pumps_and_more_time_teach_more_up_to_all_there_is_to_know():
    copies = 66
    lives, actions = three_truths(copies), tiled(copies)
    everything = worth_of_knowing(actions)
    worth = [
        worth_of_records(lives, seen, actions, np.random.default_rng(2)).worth
        for seen in (fleet(usage=0.05), fleet(usage=0.8), fleet(8, usage=0.8), fleet(40, usage=3.0))
    ]
    assert worth[0] < 0.05 * everything
    assert np.all(np.diff(worth) > 0.0)
    assert worth[-1] == pytest.approx(everything, rel=0.01)


def test_nothing_new_is_worth_nothing():
    lives = draws(np.full((1, 50), 2.5), np.full((1, 50), 3.0))
    actions = Actions(rates=np.ones((3, 50)), ages=np.array([1.0, 2.0, 3.0]))
    found = worth_of_records(lives, fleet(), actions, np.random.default_rng(1))
    assert found.worth == 0.0
    assert found.alike == pytest.approx(49.0)


def test_too_few_draws_for_what_would_be_believed_are_withheld():
    # every truth far from every other: no draw stands for another once records are in
    scale = np.geomspace(1.0, 1e6, 60)[None]
    lives = draws(np.full_like(scale, 8.0), scale)
    actions = Actions(rates=np.stack([scale[0], scale[0][::-1]]), ages=np.array([1.0]))
    seen = fleet(30, age=0.9, usage=2e6)
    found = worth_of_records(lives, seen, actions, np.random.default_rng(1))
    assert np.isnan(found.worth)
    assert found.alike < 20.0
    few = worth_of_records(lives[:, :3], fleet(), actions, np.random.default_rng(1))
    assert np.isnan(few.worth)


def test_likelihood_of_what_was_seen_is_that_of_each_life_by_hand():
    rng = np.random.default_rng(3)
    lives = draws([[1.8, 2.5, 3.0]], [[4.0, 6.0, 5.0]])
    seen = fleet(3, (0, 0), age=2.0, usage=1.5, interval=3.2)
    data = simulate_records(lives, seen, np.array([0, 1, 2]), rng)
    assert data.lived[..., 1:].sum(axis=2) == pytest.approx(-data.lived[..., 0], abs=1e-9)
    ages = data.ages
    by_hand = np.zeros((3, 3))
    for truth in range(3):
        for draw in range(3):
            shape, scale = lives.shape[0, draw], lives.scale[0, draw]
            hazard = shape / scale * (ages[1:] / scale) ** (shape - 1.0)
            spent = data.lived[truth, 0] @ (ages / scale) ** shape
            by_hand[truth, draw] = data.failed[truth, 0, 1:] @ np.log(hazard) - spent
    assert log_likelihood(lives, data) == pytest.approx(by_hand, rel=1e-9)


def test_the_fleet_runs_as_it_is_told_to():
    # lives all but certain at 10: planned at 4, two renewals in 10 from age 1; never a failure
    lives = draws([[60.0]], [[10.0]])
    rng, truth = np.random.default_rng(1), np.zeros(5, int)
    planned = simulate_records(lives, fleet(2, age=1.0, usage=10.0, interval=4.0), truth, rng)
    assert planned.failed.sum() == 0.0
    never = simulate_records(lives, fleet(2, age=1.0, usage=30.0), truth, rng)
    assert never.failed.sum(axis=(1, 2)) == pytest.approx(np.full(5, 6.0))
    alone = fleet(1, (0, 0), age=1.0, usage=30.0, whole_kit=False)
    assert simulate_records(lives, alone, truth, rng).failed.sum() == pytest.approx(5 * 6.0)


def test_failures_come_as_often_as_the_lives_say():
    lives = draws([[2.0]], [[5.0]], 0.1, 0.3)
    truth = np.zeros(2000, int)
    data = simulate_records(lives, fleet(usage=3.0), truth, np.random.default_rng(5))
    first = 1.0 - lives.survival(3.0)[0, 0]
    failed = data.failed.sum(axis=(1, 2))
    alive = np.mean(failed == 0.0)
    assert alive == pytest.approx(1.0 - first, abs=4.0 * np.sqrt(first * (1.0 - first) / 2000))


@settings(max_examples=15, deadline=None)
@given(seed=st.integers(0, 99), usage=st.floats(0.1, 10.0), pumps=st.integers(1, 6))
def test_records_are_worth_between_nothing_and_knowing_all(seed, usage, pumps):
    rng = np.random.default_rng(seed)
    size = 80
    lives = LifeDraws(
        early_share=np.full((2, size), 0.02),
        early_scale=np.full((2, size), 0.2),
        shape=rng.lognormal(0.8, 0.2, (2, size)),
        scale=rng.lognormal(1.5, 0.3, (2, size)),
    )
    actions = Actions(
        rates=1.0 + rng.random((4, 1)) + 0.3 * lives.scale[0] * rng.normal(size=(4, 1)),
        ages=np.array([1.0]),
    )
    found = worth_of_records(lives, fleet(pumps, (0, 0, 1), usage=usage), actions, rng)
    assert np.isnan(found.worth) or 0.0 <= found.worth <= worth_of_knowing(actions)


def test_beliefs_sum_to_one_and_on_average_to_what_is_believed_today():
    rng = np.random.default_rng(1)
    truth = np.arange(40)
    weights = belief_after(rng.normal(0.0, 1.0, (40, 40)), truth)
    assert weights.sum(axis=1) == pytest.approx(np.ones(40))
    assert weights.mean(axis=0) == pytest.approx(np.full(40, 1.0 / 40), rel=1e-3)
    assert np.all(weights[truth, truth] == 0.0)


def believed(seed, size=120):
    """One set of draws of one part's lives, and what three actions cost under each of them."""
    rng = np.random.default_rng(seed)
    scale = rng.lognormal(1.0, 0.4, size)
    long = scale / 2.94  # of the mean
    rates = np.stack([np.ones(size), 0.45 + 0.6 * long, 1.85 - 0.8 * long])
    lives = draws(np.full((1, size), 2.5), scale[None])
    return lives, Actions(rates=rates, ages=np.array([1.0]))


def test_the_error_is_how_far_other_draws_and_futures_take_the_worth():
    found = []
    for seed in range(60):
        lives, actions = believed(seed)
        rng = np.random.default_rng(1000 + seed)
        found.append(worth_of_records(lives, fleet(4, usage=1.0), actions, rng))
    spread = np.std([one.worth for one in found], ddof=1)
    told = np.sqrt(np.mean([one.error**2 for one in found]))
    assert spread > 0.0
    assert told == pytest.approx(spread, rel=0.35)  # 60 spreads: 9 % of itself, four times


def test_futures_alone_would_tell_too_small_an_error():
    """The same belief by other futures moves the worth less than another set of draws does."""
    lives, actions = believed(1)
    worth = [
        worth_of_records(lives, fleet(4, usage=1.0), actions, np.random.default_rng(seed)).worth
        for seed in range(30)
    ]
    told = worth_of_records(lives, fleet(4, usage=1.0), actions, np.random.default_rng(1)).error
    assert 0.0 < np.std(worth) < told


def test_what_is_chosen_costs_what_is_lowest():
    rng = np.random.default_rng(2)
    ages = np.geomspace(1.0, 4.0, 12)
    bowl = (np.log(ages)[:, None] - rng.uniform(-0.2, 1.6, 40)) ** 2
    rates = np.concatenate([bowl + 1.0, rng.uniform(1.0, 1.1, (2, 40))])
    shares = choose_lowest(rates, ages)
    assert shares.sum(axis=1) == pytest.approx(np.ones(40))
    assert (shares * rates.T).sum(axis=1) == pytest.approx(lowest_rates(rates, ages), abs=1e-12)


@pytest.mark.parametrize(
    ("worth", "error", "told"),
    [
        (np.nan, np.nan, ""),
        (0.0, 0.0, "nothing"),
        (0.0, 0.2, "below 1 EUR"),
        (0.3, 0.05, "below 1 EUR"),
        (1.2, 0.2, "about 1 EUR"),
        (9.0, 8.0, "below 30 EUR"),
        (1234.0, 61.0, "about 1,230 EUR"),
        (1234.0, 400.0, "about 1,200 EUR"),
        (1234.0, 700.0, "below 3,000 EUR"),
    ],
)
def test_a_worth_is_told_as_far_as_it_is_known(worth, error, told):
    assert say_worth(worth, error, "EUR") == told
    limited = say_worth(worth, error, "EUR", limited=True)
    assert limited == ("nothing within the limit" if told == "nothing" else told)
