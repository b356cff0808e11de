"""Settings on several stores and spare pumps: what is read, what is refused."""

import math

import pytest

from pumplife.errors import SettingError
from pumplife.records.stores import check_stores, replace_years, swaps_of, transfers_of

PAIR = {"A": {"B": {"transfer_days": 0.5}}}


def test_transfers_by_pair_in_either_order():
    raw = {"stores": {"transfer_days": 2.0, "transfer_cost": 30.0, "between": PAIR}}
    check_stores(raw)
    found = transfers_of(raw)
    assert found.from_to("B", "A") == found.from_to("A", "B") == (0.5, 30.0)
    assert found.from_to("A", "C") == (2.0, 30.0)
    assert found.from_to("A", "A") == (0.0, 0.0)
    assert found.lacking == ""


def test_what_is_not_given_is_named_and_not_guessed():
    found = transfers_of({"stores": {"transfer_days": 1.0}})
    assert math.isnan(found.cost)
    assert found.lacking == "transfer_cost"
    assert transfers_of({}).lacking == "transfer_days and transfer_cost"


def test_a_service_has_its_own_word():
    raw = {"rotables": {"bench": True, "turnaround_days": 14, "service": {"x": {"bench": False}}}}
    check_stores(raw)
    assert (swaps_of(raw, "x").bench, swaps_of(raw, "x").turnaround_days) == (False, 14.0)
    assert swaps_of(raw, "y").bench is True
    assert swaps_of({}, "y").bench is None
    assert replace_years({}) == 5.0


@pytest.mark.parametrize(
    ("raw", "words"),
    [
        ({"stores": {"transfer_days": -1}}, "transfer_days = -1"),
        ({"stores": {"transfer_cost": "40"}}, "transfer_cost = '40'"),
        ({"stores": {"transfer_days": math.nan}}, "transfer_days"),
        ({"stores": {"between": {"A": 3}}}, "must be a section"),
        ({"stores": {"between": {"A": {"B": {"days": 3}}}}}, "not days"),
        ({"stores": {"between": {"A": {"B": {"transfer_days": True}}}}}, "transfer_days = True"),
        ({"rotables": {"bench": "yes"}}, "bench = 'yes'"),
        ({"rotables": {"turnaround_days": math.inf}}, "turnaround_days = inf"),
        ({"rotables": {"replace_years": -2}}, "replace_years = -2"),
        ({"rotables": {"service": {"x": {"days": 1}}}}, "not days"),
        ({"rotables": {"service": {"x": 1}}}, "not a value"),
        ({"stores": 3}, "must be a section"),
    ],
)
def test_what_cant_be_used_is_refused(raw, words):
    with pytest.raises(SettingError, match=words):
        check_stores(raw)
