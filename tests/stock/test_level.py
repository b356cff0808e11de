"""Loss functions and levels: published values, the rules of thumb recomputed, properties."""

import json
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from pumplife.errors import RecordError
from pumplife.stock.level import (
    assess_levels,
    base_stock,
    cost_of_level,
    count_pmf,
    gamma_loss,
    newsvendor_level,
    normal_loss,
    normal_newsvendor,
    pmf_loss,
    poisson_loss,
    poisson_pmf,
    reorder_point,
    smallest_level,
)
from pumplife.stock.reorder_rule import best_reorder_rule

PUBLISHED = json.loads(
    (Path(__file__).parents[1] / "reference" / "published_stock.json").read_text()
)["checks"]


def printed(check, name):
    """The published digits of one output as a number."""
    return next(float(o["printed"]) for o in PUBLISHED[check]["outputs"] if o["name"] == name)


class TestPublished:
    """Snyder & Shen, Fundamentals of Supply Chain Theory, 2nd ed. (2019), unless said otherwise.

    Values seen on a public page; relative tolerance 1e-12 where 13 digits and more are printed.
    """

    def test_s01_loss_functions(self):
        """Section 4.3.2 and appendix C."""
        poisson = stats.poisson.pmf(np.arange(200), 15)
        several = stats.nbinom.pmf(np.arange(2000), 4, 0.2)
        for name, value in {
            "L_1_3": normal_loss(1.3),
            "normal_n": normal_loss(18.6, 15, 3),
            "poisson_18_15_n": poisson_loss(18, 15),
            "gamma_n": gamma_loss(4, 2, 3),
            "negbin_4_02_n": pmf_loss(14, several),
        }.items():
            assert value == pytest.approx(printed("S01", name), rel=1e-12), name
        assert pmf_loss(18, poisson) == pytest.approx(printed("S01", "poisson_18_15_n"), rel=1e-12)

    def test_s02_table_of_the_standard_normal_loss(self):
        """Silver, Pyke & Peterson (1998), table B.1, from memory; half a unit of the last digit."""
        for output in PUBLISHED["S02"]["outputs"]:
            z, decimals = float(output["name"][2:-1]), len(output["printed"].split(".")[1])
            assert round(float(normal_loss(z)), decimals) == float(output["printed"])

    def test_s03_normal_newsvendor(self):
        """Examples 4.1 and 4.3."""
        level, cost = normal_newsvendor(50, 8, holding=0.18, shortage=0.70)
        assert level == pytest.approx(printed("S03", "S"), rel=1e-12)
        assert cost == pytest.approx(printed("S03", "cost"), rel=1e-12)
        missing = float(normal_loss(60, 50, 8))
        at_60 = 0.18 * (60 - 50 + missing) + 0.70 * missing
        assert at_60 == pytest.approx(printed("S03", "cost_at_60"), rel=1e-12)

    @pytest.mark.parametrize(
        ("name", "key", "other"),
        [("ex4.1p", "ex4_1p", None), ("ex4.7", "ex4_7", 5), ("prob4.8a", "prob4_8a", 13)],
    )
    def test_s04_poisson_newsvendor(self, name, key, other):
        """Example 4.7, problem 4.8(a), example 4.1 with Poisson demand."""
        given_ = PUBLISHED["S04"]["inputs"][key]
        pmf = poisson_pmf(given_["mean"])
        price = {"holding": given_["h"], "shortage": given_["p"]}
        level = newsvendor_level(pmf, **price)
        assert level == printed("S04", f"{name}_S")
        cost = cost_of_level(level, pmf, **price)
        assert cost == pytest.approx(printed("S04", f"{name}_cost"), rel=1e-12)
        if other is not None:
            cost = cost_of_level(other, pmf, **price)
            assert cost == pytest.approx(printed("S04", f"{name}_cost_at_{other}"), rel=1e-12)

    @pytest.mark.parametrize("key", ["ex5_8", "prob5_2"])
    def test_s05_least_cost_reorder_rule(self, key):
        """Example 5.8 and problem 5.2."""
        given_ = PUBLISHED["S05"]["inputs"][key]
        rule = best_reorder_rule(
            poisson_pmf(given_["rate"] * given_["lead_time"]),
            rate=given_["rate"],
            holding=given_["h"],
            shortage=given_["p"],
            order=given_["K"],
        )
        assert rule.reorder_point == printed("S05", f"{key}_r")
        assert rule.quantity == printed("S05", f"{key}_Q")
        assert rule.cost == pytest.approx(printed("S05", f"{key}_cost"), rel=1e-12)


BASE_STOCK = {  # mean demand over the lead time: stock for a fill rate of 90, 95, 98, 99 %
    0.1: (1, 2, 2, 2),
    0.25: (2, 2, 3, 3),
    0.5: (2, 3, 3, 4),
    1: (3, 4, 4, 5),
    2: (5, 6, 6, 7),
    5: (9, 10, 11, 12),
    8: (13, 14, 15, 16),
}


@pytest.mark.parametrize("mean", BASE_STOCK)
def test_base_stock_of_poisson_demand(mean):
    """Independently computed: sums of Poisson terms e^-m m^k / k! by hand."""
    terms = np.exp(-mean) * np.cumprod(np.r_[1.0, mean / np.arange(1, 60)])
    for share, stock in zip((0.90, 0.95, 0.98, 0.99), BASE_STOCK[mean], strict=True):
        assert terms[:stock].sum() >= share > terms[: stock - 1].sum()
        assert base_stock(poisson_pmf(mean), share) == stock


def test_pooling_four_sites_halves_the_stock():
    separate = 4 * base_stock(poisson_pmf(0.5), 0.98)
    assert (separate, base_stock(poisson_pmf(4 * 0.5), 0.98)) == (12, 6)


@pytest.mark.parametrize(
    ("removals", "days", "spares"),
    [(40, 14, (4, 5, 6)), (80, 14, (6, 7, 9)), (80, 30, (11, 12, 14))],
)
def test_spare_pumps_in_turnaround(removals, days, spares):
    """Independently computed: spare pumps that meet 90, 95, 99 % of removals at once.

    One fewer already covers the pumps away that share of the *time*: the two measures differ.
    """
    pmf = poisson_pmf(removals * days / 365)
    assert tuple(base_stock(pmf, share) for share in (0.90, 0.95, 0.99)) == spares
    for share, stock in zip((0.90, 0.95, 0.99), spares, strict=True):
        assert smallest_level(pmf, share) == stock - 1
        assert stats.poisson.cdf(stock - 1, removals * days / 365) >= share
        assert stats.poisson.cdf(stock - 2, removals * days / 365) < share


def test_one_by_one_fill_rate_is_demand_below_the_stock():
    shelf = assess_levels(poisson_pmf(2.0))
    np.testing.assert_allclose(
        shelf.fill_rate, stats.poisson.cdf(shelf.reorder_point, 2.0), atol=1e-14
    )
    assert reorder_point(shelf, 0.95) == base_stock(poisson_pmf(2.0), 0.95) - 1


def test_order_quantity_two_by_hand():
    # demand over the lead time 0 or 1, half and half; s = 0, Q = 2: position is 1 or 2
    shelf = assess_levels([0.5, 0.5], quantity=2)
    at = int(np.flatnonzero(shelf.reorder_point == 0)[0])
    assert shelf.fill_rate[at] == pytest.approx((0.5 + 1.0) / 2)
    assert shelf.shortage_prob[at] == pytest.approx(0.5)
    assert shelf.backorders[at] == 0.0
    assert shelf.on_hand[at] == pytest.approx(1.5 - 0.5)
    # s = -1: position is 0 or 1
    assert shelf.fill_rate[0] == pytest.approx((0.0 + 0.5) / 2)
    assert shelf.backorders[0] == pytest.approx(0.25)
    assert shelf.on_hand[0] == pytest.approx(0.25)


def test_a_short_review_is_no_review():
    lead, later = poisson_pmf(3.0), (poisson_pmf(3.000001), poisson_pmf(3.000002))
    continuous, periodic = assess_levels(lead, quantity=3), assess_levels(lead, later, quantity=3)
    shared = min(len(continuous.fill_rate), len(periodic.fill_rate))
    np.testing.assert_allclose(
        periodic.fill_rate[:shared], continuous.fill_rate[:shared], atol=1e-5
    )
    np.testing.assert_allclose(periodic.on_hand[:shared], continuous.on_hand[:shared], atol=1e-5)


def test_no_review_period_is_the_lead_time_alone():
    pmf = poisson_pmf(2.0)
    shelf, plain = assess_levels(pmf, (pmf, pmf)), assess_levels(pmf)
    np.testing.assert_allclose(shelf.fill_rate, plain.fill_rate)
    np.testing.assert_allclose(shelf.on_hand, plain.on_hand, atol=1e-12)


def simulated_shelf(rng, *, point, quantity, rate, lead, review, reviews):
    """A shelf run review by review and demand by demand: fill rate, mean shelf, mean waiting."""
    times = np.sort(rng.uniform(0, reviews * review, rng.poisson(rate * reviews * review)))
    position, arrivals, met = point + quantity, [], 0
    looked = np.searchsorted(times, np.arange(1, reviews + 1) * review)
    stock_in = [(0.0, position)]
    used = 0
    for k, seen in enumerate(looked):
        position -= seen - used
        used = seen
        while position <= point:
            position += quantity
            arrivals.append((k + 1) * review + lead)
            stock_in.append((arrivals[-1], quantity))
    came = np.array([t for t, _ in stock_in])
    got = np.cumsum([n for _, n in stock_in])
    shelf_before = got[np.searchsorted(came, times, side="right") - 1] - np.arange(len(times))
    met = np.mean(shelf_before[len(times) // 10 :] >= 1)
    grid = np.linspace(0.1 * reviews * review, reviews * review, 40_000)
    net = got[np.searchsorted(came, grid, side="right") - 1] - np.searchsorted(times, grid)
    return met, np.maximum(net, 0).mean(), np.maximum(-net, 0).mean()


@pytest.mark.parametrize("quantity", [1, 4])
@pytest.mark.parametrize("point", [1, 3])
def test_periodic_review_agrees_with_a_simulated_shelf(quantity, point):
    rate, lead, review = 0.9, 2.0, 1.5
    first, *later = (poisson_pmf(rate * (lead + part * review)) for part in (0.0, 0.5, 1.0))
    shelf = assess_levels(first, tuple(later), quantity=quantity)
    at = int(np.flatnonzero(shelf.reorder_point == point)[0])
    met, on_hand, waiting = simulated_shelf(
        np.random.default_rng(5),
        point=point,
        quantity=quantity,
        rate=rate,
        lead=lead,
        review=review,
        reviews=20_000,
    )
    assert shelf.fill_rate[at] == pytest.approx(met, abs=0.012)
    assert shelf.on_hand[at] == pytest.approx(on_hand, rel=0.03, abs=0.02)
    assert shelf.backorders[at] == pytest.approx(waiting, rel=0.06, abs=0.02)


def test_no_demand_needs_no_stock_beyond_the_first():
    shelf = assess_levels([1.0], ([1.0], [1.0]))
    assert reorder_point(shelf, 0.95) == 0
    assert shelf.shortage_prob.tolist()[1:] == [0.0] * (len(shelf.reorder_point) - 1)


pmfs = st.lists(st.integers(0, 30), min_size=1, max_size=80).map(count_pmf)


@given(pmfs, st.integers(-3, 40))
@settings(max_examples=100, deadline=None)
def test_loss_is_the_expected_shortage(pmf, level):
    counts = np.arange(len(pmf))
    wanted = float(pmf @ np.maximum(counts - level, 0))
    assert pmf_loss(level, pmf) == pytest.approx(wanted, rel=1e-12, abs=1e-12)


@given(pmfs, st.integers(1, 6), st.floats(0.5, 0.999))
@settings(max_examples=100, deadline=None)
def test_more_stock_serves_better_and_ties_up_more(pmf, quantity, target):
    shelf = assess_levels(pmf, quantity=quantity)
    assert np.all(np.diff(shelf.fill_rate) >= -1e-12)
    assert np.all(np.diff(shelf.shortage_prob) <= 1e-12)
    assert np.all(np.diff(shelf.on_hand) >= -1e-12)
    assert np.all(np.diff(shelf.backorders) <= 1e-12)
    balance = shelf.on_hand - shelf.backorders
    mean = pmf @ np.arange(len(pmf))
    np.testing.assert_allclose(balance, shelf.reorder_point + (quantity + 1) / 2 - mean, atol=1e-9)
    point = reorder_point(shelf, target)
    assert shelf.fill_rate[shelf.reorder_point == point] >= target - 1e-12
    if point > 0:
        assert shelf.fill_rate[shelf.reorder_point == point - 1] < target


@given(st.floats(0.05, 12.0), st.floats(0.1, 50.0), st.floats(0.1, 300.0), st.floats(0.0, 200.0))
@settings(max_examples=60, deadline=None)
def test_reorder_rule_beats_its_neighbours(mean, holding, shortage, order):
    pmf = poisson_pmf(mean)
    rule = best_reorder_rule(pmf, rate=mean, holding=holding, shortage=shortage, order=order)

    def cost(point, quantity):
        positions = np.arange(point + 1, point + quantity + 1)
        each = cost_of_level(positions, pmf, holding=holding, shortage=shortage)
        return (order * mean + each.sum()) / quantity

    assert cost(rule.reorder_point, rule.quantity) == pytest.approx(rule.cost, rel=1e-9)
    for point in (rule.reorder_point - 1, rule.reorder_point, rule.reorder_point + 1):
        for quantity in (max(1, rule.quantity - 1), rule.quantity, rule.quantity + 1):
            assert cost(point, quantity) >= rule.cost * (1 - 1e-9)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: assess_levels([0.5, 0.4]), "sum to 0.9, not to 1"),
        (lambda: assess_levels([1.5, -0.5]), "none below 0"),
        (lambda: assess_levels([1.0], quantity=0), "whole number of at least 1"),
        (lambda: base_stock([1.0], 95), "service_level is 95|probability is 95"),
        (lambda: reorder_point(assess_levels([0.0, 1.0], highest=0), 0.95), "assess higher"),
    ],
)
def test_impossible_questions_are_refused(call, words):
    with pytest.raises(RecordError, match=words):
        call()
