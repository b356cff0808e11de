"""Curves by price are exact at any interval; new prices cost what a changed folder says."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pumplife.errors import RecordError
from pumplife.policy.changed_input import change_costs
from pumplife.policy.doubt.inputs import recompose
from pumplife.policy.doubt.price_curves import PRICES, cost_pieces, lay_price_curves
from pumplife.policy.groups import build_groups
from pumplife.policy.interval import cost_rate
from pumplife.policy.other_prices import redecide, scale_prices
from pumplife.policy.pump import integrate_to
from tests.plants import SETTINGS, part_rows, pump_rows, small_plant, small_tables
from tests.policy.doubt.groups import decided, doubtful, small_group
from tests.policy.sides import slip_fits, study_parts

FULL = (
    SETTINGS.replace(
        "call_out = 100.0",
        "call_out = 100.0\nopening_fault_probability = 0.1\nfoul_air_side_probability = 0.25",
    )
    + "[work.air]\nplanned_labour_h = 1\nbreakdown_labour_h = 2\n"
    + "planned_downtime_h = 1\nbreakdown_downtime_h = 2\n"
)
FACTORS = {
    "kits and parts": 1.3,
    "labour": 0.5,
    "lost production": 2.25,
    "clean-up": 3.0,
    "call-out": 0.4,
}


def full_group(folder, text=FULL, dearer=1.0):
    """The small plant with fouled air sides and faults at opening; one part has no price."""
    kits = [row | {"unit_cost": 200.0 * dearer} for row in small_tables()["kits"]]
    kits += [{"kit": "AK", "side": "air", "size_mm": 50, "unit_cost": 80.0 * dearer}]
    parts = [row | {"unit_cost": row["unit_cost"] * dearer} for row in part_rows()]
    parts[0]["unit_cost"] = ""
    pumps = [row | {"air_kit": "AK"} for row in pump_rows()]
    changed = {"kits": kits, "parts": parts, "pumps": pumps}
    made = build_groups(*study_parts(small_plant(folder, plant_toml=text, **changed)), slip_fits())
    return next(group for group in made if group.side == "fluid")


def same_money(found, asked):
    assert found.planned_money == pytest.approx(asked.planned_money, rel=1e-12)
    assert found.failure_money == pytest.approx(asked.failure_money, rel=1e-12)
    assert found.part_money == pytest.approx(asked.part_money, rel=1e-12)


@pytest.fixture(scope="module")
def full(tmp_path_factory):
    return full_group(tmp_path_factory.mktemp("full"))


def test_the_pieces_of_a_price_sum_to_what_work_costs(full):
    planned, kit_failure, part_failure = cost_pieces(full.costs)
    assert planned.sum() == pytest.approx(full.costs.planned_money, rel=1e-12)
    assert kit_failure.sum(axis=1) == pytest.approx(full.costs.failure_money, rel=1e-12)
    assert part_failure.sum(axis=1) == pytest.approx(full.costs.part_money, rel=1e-12)
    # a planned rebuild: kit and a tenth of another, 3 + 0.1 x 5 h, 2 + 0.1 x 8 h, a tenth called
    assert planned[0] == pytest.approx([220.0, 175.0, 280.0, 0.0, 10.0])


def test_new_prices_cost_what_a_folder_with_them_says(tmp_path, full):
    text = FULL
    for old, new in (
        ("labour_per_h = 50.0", "labour_per_h = 25.0"),
        ("downtime_per_h = 100.0", "downtime_per_h = 225.0"),
        ("spill = 200.0", "spill = 600.0"),
        ("call_out = 100.0", "call_out = 40.0"),
    ):
        assert old in text
        text = text.replace(old, new)
    after = full_group(tmp_path, text, dearer=1.3).costs
    found = scale_prices(full.costs, FACTORS)
    same_money(found, after)
    for name in ("labour_per_h", "downtime_per_h", "kit_price", "call_out", "air_kit"):
        assert getattr(found, name) == pytest.approx(getattr(after, name)), name
    for name in ("part_price", "pump_downtime", "spill"):
        assert getattr(found, name) == pytest.approx(getattr(after, name)), name
    assert found.fouling.cash == pytest.approx(after.fouling.cash)


def test_one_price_at_a_time_agrees_with_the_other_ways_to_change_it(full):
    costs = full.costs
    for name, other in (
        ("labour", "labour per h"),
        ("lost production", "downtime per h"),
        ("call-out", "call-out"),
    ):
        same_money(scale_prices(costs, {name: 1.7}), change_costs(costs, other, 1.7))
    same_money(scale_prices(costs, {"clean-up": 1.7}), recompose(costs, clean_up=340.0))


@pytest.mark.parametrize("wrong", [{"kit": 1.1}, {"labour": -0.1}, {"labour": np.nan}])
def test_a_price_that_is_none_is_refused(full, wrong):
    with pytest.raises(RecordError, match="can't be tried"):
        scale_prices(full.costs, wrong)


@settings(max_examples=12, deadline=None)
@given(
    steep=st.floats(0.4, 3.0),
    early=st.sampled_from([0.0, 0.03]),
    factors=st.lists(st.floats(0.1, 8.0), min_size=5, max_size=5),
)
def test_the_curve_is_the_cost_rate_at_any_interval_and_price(steep, early, factors):
    """Against the integrals taken to each age, for flat, steep and early lives."""
    group = small_group(None, doubtful(draws=40, steep=steep))
    share = np.full_like(group.lives.early_share, early)
    group = replace(group, lives=replace(group.lives, early_share=share, early_scale=200.0 + share))
    decision = decided(group)
    curves = lay_price_curves(group, decision)
    span = curves.step * curves.terms.shape[1]
    ages = np.exp(curves.start + span * np.linspace(0.001, 0.999, 157))
    costs = scale_prices(decision.costs, dict(zip(PRICES, factors, strict=True)))
    by_quadrature = replace(decision.advice.known, even=False)
    at = integrate_to(group.life, by_quadrature, ages[:, None])
    rates = cost_rate(at, costs.planned_money, costs.failure_money).mean(axis=1)
    np.testing.assert_allclose(curves.rate_at(ages, np.array(factors)), rates, rtol=1e-9)


def test_ways_without_an_interval_are_those_of_the_decision():
    group = small_group(None)
    decision = decided(group)
    curves = lay_price_curves(group, decision)
    for name, rates in (
        ("never", decision.run_to_failure),
        ("alone", decision.failed_part),
        ("today", decision.today),
    ):
        assert getattr(curves, name).sum() == pytest.approx(rates.money.mean(), rel=1e-12), name
    assert np.isnan(curves.kept)


def test_at_the_same_prices_the_decision_is_the_same():
    group = small_group(None)
    decision = decided(group)
    again = redecide(group, decision, {}, release_target=0.05)
    assert (again.policy, again.interval) == (decision.policy, pytest.approx(decision.interval))


def test_dearer_downtime_plans_sooner():
    group = small_group(None)
    decision = decided(group)
    again = redecide(group, decision, {"lost production": 3.0}, release_target=0.05)
    assert again.interval < 0.95 * decision.interval
