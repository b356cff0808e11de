"""First expiring first out: what is used in time, what counts as stock, which bag to take."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pumplife.stock.cure_dates import (
    Bags,
    count_available,
    gather_bags,
    shelf_table,
    take_first,
    use_first_expiring,
)

NOW = pd.Timestamp("2024-06-30")


def bags_of(pieces, days_left):
    return Bags(
        pieces=np.array(pieces, float),
        days_left=np.array(days_left, float),
        label=np.arange(len(pieces)),
    )


def bag_rows(*rows):
    """Rows of (item, quantity, good for days, standing); NaT where days are None."""
    table = pd.DataFrame(rows, columns=["item", "quantity", "days", "standing"])
    ends = [pd.NaT if pd.isna(d) else NOW + pd.Timedelta(days=d) for d in table["days"]]
    return table.assign(
        store="S",
        quantity=table["quantity"].astype(float),
        expires_on=pd.to_datetime(pd.Series(ends)),
        cure_date=pd.to_datetime(pd.Series(ends)) - pd.Timedelta(days=2557),
        years=7.0,
        extension_years=3.0,
    )


def test_use_by_hand():
    # 2 expire when 1 has been asked for, 3 more when 2, 1 more when 9: 1 of 2, 1 of 3, 1 of 1
    got = use_first_expiring([2, 3, 1], np.array([[1, 0, 5], [2, 0, 5], [9, 0, 5]]))
    assert got[:, 0].tolist() == [1, 1, 1]
    assert got[:, 1].tolist() == [0, 0, 0]
    assert got[:, 2].tolist() == [2, 3, 0]


def one_by_one(pieces, ends, demands):
    """The same by taking piece after piece, each demand the first to expire that is still good."""
    stock = sorted((end, bag) for bag, (count, end) in enumerate(zip(pieces, ends, strict=True))
                   for _ in range(count))  # fmt: skip
    used = [0] * len(pieces)
    for day in sorted(demands):
        stock = [piece for piece in stock if piece[0] >= day]
        if stock:
            used[stock.pop(0)[1]] += 1
    return used


@given(
    bags=st.lists(st.tuples(st.integers(0, 4), st.integers(0, 30)), min_size=1, max_size=5),
    demands=st.lists(st.integers(0, 35), max_size=15),
)
def test_use_is_that_of_taking_piece_after_piece(bags, demands):
    bags = sorted(bags, key=lambda bag: bag[1])
    pieces, ends = zip(*bags, strict=True)
    asked = np.array([[sum(day <= end for day in demands)] for end in ends])
    got = use_first_expiring(pieces, asked)[:, 0]
    # bags of one day are one bag: what counts is each day's sum
    wanted = one_by_one(pieces, ends, demands)
    for end in set(ends):
        same = [bag for bag, other in enumerate(ends) if other == end]
        assert got[same].sum() == sum(wanted[bag] for bag in same)


def test_stock_counts_when_it_is_good_until_an_order_comes_or_a_job_takes_it_before():
    bags = bags_of([2, 1, 3], [10, 50, np.inf])
    none = np.zeros(0)
    assert count_available(bags, none, until=0) == 6
    assert count_available(bags, none, until=40) == 4
    assert count_available(bags, np.array([5.0]), until=40) == 5
    assert count_available(bags, np.array([5.0, 12.0, 60.0]), until=40) == 5
    assert count_available(bags, np.array([5.0, 45.0]), until=60) == 3 + 1 + 1
    assert count_available(None, none, until=0) == 0


def test_expired_bags_are_left_out_and_the_successor_stands_for_the_old_number():
    rows = bag_rows(
        ("old", 2, 100, "usable"), ("new", 1, 50, "usable"), ("new", 9, -1, "expired"),
        ("new", 4, None, "no cure date"),
    )  # fmt: skip
    found = gather_bags(rows, {"old": "new", "new": "new"}, NOW)
    assert list(found) == [("S", "new")]
    bags = found["S", "new"]
    assert bags.pieces.tolist() == [1, 2, 4]
    assert bags.days_left.tolist() == [50, 100, np.inf]
    assert gather_bags(rows, {}, NOW, with_expired=True)["S", "new"].pieces.tolist() == [9, 1, 4]


def test_which_bag_to_take_for_a_job():
    rows = bag_rows(
        ("K", 2, 100, "usable"), ("K", 1, 20, "usable"), ("K", 9, -1, "expired"),
        ("K", 1, None, "no cure date"),
    )  # fmt: skip

    def days(**job):
        bag = take_first(rows, store="S", item="K", **job)
        return None if bag is None else (bag.expires_on - NOW).days

    soon, later = NOW + pd.Timedelta(days=5), NOW + pd.Timedelta(days=30)
    assert days(fitted_on=soon) == 20
    assert days(fitted_on=soon, promised=1) == 100
    assert days(fitted_on=later) == 100  # the day of fitting counts
    assert take_first(rows, store="S", item="K", fitted_on=later, promised=2) == (pd.NaT, pd.NaT)
    assert days(fitted_on=later, promised=3) is None
    assert take_first(rows, store="T", item="K", fitted_on=soon) is None


def test_the_table_says_state_worth_and_what_to_do():
    rows = bag_rows(
        ("K", 2, 100, "usable"), ("K", 3, 900, "usable"), ("K", 9, -1, "expired"),
        ("K", 1, None, "no cure date"),
    )  # fmt: skip
    keyed = gather_bags(rows, {}, NOW)
    unused = {("S", "K"): (np.array([1.5, 0.3, 0.0]), np.array([0.8, 0.2, 0.0]))}
    table = shelf_table(rows, keyed, unused, {"K": 10.0})
    assert table["state"].tolist() == ["expired", "expires before use", "usable", "no cure date"]
    assert table["value"].tolist() == [90, 20, 30, 10]
    assert table["value_unused"].tolist()[:3] == pytest.approx([90, 15, 3])
    assert np.isnan(table["likely_unused"].iloc[3])
    assert table["do"].iloc[0].startswith("take it out of use, or inspect and test")
    assert "1.5 of 2 will likely expire unused" in table["do"].iloc[1]
    assert table["do"].iloc[3].startswith("read the cure date")
    assert shelf_table(rows, keyed, {}, {})["likely_unused"].iloc[1:].isna().all()
