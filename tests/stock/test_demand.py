"""Demand over a lead time: against Poisson, by hand, and what doubt and wear do to it."""

from types import SimpleNamespace

import numpy as np
import pytest
from scipy import stats

from pumplife.stock.future import count_replicates, planned_at
from pumplife.stock.lead_times import draw_lead_times
from pumplife.stock.tally import tally
from tests.stock.fleets import lives, mean_of, run_to_failure, side_group, simulate_demand

YEAR = 365.25


def demand_for(groups, practices, lead_times=None, **changes):
    settings = {"review_days": 30.0, "replicates": 4000, "seed": 3} | changes
    return simulate_demand(groups, practices, lead_times or {"K": (60.0, 60.0)}, **settings)


def test_memoryless_lives_give_poisson_demand():
    # 20 pumps, mean life 2000 h, 1000 h a year: 10 kits a year
    (kit,) = demand_for([side_group(20, lives([1.0], [2000.0]))], [run_to_failure()])
    assert (kit.store, kit.item) == ("MAIN", "K")
    for counts, days in (
        *zip(kit.spans, (60, 75, 90), strict=True),
        (tally(kit.lead), 60),
        (tally(kit.year), YEAR),
    ):
        mean = 10 * days / YEAR
        assert mean_of(counts) == pytest.approx(mean, abs=4 * np.sqrt(mean / 4000))
        shares = counts.shares()
        chances = stats.poisson.pmf(np.arange(len(shares)), mean)
        np.testing.assert_allclose(shares, chances, atol=0.03)
    assert kit.planned_per_year == 0.0


def test_planned_jobs_by_hand():
    # parts that hardly ever fail, planned at 499 h, 1000 h a year, all new: two jobs each
    durable = lives([5.0], [1e9])
    (kit,) = demand_for([side_group(7, durable)], [planned_at(499.0)])
    assert kit.planned_per_year == pytest.approx(14.0)
    assert kit.year.max() == 0
    # past the planned age: one at once, then two more
    (kit,) = demand_for([side_group(7, durable, age=600.0)], [planned_at(499.0)])
    assert kit.planned_per_year == pytest.approx(21.0)


@pytest.mark.parametrize("age", [0.0, 1400.0])
def test_old_parts_ask_for_more_than_new_ones(age):
    group = side_group(20, lives([3.0], [1500.0]), age=age)
    (kit,) = demand_for([group], [run_to_failure()])
    # by hand: fails within 60 days with 1 - S(age + 164 h) / S(age)
    used = 1000 * 60 / YEAR
    chance = 1 - np.exp((age / 1500) ** 3 - ((age + used) / 1500) ** 3)
    assert kit.lead.mean() == pytest.approx(20 * chance, rel=0.08, abs=0.01)


def test_wear_narrows_and_doubt_widens_demand():
    spread = np.linspace(0, 1500, 40)[:, None]
    (sure,) = demand_for([side_group(40, lives([4.0], [1500.0]), age=spread)], [run_to_failure()])
    rng = np.random.default_rng(1)
    doubt = lives(np.full((1, 500), 4.0), 1500 * np.exp(rng.normal(0, 0.35, (1, 500))))
    (unsure,) = demand_for([side_group(40, doubt, age=spread)], [run_to_failure()])
    assert sure.year.var() < 0.8 * sure.year.mean()
    assert unsure.year.var() > 1.5 * unsure.year.mean()


def test_doubt_is_shared_by_groups_of_one_life():
    rng = np.random.default_rng(1)
    doubt = lives(np.full((1, 500), 1.0), 2000 * np.exp(rng.normal(0, 0.5, (1, 500))))
    groups = [side_group(30, doubt), side_group(30, doubt, store="OTHER", first=30)]
    first, second = demand_for(groups, [run_to_failure()] * 2)
    assert np.corrcoef(first.year, second.year)[0, 1] > 0.5


def test_loose_parts_take_the_failures_without_a_kit():
    items = dict.fromkeys("KBC", (60.0, 60.0))
    group = side_group(30, lives([1, 1], [4000, 8000]))
    first, second, kit = demand_for([group], [run_to_failure(0.25)], items)
    assert (first.item, second.item, kit.item) == ("B", "C", "K")
    # 7.5 and 3.75 failures a year, three in four of them by the loose part
    assert first.year.mean() == pytest.approx(0.75 * 7.5, rel=0.04)
    assert second.year.mean() == pytest.approx(0.75 * 3.75, rel=0.04)
    assert kit.year.mean() == pytest.approx(0.25 * 11.25, rel=0.04)


def test_a_part_in_several_positions_is_one_item():
    group = side_group(10, lives([1.0], [4000.0]), count=[4])
    (part,) = demand_for([group], [run_to_failure(0.0)], {"B": (60.0, 60.0)})
    assert part.year.mean() == pytest.approx(10.0, rel=0.04)


def test_fouled_air_sides_take_air_kits():
    fluid = side_group(
        40, lives([1.0, 1.0], [4000.0, 4000.0]), releases=np.array([True, False]), store="A"
    )
    fluid.store[20:] = "B"
    air = side_group(40, lives([5.0], [1e9]), side="air", kit="AIR", store="A")
    air.store[20:] = "B"
    lead = {"AIR": (60.0, 60.0)}
    ways = [run_to_failure()] * 2
    for kit in demand_for([fluid, air], ways, lead, fouling=[0.3, 0.3]):
        assert kit.item == "AIR"
        # half of the pumps, 5 releases a year there, three in ten foul the air side
        assert kit.year.mean() == pytest.approx(1.5, rel=0.06)
    assert all(kit.year.max() == 0 for kit in demand_for([fluid, air], ways, lead))


def test_openings_that_end_in_another_breakdown_take_a_kit_more():
    faulty = SimpleNamespace(opening_fault=0.2)
    draws = lives([1.0], [1e9])
    planned, faults = side_group(40, draws), side_group(40, draws, costs=faulty)
    lead = {"K": (60.0, 60.0)}
    (none,) = demand_for([planned], [planned_at(500.0)], lead)
    (some,) = demand_for([faults], [planned_at(500.0)], lead)
    assert none.year.max() == 0
    # 40 pumps are opened twice a year each, one opening in five again
    assert some.year.mean() == pytest.approx(16.0, rel=0.06)
    assert some.planned_per_year == none.planned_per_year


def test_stores_and_groups_are_added_up_apart():
    draws = lives([1.0], [2000.0])
    group = side_group(20, draws, store="A")
    group.store[10:] = "B"
    other = side_group(10, draws, store="A", first=20)
    a, b = demand_for([group, other], [run_to_failure()] * 2)
    assert (a.store, b.store) == ("A", "B")
    assert a.year.mean() == pytest.approx(10.0, rel=0.05)
    assert b.year.mean() == pytest.approx(5.0, rel=0.05)


def test_same_seed_same_demand_in_any_order():
    draws = lives([2.0], [1500.0])
    groups = [side_group(8, draws), side_group(5, draws, store="A", first=8)]
    practices = [run_to_failure(), planned_at(700.0)]
    once = demand_for(groups, practices, replicates=200)
    again = demand_for(groups[::-1], practices[::-1], replicates=200)
    other = demand_for(groups, practices, replicates=200, seed=4)
    for first, second, third in zip(once, again, other, strict=True):
        assert np.array_equal(first.year, second.year)
        assert not np.array_equal(first.year, third.year)


def test_an_item_without_lead_time_has_no_demand_row():
    group = side_group(3, lives([1.0], [2000.0]))
    assert demand_for([group], [run_to_failure()], {"X": (1.0, 1.0)}) == []


def test_a_superseded_kit_asks_for_its_successor():
    draws = lives([1.0], [2000.0])
    groups = [side_group(10, draws), side_group(10, draws, first=10, kit="NEW")]
    current = {"K": "NEW", "NEW": "NEW"}
    (kit,) = demand_for(groups, [run_to_failure()] * 2, {"NEW": (60.0, 60.0)}, current=current)
    assert kit.item == "NEW"
    assert kit.year.mean() == pytest.approx(10.0, rel=0.05)


def test_lead_times_keep_their_median_and_their_tenth():
    times = draw_lead_times(40.0, 90.0, 2000, np.random.default_rng(0))
    assert np.median(times) == pytest.approx(40.0, rel=0.01)
    assert np.mean(times > 90.0) == pytest.approx(0.10, abs=0.001)
    for high in (float("nan"), 40.0, 10.0):
        assert set(draw_lead_times(40.0, high, 5, np.random.default_rng(0))) == {40.0}
    assert set(draw_lead_times(0.0, 5.0, 5, np.random.default_rng(0))) == {0.0}


def test_a_random_lead_time_mixes_the_demand():
    draws = lives([1.0], [2000.0])
    (fixed,) = demand_for([side_group(60, draws)], [run_to_failure()])
    (mixed,) = demand_for([side_group(60, draws)], [run_to_failure()], {"K": (60.0, 120.0)})
    spread = np.log(2) / stats.norm.ppf(0.9)
    mean = 30 * 60 / YEAR * np.exp(spread**2 / 2)
    assert mixed.lead.mean() == pytest.approx(mean, rel=0.04)
    extra = mean**2 * np.expm1(spread**2)
    assert mixed.lead.var() == pytest.approx(mean + extra, rel=0.12)
    assert mixed.lead.var() > fixed.lead.var()


def test_replicates_stay_between_their_bounds():
    draws = lives([1.0], [2000.0])
    small, large = [side_group(3, draws)], [side_group(40_000, draws)]
    assert count_replicates(small, cells=1_000_000, least=200, most=4000) == 4000
    assert count_replicates(large, cells=1_000_000, least=200, most=4000) == 200
    assert count_replicates([side_group(500, draws)], cells=1_000_000, least=200, most=4000) == 2000
