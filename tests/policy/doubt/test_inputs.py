"""One input at a time: costs put together anew, lives moved to their bounds."""

import numpy as np
import pytest

from pumplife.policy.doubt.inputs import recompose, vary_costs, vary_lives
from pumplife.policy.groups import build_groups
from tests.plants import SETTINGS, pump_rows, small_plant, small_tables
from tests.policy.doubt.groups import doubtful, small_group
from tests.policy.sides import slip_fits, study_parts

FULL = (
    SETTINGS.replace(
        "call_out = 100.0",
        "call_out = 100.0\nopening_fault_probability = 0.1\nfoul_air_side_probability = 0.25",
    )
    + "[work.air]\nplanned_labour_h = 1\nbreakdown_labour_h = 2\n"
    + "planned_downtime_h = 1\nbreakdown_downtime_h = 2\n"
)
CHANGES = {
    "labour_per_h": ("labour_per_h = 50.0", "labour_per_h = 65.0", 65.0),
    "downtime_per_h": ("downtime_per_h = 100.0", "downtime_per_h = 30.0", 30.0),
    "call_out": ("call_out = 100.0", "call_out = 140.0", 140.0),
    "clean_up": ("spill = 200.0", "spill = 350.0", 350.0),
    "foul_share": ("foul_air_side_probability = 0.25", "foul_air_side_probability = 0.6", 0.6),
    "opening_fault": ("opening_fault_probability = 0.1", "opening_fault_probability = 0.2", 0.2),
    "planned_labour_h": ("planned_labour_h = 3.0", "planned_labour_h = 4.0", 4.0),
    "breakdown_labour_h": ("breakdown_labour_h = 5.0", "breakdown_labour_h = 9.0", 9.0),
    "planned_downtime_h": ("planned_downtime_h = 2.0", "planned_downtime_h = 1.0", 1.0),
    "breakdown_downtime_h": ("breakdown_downtime_h = 8.0", "breakdown_downtime_h = 6.0", 6.0),
}


@pytest.fixture(scope="module")
def before(tmp_path_factory):
    return full_group(tmp_path_factory.mktemp("before"))


def full_group(folder, text=FULL, price=200.0):
    kits = [row | {"unit_cost": price} for row in small_tables()["kits"]]
    kits += [{"kit": "AK", "side": "air", "size_mm": 50, "unit_cost": 80.0}]
    pumps = [row | {"air_kit": "AK"} for row in pump_rows()]
    parts = study_parts(small_plant(folder, plant_toml=text, kits=kits, pumps=pumps))
    return next(group for group in build_groups(*parts, slip_fits()) if group.side == "fluid")


def same_money(found, asked):
    assert found.planned_money == pytest.approx(asked.planned_money)
    assert found.failure_money == pytest.approx(asked.failure_money)
    assert found.part_money == pytest.approx(asked.part_money)


def test_put_together_anew_costs_are_what_they_were(before):
    same_money(recompose(before.costs), before.costs)


@pytest.mark.parametrize("name", CHANGES)
def test_a_changed_input_costs_what_changed_settings_cost(tmp_path, before, name):
    old, new, value = CHANGES[name]
    assert old in FULL
    after = full_group(tmp_path, FULL.replace(old, new)).costs
    same_money(recompose(before.costs, **{name: value}), after)


def test_a_dearer_kit_costs_what_the_kits_table_says(tmp_path, before):
    after = full_group(tmp_path, price=260.0).costs
    same_money(recompose(before.costs, kit_price=260.0), after)


def test_every_cost_input_has_a_low_and_a_high_value(before):
    found = {varied.name: varied for varied in vary_costs(before, currency="EUR")}
    assert len(found) == 11
    downtime = found["downtime cost"]
    assert (downtime.low, downtime.high, downtime.unit) == (50.0, 200.0, "EUR per h")
    assert (found["kit price"].low, found["kit price"].high) == (150.0, 250.0)
    foul = found["chance of a fouled air side"]
    assert (foul.low, foul.value, foul.high) == (0.0, 0.25, 0.5)
    assert downtime.costs[1].downtime_per_h == 200.0
    fault = found["chance of a fault at opening"]
    assert (fault.low, fault.value, fault.high) == (0.0, pytest.approx(0.1), pytest.approx(0.2))


def test_lives_go_to_their_bounds_and_take_along_what_goes_with_them(tmp_path):
    rng = np.random.default_rng(4)
    both = rng.normal(size=(3, 4000))
    other = -0.8 * both + 0.6 * rng.normal(size=both.shape)
    fits = slip_fits(shape=2.5 * np.exp(0.1 * other), scale=6000.0 * np.exp(0.2 * both))
    group = small_group(tmp_path, fits)
    found = {varied.name: varied for varied in vary_lives(group, group.lives, usage_unit="hours")}
    assert len(found) == 6
    scale = found["diaphragm: scale of its lives"]
    assert scale.unit == "hours"
    assert scale.low == pytest.approx(6000.0 * np.exp(-0.2 * 1.645), rel=0.02)
    low = scale.lives[0]
    assert np.all(low.scale[0] == scale.low)
    assert low.scale[1] == pytest.approx(group.lives.scale[1])
    # 1.645 sd down in log scale brings 0.8 x 1.645 sd up in log shape, on average
    moved = np.log(low.shape[0] / 2.5).mean()
    assert moved == pytest.approx(0.1 * 0.8 * 1.645, rel=0.05)


def test_early_shares_are_none_and_double(tmp_path):
    share = np.array([[0.03], [0.0], [0.0]])
    group = small_group(tmp_path, slip_fits(share=share))
    (early,) = vary_lives(group, group.lives, usage_unit="hours")
    assert early.name == "diaphragm: share that fails early"
    assert (early.low, early.high) == (0.0, pytest.approx(0.06))
    assert early.lives[1].early_share[:, 0] == pytest.approx([0.06, 0.0, 0.0])


def test_known_lives_have_no_bounds_to_go_to(tmp_path):
    group = small_group(tmp_path, slip_fits())
    assert list(vary_lives(group, group.lives, usage_unit="hours")) == []
    group = small_group(tmp_path, doubtful())
    assert len(list(vary_lives(group, group.lives, usage_unit="hours"))) == 6
