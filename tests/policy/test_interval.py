"""Age replacement of one part and of a side in series."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pumplife.errors import RecordError
from pumplife.policy.ages import own_times, shared_times
from pumplife.policy.interval import (
    advise_interval,
    chance_cheaper,
    cost_rate,
    optimal_interval,
)
from pumplife.policy.limits import release_limit
from pumplife.policy.pump import SideLife, integrate_side, integrate_to
from tests.policy.sides import draws, one_part, published, random_draws, read_reference


class Uniform:
    """Life uniform on (0, end): a life that is no Weibull."""

    def __init__(self, end):
        self.end = end

    def survival(self, t):
        return np.clip(1.0 - t / self.end, 0.0, 1.0) * np.ones((1, 1))

    def hazard(self, t):
        return np.where(t < self.end, 1.0 / (self.end - t), np.inf) * np.ones((1, 1))


@pytest.mark.parametrize("case", read_reference("age_replacement.json")["values"])
def test_optimum_is_that_of_the_first_order_condition(case):
    # independently computed: first-order condition in high precision
    interval, rate = optimal_interval(
        one_part(case["beta"], case["eta"]), case["cp"], np.array([case["cf"]])
    )
    assert [interval[0], rate[0]] == pytest.approx(case["truth_t_C"], rel=1e-9)


@pytest.mark.parametrize(("name", "value"), list(published("P09")["inputs"].items()))
def test_grid_of_shapes_and_cost_ratios(name, value):
    # independently computed (no published table): optimality condition of Barlow & Hunter 1960
    shape, ratio = (float(word.split("=")[1]) for word in name.split(","))
    interval, rate = optimal_interval(one_part(shape, 1.0), 1.0, np.array([ratio]))
    assert interval[0] == pytest.approx(value[0], abs=6e-7)
    assert rate[0] == pytest.approx(value[1], abs=6e-7)


def test_uniform_life_of_a_textbook_runs_through_the_same_code():
    # Jardine & Tsang, Maintenance, Replacement, and Reliability, 2nd ed., chapter 2, Problem 2
    side = SideLife(lives=Uniform(40_000.0), count=np.ones(1))
    cost = 100.0, np.array([200.0])
    known = integrate_side(side, own_times(side), nodes=6)
    for age, printed in ((1e4, 0.0143), (2e4, 0.0100), (3e4, 0.0093), (4e4, 0.0100)):
        rate = cost_rate(integrate_to(side, known, np.array([age])), *cost)
        assert rate[0, 0] == pytest.approx(printed, abs=5e-5)
    assert optimal_interval(side, *cost)[0][0] == pytest.approx(40_000 * (3**0.5 - 1), rel=1e-9)


def _kit_series():
    case = read_reference("kit_series.json")
    rows = case["positions"]
    lives = draws([[row["shape"]] for row in rows], [[row["scale"]] for row in rows])
    side = SideLife(lives=lives, count=np.array([row["count"] for row in rows], float))
    extra = np.array([case["rupture_extra"] * row["releases_fluid"] for row in rows])
    return case, side, case["failure_cost"] + extra


@pytest.mark.parametrize("ladder", [shared_times, own_times])
def test_side_in_series_gives_cost_failures_and_ruptures(ladder):
    case, side, failure_cost = _kit_series()
    known = integrate_side(side, ladder(side))
    for value in case["values"]:
        age = np.inf if value["T"] is None else value["T"]
        at = integrate_to(side, known, np.array([age]))
        failed = at.incidence[0, :, 0] / at.uptime[0, 0]
        rate = cost_rate(at, case["planned_cost"], failure_cost)[0, 0]
        assert rate == pytest.approx(value["cost_rate"], abs=5.1e-5)
        assert failed.sum() == pytest.approx(value["failures"], abs=5.1e-8)
        assert failed[0] == pytest.approx(value["ruptures"], abs=6.6e-8)


def test_side_in_series_has_its_optimum_where_quadrature_has_it():
    case, side, failure_cost = _kit_series()
    interval, rate = optimal_interval(side, case["planned_cost"], failure_cost)
    advice = advise_interval(side, case["planned_cost"], failure_cost)
    assert interval[0] == pytest.approx(case["optimum"]["T"], abs=5e-5)
    assert rate[0] == pytest.approx(case["optimum"]["cost_rate"], abs=5e-6)
    assert advice.interval == pytest.approx(interval[0], rel=1e-4)
    assert advice.near_best_low < interval[0] < advice.near_best_high
    assert advice.prob_better == 1.0


def test_exponential_sides_by_hand():
    # rates 1/10 and 2/5 give 1/2: mean life 2, the parts fail 1 to 4, survival at 3 is e^-1.5
    side = SideLife(lives=draws([[1.0], [1.0]], [[10.0], [5.0]]), count=np.array([1.0, 2.0]))
    known = integrate_side(side, shared_times(side))
    never = integrate_to(side, known, np.array([np.inf]))
    assert never.uptime[0, 0] == pytest.approx(2.0, rel=1e-9)
    assert never.incidence[0, :, 0] == pytest.approx([0.2, 0.8], rel=1e-9)
    at = integrate_to(side, known, np.array([3.0]))
    assert at.survival[0, 0] == pytest.approx(np.exp(-1.5), rel=1e-12)
    assert at.uptime[0, 0] == pytest.approx(2.0 * (1.0 - np.exp(-1.5)), rel=1e-9)


@pytest.mark.parametrize(("low", "high"), [(0.3, 40.0), (0.5, 60.0), (0.8, 8.0)])
def test_integrals_hold_for_parts_of_very_unlike_shapes(low, high):
    side = SideLife(lives=draws([[low], [high]], [[1.0], [0.7]]), count=np.array([1.0, 2.0]))
    rough = integrate_side(side, own_times(side), nodes=6)
    fine = integrate_side(side, own_times(side, panels=1500), nodes=12)
    assert rough.uptime[-1] == pytest.approx(fine.uptime[-1], rel=1e-8)
    assert rough.incidence[-1] == pytest.approx(fine.incidence[-1], rel=5e-7)


def test_early_lives_sum_to_the_mean_of_the_mixture():
    side = SideLife(lives=draws([[2.5]], [[12.0]], 0.05, 0.4), count=np.ones(1))
    known = integrate_side(side, own_times(side), nodes=6)
    mean = side.lives.mean()[0, 0]
    assert known.uptime[-1, 0] == pytest.approx(mean, rel=1e-9)


@settings(max_examples=20, deadline=None)
@given(shape=st.floats(0.3, 1.0), ratio=st.floats(1.01, 100.0), count=st.integers(1, 4))
def test_no_planned_work_where_nothing_wears(shape, ratio, count):
    side = SideLife(lives=draws([[shape], [1.0]], [[5.0], [9.0]]), count=np.array([count, 1.0]))
    cost = np.array([ratio, ratio])
    assert np.isinf(optimal_interval(side, 1.0, cost)[0][0])
    assert np.isinf(advise_interval(side, 1.0, cost).interval)


@settings(max_examples=20, deadline=None)
@given(factor=st.floats(1e-3, 1e6), seed=st.integers(0, 100))
def test_dearer_money_leaves_the_interval(factor, seed):
    side = SideLife(lives=random_draws(np.random.default_rng(seed)), count=np.array([2.0, 4, 4]))
    cost = np.array([3000.0, 1500.0, 1200.0])
    plain = advise_interval(side, 400.0, cost)
    dearer = advise_interval(side, 400.0 * factor, cost * factor)
    assert dearer.interval == pytest.approx(plain.interval, rel=1e-6)
    assert dearer.cost_rate == pytest.approx(plain.cost_rate * factor, rel=1e-6)


@settings(max_examples=20, deadline=None)
@given(seed=st.integers(0, 100), factor=st.floats(1e-6, 1e6))
def test_another_unit_of_time_scales_the_interval(seed, factor):
    lives = random_draws(np.random.default_rng(seed))
    count, cost = np.array([2.0, 4, 4]), np.array([3000.0, 1500.0, 1200.0])
    scaled = draws(lives.shape, lives.scale * factor)
    plain = optimal_interval(SideLife(lives=lives, count=count), 400.0, cost)[0]
    other = optimal_interval(SideLife(lives=scaled, count=count), 400.0, cost)[0]
    assert other == pytest.approx(plain * factor, rel=1e-9)


@settings(max_examples=20, deadline=None)
@given(
    shapes=st.lists(st.floats(1.0, 5.0), min_size=3, max_size=3),
    extra=st.lists(st.floats(0.0, 5000.0), min_size=3, max_size=3),
)
def test_dearer_failures_never_lengthen_the_interval(shapes, extra):
    lives = draws(np.array(shapes)[:, None], np.array([[9.0], [14.0], [20.0]]))
    side = SideLife(lives=lives, count=np.array([2.0, 4.0, 4.0]))
    cost = np.array([1500.0, 900.0, 800.0])
    before = optimal_interval(side, 400.0, cost)[0][0]
    after = optimal_interval(side, 400.0, cost + np.array(extra))[0][0]
    assert after <= before * (1.0 + 1e-9)


def test_advice_beats_its_neighbours_in_expected_cost():
    side = SideLife(lives=random_draws(np.random.default_rng(5)), count=np.array([2.0, 4, 4]))
    cost = 400.0, np.array([3000.0, 1500.0, 1200.0])
    advice = advise_interval(side, *cost)
    known = integrate_side(side, shared_times(side))
    for step in (0.98, 1.02):
        at = integrate_to(side, known, np.array([advice.interval * step]))
        assert cost_rate(at, *cost).mean() > advice.cost_rate.mean()


def test_near_best_band_ends_where_cost_is_five_percent_up():
    side = SideLife(lives=random_draws(np.random.default_rng(6)), count=np.array([2.0, 4, 4]))
    cost = 400.0, np.array([5000.0, 2500.0, 2200.0])
    advice = advise_interval(side, *cost)
    known = integrate_side(side, shared_times(side))
    for end in (advice.near_best_low, advice.near_best_high):
        rate = cost_rate(integrate_to(side, known, np.array([end])), *cost).mean()
        assert rate == pytest.approx(1.05 * advice.cost_rate.mean(), rel=1e-4)


def test_makers_limit_binds_only_when_shorter():
    side = one_part(2.5, 5.0)
    cost = 1.0, np.array([5.0])
    assert advise_interval(side, *cost, maximum=2.0).interval == 2.0
    assert advise_interval(side, *cost, maximum=2.0).binding_limit == "maker's or legal limit"
    assert advise_interval(side, *cost, maximum=2.0).near_best_high == 2.0
    free = advise_interval(side, *cost, maximum=3.0)
    assert free.binding_limit == "cost"
    assert free.interval == pytest.approx(2.46523, rel=1e-4)


def test_release_limit_by_hand():
    # two diaphragms of known life: exp(-2 (T/12)^2.5) = 0.95
    side = SideLife(lives=draws([[2.5], [2.4]], [[12.0], [20.0]]), count=np.array([2.0, 4.0]))
    limit = release_limit(side, np.array([True, False]), 0.05)
    assert limit == pytest.approx(12.0 * (-np.log(0.95) / 2.0) ** 0.4, rel=1e-8)


def test_release_limit_holds_at_the_posterior_bound():
    lives = random_draws(np.random.default_rng(2), parts=1, count=2000)
    side = SideLife(lives=lives, count=np.array([2.0]))
    limit = release_limit(side, np.array([True]), 0.05)
    failed = 1.0 - side.survival(np.array([[limit]]))[0]
    assert np.mean(failed <= 0.05) == pytest.approx(0.95, abs=1e-3)
    advice = advise_interval(
        side, 500.0, np.array([510.0]), releasing=np.array([True]), release_target=0.05
    )
    assert advice.interval == pytest.approx(limit, rel=1e-9)
    assert advice.binding_limit == "release of fluid"


def test_a_target_below_the_assembly_faults_is_out_of_reach():
    # 10 % of new diaphragms fail about 0.3 after fitting: renewing every 0.08 would keep a
    # release within one interval under 5 %, and release far more a year than a longer interval
    side = SideLife(lives=draws([[2.5]], [[12.0]], 0.10, 0.3), count=np.array([2.0]))
    releasing = np.array([True])
    assert release_limit(side, releasing, 0.05) == 0.0
    advice = advise_interval(side, 1.0, np.array([8.0]), releasing=releasing, release_target=0.05)
    assert advice.limits["release of fluid"] == 0.0
    assert advice.binding_limit == "release of fluid by wear"
    assert advice.interval == pytest.approx(12.0 * (-np.log(0.95) / 2.0) ** 0.4, rel=1e-8)


def test_uncertain_lives_move_the_advice_from_the_best_guess():
    # the mean over two equally likely truths, not the optimum of their middle
    side = SideLife(lives=draws([[2.5, 2.5]], [[6.0, 18.0]]), count=np.ones(1))
    advice = advise_interval(side, 1.0, np.array([10.0]))
    single = optimal_interval(side, 1.0, np.array([10.0]))[0]
    assert single[0] < advice.interval < single[1]
    assert advice.interval < single.mean()


def test_ages_to_integrate_over_must_be_above_zero():
    with pytest.raises(RecordError, match="two-dimensional array above 0"):
        integrate_side(one_part(2.0, 1.0), np.array([[0.0], [1.0]]))


def two_truths(ratio):
    """Two equally likely lives ten apart: the expected cost has a dip before each."""
    side = SideLife(lives=draws([[8.0, 8.0]], [[1.0, 10.0]]), count=np.ones(1))
    return side, 1.0, np.array([ratio])


@pytest.mark.parametrize("ratio", [2.2, 2.4, 2.6, 3.0])
def test_of_several_optima_the_least_is_found(ratio):
    side, *cost = two_truths(ratio)
    advice = advise_interval(side, *cost)
    known = integrate_side(side, shared_times(side))
    ages = np.geomspace(0.2, 9.0, 4000)
    brute = cost_rate(integrate_to(side, known, ages[:, None]), *cost).mean(axis=1)
    inner = brute[1:-1]
    assert ((inner < brute[:-2]) & (inner < brute[2:])).sum() == 2
    assert advice.interval == pytest.approx(ages[np.argmin(brute)], rel=2e-3)
    assert advice.cost_rate.mean() <= brute.min() * (1.0 + 1e-6)


def test_before_a_limit_an_earlier_optimum_may_be_the_cheaper():
    side, *cost = two_truths(2.2)
    free = advise_interval(side, *cost)
    held = advise_interval(side, *cost, maximum=1.8)
    assert free.interval > 1.8
    assert held.interval < 1.0
    assert held.binding_limit == "maker's or legal limit"
    assert held.near_best_high < 1.8


def test_all_near_best_stretches_are_told():
    side, *cost = two_truths(2.55)
    advice = advise_interval(side, *cost)
    assert len(advice.near_best_bands) == 2
    known = integrate_side(side, shared_times(side))
    ends = np.array(advice.near_best_bands).ravel()
    at = integrate_to(side, known, ends[:, None])
    rates = cost_rate(at, *cost).mean(axis=1)
    assert rates == pytest.approx(1.05 * advice.cost_rate.mean(), rel=5e-4)
    assert advice.near_best_low <= advice.interval <= advice.near_best_high


def test_near_best_never_reaches_beyond_a_limit():
    advice = advise_interval(one_part(2.5, 5.0), 1.0, np.array([5.0]), maximum=2.6)
    assert advice.binding_limit == "cost"
    assert advice.near_best_high == 2.6


def test_chance_to_be_cheaper_counts_ties_half_and_is_blank_without_a_plan():
    assert chance_cheaper(np.array([1.0, 2.0, 3.0]), np.array([2.0, 2.0, 2.0])) == 0.5
    never = advise_interval(one_part(0.9, 5.0), 1.0, np.array([5.0]))
    assert np.isinf(never.interval)
    assert np.isnan(never.prob_better)


def test_chance_to_be_cheaper_is_the_share_of_truths_by_hand():
    # of these four lives a plan at the advised age beats failure in the three that wear
    side = SideLife(
        lives=draws([[3.0, 3.0, 3.0, 0.8]], [[10.0, 11.0, 9.0, 10.0]]), count=np.ones(1)
    )
    advice = advise_interval(side, 1.0, np.array([10.0]))
    assert advice.prob_better == 0.75


def test_more_draws_converge():
    lives = random_draws(np.random.default_rng(8), count=20_000)
    count, cost = np.array([2.0, 4, 4]), np.array([3000.0, 1500.0, 1200.0])
    exact = advise_interval(SideLife(lives=lives, count=count), 400.0, cost)
    off = []
    for few in (100, 1000):
        shares = [
            advise_interval(SideLife(lives=lives[:, block], count=count), 400.0, cost).interval
            for block in (slice(few * k, few * (k + 1)) for k in range(10))
        ]
        off.append(float(np.sqrt(np.mean((np.array(shares) / exact.interval - 1.0) ** 2))))
    assert off[1] < 0.5 * off[0] < 0.05


def test_integrals_that_were_let_go_come_back_the_same():
    side = SideLife(lives=random_draws(np.random.default_rng(4)), count=np.array([2.0, 4, 4]))
    advice = advise_interval(side, 400.0, np.array([3000.0, 1500.0, 1200.0]))
    again = replace(advice, kept=None)
    assert np.array_equal(again.known.incidence, advice.known.incidence)
    assert again.rates.mean(axis=1) == pytest.approx(advice.expected, rel=1e-12)
