"""Few intervals and round values: every choice tried, and what must hold of any plant."""

from itertools import combinations
from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pumplife.policy.cycles import CycleCurves
from pumplife.policy.few import best_few
from pumplife.policy.rounding import round_interval, round_values


def plant_costs(rng, groups, values, limited=0.3):
    """Cost curves with one minimum each, some cut by a limit, some free to run to failure."""
    best = np.exp(rng.uniform(np.log(values[0]), np.log(values[-1]), groups))[:, None]
    steep = rng.uniform(0.5, 2.0, (groups, 1))
    cost = rng.uniform(50, 2000, (groups, 1)) * (1 + steep * np.log(values / best) ** 2)
    limit = np.where(rng.random(groups) < limited, best[:, 0], np.inf)
    limit = np.maximum(limit, values[0])
    never = np.where(np.isinf(limit), cost.min(axis=1) * rng.uniform(1.0, 3.0, groups), np.inf)
    return np.where(values <= limit[:, None], cost, np.inf), never


def by_enumeration(cost, never, count):
    every = combinations(range(cost.shape[1]), count)
    return min(np.minimum(cost[:, list(one)].min(axis=1), never).sum() for one in every)


def by_dynamic_programming(cost, never, count):
    """Curves with one minimum take one of the two chosen values around it: values in a row."""
    values = cost.shape[1]
    at = np.argmin(cost, axis=1)
    padded = np.column_stack([np.full(len(cost), np.inf), cost, np.full(len(cost), np.inf)])

    def between(low, high):  # groups whose minimum lies in [low, high), places counted from 1
        mine = (at + 1 >= low) & (at + 1 < high)
        return np.minimum(np.minimum(padded[mine, low], padded[mine, high]), never[mine]).sum()

    step = np.array([[between(a, b) if a < b else np.inf for b in range(values + 2)]
                     for a in range(values + 2)])  # fmt: skip
    total = np.full(values + 2, np.inf)
    total[0] = 0.0
    for _ in range(count):
        total = (total[:, None] + step).min(axis=0)
        total[-1] = np.inf
    return float((total + step[:, -1]).min())


@pytest.mark.parametrize("seed", range(4))
def test_few_values_are_the_best_by_enumeration_and_by_dynamic_programming(seed):
    rng = np.random.default_rng(seed)
    values = np.sort(rng.uniform(500, 9000, 11))
    cost, never = plant_costs(rng, 9, values)
    choices = best_few(values, cost, never, most=4)
    for count, choice in enumerate(choices, start=1):
        assert choice.cost == pytest.approx(by_enumeration(cost, never, count), rel=1e-9)
        assert choice.cost == pytest.approx(by_dynamic_programming(cost, never, count), rel=1e-9)
        assert set(choice.taken[np.isfinite(choice.taken)]) == set(choice.values)


def test_curves_of_any_form_are_solved_exactly_too():
    rng = np.random.default_rng(5)
    cost, never = rng.uniform(10, 100, (7, 9)), rng.uniform(60, 200, 7)
    for count, choice in enumerate(best_few(np.arange(1.0, 10.0), cost, never, most=3), start=1):
        assert choice.cost == pytest.approx(by_enumeration(cost, never, count), rel=1e-9)


@settings(max_examples=15, deadline=None)
@given(seed=st.integers(0, 10_000))
def test_more_values_never_cost_more_and_no_limit_is_passed(seed):
    rng = np.random.default_rng(seed)
    values = np.sort(rng.uniform(500, 9000, 14))
    cost, never = plant_costs(rng, 8, values, limited=0.6)
    choices = best_few(values, cost, never)
    assert np.all(np.diff([choice.cost for choice in choices]) < 0.0)
    for choice in choices:
        for group, taken in enumerate(choice.taken):
            place = np.searchsorted(values, taken)
            assert np.isfinite(never[group] if np.isinf(taken) else cost[group, place])


def test_round_values_by_hand():
    assert round_values(1900, 3000).tolist() == [1900, 2000, 2200, 2400, 2500, 2750, 3000]
    assert round_values(910, 920).size == 0
    assert round_values(910, 920, fineness=50).tolist() == [910, 920]
    assert round_values(0.19, 0.25) == pytest.approx([0.19, 0.2, 0.22, 0.24, 0.25])


def decision_of(interval, low, high, limit):
    """A decision whose cost curve is flat around the interval."""
    times = np.geomspace(10.0, 1e6, 200)
    rate = (1.0 + np.log(times / interval) ** 2)[:, None]
    advice = SimpleNamespace(
        times=times, expected=rate[:, 0],
        near_best_low=low, near_best_high=high, binding_limit="cost",
    )  # fmt: skip
    return SimpleNamespace(
        interval=interval, limit=limit, advice=advice, advised=SimpleNamespace(money=np.ones(1))
    )


@settings(max_examples=60, deadline=None)
@given(
    log_interval=st.floats(np.log(50.0), np.log(2e5)),
    low=st.floats(0.6, 0.999),
    high=st.floats(1.0, 2.0),
    over=st.floats(1.0, 1.5),
)
def test_a_round_interval_stays_in_the_band_and_within_the_limit(log_interval, low, high, over):
    interval = float(np.exp(log_interval))
    value, rate = round_interval(
        decision_of(interval, low * interval, high * interval, over * interval)
    )
    assert low * interval * (1 - 1e-9) <= value <= min(high, over) * interval * (1 + 1e-9)
    assert rate == pytest.approx(1.0 + np.log(value / interval) ** 2, rel=1e-4)


def test_curves_between_known_ages_are_read_by_splines():
    log_times = np.linspace(0.0, 8.0, 60)
    curves = CycleCurves(
        log_times=log_times,
        cost=(2.0 + np.exp(0.3 * log_times))[:, None],
        uptime=np.exp(0.9 * log_times)[:, None],
    )
    ages = np.array([3.3, 50.0, 700.0])
    assert curves.rate_at(ages) == pytest.approx((2.0 + ages**0.3) / ages**0.9, rel=1e-5)
