"""The fleet simulator against the closed forms, and its own rules."""

import numpy as np
import pytest
from scipy import integrate, stats

from pumplife.errors import RecordError
from pumplife.policy.ages import shared_times
from pumplife.policy.practice import (
    LEAST_KIT_SHARE,
    failed_part_rates,
    find_planned_ages,
    practice_rates,
)
from pumplife.policy.pump import SideLife, integrate_side, integrate_to
from pumplife.policy.simulate import (
    PlannedAges,
    Way,
    fixed_interval,
    simulate_side,
)
from pumplife.policy.simulate_rates import simulate_way
from tests.policy.sides import draws


@pytest.mark.parametrize("kit_share", [0.9, 0.5, 0.1])
@pytest.mark.parametrize(
    "planned",
    [
        fixed_interval(np.inf),
        fixed_interval(6.0),
        PlannedAges(ages=np.array([4.0, 8.0, np.inf]), weights=np.array([0.3, 0.3, 0.4])),
    ],
)
def test_thinned_closed_form_agrees_with_the_simulator(kit_share, planned):
    side = SideLife(
        lives=draws([[2.5], [1.3], [2.4]], [[12.0], [20.0], [26.0]], [[0.05], [0], [0]], 0.7),
        count=np.array([2.0, 1.0, 4.0]),
    )
    part_of = np.repeat(np.arange(3), side.count.astype(int))
    way = Way(planned=planned, kit_share=kit_share)
    rng = np.random.default_rng(3)
    tally = simulate_way(side.lives[part_of], way, rng=rng, lanes=2_000, cycles=20)
    rates = practice_rates(side, planned, kit_share)
    for number in range(3):
        for counted, told in (
            (tally.kit_failures, rates.kit_failures),
            (tally.part_failures, rates.part_failures),
        ):
            rate, error = tally.per_usage(counted[part_of == number].sum(axis=0))
            assert told[number] == pytest.approx(rate, abs=4.0 * error[0] + 2e-3 * rate[0])
    rate, error = tally.per_usage(tally.planned)
    assert rates.planned == pytest.approx(rate, abs=4.0 * error[0] + 2e-3 * rate[0])


def test_a_kit_at_every_failure_is_the_age_replacement_formula():
    side = SideLife(lives=draws([[2.5]], [[12.0]]), count=np.array([2.0]))
    rates = practice_rates(side, fixed_interval(6.0), 1.0)
    at = integrate_to(side, integrate_side(side, shared_times(side)), np.array([6.0]))
    assert rates.kit_failures == pytest.approx(at.incidence[0] / at.uptime[0], rel=1e-8)
    near = practice_rates(side, fixed_interval(6.0), 0.949)
    assert near.failures == pytest.approx(rates.failures, rel=0.05)
    assert not rates.part_failures.any()


def test_hardly_any_kits_come_near_to_failures_at_the_mean_lives():
    side = SideLife(lives=draws([[2.5], [2.0]], [[12.0], [20.0]]), count=np.array([2.0, 4.0]))
    rates = practice_rates(side, fixed_interval(np.inf), 0.0)
    mean = side.lives.mean()[:, 0]
    part_of = np.repeat([0, 1], [2, 4])
    way = Way(kit_share=LEAST_KIT_SHARE)
    rng = np.random.default_rng(1)
    tally = simulate_way(side.lives[part_of], way, rng=rng, lanes=2_000, cycles=2)
    rate, error = (told[0] for told in tally.per_usage(tally.failures.sum(axis=0)))
    assert rates.failures.sum() == pytest.approx(rate, abs=4.0 * error)
    assert np.all(rates.failures[:, 0] > 0.94 * side.count / mean)
    assert np.all(rates.failures[:, 0] < side.count / mean)
    assert failed_part_rates(side.lives.mean(), side.count).failures[:, 0] == pytest.approx(
        side.count / mean
    )
    kits = rates.kit_failures.sum() / rates.failures.sum()
    assert kits == pytest.approx(LEAST_KIT_SHARE, rel=1e-9)


def simulate(lives, *, age, known=True, planned=np.inf, clock=None, years=1.0, seed=1, **more):
    age = np.asarray(age, float)
    return simulate_side(
        age=age,
        known=np.full(age.shape, known),
        usage_per_year=np.full(age.shape[0], 1.0),
        lives=lives,
        planned=fixed_interval(planned),
        clock_age=age.max(axis=1) if clock is None else np.asarray(clock, float),
        kit_share=more.pop("kit_share", 1.0),
        years=years,
        rng=np.random.default_rng(seed),
        **more,
    )


def test_first_failure_follows_the_conditional_life():
    lives = draws(np.full((1, 50_000), 2.0), 1.0)
    events = simulate(lives, age=[[0.5], [1.5]], years=0.4)
    for pump, age in ((0, 0.5), (1, 1.5)):
        failed = np.unique(events.replicate[events.pump == pump]).size / 50_000
        exact = 1.0 - np.exp(age**2 - (age + 0.4) ** 2)
        assert failed == pytest.approx(exact, abs=4.0 * np.sqrt(0.25 / 50_000))


def test_survivors_of_early_life_carry_less_of_it():
    lives = draws(np.full((1, 100_000), 3.0), 10.0, 0.2, 0.5)
    events = simulate(lives, age=[[0.0], [1.0]], years=0.5)
    one = draws([[3.0]], [[10.0]], 0.2, 0.5)
    for pump, age in ((0, 0.0), (1, 1.0)):
        failed = np.unique(events.replicate[events.pump == pump]).size / 100_000
        left = one.survival(age + 0.5)[0, 0] / one.survival(age)[0, 0]
        assert failed == pytest.approx(1.0 - left, abs=4.0 * np.sqrt(0.25 / 100_000))


def test_unknown_age_is_stationary_beyond_its_minimum():
    # renewals of a stationary process come at the rate 1 / mean life from the first day
    lives = draws(np.full((1, 200_000), 2.5), 1.0)
    events = simulate(lives, age=[[0.0]], known=False, years=0.2)
    assert events.time.size / 200_000 == pytest.approx(0.2 / lives.mean()[0, 0], rel=0.02)


def test_stationary_age_beyond_a_minimum_by_quadrature():
    lives = draws(np.full((1, 200_000), 2.5), 1.0, 0.1, 0.3)
    events = simulate(lives, age=[[0.6]], known=False, years=0.1, planned=1.2, clock=[0.6])
    one = lives[0].survival

    def area(low, high):
        return integrate.quad(lambda x: one(x)[0], low, high)[0]

    # planned at 1.2: those whose age is above 1.1 come up for planned work within 0.1
    weight = area(0.6, 1.2)
    due = integrate.quad(lambda x: one(1.2)[0], 1.1, 1.2)[0] / weight
    planned = np.unique(events.replicate[(events.position == -1) & (events.time < 0.1)]).size
    assert planned / 200_000 == pytest.approx(due, abs=4.0 * np.sqrt(due / 200_000))


def test_overdue_pumps_are_rebuilt_at_once():
    lives = draws(np.full((2, 10), 3.0), 100.0)
    events = simulate(lives, age=[[6.0, 2.0], [1.0, 1.0]], planned=5.0, years=3.9)
    assert np.all(events.pump == 0)
    assert np.all(events.time == 0.0)
    assert np.all(events.position == -1)
    assert events.kit.all()


def test_planned_work_comes_when_the_clock_says():
    lives = draws(np.full((1, 5), 3.0), 1e9)
    events = simulate(lives, age=[[2.0]], planned=5.0, years=14.0)
    assert np.sort(np.unique(np.round(events.time, 9))) == pytest.approx([3.0, 8.0, 13.0])


def test_today_s_mixture_is_drawn_beyond_the_age_already_reached():
    lives = draws(np.full((1, 20_000), 3.0), 1e9)
    events = simulate_side(
        age=np.array([[5.0]]),
        known=np.ones((1, 1), bool),
        usage_per_year=np.ones(1),
        lives=lives,
        planned=PlannedAges(ages=np.array([4.0, 6.0, 8.0]), weights=np.array([0.5, 0.25, 0.25])),
        clock_age=np.array([5.0]),
        kit_share=1.0,
        years=3.5,
        rng=np.random.default_rng(2),
    )
    first = events.time[np.unique(events.replicate, return_index=True)[1]]
    assert set(np.unique(first)) == {1.0, 3.0}
    assert np.mean(first == 1.0) == pytest.approx(0.5, abs=0.02)


def test_failed_part_alone_leaves_the_others_their_age():
    # one part fails every 1.0 almost exactly, the other lives 2.5: it must fail at 2.5
    lives = draws([[200.0], [200.0]], [[1.0], [2.5]])
    lives = draws(*(np.broadcast_to(f, (2, 400)) for f in (lives.shape, lives.scale)))
    alone = simulate(lives, age=[[0.0, 0.0]], kit_share=0.0, years=2.7)
    assert np.mean(alone.position == 1) == pytest.approx(1 / 3, abs=0.01)
    whole = simulate(lives, age=[[0.0, 0.0]], kit_share=1.0, years=2.7)
    assert not np.any(whole.position == 1)


def test_same_seed_same_events_and_pumps_that_stand_still_have_none():
    lives = draws(np.full((1, 50), 2.0), 1.0)
    first, second = (simulate(lives, age=[[0.3], [0.8]], years=3.0) for _ in range(2))
    assert np.array_equal(first.time, second.time)
    still = simulate_side(
        age=np.array([[0.3]]),
        known=np.ones((1, 1), bool),
        usage_per_year=np.array([np.nan]),
        lives=lives,
        planned=fixed_interval(0.1),
        clock_age=np.array([0.3]),
        kit_share=1.0,
        years=3.0,
        rng=np.random.default_rng(1),
    )
    assert still.time.size == 0


def test_lives_too_short_for_the_horizon_are_refused():
    lives = draws([[2.0]], [[1e-6]])
    with pytest.raises(RecordError, match="check the usage unit of the meters"):
        simulate(lives, age=[[0.0]], most_events=50)


def test_ages_must_fit_the_positions():
    with pytest.raises(RecordError, match="don't fit lives of 1 positions"):
        simulate(draws([[2.0]], [[1.0]]), age=[[0.0, 0.0]])


def test_planned_ages_by_kaplan_meier():
    # by hand: at 2 one of four leaves as planned (1/4); at 3 one fails; at 5 one of two (3/8)
    found = find_planned_ages(
        np.array([2.0, 3.0, 5.0, 7.0, np.nan]), np.array([True, False, True, False, True])
    )
    assert found.ages == pytest.approx([2.0, 5.0, np.inf])
    assert found.weights == pytest.approx([0.25, 0.375, 0.375])
    assert found.never == pytest.approx(0.375)


def test_no_planned_work_seen_means_never():
    found = find_planned_ages(np.array([3.0, 4.0]), np.array([False, False]))
    assert found.ages.tolist() == [np.inf]
    assert find_planned_ages(np.zeros(0), np.zeros(0, bool)).never == 1.0


def test_many_planned_ages_are_brought_together_without_moving_their_mean():
    ages = stats.norm(100.0, 10.0).rvs(500, random_state=1)
    found = find_planned_ages(ages, np.ones(500, bool))
    assert found.ages.size <= 40
    assert np.dot(found.ages, found.weights) == pytest.approx(ages.mean(), rel=1e-9)
