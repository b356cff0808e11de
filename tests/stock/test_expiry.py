"""Expired stock through the whole plan of a small plant: levels, orders, the shelf, the budget."""

import numpy as np
import pandas as pd
import pytest

from pumplife.records.read import read_records
from pumplife.stock.budget import plan_budget
from pumplife.stock.change_over import complete_budget
from pumplife.stock.shelf import plan_stock
from tests.plants import LAST_DAY, SETTINGS, small_plant, small_tables
from tests.stock.test_plan import steps

OLD = f"{LAST_DAY - pd.DateOffset(years=8):%Y-%m-%d}"
FRESH = f"{LAST_DAY - pd.DateOffset(months=3):%Y-%m-%d}"


def bag(quantity, cured, item="FK", store="works"):
    return {"store": store, "item": item, "quantity": quantity, "cure_date": cured}


@pytest.fixture(scope="module")
def known(tmp_path_factory):
    """Lives and advice of the small plant."""
    _, lives, advice = steps(tmp_path_factory.mktemp("small"))
    return lives, advice


@pytest.fixture
def plan(known, tmp_path):
    """Plan the stock of the small plant with another shelf; its records and the plan."""

    def make(*shelf, **overrides):
        folder = tmp_path / str(len(list(tmp_path.iterdir())))
        records = read_records(small_plant(folder, on_hand=list(shelf), **overrides))
        return records, plan_stock(records, *known, seed=1)

    return make


def test_expired_stock_is_as_good_as_none(plan):
    plans = {
        name: plan(bag(*shelf))
        for name, shelf in {"none": (0, ""), "expired": (5, OLD), "fresh": (5, FRESH)}.items()
    }
    none, expired, fresh = (plans[name][1].stock.iloc[0] for name in ("none", "expired", "fresh"))
    for column in ("today_on_hand", "today_shortage_prob", "months_cover", "capital_today"):
        assert expired[column] == none[column]
    assert (expired["today_on_hand"], expired["expired_on_hand"]) == (0, 5)
    assert (fresh["today_on_hand"], fresh["expired_on_hand"]) == (5, 0)
    assert fresh["today_shortage_prob"] < none["today_shortage_prob"]
    assert "5 on the shelf don't count" in expired["verdict"]
    ordered = {name: one.orders["quantity"].sum() for name, (_, one) in plans.items()}
    assert ordered["expired"] == ordered["none"] > ordered["fresh"]
    for records, one in plans.values():  # what lies on the shelf is counted once
        lying = records.table("on_hand")["quantity"].sum()
        assert one.stock[["today_on_hand", "expired_on_hand"]].to_numpy().sum() == lying
    (row,) = plans["expired"][1].shelf.to_dict("records")
    assert row["state"] == "expired"
    assert row["value"] == row["value_unused"] == 5 * 200
    assert row["storage_years"] == 7  # CR
    (new,) = plans["fresh"][1].shelf.to_dict("records")
    assert new["expires_on"] == pd.Timestamp(FRESH) + pd.DateOffset(years=7)
    assert plans["none"][1].shelf.empty


def test_a_kit_that_expires_before_an_order_comes_does_not_count(plan, known):
    soon = LAST_DAY - pd.DateOffset(years=7) + pd.Timedelta(days=10)  # the lead time is 20 days
    _, found = plan(bag(5, f"{soon:%Y-%m-%d}"))
    (row,) = found.stock.to_dict("records")
    jobs = known[1].due["do_on"] <= LAST_DAY + pd.Timedelta(days=10)
    assert row["today_on_hand"] == min(5, jobs.sum())
    (shown,) = found.shelf.to_dict("records")
    assert shown["state"] == "expires before use"
    assert 0 < shown["likely_unused"] <= 5


def test_more_kits_than_seven_years_take_expire_in_part(plan):
    _, found = plan(bag(200, FRESH))
    (row,) = found.stock.to_dict("records")
    (shown,) = found.shelf.to_dict("records")
    yearly = row["demand_per_year"] + row["planned_per_year"]
    # what three pumps take in 6.75 years, from the first year's pace
    assert shown["likely_unused"] == pytest.approx(200 - 6.75 * yearly, rel=0.1)
    assert shown["state"] == "expires before use"


def test_without_any_limit_nothing_expires(plan):
    parts = [row | {"material": "PTFE"} for row in small_tables()["parts"]]
    _, found = plan(bag(5, OLD), parts=parts)
    (row,) = found.stock.to_dict("records")
    assert row["today_on_hand"] == 5
    assert (row["expiry_risk"], row["write_offs_per_year"]) == (0, 0)
    assert found.shelf["state"].tolist() == ["usable"]


def test_what_cannot_be_known_stays_blank(plan):
    parts = [row | {"material": "TPV"} for row in small_tables()["parts"]]
    records, found = plan(bag(5, OLD), parts=parts)
    (row,) = found.stock.to_dict("records")
    assert row["today_on_hand"] == 5
    assert np.isnan(row["expiry_risk"])
    assert found.shelf["do"].tolist() == ["ask the supplier how long it may be stored"]
    assert records.log.has_rule("storage_life_unknown")


def test_the_plants_own_years_decide(plan):
    settings = SETTINGS + "\n[storage]\nyears = { CR = 9 }\n"
    _, found = plan(bag(5, OLD), plant_toml=settings)
    assert found.stock["today_on_hand"].tolist() == [5]


def test_loose_parts_that_no_work_takes_expire_on_the_shelf(plan):
    _, found = plan(bag(3, FRESH, "BALL"), bag(2, FRESH, "FK", "elsewhere"))
    shelf = found.shelf.set_index("item")
    assert (shelf["state"] == "expires before use").all()
    assert shelf["likely_unused"].to_dict() == {"BALL": 3, "FK": 2}


def test_nobody_foresees_what_expires_of_a_part_that_may_be_meant(plan):
    """Either o-ring could be the one that every opening takes: neither is said to lie unused."""
    ring = {"part": "o-ring", "side": "fluid", "wears": "every_opening", "lead_time_days": 20}
    ring |= {"material": "NBR", "size_mm": 50, "per_pump": 2, "unit_cost": 10.0}
    parts = [*small_tables()["parts"], *(ring | {"part_no": name} for name in ("RING-A", "RING-B"))]
    _, found = plan(bag(3, FRESH, "RING-A"), bag(3, FRESH, "BALL"), parts=parts)
    assert found.stock.set_index("item").loc["RING-A", "verdict"].startswith("no level:")
    unused = found.shelf.set_index("item")["likely_unused"]
    assert np.isnan(unused["RING-A"])
    assert unused["BALL"] == 3  # the kits cover the work


def test_write_offs_of_todays_stock_in_the_budget(plan, known):
    late = LAST_DAY - pd.DateOffset(years=7) + pd.DateOffset(months=18)
    records, found = plan(bag(4, OLD), bag(60, f"{late:%Y-%m-%d}"))
    planned = plan_budget(records, *known, seed=1)
    budget = complete_budget(records, planned, found)
    lost = budget[budget["quantity"].eq("write_offs") & budget["site"].eq("all")]
    mean = lost.pivot_table("mean", "year", "scenario")
    assert (mean.loc[1] == 4).all()  # expired already
    assert (mean.loc[3] == 0).all()
    # what is left of 60 after a year and a half of kits
    used = budget[budget["quantity"].eq("kits") & budget["site"].eq("all")]
    kits = used.pivot_table("mean", "year", "scenario")
    for scenario in ("advised", "run_to_failure"):
        taken = kits.loc[1, scenario] + 0.5 * kits.loc[2, scenario]
        assert mean.loc[2, scenario] == pytest.approx(60 - taken, abs=2)
    money = budget[budget["quantity"].eq("write_off_money") & budget["site"].eq("all")]
    paid = money.pivot_table("mean", "year", "scenario")
    np.testing.assert_allclose(paid, 200 * mean)
    works = budget[budget["quantity"].eq("write_offs") & budget["site"].eq("works")]
    assert works["mean"].tolist() == lost["mean"].tolist()


def test_the_budget_writes_off_of_loose_parts_what_the_shelf_foresees(plan, known):
    """Openings use the rings up; of gaskets that may be meant nobody knows, but of the expired."""
    late = f"{LAST_DAY - pd.DateOffset(years=7) + pd.DateOffset(months=30):%Y-%m-%d}"
    ring = {"part_no": "RING", "part": "o-ring", "side": "fluid", "wears": "every_opening"}
    ring |= {"material": "NBR", "size_mm": 50, "per_pump": 2, "unit_cost": 10.0}
    ring |= {"lead_time_days": 20, "shelf_life_years": 7}
    unclear = [ring | {"part_no": name, "part": "gasket"} for name in ("FLAT-A", "FLAT-B")]
    parts = [*small_tables()["parts"], ring, *unclear]
    shelf = [bag(4, late, "RING"), bag(3, late, "FLAT-A"), bag(2, OLD, "FLAT-A")]
    records, found = plan(*shelf, parts=parts)
    assert found.shelf.set_index("item").loc["RING", "likely_unused"] < 0.1
    planned = plan_budget(records, *known, seed=1, loose=found.loose)
    budget = complete_budget(records, planned, found)
    lost = budget[budget["quantity"].eq("write_offs") & budget["site"].eq("all")]
    mean = lost.pivot_table("mean", "year", "scenario")
    assert (mean.loc[1] == 2).all()  # expired already
    assert (mean.loc[2:] < 0.1).all(axis=None)
