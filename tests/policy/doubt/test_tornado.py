"""How the advice moves with its inputs, and where the policy flips."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from pumplife.policy.doubt.surface import lay_surface
from pumplife.policy.doubt.table import weigh_doubt
from pumplife.policy.doubt.tornado import choose_at, flip_downtime
from pumplife.policy.interval import cost_rate
from pumplife.policy.ladder import integrate_ladder
from pumplife.policy.pump import SideLife, integrate_to
from tests.plants import SETTINGS
from tests.policy.doubt.groups import decided, doubtful, plain_costs, small_group
from tests.policy.sides import one_part, random_draws, slip_fits

COUNT = np.array([2.0, 4.0, 4.0])
UNITS = ("EUR", "hours")


def tornado_of(group):
    return {row["input"]: row for row in weigh_doubt(group, decided(group), units=UNITS).tornado}


def test_a_row_is_the_advice_at_changed_settings(tmp_path):
    rows = tornado_of(small_group(tmp_path / "as_is"))
    dear = SETTINGS.replace("downtime_per_h = 100.0", "downtime_per_h = 200.0")
    group = small_group(tmp_path / "dear", plant_toml=dear)
    decision = decided(group)
    row = rows["downtime cost"]
    assert (row["low"], row["value"], row["high"]) == (50.0, 100.0, 200.0)
    assert row["interval_high"] == pytest.approx(decision.interval, rel=0.005)
    assert row["cost_rate_high"] == pytest.approx(decision.advised.money.mean(), rel=2e-4)
    saved = (decision.today.money - decision.advised.money).mean() * group.usage_per_year.sum()
    assert row["saving_high"] == pytest.approx(saved, rel=0.01)


def test_a_row_of_lives_is_the_advice_for_moved_lives(tmp_path):
    group = small_group(tmp_path, doubtful(draws=50))
    row = tornado_of(group)["diaphragm: scale of its lives"]
    scale, shape = group.lives.scale.copy(), group.lives.shape.copy()
    log_scale, log_shape = np.log(scale[0]), np.log(shape[0])
    slope = np.cov(log_scale, log_shape, bias=True)[0, 1] / log_scale.var()
    low = np.quantile(scale[0], 0.05)
    shape[0] = np.exp(log_shape + slope * (np.log(low) - log_scale))
    scale[0] = low
    moved = decided(replace(group, lives=replace(group.lives, scale=scale, shape=shape)))
    assert row["low"] == pytest.approx(low)
    assert row["interval_low"] == pytest.approx(moved.interval, rel=0.01)
    assert row["cost_rate_low"] == pytest.approx(moved.advised.money.mean(), rel=1e-3)


def test_inputs_point_the_way_they_must(tmp_path):
    rows = tornado_of(small_group(tmp_path))
    dearer_failures = ("downtime cost", "breakdown downtime hours", "breakdown labour hours")
    for name in (*dearer_failures, "call-out", "clean-up after a release"):
        assert rows[name]["interval_high"] < rows[name]["interval_low"], name
        assert rows[name]["cost_rate_high"] > rows[name]["cost_rate_low"], name
    for name in ("planned downtime hours", "planned labour hours"):
        assert rows[name]["interval_high"] > rows[name]["interval_low"], name
    longer = rows["diaphragm: scale of its lives"]
    assert longer["interval_high"] > longer["interval_low"]
    assert longer["cost_rate_high"] < longer["cost_rate_low"]
    assert "chance of a fouled air side" not in rows


def test_a_flip_is_told_with_its_value(tmp_path):
    fits = slip_fits(shape=[[1.6], [1.5], [1.5]])
    group = small_group(tmp_path, fits)
    assert decided(group).policy == "planned kit"
    row = tornado_of(group)["downtime cost"]
    assert np.isnan(row["interval_low"])
    assert row["flips"] == "run to failure at 50 EUR per h"


def test_flip_by_hand():
    # planned 100 and failure 300 money, 1 and 4 h: for an ageless part no cost makes planning pay
    assert np.isnan(flip_downtime(lay_surface(one_part(1.0, 5.0))[0], plain_costs(100.0, [300.0])))


@pytest.mark.parametrize("shape", [1.3, 1.6, 2.0])
def test_at_the_flip_planned_work_just_saves_what_is_asked(shape):
    surface, _ = lay_surface(one_part(shape, 5.0))
    costs = plain_costs(100.0, [120.0], [500.0])
    flip = flip_downtime(surface, costs)
    below, above = (
        choose_at(surface, replace(costs, downtime_per_h=flip * x)) for x in (0.97, 1.03)
    )
    assert (below.policy, above.policy) == ("run to failure", "planned kit")
    at = replace(costs, downtime_per_h=flip)
    never = float(surface.never @ at.failure_money)
    assert surface.best_plan(at.planned_money, at.failure_money)[1] == pytest.approx(0.99 * never)
    side = one_part(shape, 5.0)
    known = integrate_ladder(side)
    ages = np.geomspace(0.5, 40.0, 3000)
    rates = cost_rate(integrate_to(side, known, ages[:, None]), at.planned_money, at.failure_money)
    assert rates.min() == pytest.approx(0.99 * never, rel=5e-5)


@settings(max_examples=15, deadline=None)
@given(seed=st.integers(0, 60), failure=st.floats(405.0, 4000.0), now=st.floats(0.0, 500.0))
def test_the_policy_changes_at_the_flip_and_not_before(seed, failure, now):
    side = SideLife(lives=random_draws(np.random.default_rng(seed)), count=COUNT)
    surface, _ = lay_surface(side)
    costs = replace(plain_costs(400.0, [failure] * 3, [9e9] * 3), downtime_per_h=now)
    flip = flip_downtime(surface, costs)
    here = choose_at(surface, costs).policy
    if np.isnan(flip):
        far = choose_at(surface, replace(costs, downtime_per_h=1e6)).policy
        assert far == here
        return
    assume(abs(flip - now) > 0.05 * flip)
    for share in (0.25, 0.5, 0.9):
        between = now + share * (flip - now)
        assert choose_at(surface, replace(costs, downtime_per_h=between)).policy == here
    beyond = now + 1.1 * (flip - now)
    assert choose_at(surface, replace(costs, downtime_per_h=max(0.0, beyond))).policy != here


def test_a_limit_asks_for_planned_work_at_any_cost():
    surface, _ = lay_surface(one_part(2.5, 5.0), limit=2.0)
    assert np.isnan(flip_downtime(surface, plain_costs(100.0, [120.0])))


def test_what_is_not_sure_stands_in_the_row_of_the_group(tmp_path):
    group = small_group(tmp_path)
    doubt = weigh_doubt(group, decided(group), units=UNITS)
    row = doubt.row
    assert row["knowing_better_per_year"] > row["worth_of_half_year"] > 0.0
    assert row["worth_of_half_year_error"] < row["worth_of_half_year"]
    assert row["learn_first"] == "diaphragm"
    assert 20.0 < row["half_year_draws"] < 400.0
    again = weigh_doubt(group, decided(group), units=UNITS)
    assert again.row == row


def test_no_tornado_where_something_else_than_cost_decides(tmp_path):
    group = small_group(tmp_path)
    assert tornado_of(group)
    nobody_lends = replace(group.evidence, lent=False)
    assert not tornado_of(replace(group, failures=0.0, evidence=nobody_lends))
