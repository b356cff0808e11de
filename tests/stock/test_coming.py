"""Pieces under way: what the shelf must last until they come, by hand and one future at a time."""

import numpy as np
import pandas as pd
import pytest

from pumplife.stock.assess import pieces_missing, stock_row
from pumplife.stock.coming import count_early, list_coming, run_short
from pumplife.stock.needs import Needs, sort_needs
from tests.stock.test_assess import NOW, demand, item, plant, shelf


def test_orders_are_summed_by_day_late_ones_are_there_and_undated_ones_never_come():
    coming = list_coming(np.array([[2.0, 9.0], [1.0, -4.0], [5.0, np.nan], [3.0, 9.0]]))
    np.testing.assert_array_equal(coming.days, [0.0, 9.0])
    np.testing.assert_array_equal(coming.pieces, [1.0, 5.0])
    assert (coming.within(8.9), coming.within(9.0)) == (1.0, 6.0)


def test_a_piece_counts_from_its_day_on():
    # both futures break down on day 10; 4 pieces on the last day of the lead time help neither
    early = {"lead": (1, 1, 0, 0), "early": np.array([[1, 1, 0, 0]])}
    row, _ = stock_row(demand(**early), item(), plant(), shelf(on_order=4, coming=[(4, 40)]))
    assert row["today_shortage_prob"] == pytest.approx(0.5)
    none = {"lead": (1, 1, 0, 0), "early": np.zeros((1, 4))}
    row, _ = stock_row(demand(**none), item(), plant(), shelf(on_order=4, coming=[(4, 5)]))
    assert row["today_shortage_prob"] == 0.0


def test_a_job_before_the_arrival_finds_no_piece_and_one_on_its_day_does():
    for job, short in ((19.0, 1.0), (20.0, 0.0), (41.0, 0.0)):
        asked = demand(lead=(0, 0, 0, 0), early=np.zeros((1, 4)))
        today = shelf(on_order=1, coming=[(1, 20)], planned=[job])
        row, _ = stock_row(asked, item(), plant(), today)
        assert row["today_shortage_prob"] == short


def test_many_futures_as_one_by_one():
    rng = np.random.default_rng(4)
    items, futures, many = 3, 300, 1500
    lead = rng.uniform(10.0, 50.0, (items, futures))
    needs = sort_needs(
        Needs(
            key=rng.integers(0, items, many),
            replicate=rng.integers(0, futures, many),
            day=rng.uniform(0.0, 60.0, many),
            planned=rng.random(many) < 0.3,
        ),
        futures,
    )
    orders = [np.array([[1.0, 12.0], [1.0, 30.0]]), np.zeros((0, 2)), np.array([[2.0, -5.0]])]
    jobs, lies = np.array([3.0, 12.0, 35.0]), 2.0
    coming = [list_coming(one) for one in orders]
    early = count_early(needs, lead, [one.days for one in coming])
    for key in range(items):
        failed = (needs.key == key) & ~needs.planned
        by_hand, over = np.zeros(futures, bool), np.zeros(futures, int)
        for future in range(futures):
            mine = needs.day[failed & (needs.replicate == future)]
            mine = mine[mine <= lead[key, future]]
            over[future] = len(mine)
            asked = np.sort([*mine, *jobs[jobs <= lead[key, future]]])
            arrived = [orders[key][orders[key][:, 1] <= day, 0].sum() for day in asked]
            by_hand[future] = any(np.arange(1, len(asked) + 1) > lies + np.array(arrived))
        short = run_short((over, early[key], lead[key]), jobs, lies, coming[key])
        np.testing.assert_array_equal(short, by_hand)
        assert 0.0 < short.mean() < 1.0


def test_what_comes_after_a_new_order_would_is_to_be_hastened():
    today = shelf(on_order=4, coming=[(3, 70), (1, 90)])
    assert pieces_missing(today, 1) < 0  # no order, since 4 are under way
    row, _ = stock_row(demand(early=np.zeros((2, 4))), item(), plant(), today)
    first, last = (f"{NOW + pd.Timedelta(days=day):%Y-%m-%d}" for day in (70, 90))
    assert (
        f"4 under way come late, only from {first} to {last}, after what is ordered today would: "
        "hasten 2 of them"
    ) in row["verdict"]
    assert "enough on the shelf" not in row["verdict"]


def test_what_comes_soon_enough_or_is_not_needed_is_not_hastened():
    soon = shelf(on_order=2, coming=[(2, 40)])
    row, _ = stock_row(demand(early=np.zeros((1, 4))), item(), plant(), soon)
    assert row["verdict"].startswith("enough on the shelf and under way")
    lies = shelf(on_hand=2, on_order=1, coming=[(1, 90)])
    row, _ = stock_row(demand(early=np.zeros((1, 4))), item(), plant(), lies)
    assert "hasten" not in row["verdict"]


def test_what_is_under_way_without_a_day_is_asked_for():
    row, _ = stock_row(demand(), item(), plant(), shelf(on_order=2))
    assert (
        "2 under way without a day: ask when they come, 2 of them should be there already"
        in row["verdict"]
    )
