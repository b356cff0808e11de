"""Pieces that age out: against closed forms for Poisson demand, by hand, and in the level."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from pumplife.stock.ageing import (
    Ageing,
    age_row,
    chance_to_age_out,
    highest_point,
    is_at_risk,
    leave_unused,
    simulate_use,
    write_off_rates,
    write_offs_a_year,
)
from pumplife.stock.assess import advise_level, price_item, stock_row
from pumplife.stock.least_cost import cost_levels, find_least_cost
from tests.stock.fleets import lives, run_to_failure, side_group
from tests.stock.test_assess import demand, item, plant, shelf
from tests.stock.test_cure_dates import bags_of

FUTURES = 4000


def poisson_ageing(rate, years, futures=FUTURES):
    """Two storage lives of Poisson demand at a yearly rate, quarter by quarter."""
    rng = np.random.default_rng(7)
    return Ageing(years=years, counts=rng.poisson(rate / 4, (int(8 * years), futures)))


def poisson_write_offs(rate, level, years):
    """Write-offs a year of `level` pieces, replaced one by one at once, under Poisson demand.

    Independently computed: ages of the pieces have the joint density C exp(−rate · oldest) on
    0 < age_1 < ... < oldest < years, whose flow through oldest = years this is.
    """
    mean = rate * years
    return rate * stats.poisson.pmf(level - 1, mean) / stats.poisson.sf(level - 1, mean)


@pytest.mark.parametrize(
    ("rate", "level", "chance"), [(0.2, 2, 0.59), (0.5, 2, 0.14), (1.0, 2, 0.007)]
)
def test_the_last_unit_ages_out_as_independently_computed(rate, level, chance):
    """A table of ageing-out risks of 7-year rubber computed for this project."""
    exact = stats.poisson.cdf(level - 1, rate * 7)
    assert exact == pytest.approx(chance, abs=0.005)
    got = chance_to_age_out(poisson_ageing(rate, 7.0), level)
    assert got == pytest.approx(exact, abs=4 * np.sqrt(exact * (1 - exact) / FUTURES))


@pytest.mark.parametrize(
    ("rate", "level", "years"), [(0.2, 2, 7), (0.5, 2, 7), (0.5, 4, 7), (0.3, 3, 5), (0.1, 1, 10)]
)
def test_write_offs_a_year_under_poisson_demand(rate, level, years):
    got = write_offs_a_year(poisson_ageing(rate, float(years)), np.array([level - 1]), 1)
    # quarters delay what is replaced by half a quarter in the mean: a little fewer
    assert got == pytest.approx(poisson_write_offs(rate, level, years), rel=0.06)


@pytest.mark.parametrize("years", [0.05, 0.2, 0.3])
def test_a_storage_life_of_weeks_counts_as_a_quarter(years):
    """Nothing is asked for: each piece is written off and bought again every quarter."""
    still = Ageing(years=years, counts=np.zeros((4, 50), dtype=np.intp))
    assert write_offs_a_year(still, np.array([-1, 0, 1]), 1) == pytest.approx([0, 4, 8])
    assert chance_to_age_out(still, 1) == 1


def test_without_demand_every_piece_is_written_off_once_in_its_life():
    still = Ageing(years=7.0, counts=np.zeros((56, 50), dtype=np.intp))
    points = np.array([-1, 0, 1, 3])
    assert write_offs_a_year(still, points, 1) == pytest.approx([0, 1 / 7, 2 / 7, 4 / 7])
    assert chance_to_age_out(still, 1) == 1
    assert highest_point(still, 1) == -1


def test_regular_demand_ages_out_less_than_poisson_demand_of_the_same_mean():
    counts = np.zeros((56, 10), dtype=np.intp)
    counts[3::8] = 1  # one every two years: three in seven years, or four
    regular = Ageing(years=7.0, counts=counts)
    assert chance_to_age_out(regular, 3) == 0
    assert write_offs_a_year(regular, np.array([2]), 1)[0] == pytest.approx(0.0)
    assert poisson_write_offs(0.5, 3, 7) > 0.1


@settings(max_examples=15, deadline=None)
@given(
    rate=st.floats(0.05, 2.0),
    years=st.sampled_from([5.0, 7.0, 10.0]),
    quantity=st.integers(1, 3),
)
def test_more_on_the_shelf_ages_out_more_and_never_more_than_all(rate, years, quantity):
    ageing = poisson_ageing(rate, years, futures=200)
    points = np.arange(0, 5)
    lost = write_offs_a_year(ageing, points, quantity)
    assert (np.diff(lost) >= -0.1).all()
    assert (lost <= (points + quantity) / years * 1.15 + 0.1).all()
    chances = [chance_to_age_out(ageing, level) for level in range(6)]
    assert (np.diff(chances) >= 0).all()
    top = highest_point(ageing, quantity) + quantity
    assert chance_to_age_out(ageing, int(top)) <= 0.5
    assert chance_to_age_out(ageing, int(top) + 1) >= 0.5


def test_no_limit_and_not_known():
    none = Ageing(years=np.inf)
    assert age_row(none, 3, 1, 10.0)["expiry_risk"] == 0
    assert age_row(none, 3, 1, 10.0)["write_off_cost"] == 0
    assert highest_point(none, 1) == np.inf
    unknown = age_row(Ageing(years=np.nan), 3, 1, 10.0)
    assert np.isnan([unknown["expiry_risk"], unknown["write_offs_per_year"]]).all()


def test_who_is_at_risk():
    quick = demand(year=np.full(4, 30))
    slow = demand(year=np.array([0, 0, 1, 1]), planned_per_year=0.0)
    assert not is_at_risk(quick, 7.0, 1, None)
    assert is_at_risk(slow, 7.0, 1, None)
    assert not is_at_risk(slow, np.inf, 1, None)
    assert not is_at_risk(slow, np.nan, 1, None)
    assert is_at_risk(quick, 7.0, 1, bags_of([40], [100]))
    assert not is_at_risk(quick, 7.0, 1, bags_of([40], [np.inf]))


def test_bags_left_unused_and_written_off_by_year_by_hand():
    bags = bags_of([2, 1, 5], [200, 500, np.inf])
    asked = np.array([[1.0, 3.0], [1.0, 4.0], [9.0, 9.0]])
    assert leave_unused(bags, asked).tolist() == [[1, 0], [1, 0], [0, 0]]
    pieces, money = write_off_rates(
        {("S", "K"): bags}, {("S", "K"): asked}, {"K": 50.0}, edges=np.arange(4.0)
    )
    assert pieces.tolist() == [[1, 0], [1, 0], [0, 0]]
    assert money.tolist() == [[50, 0], [50, 0], [0, 0]]
    unpriced, _ = write_off_rates({("S", "K"): bags}, {("S", "K"): asked}, {}, edges=np.arange(2.0))
    assert unpriced.tolist() == [[1, 0]]


def test_use_of_pumps_with_shape_1_is_poisson():
    # ten pumps, one life each of mean 4 years: 2.5 a year whatever their ages
    groups = [side_group(10, lives([1.0], [4000.0]), usage=1000.0)]
    bags = bags_of([3], [365.25 * 2])
    use = simulate_use(
        groups, [run_to_failure()], {("MAIN", "K"): bags}, {}, years=4.0, seed=1, fouling=[]
    )
    assert use.counts.shape[:2] == (1, 16)
    year = use.counts[0].reshape(4, 4, -1).sum(axis=1)
    spread = np.sqrt(2.5 / year.size)
    assert year.mean() == pytest.approx(2.5, abs=5 * spread)
    assert year.var() == pytest.approx(2.5, rel=0.2)
    asked = use.asked["MAIN", "K"]
    assert (asked[0] == use.counts[0, :8].sum(axis=0)).all()


def slow_ageing(rate):
    return poisson_ageing(rate, 7.0, futures=1000)


def test_the_level_is_capped_where_the_last_piece_would_age_out():
    # target by hand in test_assess: reorder at 1, up to 2
    row, _ = stock_row(demand(), item(), plant(), shelf(on_hand=1), ageing=slow_ageing(0.15))
    assert (row["reorder_point"], row["order_up_to"]) == (0, 1)
    assert row["limited_by"] == "shelf_life"
    assert "more would likely age out: it may lie 7 years" in row["verdict"]
    assert 0.2 < row["expiry_risk"] < 0.5
    free, _ = stock_row(demand(), item(), plant(), shelf(on_hand=1), ageing=slow_ageing(3.0))
    assert (free["reorder_point"], free["limited_by"]) == (1, "target")


def test_one_is_kept_even_where_it_would_age_out():
    row, _ = stock_row(demand(), item(), plant(), shelf(), ageing=slow_ageing(0.01))
    assert row["order_up_to"] == 1
    assert row["expiry_risk"] > 0.9
    assert row["write_offs_per_year"] == pytest.approx(1 / 7, rel=0.1)


def test_write_offs_are_charged_and_bring_the_cheapest_level_down():
    works = plant({"holding_per_year": 0.2, "order": 0.0, "waiting_per_day": 12.0})
    works.raw["targets"].clear()
    needs = demand(lead=(0, 0, 0, 0, 1, 1), protected=(0, 0, 0, 1, 1, 2))
    free, _ = stock_row(needs, item(), works, shelf())
    aged, _ = stock_row(needs, item(), works, shelf(), ageing=slow_ageing(0.15))
    assert aged["order_up_to"] < free["order_up_to"]
    assert aged["limited_by"] == "shelf_life"
    assert free["limited_by"] == "cost"
    paid = aged["write_offs_per_year"] * 500
    assert aged["write_off_cost"] == pytest.approx(paid)
    prices = price_item(works, 500.0)
    level = advise_level(needs, 1, works, prices, ageing=slow_ageing(0.15))
    levels, at = level.shelf, level.row_of(level.point)
    cost = cost_levels(levels, needs, prices, works.review_days).money
    lost = write_offs_a_year(slow_ageing(0.15), levels.reorder_point, levels.quantity) * 500
    below = levels.reorder_point <= find_least_cost(needs, 1, prices, works.review_days)[1]
    assert level.point == levels.reorder_point[below][np.argmin((cost + lost)[below])]
    assert aged["cost_per_year"] == pytest.approx(cost[at] + lost[at])


def test_expired_pieces_are_told():
    today = shelf(on_hand=1)
    old = type(today)(on_hand=1.0, on_order=0.0, used=0.0, planned=today.planned,
                      expired=2.0)  # fmt: skip
    row, _ = stock_row(demand(), item(), plant(), old)
    assert row["expired_on_hand"] == 2
    assert row["today_on_hand"] == 1
    assert "2 on the shelf don't count: too old when fitted" in row["verdict"]
