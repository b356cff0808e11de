"""Parts without a price: what stands in, what is left without money, and what the audit says."""

import numpy as np
import pytest

from pumplife.study import run_study
from tests.plants import on_day, part_rows, small_plant, small_tables
from tests.stock.test_loose import ORING

LYING = [{"store": "works", "item": item, "quantity": 30, "cure_date": on_day(700)}
         for item in ("FK", "ORING")]  # fmt: skip


def study_of(folder, ring=5.0, ball=15.0):
    parts = [*part_rows(), ORING | {"unit_cost": ring}]
    parts[1] |= {"unit_cost": ball}
    folder = small_plant(folder, parts=parts, on_hand=LYING)
    return run_study(folder, results=["stock", "budget"]).tables


@pytest.fixture(scope="module")
def studies(tmp_path_factory):
    folder = tmp_path_factory.mktemp("unpriced")
    return study_of(folder / "priced"), study_of(folder / "bare", ring="")


def stock_change(tables):
    budget = tables["budget"]
    return budget[(budget["quantity"] == "stock_change") & (budget["site"] == "all")]["mean"]


def test_a_part_taken_beside_the_kit_is_named_as_left_out_of_the_budget(studies):
    _, bare = studies
    (told,) = bare["audit"][bare["audit"]["rule"] == "budget_unpriced"].to_dict("records")
    assert told["what"].startswith("The budget has no money for o-ring set ORING (about ")
    assert "budget and cash are too low" in told["consequence"]
    (price,) = bare["audit"][bare["audit"]["rule"] == "no_price"].to_dict("records")
    assert "the kit's price doesn't stand in" in price["consequence"].lower()


def test_the_budget_is_lower_by_the_price_that_is_missing(studies):
    priced, bare = (
        tables["budget"][tables["budget"]["quantity"] == "material"]["mean"].to_numpy(float)
        for tables in studies
    )
    assert (bare[np.isfinite(bare)] < priced[np.isfinite(bare)]).any()


def test_stock_change_counts_what_has_a_price_and_says_what_it_leaves_out(studies):
    priced, bare = (stock_change(tables) for tables in studies)
    assert len(bare) > 0
    assert bare.notna().all()
    assert (bare > priced).any()  # the rings' own run-down is left out
    told = studies[1]["audit"].query("rule == 'stock_change_unpriced'")["what"]
    assert told.tolist() == ["ORING at works: no unit_cost is given."]


def test_with_all_prices_nothing_is_said(studies):
    rules = set(studies[0]["audit"]["rule"])
    assert not rules & {"budget_unpriced", "stock_change_unpriced", "no_price"}


def test_a_failed_part_takes_the_kit_s_price_in_the_budget_as_in_costs(tmp_path):
    """The sentence of the audit holds: 200 for a ball, not nothing."""
    audit = study_of(tmp_path / "bare", ball="")
    as_kit = study_of(tmp_path / "kit", ball=200.0)
    (told,) = audit["audit"].query("rule == 'no_price'")["consequence"]
    assert told.startswith("Where it fails and is renewed alone, the price of the whole kit")
    for name in ("material", "money"):
        bare, dear = (
            tables["budget"][tables["budget"]["quantity"] == name]["mean"].to_numpy(float)
            for tables in (audit, as_kit)
        )
        assert bare == pytest.approx(dear, nan_ok=True)
    assert not audit["audit"]["rule"].eq("budget_unpriced").any()
    assert small_tables()["kits"][0]["unit_cost"] == 200.0
