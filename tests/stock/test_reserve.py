"""Pieces kept for critical pumps: from the settings to the level, and what is refused."""

import pytest

from pumplife.errors import SettingError
from pumplife.records.stocking import check_stocking, reserve_of, rush_days_of
from tests.plants import SETTINGS, pump_rows
from tests.stock.test_plan import stock_of as plan_of


def stock_of(folder, reserve, word="A"):
    pumps = [row | {"criticality": word if row["pump_id"] == "P-2" else "C"} for row in pump_rows()]
    text = SETTINGS + f"\n[stock]\nreserve = {reserve}\n"
    taken, plan = plan_of(folder, pumps=pumps, plant_toml=text)
    return {"stock": plan.stock, "audit": taken[0].log.frame()}


def test_the_item_of_a_critical_pump_keeps_its_last_pieces(tmp_path):
    plain = stock_of(tmp_path / "plain", "{ A = 0 }")["stock"].query("item == 'FK'").iloc[0]
    tables = stock_of(tmp_path / "kept", "{ A = 2 }")
    row = tables["stock"].query("item == 'FK'").iloc[0]
    assert row["reserve"] == 2
    assert row["reorder_point"] == plain["reorder_point"] + 2
    assert row["critical_fill"] > row["fill_rate"] == plain["fill_rate"]
    assert "kept for breakdowns on pumps of class A" in row["verdict"]
    assert not (tables["audit"]["rule"] == "reserve_class").any()


def test_a_class_that_no_pump_has_is_told(tmp_path):
    tables = stock_of(tmp_path, "{ B = 1 }")
    assert (tables["stock"]["reserve"].dropna() == 0).all()
    (row,) = tables["audit"].query("rule == 'reserve_class'").to_dict("records")
    assert '"B"' in row["what"]


@pytest.mark.parametrize(
    ("stock", "words"),
    [
        ({"reserve": 1}, "reserve = { A = 1 }"),
        ({"reserve": {"A": 1.5}}, "whole number of pieces"),
        ({"reserve": {"A": -1}}, "whole number of pieces"),
        ({"reserve": {"A": True}}, "whole number of pieces"),
        ({"rush_days": -2}, "number of days"),
        ({"rush_days": "two"}, "number of days"),
    ],
)
def test_settings_that_cannot_be_are_refused(stock, words):
    with pytest.raises(SettingError, match=words):
        check_stocking({"stock": stock})


def test_settings_not_given_keep_nothing():
    assert reserve_of({}) == {}
    assert rush_days_of({}) != rush_days_of({})
    assert rush_days_of({"stock": {"rush_days": 3}}) == 3.0
